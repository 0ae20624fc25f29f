"""Line by line too, a surprise is followed by what it most likely means."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.desk.likely import REAL, UNEXPLAINED, likely_words
from ohmward.logbook import read
from ohmward.logbook.events import Energised, Noted
from ohmward.run import guidance
from ohmward.run.state import Phase
from support.plain import held, words
from support.walked import TIMED, begun, walked


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
        assert likely_words(live.state, tmp_path, "") == REAL
        live.switch_off()
        assert likely_words(live.state, tmp_path, "") == UNEXPLAINED


def test_a_danger_that_nothing_explains_is_to_be_taken_as_real(tmp_path: Path) -> None:
    path = begun(tmp_path)
    with walked(path, lambda item: item.step == "case-voltage") as live:
        live.read("case-voltage", "", "231 V")  # a danger is never asked about before it halts the run
        assert live.state.phase is Phase.HALTED
        assert likely_words(live.state, tmp_path, "") == REAL
        live.switch_off()
        assert likely_words(live.state, tmp_path, "") == REAL


def test_the_likeliest_cause_and_what_comes_before_it_is_said_before_mains(tmp_path: Path) -> None:
    path = begun(tmp_path)
    with walked(path, lambda item: item.step == "output-no-load") as live:
        live.read("output-no-load", "24", "16.5 V")
        live.switch_off()
        live.answer("unplugged", "", "pass")
        live.answer("discharge-wait", "", "pass", TIMED)
        live.read("residual", "24", "0.02")
        assert guidance(live.state).move == "energise"
    said = words(held(tmp_path, path, "", "yes"))
    warned, before, asked = (
        said.index(each) for each in ("Most likely (", "Before that: Switch off", "Mains is still off.")
    )
    assert warned < before < asked
    assert Energised in {type(each.event) for each in read(path)[-3:]}  # a warning, no gate
    noted = [each.event.text for each in read(path) if isinstance(each.event, Noted)]
    assert any("knowing this: Earth continuity: case 20 mΩ" in text for text in noted)


def test_nothing_is_weighed_before_mains_where_all_is_as_expected(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = begun(tmp_path)
    with walked(path, lambda item: item.step == "output-no-load") as live:
        live.switch_off()
        live.answer("unplugged", "", "pass")
        live.answer("discharge-wait", "", "pass", TIMED)
        live.read("residual", "24", "0.02")
    weighed: list[object] = []
    monkeypatch.setattr("ohmward.desk.likely.causes_of", lambda *given: weighed.append(given))
    said = words(held(tmp_path, path, "", "no"))
    assert "Apply mains?" in said
    assert (
        "Earth continuity: case 20 mΩ, lid 20 mΩ, rear panel 20 mΩ by a meter of no stated accuracy" in said
    )
    assert "yes: I know that the earth is not settled, and am switching on now." in said
    assert weighed == []
