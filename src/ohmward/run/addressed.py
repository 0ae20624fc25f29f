"""What a call on a run names: an entry of its procedure, a meter, a record; refused where there is none."""

from __future__ import annotations

from ohmward.bench.meters import Meter
from ohmward.errors import Refused
from ohmward.logbook.events import Answered, Reading, Skipped
from ohmward.procedure.model import Item, Read
from ohmward.run.gates import admit, describe
from ohmward.run.state import Key, RunState


def to_read(state: RunState, step: str, subject: str) -> tuple[Item, Read]:
    """Return the item at an address and what is read at it.

    Raises
    ------
    Refused
        When there is none, or it is a check.
    """
    item = state.by_key.get((step, subject))
    if item is None:
        admit(state, Skipped(step=step, subject=subject, reason="-"))  # raises with what is wrong
        raise Refused("step", [f"this run has no step '{step}'"], "See the steps of the procedure")
    if item.read is None:
        raise Refused("kind", [f"{describe(item)} is a check"], "Answer pass, fail or not applicable")
    return item, item.read


def meter_called(state: RunState, name: str) -> Meter | None:
    """Return the run's meter of a name; None where no name is given.

    Raises
    ------
    Refused
        When the run lists no such meter.
    """
    if not name:
        return None
    for meter in state.meters:
        if meter.name == name:
            return meter
    known = ", ".join(meter.name for meter in state.meters) or "none listed"
    raise Refused("meter", [f"no meter is called '{name}'"], f"This run knows: {known}")


def recorded(state: RunState, seq: int) -> tuple[Key, Answered | Reading | Skipped]:
    """Return the entry recorded at a sequence number, with its address.

    Raises
    ------
    Refused
        When that record is none.
    """
    if seq not in state.history:
        raise Refused("amend", [f"record {seq} is not an answer or a reading"], "Name one that is")
    return state.history[seq]
