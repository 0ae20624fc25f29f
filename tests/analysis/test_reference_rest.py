"""Figures of the reference list that no other test looks at, and that none of them is forgotten."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ohmward.analysis.fits import Array, straight_line
from ohmward.analysis.least_squares import linear
from ohmward.analysis.soak import fit_rise
from ohmward.analysis.stability import RULES, stabilised
from ohmward.analysis.trend import theil_sen
from ohmward.analysis.uncertainty import coverage_factor
from ohmward.physics.heat import ALUMINIUM_K, COPPER_K, copper, junction, largest_sink, winding_rise

TESTS = Path(__file__).parents[1]
REFERENCE = TESTS / "data" / "reference"


def checks(name: str) -> dict[str, Any]:
    text = (REFERENCE / f"{name}.json").read_text(encoding="utf-8")
    return {check["id"]: check for check in json.loads(text)["checks"]}


def reference(name: str) -> tuple[dict[str, Array], dict[str, Any]]:
    """Columns and answers of a data set; its source stands in the JSON beside it."""
    with (REFERENCE / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    columns = {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}
    return columns, json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))


def test_every_check_and_data_set_stands_in_some_test() -> None:
    text = "\n".join(path.read_text(encoding="utf-8") for path in sorted(TESTS.rglob("test_*.py")))
    forgotten = []
    for path in sorted(REFERENCE.glob("*.json")):
        if path.stem.startswith("checks_"):
            # the rows of ILAC-G8 table 1 are taken together, and its zones as the points that lie in them
            same = {"ilac_g8_outcomes": "four_outcome_points"}
            ids = [same.get(each, each) for each in checks(path.stem)]
            forgotten += [
                each for each in ids if f'"{each}"' not in text and not each.startswith("ilac_g8_table1")
            ]
        elif f'"{path.stem}"' not in text:
            forgotten.append(path.stem)
    assert forgotten == []


def test_heat_sink_that_is_needed() -> None:
    # Heat-sink worked example (found): 3.5 W, 125 °C, 25 °C, 2 + 0.5 K/W: at most 26 K/W; with 20 K/W 104 °C.
    check = checks("checks_thermal")["rsa_required_35w"]
    given = check["inputs"]
    needed = largest_sink(given["P"], given["Tjmax"], given["Ta"], given["Rcs"], given["Rjc"])
    assert needed == pytest.approx(check["printed"]["Rsa"], abs=check["tolerance"])
    assert needed == pytest.approx(check["recomputed"]["Rsa"], rel=1e-9)
    with_20 = junction(given["Ta"] + 20.0 * given["P"], given["P"], given["Rcs"], given["Rjc"])
    assert with_20 == pytest.approx(check["printed"]["Tj_with_20"], abs=check["tolerance"])
    assert with_20 == pytest.approx(check["recomputed"]["Tj_with_20"], rel=1e-9)


def test_regulator_without_a_heat_sink() -> None:
    # Engineering newsletter (found): 25 + 3.5 x 65, printed truncated to 252 °C.
    check = checks("checks_thermal")["tj_chain_35w"]
    given = check["inputs"]
    power = (given["Vin"] - given["Vout"]) * given["I"]
    assert power == pytest.approx(check["printed"]["P"])
    bare = junction(given["Ta"], power, 0.0, given["Rja"])
    assert bare == pytest.approx(check["printed"]["Tj_no_sink"], abs=check["tolerance"])


def test_aluminium_and_hot_copper() -> None:
    # Temperature-rise formulas (found): 1 / (228 + 20) for aluminium; the winding of 80 ohm is at 83.63 °C.
    alpha = checks("checks_thermal")["copper_alpha20"]
    for metal, constant in (("cu", COPPER_K), ("al", ALUMINIUM_K)):
        # a winding that has gained alpha of its resistance is 1 K warmer
        grown = 1.0 + alpha["recomputed"][metal]
        assert winding_rise(1.0, grown, 20.0, 20.0, metal_k=constant) == pytest.approx(1.0, rel=1e-9)
        assert alpha["recomputed"][metal] == pytest.approx(alpha["printed"][metal], abs=alpha["tolerance"])
    hot = checks("checks_thermal")["copper_80_100"]
    at_20 = hot["inputs"]["R1"]
    assert copper(at_20, hot["printed"]["t2"]) == pytest.approx(hot["inputs"]["R2"], abs=0.01)


def test_published_rules_for_a_constant_temperature() -> None:
    # Clause 49.12 (found): three readings spaced 10 % of the elapsed time, at least 15 min, no further rise;
    # IEC 60034-1 (from memory): under 1 K per half hour.
    said = checks("checks_thermal")["steady_state_criteria"]["printed"]
    assert "10 % of the elapsed time, not under 15 min apart" in said[0]
    assert "below 1 K per half hour" in said[1]
    spaced, half_hour = RULES["no further rise"], RULES["IEC 60034-1, half-hour"]
    # after 2 h the spacing is 15 min, after 5 h it is 30 min
    assert spaced.window(7200.0) == 1800.0
    assert spaced.window(18000.0) == 3600.0
    assert (half_hour.change_k, half_hour.window_s, half_hour.strict) == (1.0, 1800.0, True)
    t = np.array([0.0, 5400.0, 6300.0, 7200.0])
    assert stabilised(t, [22.0, 60.0, 60.0, 60.0], rule="no further rise").stabilised is True
    assert stabilised(t, [22.0, 60.0, 59.0, 58.0], rule="no further rise").stabilised is True
    assert stabilised(t, [22.0, 60.0, 60.0, 60.5], rule="no further rise").stabilised is False
    assert stabilised(t, [22.0, 59.0, 60.5, 60.0], rule="no further rise").stabilised is False
    assert stabilised(t, [22.0, 60.0, 60.4, 60.9], rule="IEC 60034-1, half-hour").stabilised is True
    assert stabilised(t, [22.0, 60.0, 60.5, 61.0], rule="IEC 60034-1, half-hour").stabilised is False


def test_bod_in_the_form_it_is_printed_in() -> None:
    # Bates & Watts A1.4, saved R output: lrc -0.63282 (0.382), RSS 25.990, k 0.5311; Wald intervals derived.
    data, answers = reference("bod_bates_watts")
    fit = fit_rise(data["time_d"], data["demand_mg_per_L"], start_c=0.0)
    printed, recomputed, derived = answers["printed"], answers["recomputed"], answers["derived_here"]
    rate, u_rate = 1.0 / fit.time_constant_s, fit.u_time_constant_s / fit.time_constant_s**2
    assert rate == pytest.approx(printed["k"], abs=5e-5)
    assert rate == pytest.approx(recomputed["k"], rel=1e-6)
    assert math.log(rate) == pytest.approx(printed["lrc"], abs=5e-6)
    assert u_rate / rate == pytest.approx(printed["sd_lrc"], abs=5e-4)
    assert u_rate / rate == pytest.approx(recomputed["sd_lrc"], rel=1e-6)
    assert u_rate == pytest.approx(recomputed["sd_k"], rel=1e-6)
    assert fit.residual_sd**2 * fit.dof == pytest.approx(printed["residual_ss"], abs=5e-4)
    # cov(A, k) = -cov(A, tau) / tau²
    assert -fit.covariance[0, 1] * rate**2 == pytest.approx(recomputed["cov_A_k"], rel=1e-5)
    wide = coverage_factor(0.95, fit.dof)
    for key, value, u in (("wald95_A", fit.rise_k, fit.u_rise_k), ("wald95_k", rate, u_rate)):
        assert [value - wide * u, value + wide * u] == pytest.approx(derived[key], abs=1e-4)
    low, high = fit.interval("time_constant_s")
    assert [1.0 / high, 1.0 / low] == pytest.approx(derived["profile95_k"], rel=1e-3)


def test_loblolly_in_the_form_it_is_printed_in() -> None:
    # Saved R output (SSasymp): lrc -3.2176 (0.1386), and the values at those parameters.
    data, answers = reference("loblolly_329_offset")
    columns = list(data.values())
    fit = fit_rise(columns[0], columns[1])
    printed, recomputed = answers["printed"], answers["recomputed"]
    assert -math.log(fit.time_constant_s) == pytest.approx(printed["lrc"], abs=5e-5)
    assert fit.u_time_constant_s / fit.time_constant_s == pytest.approx(printed["sd_lrc"], abs=5e-5)
    assert fit.u_time_constant_s / fit.time_constant_s == pytest.approx(recomputed["sd_lrc"], rel=1e-5)
    wide = coverage_factor(0.95, fit.dof)
    final = [fit.final_c - wide * fit.u_final_c, fit.final_c + wide * fit.u_final_c]
    assert final == pytest.approx(answers["derived_here"]["wald95_Asym"], rel=1e-4)


def test_misra1a_wald_interval() -> None:
    # From the certified figures, t at 12 degrees of freedom.
    data, answers = reference("misra1a")
    fit = fit_rise(data["x"], data["y"], start_c=0.0)
    wide = coverage_factor(0.95, fit.dof)
    found = [fit.rise_k - wide * fit.u_rise_k, fit.rise_k + wide * fit.u_rise_k]
    assert found == pytest.approx(answers["derived_here"]["wald95_b1"], abs=1e-3)


@pytest.mark.parametrize("key", ["if_t0_is_zero", "if_t0_is_mean_24_0084545"])
def test_thermometer_of_the_gum_about_other_points(key: str) -> None:
    # GUM H.3, recomputed: the correlation depends on where the temperature is counted from.
    data, answers = reference("gum_h3_thermometer")
    origin = 0.0 if key == "if_t0_is_zero" else float(np.mean(data["t_C"]))
    line = straight_line(data["t_C"] - origin, data["b_C"])
    expected = answers["recomputed"][key]
    assert line.intercept == pytest.approx(expected["y1"], rel=1e-6)
    assert line.u_intercept == pytest.approx(expected["u_y1"], rel=1e-5)
    assert line.correlation == pytest.approx(expected["r"], abs=1e-9)
    assert line.residual_sd**2 * line.dof == pytest.approx(answers["recomputed"]["residual_ss"], rel=1e-9)


def test_sums_of_squares_of_the_certificates() -> None:
    # NIST StRD, analysis of variance of Norris, NoInt1 and Longley.
    data, answers = reference("norris")
    certified, line = answers["certified"], straight_line(data["x"], data["y"])
    residual = line.residual_sd**2 * line.dof
    assert residual == pytest.approx(certified["residual_ss"], rel=1e-10)
    assert line.residual_sd**2 == pytest.approx(certified["residual_ms"], rel=1e-10)
    total = float(np.square(data["y"] - data["y"].mean()).sum())
    assert total - residual == pytest.approx(certified["regression_ss"], rel=1e-10)
    assert (line.slope / line.u_slope) ** 2 == pytest.approx(certified["F"], rel=1e-10)
    data, answers = reference("noint1")
    line = straight_line(data["x"], data["y"], through_origin=True)
    assert line.residual_sd**2 * line.dof == pytest.approx(answers["certified"]["residual_ss"], rel=1e-10)
    data, answers = reference("longley")
    found = linear(np.column_stack([np.ones(16), *(data[f"x{i}"] for i in range(1, 7))]), data["y"])
    total = float(np.square(data["y"] - data["y"].mean()).sum())
    residual = found.residual_sd**2 * found.dof
    assert 1.0 - residual / total == pytest.approx(answers["certified"]["r_squared"], rel=1e-9)
    assert (total - residual) / 6 / found.residual_sd**2 == pytest.approx(answers["certified"]["F"], rel=1e-9)


def test_limit_of_chi_squared_at_four_degrees_of_freedom() -> None:
    # ISO/TS 28037: 9.487729; the lack-of-fit test speaks above it and not below it.
    from scipy.special import chdtri

    answers = reference("iso28037_wls_equal")[1]
    assert chdtri(4, 0.05) == pytest.approx(answers["recomputed"]["chi2_95_limit"], abs=1e-9)
    data = reference("iso28037_wls_equal")[0]
    chi2 = answers["recomputed"]["chi_squared"]
    limit = answers["recomputed"]["chi2_95_limit"]
    for share, silent in ((1.02, True), (0.98, False)):
        # uncertainties that bring chi-squared just below, and just above, the limit
        u = data["u_y"] * math.sqrt(chi2 / limit) * share
        assert (straight_line(data["x"], data["y"], u).warnings == ()) is silent


@pytest.mark.parametrize("name", ["sen1968", "helsel_hirsch_7pt"])
def test_ordinary_line_beside_the_robust_one(name: str) -> None:
    # Recomputed in the reference list, to show what one outlier does to it.
    data, answers = reference(name)
    x, y = list(data.values())[:2]
    line = straight_line(x, y)
    assert line.slope == pytest.approx(answers["recomputed"]["ols_slope"], abs=1e-8)
    assert line.intercept == pytest.approx(answers["recomputed"]["ols_intercept"], abs=1e-8)
    assert theil_sen(x, y).slope == pytest.approx(answers["printed"]["slope"], abs=0.005)
