"""A load sweep: load points with a dwell, an immediate and a settled reading at each, and stop limits.

`run` waits, so it is called on a thread of its own (`background.start`); it says what happens through
`heard`. The load is off when it returns or raises, whatever happened: and if it cannot be reached, its
session goes on trying and saying so.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

import msgspec

from ohmward.bench.attempt import Attempt
from ohmward.bench.clock import Clock
from ohmward.bench.leaving import told_to_end
from ohmward.bench.messages import MeterFailed
from ohmward.bench.reading import Channel, Stop, passed, read_together
from ohmward.bench.request import Request
from ohmward.bench.session import Session
from ohmward.bench.settled import Sample, Settle, Settled, Settling

SWITCH_LIMIT_S = 60.0
WATCH_S = 5.0
"""The stop limits are looked at this often while a load dwells [s]."""
STOPPED = "stopped by the person"


def stopped(why: str = "") -> str:
    """Return why something was stopped: `why` where it is known, the end of the process, or the person."""
    return why or told_to_end() or STOPPED


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One load point."""

    label: str
    """As in the procedure: '50 %'."""
    current_a: float
    """0 is no load: the load is off."""
    channels: tuple[Channel, ...] = ()
    """What is read at it; the plan's channels when empty."""
    dwell_s: float | None = None
    """From its immediate reading to its settled one; the plan's dwell when None."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepPlan:
    """What a sweep does at each point."""

    points: tuple[Point, ...]
    channels: tuple[Channel, ...]
    dwell_s: float = 2.0
    """From the immediate reading to the settled one."""
    settle: Settle = field(default_factory=Settle)
    settle_of: Mapping[str, Settle] = field(default_factory=dict)
    """When a reading of a channel counts as settled, where that differs from `settle`."""
    stops: tuple[Stop, ...] = ()
    guards: frozenset[str] = frozenset()
    """Channels that are read only to be watched: where one gives nothing, the sweep ends."""
    limit_s: float = 3600.0
    """Of the whole sweep."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dwelling:
    """The load of a point is set and was read at once; how much of its dwell is over."""

    point: Point
    at_s: float
    of_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PointTaken:
    """A point is done: load effect read at once, and after the dwell.

    Where a stop limit was passed, with what was read by then.
    """

    point: Point
    immediate: dict[str, Sample]
    settled: dict[str, Settled]


