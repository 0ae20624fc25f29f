"""A repair is recorded with words that say what was done: two at the least, or one of over eight letters."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.errors import Refused
from ohmward.logbook import create_run, read
from ohmward.logbook.events import Repaired
from ohmward.run import LiveRun
from ohmward.run.repairing import too_little
from support import bench as b
from support.journals import HandClock
from support.plain import held


@pytest.mark.parametrize(
    "what",
    ["x", "", " . ", "fuse", "nothing", "None", "nothing done", "no repair", "not done yet", "12345678"],
)
def test_what_says_nothing_is_not_taken(what: str) -> None:
    assert too_little(what)


@pytest.mark.parametrize(
    "what",
    ["new fuse", "re-soldered", "T1 wechselt", "reservoirs", "D3: 1N4007", "no longer loose: joint remade"],
)
def test_a_few_words_are(what: str) -> None:
    assert too_little(what) == ""


def test_it_is_asked_again_and_going_back_records_nothing(tmp_path: Path) -> None:
    clock = HandClock(step_s=0.0)
    with create_run(tmp_path, tag="CR-07", procedure_name="short", opened=b.opened(), clock=clock) as journal:
        path, live = journal.path, LiveRun(journal)
        with pytest.raises(Refused, match="'x' does not say what was done"):
            live.repaired("x")
    said = held(tmp_path, path, "repair x", "nothing", "back", "repair", "plug replaced", "quit")
    assert "'x' does not say what was done" in said
    assert "where nothing was mended, nothing is recorded" in said
    assert "going back records nothing" in said
    done = [each.event for each in read(path) if isinstance(each.event, Repaired)]
    assert [each.what for each in done] == ["plug replaced"]
