"""A soak of a run, sampled over the meters at hand and recorded as it goes.

The loads are set before the first sample, and off at the end, whatever the end is.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from ohmward.analysis.soak_outlook import Outlook
from ohmward.bench import soaking as engine
from ohmward.bench.inventory import Inventory
from ohmward.bench.messages import MeterFailed
from ohmward.bench.reading import read_together
from ohmward.bench.soaking import Gap, Row, SoakEnded, SoakNews, SoakPlan
from ohmward.bench.sweep import STOPPED, Point, stopped
from ohmward.logbook.events import SeriesBegun
from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.run.gates import admit
from ohmward.run.live import LiveRun
from ohmward.run.series import Series
from ohmward.run.state import Phase, RunState
from ohmward.taking.besides import besides
from ohmward.taking.hands import Hands, ToDo
from ohmward.taking.load_sweep import STILL_ON
from ohmward.taking.loads import Bank
from ohmward.taking.outlooks import Outlooks
from ohmward.taking.soak_plan import PlannedSoak
from ohmward.taking.soak_record import SoakRecord, number_of, require_real
from ohmward.taking.writer import Writer

LOOK_S = 10.0
"""The loads are asked this often whether they are as they were set [s]."""
SET_AGAIN = 3
"""So often a load that lost its connection, and so went off, is set again; after that the soak ends."""
FAST_S = 1.0
"""Samples that come faster than this are recorded beside the sampling, which a slow disk would make late."""
UNWATCHED_S = 300.0
"""A sensor with a stop limit that gave nothing for so long [s] ends the soak: nothing guards that part."""
_ALL = Point(label="all rails at rated current", current_a=1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class SoakStep:
    """How far a soak is, for whoever shows it."""

    words: str
    at_s: float
    of_s: float
    latest: Mapping[str, float | None]
    """The last value of each channel; None where it gave none."""
    outlooks: Mapping[str, Outlook]
    items: tuple[Item, ...] = ()
    """Points that were just recorded."""
    ended: SoakEnded | None = None


def run_soak(
    live: LiveRun,
    planned: PlannedSoak,
    inventory: Inventory,
    hands: Hands,
    *,
    stop: threading.Event,
    heard: Callable[[SoakStep], None],
) -> SoakEnded:
    """Drive a soak to its end and record it as it goes; waits, so it is called on a thread of its own.

    Every load under control is off when it returns or raises, or its session goes on trying and says so.
    It ends when the run is no longer live, when a stop limit is passed, when the whole of a forecast lies
    past one, and when a sensor that has one stays silent. A soak that was interrupted for longer than it had
    left begins again.

    Parameters
    ----------
    live : LiveRun
    planned : PlannedSoak
    inventory : Inventory
        The one that it was planned over.
    hands : Hands
    stop : Event
        Set by whoever wants it to end.
    heard : callable
        Called with each step forward, one at a time; on this thread, or while samples come fast on one that
        records beside it.

    Raises
    ------
    Refused
        When the gates do not admit it now, or a meter is one of the simulated bench and the run is no
        rehearsal; nothing was switched on.
    MeterFailed
        When a sensor with a stop limit gives no reading to begin with (nothing was switched on), the person
        gives up, or the loads could not be set.
    """
    admit(live.state, _begun(planned))
    planned = _still_wanted(live, planned)
    return _Soak(live, planned, inventory, hands, stop=stop, heard=heard).run(_begun(planned))


def _begun(planned: PlannedSoak) -> SeriesBegun:
    return SeriesBegun(
        step=planned.step, channels=planned.recorded, interval_s=planned.interval_s,
        duration_s=planned.duration_s, loads=planned.load_words, resumed=planned.resumes is not None,
        stops=tuple(
            f"{s.channel}: at most {show(s.high, unit)}"
            for s, unit in ((s, planned.unit_of(s.channel)) for s in planned.stops)
            if s.high is not None
        ),
    )  # fmt: skip


def _still_wanted(live: LiveRun, planned: PlannedSoak) -> PlannedSoak:
    """Return a soak to go on with; anew, where it was interrupted for longer than it had left."""
    if planned.resumes is None:
        return planned
    live.note(f"{planned.title}: going on after an interruption", planned.step)
    if (planned.resumes.last_s or 0.0) + _away_s(live, planned.resumes) < planned.duration_s:
        return planned
    live.note(f"{planned.title}: interrupted for longer than it had left: it begins again", planned.step)
    return replace(planned, resumes=None)


def _away_s(live: LiveRun, known: Series) -> float:
    """Return how long ago the last samples were recorded [s], by the journal's clock."""
    here = datetime.fromisoformat(live.journal.records[-1].at)
    return max(0.0, (here - datetime.fromisoformat(known.last_at)).total_seconds())


