"""A run line by line: what is typed, what is recorded through the gates, and what is said."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmward.desk.trouble import FILE
from ohmward.errors import Unreachable
from ohmward.logbook import Journal, read, verify
from ohmward.logbook.events import (
    Amended,
    Answered,
    Energised,
    Event,
    Noted,
    Overridden,
    Reading,
    Record,
    Resumed,
    Skipped,
    SwitchedOff,
)
from ohmward.plain.commands import COMMANDS, understood
from ohmward.plain.doing import DOING
from ohmward.run import state
from ohmward.run.state import Phase, RunState
from support.made_safe import switched_off
from support.plain import held, words

Typed = Callable[..., str]
DEAD = ["pass", "p", "pass", "0.2", "", "yes", "0.25", "0.25", ">200M"]
ACKNOWLEDGE, ENERGISE = ["", "yes"], ["", "yes"]
LIVE = [*DEAD, *ACKNOWLEDGE, *ENERGISE]


def events(path: Path) -> list[Event]:
    return [record.event for record in read(path)]


def of(path: Path, kind: type[Event]) -> list[Event]:
    return [event for event in events(path) if isinstance(event, kind)]


def now(path: Path) -> RunState:
    result = state(read(path))
    assert result.violations == ()
    return result


def test_the_first_thing_said_is_where_one_is_and_what_to_do(typed: Typed) -> None:
    said = typed()
    assert "REHEARSAL" in said
    assert "Supply DEAD" in said
    assert "Stage 1 of 6, Visual inspection: 0 of 3 settled." in said
    assert "Entry 1 of 3: Plug sound" in said
    assert "danger: may hurt someone" in said
    assert "Type pass, fail or not applicable" in said
    assert "resume CR-07/" in said


def test_a_reading_is_said_with_limit_and_meter_and_read_back_with_its_verdict(
    typed: Typed, run_path: Path
) -> None:
    said = words(typed(*DEAD[:7]))
    assert "Limit: at most 0.152 Ω" in said  # 0.1 Ω, and 2 m of 0.75 mm² (IEC 60228 class 5)
    assert "Meter: " in said
    assert "Type the value in Ω." in said
    assert "Recorded: 0.05 Ω; PASS" in said
    assert "Read 0.25 Ω, less 0.20 Ω of the test leads." in said
    assert [event.value.raw for event in of(run_path, Reading) if isinstance(event, Reading)] == [
        "0.2",
        "0.25",
    ]


def test_what_is_expected_is_said_with_its_band(typed: Typed) -> None:
    said = words(typed(*LIVE, "pass", "231"))
    assert re.search(r"Expected: (cannot be said|nothing is computed|.* V \(.* to .* V\))", said)
    assert "Supply LIVE" in said


def test_a_failed_danger_stops_the_way_to_mains(typed: Typed, run_path: Path) -> None:
    said = typed(
        "fail cracked", "next", "pass", "pass", "jump lead null", "0.2", "case shut", "yes",
        "jump earth case", "0.25", "0.25", ">200M", "cautions", "yes", "energise", "u", "override",
        "jump plug sound", "override bent", "pass",
    )  # fmt: skip
    assert "Mains stays off" in said
    assert "Plug sound: failed (danger)" in said
    assert of(run_path, Energised) == []
    assert of(run_path, Overridden) == []
    assert "danger" in said
    assert now(run_path).phase is Phase.DEAD


def test_a_fail_asks_what_is_wrong_and_mending_it_asks_for_words_too(typed: Typed, run_path: Path) -> None:
    said = typed("fail", "casing cracked", "pass", "new plug fitted")
    assert "What is wrong" in said
    answered = [e for e in of(run_path, Answered) if isinstance(e, Answered)]
    assert [(e.answer, e.note) for e in answered] == [("fail", "casing cracked"), ("pass", "new plug fitted")]


def test_a_fault_is_overridden_in_writing_and_an_entry_left_out_with_its_reason(
    typed: Typed, run_path: Path
) -> None:
    said = typed("pass", "pass", "fail dust", "override", "back", "v cleaned at the next service", "skip")
    assert "Recorded: overridden." in said
    (override,) = of(run_path, Overridden)
    assert isinstance(override, Overridden)
    assert override.reason == "cleaned at the next service"
    said = typed("jump label", "skip no label here", resumed=True)
    (skipped,) = of(run_path, Skipped)
    assert isinstance(skipped, Skipped)
    assert skipped.reason == "no label here"


@pytest.mark.parametrize("off", ["off", "x", "make safe"])
def test_what_makes_safe_is_no_answer_while_nothing_is_energised(
    typed: Typed, run_path: Path, off: str
) -> None:
    said = typed("fail", off, "pin bent", "note", off, "back", "quit")
    assert said.count("Nothing is energised by the records") == 2
    (answer,) = of(run_path, Answered)
    assert isinstance(answer, Answered)
    assert answer.note == "pin bent"
    assert of(run_path, Noted) == []


def test_back_leaves_a_question_without_a_record(typed: Typed, run_path: Path) -> None:
    typed("fail", "back", "note", "back", "case open", "back")
    assert len(events(run_path)) == 1


@pytest.mark.parametrize("where", [["off"], ["note", "off"], ["x"], ["energise", "make safe"], ["z", "off"]])
def test_make_safe_is_one_word_from_anywhere_while_live(
    typed: Typed, run_path: Path, where: list[str]
) -> None:
    said = words(typed(*LIVE, "pass", *where, "yes"))
    assert "Load off, mains switch off, plug out and in sight" in said
    assert len(of(run_path, SwitchedOff)) == 1
    assert now(run_path).phase is Phase.OFF
    assert "Entry 1 of 2: Unplugged, plug in sight" in said
    notes = [each.text for each in of(run_path, Noted) if isinstance(each, Noted)]
    assert [text for text in notes if not text.startswith("Mains applied knowing this")] == []
    typed("pass", "0.3", resumed=True)
    assert now(run_path).phase is Phase.DEAD


def test_a_danger_that_fails_live_halts_and_only_switching_off_is_offered(
    typed: Typed, run_path: Path
) -> None:
    said = words(typed(*LIVE, "fail stays bright", "jump mains", "231", "", "yes"))
    assert "HALTED" in said
    assert "Enter goes on with that." in said
    assert "Not recorded" in said  # the value typed while halted
    assert len(of(run_path, SwitchedOff)) == 1
    assert [e for e in of(run_path, Reading) if isinstance(e, Reading) and e.step == "mains"] == []


def test_a_mistake_is_amended_and_both_stand_in_the_journal(typed: Typed, run_path: Path) -> None:
    said = typed(*DEAD[:7], "previous", "amend", "0.24", "slip of the finger", "amend", "back")
    assert "Amended, reason: “slip of the finger”" in said
    (amended,) = of(run_path, Amended)
    assert isinstance(amended, Amended)
    assert amended.reading is not None
    assert amended.reading.value.raw == "0.24"
    assert any(isinstance(e, Reading) and e.value.raw == "0.25" for e in events(run_path))


@pytest.mark.parametrize(("answer", "taken"), [("no", 0), ("yes", 1), ("back", 0)])
def test_what_is_not_plausible_is_asked_about(typed: Typed, run_path: Path, answer: str, taken: int) -> None:
    said = typed(*DEAD[:3], "200", answer)
    assert "Is that so?" in said
    readings = [e for e in of(run_path, Reading) if isinstance(e, Reading)]
    assert len(readings) == taken
    assert all(each.confirmed for each in readings)


@pytest.mark.parametrize("text", ["0.2 V", "abc", "1,5", "--", "0.2 0.3"])
def test_what_is_no_value_is_refused_in_words_and_nothing_is_recorded(
    typed: Typed, run_path: Path, text: str
) -> None:
    said = typed(*DEAD[:3], text)
    assert "Not taken: " in said
    assert of(run_path, Reading) == []


def test_the_end_of_input_loses_nothing_and_resuming_asks_whether_mains_is_on(
    typed: Typed, run_path: Path
) -> None:
    said = words(typed(*LIVE, "pass"))
    assert "MAINS IS ON by the records." in said
    assert "plug out and in sight" in said
    before = len(events(run_path))
    said = typed("231", "maybe", "", "yes", "231", "15.04", resumed=True)
    assert "The last record says mains on" in said
    assert said.count("Type yes or no.") == 3  # neither a value nor an empty line answers that
    assert isinstance(events(run_path)[before], Resumed)
    readings = [e.value.raw for e in events(run_path)[before:] if isinstance(e, Reading)]
    assert readings == ["231", "15.04"]
    assert verify(run_path).intact


def test_off_or_not_sure_on_resuming_makes_safe_first(typed: Typed, run_path: Path) -> None:
    typed(*LIVE, "pass")
    said = typed("no", "pass", "0.2", resumed=True)
    assert len(of(run_path, SwitchedOff)) == 1
    assert now(run_path).phase is Phase.DEAD
    assert "charge not yet measured" in said


def test_leaving_a_live_supply_is_spoken_of_first(typed: Typed, run_path: Path) -> None:
    said = words(typed(*LIVE, "quit", "no", "pass", "quit", "yes", "231"))
    assert said.count("Leaving switches nothing off") == 2
    assert isinstance(events(run_path)[-1], Answered)  # 'pass', recorded after staying; nothing after leaving


def test_quit_at_the_question_whether_mains_is_on_leaves(typed: Typed, run_path: Path) -> None:
    typed(*LIVE)
    count = len(events(run_path))
    said = typed("quit", "no", "quit", "yes", "pass", resumed=True)
    assert said.count("The last record says mains on") == 2
    assert len(events(run_path)) == count + 1  # that it was resumed


def test_a_closed_run_says_what_it_amounts_to(typed: Typed, run_path: Path) -> None:
    said = typed("close", "yes", "pass")
    assert "Still open; the assessment will say so" in said
    assert now(run_path).phase is Phase.CLOSED
    assert "Verdict: NOT FINISHED." in said
    again = typed(resumed=True)
    assert "Verdict: NOT FINISHED." in again
    assert now(run_path).phase is Phase.CLOSED


def test_jumping_asks_until_one_entry_is_meant_and_takes_no_number_for_a_value(
    typed: Typed, run_path: Path
) -> None:
    said = typed(*DEAD[:3], "jump earth", "5", "jump nothing such", "back", "jump 3")
    assert "5. Earth continuity: case" in said
    assert "No entry is called 'nothing such'." in said
    assert "Entry 3 of 3: Vents clear" in said
    assert of(run_path, Reading) == []


# what is listed, works


def test_every_word_of_the_table_is_understood_as_its_own_and_has_something_to_do() -> None:
    said = [each for command in COMMANDS for each in command.words]
    assert len(said) == len(set(said))
    for command in COMMANDS:
        for each in command.words:
            assert understood(each) == (command, "")
            assert understood(f"  {each.upper()}  and More ") == (command, "and More ")
    assert set(DOING) == {command.name for command in COMMANDS}


def test_help_says_every_command_and_each_alone(typed: Typed) -> None:
    said = words(typed("help"))
    for command in COMMANDS:
        assert f"{command.help}." in said
        assert f"{command.help}." in words(typed(f"help {command.name}"))


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command.name)
@pytest.mark.parametrize("come", [[], DEAD, LIVE, [*LIVE, "pass", "231", "15.02"], [*LIVE, "off", "yes"]])
def test_every_command_answers_wherever_it_is_typed(
    typed: Typed, run_path: Path, come: list[str], command: object
) -> None:
    for word in command.words:  # type: ignore[attr-defined]
        said = typed(*come, word, "back", "no", "back", resumed=len(events(run_path)) > 1)
        assert "Something went wrong" not in said
        assert f"Not understood: '{word}'" not in said
        come = []
    now(run_path)


def test_words_that_answer_nothing_are_not_lost_without_a_word(typed: Typed, run_path: Path) -> None:
    said = typed("pass looks new")
    assert "Not used: 'looks new'." in said
    assert len(of(run_path, Answered)) == 1


@pytest.mark.parametrize("seed", range(4))
def test_whatever_is_typed_no_illegal_record_and_no_trouble(typed: Typed, run_path: Path, seed: int) -> None:
    """Lines at random in four sittings each: every record is one the gates admit, and none is lost."""
    draw = random.Random(seed)
    pool = [each for command in COMMANDS for each in command.words if command.name not in {"quit", "close"}]
    pool += ["yes", "yes", "yes", "no", "", "", "1", "2", "0.2", "0.25", ">200M", "231", "15.02", "pass", "p"]
    pool += [
        "back",
        "note x",
        "jump 7",
        "\x1b[2J",
        "\u202e",
        "9e99",
        "case open",
        "case shut",
        "skip because",
    ]
    before = 1
    for sitting in range(4):
        said = typed(*(draw.choice(pool) for _ in range(150)), resumed=sitting > 0)
        assert "Something went wrong" not in said
        assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]", said)
        assert len(events(run_path)) >= before
        before = len(events(run_path))
        now(run_path)
        assert verify(run_path).intact


def test_what_is_refused_leaves_the_entry_in_hand(typed: Typed, run_path: Path) -> None:
    said = typed(*DEAD[:4], "jump plug sound", "0.2", "jump lead null", "fail", "where")
    assert "Not understood: '0.2'." in said
    assert "Lead null is a reading" in said
    assert "In hand: Lead null." in said
    assert len(of(run_path, Reading)) == 1


def test_a_disk_that_takes_nothing_more_is_said_with_the_way_on(
    typed: Typed, run_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    failed: list[Event] = []
    real = Journal.append

    def full(journal: Journal, event: Event) -> Record:
        if isinstance(event, Answered) and not failed:
            failed.append(event)
            raise Unreachable("journal: not recorded: No space left on device")
        return real(journal, event)

    monkeypatch.setattr(Journal, "append", full)
    said = typed("pass", "yes", "pass")
    assert "No space left on device" in said
    assert "yes: Open the run again. no: Not now." in said
    assert [type(event).__name__ for event in events(run_path)] == [
        "Opened",
        "Resumed",
        "Answered",
        "Answered",
    ]


def test_what_nobody_foresaw_is_said_in_a_sentence_and_written_down(
    typed: Typed, tmp_path: Path, run_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise KeyError("lost")

    monkeypatch.setitem(DOING, "where", broken)
    said = words(typed("pass", "where", "pass"))
    assert "Something went wrong inside ohmward" in said
    assert "Traceback" not in said
    assert "lost" in (tmp_path / FILE).read_text(encoding="utf-8")
    assert len(of(run_path, Answered)) == 2


def test_without_a_meter_read_says_what_is_missing(typed: Typed, run_path: Path) -> None:
    said = words(typed(*DEAD[:3], "read", "help"))
    assert "add a resource in meters.toml; or type the value." in said
    assert "Here: why, where, next, list, note" in said
    assert of(run_path, Reading) == []


def test_a_long_list_of_what_is_missing_is_counted_and_all_of_it_named_when_asked(typed: Typed) -> None:
    said = words(typed("pass", "assessment"))
    assert "Verdict: NOT FINISHED." in said
    assert "'list open' names them" in said or "Label legible: not done" in said
    assert "Plug sound; PASS" in words(typed("assessment all", resumed=True))


def test_a_residual_voltage_that_failed_stays_in_hand(tmp_path: Path) -> None:
    path = switched_off(tmp_path)
    held(tmp_path, path, "16.5", "", "4.1", "-0.2")
    taken = [each.event for each in read(path) if isinstance(each.event, Reading)][-3:]
    assert [(each.subject, each.value.raw) for each in taken] == [
        ("+15", "16.5"),
        ("+15", "4.1"),
        ("-15", "-0.2"),
    ]


def test_an_earlier_take_of_a_reading_is_amended_by_its_record(typed: Typed, run_path: Path) -> None:
    said = typed(*DEAD[:7], "previous", "0.26", "yes", "previous", "amend", "0.2x", "back", "quit")
    assert "0.2x" in said
    assert of(run_path, Amended) == []
    takes = [e for e in of(run_path, Reading) if isinstance(e, Reading) and e.value.raw in {"0.25", "0.26"}]
    assert len(takes) == 2
    seq = re.search(r"Not this one\? 'record (\d+)' is 0\.25", " ".join(said.split()))
    assert seq is not None
