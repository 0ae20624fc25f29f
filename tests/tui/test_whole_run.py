"""Whole runs on the real screen by keys alone: to a pass, past a failed danger check, and a retest.

The numbers come from the simulated bench (CR-07, a unit that passes when sound); what is tested is what the
screen asks, records and refuses, by the product's own design: common practice, no source.
"""

from __future__ import annotations

import shutil
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from ohmward import demo
from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.bench.simulated.specimen import parse_fault
from ohmward.demo.by_eye import ByEye, rows_of
from ohmward.logbook import read, verify
from ohmward.logbook.events import Amended, Captured, Opened, Reading, SeriesRows
from ohmward.procedure.model import Item
from ohmward.quantity import parse
from ohmward.run import assess_state
from ohmward.run import state as fold
from ohmward.run.guidance import Guidance
from ohmward.run.state import Key, Phase, RunState, Standing
from ohmward.shipped import folder
from ohmward.supply import load
from ohmward.taking.rehearsing import RehearsalHands
from ohmward.tui.app import OhmwardApp
from ohmward.tui.run_screen import RunScreen
from support.person import Person
from support.screens import NARROW, Bench, events, lines, press, run_screen, settled, shown, typed

SAMPLES = Path(__file__).parents[2] / "sample_logs"


def left_out() -> dict[Key, str]:
    """Return what the person of the shipped story leaves out, but for the first waveform."""
    empty = {(row.step, row.subject): row.note for row in rows_of("healthy") if not row.value}
    return {key: reason for key, reason in empty.items() if key != ("waveform", "+15 @ 100 %")}


@pytest.fixture
def faults() -> tuple[str, ...]:
    return ()


@pytest.fixture
def bench(faults: tuple[str, ...]) -> Iterator[SimulatedBench]:
    with SimulatedBench(
        load(folder("demo") / "CR-07.toml"), seed=demo.SPECIMEN, speed=1.0, mains_v=demo.MAINS_V,
        faults=[parse_fault(fault) for fault in faults], visa=True,
    ) as running:  # fmt: skip
        yield running


@asynccontextmanager
async def sitting(logbook: Path, path: Path, bench: SimulatedBench) -> AsyncIterator[Person]:
    """Open the app on a run, as a person who does what it says."""
    hands = RehearsalHands(bench)
    with demo.meters_of(logbook, hands) as meters:
        app = OhmwardApp(logbook, run_path=path, meters=lambda: meters, rehearsal=ByEye(hands))
        try:
            async with app.run_test(size=NARROW) as pilot:
                await settled(pilot)
                yield Person(pilot, left_out=left_out(), hands_free="make-safe")
        finally:
            app.let_go()
    if app.crash is not None:
        raise app.crash


def at(step: str) -> object:
    def reached(state: RunState, following: Guidance, item: Item | None) -> bool:
        del state, following
        return item is not None and item.spec.id == step

    return reached


@pytest.mark.timeout(600)
async def test_a_whole_commissioning_by_keys_ends_closed_with_a_pass(
    tmp_path: Path, bench: SimulatedBench
) -> None:
    path = demo.begin(tmp_path, tool="test", bench=bench)
    async with sitting(tmp_path, path, bench) as person:
        await person.goes_on(lambda s, f, i: i is not None and i.step == "lead-null")
        assert "REHEARSAL" in shown(person.pilot)
        await person.slip("lead-null", "1.2", "0.21")  # a slip of the finger, corrected
        await person.goes_on()
        screenful = " ".join(shown(person.pilot).split())
        assert "CLOSED – nothing can be added" in screenful
        await person.keys("s")
        assert "PASS" in shown(person.pilot)
    result = fold(read(path))
    assert result.phase is Phase.CLOSED
    assert result.violations == ()
    assert assess_state(result).verdict == "pass"
    assert verify(path).intact
    recorded = events(path)
    readings = [event for event in recorded if isinstance(event, Reading)]
    by_meter = [event for event in readings if event.meter]
    assert len(readings) > 200
    assert len(by_meter) > 200  # typed were what no meter reads, and the slip
    assert sum(isinstance(event, Captured) for event in recorded) == 1
    assert sum(len(event.rows) for event in recorded if isinstance(event, SeriesRows)) == 181
    assert sum(isinstance(event, Amended) for event in recorded) == 1
    assert len(person.pressed) < 1.5 * len(result.history)  # keys, and texts typed, an entry


