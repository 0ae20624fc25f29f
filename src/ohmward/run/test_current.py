"""What a resistance to earth was measured with, where no list says it of the meter: as the person tells it.

It is asked once, where the leads are nulled; what is read with those leads was read with that current.
"""

from __future__ import annotations

from ohmward.logbook.events import Reading
from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.run.state import Phase, RunState

EARTH = "earth_continuity"


def wants_current(state: RunState, item: Item) -> bool:
    """Return whether the person is asked for the test current of a meter of which no list says it.

    Where the leads are nulled for readings to earth, and at such a reading that takes no null off. Not in a
    rehearsal, whose meters have none, and not of a paper.
    """
    if item.read is None or state.simulated or state.phase is Phase.PAPER:
        return False
    if item.read.limit == EARTH:
        return not item.read.subtract
    reads = (other.read for other in state.by_key.values())
    return any(read is not None and read.limit == EARTH and read.subtract == item.step for read in reads)


def current_listed(state: RunState, meter: str) -> float | None:
    """Return the test current that the list gives of a meter [A]; None where it does not say."""
    return next((each.test_current_a for each in state.meters if each.name == meter), None)


def current_of(state: RunState, event: Reading) -> float | None:
    """Return what a reading was measured with [A]: by the list, else as told; None where neither says."""
    listed = current_listed(state, event.meter)
    return event.test_a if listed is None else listed


def current_told(state: RunState, item: Item, meter: str = "") -> float | None:
    """Return the current told where the leads of a reading to earth were nulled with `meter` [A].

    None where none was told, or those leads were another meter's.
    """
    if item.read is None or item.read.limit != EARTH or current_listed(state, meter) is not None:
        return None
    null = state.entries.get((item.read.subtract, ""))
    if null is None or not isinstance(null.event, Reading) or null.event.meter != meter:
        return None
    return null.event.test_a


def current_note(test_a: float | None) -> str:
    """Return what a reading's note says of a test current that was told; else nothing."""
    return "" if test_a is None else f"test current {show(test_a, 'A')}, as told"
