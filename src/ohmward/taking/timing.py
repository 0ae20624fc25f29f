"""Whose clock the timers of a run go by: the wall's, or that of the simulated bench in a rehearsal.

In a rehearsal whose bench puts its own probes, what would be waited for is moved on at once. A bench whose
meters a person puts, such as one served elsewhere, is timed by the wall as a real one is: its sweeps are too.
"""

from __future__ import annotations

import threading

from ohmward.procedure.model import Item
from ohmward.run.live import LiveRun
from ohmward.run.state import RunState
from ohmward.run.timers import elapsed_s, timer
from ohmward.taking.at_hand import MetersAtHand


def time_by(live: LiveRun, meters: MetersAtHand | None) -> None:
    """Have what is recorded through `live` say how long it was waited for.

    A rehearsal in which no meter can be asked has no time of its own: nothing is timed in it.
    """
    if meters is not None and meters.hands.puts_probes and live.state.simulated:
        live.timing = _BenchTime(live, meters)
    elif not live.state.simulated or (meters is not None and any(m.resource for m in live.state.meters)):
        live.timing = lambda state, item: _by_wall(live, state, item)


def not_by_wall(live: LiveRun) -> str:
    """Return what is said in place of the wall's clock where nothing recorded goes by it; else nothing."""
    if live.timing is None:
        return "not timed in this rehearsal"
    return "by the bench's own time" if isinstance(live.timing, _BenchTime) else ""


def _by_wall(live: LiveRun, state: RunState, item: Item) -> float | None:
    found = timer(state, item)
    return None if found is None else elapsed_s(found, live.journal.now())


class _BenchTime:
    """The time of the simulated bench at the records that timers run from."""

    def __init__(self, live: LiveRun, meters: MetersAtHand) -> None:
        self._clock = meters.hands.clock(threading.Event())
        self._seen: dict[int, float] = {}
        live.watch(self._look)

    def _look(self, state: RunState) -> None:
        self._seen[state.last_seq] = self._clock.now()

    def __call__(self, state: RunState, item: Item) -> float | None:
        """Return how long the timer of an item has run, after it was moved on to its end."""
        found = timer(state, item)
        if found is None or found.began is None or found.began.seq not in self._seen:
            return None
        began_s = self._seen[found.began.seq]
        if found.since != "soak" and found.of_s is not None:
            self._clock.wait(max(0.0, began_s + found.of_s - self._clock.now()))
        return self._clock.now() - began_s
