"""The meters by keys: the list, the connection test, a live reading, a list to begin with."""

from __future__ import annotations

import socket
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from pathlib import Path

import pytest
from textual.pilot import Pilot

from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.shipped import folder
from ohmward.supply import load
from ohmward.taking.at_hand import MetersAtHand
from ohmward.tui.app import OhmwardApp
from ohmward.tui.bench_screen import BenchScreen
from ohmward.tui.meters_screen import MetersScreen
from support.journals import HandClock
from support.scpi import IDN, Instrument, Server
from support.screens import NARROW, WIDE, press, settled, shown

Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]
METER = """
[[meter]]
name = "bench multimeter"
resource = "{resource}"
idn = "{idn}"
calibrated = 2024-01-01
due = 2025-01-01
[[meter.accuracy]]
function = "dc volts"
range = "20 V"
resolution = "1 mV"
accuracy = "±(0.05 % + 5)"
[[meter]]
name = "panel meter"
"""
DEAD = """
[[meter]]
name = "dead meter"
resource = "tcp://127.0.0.1:9"
"""


@pytest.fixture
def meters(tmp_path: Path) -> Open:
    """Open the meters of a list, from the bench."""

    @asynccontextmanager
    async def of(
        text: str | None, size: tuple[int, int] = NARROW, *, lent: bool = True
    ) -> AsyncIterator[Pilot[None]]:
        if text is not None:
            (tmp_path / "meters.toml").write_text(text, encoding="utf-8")
        with MetersAtHand(tmp_path) as at_hand:
            app = OhmwardApp(
                tmp_path, meters=(lambda: at_hand) if lent else None, clock=HandClock(step_s=0.0)
            )
            async with app.run_test(size=size) as pilot:
                await settled(pilot)
                await press(pilot, "m")
                assert isinstance(pilot.app.screen, MetersScreen)
                yield pilot
            if app.crash is not None:
                raise app.crash

    return of


@pytest.fixture
def bench() -> Iterator[SimulatedBench]:
    with SimulatedBench(load(folder("demo") / "CR-07.toml"), seed=3, speed=1.0) as running:
        yield running


def text(pilot: Pilot[None]) -> str:
    return " ".join(shown(pilot).split())


async def comes(pilot: Pilot[None], words: str) -> None:
    for _ in range(500):
        if words in text(pilot):
            return
        await pilot.pause(0.02)
    raise AssertionError(f"'{words}' did not come:\n{shown(pilot)}")


@pytest.mark.parametrize("size", [NARROW, WIDE, (60, 20)])
async def test_the_simulated_bench_is_listed_tested_and_marked(
    meters: Open, bench: SimulatedBench, size: tuple[int, int]
) -> None:
    async with meters(bench.meters_toml, size) as pilot:
        assert "REHEARSAL" in shown(pilot)
        assert "in date 2027-01-12" in text(pilot)
        await press(pilot, "a")
        await comes(pilot, "answers in")
        assert "OHMWARD,SIMULATED MULTIMETER" in text(pilot)


async def test_a_meter_is_read_live_with_large_digits_until_it_is_stopped(
    meters: Open, bench: SimulatedBench
) -> None:
    bench.unit.switch_on()
    with socket.create_connection(bench.addresses["multimeter"], timeout=5) as wire:
        wire.sendall(b'PROB:AT "rail +15 output";*OPC?\n')
        assert wire.recv(16) == b"1\n"
    async with meters(bench.meters_toml) as pilot:
        await press(pilot, "r")
        await comes(pilot, "reading 6")
        said = text(pilot)
        assert "multimeter, dc volts" in said
        assert "standard deviation" in said
        assert "nothing is recorded" in said
        await press(pilot, "r")
        await comes(pilot, "stopped; this was its last reading")
        still = text(pilot)
        await pilot.pause(0.4)
        assert text(pilot) == still


async def test_what_it_reads_can_be_chosen(meters: Open, bench: SimulatedBench) -> None:
    async with meters(bench.meters_toml) as pilot:
        await press(pilot, "f")
        await comes(pilot, "what is it to read?")
        await press(pilot, "down", "enter")
        await comes(pilot, "multimeter, ac volts")
        await press(pilot, "escape")
        assert isinstance(pilot.app.screen, BenchScreen)


async def test_an_insulation_tester_is_never_read_from_here(meters: Open, bench: SimulatedBench) -> None:
    async with meters(bench.meters_toml) as pilot:
        await press(pilot, "down", "down")
        assert "insulation" in text(pilot)
        await press(pilot, "r")
        assert "puts its test voltage" in text(pilot)


async def test_a_dead_meter_is_told_of_and_holds_no_other_up(meters: Open) -> None:
    instrument = Instrument()
    instrument.errors.append('-113,"Undefined header"')
    with Server(instrument) as server:
        async with meters(METER.format(resource=server.tcp, idn=IDN) + DEAD) as pilot:
            assert "OVERDUE 2025-01-01" in text(pilot)
            await press(pilot, "a")
            await comes(pilot, "CANNOT BE USED")
            assert "! answers, had errors" in text(pilot)
            assert "Undefined header" in text(pilot)
            await press(pilot, "down", "down")
            assert "127.0.0.1" in text(pilot)
            await press(pilot, "r")
            await comes(pilot, "no reading; r tries again")


async def test_another_instrument_than_the_one_of_the_list_is_not_taken_for_it(meters: Open) -> None:
    with Server(Instrument()) as server:
        async with meters(METER.format(resource=server.tcp, idn="Workshop,Other,9,1"), lent=False) as pilot:
            await press(pilot, "t")
            await comes(pilot, "CANNOT BE USED")
            assert IDN in text(pilot)


async def test_all_that_is_known_of_a_meter_and_one_that_is_read_by_hand(meters: Open) -> None:
    async with meters(METER.format(resource="tcp://127.0.0.1:9", idn=IDN)) as pilot:
        await press(pilot, "enter")
        assert "dc volts, 20 V range" in text(pilot)
        await press(pilot, "enter", "down", "t")
        assert "read its display and type" in text(pilot)
        await press(pilot, "enter", "r")
        assert "read its display and type" in text(pilot)
        await press(pilot, "enter", "f", "e")
        # where its lines break depends on how long the folder's name is
        assert "never written over" in " ".join(text(pilot).replace("┃", " ").split())


async def test_where_there_is_no_list_one_is_begun_on_request(meters: Open, tmp_path: Path) -> None:
    async with meters(None) as pilot:
        assert "There is no list of meters yet" in text(pilot)
        await press(pilot, "r", "t", "a", "f", "enter")
        await press(pilot, "e")
        await comes(pilot, "an example now")
        assert (tmp_path / "meters.toml").read_text(encoding="utf-8").startswith("# The meters")
        await press(pilot, "enter")
        assert "lists no meter yet" in text(pilot)


async def test_a_list_with_mistakes_says_which_and_is_read_again(meters: Open, tmp_path: Path) -> None:
    async with meters('[[meter]]\nname = "x"\nkind = "teapot"\n') as pilot:
        assert "cannot be used" in text(pilot)
        assert "It may be 'multimeter'" in text(pilot)
        (tmp_path / "meters.toml").write_text('[[meter]]\nname = "panel meter"\n', encoding="utf-8")
        await press(pilot, "f5")
        assert "panel meter" in text(pilot)


@pytest.mark.parametrize("key", ["t", "a", "r", "f", "enter"])
async def test_a_key_says_that_no_meter_is_listed(meters: Open, key: str) -> None:
    async with meters("# none yet\n") as pilot:
        await press(pilot, key)
        assert "No meter is listed yet: e begins the list" in text(pilot)
