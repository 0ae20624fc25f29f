"""A soak: several channels sampled at an interval for hours; a gap is recorded as a gap.

Sample k is due at k times the interval from the start, so that the times do not drift with the time a
reading takes. What could not be read, or was not due in time, is a `Gap` that says from when to when and
why; nothing is filled in. `run` waits: call it on a thread of its own.
"""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from ohmward.bench.clock import Clock
from ohmward.bench.messages import MeterFailed
from ohmward.bench.reading import Channel, Stop, answered, passed
from ohmward.bench.request import Request, wait_for
from ohmward.bench.settled import Sample
from ohmward.bench.sweep import STOPPED

SLACK_S = 1.0
"""Granted to meters above what their profiles say that a reading takes [s]."""
WAIT_SHARE = 0.2
"""A meter that failed last is waited for no longer than this share of the interval."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SoakPlan:
    """What a soak does."""

    channels: tuple[Channel, ...]
    interval_s: float
    """From 0.1 s."""
    duration_s: float
    stops: tuple[Stop, ...] = ()

    def __post_init__(self) -> None:
        if not 0.1 <= self.interval_s <= 3600.0:
            raise ValueError(f"an interval is from 0.1 s to an hour, not {self.interval_s} s")
        if not self.duration_s > 0:
            raise ValueError("a duration is above zero")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """The readings of one moment; `at_s` from the start of the soak. A channel that failed is not in it."""

    at_s: float
    due_s: float
    samples: dict[str, Sample]


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """No readings of a channel (all, where none is named) from one moment to another [s from the start]."""

    channel: str
    from_s: float
    to_s: float
    why: str
    interrupted: bool = False
    """Nobody was there to sample: the loads were off in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SoakEnded:
    """The soak is over; `at_s` from its start."""

    at_s: float
    complete: bool
    why: str
    missed: int
    """Samples that were due and not taken, over all channels."""


SoakNews = Row | Gap | SoakEnded


def run(
    plan: SoakPlan,
    clock: Clock,
    heard: Callable[[SoakNews], None],
    *,
    started_s: float | None = None,
    last_s: float | None = None,
    forecast: Callable[[Row], str] | None = None,
) -> SoakEnded:
    """Run a soak to its end.

    Parameters
    ----------
    plan : SoakPlan
    clock : Clock
    heard : callable
        Called with each row, gap and the end, on the calling thread.
    started_s : float, optional
        When the soak began by `clock`, to go on with one that was cut; now when left out.
    last_s : float, optional
        Time of its last row [s from the start]; the gap up to now is told first.
    forecast : callable, optional
        Looks at each row, also an empty one, and returns why to stop (the forecast will pass a limit), or
        nothing.

    Raises
    ------
    Exception
        What `heard` or `forecast` raises.
    """
    start = clock.now() if started_s is None else started_s
    due, missed = _first(plan, clock.now() - start, last_s, heard)
    round_ = _Round(plan)
    open_gaps: dict[str, tuple[float, str]] = {}
    why, complete = "", False
    while not why:
        if clock.wait(start + due * plan.interval_s - clock.now()):
            why = STOPPED
            break
        at_s = clock.now() - start
        found, lost = round_.read(clock)
        row = Row(at_s=at_s, due_s=due * plan.interval_s, samples=found)
        missed += len(lost)
        _gaps(row, lost, open_gaps, heard)
        if row.samples:
            heard(row)
        why = passed(plan.stops, row.samples) or (forecast(row) if forecast else "")
        due, late = _next(plan, due, clock.now() - start, heard)
        missed += late
        if not why and due * plan.interval_s > plan.duration_s + 1e-9:
            why, complete = "the time is up", True
    now = clock.now() - start
    for name, (began, reason) in open_gaps.items():
        heard(Gap(channel=name, from_s=began, to_s=now, why=reason))
    ended = SoakEnded(at_s=now, complete=complete, why=why, missed=missed)
    heard(ended)
    return ended


