"""Sweeps and soaks over real sessions, with a clock that is passed in."""

from __future__ import annotations

import threading

import msgspec
import pytest

from ohmward.bench import profile, soaking, sweep
from ohmward.bench.clock import WallClock
from ohmward.bench.reading import Channel, Stop
from ohmward.bench.session import Session
from ohmward.bench.settled import Settle
from ohmward.bench.soaking import Gap, Row, SoakEnded, SoakPlan
from ohmward.bench.sweep import ByHand, ByLoad, Dwelling, Point, PointLost, PointTaken, SweepEnded, SweepPlan
from support.scpi import Instrument, Server


class FakeClock:
    """Waits take no time; `now` moves by them."""

    def __init__(self) -> None:
        self.time_s = 100.0
        self.stopped = False

    def now(self) -> float:
        return self.time_s

    def wait(self, seconds: float) -> bool:
        self.time_s += max(0.0, seconds)
        return self.stopped


def quick(name: str) -> profile.Profile:
    found = profile.load(name)
    return msgspec.structs.replace(
        found,
        timeout_s=0.3,
        measures=tuple(
            msgspec.structs.replace(each, timeout_s=0.3, settling_s=0.0) for each in found.measures
        ),
        settings=tuple(msgspec.structs.replace(each, settling_s=0.0) for each in found.settings),
    )


POINTS = (
    Point(label="0 %", current_a=0.0),
    Point(label="50 %", current_a=0.6),
    Point(label="100 %", current_a=1.2),
)


class Bench:
    def __init__(self, reply: str = "1.5000E+01") -> None:
        self.load_end = Server(Instrument(idn="Workshop,Load,1,1"))
        self.meter_end = Server(Instrument(fixed={"READ?": reply}))
        self.load = Session("load", self.load_end.visa, quick("load"))
        self.meter = Session("multimeter", self.meter_end.visa, quick("multimeter"))
        self.channel = Channel(name="output", session=self.meter, measure="dc volts")

    def __enter__(self) -> Bench:
        return self

    def __exit__(self, *_: object) -> None:
        for session in (self.load, self.meter):
            session.close()
        for server in (self.load_end, self.meter_end):
            server.stop()


def test_a_sweep_keeps_the_immediate_and_the_settled_value_of_each_point() -> None:
    news: list[object] = []
    with Bench() as bench:
        plan = SweepPlan(points=POINTS, channels=(bench.channel,), settle=Settle(count=3))
        ended = sweep.run(plan, ByLoad(bench.load), FakeClock(), news.append)
        told = [line for line in bench.load_end.instrument.asked if line.startswith(("CURR ", "INP "))]
        assert not bench.load_end.instrument.load_on
    taken = [each for each in news if isinstance(each, PointTaken)]
    assert [each.point.label for each in taken] == ["0 %", "50 %", "100 %"]
    for each in taken:
        assert each.immediate["output"].value.si == 15.0
        assert (each.settled["output"].mean, each.settled["output"].count) == (15.0, 3)
    assert ended == SweepEnded(complete=True, why="all points taken", load_off=True)
    assert told == ["INP OFF", "CURR 0", "CURR 0.6", "INP ON", "CURR 1.2", "INP OFF", "CURR 0"]


def test_a_sweep_tells_how_much_of_a_dwell_is_over() -> None:
    news: list[object] = []
    with Bench() as bench:
        plan = SweepPlan(points=POINTS[1:2], channels=(bench.channel,), dwell_s=12.0, settle=Settle(count=3))
        sweep.run(plan, ByLoad(bench.load), FakeClock(), news.append)
    dwelling = [each for each in news if isinstance(each, Dwelling)]
    assert [(each.at_s, each.of_s) for each in dwelling] == [(0, 12), (5, 12), (10, 12), (12, 12)]
    assert isinstance(news[len(dwelling)], PointTaken)  # told before it, and no more after


@pytest.mark.parametrize(
    ("reply", "stop", "words"),
    [
        ("1.6500E+01", Stop(channel="output", high=16.0), "above the stop limit of 16 V"),
        ("1.2000E+01", Stop(channel="output", low=14.0), "below the stop limit of 14 V"),
        ("9.9E37", Stop(channel="output", high=16.0), "over its range"),
    ],
)
def test_a_stop_limit_ends_it_with_the_load_off(reply: str, stop: Stop, words: str) -> None:
    off_when_told: list[bool] = []
    with Bench(reply) as bench:
        plan = SweepPlan(points=POINTS[1:], channels=(bench.channel,), settle=Settle(count=2), stops=(stop,))
        ended = sweep.run(
            plan, ByLoad(bench.load), FakeClock(),
            lambda _: off_when_told.append(not bench.load_end.instrument.load_on),
        )  # fmt: skip
        assert not bench.load_end.instrument.load_on
    assert not ended.complete
    assert words in ended.why
    assert off_when_told == [True, True]  # the point and the end: off before anyone is told


