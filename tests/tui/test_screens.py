"""Bench, supply and assessment screens; text from outside; no colour; what is loaded at all."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from pathlib import Path

import pytest
from textual.color import Color
from textual.pilot import Pilot

from ohmward.desk.who_tests import Who
from ohmward.logbook import Logbook, create_run, open_run, read
from ohmward.logbook.events import Resumed
from ohmward.run import LiveRun
from ohmward.tui.app import OhmwardApp
from support import bench as b
from support.journals import HandClock
from support.screens import NARROW, WIDE, Bench, kinds, press, settled, shown, typed

Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]

HOSTILE = "[red]CR[/] \x1b[31m\x1b]0;pwn\x07 $accent [@click=app.quit]y[/] \u202eabc [/nope]"


def toml(text: str) -> str:
    """Return `text` as a TOML basic string."""
    escaped = "".join(
        char if char.isprintable() and char not in '"\\' else f"\\u{ord(char):04x}" for char in text
    )
    return f'"{escaped}"'


@pytest.mark.parametrize("size", [NARROW, (200, 60), (60, 20)])
async def test_the_bench_lists_supplies_and_runs_and_damage_in_words(
    open_app: Open, logbook: Path, run_path: Path, size: tuple[int, int]
) -> None:
    (logbook / "supplies" / "broken.toml").write_text("tag = 3\n[mains\n", encoding="utf-8")
    (run_path.parent / "2026-02-01-01-odd.jsonl").write_bytes(b"\x1b[31mnot a record\n")
    async with open_app(size, path=None) as pilot:
        text = shown(pilot)
        assert "CR-07" in text
        assert "in hand, 1 records" in text or "in hand" in text
        assert "✗" in text
        assert "\x1b" not in text
        assert all(len(line) == size[0] for line in text.split("\n"))
        assert "? help" in text


async def test_a_damaged_run_or_sheet_is_explained_and_nothing_is_opened(
    open_app: Open, logbook: Path, run_path: Path
) -> None:
    run_path.unlink()
    (run_path.parent / "2026-02-01-01-odd.jsonl").write_bytes(b"not a record\n")
    (logbook / "supplies" / "A-broken.toml").write_text("tag = 3\n[mains\n", encoding="utf-8")
    async with open_app(path=None) as pilot:
        await press(pilot, "enter")
        assert "A-broken.toml" in shown(pilot)
        await press(pilot, "enter", "tab", "enter")
        assert "ohmward verify" in shown(pilot)
        await press(pilot, "enter")
        assert "In hand, due, and the latest runs" in shown(pilot)


async def test_an_empty_logbook_says_what_to_do(tmp_path: Path) -> None:
    app = OhmwardApp(tmp_path / "none", clock=HandClock())
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        assert "describe your supply" in shown(pilot)
        await press(pilot, "enter", "n", "s", "tab", "enter")
    assert app.crash is None


async def test_the_bench_begins_at_the_table_that_has_rows(
    open_app: Open, logbook: Path, run_path: Path
) -> None:
    (logbook / "supplies" / "CR-07.toml").unlink()
    async with open_app(path=None) as pilot:
        await press(pilot, "enter")
        assert "Plug sound" in shown(pilot)
    assert kinds(run_path)[-1] == "Resumed"


async def test_a_run_is_started_from_the_bench_and_is_a_rehearsal_only_where_there_is_one(
    open_app: Open, logbook: Path
) -> None:
    async with open_app(path=None, who=Who()) as pilot:
        await press(pilot, "n")
        assert "which procedure?" in shown(pilot)
        await press(pilot, "enter")
        assert "Who tests" in shown(pilot)
        await typed(pilot, "bench B")
        await typed(pilot, "yearly")
        assert "DEAD – unplugged" in shown(pilot)
        assert "bench B" in shown(pilot)
    started = next(run for run in Logbook(logbook).runs() if run.procedure != "short")
    assert started.operator == "bench B"
    assert not started.simulated
    async with open_app(path=None, rehearsal=Bench()) as pilot:
        await press(pilot, "n")
        assert "1 run of CR-07 in hand" in shown(pilot)
        await press(pilot, "down", "enter", "enter", "enter")
        assert "REHEARSAL" in shown(pilot)


async def test_the_supply_screen_shows_sheet_findings_and_what_to_expect(open_app: Open) -> None:
    async with open_app(path=None) as pilot:
        await press(pilot, "enter")
        assert "CR-07: Mixing-console supply" in shown(pilot)
        await press(pilot, "2")
        await press(pilot, "3")
        assert "230 V mains" in shown(pilot)
        await press(pilot, "escape")
        assert "In hand, due, and the latest runs" in shown(pilot)


async def test_the_assessment_shows_readings_with_limit_and_verdict(open_app: Open, run_path: Path) -> None:
    with LiveRun(open_run(run_path, clock=HandClock())) as live:
        live.answer("plug", "", "pass")
        live.answer("label", "", "pass")
        live.answer("vents", "", "fail", "grille blocked")
        live.override("vents", "", "fan on order")
        live.read("lead-null", "", "0.20")
        live.shut_case()
        live.read("earth", "case", "0.25")
    async with open_app() as pilot:
        await press(pilot, "s")
        text = shown(pilot)
        assert "REHEARSAL" in text
        assert "NOT FINISHED" in text
        await press(pilot, "2", "down")
        text = shown(pilot)
        assert "Earth continuity: case" in text
        assert "0.25 Ω" in text
        assert "at most 0.152 Ω" in text
        assert "PASS" in text
        await press(pilot, "3")
        assert "grille blocked" in shown(pilot)
        await press(pilot, "9")
        assert "fan on order" in shown(pilot)
        await press(pilot, "escape")
        assert "DEAD – unplugged" in shown(pilot)


async def test_markup_and_escape_sequences_are_shown_as_text_and_never_obeyed(logbook: Path) -> None:
    sheet = b.SHEET.replace('"CR-07"', toml("[b]CR-07\x1b[5m"))
    sheet = sheet.replace('"front panel"', toml(HOSTILE.replace("@", "at ")))
    sheet = sheet.replace('"Mixing-console supply (simulated example)"', toml(HOSTILE))
    procedure = b.PROCEDURE.replace(
        'title = "Plug sound"', f"title = {toml(HOSTILE)}\ndo = {toml(HOSTILE)}\nwhy = {toml(HOSTILE)}"
    )
    (logbook / "supplies" / "x[red].toml").write_text(sheet, encoding="utf-8")
    first = b.opened(procedure=procedure, sheet=sheet)
    with create_run(logbook, tag="[b]CR-07\x1b[5m", procedure_name="short", opened=first) as journal:
        path = journal.path
    with LiveRun(open_run(path)) as live:
        live.note(HOSTILE, "plug")
        live.answer("plug", "", "fail", HOSTILE)
    app = OhmwardApp(logbook, run_path=path, clock=HandClock())
    try:
        async with app.run_test(size=NARROW) as pilot:
            await settled(pilot)
            seen = [shown(pilot)]
            for key in (
                "enter",
                "escape",
                "w",
                "escape",
                "j",
                "escape",
                "e",
                "escape",
                "s",
                "3",
                "escape",
                "b",
            ):
                await press(pilot, key)
                seen.append(shown(pilot))
            await press(pilot, "enter")
            seen.append(shown(pilot))
    finally:
        app.let_go()
    assert app.crash is None
    assert "[red]CR[/]" in seen[0]
    assert "␛[31m" in seen[0]
    for text in seen:
        assert not {char for char in text if char != "\n" and (ord(char) < 32 or char in "\x7f\u202e")}


async def test_no_color_leaves_every_colour_to_the_terminal_and_keeps_the_words(open_app: Open) -> None:
    async with open_app(no_color=True) as pilot:
        screen = pilot.app.screen
        background = Color(0, 0, 0)
        for strip in screen._compositor.render_strips():
            for line_filter in pilot.app.get_line_filters():
                strip = strip.apply_filter(line_filter, background)  # noqa: PLW2901
            for segment in strip:
                assert segment.style is None or segment.style.color is None or segment.style.color.is_default
                assert (
                    segment.style is None or segment.style.bgcolor is None or segment.style.bgcolor.is_default
                )
        assert "DEAD – unplugged" in shown(pilot)


async def test_help_lists_every_key_of_the_screen(open_app: Open) -> None:
    async with open_app(WIDE) as pilot:
        await press(pilot, "question_mark")
        text = shown(pilot)
        assert "Help: a run" in text
        assert "it is as it should be" in text
        await press(pilot, "escape", "b", "question_mark")
        assert "Help: the bench" in shown(pilot)


async def test_a_run_held_by_another_session_is_refused_in_words(open_app: Open, run_path: Path) -> None:
    with open_run(run_path):
        async with open_app() as pilot:
            assert "The run cannot be opened" in shown(pilot)
            await press(pilot, "enter")
            assert "In hand, due, and the latest runs" in shown(pilot)
    assert kinds(run_path) == ["Opened"]


def test_opening_the_app_loads_no_plot_no_table_and_no_instrument_library() -> None:
    code = (
        "import sys, ohmward.tui.app; "
        "print([n for n in ('textual_plot', 'matplotlib', 'pandas', 'scipy', 'pyvisa') if n in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == "[]"


async def test_who_tests_is_asked_once_and_another_named_by_a_key(
    open_app: Open, run_path: Path, tmp_path: Path
) -> None:
    kept = tmp_path / "settings" / "operator"
    with LiveRun(open_run(run_path, clock=HandClock())) as live:
        live.resume("", "test")  # nobody is named in the run either
    async with open_app(path=None, who=Who(file=kept)) as pilot:
        await press(pilot, "r")
        assert "Who tests" in shown(pilot)
        await typed(pilot, "bench B")
        assert "bench B" in shown(pilot)
        await press(pilot, "q", *["backspace"] * 7)
        await typed(pilot, "bench C")
        assert "bench C" in shown(pilot)
    async with open_app(path=None, who=Who(file=kept)) as pilot:
        await press(pilot, "q")
        assert "Now: bench C." in shown(pilot)
        await press(pilot, "escape", "r")
        assert "DEAD" in shown(pilot)
    sessions = [record.event for record in read(run_path) if isinstance(record.event, Resumed)]
    assert [event.operator for event in sessions] == ["", "bench B", "bench C", "bench C"]
