"""The history of CR-11 by keys: quantities, plot, runs, comparison, baseline; simulated years."""

from __future__ import annotations

import shutil
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from pathlib import Path

import pytest
from textual.pilot import Pilot

from ohmward.tui.app import OhmwardApp
from ohmward.tui.bench_screen import BenchScreen
from ohmward.tui.filled_table import FilledTable
from ohmward.tui.history_screen import HistoryScreen
from support.journals import HandClock
from support.screens import NARROW, WIDE, lines, press, settled, shown

SAMPLES = Path(__file__).parents[2] / "sample_logs"
Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]


@pytest.fixture(scope="module")
def samples(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("samples") / "logbook"
    shutil.copytree(SAMPLES / "runs" / "CR-11", place / "runs" / "CR-11")
    shutil.copytree(SAMPLES / "supplies", place / "supplies")
    return place


@pytest.fixture
def history(samples: Path) -> Open:
    """Open the history of CR-11 from the bench."""

    @asynccontextmanager
    async def at(size: tuple[int, int] = NARROW) -> AsyncIterator[Pilot[None]]:
        app = OhmwardApp(samples, clock=HandClock(step_s=0.0))
        async with app.run_test(size=size) as pilot:
            await settled(pilot)
            await press(pilot, "down", "h")
            assert isinstance(pilot.app.screen, HistoryScreen)
            yield pilot
        app.let_go()
        if app.crash is not None:
            raise app.crash

    return at


def text(pilot: Pilot[None]) -> str:
    return " ".join(shown(pilot).split())


@pytest.mark.parametrize("size", [NARROW, WIDE, (60, 20)])
async def test_it_says_what_ages_when_it_is_due_and_that_it_is_a_rehearsal(
    history: Open, size: tuple[int, int]
) -> None:
    async with history(size) as pilot:
        said = text(pilot)
        assert "REHEARSAL" in said
        assert "AGES: Reservoir capacitance left (24)" in said
        assert "Next: retest" in said
        assert all(len(line) == size[0] for line in lines(pilot))


async def test_the_quantity_under_the_cursor_is_drawn_with_line_and_limit(history: Open) -> None:
    async with history() as pilot:
        await press(pilot, "enter")  # the plot of the first: the capacitance
        for _ in range(50):
            if "⠉" in shown(pilot) or "⣀" in shown(pilot):
                break
            await pilot.pause(0.05)
        said = shown(pilot)
        assert "sloping lines: trend" in text(pilot)
        assert "●" in said
        assert "■" in said  # another oscilloscope in the later years
        assert "2022" in said
        await press(pilot, "right")
        assert "Reservoir capacitance" not in text(pilot)
        await press(pilot, "left")
        assert "Reservoir capacitance" in text(pilot)


async def test_the_plot_stands_beside_the_table_where_there_is_room(history: Open) -> None:
    async with history(WIDE) as pilot:
        for _ in range(50):
            if "●" in shown(pilot) and "2020" in shown(pilot):
                break
            await pilot.pause(0.05)
        assert "AGES: falls" in shown(pilot)
        assert "2020" in shown(pilot)


async def test_two_chosen_runs_are_compared(history: Open) -> None:
    async with history(WIDE) as pilot:
        await press(pilot, "4")
        assert "2019-03-07 CR-11, commissioning" in text(pilot)  # the latest with the baseline, to begin with
        await press(pilot, "c")
        assert "3 shows the runs" in text(pilot)
        await press(pilot, "enter", "3", "down", "c")
        assert "Marked to compare: CR-11/2025-03-06-01-retest" in text(pilot)
        await press(pilot, "down", "down", "c")
        said = text(pilot)
        assert "2023-03-04 CR-11, retest" in said
        assert "2025-03-06 CR-11, retest" in said
        assert "differ by more than the meters would" in said


async def test_another_run_can_be_the_baseline_and_the_usual_one_again(history: Open) -> None:
    async with history() as pilot:
        await press(pilot, "3", "down", "down", "t")
        assert "Compared with 2024-03-05-01-retest (chosen by t)" in text(pilot)
        await press(pilot, "t")
        assert "Compared with 2019-03-07-01-commissioning" in text(pilot)


async def test_a_run_shows_what_it_amounts_to_and_esc_leads_all_the_way_back(history: Open) -> None:
    async with history() as pilot:
        await press(pilot, "3", "enter")
        for _ in range(100):
            if "✓ PASS" in shown(pilot):
                break
            await pilot.pause(0.02)
        assert "✓ PASS" in shown(pilot)
        await press(pilot, "escape")
        assert isinstance(pilot.app.screen, HistoryScreen)
        await press(pilot, "r")
        assert "nothing to turn to" in text(pilot)
        await press(pilot, "enter", "escape")
        assert isinstance(pilot.app.screen, BenchScreen)


async def test_a_supply_without_a_run_has_no_history_and_says_so(samples: Path) -> None:
    app = OhmwardApp(samples, clock=HandClock(step_s=0.0))
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        await press(pilot, "h")
        assert "No history of CR-07" in text(pilot)
        await press(pilot, "2", "3", "4", "1", "c", "escape", "escape")
        assert isinstance(pilot.app.screen, BenchScreen)
    assert app.crash is None


@pytest.mark.parametrize("size", [NARROW, WIDE])
async def test_no_table_of_the_years_is_drawn_past_the_edge(history: Open, size: tuple[int, int]) -> None:
    async with history(size) as pilot:
        for number, name in ((1, "quantities"), (3, "past-runs"), (4, "compared")):
            await press(pilot, str(number))
            table = pilot.app.screen.query_one(f"#{name}", FilledTable)
            assert table.row_count
            assert table.virtual_size.width <= table.size.width


async def test_what_has_no_column_stands_below_the_table(history: Open) -> None:
    async with history() as pilot:
        await press(pilot, "4")
        said = text(pilot)
        assert "Line and neutral to earth" in said
        assert "Line and neutral to earth, one minute · > 200 MΩ · 133 MΩ · – · CHANGED, worse" in said
        await press(pilot, "enter")
        assert "3 lists the runs" in text(pilot)
        await press(pilot, "2", "enter")
        assert "← and → show the other quantities" in text(pilot)
