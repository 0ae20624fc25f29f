"""Sweeps and soaks begun by one key over the simulated bench, and readings taken hands free."""

from __future__ import annotations

import threading
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from pathlib import Path
from typing import Any

import msgspec
import pytest
from textual.pilot import Pilot

from ohmward import demo
from ohmward.bench.messages import Notice
from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.logbook import create_run, open_run
from ohmward.logbook.events import (
    Amended,
    Begun,
    Captured,
    Noted,
    Reading,
    SeriesBegun,
    SeriesEnded,
    SeriesGap,
    SeriesRows,
    TestVoltage,
)
from ohmward.run import LiveRun
from ohmward.run.answers import parse_answers, play
from ohmward.run.state import Phase
from ohmward.shipped import folder
from ohmward.supply import load
from ohmward.taking.at_hand import MetersAtHand
from ohmward.taking.hands import Hands, PersonsHands
from ohmward.taking.rehearsing import RehearsalHands
from ohmward.taking.soak_record import SoakRecord
from ohmward.tui.app import OhmwardApp
from ohmward.tui.dialogs import Confirm
from support import bench as b
from support.journals import HandClock
from support.scpi import IDN, Instrument, Server
from support.screens import NARROW, WIDE, events, press, run_screen, settled, shown, typed

Came = Callable[..., AbstractAsyncContextManager[tuple[Pilot[None], Path]]]
SPECIMEN = 3
RAILS = ("+15", "-15", "+48", "24")


@pytest.fixture
def bench() -> Iterator[SimulatedBench]:
    with SimulatedBench(
        load(folder("demo") / "CR-07.toml"), seed=SPECIMEN, speed=1.0, mains_v=231.4, visa=True
    ) as running:
        yield running


@pytest.fixture
def came(tmp_path: Path, bench: SimulatedBench) -> Came:
    """Open the app on a rehearsal of CR-07 that has come up to a step."""

    @asynccontextmanager
    async def to(
        step: str, *, hands: Hands | None = None, size: tuple[int, int] = NARROW
    ) -> AsyncIterator[tuple[Pilot[None], Path]]:
        path = demo.begin(tmp_path, tool="test", bench=bench)
        answers = folder("demo") / "CR-07.healthy.csv"
        rows = parse_answers(answers.read_text(encoding="utf-8"), "answers")
        until = next(n for n, row in enumerate(rows) if row.step.split(".")[0] == step)
        with LiveRun(open_run(path)) as live:
            play(live, rows[:until], "answers")
        with demo.meters_of(tmp_path, hands or RehearsalHands(bench)) as at_hand:
            app = OhmwardApp(tmp_path, run_path=path, meters=lambda: at_hand)
            try:
                async with app.run_test(size=size) as pilot:
                    await settled(pilot)
                    await press(pilot, "y")  # mains is still on
                    yield pilot, path
            finally:
                app.let_go()
        if app.crash is not None:
            raise app.crash

    return to


async def over(pilot: Pilot[None]) -> None:
    """Wait until what runs by itself is over, and said to be."""
    for _ in range(3000):
        if run_screen(pilot).going is None:
            await settled(pilot)
            return
        await pilot.pause(0.02)
    raise AssertionError("it did not end")


async def until(pilot: Pilot[None], met: Callable[[], bool]) -> None:
    for _ in range(3000):
        if met():
            return
        await pilot.pause(0.02)
    raise AssertionError("it did not come to that")


def load_off(bench: SimulatedBench) -> bool:
    return all(bench.unit.load_a(rail) == 0.0 for rail in RAILS)


async def test_a_sweep_runs_by_itself_and_keeps_what_was_read_at_once(
    came: Came, bench: SimulatedBench
) -> None:
    async with came("load-points") as (pilot, path):
        await press(pilot, "i")
        words = " ".join(shown(pilot).split())
        assert "6 load points" in words
        assert "Read: output by 'multimeter'; mains by 'mains-meter': at once" in words
        assert "No meter is free for it" in words  # the reservoir: there is one multimeter
        await press(pilot, "y")
        await over(pilot)
        assert "REHEARSAL" in shown(pilot)
        readings = [e for e in events(path) if isinstance(e, Reading) and e.step == "load-points.output"]
        assert [each.subject for each in readings] == [
            f"+15 @ {share} %" for share in (0, 10, 25, 50, 75, 100)
        ]
        assert all(each.immediate is not None and each.count >= 2 for each in readings)
        # the load's own ammeter agrees with what was asked of it, within 1 %
        drawn = [each.drawn.si for each in readings[1:] if each.drawn is not None]
        assert drawn == pytest.approx([0.12, 0.3, 0.6, 0.9, 1.2], rel=0.01)
        assert load_off(bench)


