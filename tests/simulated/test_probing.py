"""From a procedure's items to probes, and a whole rehearsal read over the wire."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from ohmward.bench.inventory import Inventory
from ohmward.bench.meters import loads
from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.bench.simulated.forever import simulate_forever
from ohmward.bench.simulated.probing import Hands, probe_for
from ohmward.errors import InputError
from ohmward.procedure import expand, load, load_limits
from ohmward.procedure.model import Item
from ohmward.quantity import parse
from ohmward.shipped import folder
from simulated.wire import sheet, still

PROCEDURES = ("commissioning", "retest", "after-repair", "long-storage")
NOT_HERE = {"humidity_pct", "earth_a", "leakage_a"}
"""Quantities that this bench has no meter for."""


def items(tag: str = "CR-07", procedure: str = "commissioning") -> tuple[Item, ...]:
    supply = sheet(tag)
    return expand(load(procedure), supply, load_limits(supply.limit_set), supply.parts)


def item(step: str, subject: str = "") -> Item:
    return next(each for each in items() if each.key == (step, subject))


@pytest.fixture
def bench() -> Iterator[SimulatedBench]:
    with still() as found:
        yield found


@pytest.mark.parametrize("tag", ["CR-07", "CR-11", "CR-02"])
@pytest.mark.parametrize("procedure", PROCEDURES)
def test_every_reading_of_every_shipped_procedure_has_a_probe(tag: str, procedure: str) -> None:
    with still(tag=tag) as bench:
        meters = {meter.name: meter for meter in bench.meters}
        for each in items(tag, procedure):
            if each.read is None:
                assert probe_for(each) is None
                continue
            probe = probe_for(each)
            if probe is None:
                assert each.read.quantity in NOT_HERE, each.key
                continue
            bench.points.find(probe.point)
            assert any(s.function == probe.function for s in meters[probe.meter].specifications), each.key
            assert any(s.unit == each.read.unit for s in meters[probe.meter].specifications), each.key


def test_a_load_point_is_read_under_its_load_with_the_other_rails_unloaded(bench: SimulatedBench) -> None:
    hands = Hands(bench)
    at = item("load-points.output", "24 @ 50 %")
    hands.follow(at, energised=True, case_open=False)
    assert bench.unit.energised
    assert bench.unit.load_a("24") == pytest.approx(1.0, rel=0.01)
    assert bench.unit.load_a("+15") == 0
    shown = hands.read(at)
    assert shown is not None
    value = parse(shown, "V")
    assert value.number is not None
    assert value.si == pytest.approx(bench.unit.rail("24").output_v, rel=0.002)


def test_soak_readings_are_taken_at_their_time_on_the_bench_clock(bench: SimulatedBench) -> None:
    hands = Hands(bench)
    hands.follow(item("soak", "room air @ 0 min"), energised=True, case_open=False)
    began = bench.clock.now_s()
    hands.follow(item("soak", "heat sink +15 @ 30 min"), energised=True, case_open=False)
    assert bench.clock.now_s() - began == pytest.approx(1800)
    assert bench.unit.load_a("+48") == pytest.approx(0.15, rel=0.01)


def test_the_residual_voltage_is_read_after_the_wait_and_a_charged_rail_again_after_bleeding() -> None:
    with still(("bleeder-missing", "24")) as bench:
        hands = Hands(bench)
        at = item("residual", "24")
        hands.follow(item("output-no-load", "24"), energised=True, case_open=False)
        hands.follow(at, energised=False, case_open=False)
        first = hands.read(at)
        hands.follow(at, energised=False, case_open=False)
        second = hands.read(at)
    assert first is not None
    assert second is not None
    assert parse(first, "V").si > 20
    assert parse(second, "V").si < 5


def test_low_mains_is_set_for_the_steps_that_ask_for_it_and_put_back_after(bench: SimulatedBench) -> None:
    hands = Hands(bench)
    hands.follow(item("low-mains"), energised=True, case_open=False)
    assert bench.unit.mains_v() == pytest.approx(207)  # 230 V - 10 %: band of the sheet
    hands.follow(item("mains-ripple"), energised=True, case_open=False)
    assert bench.unit.mains_v() == pytest.approx(230)


def test_an_over_range_insulation_reading_is_a_bound(bench: SimulatedBench) -> None:
    at = item("insulation")
    hands = Hands(bench)
    hands.follow(at, energised=False, case_open=False)
    assert hands.read(at) == "> 200 MΩ"


def test_what_the_multimeter_reads_is_where_a_person_says_the_probe_is() -> None:
    """From a second program, as `ohmward meters read` does: only what was printed is known to it."""
    meters: list[str] = []
    said: list[str] = []
    read: dict[str, float] = {}

    def as_a_person() -> Iterator[str]:
        yield "on"
        for point in ("rail +15 reservoir", "rail 24 output", "open"):
            yield f"probe at {point}"
            yield "wait 10 s"  # a display takes a moment
            with Inventory(loads(meters[0])) as inventory:
                value = inventory.session("multimeter").measure("dc volts").result(10).result
            read[point] = value.si
        yield "probe scope at rail 24 output"
        yield "probe thermometer at heat sink +15"
        yield "probe at rail 12 output"
        yield "probe load +15 at rail 24 output"
        yield "probe multimetre at mains"
        yield "probe rail 24 output"

    simulate_forever(
        folder("demo") / "CR-07.toml", [], 60.0, 3, meters.append, told=said.append, hands=as_a_person()
    )
    assert len(meters) == 1  # the meters file alone: it can be sent into one
    assert read["rail 24 output"] > read["rail +15 reservoir"] > 15.0
    assert 24.0 < read["rail 24 output"] < 36.0
    assert abs(read["open"]) < 0.01
    assert "'multimeter' is at rail +15 reservoir" in said[2]
    *_, scope, thermometer, nowhere, fixed, nobody, mute = said
    assert "'scope' is at rail 24 output" in scope
    assert "'thermometer' is at heat sink +15" in thermometer
    assert nowhere.startswith("? ")
    assert "'rail 24 output'" in nowhere  # what there is
    assert "stays where it is" in fixed
    assert "Did you mean 'multimeter'?" in nobody
    assert mute.startswith("? 'probe rail 24 output' is none of")


def test_simulate_shows_its_meters_and_does_what_its_hands_say() -> None:
    said: list[str] = []
    simulate_forever(
        folder("demo") / "CR-07.toml",
        ["wrong-fuse"],
        60.0,
        3,
        said.append,
        told=said.append,
        hands=["on", "load 24 2", "wait 10 min", "nonsense", "load 24 two", "off", "quit", "on"],
    )
    assert said[0].startswith("# SIMULATED BENCH")
    assert "no reading of this bench shows it" in said[2]
    assert "on, mains" in said[3]
    assert "24 V at 2 A" not in said[3]
    assert "at 2 A" in said[4]
    assert float(said[5].split(" s")[0]) >= 600
    assert said[6].startswith("? 'nonsense' is none of")
    assert said[7].startswith("? ")
    assert "off" in said[8]
    assert len(said) == 9


@pytest.mark.parametrize("tag", ["CR-07", "CR-11", "CR-02"])
def test_every_point_that_is_named_is_there(tag: str) -> None:
    with still(tag=tag) as bench:
        assert len(set(bench.points.names)) == len(bench.points.names)
        for name in bench.points.names:
            assert bench.points.find(name).name == name


def test_simulate_refuses_an_impossible_speed() -> None:
    with pytest.raises(InputError, match="speed"):
        simulate_forever(folder("demo") / "CR-07.toml", [], 0.0, 0, print, told=print)
