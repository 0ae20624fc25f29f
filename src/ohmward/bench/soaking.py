"""A soak: several channels sampled at an interval for hours; a gap is recorded as a gap.

Sample k is due at k times the interval from the start, so that the times do not drift with the time a
reading takes. What could not be read, or was not due in time, is a `Gap` that says from when to when and
why; nothing is filled in. `run` waits: call it on a thread of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ohmward.bench.clock import Clock
from ohmward.bench.reading import Channel, Stop, passed, read_together
from ohmward.bench.settled import Sample
from ohmward.bench.sweep import STOPPED


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
    open_gaps: dict[str, tuple[float, str]] = {}
    why, complete = "", False
    while not why:
        if clock.wait(start + due * plan.interval_s - clock.now()):
            why = STOPPED
            break
        row, lost = _row(plan, clock, start, due)
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


def _row(plan: SoakPlan, clock: Clock, start: float, due: int) -> tuple[Row, dict[str, str]]:
    at_s = clock.now() - start
    found, failed = read_together(plan.channels, clock)
    row = Row(at_s=at_s, due_s=due * plan.interval_s, samples=found)
    return row, {name: str(error) for name, error in failed.items()}


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
