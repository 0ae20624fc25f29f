"""Plots and tables made from results."""
