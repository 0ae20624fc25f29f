"""A rail loaded beyond its rating by an electronic load, to see its limiter take hold and let go again.

The load asks for more current, step by step, until the output gives way; so it stays for a few seconds, as
a short would, and comes off. What was seen is a note on the step: whether that is as the design has it is
for the person to answer.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass

from ohmward.bench.clock import Clock
from ohmward.bench.inventory import Inventory
from ohmward.bench.messages import MeterFailed
from ohmward.bench.meters import is_simulated
from ohmward.bench.reading import Channel, Stop, passed, read_together
from ohmward.bench.settled import Sample
from ohmward.bench.sweep import ByLoad, Point, SweepEnded, stopped
from ohmward.errors import Refused
from ohmward.logbook.events import Answered
from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.run.gates import admit, describe
from ohmward.run.live import LiveRun
from ohmward.run.state import Phase, RunState
from ohmward.taking.choosing import require_known
from ohmward.taking.guards import Guards, guards_for, record_hot
from ohmward.taking.hands import Hands, ToDo
from ohmward.taking.load_sweep import STILL_ON, SweepStep
from ohmward.taking.loads import load_of

STEP, MOST = 0.05, 1.3
"""Of the limiter's current: from one step to the next, and where it is given up (common practice, no
source)."""
AT_STEP_S, IN_LIMIT_S, BACK_S = 2.0, 5.0, 2.0
"""At each step, in the limit, and given to the output to be back [s]; the last two as the step asks."""
GIVES_WAY, BACK_WITHIN = 0.9, 0.001
"""Below this share of its no-load voltage the output has given way; within this share it is back."""
OVER = 1.2
"""A load that draws so many times what it was set to is not under control (common practice, no source)."""
VOLTS, AMPS = "output", "current drawn by the load"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedOverload:
    """An overload as it will be driven."""

    item: Item
    load: str
    limit_a: float
    """Of the design sheet."""
    steps_a: tuple[float, ...]
    volts: Channel
    amps: Channel
    guards: Guards

    @property
    def title(self) -> str:
        """What it is called."""
        return f"{self.item.spec.title}, {self.item.rail}"

    @property
    def takes_s(self) -> float:
        """How long it takes at most [s]."""
        return len(self.steps_a) * AT_STEP_S + IN_LIMIT_S + BACK_S


def plan_overload(state: RunState, item: Item, inventory: Inventory) -> PlannedOverload:
    """Plan the overload of a rail.

    Raises
    ------
    Refused
        When the step is none, the design sheet gives the rail no limiter, no electronic load is on it, or
        the load is not the one that the run knows.
    InputError
        When the load's entry or profile cannot be used.
    """
    if item.spec.drive != "overload" or state.supply is None or not item.rail:
        raise Refused("overload", [f"{describe(item)} is no overload"], "Do it by hand, and answer it")
    rail = state.supply.rail(item.rail)
    limit_a = None if rail.regulator is None else rail.regulator.current_limit_a
    if limit_a is None:
        raise Refused(
            "overload",
            [f"the design sheet gives {item.rail} no limiter: nothing is known to stop the current"],
            "Add current_limit to its regulator; a rail without one is not overloaded",
        )
    load = load_of(state, item.rail, inventory.meters.values())
    if not load:
        raise Refused("meter", [f"no electronic load is on {item.rail}"], "Do it by hand, and answer it")
    require_known(state, load, inventory.meters)
    profile = inventory.driven(load).profile
    names = {m.function: m.name for m in profile.measures}
    if not {"dc volts", "dc amps"} <= set(names):
        raise Refused("meter", [f"'{load}' does not say what it draws, and at what voltage"], "Do it by hand")
    steps, amps = [], rail.rated_current_a
    while amps <= MOST * limit_a:
        steps.append(amps)
        amps += STEP * limit_a
    return PlannedOverload(
        item=item, load=load, limit_a=limit_a, steps_a=tuple(steps),
        volts=inventory.channel(load, names["dc volts"], called=VOLTS),
        amps=inventory.channel(load, names["dc amps"], called=AMPS),
        guards=guards_for(state, {item.rail}, inventory, [load]),
    )  # fmt: skip


def run_overload(
    live: LiveRun,
    planned: PlannedOverload,
    inventory: Inventory,
    hands: Hands,
    *,
    stop: threading.Event,
    heard: Callable[[SweepStep], None],
) -> SweepEnded:
    """Drive an overload to its end; waits, so it is called on a thread of its own.

    The load is off when it returns or raises, or its session goes on trying and says so. It ends when the
    run is no longer live, past a stop limit, and when a channel gives nothing.

    Raises
    ------
    Refused
        When the gates do not admit an answer of the step now, or the load is one of the simulated bench and
        the run is no rehearsal; nothing was switched on.
    """
    item = planned.item
    admit(live.state, Answered(step=item.step, subject=item.subject, answer="fail"))
    return _Overload(live, planned, inventory, hands, stop=stop, heard=heard).run()


class _Overload:
    def __init__(
        self, live: LiveRun, planned: PlannedOverload, inventory: Inventory, hands: Hands, *,
        stop: threading.Event, heard: Callable[[SweepStep], None],
    ) -> None:  # fmt: skip
        self._live, self._planned, self._hands = live, planned, hands
        self._stop, self._heard, self._done = stop, heard, 0
        self._clock: Clock = hands.clock(stop)
        self._load = ByLoad(inventory.driven(planned.load))
        self._why = ""
        self._hot: dict[str, Sample] = {}
        """What was past its stop limit."""

    def run(self) -> SweepEnded:
        unwatch = self._live.watch(self._look)
        why, complete, off = "it was broken off", False, False
        try:
            self._look(self._live.state)
            why, complete = self._driven(), True
        except MeterFailed as error:
            why = self._why or str(error)
        finally:
            off = self._load.off()  # before anything is written
            unwatch()
            ended = SweepEnded(complete=complete, why=why, load_off=off)
            self._over(ended)
        return ended

    def _driven(self) -> str:
        """Load the rail step by step; return what was seen.

        Raises
        ------
        MeterFailed
            When it has to end before.
        """
        planned = self._planned
        wanted = ToDo(heading=planned.title, lines=("Eyes on the current, a hand on the switch.",))
        if not self._hands.ready(self._live.state, wanted):
            raise MeterFailed(planned.load, stopped())
        before = self._read(0.0)
        if is_simulated(planned.volts.session.identity) and not self._live.state.simulated:
            raise Refused(
                "simulated",
                [f"'{planned.load}' is a meter of the simulated bench, and this run is not a rehearsal"],
                "Take a real load; to rehearse, start a run with --rehearsal",
            )
        gave_way = self._climb(abs(before))
        self._to(Point(label="no load", current_a=0.0))
        self._wait(BACK_S)
        after = self._read(0.0)
        off_pct = 100 * abs(after - before) / abs(before) if before else 100.0
        back = "back" if off_pct <= 100 * BACK_WITHIN else "NOT BACK"
        rest = (
            f"{BACK_S:g} s after the load came off {show(after, 'V')}, before it {show(before, 'V')}: {back}"
        )
        return (
            f"{gave_way}; {rest}"
            if gave_way
            else f"did not limit up to {show(planned.steps_a[-1], 'A')}; {rest}"
        )

    def _climb(self, no_load_v: float) -> str:
        held = ""
        for amps in self._planned.steps_a:
            self._to(Point(label="overload", current_a=amps))
            self._wait(AT_STEP_S)
            volts = self._read(amps)
            self._done += 1
            self._tell(f"{show(amps, 'A')} asked: {show(volts, 'V')}")
            if abs(volts) < GIVES_WAY * no_load_v:
                self._in_limit(amps)
                sheet = show(self._planned.limit_a, "A")
                return f"{held}gives way when {show(amps, 'A')} is asked (sheet: {sheet}), {show(volts, 'V')}"
            held = f"holds {show(volts, 'V')} at {show(amps, 'A')}; "
        return ""

    def _in_limit(self, amps: float) -> None:
        """Stay as a short would for its seconds, with an eye on what gets warm."""
        for _ in range(int(IN_LIMIT_S)):
            self._wait(1.0)
            self._read(amps)

    def _read(self, set_a: float) -> float:
        """Read all together; return the output voltage [V]."""
        planned = self._planned
        watched = tuple(each.channel for each in planned.guards.sensors)
        found, failed = read_together((planned.volts, planned.amps, *watched), self._clock)
        drawn = (Stop(channel=AMPS, high=OVER * set_a),) if set_a > 0 else ()
        past = passed((*planned.guards.stops, *drawn), found)
        if past:
            self._load.off()
            self._hot = {
                s.channel: found[s.channel]
                for s in planned.guards.stops
                if s.channel in found and s.passed(found[s.channel].value)
            }
            raise MeterFailed(planned.load, past)
        if failed:
            self._wait(0.0)
            raise next(iter(failed.values()))
        return _number(planned.load, found[VOLTS])

    def _to(self, point: Point) -> None:
        try:
            self._load.to(point)
        except MeterFailed:
            self._wait(0.0)
            raise

    def _wait(self, seconds: float) -> None:
        """Wait; told to stop meanwhile or before, that is what ends it: its meters are being left."""
        if self._clock.wait(seconds) or self._stop.is_set():
            raise MeterFailed(self._planned.load, stopped(self._why))

    def _look(self, state: RunState) -> None:
        """End it when the run is no longer live."""
        if state.phase is not Phase.LIVE and not self._stop.is_set():
            self._why = f"the run is {state.phase}"
            self._stop.set()

    def _over(self, ended: SweepEnded) -> None:
        words = f"{ended.why}." if ended.load_off else f"{ended.why}. {STILL_ON}"
        item = self._planned.item
        for name, sample in self._hot.items():
            record_hot(self._live, self._planned.guards.sensor(name), sample, self._planned.title)
        try:
            self._live.note(f"by '{self._planned.load}': {words}", item.step, item.subject)
        finally:
            self._tell(words, ended)

    def _tell(self, words: str, ended: SweepEnded | None = None) -> None:
        total = len(self._planned.steps_a)
        self._heard(SweepStep(words=words, done=self._done, total=total, ended=ended))


def _number(meter: str, sample: Sample) -> float:
    if sample.value.number is None:
        raise MeterFailed(meter, "the output voltage is over its range")
    return sample.value.si