def _first(
    plan: SoakPlan, elapsed_s: float, last_s: float | None, heard: Callable[[SoakNews], None]
) -> tuple[int, int]:
    """Return which sample is due first and how many were missed; tell the gap of an interruption."""
    if last_s is None and elapsed_s < plan.interval_s:
        return 0, 0
    since = 0.0 if last_s is None else last_s
    due = int(elapsed_s // plan.interval_s) + 1
    why = "the soak was interrupted"
    heard(Gap(channel="", from_s=since, to_s=due * plan.interval_s, why=why, interrupted=True))
    taken = -1 if last_s is None else round(last_s / plan.interval_s)
    return due, max(0, due - taken - 1) * len(plan.channels)


class _Round:
    """Asks all channels at once, time after time; one that is tried again keeps no other waiting."""

    def __init__(self, plan: SoakPlan) -> None:
        self._channels = plan.channels
        takes: defaultdict[int, float] = defaultdict(float)
        for each in plan.channels:
            how = each.session.profile.measure(each.measure)
            takes[id(each.session)] += how.timeout_s + how.settling_s
        self._patience_s = max(plan.interval_s, max(takes.values(), default=0.0) + SLACK_S)
        self._short_s = WAIT_SHARE * plan.interval_s
        self._asked: dict[str, Request[Any]] = {}
        """Requests of an earlier round that are still under way."""
        self._failed: set[str] = set()

    def read(self, clock: Clock) -> tuple[dict[str, Sample], dict[str, str]]:
        """Return readings by name, and why others gave none."""
        self._drop_old()
        new = {each.name: each.ask() for each in self._channels if each.name not in self._asked}
        began = time.monotonic()
        wait_for([new[name] for name in new if name not in self._failed], self._patience_s)
        spent_s = time.monotonic() - began
        wait_for([new[name] for name in new if name in self._failed], max(0.0, self._short_s - spent_s))
        found: dict[str, Sample] = {}
        lost = dict.fromkeys(self._asked, "it is still being tried")
        for each in self._channels:
            asked = new.get(each.name)
            if asked is not None and not asked.done():
                self._asked[each.name] = asked
                lost[each.name] = "it did not answer in time, and is still being tried"
            elif asked is not None:
                try:
                    found[each.name] = answered(each, asked, clock)
                except MeterFailed as error:
                    lost[each.name] = str(error)
        self._failed = set(lost)
        return found, lost

    def _drop_old(self) -> None:
        """Forget answers to earlier rounds: they are of another moment, but say that the meter is back."""
        for name, asked in list(self._asked.items()):
            if asked.done():
                del self._asked[name]
                if asked.failure is None:
                    self._failed.discard(name)


def _gaps(
    row: Row, lost: dict[str, str], gaps: dict[str, tuple[float, str]], heard: Callable[[SoakNews], None]
) -> None:
    """Open a gap where a channel failed, and tell it when the channel is back."""
    for name, why in lost.items():
        gaps.setdefault(name, (row.due_s, why))
    for name in row.samples:
        if name in gaps:
            began, why = gaps.pop(name)
            heard(Gap(channel=name, from_s=began, to_s=row.due_s, why=why))


def _next(plan: SoakPlan, due: int, elapsed_s: float, heard: Callable[[SoakNews], None]) -> tuple[int, int]:
    """Return the next sample that can still be taken when it is due, and how many went by."""
    coming, last = due + 1, plan.duration_s / plan.interval_s + 1e-9
    # half an interval late is late, not missed
    while coming * plan.interval_s + 0.5 * plan.interval_s < elapsed_s:
        coming += 1
    late = int(min(coming - 1, last)) - due
    if late > 0:
        from_s, to_s = (due + 1) * plan.interval_s, min(coming * plan.interval_s, plan.duration_s)
        heard(Gap(channel="", from_s=from_s, to_s=to_s, why="the meters took longer than the interval"))
    return coming, max(0, late) * len(plan.channels)
