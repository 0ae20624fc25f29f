"""What everything made from a rehearsal says of itself."""

from __future__ import annotations

REHEARSAL = "REHEARSAL: readings from a simulated bench, not from a real supply"


def counted(simulated: int, runs: int) -> list[str]:
    """Return what is said of several runs of which some are rehearsals: a line, or none."""
    if not simulated:
        return []
    return [REHEARSAL if simulated == runs else f"{REHEARSAL}, in {simulated} of {runs} runs"]
