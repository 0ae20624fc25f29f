"""Capacitor life and end of life against the published figures of the reference list."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.physics.ageing import END_OF_LIFE, activation_ev, arrhenius_factor, end_of_life, life

CHECKS: dict[str, dict[str, Any]] = {
    check["id"]: check
    for check in json.loads(
        (Path(__file__).parents[1] / "data" / "reference" / "checks_capacitor.json").read_text(
            encoding="utf-8"
        )
    )["checks"]
}


def test_two_thousand_hours_at_105_degrees() -> None:
    # Public explanation of the 10 K rule: 4000, 8000, 32000 h at 95, 85, 65 °C, a little over three and a
    # half years.
    check = CHECKS["life_2000h"]
    for name, at in (("h95", 95.0), ("h85", 85.0), ("h65", 65.0)):
        found = life(check["inputs"]["L0"], check["inputs"]["T0"], at)
        assert found.hours == pytest.approx(check["printed"][name], abs=check["tolerance"])
    years = life(check["inputs"]["L0"], check["inputs"]["T0"], 65.0).years
    assert years == pytest.approx(check["printed"]["years65"], abs=check["tolerance"])
    assert years == pytest.approx(check["recomputed"]["years65"], abs=1e-9)


def test_a_thousand_hours_at_85_degrees() -> None:
    # Electronics mailing-list note: 16000 h at 45 °C; 45 °C is below where the rule holds, and that is said.
    check = CHECKS["life_1000h_85"]
    inputs = check["inputs"]
    found = life(inputs["L0"], inputs["T0"], inputs["T"])
    assert found.hours == pytest.approx(check["printed"], abs=check["tolerance"])
    assert any("below 60 °C" in said for said in found.notes)


def test_where_the_rule_holds_by_a_makers_notes() -> None:
    # Good for 70 to 90 °C, off below 60 and above 105 °C, not meant for 125 °C types; Arrhenius figures in
    # closed form.
    check = CHECKS["ten_kelvin_validity"]
    for at in (70.0, 80.0, 90.0):
        assert life(2000.0, 105.0, at).notes == ()
    assert any("does not hold" in said for said in life(2000.0, 105.0, 110.0).notes)
    assert any("hotter than it is rated for" in said for said in life(2000.0, 85.0, 95.0).notes)
    assert any("125 °C" in said for said in life(2000.0, 125.0, 90.0).notes)
    recomputed = check["recomputed"]
    energy = activation_ev(85.0, 95.0)
    assert energy == pytest.approx(
        recomputed["activation_energy_eV_equal_to_doubling_85_to_95"], abs=check["tolerance"]
    )
    assert arrhenius_factor(25.0, 35.0, energy) == pytest.approx(
        recomputed["factor_25_to_35_with_that_Ea"], abs=check["tolerance"]
    )


def test_every_published_end_of_life_can_be_chosen() -> None:
    # Six printed limits: two signs of change, ESR or loss factor.
    printed = CHECKS["end_of_life_limits"]["printed"]
    assert len(printed) == len(END_OF_LIFE)
    for row, limit in zip(printed, END_OF_LIFE.values(), strict=True):
        loss = float(row["dC"].removeprefix("+").removeprefix("-").removesuffix(" %")) / 100.0
        assert limit.capacitance_loss == pytest.approx(loss)
        if "esr" in row:
            assert limit.esr_factor == pytest.approx(float(row["esr"].split()[1]))
            assert not limit.by_tangent
        else:
            assert limit.esr_factor == pytest.approx(float(row["tan_delta"].split()[1]))
            assert limit.by_tangent
        assert limit.name.split(",")[0].split()[0] in row["test"]


def test_what_is_not_known_is_not_passed() -> None:
    chosen = end_of_life("useful life")
    assert chosen.reached(0.79) is True
    assert chosen.reached(0.9, 3.5) is True
    assert chosen.reached(0.9, 1.0) is False
    assert chosen.reached(0.9) is None
    assert chosen.reached(None, None) is None
    assert "useful life; CECC 30301" in str(chosen)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="use one of endurance"):
        end_of_life("when it smells")
    with pytest.raises(ValueError, match="rated life"):
        life(0.0, 105.0, 60.0)
    with pytest.raises(ValueError, match="finite"):
        life(2000.0, 105.0, math.nan)


@given(st.floats(100, 1e5), st.floats(60, 125), st.floats(20, 120), st.floats(0.1, 60))
def test_cooler_lives_longer(rated_h: float, rated_c: float, at_c: float, cooler_k: float) -> None:
    now, then = life(rated_h, rated_c, at_c), life(rated_h, rated_c, at_c - cooler_k)
    assert then.hours > now.hours
    assert then.hours / now.hours == pytest.approx(2.0 ** (cooler_k / 10.0))
