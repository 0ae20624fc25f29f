"""A value typed where a reading stands and passed is not another attempt without a word."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.analysis.decision import NO_LIMIT
from ohmward.desk.words import VERDICTS
from ohmward.logbook import create_run, read
from ohmward.logbook.events import Reading
from ohmward.report.document.phrases import row_verdict
from ohmward.report.document.words import load_words
from ohmward.report.text import assessment_text
from ohmward.run import LiveRun, assess_state, state
from ohmward.run.answers import parse_answers, play
from support import bench as b
from support.journals import HandClock
from support.plain import held

TO_EARTH = (
    "step,subject,value,meter,note\nplug,,pass,,\nlabel,,pass,,\nvents,,pass,,\n"
    "case-shut,,,,\nlead-null,,0.1,,\n"
)
"""What follows is the earth of 'case', then that of 'front panel'."""


@pytest.fixture(name="path")
def _path(tmp_path: Path) -> Path:
    clock = HandClock(step_s=0.0)
    with create_run(tmp_path, tag="CR-07", procedure_name="short", opened=b.opened(), clock=clock) as journal:
        play(LiveRun(journal), parse_answers(TO_EARTH, "rows"), "rows")
        return journal.path


def readings(path: Path) -> list[tuple[str, str, str]]:
    events = [each.event for each in read(path) if isinstance(each.event, Reading)]
    return [(each.step, each.subject, each.value.raw) for each in events][1:]


def test_no_takes_what_was_typed_to_what_comes_next_where_enter_records_it(
    tmp_path: Path, path: Path
) -> None:
    said = " ".join(held(tmp_path, path, "0.15", "previous", "0.18", "no", "", "quit").split())
    assert "'Earth continuity: case' stands at 0.15 Ω, passed. Is 0.18 Ω another reading of it?" in said
    assert "it goes to 'Earth continuity: front panel', as typed and not yet recorded" in said
    assert readings(path) == [("earth", "case", "0.15"), ("earth", "front panel", "0.18")]


def test_yes_is_another_attempt_and_a_danger_that_fails_is_recorded(tmp_path: Path, path: Path) -> None:
    held(tmp_path, path, "0.15", "previous", "0.75", "yes", "quit")
    assert readings(path) == [("earth", "case", "0.15"), ("earth", "case", "0.75")]


def test_what_is_not_taken_there_is_gone_with_the_next_line_and_not_recorded_elsewhere(
    tmp_path: Path, path: Path
) -> None:
    held(tmp_path, path, "0.15", "previous", "0.18", "no", "previous", "", "quit")
    assert readings(path) == [("earth", "case", "0.15")]


def test_after_one_that_failed_another_is_meant(tmp_path: Path, path: Path) -> None:
    said = held(tmp_path, path, "0.75", "0.15", "quit")
    assert "another reading of it?" not in said
    assert readings(path) == [("earth", "case", "0.75"), ("earth", "case", "0.15")]


def test_what_no_limit_applies_to_is_recorded_everywhere_and_neither_passed_nor_not_applicable(
    tmp_path: Path,
) -> None:
    """One set of words: on the screen, in the box, in text and in documents."""
    opened = b.opened(b.PROCEDURE.replace('limit = "lead_null"\n', ""))
    with create_run(tmp_path, tag="CR-07", procedure_name="short", opened=opened) as journal:
        play(LiveRun(journal), parse_answers(TO_EARTH, "rows"), "rows")
        path = journal.path
    said = " ".join(held(tmp_path, path, "previous", "0.18", "no", "quit").split())
    assert "'Lead null' stands at 0.1 Ω, recorded. Is 0.18 Ω another reading of it?" in said
    found = assess_state(state(read(path)))
    row = next(row for row in found.readings if row.step == "lead-null")
    assert row.verdict == "not applicable"  # as journals keep it
    text = assessment_text(found)
    assert "recorded, no" in text
    assert "not applicable" not in text
    assert VERDICTS["not applicable"].word.lower() == NO_LIMIT
    assert row_verdict(load_words(), row) == NO_LIMIT
