"""Help, glossary and finding by a few letters."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from pathlib import Path

import pytest
from textual.command import CommandPalette
from textual.pilot import Pilot

from ohmward.desk.places import places
from ohmward.logbook import create_run
from ohmward.tui.assessment_screen import AssessmentScreen
from ohmward.tui.bench_screen import BenchScreen
from ohmward.tui.run_screen import RunScreen
from ohmward.tui.supply_screen import SupplyScreen
from support import bench as b
from support.journals import HandClock
from support.screens import NARROW, WIDE, kinds, press, settled, shown

Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]


async def find(pilot: Pilot[None], words: str, *, choose: bool = True) -> None:
    """Open the palette, type, wait for the list, and take the first entry."""
    await press(pilot, "ctrl+p")
    for char in words:
        await press(pilot, "space" if char == " " else char)
    for _ in range(100):
        await pilot.pause(0.03)
        listed = pilot.app.screen.query("CommandList")
        if listed and listed.first().option_count:  # type: ignore[attr-defined]
            break
    if choose:
        await chosen(pilot)


async def chosen(pilot: Pilot[None]) -> None:
    """Take the entry under the cursor, and wait for what it does."""
    await press(pilot, "enter")
    for _ in range(10):
        await pilot.pause(0.03)
    await settled(pilot)


@pytest.mark.parametrize("size", [NARROW, WIDE])
async def test_help_says_first_what_the_step_in_hand_is_about(open_app: Open, size: tuple[int, int]) -> None:
    async with open_app(size) as pilot:
        await press(pilot, "question_mark")
        text = shown(pilot)
        assert text.index("This step: Plug sound") < text.index("If it fails")
        await press(pilot, "escape")
        await press(pilot, "down", "down", "down", "f1")
        assert "This step: Lead null" in shown(pilot)
        await press(pilot, *["pagedown"] * 9)
        assert "Ctrl+Q" in shown(pilot)


async def test_the_glossary_is_one_key_from_help_and_is_narrowed_by_typing(open_app: Open) -> None:
    async with open_app() as pilot:
        await press(pilot, "f1", "g")
        assert "accuracy specification" in shown(pilot)
        for char in "bleed":
            await press(pilot, char)
        assert "bleeder" in shown(pilot)
        assert "amendment" not in shown(pilot)
        await press(pilot, "q", "x")
        assert "None of the" in shown(pilot)
        await press(pilot, "escape", "escape")
        assert isinstance(pilot.app.screen, RunScreen)


async def test_an_action_is_found_by_a_few_letters_and_done(open_app: Open, run_path: Path) -> None:
    async with open_app() as pilot:
        await find(pilot, "pass  (p)")
        assert kinds(run_path)[-1] == "Answered"
        assert isinstance(pilot.app.screen, RunScreen)


async def test_what_is_not_possible_now_says_why_and_records_nothing(open_app: Open, run_path: Path) -> None:
    async with open_app() as pilot:
        before = kinds(run_path)
        await find(pilot, "mains on", choose=False)
        assert "not now: " in shown(pilot)
        await chosen(pilot)
        assert "Not possible now: Mains on" in shown(pilot)
        assert "Plug sound" in shown(pilot)
        assert kinds(run_path) == before


async def test_with_a_run_in_hand_no_other_is_opened_but_any_is_looked_at(
    open_app: Open, logbook: Path
) -> None:
    with create_run(
        logbook, tag="CR-07", procedure_name="short", opened=b.opened(), clock=HandClock()
    ) as journal:
        other = journal.path
    async with open_app() as pilot:
        await find(pilot, f"resume {other.stem[:13]}")
        assert "A run is in hand" in shown(pilot)
        await press(pilot, "escape")
        await find(pilot, "bench  (b)")
        assert isinstance(pilot.app.screen, BenchScreen)
    async with open_app() as pilot:
        await find(pilot, "assessment of")
        assert isinstance(pilot.app.screen, AssessmentScreen)
        assert any(isinstance(screen, RunScreen) for screen in pilot.app.screen_stack)
        await press(pilot, "ctrl+o")
        assert not any(isinstance(screen, AssessmentScreen) for screen in pilot.app.screen_stack)


async def test_a_supply_is_gone_to_from_anywhere(open_app: Open) -> None:
    async with open_app(path=None) as pilot:
        await find(pilot, "supply cr-07")
        assert isinstance(pilot.app.screen, SupplyScreen)
        await find(pilot, "go to the bench")
        assert isinstance(pilot.app.screen, BenchScreen)
        await find(pilot, "glossary")
        assert "Glossary" in shown(pilot)


async def test_over_a_dialogue_its_question_comes_first_and_switching_off_works_over_the_list(
    open_app: Open,
) -> None:
    async with open_app() as pilot:
        await press(pilot, "w", "ctrl+p")
        assert not isinstance(pilot.app.screen, CommandPalette)
        await press(pilot, "escape", "ctrl+p")
        assert isinstance(pilot.app.screen, CommandPalette)
        await press(pilot, "ctrl+o")
        assert not isinstance(pilot.app.screen, CommandPalette)


async def test_names_from_outside_are_shown_and_never_obeyed(open_app: Open, logbook: Path) -> None:
    hostile = b.SHEET.replace('"CR-07"', '"[red]CR[/] [@click=app.quit]"')
    (logbook / "supplies" / "x.toml").write_text(hostile, encoding="utf-8")
    (logbook / "supplies" / "broken.toml").write_text("tag = [[", encoding="utf-8")
    async with open_app(path=None) as pilot:
        await find(pilot, "supply [red]", choose=False)
        assert "[red]CR[/]" in shown(pilot)
        await press(pilot, "escape")
        await find(pilot, "supply broken", choose=False)
        assert "not now: " in shown(pilot)


def test_places_of_a_logbook_are_named_once_each_and_damage_says_why(logbook: Path, run_path: Path) -> None:
    (run_path.parent / "2026-02-01-01-odd.jsonl").write_bytes(b"not a record\n")
    (logbook / "supplies" / "broken.toml").write_text("tag = [[", encoding="utf-8")
    found = places(logbook)
    names = [place.words for place in found]
    assert len(names) == len(set(names))
    assert {"supply", "new-run", "history", "run", "assessment", "meters"} == {place.what for place in found}
    assert all(place.why_not for place in found if "odd" in place.words or "broken" in place.words)
    assert not any(place.why_not for place in found if "CR-07" in place.words and "odd" not in place.words)


@pytest.mark.parametrize("key", ["pagedown", "pageup"])
async def test_a_page_in_a_list_that_is_not_laid_out_yet_does_nothing(open_app: Open, key: str) -> None:
    async with open_app(NARROW) as pilot:
        await find(pilot, "note", choose=False)
        listed = pilot.app.screen.query_one("CommandList")
        listed.styles.height = 0
        listed.styles.border = ("none", "black")
        await pilot.pause()
        await press(pilot, key)  # the app has not ended: `open_app` says so
        listed.styles.height = 5
        await press(pilot, key)
        await press(pilot, "escape")
        assert isinstance(pilot.app.screen, RunScreen)
