"""Asking the gates before asking the person: nobody types a reason for what is then refused."""

from __future__ import annotations

from ohmward.desk.asking import Desk
from ohmward.errors import Refused
from ohmward.logbook.events import Answered, Event
from ohmward.procedure.model import Item
from ohmward.run.gates import admit
from ohmward.run.state import RunState
from ohmward.taking.choosing import probe

WORDS = "-"
"""Stands for the words not yet asked for."""


def admitted(state: RunState, event: Event) -> bool:
    """Return whether the gates would let `event` through now."""
    try:
        admit(state, event)
    except Refused:
        return False
    return True


def enterable(state: RunState, item: Item) -> bool:
    """Return whether an entry could be made at `item` now, or something else comes first."""
    if item.is_waveform:
        return True
    if item.read is not None:
        return admitted(state, probe(item))
    return admitted(state, Answered(step=item.step, subject=item.subject, answer="pass", note=WORDS))


async def may(desk: Desk, event: Event) -> bool:
    """Return whether the gates would let `event` through now; say so in their words when not."""
    try:
        admit(desk.live.state, event)
    except Refused as refusal:
        await desk.tell("Not possible now", [*(f"• {words}" for words in refusal.reasons), refusal.mend])
        return False
    return True
