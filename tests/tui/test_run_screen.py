"""The run screen by keyboard alone: what is pressed, what is recorded, what is refused and how it is said."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from pathlib import Path

import pytest
from textual.pilot import Pilot

from ohmward.desk.who_tests import Who
from ohmward.errors import Unreachable
from ohmward.logbook import create_run, open_run
from ohmward.logbook.events import (
    Amended,
    Answered,
    Closed,
    Noted,
    Overridden,
    Parts,
    Reading,
    Repaired,
    Resumed,
    Skipped,
)
from ohmward.run import LiveRun
from ohmward.run.state import Phase
from support import bench as b
from support.journals import HandClock
from support.made_safe import to_mains
from support.screens import NARROW, WIDE, Bench, events, kinds, press, run_screen, settled, shown, typed

Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]


async def test_a_whole_run_is_typed_without_a_mouse_and_ends_as_a_closed_journal(
    open_app: Open, run_path: Path
) -> None:
    async with open_app() as pilot:
        await press(pilot, "p", "p", "p", "enter")  # three checks; what follows is asked in 'Next'
        await typed(pilot, "0.20")
        await press(pilot, "enter", "y")  # lead null first, then the case
        for _ in range(2):
            await typed(pilot, "0.25")
            await press(pilot, "enter")
        await typed(pilot, ">200M")
        await press(pilot, "enter", "y", "enter", "y")  # cautions, mains
        assert "LIVE – mains on" in shown(pilot)
        await press(pilot, "p")
        await typed(pilot, "231")
        await press(pilot, "enter")
        await typed(pilot, "15.02")
        await press(pilot, "enter", "y", "enter")  # cautions of the next stage, on to its first point
        for value in ("15.02", "14.98", "14.95"):
            await typed(pilot, value)
            await press(pilot, "enter")
        assert "Switch off now" in shown(pilot)  # the last 'enter' did what comes next
        await press(pilot, "y", "p")
        assert "OFF – charge not yet measured" in shown(pilot)
        await typed(pilot, "0.1")
        assert "DEAD – unplugged" in shown(pilot)
        await press(pilot, "enter", "y")
        assert "CLOSED" in shown(pilot)
    assert kinds(run_path) == [
        "Opened", "Resumed", "Answered", "Answered", "Answered", "Reading", "CaseShut", "Reading", "Reading",
        "Reading", "Acknowledged", "Noted", "Energised", "Answered", "Reading", "Reading", "Acknowledged",
        "Reading", "Reading", "Reading", "SwitchedOff", "Answered", "Reading", "Closed",
    ]  # fmt: skip
    readings = [event for event in events(run_path) if isinstance(event, Reading)]
    assert [reading.value.raw for reading in readings] == [
        "0.20", "0.25", "0.25", ">200M", "231", "15.02", "15.02", "14.98", "14.95", "0.1",
    ]  # fmt: skip
    last = events(run_path)[-1]
    assert isinstance(last, Closed)
    assert last.summary


async def test_the_verdict_stands_in_mark_and_word_and_the_subtracted_leads_are_named(open_app: Open) -> None:
    async with open_app() as pilot:
        await press(pilot, "p", "p", "p", "enter")
        await typed(pilot, "0.20")
        await press(pilot, "enter", "y")
        await typed(pilot, "0.25")
        text = shown(pilot)
        assert "✓ PASS, uncertainty not stated" in text
        assert "Read 0.25 Ω, less 0.20 Ω of the test" in text
        await press(pilot, "enter")
        await typed(pilot, "0.9")
        assert "✗ FAIL" in shown(pilot)
        assert "failed: mend it and do it again." in " ".join(shown(pilot).split())


async def test_a_value_is_read_back_while_typed_and_nonsense_is_refused_in_place(
    open_app: Open, run_path: Path
) -> None:
    async with open_app() as pilot:
        await press(pilot, "p", "p", "p", "enter")
        await typed(pilot, "0.2", then="0")
        assert "= 0.20 Ω" in shown(pilot)
        assert "Not yet taken" in shown(pilot)
        await press(pilot, "escape")
        await typed(pilot, "1,2")
        assert "not taken" in shown(pilot)
        assert kinds(run_path).count("Reading") == 0


async def test_an_implausible_value_is_asked_about_and_only_yes_takes_it(
    open_app: Open, run_path: Path
) -> None:
    async with open_app() as pilot:
        await press(pilot, "p", "p", "p", "enter")
        await typed(pilot, "200")
        assert "Is that so?" in shown(pilot)
        assert "Expected here: 0 to 2 Ω" in shown(pilot)
        await press(pilot, "n")
        assert kinds(run_path).count("Reading") == 0
        await press(pilot, "enter", "y")
    reading = events(run_path)[-1]
    assert isinstance(reading, Reading)
    assert reading.confirmed
    assert reading.value.raw == "200"


async def test_a_refusal_is_said_with_its_mend_and_records_nothing(open_app: Open, run_path: Path) -> None:
    async with open_app() as pilot:
        await press(pilot, "j", *"insul", "enter")
        before = kinds(run_path)
        await typed(pilot, ">200M")
        text = shown(pilot)
        assert "Not recorded" in text
        assert "Shut the case, leads brought out" in text
        await press(pilot, "enter", "escape", "u")
        text = shown(pilot)
        assert "Mains stays off" in text
        assert "the case is open" in text
        assert "Plug sound: not done" in text
        assert kinds(run_path) == before


async def test_a_failed_danger_has_no_way_past_but_mending(open_app: Open, run_path: Path) -> None:
    async with open_app() as pilot:
        await press(pilot, "f")
        await typed(pilot, "cracked")
        assert "✗ FAIL" in shown(pilot)
        await press(pilot, "v")
        assert "cannot be overridden" in shown(pilot)
        await press(pilot, "enter", "p")  # a pass now needs words
        assert "Say in the note what was mended" in shown(pilot)
        await press(pilot, "enter")  # none given
        assert "words are needed here" in shown(pilot)
        await typed(pilot, "new plug")
    answers = [event for event in events(run_path) if isinstance(event, Answered)]
    assert [(answer.answer, answer.note) for answer in answers] == [("fail", "cracked"), ("pass", "new plug")]


async def test_a_fault_is_overridden_with_a_reason_or_left_out(open_app: Open, run_path: Path) -> None:
    async with open_app() as pilot:
        await press(pilot, "p", "p", "f", "enter", "v")
        await typed(pilot, "fan on order")
        await press(pilot, "j", *"lead", "enter", "k", "enter")
        assert "words are needed here" in shown(pilot)
        await typed(pilot, "no meter today")
    found = events(run_path)
    assert [event.reason for event in found if isinstance(event, Overridden)] == ["fan on order"]
    assert [event.reason for event in found if isinstance(event, Skipped)] == ["no meter today"]


async def test_an_entry_is_amended_by_a_further_record_that_says_why(open_app: Open, run_path: Path) -> None:
    async with open_app() as pilot:
        await press(pilot, "p", "p", "p", "enter")
        await typed(pilot, "0.02")
        await press(pilot, "e")
        await typed(pilot, "0.20")  # comes in the place of the value that stands there
        await typed(pilot, "slip of the finger")
        assert "Amended, reason: “slip of the finger”" in shown(pilot)
    amendment = events(run_path)[-1]
    assert isinstance(amendment, Amended)
    assert amendment.reading is not None
    assert amendment.reading.value.raw == "0.20"
    assert [event.value.raw for event in events(run_path) if isinstance(event, Reading)] == ["0.02"]


async def test_notes_parts_case_and_repair_are_one_key_and_words(open_app: Open, run_path: Path) -> None:
    async with open_app() as pilot:
        await press(pilot, "w")
        await typed(pilot, "smells of flux")
        assert "smells of flux" in shown(pilot)
        await press(pilot, "m", "backspace")  # the last name comes back to be changed
        await typed(pilot, "s")
        await press(pilot, "enter")
        await press(pilot, "d")
        await typed(pilot, "new fuse")
    found = events(run_path)
    assert [(event.text, event.step) for event in found if isinstance(event, Noted)] == [
        ("smells of flux", "plug")
    ]
    assert [event.names for event in found if isinstance(event, Parts)] == [("case", "front panels")]
    assert [event.what for event in found if isinstance(event, Repaired)] == ["new fuse"]


async def test_a_danger_while_live_halts_and_ctrl_o_switches_off_over_any_dialogue(
    open_app: Open, run_path: Path
) -> None:
    to_mains(run_path)
    async with open_app() as pilot:
        await press(pilot, "y")  # mains is still on
        await press(pilot, "f", "enter")
        assert "HALTED – switch off now" in shown(pilot)
        assert "Lamp goes dark: failed (danger)" in shown(pilot) or "switch off" in shown(pilot)
        await press(pilot, "w", "ctrl+o")  # over the note being written
        assert "Switch off now" in shown(pilot)
        assert "Measure each reservoir" in " ".join(shown(pilot).replace("┃", " ").split())
        await press(pilot, "y")
        assert run_screen(pilot).live.state.phase is Phase.OFF
        assert "CR-07 · bench A" in shown(pilot)
        assert "off 0:00, measure" in shown(pilot)  # no bleeder on this sheet
    assert kinds(run_path)[-1] == "SwitchedOff"


async def test_leaving_while_live_is_asked_about_and_the_run_resumes_where_it_was(
    open_app: Open, run_path: Path
) -> None:
    to_mains(run_path)
    async with open_app() as pilot:
        await press(pilot, "y")  # mains is still on
        await press(pilot, "b")
        assert "Leave it on" in shown(pilot)
        await press(pilot, "n")
        assert "Lamp goes dark" in shown(pilot)
        await press(pilot, "b", "y")
        assert "In hand, due, and the latest runs" in shown(pilot)
        await press(pilot, "tab", "enter")
        assert "The last record says mains on, at 2026-03-01" in shown(pilot)
        await press(pilot, "escape", "enter", "space")  # none of them is an answer
        assert "Is it?" in shown(pilot)
        await press(pilot, "y")
        assert "LIVE – mains on" in shown(pilot)
        assert "Lamp goes dark" in shown(pilot)
    assert kinds(run_path)[-2:] == ["Resumed", "Noted"]


@pytest.mark.parametrize("halted", [False, True])
async def test_a_run_resumed_live_is_off_unless_someone_says_that_it_is_on(
    open_app: Open, run_path: Path, halted: bool
) -> None:
    to_mains(run_path)
    if halted:
        with LiveRun(open_run(run_path, clock=HandClock())) as live:
            live.answer("lamp", "", "fail", "stays bright")
    async with open_app() as pilot:
        assert "Is it?" in shown(pilot)
        assert "off, or not sure" in shown(pilot)
        await press(pilot, "n")
        assert "OFF – charge not yet measured" in shown(pilot)
        item = run_screen(pilot).item
        assert item is not None
        assert item.role == "make-safe"
    assert kinds(run_path)[-1] == "SwitchedOff"


async def test_where_mains_may_be_on_that_is_asked_and_not_first_who_tests(
    open_app: Open, run_path: Path
) -> None:
    with LiveRun(open_run(run_path, clock=HandClock())) as live:
        live.resume("", "test")  # nobody is named in the run either
    async with open_app(who=Who(), path=run_path) as pilot:
        assert "Who tests" in shown(pilot)
    to_mains(run_path)
    async with open_app(who=Who(), path=run_path) as pilot:
        assert "Is it?" in shown(pilot)
        await press(pilot, "y")
        assert "Who tests" not in shown(pilot)


async def test_a_run_goes_on_as_its_own_latest_tester_and_says_so(
    open_app: Open, run_path: Path, tmp_path: Path
) -> None:
    with LiveRun(open_run(run_path, clock=HandClock())) as live:
        live.resume("bench B", "test")
    kept = tmp_path / "operator"
    kept.write_text("bench Z\n", encoding="utf-8")
    async with open_app(who=Who(file=kept), path=run_path) as pilot:
        assert "Going on as bench B, who tested in this run last; q names" in " ".join(shown(pilot).split())
        await press(pilot, "enter")
        assert "bench B" in shown(pilot)
        assert "bench Z" not in shown(pilot)
    last = events(run_path)[-1]
    assert isinstance(last, Resumed)
    assert last.operator == "bench B"


async def test_ctrl_o_goes_over_the_question_whether_mains_is_on_and_leaves_it_open(
    open_app: Open, run_path: Path
) -> None:
    to_mains(run_path)
    async with open_app() as pilot:
        await press(pilot, "ctrl+o")
        assert "Switch off now" in shown(pilot)
        await press(pilot, "n", "p")  # not answered yet: the next key asks again, and records nothing
        assert "Is it?" in shown(pilot)
        assert kinds(run_path)[-1] == "Resumed"
        await press(pilot, "ctrl+o", "y")
        assert "OFF – charge not yet measured" in shown(pilot)
        await press(pilot, "p")
    assert kinds(run_path)[-2:] == ["SwitchedOff", "Answered"]


@pytest.mark.parametrize("key", ["c", "d", "m", "z"])
async def test_a_move_that_the_gates_refuse_while_live_is_stopped_on_the_key(
    open_app: Open, run_path: Path, key: str
) -> None:
    to_mains(run_path)
    async with open_app() as pilot:
        await press(pilot, "y", key)
        text = shown(pilot)
        assert "Not possible now" in text
        assert "the supply is live" in text
        assert "Switch off and unplug first" in text
        await press(pilot, "enter", "ctrl+o", "y", key)
        text = shown(pilot)
        assert "its residual voltage is not yet measured" in text.replace("\n", " ")
        assert "Measure the residual voltage on every rail first" in text


async def test_applying_mains_names_what_was_set_aside(open_app: Open, run_path: Path) -> None:
    with LiveRun(open_run(run_path, clock=HandClock())) as live:
        live.answer("plug", "", "not applicable", "hard-wired")
        live.answer("label", "", "fail", "torn")
        live.answer("vents", "", "fail", "blocked")
        live.override("vents", "", "fan on order")
        live.read("lead-null", "", "0.20")
        live.shut_case()
        live.read("earth", "case", "0.25")
        live.read("earth", "front panel", "0.25")
        live.read("insulation", "", ">200M")
        live.acknowledge("no-load")
    async with open_app() as pilot:
        await press(pilot, "enter")
        text = " ".join(shown(pilot).replace("┃", " ").split())
        assert "1 not applicable, 1 overridden, 1 failed (improvement)" in text
        assert "‼ set aside: Plug sound (not applicable: hard-wired)" in text
        assert "Earth continuity: 3 passed" in text
        assert "‼ Earth continuity: case 50 mΩ" in text
        assert "y I know that the earth is not settled, and am switching on now" in text
        await press(pilot, "y")
    assert kinds(run_path)[-1] == "Energised"


async def test_a_refused_value_is_readable_whole_at_80_columns(open_app: Open) -> None:
    async with open_app() as pilot:
        await press(pilot, "p", "p", "p", "enter")
        await typed(pilot, "0,2")
        text = " ".join(" ".join(line[28:].split()) for line in shown(pilot).split("\n"))
        assert "Write a point for tenths (0.2)" in text
        assert "thousands (" not in text


async def test_the_list_says_its_own_keys(open_app: Open) -> None:
    async with open_app() as pilot:
        await press(pilot, "j")
        assert "↑↓ choose · Enter go · Esc back" in shown(pilot)


async def test_a_reading_with_nothing_to_expect_waits_for_no_computation(
    open_app: Open, run_path: Path
) -> None:
    async with open_app() as pilot:
        await press(pilot, "p", "p", "p", "enter")
        run_screen(pilot)._computed.clear()  # as while the expectation is being computed
        await typed(pilot, "0.20")
    assert kinds(run_path)[-1] == "Reading"


async def test_one_key_takes_what_the_rehearsal_bench_shows(open_app: Open, run_path: Path) -> None:
    async with open_app(rehearsal=Bench()) as pilot:
        assert "REHEARSAL" in shown(pilot)
        await press(pilot, "r", "p", "p", "enter", "r")
        assert "= 0.20 Ω" in shown(pilot)
        assert kinds(run_path).count("Reading") == 0  # filled in, not taken
        await press(pilot, "enter")
        assert kinds(run_path).count("Reading") == 1


async def test_keys_pressed_blind_in_a_tiny_terminal_record_nothing_but_off_works(
    open_app: Open, run_path: Path
) -> None:
    to_mains(run_path)
    async with open_app() as pilot:
        await press(pilot, "y")  # mains is still on
        before = kinds(run_path)
        await pilot.resize_terminal(50, 15)
        await press(pilot, "p", "enter", "k")
        text = shown(pilot)
        assert "too small" in text
        assert "LIVE – mains on" in text
        assert "Ctrl+O switches off" in text
        assert kinds(run_path) == before
        await pilot.resize_terminal(*NARROW)
        await press(pilot, "ctrl+o", "y")
    assert kinds(run_path)[-1] == "SwitchedOff"


async def test_a_sweep_shows_its_points_and_a_plot_with_what_is_read(open_app: Open, run_path: Path) -> None:
    to_mains(run_path)
    async with open_app() as pilot:
        await press(pilot, "y")  # mains is still on
        await press(pilot, "p")
        await typed(pilot, "231")
        await press(pilot, "enter")
        await typed(pilot, "15.02")
        await press(pilot, "enter", "y", "enter")
        await typed(pilot, "15.02")
        await press(pilot, "l")
        assert "50 % = 600 mA" in shown(pilot)
        assert "15.02 V" in shown(pilot)
        await press(pilot, "l")
        await pilot.pause(0.1)
        assert "output [V] against load [A]; ● read" in shown(pilot)
        await press(pilot, "l")
        await pilot.resize_terminal(*WIDE)
        await pilot.pause(0.1)
        assert "50 % = 600 mA" in shown(pilot)
        assert "against load" in shown(pilot)


async def test_a_hint_and_a_stage_can_be_clicked(open_app: Open, run_path: Path) -> None:
    async with open_app(WIDE) as pilot:
        await pilot.click("#hints", offset=(2, 0))  # 'p pass' is the first hint
        await settled(pilot)
        assert kinds(run_path)[-1] == "Answered"
        await pilot.click("#stages", offset=(5, 4))  # two lines a stage: the third
        await settled(pilot)
        item = run_screen(pilot).item
        assert item is not None
        assert item.stage == "insulation"


async def test_a_reading_past_its_stop_limit_halts_the_run_and_asks_for_switch_off(
    logbook: Path, open_app: Open
) -> None:
    stop = 'stop = { low = "0 V", high = "20 V", basis = "test", obtained = "common practice, no source" }'
    title = 'title = "Output, no load"'
    procedure = b.PROCEDURE.replace(title, f"{title}\n{stop}")
    first = b.opened(procedure=procedure)
    with create_run(logbook, tag="CR-07", procedure_name="stop", opened=first, clock=HandClock()) as journal:
        path = journal.path
    to_mains(path)
    async with open_app(path=path) as pilot:
        await press(pilot, "y")  # mains is still on
        await press(pilot, "p")
        await typed(pilot, "231")
        await press(pilot, "enter")
        await typed(pilot, "24.5")
        text = shown(pilot)
        assert "HALTED – switch off now" in text
        assert "PAST ITS STOP LIMIT" in text
        await press(pilot, "enter")
        assert "past its stop limit" in shown(pilot)
        await press(pilot, "y")
        assert "OFF – charge not yet measured" in shown(pilot)
    assert kinds(path)[-1] == "SwitchedOff"


async def test_after_a_halt_the_way_on_is_said_and_leads_back_to_the_dead_tests(
    open_app: Open, run_path: Path
) -> None:
    to_mains(run_path)
    async with open_app() as pilot:
        await press(pilot, "y", "f")
        await typed(pilot, "lamp stays bright")
        await press(pilot, "ctrl+o", "y", "p")
        await typed(pilot, "0.1")
        await press(pilot, "enter")
        text = " ".join(shown(pilot).replace("┃", " ").split())
        assert "To be mended: Lamp goes dark" in text
        assert "'repair done'" in text
        await press(pilot, "enter")
        assert "Was the case opened for the repair?" in shown(pilot)
        await press(pilot, "enter")
        await typed(pilot, "shorted diode replaced")
        item = run_screen(pilot).item
        assert item is not None
        assert not item.energised
        await press(pilot, "j", *"lamp", "enter")
        assert "↻ STALE: do it again (was FAIL)" in shown(pilot)
        await press(pilot, "enter")  # it needs mains: on to what can be done now
        again = run_screen(pilot).item
        assert again is not None
        assert again.key == item.key
    assert "Repaired" in kinds(run_path)


async def test_a_disk_that_takes_nothing_more_is_said_with_the_way_on(
    open_app: Open, run_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with open_app() as pilot:
        journal = run_screen(pilot).live.journal

        def full(*_: object) -> None:
            raise Unreachable("journal: not recorded: No space left on device")

        monkeypatch.setattr(journal, "append", full)
        await press(pilot, "p")
        text = shown(pilot)
        assert "Not recorded" in text
        assert "y  Open the run again" in text
        await press(pilot, "n", "p", "y")  # declined, offered again, and then the very entry is made
        assert "1 of 3" in shown(pilot)
        await press(pilot, "p")
    assert kinds(run_path)[-4:] == ["Resumed", "Resumed", "Answered", "Answered"]


async def test_switching_off_is_recorded_after_the_disk_failed(
    open_app: Open, run_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    to_mains(run_path)
    async with open_app() as pilot:
        await press(pilot, "y")
        monkeypatch.setattr(run_screen(pilot).live.journal, "_trouble", "No space left on device")
        await press(pilot, "ctrl+o", "y")
        assert "y  Open the run again" in shown(pilot)
        await press(pilot, "y")
        assert "OFF – charge not yet measured" in shown(pilot)
    assert kinds(run_path)[-1] == "SwitchedOff"


@pytest.mark.parametrize("size", [(60, 20), (110, 30), (200, 60)])
async def test_nothing_that_matters_is_cut_off_at_any_size(open_app: Open, size: tuple[int, int]) -> None:
    async with open_app(size) as pilot:
        text = shown(pilot)
        for needed in (
            "DEAD – unplugged",
            "Plug sound",
            "p pass",
            "f fail",
            "n not applicable",
            "? help",
        ):
            assert needed in text
        await press(pilot, "j", *"insul", "enter")
        text = shown(pilot)
        for needed in ("Insulation", "Limit", "at least 1 MΩ", "Meter", "Reading [Ω]", "? help"):
            assert needed in text


@pytest.mark.parametrize("first", [NARROW, WIDE])
async def test_points_that_were_out_of_sight_stand_there_when_there_is_room(
    open_app: Open, run_path: Path, first: tuple[int, int]
) -> None:
    to_mains(run_path)
    async with open_app(first) as pilot:
        await press(pilot, "y", "j", *"50 %", "enter")
        await pilot.resize_terminal(*WIDE)
        await settled(pilot)
        await pilot.pause(0.1)
        assert "50 % = 600 mA" in shown(pilot)
        await press(pilot, "down")
        assert "100 % = 1.2 A" in shown(pilot)


async def test_a_table_turned_to_stays_within_its_step_and_another_step_shows_its_instructions(
    open_app: Open, run_path: Path
) -> None:
    to_mains(run_path)
    async with open_app() as pilot:
        await press(pilot, "y", "j", *"50 %", "enter", "l")
        at = run_screen(pilot).at
        assert run_screen(pilot).page == 1
        await press(pilot, "down")
        assert run_screen(pilot).page == 1
        while (item := run_screen(pilot).item) is not None and item.step == (at or ("",))[0]:
            await press(pilot, "up")
        assert item is not None
        assert item.spec.do[:20] in " ".join(shown(pilot).split())
        await press(pilot, "l")
        assert "no table or plot belongs to this entry" in shown(pilot)


async def test_a_danger_reading_typed_wrongly_shows_the_way_to_amend_it_and_is_not_withdrawn(
    open_app: Open, run_path: Path
) -> None:
    async with open_app() as pilot:
        await press(pilot, "p", "p", "p", "enter")
        await typed(pilot, "0.20")
        await press(pilot, "enter", "y")
        await typed(pilot, "0.9")
        said = " ".join(shown(pilot).split())
        assert "✗ FAIL" in said
        assert "Typed wrongly? 'amend' (e) corrects it" in said
        await press(pilot, "e")
        said = " ".join(shown(pilot).replace("┃", " ").split())
        assert "it is not withdrawn" in said
        assert "stays in the journal as it is" in said
        await press(pilot, *["backspace"] * 3)
        await typed(pilot, "0.29")
        await typed(pilot, "a slip: 0.29 was on the meter")
        assert "✓ PASS" in shown(pilot)
    amendment = events(run_path)[-1]
    assert isinstance(amendment, Amended)
    assert amendment.reason == "a slip: 0.29 was on the meter"
    assert [event.value.raw for event in events(run_path) if isinstance(event, Reading)][-1] == "0.9"


@pytest.mark.parametrize("first", ["0.22", "0.9"])
async def test_amending_is_the_same_for_a_danger_and_for_what_passed_and_digits_come_into_the_value(
    open_app: Open, run_path: Path, first: str
) -> None:
    """0.9 Ω less 0.20 Ω of leads fails as a danger, 0.22 Ω less as much does not: one way for both."""
    async with open_app() as pilot:
        await press(pilot, "p", "p", "p", "enter")
        await typed(pilot, "0.20")
        await press(pilot, "enter", "y")
        await typed(pilot, first)
        if first == "0.22":  # the screen goes on from what passed
            await press(pilot, "up")
        await press(pilot, "e")
        await typed(pilot, "0.2x")  # no value: it stays where it was typed, and why is said
        assert "0.2x" in shown(pilot)
        await typed(pilot, "0.29")
        await typed(pilot, "misread")
    amendment = events(run_path)[-1]
    assert isinstance(amendment, Amended)
    assert amendment.reason == "misread"
    assert amendment.reading is not None
    assert amendment.reading.value.raw == "0.29"


async def test_a_reading_is_withdrawn_by_the_word_where_its_value_is_asked_for(
    open_app: Open, run_path: Path
) -> None:
    async with open_app() as pilot:
        await press(pilot, "p", "p", "p", "enter")
        await typed(pilot, "0.02")
        await press(pilot, "e")
        assert "or 'withdraw'" in shown(pilot)
        await typed(pilot, "withdraw")
        await typed(pilot, "leads were not on")
    amendment = events(run_path)[-1]
    assert isinstance(amendment, Amended)
    assert (amendment.reading, amendment.answer) == (None, None)
