"""After a repair: what goes stale is told beforehand, and what was not touched is confirmed by sections."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.desk.not_now import why_not
from ohmward.logbook import create_run, read
from ohmward.logbook.events import (
    Answered,
    CaseOpened,
    CaseShut,
    Event,
    Repaired,
)
from ohmward.run import LiveRun
from ohmward.run import state as fold
from ohmward.run.answers import parse_answers, play
from ohmward.run.state import RunState, Standing
from ohmward.run.unchanged import LOOKED_AGAIN, as_before, singly, stale_by_repair
from support import bench as b
from support.journals import HandClock
from support.plain import held

LOOKED = [b.passed("plug"), b.passed("label"), b.passed("vents")]
MENDED = Repaired(what="bridge replaced")


def steps(state: RunState, of: str = "plug") -> list[str]:
    return [each.step for each in as_before(state, state.by_key[of, ""])]


def after(*events: Event, procedure: str = b.PROCEDURE) -> RunState:
    return b.folded(b.opened(procedure), *events)


def marked(line: str, step: str = "plug") -> str:
    return b.PROCEDURE.replace(f'id = "{step}"\n', f'id = "{step}"\n{line}\n')


def test_all_that_had_passed_and_is_stale_is_offered_danger_and_all() -> None:
    assert steps(after(*LOOKED)) == []
    assert steps(after(*LOOKED, MENDED)) == ["plug", "label", "vents"]
    assert steps(after(*LOOKED, MENDED, b.passed("label"))) == ["plug", "vents"]


@pytest.mark.parametrize(
    "line",
    ["always = true", 'stale = "opening"', 'enclosure = "shut"', 'enclosure = "shut"\nproves_earth = true'],
)
def test_what_always_applies_or_is_tested_is_answered_by_itself(line: str) -> None:
    shut = [CaseShut()] if "shut" in line else []
    state = after(*shut, *LOOKED, MENDED, procedure=marked(line))
    assert steps(state, "label") == ["label", "vents"]


def test_what_had_not_passed_is_not_offered() -> None:
    failed = after(b.failed("plug"), *LOOKED[1:], MENDED)
    assert steps(failed) == ["label", "vents"]
    aside = after(b.passed("plug"), Answered(step="label", answer="not applicable"), MENDED)
    assert steps(aside) == ["plug"]


def test_what_the_gates_would_refuse_is_not_offered() -> None:
    shut = after(*LOOKED, CaseShut(), MENDED, procedure=marked('enclosure = "open"'))
    assert steps(shut) == ["label", "vents"]
    answered = after(*LOOKED, CaseShut(), MENDED, *LOOKED[1:], procedure=marked('enclosure = "open"'))
    assert steps(answered) == []
    words = why_not(answered, answered.by_key["plug", ""], "move('as before')", meter=False, by_itself=False)
    assert words == "First: Open the case first. Then those that had passed can be confirmed."


def test_what_is_answered_by_itself_is_named_with_why() -> None:
    """A stale check that '=' does not take says so itself, and not that nothing is stale."""
    state = after(*LOOKED, MENDED, b.passed("label"), b.passed("vents"), procedure=marked("always = true"))
    item = state.by_key["plug", ""]
    assert as_before(state, item) == ()
    assert [(each.step, "every supply" in why) for each, why in singly(state, item)] == [("plug", True)]
    words = why_not(state, item, "move('as before')", meter=False, by_itself=False)
    assert words.startswith("Answered one by one, and not 'as before': 'Plug")
    assert "it concerns every supply" in words
    fresh = after(*LOOKED)
    none = why_not(fresh, fresh.by_key["plug", ""], "move('as before')", meter=False, by_itself=False)
    assert none.endswith("of this section none is stale.")


def test_readings_are_never_among_them() -> None:
    state = after(*LOOKED, CaseShut(), b.reading("lead-null"), b.reading("earth", "case"), MENDED)
    assert as_before(state, state.by_key["earth", "case"]) == ()


def test_what_a_repair_makes_stale_is_what_then_is() -> None:
    state = after(*LOOKED, CaseShut(), b.reading("lead-null"), b.reading("earth", "case"))
    told = {each.key for each in stale_by_repair(state)}
    mended = after(*LOOKED, CaseShut(), b.reading("lead-null"), b.reading("earth", "case"), MENDED)
    assert told == {each.key for each in mended.items if mended.standing(each) is Standing.STALE}
    assert told >= {("plug", ""), ("earth", "case")}


@pytest.fixture(name="path")
def _path(tmp_path: Path) -> Path:
    looked = "".join(f"{step},,pass,,\n" for step in ("plug", "label", "vents"))
    rows = f"step,subject,value,meter,note\n{looked}case-shut,,,,\nlead-null,,0.1,,\n"
    with create_run(
        tmp_path, tag="CR-07", procedure_name="short", opened=b.opened(), clock=HandClock(step_s=0.0)
    ) as journal:
        play(LiveRun(journal), parse_answers(rows, "rows"), "rows")
        return journal.path


def events(path: Path) -> list[Event]:
    return [each.event for each in read(path)]


def test_it_is_confirmed_by_name_and_each_is_one_answer(tmp_path: Path, path: Path) -> None:
    lines = ["repair bridge replaced", "1", "as before", "no", "=", "yes", "quit"]
    said = held(tmp_path, path, *lines)
    assert "danger: Plug sound" in said
    assert "Vents clear" in said
    assert "3 checks recorded as before" in said
    again = [each for each in events(path) if isinstance(each, Answered)][3:]
    assert [(each.step, each.answer, each.note) for each in again] == [
        (step, "pass", LOOKED_AGAIN) for step in ("plug", "label", "vents")
    ]
    state = fold(read(path))
    assert state.standing(state.by_key["plug", ""]) is Standing.PASSED


def test_a_repair_with_the_case_shut_asks_whether_it_was_opened_and_opens_it_first(
    tmp_path: Path, path: Path
) -> None:
    said = " ".join(held(tmp_path, path, "repair bridge replaced", "1", "quit").split())
    assert "Was the case opened for the repair?" in said
    opened, mended = [each for each in events(path) if isinstance(each, (CaseOpened, Repaired))]
    assert opened == CaseOpened(reason="for the repair: bridge replaced")
    assert mended == MENDED


def test_it_stays_shut_where_that_is_said_and_going_back_records_nothing(tmp_path: Path, path: Path) -> None:
    held(
        tmp_path,
        path,
        "repair plug replaced",
        "back",
        "repair",
        "2",
        "back",
        "repair plug replaced",
        "2",
        "quit",
    )
    assert [type(each) for each in events(path) if isinstance(each, (CaseOpened, Repaired))] == [Repaired]


def test_the_dialogue_says_how_much_goes_stale(tmp_path: Path, path: Path) -> None:
    said = " ".join(held(tmp_path, path, "repair", "2", "back", "quit").split())
    assert "go stale: 3 checks and 1 reading as the run stands" in said
