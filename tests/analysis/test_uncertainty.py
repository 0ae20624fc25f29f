"""Uncertainty against the worked figures of the GUM and EA-4/02, and the laws of combination."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.analysis.uncertainty import (
    Component,
    combine,
    coverage_factor,
    normal,
    rectangular,
    resolution,
    spread_of_mean,
    trapezoid_factor,
    trapezoidal,
    triangular,
    type_a,
    u_shaped,
)

REFERENCE = Path(__file__).parents[1] / "data" / "reference"
CHECKS: dict[str, dict[str, Any]] = {
    check["id"]: check
    for check in json.loads((REFERENCE / "checks_uncertainty.json").read_text(encoding="utf-8"))["checks"]
}
small = st.floats(1e-6, 1e3)


def test_mean_of_twenty_temperatures() -> None:
    # GUM 4.4.3, table 1 (from memory): s = 1.489, u = 0.333.
    check = CHECKS["gum_4_4_3_type_a"]
    found = type_a(check["inputs"]["readings"])
    assert found.standard == pytest.approx(check["printed"]["u_mean"], abs=check["tolerance"])
    assert found.standard == pytest.approx(check["recomputed"]["u_mean"], rel=1e-10)
    assert found.standard * math.sqrt(20) == pytest.approx(check["printed"]["s"], abs=check["tolerance"])
    assert found.dof == 19


def test_rectangular_and_triangular_of_the_gum() -> None:
    # GUM 4.4.5 (from memory): 4 degrees -> 2.3 and 1.6.
    check = CHECKS["gum_4_4_5_distributions"]
    half = check["inputs"]["a"]
    for name, make in (("rectangular", rectangular), ("triangular", triangular)):
        assert make(half).standard == pytest.approx(check["printed"][name], abs=check["tolerance"])
        assert make(half).standard == pytest.approx(check["recomputed"][name], rel=1e-10)


def test_divisors() -> None:
    # GUM 4.3.7 to 4.3.9, 4.4.6 (standard results).
    recomputed = CHECKS["divisors"]["recomputed"]
    assert rectangular(1.0).standard == pytest.approx(recomputed["rectangular"], rel=1e-12)
    assert triangular(1.0).standard == pytest.approx(recomputed["triangular"], rel=1e-12)
    assert u_shaped(1.0).standard == pytest.approx(recomputed["u_shaped"], rel=1e-12)
    assert normal(1.0, coverage=3.0).standard == pytest.approx(1 / 3, rel=1e-12)
    assert normal(1.0).standard == 0.5


def test_trapezoid_is_the_sum_of_two_rectangles() -> None:
    # GUM 4.3.9 note 2: half-widths a1 >= a2 give a = a1 + a2, beta = (a1 - a2) / (a1 + a2).
    one, two = 3.0, 1.25
    summed = combine([rectangular(one), rectangular(two)]).standard
    assert trapezoidal(one + two, (one - two) / (one + two)).standard == pytest.approx(summed, rel=1e-12)


def test_digital_voltmeter_of_the_gum() -> None:
    # GUM 4.3.7 example 2 and 5.1.5 (from memory): half-width 15 uV, u 8.7 uV, combined 15 uV, 16e-6.
    check = CHECKS["gum_4_3_7_dvm"]
    given_, limit = check["inputs"], check["tolerance"]
    half_uv = given_["ppm_reading"] * given_["reading_V"] + given_["ppm_range"] * given_["range_V"]
    both = combine([rectangular(half_uv), given_["u_typeA_uV"]])
    assert half_uv == pytest.approx(check["printed"]["half_width_uV"], abs=limit["half_width_uV"])
    assert rectangular(half_uv).standard == pytest.approx(check["printed"]["u_B_uV"], abs=limit["u_B_uV"])
    assert both.standard == pytest.approx(check["printed"]["u_c_uV"], abs=limit["u_c_uV"])
    assert both.standard == pytest.approx(check["recomputed"]["u_c_uV"], rel=1e-10)
    assert both.standard * 1e-6 / given_["reading_V"] == pytest.approx(
        check["printed"]["rel"], abs=limit["rel"]
    )


def test_resistor_certified_at_99_per_cent() -> None:
    # GUM 4.3.4 (from memory): 129 uohm at 99 % -> 50 uohm.
    check = CHECKS["gum_4_3_4_resistor"]
    found = normal(check["inputs"]["U_uohm"], level=check["inputs"]["level"])
    assert found.standard == pytest.approx(check["printed"], abs=check["tolerance"])


def test_resolution_of_a_display() -> None:
    # GUM F.2.2.1 (from memory): 0.29 of the step.
    check = CHECKS["gum_f_2_2_1_resolution"]
    assert resolution(1.0).standard == pytest.approx(check["recomputed"], rel=1e-10)


@pytest.mark.parametrize(
    ("name", "level", "u_key"),
    [("gum_g_4_1", 0.95, "u_rel_percent"), ("gum_h1_d", 0.95, "u_nm"), ("ea402_s12_type_a", 0.9545, "u")],
)
def test_welch_satterthwaite_examples(name: str, level: float, u_key: str) -> None:
    # GUM G.4.1 (from memory), GUM H.1.6 and EA-4/02 S12 (figures found).
    check = CHECKS[name]
    dofs = [math.inf if each == "inf" else each for each in check["inputs"]["dof"]]
    found = combine(list(zip(check["inputs"][u_key], dofs, strict=True)), level=level)
    printed, limit = check["printed"], check["tolerance"]
    u_name = "u_c" if "u_c" in printed else "u"
    assert found.standard == pytest.approx(printed[u_name], abs=limit[u_name])
    assert found.dof == pytest.approx(printed["nu_eff"], abs=max(limit["nu_eff"], 0.2))
    if "k" in printed:
        assert found.coverage_factor == pytest.approx(printed["k"], abs=limit["k"])
        assert found.expanded == pytest.approx(printed["U"], abs=limit["U"])
    if "t95" in printed:
        assert found.coverage_factor == pytest.approx(printed["t95"], abs=limit["t95"])
        assert found.expanded == pytest.approx(printed["U95"], abs=limit["U95"])


def test_end_gauge_budget_carries_unrounded_values() -> None:
    # GUM H.1.6: 32 nm, 16.7 degrees of freedom cut to 16, t99 = 2.92, U99 = 93 nm.
    check = CHECKS["gum_h1_budget"]
    pairs = list(zip(check["inputs"]["u_nm"], check["inputs"]["dof"], strict=True))
    found = combine(pairs, level=0.99)
    assert found.standard == pytest.approx(check["recomputed"]["u_c"], rel=1e-10)
    assert found.dof == pytest.approx(check["recomputed"]["nu_eff_unrounded"], rel=1e-9)
    assert found.coverage_factor == pytest.approx(check["printed"]["t99_16"], abs=0.005)
    # the GUM multiplies t by the rounded 32 nm; 93 holds within its own tolerance
    assert found.expanded == pytest.approx(check["printed"]["U99"], abs=1.0)
    assert math.ceil(found.standard) * found.coverage_factor == pytest.approx(93.0, abs=0.5)


def test_hand_held_multimeter_with_a_dominant_rectangle() -> None:
    # EA-4/02 S9: k = 1.65, not 2; U = 0.05 V.
    check = CHECKS["ea402_s9_multimeter"]
    given_, limit = check["inputs"], check["tolerance"]
    found = combine(
        [
            rectangular(given_["half_width_resolution"]),
            Component(standard=given_["u_std"]),
            rectangular(given_["half_width_calibrator"]),
        ]
    )
    assert found.standard == pytest.approx(check["recomputed"]["u_c"], rel=1e-10)
    assert found.coverage_factor == pytest.approx(check["printed"]["k"], abs=limit["k"])
    # recomputed with the level printed to four digits, 0.9545; ours is that of k = 2 exactly
    assert found.coverage_factor == pytest.approx(check["recomputed"]["k"], rel=1e-6)
    assert found.expanded == pytest.approx(check["recomputed"]["U"], rel=1e-6)
    assert found.distribution == "rectangular"


def test_student_table_of_the_gum() -> None:
    # GUM table G.2 and EA-4/02 table E.1 (95.45 % column found, others from memory).
    check = CHECKS["student_t_table"]
    for source in ("printed", "recomputed"):
        for percent, column in check[source].items():
            for dof, value in column.items():
                got = coverage_factor(float(percent) / 100, float(dof))
                assert got == pytest.approx(value, abs=check["tolerance"] + 1e-9), (percent, dof)


def test_factor_of_two_rectangles_agrees_with_a_count_of_their_sum() -> None:
    # Exact quantile of the sum of two uniform variables, by counting a fine grid (independent route).
    one, two, level = 1.0, 0.6, 0.95
    steps = 2000
    grid = [(-1 + (2 * i + 1) / steps) for i in range(steps)]
    reach = trapezoid_factor(level, (one - two) / (one + two)) * math.sqrt((one**2 + two**2) / 3)
    inside = sum(
        max(0.0, min(1.0, (reach - one * x) / two) - max(-1.0, (-reach - one * x) / two)) / 2 for x in grid
    )
    assert inside / steps == pytest.approx(level, abs=1e-4)
    assert combine([rectangular(one), rectangular(two)], level=level).distribution == "trapezoidal"


def test_ends_of_the_trapezoid_factor() -> None:
    assert trapezoid_factor(0.95, 1.0) == pytest.approx(0.95 * math.sqrt(3.0))
    assert trapezoid_factor(0.95, 0.0) == pytest.approx(math.sqrt(6.0) * (1.0 - math.sqrt(0.05)))


def test_budget_lists_the_largest_first_and_adds_up() -> None:
    found = combine([rectangular(0.1, "resolution"), normal(0.5, "calibration"), type_a([1.0, 1.2, 1.4])])
    rows = found.budget()
    assert [row.name for row in rows] == ["calibration", "repeatability", "resolution"]
    assert sum(row.share_pct for row in rows) == pytest.approx(100.0)
    assert list(found.frame()["name"]) == [row.name for row in rows]


def test_multimeter_chain_shows_what_double_counting_would_add() -> None:
    # reference checks_multimeter 'dmm_chain': resolution adds 0.11 % of the variance.
    checks = json.loads((REFERENCE / "checks_multimeter.json").read_text(encoding="utf-8"))["checks"]
    check = next(each for each in checks if each["id"] == "dmm_chain")
    given_, expected = check["inputs"], check["recomputed"]
    found = combine([rectangular(given_["half_width"]), resolution(given_["resolution"])], dominant=False)
    assert found.standard == pytest.approx(expected["u_c"], rel=1e-10)
    assert found.expanded == pytest.approx(expected["U"], rel=1e-9)
    assert found.budget()[-1].share_pct == pytest.approx(expected["share_res_percent"], rel=1e-9)


def test_full_correlation_adds_linearly_and_is_said_to_be_approximate() -> None:
    found = combine([(3.0, 10.0), (4.0, 10.0)], correlations={(0, 1): 1.0})
    assert found.standard == pytest.approx(7.0)
    assert any("correlated" in warning for warning in found.warnings)
    assert combine([3.0, 4.0], correlations={(0, 1): -1.0}).standard == pytest.approx(1.0)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: combine([]),
        lambda: combine([1.0], level=1.0),
        lambda: combine([-1.0]),
        lambda: combine([1.0, 1.0], correlations={(0, 1): 1.5}),
        lambda: combine([1.0, 1.0], correlations={(0, 2): 0.5}),
        lambda: combine([1.0, 1.0, 1.0], correlations={(0, 1): -1.0, (0, 2): -1.0, (1, 2): -1.0}),
        lambda: rectangular(math.nan),
        lambda: type_a([1.0]),
        lambda: spread_of_mean(1.0, 0),
        lambda: normal(1.0, coverage=2.0, level=0.95),
        lambda: trapezoidal(1.0, 2.0),
        lambda: Component(standard=1.0, dof=0.0),
    ],
)
def test_impossible_budgets_are_refused(wrong: Any) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        wrong()


@given(st.lists(small, min_size=1, max_size=6), small)
def test_scaling_every_part_scales_the_whole(parts: list[float], factor: float) -> None:
    one, many = combine(list(parts)), combine([each * factor for each in parts])
    assert many.standard == pytest.approx(factor * one.standard, rel=1e-9)
    assert many.coverage_factor == pytest.approx(one.coverage_factor, rel=1e-9)


@given(st.lists(st.tuples(small, st.floats(1.0, 100.0)), min_size=1, max_size=5))
def test_effective_degrees_lie_between_the_least_and_the_sum(parts: list[tuple[float, float]]) -> None:
    # Known bounds of the Welch-Satterthwaite formula.
    found = combine(list(parts))
    dofs = [dof for _, dof in parts]
    assert min(dofs) * (1 - 1e-9) <= found.dof <= sum(dofs) * (1 + 1e-9)
