"""The bench by keys: states of supplies, runs to go on with, search, a thousand supplies, an empty one."""

from __future__ import annotations

import asyncio
import shutil
import time
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from ohmward.logbook import create_run
from ohmward.tui.app import OhmwardApp
from ohmward.tui.bench_screen import BenchScreen
from ohmward.tui.filled_table import FilledTable
from support import bench as b
from support.journals import HandClock, begin
from support.screens import NARROW, WIDE, lines, press, settled, shown, typed

SAMPLES = Path(__file__).parents[2] / "sample_logs"


def put_sheet(logbook: Path, tag: str, title: str) -> None:
    shelf = logbook / "supplies"
    shelf.mkdir(parents=True, exist_ok=True)
    text = b.SHEET.replace("CR-07", tag).replace("Mixing-console supply (simulated example)", title)
    (shelf / f"{tag}.toml").write_text(text, encoding="utf-8")


@pytest.fixture
def logbook(tmp_path: Path) -> Path:
    for tag, title in (
        ("CR-02", "Second-hand supply"),
        ("CR-07", "Mixing-console supply"),
        ("CR-11", "Turntable-motor supply"),
    ):
        put_sheet(tmp_path, tag, title)
    return tmp_path


def opened_app(logbook: Path) -> OhmwardApp:
    return OhmwardApp(logbook, clock=HandClock(step_s=0.0))


def bench(pilot: Pilot[None]) -> BenchScreen:
    screen = pilot.app.screen
    assert isinstance(screen, BenchScreen)
    return screen


def row(pilot: Pilot[None], words: str) -> str:
    return next((line for line in lines(pilot) if words in line), "")


async def comes(pilot: Pilot[None], words: str) -> None:
    for _ in range(500):
        if words in " ".join(shown(pilot).split()):
            return
        await pilot.pause(0.02)
    raise AssertionError(f"'{words}' did not come:\n{shown(pilot)}")


@pytest.mark.parametrize("size", [NARROW, WIDE, (60, 20)])
async def test_supplies_stand_with_their_state_and_runs_in_hand_come_first(
    logbook: Path, size: tuple[int, int]
) -> None:
    with create_run(
        logbook, tag="CR-07", procedure_name="short", opened=b.opened(), clock=HandClock()
    ) as journal:
        path = journal.path
    app = opened_app(logbook)
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        assert "never tested" in row(pilot, "CR-02")
        assert "in hand" in row(pilot, "CR-07")
        assert "3 supplies · 1 in hand" in shown(pilot)
        await press(pilot, "tab")
        assert "Enter goes on with it" in " ".join(shown(pilot).split())
        await press(pilot, "enter")
        await comes(pilot, "Plug sound")
        assert app.last_run == path
        await press(pilot, "b")
        assert "In hand, due, and the latest runs" in shown(pilot)
    app.let_go()
    assert app.crash is None


async def test_search_narrows_both_tables_and_esc_shows_all_again(logbook: Path) -> None:
    begin(logbook, tag="CR-07").close()
    app = opened_app(logbook)
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        await press(pilot, "slash")
        await typed(pilot, "TURN motor")
        text = shown(pilot)
        assert "CR-11" in text
        assert "CR-02" not in text
        assert "CR-07" not in text
        assert "Supplies: 1 of 3" in text
        await press(pilot, "enter")
        assert "CR-11" in shown(pilot)  # the supply found is opened
        await press(pilot, "escape")
        await press(pilot, "escape")
        assert "CR-02" in shown(pilot)
        await press(pilot, "slash")
        await typed(pilot, "nothing like it", "enter")
        assert "Nothing here has these words" in shown(pilot)
        await press(pilot, "enter", "n", "h", "s")
        assert isinstance(pilot.app.screen, BenchScreen)
    assert app.crash is None


async def test_letters_typed_into_the_search_start_nothing(logbook: Path) -> None:
    app = opened_app(logbook)
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        await press(pilot, "slash", "n", "m", "h", "a")
        assert bench(pilot).query_one(Input).value == "nmha"
    assert app.crash is None


async def test_the_cursor_stays_on_its_supply_when_the_folder_is_read_again(logbook: Path) -> None:
    app = opened_app(logbook)
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        await press(pilot, "down")
        assert "Mixing-console" in shown(pilot).rsplit("───", 1)[1]
        put_sheet(logbook, "CR-01", "Lamp supply")
        await press(pilot, "f5")
        assert "CR-01" in shown(pilot)
        assert "Mixing-console" in shown(pilot).rsplit("───", 1)[1]
    assert app.crash is None


async def test_an_empty_bench_teaches_what_to_do_first(tmp_path: Path) -> None:
    app = opened_app(tmp_path / "none")
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        text = " ".join(shown(pilot).split())
        for words in ("1 Practise: 'ohmward demo'", "2 Press a to describe your supply", "3 Then press n"):
            assert words in text
        await press(pilot, "h", "s", "n", "enter", "slash", "escape")
        assert isinstance(pilot.app.screen, BenchScreen)
        put_sheet(tmp_path / "none", "CR-07", "Mixing-console supply")
        await press(pilot, "f5")
        assert "never tested" in row(pilot, "CR-07")
    assert app.crash is None


