"""What has to be held for its time is begun."""

from __future__ import annotations

from ohmward.desk.asking import Desk
from ohmward.desk.gate import may
from ohmward.logbook.events import Begun
from ohmward.quantity import show


async def begin_hold(desk: Desk) -> None:
    """Say that the hold of the entry shown is begun; its time runs from here."""
    item = desk.item
    if item is None or not await may(desk, Begun(step=item.step, subject=item.subject)):
        return
    if await desk.record(lambda _: desk.live.begin(item.step, item.subject)):
        desk.say(f"begun: to be held for {show(item.spec.wait_s or 0.0, 's', decimals=0)}.")