async def test_a_soak_runs_by_itself_with_plot_and_forecast(came: Came, bench: SimulatedBench) -> None:
    async with came("soak", size=WIDE) as (pilot, path):
        await press(pilot, "i", "enter")
        await until(
            pilot, lambda: "settles near" in run_screen(pilot).running_words() or not run_screen(pilot).going
        )
        await over(pilot)
        recorded = events(path)
        (begun,) = [each for each in recorded if isinstance(each, SeriesBegun)]
        (ended,) = [each for each in recorded if isinstance(each, SeriesEnded)]
        rows = [row for each in recorded if isinstance(each, SeriesRows) for row in each.rows]
        assert {"room air", "heat sink +15", "mains"} <= {channel.name for channel in begun.channels}
        assert ended.complete
        assert ended.load_off
        assert [round(row.at_s) for row in rows] == list(range(0, 3601, 10))
        points = [each for each in recorded if isinstance(each, Reading) and each.step == "soak"]
        assert len(points) == 8 * 7
        assert load_off(bench)
        assert "heat sink" in shown(pilot)


async def test_switching_off_in_mid_soak_takes_the_loads_off_and_keeps_the_samples(
    came: Came, bench: SimulatedBench
) -> None:
    async with came("soak", hands=RehearsalHands(bench, pace_s=0.02)) as (pilot, path):
        await press(pilot, "i", "enter")
        await until(pilot, lambda: sum(isinstance(e, SeriesRows) for e in events(path)) > 3)
        assert not load_off(bench)
        await press(pilot, "x")
        await over(pilot)
        assert load_off(bench)  # before the person has said that mains is off
        await press(pilot, "y")
        assert run_screen(pilot).live.state.phase is Phase.OFF
        (ended,) = [each for each in events(path) if isinstance(each, SeriesEnded)]
        assert not ended.complete
        assert ended.load_off


