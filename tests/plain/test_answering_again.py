"""An answer that stands is not given again without a word, line by line as on the screen."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.logbook import create_run, read
from ohmward.logbook.events import Amended, Answered, Event
from support import bench as b
from support.journals import HandClock
from support.plain import held


@pytest.fixture
def path(tmp_path: Path) -> Path:
    with create_run(
        tmp_path, tag="CR-07", procedure_name="short", opened=b.opened(), clock=HandClock()
    ) as journal:
        return journal.path


def after(path: Path) -> list[Event]:
    return [record.event for record in read(path)][1:]


def test_the_same_answer_again_records_nothing(tmp_path: Path, path: Path) -> None:
    said = held(tmp_path, path, "pass", "previous", "pass", "quit")
    assert "PASS is on record already, and nothing more was recorded" in said
    assert len([event for event in after(path) if isinstance(event, Answered)]) == 1


def test_another_answer_amends_with_the_reason_behind_the_command(tmp_path: Path, path: Path) -> None:
    held(tmp_path, path, "pass", "previous", "fail cracked under the grip", "quit")
    amendment = after(path)[-1]
    assert isinstance(amendment, Amended)
    assert amendment.reason == "cracked under the grip"
    assert amendment.answer is not None
    assert amendment.answer.answer == "fail"


def test_a_failed_fault_answered_anew_says_what_was_mended_or_that_it_was_a_mistake(
    tmp_path: Path, path: Path
) -> None:
    to_vents = ["pass", "pass", "fail slots taped over", "jump vents"]
    held(tmp_path, path, *to_vents, "pass", "1", "tape taken off", "jump vents", "n", "back", "quit")
    last = after(path)[-1]
    assert isinstance(last, Answered)
    assert (last.answer, last.note) == ("pass", "tape taken off")


def test_a_failed_danger_says_that_a_mistake_is_told_in_the_words(tmp_path: Path, path: Path) -> None:
    said = held(tmp_path, path, "fail cracked", "amend", "pass", "pressed f by mistake", "quit")
    assert "A failed danger is mended and done again" in said
    assert "answered so by mistake" in said
    assert [event.note for event in after(path) if isinstance(event, Answered)] == [
        "cracked", "pressed f by mistake",
    ]  # fmt: skip


def test_an_empty_line_leads_to_what_comes_before_an_entry_that_is_refused(tmp_path: Path) -> None:
    opened = b.opened(procedure=b.CHARGE_FIRST)
    with create_run(
        tmp_path, tag="CR-07", procedure_name="short", opened=opened, clock=HandClock()
    ) as journal:
        run = journal.path
    said = held(tmp_path, run, "pass", "jump nothing loose", "pass", "", "0.1", "quit")
    assert "before a hand goes in" in said
    assert "Recorded: 0.1 V; PASS" in said
