"""Readings taken by the tool: which meter reads what, one by one, in a load sweep, through a soak."""
