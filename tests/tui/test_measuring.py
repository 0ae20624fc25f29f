"""One key has the meter read: over loopback sockets, the simulated bench or an instrument with faults."""

from __future__ import annotations

import socket
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from pathlib import Path

import msgspec
import pytest
from textual.pilot import Pilot

from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.errors import OhmwardError
from ohmward.logbook import create_run, open_run
from ohmward.logbook.events import Noted, Reading
from ohmward.run import LiveRun
from ohmward.run.answers import parse_answers, play
from ohmward.shipped import folder
from ohmward.supply import load
from ohmward.taking.at_hand import MetersAtHand
from ohmward.tui.app import OhmwardApp
from support import bench as b
from support.journals import HandClock
from support.scpi import IDN, Instrument, Server
from support.screens import NARROW, events, press, settled, shown, typed

ROWS = """step,subject,value,meter,note
plug,,pass,,
label,,pass,,
vents,,pass,,
case-shut,,,,
lead-null,,0.2,,
earth,case,0.25,,
earth,front panel,0.25,,
"""
TO_OUTPUT = (
    ROWS
    + """insulation,,>200M,,
acknowledge,no-load,,,
energised,,,,
lamp,,pass,,
mains,,231,,
"""
)
PROCEDURE = b.PROCEDURE.replace(
    'quantity = "output_v"\nunit', 'quantity = "output_v"\nmeter = "multimeter"\nunit'
)
METERS = """
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
Begun = Callable[..., AbstractAsyncContextManager[tuple[Pilot[None], Path]]]


@pytest.fixture
def begun(tmp_path: Path) -> Begun:
    """Open the app on a run that has come so far, with the meters of its logbook at hand."""

    @asynccontextmanager
    async def at(meters: str, rows: str, *, simulated: bool) -> AsyncIterator[tuple[Pilot[None], Path]]:
        (tmp_path / "meters.toml").write_text(meters, encoding="utf-8")
        opened = msgspec.structs.replace(b.opened(PROCEDURE), meters=meters, simulated=simulated)
        with LiveRun(
            create_run(tmp_path, tag="CR-07", procedure_name="short", opened=opened, clock=HandClock())
        ) as live:
            play(live, parse_answers(rows, "rows"), "rows")
            path = live.journal.path
        with MetersAtHand(tmp_path) as at_hand:
            app = OhmwardApp(tmp_path, run_path=path, meters=lambda: at_hand, clock=HandClock(step_s=0.0))
            try:
                async with app.run_test(size=NARROW) as pilot:
                    await settled(pilot)
                    yield pilot, path
            finally:
                app.let_go()
        if app.crash is not None:
            raise app.crash

    return at


def last_reading(path: Path) -> Reading:
    event = events(path)[-1]
    assert isinstance(event, Reading)
    return event


def hand(bench: SimulatedBench, point: str) -> None:
    """Put the multimeter's probe on a point, as hands do."""
    with socket.create_connection(bench.addresses["multimeter"], timeout=5) as wire:
        wire.sendall(f'PROB:AT "{point}";*OPC?\n'.encode())
        assert wire.recv(16) == b"1\n"


async def test_r_reads_a_real_meter_on_a_real_run_and_enter_records_it(begun: Begun) -> None:
    faults = iter(["half"])

    def fault(line: str) -> str:
        return next(faults, "") if "READ?" in line else ""

    with Server(Instrument(fixed={"READ?": "+1.5041E+01"}), fault=fault) as server:
        meters = METERS.format(resource=server.tcp, idn=IDN)
        async with begun(meters, TO_OUTPUT, simulated=False) as (pilot, path):
            await press(pilot, "y")  # mains is still on
            assert "REHEARSAL" not in shown(pilot)
            await press(pilot, "r")
            assert "15.041 V" in shown(pilot)
            assert not isinstance(events(path)[-1], Reading)  # nothing is recorded before Enter
            await press(pilot, "enter")
            reading = last_reading(path)
            assert reading.meter == "bench multimeter"
            assert reading.replies == ("+1.5041E+01",) * 5
            assert reading.count == 5
            assert reading.judged.uncertainty is not None
            before = events(path)[-2]
            assert isinstance(before, Noted)
            assert "attempt failed" in before.text


async def test_a_value_typed_over_what_the_meter_showed_is_a_typed_one(begun: Begun) -> None:
    with Server(Instrument(fixed={"READ?": "+1.5041E+01"})) as server:
        meters = METERS.format(resource=server.visa, idn=IDN)
        async with begun(meters, TO_OUTPUT, simulated=False) as (pilot, path):
            await press(pilot, "y", "r")
            await press(pilot, "r")  # the same again, which changes nothing in the entry
            assert "reading the meter" not in shown(pilot)
            assert "15.041 V" in shown(pilot)
            await press(pilot, "escape")
            await typed(pilot, "15.2")
            assert last_reading(path).replies == ()
            assert last_reading(path).value.raw == "15.2"


async def test_a_meter_that_is_gone_is_in_the_journal_and_the_value_can_be_typed(begun: Begun) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    meters = METERS.format(resource=f"tcp://127.0.0.1:{port}", idn=IDN)
    async with begun(meters, TO_OUTPUT, simulated=False) as (pilot, path):
        await press(pilot, "y", "r")
        assert "Type the value" in " ".join(shown(pilot).split())
        notes = [each for each in events(path) if isinstance(each, Noted) and each.step == "output"]
        assert len(notes) == 3
        assert all("attempt failed" in note.text for note in notes)
        await typed(pilot, "15.04")
        assert last_reading(path).value.raw == "15.04"