async def test_a_soak_that_was_stopped_is_gone_on_with_and_the_gap_shows(
    came: Came, bench: SimulatedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with came("soak", hands=RehearsalHands(bench, pace_s=0.02)) as (pilot, path):
        await press(pilot, "i", "enter")
        await until(pilot, lambda: sum(isinstance(e, SeriesRows) for e in events(path)) > 3)
        await press(pilot, "i", "y")
        await over(pilot)
        assert load_off(bench)
        await press(pilot, "i")
        assert "Go on with it" in shown(pilot)
        await press(pilot, "enter")
        await until(pilot, lambda: isinstance(events(path)[-1], (SeriesRows, Reading)))
        (gap,) = [each for each in events(path) if isinstance(each, SeriesGap)]
        assert gap.interrupted
        close_comes_before_the_end(monkeypatch)
    _, ended = [each for each in events(path) if isinstance(each, SeriesEnded)]
    assert ended.load_off
    assert load_off(bench)


def close_comes_before_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have a soak write its end only after the journal is closed, unless the closing waits for it."""
    closed, end = threading.Event(), SoakRecord.end

    def late(*arguments: Any, **named: Any) -> None:
        closed.wait(0.3)
        end(*arguments, **named)

    def close(live: LiveRun) -> None:
        closed.set()
        live.journal.close()

    monkeypatch.setattr(SoakRecord, "end", late)
    monkeypatch.setattr(LiveRun, "close_file", close)


async def test_leaving_while_it_runs_stops_it_first(came: Came, bench: SimulatedBench) -> None:
    async with came("soak", hands=RehearsalHands(bench, pace_s=0.02)) as (pilot, path):
        await press(pilot, "i", "enter")
        await until(pilot, lambda: any(isinstance(e, SeriesRows) for e in events(path)))
        await press(pilot, "b")
        assert "Stop it and leave" in shown(pilot)
        await press(pilot, "n")
        assert run_screen(pilot).going is not None
        await press(pilot, "b", "y")
        await until(pilot, lambda: load_off(bench))
        await until(pilot, lambda: any(isinstance(e, SeriesEnded) for e in events(path)))


async def test_what_needs_hands_is_asked_for_and_can_be_given_up(came: Came, bench: SimulatedBench) -> None:
    async with came("load-points", hands=PersonsHands()) as (pilot, path):
        await press(pilot, "i", "y")
        await until(pilot, lambda: "Put 'multimeter' on" in shown(pilot))
        assert load_off(bench)
        await press(pilot, "n")
        await over(pilot)
        assert not [e for e in events(path) if isinstance(e, Reading) and e.step == "load-points.output"]
        note = events(path)[-1]
        assert isinstance(note, Noted)
        assert "stopped by the person" in note.text


async def test_a_load_lost_under_current_is_said_until_its_connection_is_back_and_it_is_off(
    came: Came, bench: SimulatedBench
) -> None:
    async with came("load-points", hands=RehearsalHands(bench, pace_s=0.05)) as (pilot, path):
        await press(pilot, "i")
        await until(pilot, lambda: "6 load points" in screenful(pilot))
        await press(pilot, "y")
        await until(pilot, lambda: bench.unit.load_a("+15") > 0.1)
        server = bench._servers["load +15"]
        server._port = server.address[1]
        server.stop()  # the cable is out, and the load goes on drawing
        await until(pilot, lambda: "MAY STILL BE ON" in shown(pilot))
        assert bench.unit.load_a("+15") > 0.1
        server.start()
        await until(pilot, lambda: load_off(bench))
        await until(pilot, lambda: "MAY STILL BE ON" not in shown(pilot))
        await over(pilot)
        told = [each.text for each in events(path) if isinstance(each, Noted)]
        said = [each for each in told if each.startswith("meter load +15: ")]
        cry, off = [each for each in said if "attempt failed" not in each]
        assert cry.endswith("the connection is lost while it is ON")
        assert off.endswith("off: the connection was lost while it was on")
        assert load_off(bench)


async def test_a_load_that_may_still_be_on_is_said_on_the_screen_and_in_the_journal(
    came: Came,
) -> None:
    async with came("load-points") as (pilot, path):
        screen = run_screen(pilot)
        for _ in range(3):  # said again at each try
            text = "MAY STILL BE ON: no answer. Switch it off by hand; it is tried again"
            screen.post_message(screen.MeterSays(Notice(meter="load +15", kind="still on", text=text)))
        await until(pilot, lambda: "MAY STILL BE ON" in shown(pilot))
        screen.post_message(screen.MeterSays(Notice(meter="load +15", kind="switched off", text="off")))
        await until(pilot, lambda: "MAY STILL BE ON" not in shown(pilot))
        await until(pilot, lambda: isinstance(events(path)[-1], Noted))
        notes = [each.text for each in events(path) if isinstance(each, Noted) and "load +15" in each.text]
        assert len(notes) == 2  # the first cry, and that it is off


METER = """
[[meter]]
name = "bench multimeter"
resource = "{resource}"
idn = "{idn}"
[[meter.accuracy]]
function = "dc volts"
range = "20 V"
resolution = "1 mV"
accuracy = "±(0.05 % + 5)"
"""
ROWS = """step,subject,value,meter,note
plug,,pass,,
label,,pass,,
vents,,pass,,
case-shut,,,,
lead-null,,0.2,,
earth,case,0.25,,
earth,front panel,0.25,,
insulation,,>200M,,
acknowledge,no-load,,,
energised,,,,
lamp,,pass,,
mains,,231,,
"""


async def test_hands_free_takes_a_reading_once_it_has_settled_and_not_twice_from_one_place(
    tmp_path: Path,
) -> None:
    procedure = b.PROCEDURE.replace(
        'quantity = "output_v"\nunit = "V"\nplausible = ["0 V"',
        'quantity = "output_v"\nmeter = "multimeter"\nunit = "V"\nplausible = ["1 V"',
    )
    shows = {"READ?": "+2E-05"}
    with Server(Instrument(fixed=shows)) as server:
        meters = METER.format(resource=server.tcp, idn=IDN)
        (tmp_path / "meters.toml").write_text(meters, encoding="utf-8")
        opened = msgspec.structs.replace(b.opened(procedure), meters=meters)
        with LiveRun(
            create_run(tmp_path, tag="CR-07", procedure_name="short", opened=opened, clock=HandClock())
        ) as live:
            play(live, parse_answers(ROWS, "rows"), "rows")
            path = live.journal.path
        with MetersAtHand(tmp_path) as at_hand:
            app = OhmwardApp(tmp_path, run_path=path, meters=lambda: at_hand, clock=HandClock(step_s=0.0))
            async with app.run_test(size=NARROW) as pilot:
                await settled(pilot)

                def taken() -> list[Reading]:
                    return [e for e in events(path) if isinstance(e, Reading) and e.step == "output"]

                await press(pilot, "y")
                await pilot.press("h")  # nothing is settled while it waits
                await pilot.pause(1.0)
                assert taken() == []  # the probe hangs in the air
                shows["READ?"] = "+9E-01"
                await until(pilot, lambda: isinstance(pilot.app.screen, Confirm))
                await pilot.press("n")  # no, and it waits on
                await pilot.pause(0.7)
                assert taken() == []
                shows["READ?"] = "+1.5041E+01"
                await until(pilot, lambda: len(taken()) == 1)
                assert "HANDS FREE" in screenful(pilot)
                assert taken()[0].replies == ("+1.5041E+01",) * 5
                run_screen(pilot).go(("plug", ""))
                await settled(pilot)
                assert "hands free waits: a check is yours to answer" in screenful(pilot)
                await press(pilot, "h")
                assert "hands free is off" in screenful(pilot)
                assert "HANDS FREE" not in screenful(pilot)
            app.let_go()
        assert app.crash is None


async def test_hands_free_does_not_take_an_earth_that_reads_as_the_leads_alone(tmp_path: Path) -> None:
    procedure = b.PROCEDURE.replace(
        'limit = "earth_continuity"', 'limit = "earth_continuity"\nmeter = "multimeter"'
    )
    ohms = METER.replace('"dc volts"', '"ohms"').replace("20 V", "20 Ω").replace("1 mV", "1 mΩ")
    with Server(Instrument(fixed={"READ?": "+2.0001E-01"})) as server:
        meters = ohms.format(resource=server.tcp, idn=IDN)
        (tmp_path / "meters.toml").write_text(meters, encoding="utf-8")
        opened = msgspec.structs.replace(b.opened(procedure), meters=meters)
        with LiveRun(
            create_run(tmp_path, tag="CR-07", procedure_name="short", opened=opened, clock=HandClock())
        ) as live:
            play(live, parse_answers("".join(ROWS.splitlines(keepends=True)[:6]), "rows"), "rows")
            path = live.journal.path
        with MetersAtHand(tmp_path) as at_hand:
            app = OhmwardApp(tmp_path, run_path=path, meters=lambda: at_hand, clock=HandClock(step_s=0.0))
            async with app.run_test(size=NARROW) as pilot:
                await settled(pilot)
                await pilot.press("h")
                await until(pilot, lambda: "reads as the leads alone" in screenful(pilot))
                taken = [e for e in events(path) if isinstance(e, Reading) and e.step == "earth"]
                assert taken == []
                await pilot.press("escape")  # and the probe is waited for again
                await until(pilot, lambda: isinstance(events(path)[-1], Noted))
                await until(pilot, lambda: "lift the probe" in screenful(pilot))
                await press(pilot, "h")
            app.let_go()
        assert app.crash is None


def screenful(pilot: Pilot[None]) -> str:
    return " ".join(shown(pilot).split())


async def test_a_waveform_is_taken_by_one_key_and_stands_in_the_run(
    came: Came, bench: SimulatedBench
) -> None:
    async with came("waveform") as (pilot, path):
        assert "y takes it" in screenful(pilot)
        await press(pilot, "y", "enter")
        await until(pilot, lambda: isinstance(events(path)[-1], Captured))
        taken = events(path)[-1]
        assert isinstance(taken, Captured)
        assert taken.meter == "scope"
        assert taken.point == "reservoir"
        assert (path.parent / taken.file).is_file()
        await until(pilot, lambda: "5000 samples" in screenful(pilot))
        assert bench.unit.load_a("+15") == pytest.approx(1.2, rel=0.01)  # taken under load


async def test_the_file_of_an_oscilloscope_is_attached_and_a_bad_one_is_told(
    came: Came, tmp_path: Path
) -> None:
    saved = tmp_path / "scope.csv"
    saved.write_text("time (ms),CH1 (V),CH2 (V)\n" + "".join(f"{n},{n % 7},{n % 5}\n" for n in range(200)))
    async with came("waveform") as (pilot, path):
        count = len(events(path))
        await press(pilot, "y", "down", "enter")
        await typed(pilot, str(tmp_path / "missing.csv"))
        await until(pilot, lambda: "No waveform" in screenful(pilot))
        assert "cannot be read" in screenful(pilot).replace(" ┃ ┃ ", " ")
        await press(pilot, "enter")
        assert len(events(path)) == count
        await press(pilot, "y", "down", "enter")
        await typed(pilot, str(saved))
        await until(pilot, lambda: "several columns" in screenful(pilot))
        await typed(pilot, "2")
        await until(pilot, lambda: isinstance(events(path)[-1], Captured))
        taken = events(path)[-1]
        assert isinstance(taken, Captured)
        assert (taken.samples, taken.meter) == (200, "")
        assert taken.interval_s == pytest.approx(1e-3)


async def test_a_wrong_waveform_is_withdrawn_by_the_key_that_amends(came: Came) -> None:
    async with came("waveform") as (pilot, path):
        await press(pilot, "y", "enter")
        await until(pilot, lambda: isinstance(events(path)[-1], Captured))
        await settled(pilot)
        run_screen(pilot).go(("waveform", "+15 @ 100 %"))
        await settled(pilot)
        await press(pilot, "e", "down", "enter")
        await typed(pilot, "the probe was on another rail")
        await until(pilot, lambda: isinstance(events(path)[-1], Amended))
        assert run_screen(pilot).live.state.captures == {}


async def test_an_overload_runs_by_the_key_of_a_sweep_and_is_then_answered(
    came: Came, bench: SimulatedBench
) -> None:
    async with came("current-limit") as (pilot, path):
        await press(pilot, "i")
        words = screenful(pilot)
        assert "Eyes on the current" in words
        assert "to 100 °C" in words  # the heat sink is watched
        await press(pilot, "y")
        await over(pilot)
        await until(
            pilot, lambda: any("gives way when" in n.text for n in events(path) if isinstance(n, Noted))
        )
        assert load_off(bench)
        assert run_screen(pilot).live.state.phase is Phase.LIVE


async def test_a_high_current_bond_is_not_read_by_a_meter_that_cannot_give_the_current(came: Came) -> None:
    async with came("earth-bond") as (pilot, path):
        run_screen(pilot).go(("earth-bond", ""))
        before = len(events(path))
        await press(pilot, "r")
        await until(pilot, lambda: "known to give 10 A: leave it out" in screenful(pilot))
        assert len(events(path)) == before  # 0.1 Ω read with two clips would fail it as a danger


async def test_the_other_test_voltage_is_chosen_where_the_meter_is(came: Came) -> None:
    async with came("insulation") as (pilot, path):
        assert "insulation tester at 500 V" in screenful(pilot)
        meters = len(run_screen(pilot).live.state.meters)
        await press(pilot, "t", *["down"] * (meters + 1), "enter")
        await until(pilot, lambda: "The limit stays." in screenful(pilot))
        await typed(pilot, "suppressors line to earth")
        await until(pilot, lambda: isinstance(events(path)[-1], TestVoltage))
        await until(pilot, lambda: "insulation tester at 250 V" in screenful(pilot))
        await press(pilot, "o")  # in a rehearsal what is held is begun the same way
        await until(pilot, lambda: isinstance(events(path)[-1], Begun))
        await until(pilot, lambda: "hold 1:00 begun" in screenful(pilot))
