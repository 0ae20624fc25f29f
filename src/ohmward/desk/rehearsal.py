"""The one thing the run screen asks of whatever stands in for a meter."""

from __future__ import annotations

from typing import Protocol

from ohmward.procedure.model import Item
from ohmward.run.state import RunState


class Rehearsal(Protocol):
    """A source of readings asked by one key: the rehearsal bench today, a real meter later.

    It is called in a thread, and must neither record anything nor keep the state it is given.
    """

    def reading_for(self, state: RunState, item: Item) -> str | None:
        """Return what the meter shows for `item` as a person would type it; None where it has nothing.

        For a check the answer may be ``pass``, ``fail`` or ``not applicable``.
        """