class _Soak:
    """A soak in hand."""

    def __init__(
        self, live: LiveRun, planned: PlannedSoak, inventory: Inventory, hands: Hands, *,
        stop: threading.Event, heard: Callable[[SoakStep], None],
    ) -> None:  # fmt: skip
        self._live, self._planned, self._hands = live, planned, hands
        self._stop, self._heard, self._clock = stop, heard, hands.clock(stop)
        sessions = {rail: inventory.driven(name) for rail, name in planned.loads.items()}
        self._bank = Bank(sessions, self._by_hand)
        self._bank.wanted = {_ALL.label: dict(planned.currents)}
        self._outlooks = Outlooks(planned)
        self._record = SoakRecord(live, planned)
        self._writer = Writer(beside=planned.interval_s < FAST_S)
        self._latest: dict[str, float | None] = {}
        self._at_s, self._looked_s, self._generation, self._set_again = 0.0, 0.0, 0, 0
        self._why, self._started = "", False
        self._seen_s: dict[str, float] = {}
        """When each sensor with a stop limit last gave a reading [s from the start]."""

    def run(self, begun: SeriesBegun) -> SoakEnded:
        """Run it; see `run_soak`."""
        unwatch = self._live.watch(self._look)
        try:
            self._look(self._live.state)
            ended = self._sampled(begun)
        except Exception as error:
            off = self._bank.off()  # before anything is written
            with besides(error):
                self._writer.finish()
            with besides(error):
                self._over(None, off=off)
            raise
        finally:
            off = self._bank.off()
            self._outlooks.close()
            unwatch()
        try:
            self._writer.finish()
        except Exception as error:
            with besides(error):
                self._over(None, off=off)
            raise
        return self._over(ended, off=off)

    def _sampled(self, begun: SeriesBegun) -> SoakEnded:
        """Set the loads and sample until it is over."""
        self._get_ready()
        self._bank.to(_ALL)
        self._generation = self._bank.generation
        self._live.do(begun)
        self._started = True
        since_s, last_s = self._clock_of(begun)
        plan = SoakPlan(
            channels=tuple(each.channel for each in self._planned.sensors),
            interval_s=self._planned.interval_s, duration_s=self._planned.duration_s,
            stops=self._planned.stops,
        )  # fmt: skip
        return engine.run(
            plan, self._clock, self._news, started_s=since_s, last_s=last_s, forecast=self._watch
        )

    def _get_ready(self) -> None:
        """Have the sensors looked at, and hands off, before the loads go on; each sensor has to answer."""
        places = tuple((each.meter, each.items[0]) for each in self._planned.sensors if each.items)
        lines = ("Every load under control goes on now, and comes off at the end.",)
        wanted = ToDo(heading=self._planned.title, places=places, lines=lines if self._planned.loads else ())
        if not self._hands.ready(self._live.state, wanted):
            raise MeterFailed("soak", "the person did not begin it")
        guards = [each for each in self._planned.sensors if each.stop is not None]
        _, failed = read_together(tuple(each.channel for each in guards), self._clock)
        for sensor in guards:
            if sensor.name in failed:
                raise failed[sensor.name]
            require_real(self._live.state, sensor)
        if self._stop.is_set():
            raise MeterFailed("soak", self._why or "it was stopped before it began")

    def _clock_of(self, begun: SeriesBegun) -> tuple[float, float | None]:
        """Return when the soak began by the clock, and the time of the last sample of one that was cut."""
        now, known = self._clock.now(), self._planned.resumes
        if not begun.resumed or known is None:
            return now, None
        return now - (known.last_s or 0.0) - _away_s(self._live, known), known.last_s

    def _over(self, ended: SoakEnded | None, *, off: bool) -> SoakEnded:
        """Record the end, and say it; loads set by hand are asked for when what was read is on the disk."""
        why = "it was broken off" if self._started else "it did not begin"
        why = ended.why if ended is not None else why
        why = stopped(self._why) if why == STOPPED else why
        found = ended or SoakEnded(at_s=self._at_s, complete=False, why=why, missed=0)
        found = replace(found, why=why)
        try:
            if self._started:
                self._record.last(ended)
        finally:
            off = self._bank.off_by_hand() and off
            try:
                if self._started:
                    self._record.end(ended, why, found.at_s, off=off)
            finally:
                if self._started or not off:
                    self._tell(f"{why}." if off else f"{why}. {STILL_ON}", ended=found)
        return found

    def _news(self, news: SoakNews) -> None:
        match news:
            case Row():
                self._at_s = news.at_s
                self._writer.hand(lambda: self._row(news))
            case Gap():
                self._writer.hand(lambda: self._gap(news))

    # on the thread that records

    def _row(self, row: Row) -> None:
        self._latest = {each.name: number_of(row.samples.get(each.name)) for each in self._planned.sensors}
        self._tell("sampling", items=self._record.row(row))

    def _gap(self, gap: Gap) -> None:
        self._record.gap(gap)
        self._tell(f"gap: {gap.channel or 'all channels'}: {gap.why}")

    def _note(self, words: str) -> None:
        self._record.flush()
        self._live.note(words, self._planned.step)

    # on the thread that samples

    def _watch(self, row: Row) -> str:
        """Look at the forecast, at what is silent and at the loads; return why to stop, or nothing."""
        values = tuple(number_of(row.samples.get(each.name)) for each in self._planned.sensors)
        why = (self._outlooks.add(row.at_s, values) if row.samples else "") or self._silent(row)
        if why or self._stop.is_set() or row.at_s - self._looked_s < LOOK_S:
            return why
        self._looked_s = row.at_s
        return self._loads_held()

    def _silent(self, row: Row) -> str:
        """Return the sensor that should guard its part, and has given nothing for too long."""
        limit_s = max(UNWATCHED_S, 3 * self._planned.interval_s)
        for each in self._planned.sensors:
            seen_s = self._seen_s.setdefault(each.name, row.at_s)
            if each.name in row.samples:
                self._seen_s[each.name] = row.at_s
            elif each.stop is not None and row.at_s - seen_s > limit_s:
                return (
                    f"{each.name} gave no reading for {(row.at_s - seen_s) / 60:.0f} min: nothing guards it"
                )
        return ""

    def _loads_held(self) -> str:
        """Set again a load that was reconnected, and so switched off; return why that is given up."""
        try:
            if self._bank.held(_ALL) and self._bank.generation == self._generation:
                return ""
            self._set_again += 1
            if self._set_again > SET_AGAIN:
                return "a load lost its connection again and again"
            self._bank.to(_ALL)
        except MeterFailed as error:
            return STOPPED if self._stop.is_set() else str(error)  # told to stop, they are being left
        self._generation = self._bank.generation
        words = f"{self._at_s / 60:.1f} min: a load had lost its connection and gone off; set again"
        self._writer.hand(lambda: self._note(words))
        return ""

    def _by_hand(self, loads: dict[str, float]) -> bool:
        wanted = ToDo(heading=self._planned.title, loads=loads, supply=self._live.state.supply)
        return self._hands.ready(self._live.state, wanted)

    def _look(self, state: RunState) -> None:
        """End the soak when the run is no longer live."""
        if state.phase is not Phase.LIVE and not self._stop.is_set():
            self._why = f"the run is {state.phase}"
            self._stop.set()

    def _tell(self, words: str, items: tuple[Item, ...] = (), ended: SoakEnded | None = None) -> None:
        self._heard(
            SoakStep(
                words=words, at_s=self._at_s, of_s=self._planned.duration_s, latest=dict(self._latest),
                outlooks=dict(self._outlooks.latest), items=items, ended=ended,
            )
        )  # fmt: skip
