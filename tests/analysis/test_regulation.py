"""Load regulation and output resistance against printed examples and the laws of a straight line."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.analysis.regulation import DENOMINATOR, regulation, too_good

CHECKS = {
    check["id"]: check
    for check in json.loads(
        (Path(__file__).parents[1] / "data" / "reference" / "checks_ripple.json").read_text(encoding="utf-8")
    )["checks"]
}


@pytest.mark.parametrize("name", ["regulation_60_56", "regulation_12_11"])
def test_printed_examples_divide_by_the_full_load_voltage(name: str) -> None:
    # Textbook problem (60 V -> 56 V, 7.14 %) and public article (12 V -> 11 V, 9.1 %), both found.
    check = CHECKS[name]
    found = regulation([0.0, 1.0], [check["inputs"]["V_nl"], check["inputs"]["V_fl"]])
    printed = check["printed"]["regulation"] if isinstance(check["printed"], dict) else check["printed"]
    assert found.load_regulation_pct == pytest.approx(printed, abs=check["tolerance"])
    assert found.denominator == DENOMINATOR == "full-load voltage"


def test_transistor_regulator_of_the_textbook() -> None:
    # Malvino & Bates, Electronic Principles 7e, Ex 24-6, p. 956: 9.91 V -> 9.81 V, load regulation 1.02 %.
    assert regulation([0.0, 1.0], [9.91, 9.81]).load_regulation_pct == pytest.approx(1.02, abs=0.005)


def test_example_that_divides_by_the_no_load_voltage_is_told_apart() -> None:
    # Shah, Electronic Instrumentation and Measurements, Ex 16-1, p. 423: 12 -> 11.90 V printed as 0.83 %,
    # 100 mV over 12 V. Over the full-load voltage, our denominator, it is 0.84 %.
    found = regulation([0.0, 1.0], [12.0, 11.90])
    assert found.load_regulation_pct == pytest.approx(100 * 0.1 / 11.90, rel=1e-9)
    assert 100 * (found.no_load_v - found.full_load_v) / found.no_load_v == pytest.approx(0.83, abs=0.005)


def test_output_resistance_of_the_data_sheet_regulator() -> None:
    # A 12 V three-terminal regulator: 18 milliohm typical (maker's data, TRADE section 6).
    amps = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
    found = regulation(amps, 12.0 - 0.018 * amps, 0.0005)
    assert found.output_resistance_ohm == pytest.approx(0.018, rel=1e-9)
    # straight line with known u: u(slope) = u / sqrt(sum (I - mean)^2), sum = 0.625
    assert found.output_resistance_uncertainty_ohm == pytest.approx(2 * 0.0005 / math.sqrt(0.625), rel=1e-6)
    assert found.knee_low_a is None


def test_a_negative_rail_is_taken_by_magnitude() -> None:
    amps, volts = [0.0, 0.6, 1.2], [15.02, 15.01, 15.0]
    up, down = regulation(amps, volts, 0.003), regulation(amps, [-v for v in volts], 0.003)
    assert down == up
    assert up.output_resistance_ohm == pytest.approx(0.02 / 1.2, rel=1e-9)


def test_a_common_gain_error_does_not_drown_the_resistance() -> None:
    amps = np.array([0.0, 0.3, 0.6, 0.9, 1.2])
    volts = 15.0 - 0.015 * amps
    found = regulation(amps, volts, 0.0006, 0.055)
    assert found.output_resistance_uncertainty_ohm is not None
    assert found.output_resistance_uncertainty_ohm < 0.003
    # the gain itself still scales the resistance: 0.055 / 15 of 15 milliohm, k = 2
    alone = regulation(amps, volts, 1e-9, 0.055)
    assert alone.output_resistance_uncertainty_ohm == pytest.approx(2 * 0.015 * 0.055 / 14.982, rel=1e-3)


def test_a_knee_is_found_and_not_averaged_over() -> None:
    amps = [0.0, 0.25, 0.5, 0.75, 1.0]
    volts = [15.00, 14.995, 14.99, 14.985, 13.9]
    found = regulation(amps, volts, 0.002)
    assert (found.knee_low_a, found.knee_high_a) == (0.75, 1.0)
    assert found.output_resistance_ohm == pytest.approx(0.02, rel=1e-6)
    assert any("lets go between" in warning for warning in found.warnings)
    # the regulation itself is what a load sees, knee included
    assert found.load_regulation_pct == pytest.approx(100 * (15.0 - 13.9) / 13.9, rel=1e-9)


def test_a_capacitor_input_rail_bends_the_other_way_and_has_no_knee() -> None:
    # TRADE section 10, reference rail (computed): 26.4 V unloaded, then these at 10 to 110 % of 3 A.
    amps = [0.0, 0.3, 0.75, 1.5, 2.25, 3.0, 3.3]
    volts = [26.4, 25.5, 24.7, 23.6, 22.7, 21.85, 21.55]
    found = regulation(amps, volts, 0.02)
    assert found.knee_low_a is None
    assert any("not a straight line" in warning or "bend" in warning for warning in found.warnings)
    raw = regulation(amps, volts, 0.02, regulated=False)
    assert raw.warnings == ()
    assert any("unregulated rail" in note for note in raw.notes)
    # its resistance is a mean: the uncertainty is that of the scatter about the line, not of the meter
    assert raw.output_resistance_uncertainty_ohm is not None
    assert raw.output_resistance_uncertainty_ohm > 0.1
    full = regulation(amps[:-1], volts[:-1], 0.02)
    assert full.load_regulation_pct == pytest.approx(20.8, abs=0.05)  # printed there as 20.8 % of full load


def test_no_sag_and_no_ripple_is_questioned() -> None:
    amps, volts = [0.0, 1.0, 2.0], [26.4, 26.4, 26.4]
    found = regulation(amps, volts, 0.01, sag_expected_v=4.0, ripple_pp_v=0.01, ripple_expected_v=2.0)
    assert any("no sag and no ripple" in warning for warning in found.warnings)
    # a good regulator has no visible sag, but its raw ripple is there
    assert too_good(0.0, 0.02, sag_expected_v=0.018, ripple_pp_v=1.9, ripple_expected_v=2.0) == []
    assert too_good(0.0, 0.02, sag_expected_v=0.018) == []
    assert too_good(0.0, 0.02) == []


def test_an_output_that_rises_with_load_is_questioned() -> None:
    found = regulation([0.0, 1.0, 2.0], [12.0, 12.05, 12.1], 0.005)
    assert found.load_regulation_pct < 0
    assert any("rises with load" in warning for warning in found.warnings)


@pytest.mark.parametrize(
    ("amps", "volts", "words"),
    [
        ([0.0], [12.0], "two different loads"),
        ([1.0, 1.0], [12.0, 11.9], "two different loads"),
        ([0.0, 1.0], [12.0, -11.9], "both signs"),
        ([0.0, 1.0], [12.0, 0.0], "zero"),
        ([0.0, 1.0], [12.0, math.nan], "finite"),
        ([0.0, 1.0], [12.0], "one voltage a load"),
    ],
)
def test_impossible_load_points_are_refused(amps: list[float], volts: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        regulation(amps, volts)


@given(
    st.floats(1.0, 100.0),
    st.floats(1e-3, 0.5),
    st.floats(0.1, 10.0),
    st.permutations([0.0, 0.1, 0.25, 0.5, 0.75, 1.0]),
)
def test_a_straight_rail_gives_its_resistance_in_any_order(
    volts: float, drop: float, rated: float, order: list[float]
) -> None:
    resistance = drop * volts / rated
    amps = [rated * each for each in order]
    found = regulation(amps, [volts - resistance * each for each in amps], 1e-4 * volts)
    assert found.output_resistance_ohm == pytest.approx(resistance, rel=1e-6)
    assert found.load_regulation_pct == pytest.approx(100 * drop / (1 - drop), rel=1e-6)
    assert found.knee_low_a is None
