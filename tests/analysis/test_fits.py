"""Fits against certified and printed results (NIST StRD, GUM, ISO/TS 28037, QUAM)."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from ohmward.analysis.fits import Array, straight_line
from ohmward.analysis.warned import Kind

REFERENCE = Path(__file__).parents[1] / "data" / "reference"
TEN_DIGITS = 1e-10


def reference(name: str) -> tuple[dict[str, Array], dict[str, Any]]:
    """Columns and answers of a data set; its source stands in the JSON beside it."""
    with (REFERENCE / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    columns = {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}
    return columns, json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))


def test_norris_to_ten_certified_digits() -> None:
    # NIST StRD, Norris.
    data, answers = reference("norris")
    line = straight_line(data["x"], data["y"])
    certified = answers["certified"]
    assert line.intercept == pytest.approx(certified["B0"], rel=TEN_DIGITS)
    assert line.slope == pytest.approx(certified["B1"], rel=TEN_DIGITS)
    assert line.u_intercept == pytest.approx(certified["sd_B0"], rel=TEN_DIGITS)
    assert line.u_slope == pytest.approx(certified["sd_B1"], rel=TEN_DIGITS)
    assert line.residual_sd == pytest.approx(certified["residual_sd"], rel=TEN_DIGITS)
    assert line.r_squared == pytest.approx(certified["r_squared"], rel=TEN_DIGITS)
    assert line.dof == certified["dof"]


def test_noint1_to_ten_certified_digits() -> None:
    # NIST StRD, NoInt1: through the origin, R squared about zero.
    data, answers = reference("noint1")
    line = straight_line(data["x"], data["y"], through_origin=True)
    certified = answers["certified"]
    assert line.slope == pytest.approx(certified["B1"], rel=TEN_DIGITS)
    assert line.u_slope == pytest.approx(certified["sd_B1"], rel=TEN_DIGITS)
    assert line.residual_sd == pytest.approx(certified["residual_sd"], rel=TEN_DIGITS)
    assert line.r_squared == pytest.approx(certified["r_squared"], rel=TEN_DIGITS)
    assert (line.intercept, line.u_intercept, line.dof) == (0.0, 0.0, certified["dof"])


@pytest.mark.parametrize("origin", [20.0, 0.0, 24.008454545454546])
def test_thermometer_of_the_gum_does_not_depend_on_where_x_is_zero(origin: float) -> None:
    # GUM H.3: y1, y2, their correlation, and b(30 C) = -0.1494 with u = 0.0041 (0.0073 without covariance).
    data, answers = reference("gum_h3_thermometer")
    line = straight_line(data["t_C"] - origin, data["b_C"])
    printed, recomputed = answers["printed"], answers["recomputed"]
    predicted = line.predict(30.0 - origin)
    assert line.slope == pytest.approx(recomputed["y2"], rel=1e-8)
    assert line.u_slope == pytest.approx(recomputed["u_y2"], rel=1e-8)
    assert line.residual_sd == pytest.approx(recomputed["s"], rel=1e-8)
    assert predicted.value == pytest.approx(recomputed["b_at_30C"], rel=1e-8)
    assert predicted.u == pytest.approx(recomputed["u_b_at_30C"], rel=1e-8)
    assert predicted.u == pytest.approx(printed["u_b_at_30C"], abs=5e-5)
    if origin == 20.0:
        assert line.intercept == pytest.approx(recomputed["y1"], rel=1e-8)
        assert line.u_intercept == pytest.approx(recomputed["u_y1"], rel=1e-8)
        assert line.correlation == pytest.approx(recomputed["r_y1_y2"], rel=1e-8)


def test_known_equal_uncertainties_of_iso_28037() -> None:
    # ISO/TS 28037:2010, clause 6 example.
    data, answers = reference("iso28037_wls_equal")
    printed, recomputed = answers["printed"], answers["recomputed"]
    line = straight_line(data["x"], data["y"], data["u_y"])
    assert line.intercept == pytest.approx(recomputed["a"], rel=1e-9)
    assert line.slope == pytest.approx(recomputed["b"], rel=1e-9)
    assert line.u_intercept == pytest.approx(recomputed["u_a"], rel=1e-9)
    assert line.u_slope == pytest.approx(recomputed["u_b"], rel=1e-9)
    assert line.covariance == pytest.approx(recomputed["cov_ab"], rel=1e-9)
    assert line.chi2 == pytest.approx(recomputed["chi_squared"], rel=1e-9)
    assert line.dof == recomputed["dof"]
    assert line.warnings == ()
    read = line.inverse(printed["inverse"]["y0"], printed["inverse"]["u_y0"])
    assert read.value == pytest.approx(recomputed["x0"], rel=1e-9)
    assert read.u == pytest.approx(recomputed["u_x0"], rel=1e-9)
    relative = straight_line(data["x"], data["y"], data["u_y"], weights="relative")
    # by exact rational arithmetic 0.3002908643 and 0.0771075757; the JSON is off in the eighth digit
    assert relative.u_intercept == pytest.approx(recomputed["scaled_u_a"], rel=1e-7)
    assert relative.u_slope == pytest.approx(recomputed["scaled_u_b"], rel=1e-7)


@pytest.mark.parametrize(("weights", "key"), [("known", "known_u"), ("relative", "relative_weights")])
def test_both_conventions_of_weights(weights: Any, key: str) -> None:
    # Tests of an open uncertainty library, values from a statistics package.
    data, answers = reference("wls_scaled")
    line = straight_line(data["x"], data["y"], data["u_y"], weights=weights)
    recomputed = answers["recomputed"]
    assert line.intercept == pytest.approx(recomputed["a"], rel=1e-7)
    assert line.slope == pytest.approx(recomputed["b"], rel=1e-7)
    assert line.u_intercept == pytest.approx(recomputed[key]["u_a"], rel=1e-7)
    assert line.u_slope == pytest.approx(recomputed[key]["u_b"], rel=1e-7)
    assert line.covariance == pytest.approx(recomputed[key]["cov_ab"], rel=1e-7)
    for name, got in (("u_a", line.u_intercept), ("u_b", line.u_slope)):
        assert got == pytest.approx(answers["printed"][key][name], rel=1e-5, abs=5e-6)


def test_inverse_reading_of_quam_a5() -> None:
    # EURACHEM/CITAC QUAM A5: 0.260(18) from the mean of two new readings.
    data, answers = reference("quam_a5_inverse")
    line = straight_line(data["x_mg_per_L"], data["y_absorbance"])
    printed, recomputed = answers["printed"], answers["recomputed"]
    assert line.intercept == pytest.approx(recomputed["B0"], rel=1e-8)
    assert line.u_intercept == pytest.approx(recomputed["u_B0"], rel=1e-8)
    assert line.u_slope == pytest.approx(recomputed["u_B1"], rel=1e-8)
    assert line.correlation == pytest.approx(recomputed["r_B0_B1"], rel=1e-8)
    readings = printed["new_readings"]
    read = line.inverse(sum(readings) / 2, line.residual_sd / math.sqrt(2))
    assert read.value == pytest.approx(recomputed["x0"], rel=1e-8)
    assert read.u == pytest.approx(recomputed["u_x0"], rel=1e-8)
    assert read.u == pytest.approx(printed["u_x0"], abs=5e-4)


def test_scatter_beyond_the_uncertainties_is_said_in_words() -> None:
    # chi-squared limit at 4 degrees of freedom is 9.488 (standard table); these points give 100 times 1.665.
    data, _ = reference("iso28037_wls_equal")
    line = straight_line(data["x"], data["y"], data["u_y"] / 10)
    assert line.chi2 == pytest.approx(166.476, abs=0.001)
    assert "further from the line" in line.warnings[0]
    assert "9.49" in line.warnings[0]
    assert [each.kind for each in line.warned] == [Kind.FURTHER]


def test_agreement_too_good_for_the_uncertainties_is_said() -> None:
    data, _ = reference("iso28037_wls_equal")
    line = straight_line(data["x"], data["y"], data["u_y"] * 10)
    assert "better than their uncertainties allow" in line.warnings[0]
    assert [each.kind for each in line.warned] == [Kind.CLOSER]
    bounds = straight_line(data["x"], data["y"], data["u_y"] * 10, at_most=True)
    assert bounds.warnings == ()
    assert bounds.u_slope == line.u_slope


def test_bent_points_are_not_taken_for_a_line() -> None:
    x = np.arange(8.0)
    noise = np.array([1, -1, 1, 1, -1, -1, 1, -1]) * 0.01
    assert any("bend" in each for each in straight_line(x, 0.1 * x**2 + noise).warnings)
    assert straight_line(x, 3.0 * x + 1.0).warnings == ()
    assert straight_line(x, 3.0 * x + noise).warnings == ()


def test_two_points_say_that_nothing_tests_the_line() -> None:
    line = straight_line([0.0, 1.0], [5.0, 4.0])
    assert math.isnan(line.u_slope)
    assert "nothing tests it" in line.warnings[0]
    known = straight_line([0.0, 1.0], [5.0, 4.0], 0.1)
    assert known.u_slope == pytest.approx(0.1 * math.sqrt(2.0))


def test_no_reading_can_be_taken_from_a_level_line() -> None:
    with pytest.raises(ValueError, match="level"):
        straight_line([0.0, 1.0, 2.0], [1.0, 1.0, 1.0]).inverse(1.0)
    flat = straight_line([0.0, 1.0, 2.0, 3.0], [1.0, 1.2, 0.9, 1.05])
    assert math.isinf(flat.inverse(2.0).u)


@pytest.mark.parametrize(
    ("x", "y", "u", "words"),
    [
        ([1.0], [1.0], None, "at least 2 points"),
        ([1.0, 1.0], [1.0, 2.0], None, "all x are the same"),
        ([1.0, 2.0], [1.0], None, "same length"),
        ([1.0, math.nan], [1.0, 2.0], None, "finite"),
        ([1.0, 2.0], [1.0, 2.0], [0.1, 0.0], "above zero"),
        ([1.0, 2.0], [1.0, 2.0], [0.1], "one uncertainty a point"),
    ],
)
def test_impossible_points_are_refused(
    x: list[float], y: list[float], u: list[float] | None, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        straight_line(x, y, u)


points = st.lists(
    st.tuples(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3), st.floats(0.01, 10.0)), min_size=3, max_size=12
)


@given(points, st.floats(-1e3, 1e3), st.floats(-10.0, 10.0))
def test_adding_a_line_adds_its_coefficients(
    data: list[tuple[float, float, float]], a: float, b: float
) -> None:
    x, y, u = (np.array(column) for column in zip(*data, strict=True))
    assume(np.ptp(x) > 1.0)
    plain, tilted = straight_line(x, y, u), straight_line(x, y + a + b * x, u)
    assert tilted.slope - plain.slope == pytest.approx(b, abs=1e-6)
    assert tilted.predict(0.0).value - plain.predict(0.0).value == pytest.approx(a, abs=1e-4)
    assert tilted.u_slope == pytest.approx(plain.u_slope, rel=1e-9)


@given(points)
def test_reading_back_a_prediction_returns_its_x(data: list[tuple[float, float, float]]) -> None:
    x, y, u = (np.array(column) for column in zip(*data, strict=True))
    assume(np.ptp(x) > 1.0)
    line = straight_line(x, y + 5.0 * x, u)
    assume(abs(line.slope) > 0.1)
    assert line.inverse(line.predict(12.5).value).value == pytest.approx(12.5, abs=1e-6)
