"""What other programs and notebooks hold on to: every key of `assess --json`, every name of the library.

The values are tested elsewhere; here a rename is what fails.
"""

from __future__ import annotations

import json
from typing import Any

import msgspec
import numpy as np
import pytest

from ohmward import analysis
from ohmward.analysis import fits, ripple, soak, trend, uncertainty
from ohmward.analysis._results import Cause, Characterised
from ohmward.analysis.assessment import Assessment, to_json
from ohmward.analysis.rails import RailResult
from ohmward.analysis.soak_result import SoakResult
from ohmward.analysis.summary import MOST_LINES

RAIL_KEYS = {
    "load_regulation_pct", "load_regulation_uncertainty_pct", "output_resistance_ohm",
    "output_resistance_uncertainty_ohm", "ripple_pp_v", "half_wave_fraction", "characterised",
    "load_effect_immediate_v", "load_effect_immediate_uncertainty_v", "load_effect_immediate_pct",
    "load_effect_settled_v", "load_effect_settled_uncertainty_v", "load_effect_settled_pct",
    "load_effect_drift_v", "load_effect_drift", "load_effect_denominator",
}  # fmt: skip
PARTS = ("open_circuit_v", "source_ohm", "capacitance_f", "esr_ohm")
SOAK_KEYS = {
    "sensor", "final_c", "final_uncertainty_k", "time_constant_s", "at_max_ambient_c",
    "at_max_ambient_low_c", "at_max_ambient_high_c", "stabilised", "rule", "enough_data",
}  # fmt: skip


@pytest.fixture(scope="module")
def plain() -> dict[str, Any]:
    """An assessment with one of everything, as JSON has it."""
    four: dict[str, Any] = dict.fromkeys(PARTS, 1.0) | {f"{name}_uncertainty": 0.1 for name in PARTS}
    parts = Characterised(
        **four, correlation=((1.0,),), low=(0.9,) * 4, high=(1.1,) * 4, chi2=1.0, readings=9
    )
    found = Assessment(
        run="2026-03-02-01-commissioning",
        tag="CR-07",
        simulated=True,
        verdict="incomplete",
        readings=(),
        checks=(),
        rails={"+15": RailResult(characterised=parts)},
        soaks=(SoakResult(sensor="heat sink +15", last_c=42.0),),
        overrides=(),
        missing=(),
        findings=(),
        causes=(Cause(fault="diode-open", subject="24", title="One diode is open", probability=0.9),),
        summary=("CR-07: Not finished: no verdict yet.",),
    )
    text = json.dumps(msgspec.to_builtins(to_json(found)), allow_nan=False)
    return dict(json.loads(text))


def test_every_key_of_the_json_is_there(plain: dict[str, Any]) -> None:
    assert {"run", "tag", "simulated", "verdict", "rails", "soaks", "causes", "summary"} <= plain.keys()
    rail = plain["rails"]["+15"]
    assert rail.keys() >= RAIL_KEYS
    assert rail["characterised"].keys() >= {*PARTS, *(f"{name}_uncertainty" for name in PARTS)}
    assert plain["soaks"][0].keys() >= SOAK_KEYS
    assert plain["causes"][0].keys() >= {"fault", "probability", "because", "confirm"}
    assert isinstance(plain["causes"][0]["because"], list)
    assert isinstance(plain["summary"], list)
    assert MOST_LINES == 15


def test_straight_line() -> None:
    x, y = np.arange(6.0), np.array([0.1, 1.0, 2.1, 2.9, 4.0, 5.1])
    for weights in ("known", "relative"):
        found = fits.straight_line(x, y, np.full(6, 0.1), weights=weights)
        names = ("intercept", "slope", "u_intercept", "u_slope", "covariance", "residual_sd", "chi2", "dof")
        assert all(isinstance(getattr(found, name), (int, float)) for name in names)
        assert isinstance(found.warnings, tuple)
        value, u = found.predict(2.5)
        back, u_back = found.inverse(value, u)
        assert back == pytest.approx(2.5)
        assert u_back > 0.0


def test_fit_rise() -> None:
    t = np.arange(0.0, 3600.0, 60.0)
    y = 22.0 - 40.0 * np.expm1(-t / 900.0) + 0.01 * np.sin(t)
    found = soak.fit_rise(t, y, start_c=None, ambient_c=None)
    for name in ("rise_k", "time_constant_s", "start_c"):
        assert isinstance(getattr(found, name), float)
        assert isinstance(getattr(found, f"u_{name}"), float)
        low, high = found.interval(name, level=0.95)
        assert low < getattr(found, name) < high
    assert -1.0 <= found.correlation <= 1.0
    assert found.residual_sd > 0.0
    assert isinstance(found.warnings, tuple)
    assert found.predict(1800.0).value == pytest.approx(22.0 - 40.0 * np.expm1(-2.0), abs=0.1)
    assert soak.fit_rise(t, y, start_c=22.0).start_c == 22.0


def test_combine() -> None:
    found = uncertainty.combine([uncertainty.rectangular(0.03, "accuracy"), 0.01, (0.02, 4)])
    for name in ("standard", "dof", "coverage_factor", "expanded"):
        assert getattr(found, name) > 0.0
    rows = found.budget()
    assert [row.contribution for row in rows] == sorted((row.contribution for row in rows), reverse=True)


def test_ripple_and_trend() -> None:
    t = np.arange(4000) / 20_000.0
    found = ripple.analyse(24.0 + 0.5 * np.sin(2 * np.pi * 100.0 * t), 20_000.0, 50.0)
    assert found.pp_v == pytest.approx(1.0, abs=0.02)
    assert found.rms_v == pytest.approx(0.5 / np.sqrt(2.0), abs=0.01)
    assert found.components
    x, y = np.arange(8.0), np.array([0.0, 1.1, 1.9, 3.2, 3.9, 5.0, 6.1, 7.0])
    sen = trend.theil_sen(x, y, level=0.95)
    assert sen.low <= sen.slope <= sen.high
    assert isinstance(sen.intercept, float)
    kendall = trend.mann_kendall(y)
    for name in ("s", "variance", "z", "p", "tau"):
        assert isinstance(float(getattr(kendall, name)), float)


def test_modules_are_reached_from_the_package() -> None:
    for name in ("fits", "soak", "uncertainty", "ripple", "trend"):
        assert getattr(analysis, name).__name__ == f"ohmward.analysis.{name}"
