"""What is said before anything has been read: kept apart, so that the first picture waits for it alone."""

from __future__ import annotations

TOO_SMALL = "The terminal is too small for this screen.\nMake it at least 60 columns by 20 rows."

SUPPLY_HEADINGS = ("supply", "state", "next", "title", "last test")
TO_DO_HEADINGS = ("state", "supply", "what", "when", "")
"""Headings of the two tables of the bench."""
FIRST_STEPS = (
    "No supply is in this logbook yet. What to do first:",
    "1  Practise: 'ohmward demo' rehearses a whole commissioning on a simulated bench (Ctrl+Q leaves here).",
    "2  Press a to describe your supply: what its rating plate says is enough to begin with.",
    "3  Then press n: it is looked over and tested unplugged before anything is switched on.",
    "m lists your meters, so that each verdict can say how sure it is. ? lists the keys.",
)
"""What an empty bench says."""
