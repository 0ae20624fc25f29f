"""Answers fed from a file: their times are those that the file states, and nothing here took them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import msgspec
import pytest

from ohmward.analysis.assessment import assess
from ohmward.desk.card import outcome
from ohmward.desk.mains import dead_words
from ohmward.errors import Refused
from ohmward.logbook import create_run, read, verify
from ohmward.logbook.events import Reading, Resumed
from ohmward.report.document import front
from ohmward.report.document.label import label, parse_size
from ohmward.report.document.source import source_of
from ohmward.report.document.words import load_words
from ohmward.run import LiveRun, assess_state, state
from ohmward.run.answers import parse_answers, play
from ohmward.taking.timing import time_by
from support import bench as b
from support.journals import HandClock
from support.reports import HEALTHY, source
from support.taking import SHEET

PROCEDURE = b.PROCEDURE.replace(
    'id = "insulation"\n', 'id = "insulation"\nwait_from = "begun"\nwait = "60 s"\n'
).replace('id = "lamp"\n', 'id = "lamp"\nwait_from = "energised"\nwait = "5 min"\n')
DEAD = """step,subject,value,meter,note
plug,,pass,,
label,,pass,,
vents,,pass,,
case-shut,,,,
lead-null,,0.2,,
earth,case,0.25,,
earth,front panel,0.25,,
insulation,,>200M,,
acknowledge,no-load,,,
energised,,,,
"""
LAMP = "step,subject,value,meter,note\nlamp,,pass,,\n"
WORDS = load_words()


@contextmanager
def fed(path: Path, *, simulated: bool = False) -> Iterator[tuple[LiveRun, HandClock]]:
    clock = HandClock(step_s=0.0)
    opened = msgspec.structs.replace(b.opened(PROCEDURE, SHEET), simulated=simulated)
    with LiveRun(create_run(path, tag="CR-07", procedure_name="short", opened=opened, clock=clock)) as live:
        live.resume("bench A", "test", fed="answers.csv")
        time_by(live, None)
        play(live, parse_answers(DEAD, "answers.csv"), "answers.csv")
        yield live, clock


def told(live: LiveRun) -> list[str]:
    return [line for line in assess_state(live.state).summary if line.startswith("Fed from a file: ")]


def test_what_takes_its_time_and_was_fed_says_so_and_is_a_condition(tmp_path: Path) -> None:
    with fed(tmp_path) as (live, _):
        play(live, parse_answers(LAMP, "answers.csv"), "answers.csv")
        for key in (("insulation", ""), ("lamp", "")):
            shown = outcome(live.state, live.state.item(*key))
            assert shown is not None
            assert "not timed here: fed from 'answers.csv'" in shown.words
        assert any("not timed here" in line for line in dead_words(live.state))
        (line,) = told(live)
        assert "'answers.csv'" in line
        assert "the times are those that the file states, not timed here" in line
        assert live.state.item("insulation").title in line
        facts = source_of(live.journal.records, live.state, verify(live.journal.path), live.journal.path)
        assert {item.step for item in facts.facts.untimed} == {"insulation", "lamp"}
        assert "not timed here" in front.fed(WORDS, facts)
        assert any("not timed here" in line for line in label(WORDS, facts, parse_size("89x36")).lines)
        records = read(live.journal.path)
    assert [record.event.fed for record in records if isinstance(record.event, Resumed)] == ["answers.csv"]
    assert state(records) == live.state


def test_where_the_time_was_over_by_the_clock_here_it_was_waited_for(tmp_path: Path) -> None:
    """A script that feeds one row after another as it goes."""
    with fed(tmp_path) as (live, clock):
        clock.wall += timedelta(minutes=5)
        play(live, parse_answers(LAMP, "answers.csv"), "answers.csv")
        entry = live.state.entries["lamp", ""].event
        assert not isinstance(entry, Reading)
        assert entry.after_s == 300  # type: ignore[union-attr]
        (line,) = told(live)
        assert live.state.item("lamp").title not in line


def test_who_sits_down_after_the_file_is_asked_as_ever(tmp_path: Path) -> None:
    with fed(tmp_path) as (live, _):
        live.resume("bench A", "test")
        with pytest.raises(Refused, match="0 s of 300 s"):
            live.answer("lamp", "", "pass")


def test_a_rehearsal_has_no_time_of_its_own_and_yet_says_what_was_fed(tmp_path: Path) -> None:
    with fed(tmp_path, simulated=True) as (live, _):
        play(live, parse_answers(LAMP, "answers.csv"), "answers.csv")
        (line,) = told(live)
        assert "not timed" not in line
        assert "'answers.csv'" in line


def test_a_pass_by_times_that_only_a_file_states_is_one_with_conditions() -> None:
    facts = source(HEALTHY).facts
    assert assess(facts).verdict == "pass"
    item = next(item for item in facts.items if item.kind == "soak" and item.key in facts.entries)
    entry = msgspec.structs.replace(facts.entries[item.key], untimed="not timed here: fed from 'a.csv'")
    fed = msgspec.structs.replace(facts, entries={**facts.entries, item.key: entry}, fed=(("a.csv", 90),))
    found = assess(fed)
    assert found.verdict == "conditional pass"
    assert any(line.startswith("Fed from a file: 'a.csv' (90 entries)") for line in found.summary)
    pages = str(front.conditions(WORDS, replace(source(HEALTHY), facts=fed)))
    assert "by the file, not timed here" in pages