@pytest.mark.parametrize("faults", [("earth-core-broken",)])
async def test_a_failed_danger_check_stops_the_way_to_mains_until_it_is_mended_and_done_again(
    tmp_path: Path, bench: SimulatedBench
) -> None:
    path = demo.begin(tmp_path, tool="test", bench=bench)
    async with sitting(tmp_path, path, bench) as person:
        await person.goes_on(lambda s, f, i: f.move == "mend")
        failed = person.state.by_key[person.screen.at or ("", "")]
        assert failed.spec.severity == "danger"
        assert person.state.standing(failed) is Standing.FAILED
        assert "✗ FAIL" in shown(person.pilot)
        for key, words in (("u", "Mains stays off"), ("v", "cannot be overridden"), ("k", "cannot be")):
            await person.keys(key)
            assert words in " ".join(shown(person.pilot).split()), shown(person.pilot)
            await person.keys("enter")
        assert person.state.phase is Phase.DEAD

        await person.keys("d", "down", "enter")
        await person.words("new cord fitted, earth core sound")
        assert person.state.standing(failed) is Standing.STALE
        await person.goes_on(lambda s, f, i: f.move == "energise")
        assert person.state.standing(failed) is Standing.PASSED
        assert person.state.phase is Phase.DEAD
        await person.keys("enter", "y")
        now: Phase = person.state.phase
        assert now is Phase.LIVE
    assert fold(read(path)).violations == ()


async def test_a_retest_shows_beside_each_entry_what_was_measured_at_the_baseline(tmp_path: Path) -> None:
    shutil.copytree(SAMPLES / "runs" / "CR-11", tmp_path / "runs" / "CR-11")
    shutil.copytree(SAMPLES / "supplies", tmp_path / "supplies")
    before = set((tmp_path / "runs" / "CR-11").glob("*.jsonl"))
    app = OhmwardApp(tmp_path, rehearsal=Bench())  # the years before are a rehearsal too
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        await press(pilot, "down", "n")
        assert "retest" in shown(pilot)
        await press(pilot, "enter")
        await typed(pilot, "yearly retest")
        for _ in range(500):
            if any(isinstance(screen, RunScreen) for screen in app.screen_stack):
                break
            await pilot.pause(0.02)
        await settled(pilot)
        (path,) = set((tmp_path / "runs" / "CR-11").glob("*.jsonl")) - before
        opened = events(path)[0]
        assert isinstance(opened, Opened)
        assert opened.baseline is not None
        earlier = {(each.step, each.subject): each for each in opened.baseline.values}
        screen = run_screen(pilot)
        items = screen.live.state.items
        known = [item for item in items if item.key in earlier and item.read is not None]
        assert len(known) > 10
        for item in known[:: len(known) // 5]:
            screen.go(item.key)
            await settled(pilot)
            net, asked = earlier[item.key].net, item.read
            assert asked is not None
            (line,) = [each for each in lines(pilot) if each.lstrip().startswith("Earlier")]
            assert "2019-03-07" in line
            value = line.partition("Earlier")[2].partition(" on ")[0]
            if net is not None:
                assert parse(value, asked.unit).si == pytest.approx(net, rel=1e-3)
    app.let_go()
    if app.crash is not None:
        raise app.crash


@pytest.mark.parametrize("faults", [()])
async def test_a_run_begun_within_a_rehearsal_knows_the_simulated_meters(
    tmp_path: Path, bench: SimulatedBench
) -> None:
    first = demo.begin(tmp_path, tool="test", bench=bench)
    hands = RehearsalHands(bench)
    with demo.meters_of(tmp_path, hands) as meters:
        app = OhmwardApp(tmp_path, meters=lambda: meters, rehearsal=ByEye(hands))
        async with app.run_test(size=NARROW) as pilot:
            await settled(pilot)
            for key in ("n", "down", "enter", "enter", "enter"):
                await press(pilot, key)
        app.let_go()
    assert app.crash is None
    (second,) = set(first.parent.glob("*.jsonl")) - {first}
    opened = read(second)[0].event
    assert isinstance(opened, Opened)
    assert opened.simulated
    assert opened.meters == bench.meters_toml
