"""A load sweep of a run, driven over the meters at hand and recorded as it goes.

Each load point becomes ordinary readings, judged and written one by one while the sweep goes on, so that
a sweep that is cut keeps what it had.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NoReturn

from ohmward.bench import sweep as engine
from ohmward.bench.inventory import Inventory
from ohmward.bench.messages import MeterFailed
from ohmward.bench.reading import Channel
from ohmward.bench.settled import Settle, Settled
from ohmward.bench.survey import how_settled
from ohmward.bench.sweep import Dwelling, Point, PointLost, PointTaken, SweepEnded, SweepNews, SweepPlan
from ohmward.errors import Refused
from ohmward.procedure.model import Item
from ohmward.quantity import Value, show, show_value
from ohmward.run.gates import admit, describe
from ohmward.run.live import LiveRun
from ohmward.run.state import Phase, RunState
from ohmward.taking.besides import besides
from ohmward.taking.choosing import is_fixed, probe
from ohmward.taking.guards import AS_IT_COMES, point_of
from ohmward.taking.hands import Hands, ToDo
from ohmward.taking.loads import Bank
from ohmward.taking.planning import DRAWN, PlannedSweep, Reader

SLACK_S = 600.0
"""Granted to each point above its dwell, for hands and slow meters."""
STILL_ON = "A LOAD MAY STILL BE ON: switch it off by hand."


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepStep:
    """How far a sweep is, for whoever shows it."""

    words: str
    done: int
    total: int
    item: Item | None = None
    """What was just recorded."""
    ended: SweepEnded | None = None
    dwell: Dwelling | None = None
    """How far the dwell of the point is, while it lasts."""


def run_sweep(
    live: LiveRun,
    planned: PlannedSweep,
    inventory: Inventory,
    hands: Hands,
    *,
    stop: threading.Event,
    heard: Callable[[SweepStep], None],
) -> SweepEnded:
    """Drive a sweep to its end and record it as it goes; waits, so it is called on a thread of its own.

    Every load under control is off when it returns or raises, or its session goes on trying and says so.
    It ends when the run is no longer live, when a stop limit is passed, and when a thermometer that
    watches a part gives nothing. A temperature past its stop is recorded at its point of the soak.

    Parameters
    ----------
    live : LiveRun
    planned : PlannedSweep
    inventory : Inventory
        The one that it was planned over.
    hands : Hands
    stop : Event
        Set by whoever wants it to end.
    heard : callable
        Called with each step forward, on this thread.

    Raises
    ------
    Refused
        When the gates do not admit a reading of it now; nothing was switched on.
    """
    for reader in planned.points[0].readers:
        admit(live.state, probe(reader.item))
    return _Sweep(live, planned, inventory, hands, stop=stop, heard=heard).run()


class _Sweep:
    """A sweep in hand; to the engine it is what sets the load of a point."""

    def __init__(
        self, live: LiveRun, planned: PlannedSweep, inventory: Inventory, hands: Hands, *,
        stop: threading.Event, heard: Callable[[SweepStep], None],
    ) -> None:  # fmt: skip
        self._live, self._planned = live, planned
        self._hands, self._stop, self._heard = hands, stop, heard
        self._points = {each.point.label: each for each in planned.points}
        self._places: dict[str, tuple[str, str]] = {}
        self._done, self._off = 0, True
        self._guarding = False
        self._warmest: dict[str, float] = {}
        """The highest temperature of each channel that is watched [°C]."""
        self._why = ""
        """Why it was told to stop; empty when the person did."""
        self._given_up = ""
        """Why it did not go on to a point."""
        sessions = {rail: inventory.driven(name) for rail, name in planned.loads.items()}
        self._bank = Bank(sessions, self._by_hand)
        self._bank.wanted = {label: dict(each.loads) for label, each in self._points.items()}

    def run(self) -> SweepEnded:
        plan = SweepPlan(
            points=tuple(each.point for each in self._planned.points), channels=(), stops=self._planned.stops,
            guards=self._planned.guards.names, settle_of=_settles(self._planned),
            limit_s=self._planned.takes_s + SLACK_S * len(self._points),
        )  # fmt: skip
        unwatch = self._live.watch(self._look)
        try:
            self._look(self._live.state)
            ended = engine.run(plan, self, self._hands.clock(self._stop), self._news)
        except Exception as error:
            with besides(error):
                self._over(SweepEnded(complete=False, why="it was broken off", load_off=self._off))
            raise
        finally:
            unwatch()
        return self._over(ended)

    @property
    def generation(self) -> int:
        """Changes when a load has been reconnected, and so switched off."""
        return self._bank.generation

    def to(self, point: Point) -> None:
        """Have the probes put where the point is read, and then its load set."""
        self._require_go()
        self._tell(f"{point.label}: setting the load")
        moved = [(r.meter, r.item) for r in self._points[point.label].readers if self._moves(r)]
        moved += self._guards_to_place()
        wanted = ToDo(heading=f"{self._planned.title}: {point.label}", places=tuple(moved))
        if moved and not self._hands.ready(self._live.state, wanted):
            self._give_up()
        self._require_go()
        self._bank.to(point)
        self._tell(f"{point.label}: {self._set(point)}; reading it at once")

    def _set(self, point: Point) -> str:
        return "load set" if any(self._points[point.label].loads.values()) else "no load"

    def _guards_to_place(self) -> list[tuple[str, Item]]:
        """Return the thermometers that have to be brought where they watch, once; those taped down are."""
        if self._guarding:
            return []
        self._guarding = True
        return [
            (each.meter, each.items[0])
            for each in self._planned.guards.sensors
            if each.channel.meter is None or not is_fixed(each.channel.meter, self._live.state.items)
        ]

    def _require_go(self) -> None:
        if self._stop.is_set():
            self._give_up()

    def _give_up(self) -> NoReturn:
        self._given_up = engine.stopped(self._why)
        raise MeterFailed("load", self._given_up)

    def held(self, point: Point) -> bool:
        """Return whether every load still is as it was set."""
        return self._bank.held(point)

    def off(self) -> bool:
        """Switch off what is under control; return False when something may still be on."""
        self._off = self._bank.off()
        return self._off

    def _over(self, ended: SweepEnded) -> SweepEnded:
        """Have loads set by hand taken off, and say how it ended; nobody waits for that with a record."""
        why = engine.stopped(self._why) if ended.why == engine.STOPPED else self._given_up or ended.why
        ended = replace(ended, why=why, load_off=self._bank.off_by_hand() and ended.load_off)
        words = f"{why}." if ended.load_off else f"{why}. {STILL_ON}"
        warm = ", ".join(f"{name} {show(value, '°C', decimals=1)}" for name, value in self._warmest.items())
        try:
            if warm:
                self._live.note(f"{self._planned.title}: warmest: {warm}")
            self._live.note(f"{self._planned.title}: ended: {words}")
        finally:
            self._tell(words, ended=ended)
        return ended

    def _moves(self, reader: Reader) -> bool:
        """Return whether a meter has to be put elsewhere for a reading, and remember where it then is."""
        place = (reader.item.rail, reader.item.read.quantity if reader.item.read else "")
        moves = self._places.get(reader.meter) != place
        self._places[reader.meter] = place
        return moves

    def _by_hand(self, loads: dict[str, float]) -> bool:
        heading, state = f"{self._planned.title}: the load", self._live.state
        return self._hands.ready(state, ToDo(heading=heading, loads=loads, supply=state.supply))

    def _look(self, state: RunState) -> None:
        """End the sweep when the run is no longer live."""
        if state.phase is not Phase.LIVE and not self._stop.is_set():
            self._why = f"the run is {state.phase}"
            self._stop.set()

    def _tell(self, words: str, item: Item | None = None, ended: SweepEnded | None = None) -> None:
        total = len(self._points)
        self._heard(SweepStep(words=words, done=self._done, total=total, item=item, ended=ended))

    def _dwells(self, news: Dwelling) -> None:
        over = news.at_s >= news.of_s
        stage = "its time is over; reading" if over else f"settling ({self._set(news.point)}, read at once)"
        words, total = f"{news.point.label}: {stage}", len(self._points)
        self._heard(SweepStep(words=words, done=self._done, total=total, dwell=None if over else news))

    def _news(self, news: SweepNews) -> None:
        match news:
            case Dwelling():
                self._dwells(news)
            case PointTaken():
                self._done += 1
                self._record(news)
            case PointLost():
                self._lost(news)
            case SweepEnded():
                pass  # told by `_over`, once the loads set by hand are off too

    def _lost(self, news: PointLost) -> None:
        item = self._points[news.point.label].readers[0].item
        for error in news.failed:
            self._live.attempts_failed(item.step, item.subject, error.meter, error.attempts)
        why = engine.stopped(self._why) if news.why == engine.STOPPED else news.why
        words = f"{news.point.label}: not read: {why}"
        self._live.note(f"{self._planned.title}: {words}")
        self._tell(words)

    def _record(self, news: PointTaken) -> None:
        """Record the readings of a point: conditions first; what is past a stop last, as it halts the run."""
        drawn = news.settled.get(DRAWN)
        readers = [r for r in self._points[news.point.label].readers if r.channel.name in news.settled]
        self._watch(news)
        for reader in sorted(readers, key=lambda each: self._order(each, news)):
            item, settled = reader.item, news.settled[reader.channel.name]
            immediate = news.immediate.get(reader.channel.name)
            self._measure(
                item, settled, reader.channel, news, meter=reader.meter,
                immediate=None if immediate is None else immediate.value,
                drawn=None if drawn is None or drawn.mean is None else drawn.value,
            )  # fmt: skip
        for sensor in self._planned.guards.sensors:
            if sensor.name in news.settled and self._past(sensor.channel, news):
                self._measure(
                    point_of(self._live.state, sensor), news.settled[sensor.name], sensor.channel, news,
                    meter=sensor.meter, note=f"read in '{self._planned.title}', {news.point.label}",
                )  # fmt: skip

    def _measure(
        self, item: Item, settled: Settled, channel: Channel, news: PointTaken, *, meter: str,
        note: str = "", immediate: Value | None = None, drawn: Value | None = None,
    ) -> None:  # fmt: skip
        said = show_value(settled.value)
        try:
            self._live.measure(
                item.step, item.subject, settled, meter=meter, identity=channel.session.identity,
                function=channel.function, note=note, immediate=immediate, drawn=drawn, unattended=True,
            )  # fmt: skip
        except Refused as refusal:
            # never lost: what the gates do not take stands as a note, and the sweep ends
            words = "; ".join(each for each in (note, f"not taken: {refusal}") if each)
            self._live.note(f"read {said}, and {words}", item.step, item.subject)
            self._why = str(refusal)
            self._stop.set()
            self._tell(f"{describe(item)}: {refusal}")
        else:
            self._tell(f"{news.point.label}: {item.title}: {said}", item)

    def _watch(self, news: PointTaken) -> None:
        for sensor in self._planned.guards.sensors:
            settled = news.settled.get(sensor.name)
            if settled is not None and settled.mean is not None:
                self._warmest[sensor.name] = max(settled.mean, self._warmest.get(sensor.name, settled.mean))

    def _order(self, reader: Reader, news: PointTaken) -> tuple[bool, bool]:
        read = reader.item.read
        return self._past(reader.channel, news), not (read is not None and read.condition)

    def _past(self, channel: Channel, news: PointTaken) -> bool:
        value = news.settled[channel.name].value
        return any(s.channel == channel.name and s.passed(value) for s in self._planned.stops)


def _settles(planned: PlannedSweep) -> dict[str, Settle]:
    """Return when a reading of each channel counts as settled."""
    found = {}
    for channel in (channel for each in planned.points for channel in each.point.channels):
        if channel.meter is not None:
            measure = channel.session.profile.measure(channel.measure)
            found[channel.name] = how_settled(channel.meter, measure.unit, measure.function)
    return found | dict.fromkeys(planned.guards.names, AS_IT_COMES)
