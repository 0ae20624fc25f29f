"""A reading that settles nothing is read again: it did not fail, and nothing is to be mended."""

from __future__ import annotations

from pathlib import Path

from ohmward.logbook import create_run
from ohmward.run import LiveRun, guidance
from ohmward.run.answers import parse_answers, play
from ohmward.run.guidance import is_undecided
from support import bench as b
from support.plain import held

TO_INSULATION = """step,subject,value,meter,note
plug,,pass,,
label,,pass,,
vents,,pass,,
case-shut,,,,
lead-null,,0.2,,
earth,case,0.25,,
earth,front panel,0.25,,
"""


def at_insulation(logbook: Path, last: str) -> Path:
    with create_run(logbook, tag="CR-07", procedure_name="short", opened=b.opened()) as journal:
        live = LiveRun(journal)
        play(live, parse_answers(TO_INSULATION + f"insulation,,{last},,\n", "rows"), "rows")
        item = live.state.item("insulation")
        assert is_undecided(live.state, item) is (last == "OL!")
        assert guidance(live.state).move == "mend"
        return journal.path


def test_an_overload_is_to_be_read_again_and_not_to_be_mended(tmp_path: Path) -> None:
    said = " ".join(held(tmp_path, at_insulation(tmp_path, "OL!"), "", "back", "quit").split())
    assert "To be read again: Insulation" in said
    assert "read it again, on a known range" in said
    assert "To be mended" not in said
    assert "although it failed" not in said
    assert "repair done" not in said


def test_one_that_failed_is_to_be_mended_as_ever(tmp_path: Path) -> None:
    said = " ".join(held(tmp_path, at_insulation(tmp_path, "0.2M!"), "", "back", "quit").split())
    assert "To be mended: Insulation" in said
