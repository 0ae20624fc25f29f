"""A value typed where one stands already: another reading of it, or of the entry that comes next.

Enter stays at the entry it took a value for, so that its verdict is read; the next value typed there would
otherwise become another attempt at it without a word.
"""

from __future__ import annotations

from ohmward.desk.asking import Desk
from ohmward.desk.card import entry_sign, title
from ohmward.desk.place import next_after
from ohmward.desk.readings import reading_text, value_text
from ohmward.logbook.events import Reading
from ohmward.procedure.model import Item
from ohmward.quantity import parse
from ohmward.run.state import RunState, Standing

STAYS = "not recorded: it stays as typed"


async def meant_here(desk: Desk, item: Item, text: str) -> bool:
    """Return whether a value typed at `item` is a reading of it; where it is not, it goes to what is next.

    Asked only where a reading stands that passed, or has no limit: after one that failed, or is stale,
    another is meant.
    """
    state = desk.live.state
    entry = state.entries.get(item.key)
    if entry is None or not isinstance(entry.event, Reading) or state.standing(item) is not Standing.PASSED:
        return True
    assert item.read is not None  # a reading stands here
    following = _next_reading(state, item)
    typed = value_text(parse(text, item.read.unit))
    no = (
        f"No: it goes to '{title(following)}', as typed and not yet recorded; Enter there records it."
        if following is not None
        else "No: nothing is recorded, and it stays as typed."
    )
    here = await desk.decide(
        "Another reading?",
        [
            f"'{title(item)}' stands at {reading_text(entry.event)}, {entry_sign(state, item).word}. "
            f"Is {typed} another reading of it?",
            no,
        ],
        "Another reading of it",
        "Not of this",
    )
    if here is False and following is not None:
        desk.type_at(following.key, text)
    elif not here:
        desk.say(STAYS, good=False)
    return here is True


def _next_reading(state: RunState, item: Item) -> Item | None:
    """Return what 'Next' leads to, where a value can be typed there; None where none can."""
    following = next_after(state, item.key)
    return following if following is not None and following.read and following.key != item.key else None
