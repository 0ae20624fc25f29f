"""A load as a resistor: Ohm's law, R = V / I and P = V I = I² R (any textbook)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.supply.model import Rail, Regulator
from ohmward.supply.resistor import load_resistor

rails = st.builds(
    lambda volts, regulated: Rail(
        name="a",
        nominal_v=volts,
        rated_current_a=1.0,
        regulator=Regulator(set_point_v=regulated * abs(volts)) if regulated else None,
    ),
    st.one_of(st.floats(0.1, 5000.0), st.floats(-5000.0, -0.1)),
    st.sampled_from([0.0, 0.9, 1.0, 1.1]),
)


@given(rails, st.floats(1e-4, 1000.0))
def test_the_resistor_draws_the_current_at_the_voltage_of_its_rail(rail: Rail, current_a: float) -> None:
    found = load_resistor(rail, current_a)
    assert found is not None
    volts = abs(rail.nominal_v if rail.set_point_v is None else rail.set_point_v)
    assert found.ohm * current_a == pytest.approx(volts, rel=1e-12)
    assert found.power_w == pytest.approx(current_a**2 * found.ohm, rel=1e-12)


def test_a_negative_rail_has_a_resistor_like_a_positive_one_and_no_load_has_none() -> None:
    rail = Rail(name="-15", nominal_v=-15.0, rated_current_a=1.2)
    found = load_resistor(rail, 1.2)
    assert found is not None
    assert found.words == "12.5 Ω, 18 W"  # 15 V / 1.2 A, 15 V x 1.2 A
    assert load_resistor(rail, 0.0) is None


def test_a_regulated_rail_is_loaded_at_its_set_point() -> None:
    rail = Rail(name="a", nominal_v=12.0, rated_current_a=1.0, regulator=Regulator(set_point_v=13.8))
    found = load_resistor(rail, 2.0)
    assert found is not None
    assert found.words == "6.9 Ω, 27.6 W"
