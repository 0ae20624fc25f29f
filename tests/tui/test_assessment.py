"""The assessment screen driven by keys, on sample runs of the simulated supply."""

from __future__ import annotations

import asyncio
import shutil
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from pathlib import Path

import pytest
from textual.pilot import Pilot

from ohmward.logbook import read
from ohmward.report.document import making
from ohmward.tui.app import OhmwardApp
from ohmward.tui.assessment_panes import MarkedTable
from ohmward.tui.assessment_screen import AssessmentScreen
from ohmward.tui.bench_screen import BenchScreen
from support.journals import HandClock
from support.reports import FAULTY, HEALTHY, INTERRUPTED, RUNS
from support.screens import NARROW, WIDE, press, settled, shown, typed

WAVES = sorted(RUNS.glob("*-commissioning.jsonl"))[-1]  # made on the day the samples were
Assess = Callable[..., AbstractAsyncContextManager[Pilot[None]]]


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    return tmp_path / "book"


@pytest.fixture
def assess(shelf: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Assess:
    """Open the assessment of a copy of a sample run; documents go to a folder of the test's own."""
    (tmp_path / "papers").mkdir()
    monkeypatch.chdir(tmp_path / "papers")
    monkeypatch.setenv("LC_ALL", "en_GB.UTF-8")

    @asynccontextmanager
    async def at(sample: Path, size: tuple[int, int] = NARROW) -> AsyncIterator[Pilot[None]]:
        place = shelf / "runs" / "CR-07"
        place.mkdir(parents=True)
        for part in sample.parent.glob(f"{sample.stem}.*"):
            shutil.copy(part, place)
        app = OhmwardApp(shelf, clock=HandClock(step_s=0.0))
        async with app.run_test(size=size) as pilot:
            await settled(pilot)
            app.post_message(BenchScreen.Wanted("assessment", place / sample.name))
            await settled(pilot)
            while pilot.app.screen.query("#assessment-heading") and "Being assessed" in shown(pilot):
                await pilot.pause(0.05)
            await settled(pilot)
            yield pilot
        if app.crash is not None:
            raise app.crash

    return at


def screen(pilot: Pilot[None]) -> AssessmentScreen:
    found = pilot.app.screen_stack[1]
    assert isinstance(found, AssessmentScreen)
    return found


def text_of(pilot: Pilot[None]) -> str:
    """The screen as one line, for words that were wrapped."""
    return " ".join(shown(pilot).split())


@pytest.mark.parametrize("size", [NARROW, WIDE, (60, 20)])
async def test_every_page_of_a_faulty_run_is_shown_at_every_size(
    assess: Assess, size: tuple[int, int]
) -> None:
    async with assess(FAULTY, size) as pilot:
        assert "✗ FAIL" in shown(pilot)
        assert "REHEARSAL" in shown(pilot)
        for number in range(1, 10):
            await press(pilot, str(number))
            assert screen(pilot).tab == number
            lines = shown(pilot).split("\n")
            assert all(len(line) == size[0] for line in lines)
        await press(pilot, "5", "l")
        assert "against load [A]" in shown(pilot)


async def test_filters_list_the_failed_the_unexpected_and_one_rail(assess: Assess) -> None:
    async with assess(FAULTY, WIDE) as pilot:
        await press(pilot, "f")
        assert "Listed: failed" in shown(pilot)
        assert "PASS" not in shown(pilot)
        await press(pilot, "f")
        assert "Listed: unexpected" in shown(pilot)
        assert "PASS, unexpected" in shown(pilot)
        await press(pilot, "f", "f", "f")
        assert "Listed: all readings" in shown(pilot)
        await press(pilot, "o")
        await typed(pilot, "rail 24")
        assert "rail 24" in shown(pilot)
        await press(pilot, "8")
        assert "between its limits" in shown(pilot)
        assert "+48" not in shown(pilot)


async def test_a_search_narrows_as_it_is_typed_and_esc_ends_it_before_it_leaves(assess: Assess) -> None:
    async with assess(HEALTHY, WIDE) as pilot:
        await press(pilot, "slash")
        for char in "residual":
            await press(pilot, char)
        assert "with 'residual'" in shown(pilot)
        assert "Residual voltage" in shown(pilot)
        assert "Lead null" not in shown(pilot)
        await press(pilot, "enter", "down")
        assert "with 'residual'" in shown(pilot)
        await press(pilot, "slash", "escape")
        assert "Listed: all readings" in shown(pilot)
        assert isinstance(pilot.app.screen, AssessmentScreen)
        await press(pilot, "escape")
        assert isinstance(pilot.app.screen, BenchScreen)


async def test_where_an_uncertainty_comes_from_is_one_key_away_from_its_reading(assess: Assess) -> None:
    async with assess(HEALTHY, WIDE) as pilot:
        await press(pilot, "u")
        assert "Put the cursor on a reading first" in shown(pilot)
        await press(pilot, "escape", "slash")
        await typed(pilot, "load points output 100")
        await press(pilot, "u")
        assert "accuracy of the meter" in shown(pilot)
        assert "Result:" in shown(pilot)
        await press(pilot, "escape", "enter")
        assert "limit from" in shown(pilot)


async def test_a_cause_says_what_decided_it_and_what_to_do_first(assess: Assess) -> None:
    async with assess(FAULTY, WIDE) as pilot:
        await press(pilot, "4")
        words = text_of(pilot)
        assert "Decided by" in words
        assert words.index("First ") < words.index("To make sure")


async def test_a_healthy_run_has_no_cause_and_says_why(assess: Assess) -> None:
    async with assess(HEALTHY) as pilot:
        await press(pilot, "4")
        assert "no cause was looked for" in text_of(pilot)


async def test_a_run_not_finished_lists_what_is_missing(assess: Assess) -> None:
    async with assess(INTERRUPTED, WIDE) as pilot:
        assert "NOT FINISHED" in shown(pilot)
        await press(pilot, "f", "f", "f")
        assert "Listed: not done" in shown(pilot)
        assert "NOT DONE" in shown(pilot)
        await press(pilot, "u")
        assert "Put the cursor on a reading" in shown(pilot)


async def test_soak_and_waveforms_are_drawn(assess: Assess) -> None:
    async with assess(WAVES, WIDE) as pilot:
        await press(pilot, "6")
        assert "temperature [°C] against time [min]" in shown(pilot)
        assert "settling at" in shown(pilot)
        await press(pilot, "7", "down")
        assert "against time [ms]" in shown(pilot)
        await press(pilot, "ctrl+t")
        assert "against time [ms]" in shown(pilot)


async def printed(pilot: Pilot[None]) -> None:
    """Wait until a document is made."""
    for _ in range(1200):
        await settled(pilot)
        if "Printed to a file" in shown(pilot) or "Not printed" in shown(pilot):
            return
        await asyncio.sleep(0.05)
    raise AssertionError(shown(pilot))


async def test_the_short_form_is_printed_and_never_over_another_file_unasked(assess: Assess) -> None:
    name = Path("CR-07-2026-03-03-01-commissioning-short.pdf")
    async with assess(FAULTY) as pilot:
        await press(pilot, "r", "down", "down", "enter")
        assert "File" in shown(pilot)
        await press(pilot, "enter")
        await printed(pilot)
        assert name.read_bytes().startswith(b"%PDF-")
        assert "short.pdf" in "".join(shown(pilot).split())
        name.write_bytes(b"mine")
        await press(pilot, "enter", "r", "down", "down", "enter", "enter")
        assert "is there already" in text_of(pilot)
        await press(pilot, "n")
        assert "That name is taken" in text_of(pilot)
        await press(pilot, "escape")
        assert name.read_bytes() == b"mine"
        await press(pilot, "r", "down", "down", "enter", "enter", "y")
        await printed(pilot)
        assert name.read_bytes().startswith(b"%PDF-")


async def test_a_label_is_printed_and_a_place_that_cannot_be_is_asked_for_again(assess: Assess) -> None:
    async with assess(HEALTHY) as pilot:
        await press(pilot, "t", "down", "enter")
        await press(pilot, *["ctrl+u"])
        await typed(pilot, "nowhere/label.png")
        assert "there is no folder" in text_of(pilot)
        await press(pilot, "ctrl+u")
        await typed(pilot, "label.docx")
        assert "is not a kind of file that can be made" in text_of(pilot)
        await press(pilot, "ctrl+u")
        await typed(pilot, "label")
        await printed(pilot)
        assert Path("label.png").read_bytes().startswith(b"\x89PNG")


async def test_what_goes_wrong_while_printing_is_said_and_changes_nothing(
    assess: Assess, monkeypatch: pytest.MonkeyPatch, shelf: Path
) -> None:
    def broken(*_: object, **__: object) -> making.Made:
        raise RuntimeError("no paper")

    monkeypatch.setattr("ohmward.desk.printing.make", broken)
    async with assess(HEALTHY) as pilot:
        before = read(next(shelf.rglob("*.jsonl")))
        await press(pilot, "t", "enter", "enter")
        await printed(pilot)
        assert "Not printed" in shown(pilot)
        assert list(Path.cwd().iterdir()) == []
        assert read(next(shelf.rglob("*.jsonl"))) == before


async def test_while_a_document_is_made_the_screen_goes_on_and_is_not_left(
    assess: Assess, monkeypatch: pytest.MonkeyPatch
) -> None:
    import threading

    go = threading.Event()

    def slow(*_: object, tell: Callable[[str], None], **__: object) -> making.Made:
        tell("Drawing 1 of 1: patience")
        go.wait(30)
        return making.Made(data=b"%PDF-x")

    monkeypatch.setattr("ohmward.desk.printing.make", slow)
    async with assess(HEALTHY) as pilot:
        await press(pilot, "t", "enter", "enter")
        for _ in range(200):
            await settled(pilot)
            if "Drawing 1 of 1" in shown(pilot):
                break
            await asyncio.sleep(0.02)
        assert "Printing: Drawing 1 of 1: patience" in shown(pilot)
        await press(pilot, "2", "down", "escape", "r")
        assert isinstance(pilot.app.screen, AssessmentScreen)
        assert "one moment" in text_of(pilot)
        go.set()
        await printed(pilot)
        await press(pilot, "enter", "escape")
        assert isinstance(pilot.app.screen, BenchScreen)


@pytest.mark.parametrize("size", [NARROW, WIDE])
async def test_no_table_is_drawn_past_the_edge(assess: Assess, size: tuple[int, int]) -> None:
    async with assess(FAULTY, size) as pilot:
        for number in (2, 3, 5, 6, 7, 8, 9):
            await press(pilot, str(number))
            (table,) = screen(pilot).query(f"#rows-{number}").results(MarkedTable)
            assert table.virtual_size.width <= table.size.width


async def test_home_and_end_go_to_the_first_and_the_last_row_of_every_table(assess: Assess) -> None:
    async with assess(WAVES) as pilot:
        for number in (2, 3, 5, 6, 7, 8, 9):
            await press(pilot, str(number), "end")
            (table,) = screen(pilot).query(f"#rows-{number}").results(MarkedTable)
            assert table.row_count > 1
            assert table.here == table.row_count - 1
            await press(pilot, "home")
            assert table.here == 0


async def test_enter_says_so_where_there_is_nothing_to_open(assess: Assess) -> None:
    async with assess(HEALTHY) as pilot:
        for page in ("1", "4"):
            await press(pilot, page, "enter")
            assert "Nothing to open on this page: ↑ and ↓ scroll it, 2 lists the readings." in shown(pilot)
            await press(pilot, "2")
            screen(pilot).remark("")
