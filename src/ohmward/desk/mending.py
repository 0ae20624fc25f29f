"""What was mended goes on record; what it did not touch is looked at again, a section at a time."""

from __future__ import annotations

from ohmward.desk.asking import Desk
from ohmward.desk.card import title
from ohmward.desk.gate import WORDS, admitted, may
from ohmward.desk.place import next_after
from ohmward.logbook.events import CaseOpened, Repaired
from ohmward.procedure.model import Item
from ohmward.run import guidance
from ohmward.run.repairing import SAY, too_little
from ohmward.run.state import RunState
from ohmward.run.unchanged import LOOKED_AGAIN, as_before, singly, stale_by_repair, what_comes_before
from ohmward.text import one_line, plural

NONE_AS_BEFORE = (
    "Only checks of an inspection that had passed and went stale by a repair are confirmed as before; "
    "of this section none is stale."
)
BY_ITSELF = "Answered one by one, and not 'as before':"
_OPENED = ["yes: the case is open on record, before the repair", "no: the case stayed shut"]


async def repair(desk: Desk) -> None:
    """Say what was mended or changed, and whether the case was opened for it."""
    if not await may(desk, Repaired(what=WORDS)):
        return
    opened = False
    if not desk.live.state.case_open and admitted(desk.live.state, CaseOpened(reason=WORDS)):
        lines = ["The run says that it is shut. Said later, checks made meanwhile would go stale once more."]
        picked = await desk.choose("Was the case opened for the repair?", _OPENED, lines)
        if picked is None:
            return
        opened = picked == 0
    lines = stale_lines(desk.live.state)
    while True:
        what = await desk.ask("Repair or change", lines, label="What was mended or changed", needed=True)
        why = "" if what is None else too_little(what)
        if not why:
            break
        lines = [f"{why}. {SAY}; going back records nothing."]
    if what is None:
        return

    def act(_: bool) -> None:
        if opened and not desk.live.state.case_open:
            desk.live.open_case(f"for the repair: {what}")
        desk.live.repaired(what)

    if await desk.record(act):
        following = guidance(desk.live.state).item
        if following is not None:
            desk.go(following.key)


def stale_lines(state: RunState) -> list[str]:
    """Return what goes stale by a repair, and how what it did not touch is confirmed."""
    stale = stale_by_repair(state)
    checks = sum(item.read is None for item in stale)
    counted = (plural(checks, "check"), plural(len(stale) - checks, "reading"))
    return [
        "Whatever was mended, the inspection and the tests made before it go stale: "
        f"{' and '.join(counted)} as the run stands.",
        "Checks that are found as they were are then confirmed a section at a time: 'as before' (=).",
    ]


async def confirm_as_before(desk: Desk) -> None:
    """Confirm that what had passed in the section of the item shown was looked at again, and is as it was."""
    item = desk.item
    found = as_before(desk.live.state, item) if item is not None else ()
    if item is None or not found:
        await desk.tell("Not possible now", [why_none_as_before(desk.live.state, item)])
        return
    name = one_line(item.spec.group or desk.live.state.stage(item.stage).title)
    lines = _lines(desk.live.state, item, found)
    if not await desk.confirm(f"As before: {name}", lines, f"All {len(found)} looked at: as before"):
        return
    confirmed = {each.key for each in found}

    def act(_: bool) -> None:
        for each in as_before(desk.live.state, item):
            if each.key in confirmed:
                desk.live.answer(*each.key, "pass", LOOKED_AGAIN)

    if await desk.record(act):
        following = next_after(desk.live.state, item.key)
        if following is not None:
            desk.go(following.key)
        desk.say(f"{plural(len(found), 'check')} recorded as before")


def why_none_as_before(state: RunState, item: Item | None) -> str:
    """Return why nothing of the section of an item can be confirmed as before now."""
    first = what_comes_before(state, item) if item is not None else ""
    if first:
        return f"First: {first}. Then those that had passed can be confirmed."
    alone = _alone(state, item) if item is not None else []
    return " ".join([BY_ITSELF, "; ".join(alone)]) + "." if alone else NONE_AS_BEFORE


def _alone(state: RunState, item: Item) -> list[str]:
    """Return what of the section of an item is answered by itself, each with why."""
    return [f"'{title(each)}' ({why})" for each, why in singly(state, item)]


def _lines(state: RunState, item: Item, found: tuple[Item, ...]) -> list[str]:
    dangers = [each for each in found if each.spec.severity == "danger"]
    others = [each for each in found if each not in dangers]
    alone = _alone(state, item)
    lines = [
        "Look at every one of these again, as at the first time. What was mended or moved is no 'as before': "
        "go back, and answer it by itself first.",
        f"{plural(len(found), 'check')} that had passed, each recorded as passed, '{LOOKED_AGAIN}':",
    ]
    lines += [f"‼ danger: {title(each)}" for each in dangers] + [f"• {title(each)}" for each in others]
    return [*lines, *([BY_ITSELF, *(f"· {each}" for each in alone)] if alone else [])]