def test_a_stop_limit_passed_only_while_it_settles_ends_it_whatever_the_mean_is() -> None:
    news: list[object] = []
    with Bench() as bench:
        clock = FakeClock()
        wait = clock.wait

        def warm(seconds: float) -> bool:
            bench.meter_end.instrument.fixed["READ?"] = "1.6500E+01"  # after the immediate reading
            return wait(seconds)

        clock.wait = warm  # type: ignore[method-assign]
        stop = Stop(channel="output", high=16.0)
        plan = SweepPlan(points=POINTS[1:], channels=(bench.channel,), settle=Settle(count=3), stops=(stop,))
        ended = sweep.run(plan, ByLoad(bench.load), clock, news.append)
        assert not bench.load_end.instrument.load_on
    assert not ended.complete
    assert "above the stop limit of 16 V" in ended.why
    (taken,) = [each for each in news if isinstance(each, PointTaken)]
    assert taken.immediate["output"].value.si == 15.0
    assert (taken.settled["output"].mean, taken.settled["output"].count) == (16.5, 1)


def test_the_load_is_off_when_a_listener_raises() -> None:
    def broken(_: object) -> None:
        raise RuntimeError("disk full")

    with Bench() as bench:
        plan = SweepPlan(points=POINTS[1:], channels=(bench.channel,), settle=Settle(count=2))
        with pytest.raises(RuntimeError):
            sweep.run(plan, ByLoad(bench.load), FakeClock(), broken)
        assert not bench.load_end.instrument.load_on


def test_a_load_that_is_being_left_is_off_when_its_owner_says_so() -> None:
    with Bench() as bench:
        load, busy = ByLoad(bench.load), threading.Event()
        load.to(POINTS[-1])
        bench.load.submit(lambda _: busy.wait(5.0), what="a slow question")
        bench.load.begin_leaving()
        threading.Timer(0.1, busy.set).start()
        assert load.off()
        assert not bench.load_end.instrument.load_on


def test_a_point_in_which_the_load_was_lost_is_no_point() -> None:
    news: list[object] = []
    with Bench() as bench:
        clock = FakeClock()
        wait = clock.wait

        def cut(seconds: float) -> bool:
            bench.load_end.drop()  # while the first point dwells
            clock.wait = wait  # type: ignore[method-assign]
            return wait(seconds)

        clock.wait = cut  # type: ignore[method-assign]
        plan = SweepPlan(points=POINTS[1:], channels=(bench.channel,), settle=Settle(count=2))
        ended = sweep.run(plan, ByLoad(bench.load), clock, news.append)
        assert not bench.load_end.instrument.load_on
    assert [type(each) for each in news if not isinstance(each, Dwelling)] == [
        PointLost,
        PointTaken,
        SweepEnded,
    ]
    assert not ended.complete


def test_a_sweep_by_hand_prompts_for_each_resistor() -> None:
    prompts: list[str] = []
    with Bench() as bench:
        plan = SweepPlan(points=POINTS[1:], channels=(bench.channel,), settle=Settle(count=2))

        def ask(point: Point) -> bool:
            prompts.append(point.label)
            return True

        assert sweep.run(plan, ByHand(ask), FakeClock(), lambda _: None).complete
    assert prompts == ["50 %", "100 %", "no load"]


def test_a_soak_samples_at_its_interval_and_shows_gaps_as_gaps() -> None:
    news: list[object] = []
    with Bench() as bench:
        clock = FakeClock()

        def heard(each: object) -> None:
            news.append(each)
            if isinstance(each, Row) and each.due_s == 20.0:
                bench.meter_end.stop()
            if isinstance(each, Row) and "load" in each.samples and each.due_s == 40.0:
                bench.meter_end.start_again()

        sense = Channel(name="load", session=bench.load, measure="voltage")
        plan = SoakPlan(channels=(bench.channel, sense), interval_s=10.0, duration_s=60.0)
        ended = soaking.run(plan, clock, heard)
    rows = [each for each in news if isinstance(each, Row)]
    assert [each.due_s for each in rows] == [0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0]
    assert [each.due_s for each in rows if "output" not in each.samples] == [30.0, 40.0]
    (gap,) = [each for each in news if isinstance(each, Gap)]
    assert (gap.channel, gap.from_s, gap.to_s) == ("output", 30.0, 50.0)
    assert "refused" in gap.why or "lost" in gap.why or "closed" in gap.why
    assert (ended.complete, ended.missed) == (True, 2)