@dataclass(frozen=True, slots=True, kw_only=True)
class PointLost:
    """A point could not be read, or the load was reconnected (and so switched off) in the middle of it."""

    point: Point
    why: str
    failed: tuple[MeterFailed, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepEnded:
    """The sweep is over and the load off (or being switched off)."""

    complete: bool
    why: str
    load_off: bool


SweepNews = Dwelling | PointTaken | PointLost | SweepEnded


class Setter(Protocol):
    """Whatever sets the load of a point."""

    @property
    def generation(self) -> int:
        """Changes when a load has been reconnected, and so switched off."""

    def to(self, point: Point) -> None:
        """Set it; raises MeterFailed when it cannot be."""

    def held(self, point: Point) -> bool:
        """Return whether it still is as it was set."""

    def off(self) -> bool:
        """Switch off; return False when something may still be on."""


class ByHand:
    """A load that a person sets: dummy resistors, one prompt a point.

    Parameters
    ----------
    ask : callable
        Shows the prompt and returns when the person has done it; False when they give up.
    """

    def __init__(self, ask: Callable[[Point], bool]) -> None:
        self._ask = ask

    @property
    def generation(self) -> int:
        """A resistor is never reconnected."""
        return 0

    def to(self, point: Point) -> None:
        """Have it set."""
        if not self._ask(point):
            raise MeterFailed("load", "the person ended the sweep")

    def held(self, point: Point) -> bool:
        """A resistor stays where it is."""
        return True

    def off(self) -> bool:
        """Have it taken off."""
        return self._ask(Point(label="no load", current_a=0.0))


class ByLoad:
    """An electronic load."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._unsure = False
        """It was told to switch on, and has not said that it did."""

    @property
    def generation(self) -> int:
        """Changes when the load has been reconnected, and so switched off."""
        return self._session.generation

    def to(self, point: Point) -> None:
        """Set the current first, then switch on."""
        if point.current_a <= 0:
            self._wait(self._session.switch(on=False))
            self._unsure = False
            return
        self._wait(self._session.set("current", point.current_a), give_up=True)
        if not self._session.on:
            self._unsure = True
            self._wait(self._session.switch(on=True), give_up=True)
            self._unsure = False

    def held(self, point: Point) -> bool:
        """Return whether it still is as it was set: a lost connection shows only when it is asked."""
        self._wait(self._session.check())
        return self._session.on == (point.current_a > 0)

    def off(self) -> bool:
        """Switch off; return False when it may still be on (its session keeps trying)."""
        if not self._session.on and not self._unsure:
            return True
        try:
            self._wait(self._session.switch(on=False))
        except MeterFailed:
            if self._session.leaving:  # what it is not told any more it does by itself
                with suppress(TimeoutError):
                    return self._session.left.result(SWITCH_LIMIT_S)
            return not self._session.on and not self._unsure
        self._unsure = False
        return True

    def _wait(self, asked: Request[Any], *, give_up: bool = False) -> None:
        """Wait for the load; what it has not begun when given up, it never does."""
        try:
            asked.result(SWITCH_LIMIT_S)
        except TimeoutError as error:
            if give_up:
                asked.take_back()
            raise MeterFailed(self._session.name, f"no answer within {SWITCH_LIMIT_S:g} s") from error


def run(plan: SweepPlan, load: Setter, clock: Clock, heard: Callable[[SweepNews], None]) -> SweepEnded:
    """Run a sweep to its end; returns, and tells, how it ended."""
    why, complete = "it did not begin", False
    try:
        why, complete = _points(plan, load, clock, heard)
    except MeterFailed as error:
        why = STOPPED if clock.wait(0.0) else str(error)
    finally:
        # also when `heard` raises: the load goes off before anything is passed on
        off = load.off()
    ended = SweepEnded(complete=complete, why=why, load_off=off)
    heard(ended)
    return ended


def _points(
    plan: SweepPlan, load: Setter, clock: Clock, heard: Callable[[SweepNews], None]
) -> tuple[str, bool]:
    end = clock.now() + plan.limit_s
    lost = 0
    for point in plan.points:
        if clock.now() > end:
            return f"the time of {plan.limit_s:g} s was up before {point.label}", False
        load.to(point)
        generation = load.generation
        news, stop = _point(plan, point, clock, heard)
        if stop:
            load.off()  # before anything is passed on
        elif isinstance(news, PointTaken) and not (load.held(point) and load.generation == generation):
            news = PointLost(point=point, why="the load was reconnected, and so switched off, meanwhile")
        lost += isinstance(news, PointLost)
        heard(news)
        if stop:
            return stop, False
    return (f"{lost} of {len(plan.points)} points were lost" if lost else "all points taken"), lost == 0


def _point(
    plan: SweepPlan, point: Point, clock: Clock, heard: Callable[[SweepNews], None]
) -> tuple[PointTaken | PointLost, str]:
    """Read one point; the second result is why the sweep has to stop, if it has to."""
    channels = point.channels or plan.channels
    immediate, failed = read_together(channels, clock)
    stop = passed(plan.stops, immediate)
    if stop:
        return _past(plan, point, immediate, immediate), stop
    if failed:
        return _lost(plan, point, failed, clock)
    attempts: defaultdict[str, tuple[Attempt, ...]] = defaultdict(tuple)
    for name, sample in immediate.items():
        attempts[name] += sample.failed
    stop, found = _dwell(plan, point, clock, attempts, heard)
    if stop == STOPPED:
        return PointLost(point=point, why=STOPPED), STOPPED
    if stop:
        return _past(plan, point, immediate, found), stop
    taken, stop = _settle(plan, point, immediate, clock)
    if isinstance(taken, PointTaken):
        settled = {
            name: msgspec.structs.replace(each, failed=(*attempts[name], *each.failed))
            for name, each in taken.settled.items()
        }
        taken = replace(taken, settled=settled)
    return taken, stop


def _dwell(
    plan: SweepPlan,
    point: Point,
    clock: Clock,
    attempts: dict[str, tuple[Attempt, ...]],
    heard: Callable[[SweepNews], None],
) -> tuple[str, dict[str, Sample]]:
    """Let the load dwell, with an eye on the stop limits; return why to stop, and what was read then."""
    of_s = plan.dwell_s if point.dwell_s is None else point.dwell_s
    end = clock.now() + of_s
    while True:
        left = end - clock.now()
        heard(Dwelling(point=point, at_s=min(of_s, of_s - left), of_s=of_s))
        if clock.wait(max(0.0, min(left, WATCH_S))):
            return STOPPED, {}
        if left <= WATCH_S:
            heard(Dwelling(point=point, at_s=of_s, of_s=of_s))
            return "", {}
        found, failed = read_together(point.channels or plan.channels, clock)
        for name, sample in found.items():
            attempts[name] += sample.failed
        for name, error in failed.items():  # it is asked again when the point is read
            attempts[name] += error.attempts
        if stop := passed(plan.stops, found):
            return stop, found


def _settle(
    plan: SweepPlan, point: Point, immediate: dict[str, Sample], clock: Clock
) -> tuple[PointTaken | PointLost, str]:
    """Read all channels together until each has settled, or the time is up."""
    channels = point.channels or plan.channels
    each = {channel.name: Settling(plan.settle_of.get(channel.name, plan.settle)) for channel in channels}
    end = clock.now() + max((settling.how.limit_s for settling in each.values()), default=0.0)
    stop = ""
    while not stop:
        found, failed = read_together(channels, clock)
        if past := passed(plan.stops, found):
            return _past(plan, point, immediate, found), past  # by itself: a mean may lie within
        if failed:
            return _lost(plan, point, failed, clock)
        for name, sample in found.items():
            each[name].add(sample)
        if all(settling.done for settling in each.values()) or clock.now() >= end:
            break
        if clock.wait(plan.settle.interval_s):
            stop = STOPPED
    settled = {
        channel.name: each[channel.name].result(channel.meter, channel.function) for channel in channels
    }
    return PointTaken(point=point, immediate=immediate, settled=settled), stop


def _lost(
    plan: SweepPlan, point: Point, failed: Mapping[str, MeterFailed], clock: Clock
) -> tuple[PointLost, str]:
    """Return a point of which some channels gave nothing, and why the sweep has to stop, if it has to."""
    errors = tuple(failed.values())
    if clock.wait(0.0):  # its meters are being left: that is no fault of theirs
        return PointLost(point=point, why=STOPPED, failed=errors), STOPPED
    lost = PointLost(point=point, why="; ".join(str(each) for each in errors), failed=errors)
    return lost, _unguarded(plan, failed)


def _unguarded(plan: SweepPlan, failed: Mapping[str, MeterFailed]) -> str:
    """Return why the sweep ends when a channel that guards a part gave nothing; empty when all did."""
    gone = [name for name in failed if name in plan.guards]
    return f"{gone[0]} gave no reading: nothing guards it ({failed[gone[0]]})" if gone else ""


def _past(
    plan: SweepPlan, point: Point, immediate: dict[str, Sample], found: dict[str, Sample]
) -> PointTaken:
    """Return a point that ended at a stop limit: one reading of each channel that gave one."""
    channels = {channel.name: channel for channel in point.channels or plan.channels}
    settled = {}
    for name, sample in found.items():
        settling = Settling(plan.settle)
        settling.add(sample)
        settled[name] = settling.result(channels[name].meter, channels[name].function)
    return PointTaken(point=point, immediate=immediate, settled=settled)
