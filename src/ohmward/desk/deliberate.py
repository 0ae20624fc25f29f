"""A danger is answered on purpose: a key held down, or pressed before the check was read, answers nothing."""

from __future__ import annotations

from collections.abc import Callable

from ohmward.procedure.model import Item
from ohmward.run.state import Key

PAUSE_S = 0.8
"""How long an answering key has to have been still, and a danger to have been shown [s].

Longer than keyboards wait before a held key repeats (0.25 s to 0.66 s as they come set; common practice,
no source), so that what is held down answers one danger at most.
"""
TOO_QUICK = "danger: read; press again in 1 s"


class Deliberate:
    """When a danger was shown and an answering key was last seen.

    Parameters
    ----------
    clock : callable
        Seconds of a clock that never goes back.
    """

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._key: Key | None = None
        self._shown_s = float("-inf")
        self._pressed_s = float("-inf")

    def shown(self, item: Item | None) -> None:
        """Take note of the item now shown."""
        key = item.key if item is not None else None
        if key != self._key:
            self._key, self._shown_s = key, self._clock()

    def pressed(self, item: Item) -> str:
        """Take note of an answering key; return why it answers nothing, empty where it answers."""
        now = self._clock()
        still_s = now - max(self._pressed_s, self._shown_s)
        self._pressed_s = now
        return TOO_QUICK if item.spec.severity == "danger" and still_s < PAUSE_S else ""
