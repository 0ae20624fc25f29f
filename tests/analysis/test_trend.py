"""Robust trend against the printed examples of Sen and of Helsel and Hirsch."""

from __future__ import annotations

import csv
import itertools
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.analysis.trend import mann_kendall, theil_sen

REFERENCE = Path(__file__).parents[1] / "data" / "reference"


def reference(name: str) -> tuple[list[float], list[float], dict[str, Any]]:
    with (REFERENCE / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    answers = json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))
    return [float(row["x"]) for row in rows], [float(row["y"]) for row in rows], answers


def test_example_of_sen() -> None:
    # Sen (1968): slope 4, 93 % interval 3.71 to 4.38; intercept 4 by medians, 6 by the residuals.
    x, y, answers = reference("sen1968")
    printed, recomputed = answers["printed"], answers["recomputed"]
    found = theil_sen(x, y, level=printed["confidence"])
    assert found.slope == pytest.approx(recomputed["slope"], abs=1e-12)
    assert found.low == pytest.approx(recomputed["slope_low"], abs=1e-12)
    assert found.high == pytest.approx(recomputed["slope_high"], abs=1e-12)
    assert found.low == pytest.approx(printed["slope_low"], abs=0.005)
    assert found.high == pytest.approx(printed["slope_high"], abs=0.006)
    assert found.intercept == pytest.approx(printed["intercept_median_separate"], abs=1e-12)
    assert found.intercept_joint == pytest.approx(printed["intercept_joint_residual_median"], abs=1e-12)
    crossing = found.crossing(100.0)
    assert crossing is not None
    assert crossing[0] == pytest.approx(answers["derived_here"]["crossing_of_y_100"]["with_intercept_4"])
    assert crossing[1] < crossing[0] < crossing[2]
    test = mann_kendall(y)
    assert (test.s, test.tau) == (recomputed["kendall_S"], recomputed["tau"])
    assert test.p == pytest.approx(recomputed["p_exact_two_sided"], abs=1e-9)


def test_one_outlier_of_helsel_and_hirsch() -> None:
    # Helsel & Hirsch, chapter 10 (from memory): slope 1.0 where least squares says 1.71.
    x, y, answers = reference("helsel_hirsch_7pt")
    printed, recomputed = answers["printed"], answers["recomputed"]
    found = theil_sen(x, y)
    assert found.slope == printed["slope"]
    assert found.intercept == printed["intercept"]
    assert [found.low, found.high] == pytest.approx(recomputed["slope_95"], abs=1e-12)
    test = mann_kendall(y)
    assert test.s == printed["S"]
    assert test.variance == pytest.approx(recomputed["var_S"], rel=1e-10)
    assert test.z == pytest.approx(recomputed["Z_continuity"], rel=1e-10)
    assert test.tau == pytest.approx(recomputed["tau"], rel=1e-9)
    assert test.p_normal == pytest.approx(recomputed["p_normal"], rel=1e-9)
    assert test.p == pytest.approx(recomputed["p_exact_two_sided"], rel=1e-6)
    assert test.method == "exact"


def test_exact_probability_agrees_with_counting_every_order() -> None:
    every = [mann_kendall(order).s for order in itertools.permutations(range(5))]
    for order in itertools.permutations(range(5)):
        found = mann_kendall(order)
        assert found.p == pytest.approx(sum(abs(s) >= abs(found.s) for s in every) / 120)


def test_ties_reduce_the_variance() -> None:
    # var = (n(n-1)(2n+5) - sum t(t-1)(2t+5)) / 18 by hand for 1, 2, 2, 3: (4*3*13 - 2*1*9) / 18.
    found = mann_kendall([1, 2, 2, 3])
    assert found.variance == pytest.approx((4 * 3 * 13 - 2 * 1 * 9) / 18)
    assert (found.s, found.method) == (5, "normal")
    assert mann_kendall([2.0, 2.0, 2.0]).p == 1.0


def test_a_level_line_never_crosses_and_an_open_interval_is_open() -> None:
    assert theil_sen([1, 2, 3], [5, 5, 5]).crossing(6.0) is None
    noisy = theil_sen([1, 2, 3, 4, 5, 6], [1.0, 3.0, 0.5, 2.5, 1.2, 3.1])
    crossing = noisy.crossing(50.0)
    assert noisy.low < 0.0 < noisy.slope
    assert crossing is not None
    assert math.isinf(crossing[2])


@pytest.mark.parametrize(
    ("x", "y", "level", "words"),
    [
        ([1.0], [1.0], 0.95, "two different x"),
        ([1.0, 1.0], [1.0, 2.0], 0.95, "two different x"),
        ([1.0, 2.0], [1.0], 0.95, "same length"),
        ([1.0, 2.0], [1.0, math.nan], 0.95, "finite"),
        ([1.0, 2.0], [1.0, 2.0], 1.0, "level"),
    ],
)
def test_impossible_points_are_refused(x: list[float], y: list[float], level: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        theil_sen(x, y, level)


@pytest.mark.parametrize("y", [[], [1.0], [1.0, math.inf]])
def test_impossible_readings_are_refused(y: list[float]) -> None:
    with pytest.raises(ValueError, match="reading"):
        mann_kendall(y)


@given(
    st.lists(st.floats(-1e3, 1e3), min_size=3, max_size=12, unique=True),
    st.floats(-100, 100),
    st.floats(-5, 5),
)
def test_the_slope_follows_an_added_line_and_the_test_its_order(y: list[float], a: float, b: float) -> None:
    x = np.arange(len(y), dtype=float)
    plain, tilted = theil_sen(x, y), theil_sen(x, np.array(y) + a + b * x)
    assert tilted.slope == pytest.approx(plain.slope + b, abs=1e-6)
    assert plain.low <= plain.slope <= plain.high
    assert mann_kendall(y).s == -mann_kendall([-each for each in y]).s
    assert 0.0 < mann_kendall(y).p <= 1.0