async def test_the_simulated_bench_is_read_in_a_rehearsal_that_says_so(begun: Begun) -> None:
    with SimulatedBench(load(folder("demo") / "CR-07.toml"), seed=3, speed=1.0) as bench:
        bench.unit.switch_on()
        hand(bench, "rail +15 output")
        bench.clock.skip(5)
        async with begun(bench.meters_toml, TO_OUTPUT, simulated=True) as (pilot, path):
            await press(pilot, "y")
            assert "REHEARSAL" in shown(pilot)
            await press(pilot, "r", "enter")
            reading = last_reading(path)
            assert reading.meter == "multimeter"
            assert len(reading.replies) == reading.count >= 2
            half = bench.meters[0].half_width(15.0, "V", "dc volts")
            assert half is not None
            assert abs(reading.value.si - bench.unit.rail("+15").output_v) <= half
            assert "REHEARSAL" in shown(pilot)


async def test_the_simulated_bench_is_refused_in_a_real_run(begun: Begun) -> None:
    with SimulatedBench(load(folder("demo") / "CR-07.toml"), seed=3, speed=1.0) as bench:
        # an entry that does not say what it is: the instrument's own answer gives it away
        meters = "\n".join(x for x in bench.meters_toml.splitlines() if not x.startswith("idn = "))
        async with begun(meters, TO_OUTPUT, simulated=False) as (pilot, path):
            await press(pilot, "y")
            count = len(events(path))
            await press(pilot, "r", "enter")
            assert "simulated bench" in " ".join(shown(pilot).split())
            assert len(events(path)) == count


async def test_insulation_is_asked_before_its_voltage_is_applied(begun: Begun) -> None:
    with SimulatedBench(load(folder("demo") / "CR-07.toml"), seed=3, speed=1.0) as bench:
        async with begun(bench.meters_toml, ROWS, simulated=True) as (pilot, path):
            count = len(events(path))
            await press(pilot, "r")
            assert "test voltage, 500 V, at once" in " ".join(shown(pilot).split())  # of the IEC limit set
            await press(pilot, "n")
            assert len(events(path)) == count
            await press(pilot, "r", "y", "enter")
            value = last_reading(path).value
            assert (value.kind, value.si) == ("above", 200e6)


async def test_no_meter_is_asked_for_what_the_gates_would_not_take(begun: Begun) -> None:
    with Server(Instrument(fixed={"READ?": "9.9E+37"})) as server:
        meters = METERS.format(resource=server.tcp, idn=IDN).replace(
            f'resource = "{server.tcp}"', f'kind = "insulation"\nresource = "{server.tcp}"'
        )
        rows = "".join(ROWS.splitlines(keepends=True)[:5])  # case shut, the earth not measured
        async with begun(meters, rows, simulated=False) as (pilot, path):
            count = len(events(path))
            await press(pilot, "j")
            await typed(pilot, "insul")
            await press(pilot, "r")
            assert "Not possible now" in shown(pilot)
            assert server.connections == 0
            assert len(events(path)) == count


def test_another_instrument_under_the_same_name_is_not_read(tmp_path: Path) -> None:
    meters = METERS.format(resource="tcp://127.0.0.1:9", idn=IDN)
    opened = msgspec.structs.replace(b.opened(PROCEDURE), meters=meters)
    journal = create_run(tmp_path, tag="CR-07", procedure_name="short", opened=opened)
    journal.close()
    with LiveRun(open_run(journal.path)) as live, MetersAtHand(tmp_path) as at_hand:
        item = live.state.item("output", "+15")
        for text, words in (
            (meters.replace(IDN, "Another,Meter,2,1"), "another instrument"),
            (meters.replace("bench multimeter", "new one"), "no longer in meters.toml"),
        ):
            (tmp_path / "meters.toml").write_text(text, encoding="utf-8")
            with pytest.raises(OhmwardError, match=words):
                at_hand.reading_for(live.state, item, "bench multimeter")
        with pytest.raises(OhmwardError, match="started without"):
            at_hand.reading_for(live.state, item, "new one")
        assert at_hand.reading_for(live.state, item) is None


def test_where_the_logbook_has_no_list_the_run_is_read_by_its_own(tmp_path: Path) -> None:
    """As after `start --meters FILE`."""
    with Server() as server:
        meters = METERS.format(resource=server.tcp, idn=IDN)
        opened = msgspec.structs.replace(b.opened(PROCEDURE), meters=meters)
        journal = create_run(tmp_path, tag="CR-07", procedure_name="short", opened=opened)
        journal.close()
        with LiveRun(open_run(journal.path)) as live, MetersAtHand(tmp_path) as at_hand:
            found = at_hand.reading_for(live.state, live.state.item("output", "+15"))
            assert found is not None
            assert found.settled.replies[-1] in server.instrument.served
            with pytest.raises(OhmwardError, match="cannot be read"), at_hand.inventory():
                pass
            # a list that the logbook has counts, even where it lacks what the run knows
            (tmp_path / "meters.toml").write_text(meters.replace("bench multimeter", "new one"), "utf-8")
            with pytest.raises(OhmwardError, match=r"no longer in meters\.toml"):
                at_hand.reading_for(live.state, live.state.item("output", "+15"), "bench multimeter")