async def test_a_closed_run_shows_what_it_amounts_to(logbook: Path) -> None:
    place = logbook / "runs" / "CR-07"
    place.mkdir(parents=True)
    for path in (SAMPLES / "runs" / "CR-07").glob("2026-03-03-01-*"):  # a simulated one, that failed
        shutil.copy(path, place)
    app = opened_app(logbook)
    async with app.run_test(size=WIDE) as pilot:
        await settled(pilot)
        assert "REHEARSAL ✗ fail" in row(pilot, "Mixing-console")
        assert "after-repair" in row(pilot, "Mixing-console")
        await press(pilot, "tab", "down", "enter")
        await comes(pilot, "FAIL")
        await press(pilot, "escape", "s")
        await comes(pilot, "FAIL")
        await press(pilot, "escape")
        assert isinstance(pilot.app.screen, BenchScreen)
    assert app.crash is None


async def test_runs_whose_sheet_is_gone_are_told_of_and_start_nothing(logbook: Path) -> None:
    begin(logbook, tag="CR-30").close()
    app = opened_app(logbook)
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        await press(pilot, "tab", "n")
        assert isinstance(pilot.app.screen, BenchScreen) or "no design sheet" in shown(pilot)
    assert app.crash is None


async def test_a_thousand_supplies_are_listed_without_holding_the_screen_up(tmp_path: Path) -> None:
    """The longest that the thread of the screen works at one go, against one plain table of as many rows."""
    from rich.text import Text
    from textual.app import App, ComposeResult
    from textual.widgets import DataTable

    for number in range(1000):
        put_sheet(tmp_path, f"CR-{1000 + number}", "Mixing-console supply")

    class Plain(App[None]):
        def compose(self) -> ComposeResult:
            yield DataTable(cursor_type="row")

    plain = Plain()
    async with plain.run_test(size=NARROW) as pilot:
        table: DataTable[Text] = plain.query_one(DataTable)
        table.add_columns(*"abcde")
        began = time.thread_time()
        for number in range(1000):
            table.add_row(*(Text(f"{column} {number}") for column in "abcde"))
        await pilot.pause()
        whole = time.thread_time() - began

    app = opened_app(tmp_path)
    held: list[float] = []

    async def watch() -> None:
        while True:
            began = time.thread_time()
            await asyncio.sleep(0.002)
            held.append(time.thread_time() - began)

    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        watching = asyncio.create_task(watch())
        await press(pilot, "slash", "9", "9", "backspace", "backspace", "escape", "f5")
        await pilot.pause(0.2)
        watching.cancel()
        assert "1000 supplies" in shown(pilot)
        await press(pilot, "ctrl+end")
        for _ in range(200):
            if "CR-1999" in shown(pilot):
                break
            await pilot.pause(0.02)
            await press(pilot, "ctrl+end")
        assert "CR-1999" in shown(pilot)
    assert app.crash is None
    assert sorted(held)[-2] < max(0.1, whole)


async def test_a_mouse_chooses_a_supply_and_starts_what_the_hints_say(logbook: Path) -> None:
    begin(logbook, tag="CR-07").close()
    app = opened_app(logbook)
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        hints = next(n for n, line in enumerate(lines(pilot)) if "m meters" in line)
        await pilot.click(offset=(lines(pilot)[hints].index("m meters") + 2, hints))
        await comes(pilot, "There is no list of meters yet")
        await press(pilot, "escape")
        await pilot.click("#sheets", offset=(10, 3))
        await comes(pilot, "Turntable-motor supply · never tested")
        assert bench(pilot).query_one("#sheets") is pilot.app.focused
    app.let_go()
    assert app.crash is None


@pytest.mark.parametrize("size", [NARROW, WIDE])
async def test_every_key_says_what_it_does_or_why_it_does_nothing(
    logbook: Path, size: tuple[int, int]
) -> None:
    with create_run(logbook, tag="CR-07", procedure_name="short", opened=b.opened(), clock=HandClock()):
        pass
    app = opened_app(logbook)
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        await comes(pilot, "never tested")
        await press(pilot, "s")  # CR-02
        assert "CR-02 has no run among the latest" in shown(pilot)
        await press(pilot, "enter", "r")
        assert "CR-02 has no run in hand" in shown(pilot)
        await press(pilot, "enter", "down", "down")  # known by a rehearsal: it stands last
        await comes(pilot, "r goes on with its run in hand")
        await press(pilot, "s")
        assert not isinstance(pilot.app.screen, BenchScreen)
        await press(pilot, "escape")
        assert isinstance(pilot.app.screen, BenchScreen)
        await press(pilot, "r")
        await settled(pilot)
        assert app.has_run
    app.let_go()


@pytest.mark.parametrize("key", ["enter", "n", "h", "s", "r"])
async def test_a_key_with_nothing_under_the_cursor_says_so(tmp_path: Path, key: str) -> None:
    app = opened_app(tmp_path)
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        await press(pilot, key)
        assert "Nothing is under the cursor" in shown(pilot)
    app.let_go()


@pytest.mark.parametrize("size", [NARROW, WIDE])
async def test_the_tables_of_the_bench_stay_between_the_edges_with_the_state_whole(
    tmp_path: Path, size: tuple[int, int]
) -> None:
    shutil.copytree(SAMPLES, tmp_path / "logbook")
    async with opened_app(tmp_path / "logbook").run_test(size=size) as pilot:
        await settled(pilot)
        for name in ("sheets", "runs"):
            table = bench(pilot).query_one(f"#{name}", FilledTable)
            assert table.row_count
            assert table.virtual_size.width <= table.size.width
        assert "REHEARSAL ▸ in hand" in shown(pilot)
        await press(pilot, "escape")
        assert "Ctrl+Q leaves ohmward" in shown(pilot)
