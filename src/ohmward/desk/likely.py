"""What a reading that failed or surprised most likely means, said where it was read."""

from __future__ import annotations

from pathlib import Path

from ohmward.desk.asking import Desk
from ohmward.logbook.events import Reading
from ohmward.procedure.model import Item
from ohmward.run.assess import causes_of
from ohmward.run.state import Phase, RunState, Standing
from ohmward.text import one_line

UNEXPLAINED = "Nothing in the circuit explains it: look at the reading itself first."
"""Said in place of 'no fault' while a reading stands that failed: nobody is to read that all is well."""
REAL = "No fault known here explains it: take it as real until, with mains off, it is shown not to be."
"""The same while a danger stands, or a reading past its stop limit: it is not to be read again live."""
WEIGHING = "Most likely: being weighed by all readings so far …"


def asks_why(state: RunState, item: Item | None) -> bool:
    """Return whether the reading that stands at `item` failed, or is not what the design predicts.

    Not of charge left: that is bled down and read again, whatever left it there.
    """
    entry = state.entries.get(item.key) if item is not None else None
    if item is None or item.read is None or entry is None or not isinstance(entry.event, Reading):
        return False
    if item.read.quantity == "residual_v":
        return False
    standing = state.standing(item)
    if standing is Standing.STALE:
        return False
    return standing is Standing.FAILED or entry.event.judged.as_expected is False


def likely_words(state: RunState, folder: Path | None, how: str) -> str:
    """Return the likeliest cause of what stands in a run, in a line as its summary says it.

    It takes up to a second and more: not for the thread that shows. `how` says how more is told; empty
    where nothing can be said.
    """
    from ohmward.analysis.cause_words import EARTH_JOINT, likeliest_words

    found = causes_of(state, folder)
    if found and found[0].fault == "healthy" and (failed := _failed(state)):
        if any(item.spec.proves_earth for item in failed):
            return EARTH_JOINT
        danger = state.phase is Phase.HALTED or any(item.spec.severity == "danger" for item in failed)
        return REAL if danger else UNEXPLAINED
    return f"{likeliest_words(found[0])} {how}" if found else ""


async def before_mains(desk: Desk) -> tuple[str, ...]:
    """Return the likeliest cause and what comes before it, where readings already ask for one: no gate.

    Nothing is weighed where none failed or surprised.
    """
    from ohmward.analysis.cause_words import WORTH_SAYING, likeliest_words

    state, folder = desk.live.state, desk.live.journal.path.parent
    if not any(asks_why(state, item) for item in state.items):
        return ()
    desk.say(WEIGHING)
    try:
        found = await desk.aside(lambda: causes_of(state, folder))
    except Exception as error:  # noqa: BLE001 said in words; a warning that cannot be made stops nothing
        return (f"‼ What may be wrong cannot be weighed ({type(error).__name__}: {error}).",)
    first = found[0] if found else None
    if first is None or first.harmless or first.probability < WORTH_SAYING:
        return ()
    before = (f"  Before that: {one_line(first.make_safe)}",) if first.make_safe else ()
    return (f"‼ {likeliest_words(first)}", *before)


def _failed(state: RunState) -> list[Item]:
    """Return what a reading stands at that failed or is past its stop limit."""
    return [
        item
        for key, entry in state.entries.items()
        if isinstance(entry.event, Reading) and state.standing(item := state.by_key[key]) is Standing.FAILED
    ]
