"""Line by line too, a surprise is followed by what it most likely means."""

from __future__ import annotations

from pathlib import Path

from ohmward.desk.likely import UNEXPLAINED, likely_words
from ohmward.run.state import Phase
from support.plain import held, words
from support.walked import begun, walked


def test_an_unexpected_reading_is_followed_by_its_likeliest_cause(tmp_path: Path) -> None:
    path = begun(tmp_path)
    with walked(path, lambda item: item.step == "output-no-load"):
        pass
    said = words(held(tmp_path, path, "16.5 V"))
    assert "UNEXPECTED" in said
    assert "Most likely (" in said
    assert "Type assessment: it says how to tell." in said


def test_no_fault_is_not_said_while_a_reading_stands_that_failed(tmp_path: Path) -> None:
    path = begun(tmp_path)
    with walked(path, lambda item: item.step == "output-no-load") as live:
        live.read("output-no-load", "24", "OL", confirmed=True)
        assert live.state.phase is Phase.HALTED
        assert likely_words(live.state, tmp_path, "") == UNEXPLAINED
