"""Asking the gates before asking the person: nobody types a reason for what is then refused."""

from __future__ import annotations

from ohmward.desk.asking import Desk
from ohmward.errors import Refused
from ohmward.logbook.events import Event
from ohmward.run.gates import admit
from ohmward.run.state import RunState

WORDS = "-"
"""Stands for the words not yet asked for."""


def admitted(state: RunState, event: Event) -> bool:
    """Return whether the gates would let `event` through now."""
    try:
        admit(state, event)
    except Refused:
        return False
    return True


async def may(desk: Desk, event: Event) -> bool:
    """Return whether the gates would let `event` through now; say so in their words when not."""
    try:
        admit(desk.live.state, event)
    except Refused as refusal:
        await desk.tell("Not possible now", [*(f"• {words}" for words in refusal.reasons), refusal.mend])
        return False
    return True
