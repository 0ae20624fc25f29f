"""What a repair makes due again, and which checks of a section may be confirmed together as found before."""

from __future__ import annotations

from dataclasses import replace

from ohmward.errors import Refused
from ohmward.logbook.events import Answered
from ohmward.procedure.model import Item
from ohmward.run.gates import admit
from ohmward.run.layout import is_dead_test
from ohmward.run.state import RunState, Standing

LOOKED_AGAIN = "looked at again: as before"
"""The note of each check confirmed so."""


def section(state: RunState, item: Item) -> tuple[Item, ...]:
    """Return the items of the section that `item` stands in: its group, else its stage."""
    here = (item.stage, item.spec.group)
    return tuple(each for each in state.items if (each.stage, each.spec.group) == here)


def as_before(state: RunState, item: Item) -> tuple[Item, ...]:
    """Return the checks of the section of `item` that had passed, are stale, and may be confirmed together.

    Only what is looked at, and only where the gates take each by itself. Not what applies to every supply,
    what has to last or to agree with readings, or what is done anew each time the case is shut.
    """
    return tuple(each for each in section(state, item) if _had_passed(state, each) and not _why(state, each))


def what_comes_before(state: RunState, item: Item) -> str:
    """Return what the gates ask for first, where they hold back all of a section; else empty."""
    waiting = [each for each in section(state, item) if _had_passed(state, each)]
    asked = [_why(state, each) for each in waiting]
    return asked[0] if asked and all(asked) else ""


def _why(state: RunState, item: Item) -> str:
    """Return what the gates ask for before a check of the inspection is answered; empty where nothing."""
    try:
        admit(state, Answered(step=item.step, subject=item.subject, answer="pass", note=LOOKED_AGAIN))
    except Refused as refusal:
        return refusal.mend
    return ""


def singly(state: RunState, item: Item) -> tuple[tuple[Item, str], ...]:
    """Return what is stale of the section of `item` and answered by itself, each with why."""
    stale = (each for each in section(state, item) if state.standing(each) is Standing.STALE)
    return tuple((each, why) for each in stale if (why := _by_itself(state, each)))


def _had_passed(state: RunState, item: Item) -> bool:
    return state.standing(item) is Standing.STALE and not _by_itself(state, item)


def _by_itself(state: RunState, item: Item) -> str:
    """Return why a stale item is never confirmed together with others; empty where it may be."""
    spec, entry = item.spec, state.entries.get(item.key)
    if item.read is None and spec.stale == "opening":
        return "it is done anew each time the case is shut"
    if item.read is not None or item.is_waveform or item.energised or item.role or is_dead_test(item):
        return "it is tested, not looked at"
    if spec.always:
        return "it concerns every supply, and guards whoever touches this one"
    if spec.stale != "repair" or spec.wait_from or spec.settles or spec.held_reading:
        return "it has to last, or to agree with readings"
    if entry is None or not isinstance(entry.event, Answered) or entry.event.answer != "pass":
        return "it had not passed"
    return ""


def stale_by_repair(state: RunState) -> tuple[Item, ...]:
    """Return what has a result that counts now, and would have none after a repair."""
    after = replace(state, repaired_seq=state.last_seq + 1)
    return tuple(
        item
        for item in state.items
        if state.standing(item) not in {Standing.STALE, Standing.NOT_DONE}
        and after.standing(item) is Standing.STALE
    )
