"""What a summary must not leave unsaid, and what it must not say of typed values."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.desk.readings import leads_taken_off, less_leads
from ohmward.run import AskAgain, assess_state
from ohmward.run.start import start
from ohmward.run.state import Phase
from ohmward.shipped import folder
from support.walked import CR_11, begun, walk, walked

OUTPUT = ("output-no-load", "24")


def test_a_halt_that_was_amended_away_is_named_at_the_head_of_the_summary(tmp_path: Path) -> None:
    with walked(begun(tmp_path), lambda item: item.key == OUTPUT) as live:
        with pytest.raises(AskAgain, match=r"295 V, with a stop limit of 50 V.* mains off at once"):
            live.read(*OUTPUT, "295")
        live.read(*OUTPUT, "295", confirmed=True)  # a point slipped: past the 50 V of the reservoir
        assert live.state.phase is Phase.HALTED
        live.amend_reading(live.state.entries[OUTPUT].seq, "29.5", "the point slipped")
        said = [line for line in assess_state(live.state).summary if "Halted on the way" in line]
        assert len(said) == 1
        assert "295" in said[0]
        assert "past its stop limit, which halted the run" in said[0]
        assert "the point slipped" in said[0]


CR_07 = (folder("demo") / "CR-07.toml").read_text(encoding="utf-8")
SCATTERED = {"0": "15.04", "10": "14.99", "25": "15.03", "50": "14.98", "75": "15.02", "100": "14.97"}
"""Within what an ordinary meter may be off by, and far beyond the last digit that is typed."""


def test_values_typed_without_a_meters_accuracy_are_held_against_no_line(tmp_path: Path) -> None:
    values = {("load-points.output", f"+15 @ {load} %"): text for load, text in SCATTERED.items()}
    with walked(begun(tmp_path, CR_07), lambda item: item.step == "mains-ripple", values) as live:
        result = assess_state(live.state)
        assert "the meter's accuracy is not stated" in " ".join(result.rails["+15"].warnings)
        assert not [line for line in result.summary if "chi-squared" in line]


METERS = """
[[meter]]
name = "milliohm meter"
kind = "low-ohm"
test_current = "0.2 A"
[[meter.accuracy]]
function = "low ohms"
range = "2 Ω"
resolution = "1 mΩ"
accuracy = "2 % + 2"
[[meter]]
name = "bond tester"
kind = "low-ohm"
test_current = "10 A"
[[meter.accuracy]]
function = "low ohms"
range = "2 Ω"
resolution = "1 mΩ"
accuracy = "2 % + 2"
"""
WEAKLY = "Not settled: earth continuity: measured with 200 mA, and 10 A or more is asked"


def test_an_earth_measured_with_little_current_is_a_condition_until_a_bond_test(tmp_path: Path) -> None:
    """EN 50106:2008 asks for at least 10 A: what passes at 0.2 A passes, and is told."""
    sheet, meters = tmp_path / "sheet.toml", tmp_path / "meters.toml"
    sheet.write_text(CR_11, encoding="utf-8")
    meters.write_text(METERS, encoding="utf-8")
    path = start(tmp_path, sheet, operator="bench A", tool="test", meters=meters)
    with walked(path, lambda item: item.spec.id == "lead-null") as live:
        live.read("lead-null", "", "0.100", meter="milliohm meter")
        walk(live, lambda item: item.spec.id == "earth")
        live.read("earth", "case", "0.150", meter="milliohm meter")
        other = live.judged_reading("earth", "case", "0.150", meter="bond tester").judged
        assert (other.net, live.judged_reading("earth", "case", "0.150").judged.net) == pytest.approx(
            (0.15, 0.05)
        )
        assert "Leads not taken off: their null was read with 'milliohm meter'" in other.note
        item = live.state.by_key["earth", "case"]
        assert less_leads(live.state, item, 0.15, "bond tester") == 0.15
        assert less_leads(live.state, item, 0.15, "milliohm meter") == pytest.approx(0.05)
        assert "nothing is taken off" in leads_taken_off(live.state, item, "bond tester")
        said = [line.lower() for line in assess_state(live.state).summary]
        assert any(line.startswith(WEAKLY.lower()) for line in said)
        live.read("earth-bond", "", "0.050", meter="bond tester")
        assert not any("or more is asked" in line for line in assess_state(live.state).summary)
