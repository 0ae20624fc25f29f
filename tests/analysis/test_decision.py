"""Decisions against ILAC-G8:09/2019, JCGM 106:2012 and the laws that any decision rule must keep."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.analysis import conformance_probability, decide
from ohmward.analysis.decision import largest_false_acceptance

DATA = Path(__file__).parents[1] / "data" / "reference" / "checks_decision.json"
CHECKS: dict[str, dict[str, Any]] = {
    check["id"]: check for check in json.loads(DATA.read_text(encoding="utf-8"))["checks"]
}
TABLE_1 = [check for name, check in CHECKS.items() if name.startswith("ilac_g8_table1")]

RANK = ["pass", "conditional pass", "conditional fail", "fail"]
numbers = st.floats(-1e6, 1e6)
uncertainties = st.floats(0.0, 1e4)


def test_four_outcomes_at_the_listed_points() -> None:
    # Rule ILAC-G8:09/2019 4.2.3, probability JCGM 106:2012 7.2; points computed from the closed form.
    check = CHECKS["four_outcome_points"]
    limit, expanded = check["inputs"]["TL"], check["inputs"]["U"]
    for point in check["recomputed"]:
        assert decide(point["y"], expanded, upper=limit).verdict == point["outcome"]
        outside = 1.0 - conformance_probability(point["y"], expanded / check["inputs"]["k"], upper=limit)
        assert outside == pytest.approx(point["p_exceed"], abs=1e-6)


@pytest.mark.parametrize("check", TABLE_1, ids=lambda check: check["id"])
def test_largest_false_acceptance_is_below_the_printed_figure(check: dict[str, Any]) -> None:
    # ILAC-G8:09/2019 table 1 prints '< 1e-06', '< 0.16 %' and so on for each guard band.
    risk = largest_false_acceptance(check["inputs"]["w_over_U"], check["inputs"]["k"])
    assert risk == pytest.approx(check["recomputed"]["with_k2"], rel=1e-9)
    # simple acceptance reaches 50 % on the limit itself, where the table prints '< 50 %'
    assert risk <= float(check["printed"].removeprefix("< "))


def test_relaxed_rule_bounds_false_rejection() -> None:
    # ILAC-G8:09/2019 table 1, w = -U (from memory): false rejection below 2.5 %.
    check = CHECKS["ilac_g8_uncritical"]
    assert 1.0 - largest_false_acceptance(-1.0) == pytest.approx(check["recomputed"], rel=1e-9)


def test_one_sided_probabilities_of_jcgm_106_table_1() -> None:
    # JCGM 106:2012 table 1 (values from memory): z = 0.84, 1.28, 1.64, 2.33, 3.09.
    check = CHECKS["jcgm106_table1"]
    for p, z, printed in zip(check["inputs"]["p"], check["recomputed"], check["printed"], strict=True):
        assert conformance_probability(-z, 1.0, upper=0.0) == pytest.approx(p, abs=1e-9)
        assert z == pytest.approx(printed, abs=check["tolerance"])


def test_breakdown_voltage_example_of_jcgm_106() -> None:
    # JCGM 106:2012 7.3 example (from memory): an upper limit on a negative number, 0.92.
    check = CHECKS["jcgm106_zener"]
    got = conformance_probability(-5.47, 0.05, upper=-5.40)
    assert got == pytest.approx(check["printed"], abs=check["tolerance"])
    assert got == pytest.approx(check["recomputed"], abs=1e-9)


def test_viscosity_example_of_jcgm_106() -> None:
    # JCGM 106:2012 7.4 example (from memory): 0.93 - 0.27 = 0.66.
    check = CHECKS["jcgm106_oil"]
    got = conformance_probability(13.6, 1.8, lower=12.5, upper=16.3)
    assert got == pytest.approx(check["printed"]["p_c"], abs=check["tolerance"])
    assert got == pytest.approx(check["recomputed"]["p_c"], abs=1e-9)


def test_narrow_tolerance_has_no_pass_zone() -> None:
    check = CHECKS["two_sided_narrow"]
    lower, upper, expanded = (check["inputs"][name] for name in ("lower", "upper", "U"))
    best = decide((lower + upper) / 2, expanded, lower, upper)
    assert best.acceptance_empty
    assert best.verdict == "conditional pass"
    p = conformance_probability((lower + upper) / 2, expanded / 2, lower, upper)
    assert p == pytest.approx(check["recomputed"]["best_possible_p_c"], abs=1e-6)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(0.142, "pass"), (0.152, "conditional pass"), (0.162, "conditional fail")],
)
def test_a_boundary_belongs_to_the_better_zone(value: float, verdict: str) -> None:
    # The stated convention; 0.152 - 0.010 and 0.152 + 0.010 are not exact in binary.
    assert decide(value, 0.010, upper=0.152).verdict == verdict


def test_boundaries_of_a_lower_limit_mirror_those_of_an_upper_one() -> None:
    for value in (0.9, 1.0, 1.1, 1.05, 0.95, 0.89, 1.2):
        assert decide(value, 0.1, lower=1.0).verdict == decide(-value, 0.1, upper=-1.0).verdict


def test_unknown_uncertainty_is_simple_acceptance_and_says_so() -> None:
    assert decide(0.09, None, upper=0.1).verdict == "not stated: pass"
    assert decide(0.1, None, upper=0.1).verdict == "not stated: pass"
    assert decide(0.11, None, upper=0.1).verdict == "not stated: fail"


def test_without_a_limit_nothing_is_decided() -> None:
    decision = decide(12.0, 0.1)
    assert decision.verdict == "not applicable"
    assert decision.side is None
    assert not decision.accepted


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((math.nan, 0.1, None, 1.0), "not a number"),
        ((1.0, -0.1, None, 1.0), "uncertainty"),
        ((1.0, math.nan, None, 1.0), "uncertainty"),
        ((1.0, 0.1, 2.0, 1.0), "lower limit 2.0 is above"),
        ((1.0, 0.1, math.nan, 1.0), "limit is not a number"),
    ],
)
def test_impossible_input_is_refused_in_words(
    args: tuple[float, float, float | None, float], words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        decide(*args)
    with pytest.raises(ValueError, match=words):
        conformance_probability(*args)


def test_guard_ratio_is_checked() -> None:
    with pytest.raises(ValueError, match="guard ratio"):
        decide(1.0, 0.1, upper=2.0, guard_ratio=-1.0)


@given(numbers, uncertainties, numbers)
def test_moving_towards_the_limit_never_improves_the_verdict(
    value: float, expanded: float, limit: float
) -> None:
    near, far = decide(value, expanded, upper=limit), decide(value + 1.0, expanded, upper=limit)
    assert RANK.index(near.verdict) <= RANK.index(far.verdict)


@given(numbers, uncertainties, numbers, st.floats(0.0, 1e6))
def test_a_smaller_uncertainty_never_turns_a_pass_into_a_fail(
    value: float, expanded: float, lower: float, width: float
) -> None:
    wide, narrow = (
        decide(value, expanded, lower, lower + width),
        decide(value, expanded / 2, lower, lower + width),
    )
    assert wide.accepted == narrow.accepted
    if wide.verdict in ("pass", "fail"):
        assert narrow.verdict == wide.verdict


@given(numbers, st.floats(1e-3, 1e4), numbers, st.floats(0.0, 1e6))
def test_a_plain_pass_is_probably_right(value: float, expanded: float, lower: float, width: float) -> None:
    # ILAC-G8 table 1: w = U leaves below 2.5 % (2.28 % a side with k = 2).
    upper = lower + width
    p = conformance_probability(value, expanded / 2, lower, upper)
    verdict = decide(value, expanded, lower, upper).verdict
    assert 0.0 <= p <= 1.0
    if verdict == "pass":
        assert p >= 1.0 - 2 * 0.02276
    if verdict == "fail":
        assert p <= 0.02276


@given(numbers, st.floats(1e-6, 1e4), numbers)
def test_lower_and_upper_probabilities_are_complements(value: float, u: float, limit: float) -> None:
    both = conformance_probability(value, u, lower=limit) + conformance_probability(value, u, upper=limit)
    assert both == pytest.approx(1.0, abs=1e-12)
