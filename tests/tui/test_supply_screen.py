"""The supply's own screen: what the sheet says, its chains, its runs, and that it follows what is changed."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import DataTable

from support.screens import NARROW, WIDE, press, settled, shown
from support.sheet_forms import CR_07, until

Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]


@pytest.fixture
def sheet(logbook: Path) -> Path:
    path = logbook / "supplies" / "CR-07.toml"
    path.write_text(CR_07, encoding="utf-8")
    return path


@pytest.mark.parametrize("size", [NARROW, WIDE])
async def test_the_chains_are_drawn_with_what_is_expected(
    open_app: Open, sheet: Path, size: tuple[int, int]
) -> None:
    async with open_app(size, path=None) as pilot:
        await press(pilot, "enter", "4")
        text = await until(pilot, "≈ 1.17 V ripple p-p")
        assert "┤ T 1.6 A H ├" in text
        await press(pilot, "end")
        assert "output 24" in await until(pilot, "rail 24")
        assert all(len(line) == size[0] for line in shown(pilot).splitlines())


async def test_a_run_is_opened_from_its_supply_and_one_comes_back_there(open_app: Open, sheet: Path) -> None:
    async with open_app(path=None) as pilot:
        await press(pilot, "enter", "5")
        assert "short" in await until(pilot, "in hand, 1 record ·")
        await press(pilot, "enter")
        await until(pilot, "Plug sound")
        await press(pilot, "b")
        await until(pilot, "5 Runs")
        assert "in hand, 2 records" in await until(pilot, "in hand, 2 records")


async def test_a_sheet_changed_elsewhere_is_read_again_and_one_taken_away_is_told(
    open_app: Open, sheet: Path
) -> None:
    async with open_app(path=None) as pilot:
        await press(pilot, "enter", "question_mark")
        sheet.write_text(CR_07.replace("6800 µF", "4700 µF"), encoding="utf-8")
        await press(pilot, "escape", "4")
        await until(pilot, "4700 µF")
        await until(pilot, "≈ 1.67 V ripple p-p")
        await press(pilot, "question_mark")
        sheet.unlink()
        await press(pilot, "escape")
        await until(pilot, "cannot be read any more")
        await press(pilot, "enter")
        await until(pilot, "Supplies")


async def test_a_second_click_changes_a_field(open_app: Open, sheet: Path) -> None:
    async with open_app(path=None) as pilot:
        await press(pilot, "enter", "e")
        await until(pilot, "230 V mains")
        table = pilot.app.screen.query_one("#sheet-form", DataTable)
        assert table.has_focus
        await pilot.click("#sheet-form", offset=(6, 3))  # the first click goes there, the second opens
        await settled(pilot)
        await pilot.click("#sheet-form", offset=(6, 3))
        await settled(pilot)
        entry = pilot.app.screen.query_one("#sheet-entry")
        assert entry.has_focus
        assert "supply: title" in shown(pilot)


async def test_enter_on_the_sheet_changes_it_and_says_so_where_there_is_nothing_to_open(
    open_app: Open, sheet: Path
) -> None:
    async with open_app(path=None) as pilot:
        await press(pilot, "enter", "2", "enter")
        await until(pilot, "nothing to open on this page: 5 lists the runs")
        await press(pilot, "1", "enter")
        await until(pilot, "Ctrl+S save")