def test_a_channel_that_is_silent_to_the_end_leaves_its_gap_up_to_the_end() -> None:
    news: list[object] = []
    with Bench() as bench:

        def heard(each: object) -> None:
            news.append(each)
            if isinstance(each, Row) and each.due_s == 20.0:
                bench.meter_end.stop()

        sense = Channel(name="load", session=bench.load, measure="voltage")
        plan = SoakPlan(channels=(bench.channel, sense), interval_s=10.0, duration_s=60.0)
        ended = soaking.run(plan, FakeClock(), heard)
    (gap,) = [each for each in news if isinstance(each, Gap)]
    assert (gap.channel, gap.from_s, gap.to_s) == ("output", 30.0, 60.0)
    assert news[-2:] == [gap, ended]
    assert (ended.complete, ended.missed) == (True, 4)


def test_a_soak_that_was_cut_goes_on_with_the_gap_shown() -> None:
    news: list[object] = []
    with Bench() as bench:
        clock = FakeClock()
        started = clock.now() - 95.0
        plan = SoakPlan(channels=(bench.channel,), interval_s=10.0, duration_s=120.0)
        ended = soaking.run(plan, clock, news.append, started_s=started, last_s=30.0)
    assert news[0] == Gap(
        channel="", from_s=30.0, to_s=100.0, why="the soak was interrupted", interrupted=True
    )
    assert [each.due_s for each in news if isinstance(each, Row)] == [100.0, 110.0, 120.0]
    assert (ended.complete, ended.missed) == (True, 6)  # 40 to 90 s


def test_meters_slower_than_the_interval_leave_gaps_and_no_wrong_times() -> None:
    news: list[object] = []
    with Bench() as bench:
        clock = FakeClock()

        def heard(each: object) -> None:
            news.append(each)
            if isinstance(each, Row):
                clock.time_s += 2.6  # each row takes that long

        plan = SoakPlan(channels=(bench.channel,), interval_s=1.0, duration_s=10.0)
        ended = soaking.run(plan, clock, heard)
    rows = [each for each in news if isinstance(each, Row)]
    assert [each.due_s for each in rows] == [0.0, 3.0, 6.0, 9.0]
    assert all(abs(each.at_s - each.due_s) < 0.5 for each in rows)
    assert any(isinstance(each, Gap) and each.from_s == 1.0 and each.to_s == 3.0 for each in news)
    assert ended.missed == 7  # 1, 2, 4, 5, 7, 8 and 10 s


def test_a_soak_stops_at_its_limit_and_at_its_forecast() -> None:
    with Bench() as bench:
        stop = Stop(channel="output", high=14.0)
        plan = SoakPlan(channels=(bench.channel,), interval_s=1.0, duration_s=10.0, stops=(stop,))
        assert "above the stop limit" in soaking.run(plan, FakeClock(), lambda _: None).why
        plan = SoakPlan(channels=(bench.channel,), interval_s=1.0, duration_s=10.0)
        ended = soaking.run(
            plan, FakeClock(), lambda _: None,
            forecast=lambda row: "it will pass 95 °C" if row.due_s >= 3 else "",
        )  # fmt: skip
        assert (ended.why, ended.complete) == ("it will pass 95 °C", False)


def test_the_wall_clock_can_be_stopped() -> None:
    clock = WallClock()
    assert not clock.wait(0.0)
    clock.stop.set()
    assert clock.wait(60.0)


def test_a_person_stops_a_soak() -> None:
    clock = FakeClock()
    clock.stopped = True
    news: list[object] = []
    with Bench() as bench:
        plan = SoakPlan(channels=(bench.channel,), interval_s=1.0, duration_s=10.0)
        soaking.run(plan, clock, news.append)
    assert [type(each) for each in news] == [SoakEnded]


def test_a_meter_that_is_gone_keeps_no_other_waiting_and_comes_back() -> None:
    news: list[object] = []
    silent = [False]
    with Bench() as bench, Server(Instrument(fixed={"READ?": "2.5E+01"})) as far:
        far.fault = lambda _: "swallow" if silent[0] else ""
        session = Session("thermometer", far.tcp, quick("multimeter"))
        heat = Channel(name="heat sink", session=session, measure="dc volts")

        def heard(each: object) -> None:
            news.append(each)
            if isinstance(each, Row):
                silent[0] = 0.5 < each.at_s < 3.0

        try:
            plan = SoakPlan(channels=(bench.channel, heat), interval_s=0.1, duration_s=4.5)
            ended = soaking.run(plan, WallClock(), heard)
        finally:
            session.close()
    rows = [each for each in news if isinstance(each, Row)]
    with_both = [row.at_s for row in rows if len(row.samples) == 2]
    alone = [row.at_s for row in rows if set(row.samples) == {"output"}]
    assert ended.complete
    # asked one after another it would be one row for each three timeouts
    assert len(alone) > 10
    assert max(with_both) > 4.0
    own = [each for each in news if isinstance(each, Gap) and each.channel == "heat sink"]
    assert len(own) == 1
    assert own[0].from_s == pytest.approx(0.6, abs=0.5)
