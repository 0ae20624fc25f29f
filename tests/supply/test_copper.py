"""Copper: IEC 60228 class 5, IEC 60028, ASTM B258."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.supply import awg_area_mm2, copper_resistance, cord_resistance, earth_path


@pytest.mark.parametrize(
    ("area", "ohm_per_km"),
    # IEC 60228 table 3, class 5, plain copper, 20 °C: three cable makers' pages agree
    [(0.5, 39.0), (0.75, 26.0), (1.0, 19.5), (1.5, 13.3), (2.5, 7.98), (4.0, 4.95)],
)
def test_class_5(area: float, ohm_per_km: float) -> None:
    assert cord_resistance(1000.0, area) == pytest.approx(ohm_per_km, rel=1e-12)


def test_two_metres_of_three_quarters() -> None:
    # 26.0 Ω/km × 2 m, IEC 60228
    assert cord_resistance(2.0, 0.75) == pytest.approx(52.0e-3, rel=1e-9)


def test_at_forty_degrees() -> None:
    # α 0.00393 (IEC 60028): 56.09 mΩ; by the factor printed with IEC 60228 (0.926): 56.16 mΩ
    assert cord_resistance(2.0, 0.75, 40.0) == pytest.approx(56.09e-3, rel=5e-3)
    assert cord_resistance(2.0, 0.75, 40.0) == pytest.approx(52.0e-3 / 0.926, rel=5e-3)
    # 1.020 at 15 °C, printed with IEC 60228
    assert cord_resistance(2.0, 0.75, 15.0) == pytest.approx(52.0e-3 / 1.020, rel=5e-3)


@given(st.floats(-40, 120))
def test_the_other_way_to_write_the_coefficient(temperature_c: float) -> None:
    # R proportional to 234.5 + t (a winding-temperature method of EN 61558-1)
    expected = 52.0e-3 * (234.5 + temperature_c) / (234.5 + 20.0)
    assert cord_resistance(2.0, 0.75, temperature_c) == pytest.approx(expected, rel=1e-3)


def test_an_area_that_is_not_listed_is_scaled() -> None:
    # 1.25 mm²: 15.6 Ω/km, 31.2 mΩ for 2 m (19.5 / 1.25, worked out by hand)
    assert cord_resistance(2.0, 1.25) == pytest.approx(31.2e-3, rel=1e-9)
    # IEC 60228 class 5: 6 mm² 3.30, 10 mm² 1.91 Ω/km (from memory); scaling is within 5 %
    assert cord_resistance(1000.0, 6.0) == pytest.approx(3.30, rel=0.05)
    assert cord_resistance(1000.0, 10.0) == pytest.approx(1.91, rel=0.05)


@pytest.mark.parametrize(
    ("area", "ohm"),
    # 0.1 Ω and 2 m of cord at 20 °C, by hand from IEC 60228 (UK code of practice's rule)
    [(0.5, 0.178), (0.75, 0.152), (1.0, 0.139), (1.5, 0.127), (2.5, 0.116), (4.0, 0.110)],
)
def test_earth_path(area: float, ohm: float) -> None:
    assert earth_path(2.0, area) == pytest.approx(ohm, abs=5e-4)


@pytest.mark.parametrize(
    ("gauge", "area", "ohm_per_km"),
    # ASTM B258 and 1/58 Ω mm²/m (IEC 60028); a university's wire table agrees for 18 and 14
    [(20, 0.518, 33.31), (18, 0.823, 20.95), (17, 1.038, 16.61), (16, 1.309, 13.17), (15, 1.650, 10.45),
     (14, 2.081, 8.285), (13, 2.624, 6.571), (12, 3.309, 5.211)],
)  # fmt: skip
def test_american_gauges(gauge: int, area: float, ohm_per_km: float) -> None:
    assert awg_area_mm2(gauge) == pytest.approx(area, rel=2e-3)
    assert copper_resistance(1000.0, awg_area_mm2(gauge)) == pytest.approx(ohm_per_km, rel=2e-3)


@given(st.floats(0, 100), st.floats(0, 100), st.floats(0.3, 10))
def test_lengths_add(one: float, other: float, area: float) -> None:
    together = cord_resistance(one + other, area)
    assert together == pytest.approx(cord_resistance(one, area) + cord_resistance(other, area), rel=1e-9)


@given(st.floats(0.1, 100), st.floats(0.3, 10), st.floats(0, 60))
def test_flex_is_never_better_than_solid_copper(length: float, area: float, temperature_c: float) -> None:
    assert cord_resistance(length, area, temperature_c) >= copper_resistance(length, area, temperature_c)


@pytest.mark.parametrize(
    ("length", "area"), [(-1.0, 0.75), (2.0, 0.0), (2.0, -1.0), (math.nan, 0.75), (2.0, math.inf)]
)
def test_impossible_cords(length: float, area: float) -> None:
    with pytest.raises(ValueError, match="mm²"):
        cord_resistance(length, area)
    with pytest.raises(ValueError, match="mm²"):
        copper_resistance(length, area)
