"""A typed value taken: for the entry that is meant, with what has to be asked of it, and recorded."""

from __future__ import annotations

from ohmward.desk.another_reading import meant_here
from ohmward.desk.asking import Desk
from ohmward.desk.test_current import told_current
from ohmward.procedure.model import Item


async def take_typed(desk: Desk, item: Item, text: str, meter: str, *, given: bool = False) -> bool:
    """Take a value typed for a reading by `meter`, empty where it is none of the list.

    `given`: a meter gave it for this very entry, so that it is not asked whether another is meant.
    """
    if not given and not await meant_here(desk, item, text):
        return False
    told = await told_current(desk, item, text, meter)
    if told is None:
        return False
    return await desk.record(
        lambda sure: desk.live.read(*item.key, text, meter=meter, confirmed=sure, test_a=told.amperes)
    )
