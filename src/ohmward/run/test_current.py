"""What a resistance to earth was measured with, where the meter is in no list: as the person tells it.

It is asked once, where the leads are nulled; what is read with those leads was read with that current.
"""

from __future__ import annotations

from ohmward.logbook.events import Reading
from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.run.state import Phase, RunState

EARTH = "earth_continuity"


def wants_current(state: RunState, item: Item) -> bool:
    """Return whether the person is asked for the test current of a meter that is in no list.

    Where the leads are nulled for readings to earth, and at such a reading that takes no null off. Not in a
    rehearsal, whose meters have none, and not of a paper.
    """
    if item.read is None or state.simulated or state.phase is Phase.PAPER:
        return False
    if item.read.limit == EARTH:
        return not item.read.subtract
    reads = (other.read for other in state.by_key.values())
    return any(read is not None and read.limit == EARTH and read.subtract == item.step for read in reads)


def current_told(state: RunState, item: Item) -> float | None:
    """Return the current told where the leads of a reading to earth were nulled [A]; None where none was."""
    if item.read is None or item.read.limit != EARTH:
        return None
    null = state.entries.get((item.read.subtract, ""))
    return null.event.test_a if null is not None and isinstance(null.event, Reading) else None


def current_note(test_a: float | None) -> str:
    """Return what a reading's note says of a test current that was told; else nothing."""
    return "" if test_a is None else f"test current {show(test_a, 'A')}, as told"
