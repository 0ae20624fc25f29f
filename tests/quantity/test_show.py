"""Writing values. Rounding to the uncertainty: JCGM 100:2008 (GUM) 7.2.6, with its own examples."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.quantity import UNITS, parse, show, show_band, show_centre, show_exact, show_value


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (12.04, "V", "12.04 V"),
        (0.085, "V", "85 mV"),
        (4700.0, "Ω", "4.7 kΩ"),
        (200e6, "Ω", "200 MΩ"),
        (0.2, "Ω", "0.2 Ω"),
        (0.052, "Ω", "52 mΩ"),
        (6800e-6, "F", "6800 µF"),
        (0.15, "A", "150 mA"),
        (-15.0, "V", "-15 V"),
        (0.0, "V", "0 V"),
        (-0.0, "V", "0 V"),
        (720.0, "s", "12 min"),
        (7200.0, "s", "2 h"),
        (51.24, "s", "51.24 s"),
        (0.75, "mm²", "0.75 mm²"),
        (2.0, "m", "2 m"),
        (40.0, "°C", "40 °C"),
        (11.0, "%", "11 %"),
        (20e6, "Hz", "20 MHz"),
        (1e-7, "K/W", "0.0000001 K/W"),
        (2300.0, "%", "2300 %"),
        (12.0, "", "12"),
        (math.inf, "Ω", "∞ Ω"),
        (math.nan, "Ω", "not known"),
    ],
)
def test_four_figures_and_engineering_prefixes(value: float, unit: str, text: str) -> None:
    assert show(value, unit) == text


@pytest.mark.parametrize(
    ("value", "unit", "expanded", "text"),
    [
        # GUM 7.2.6: 10.05762 ohm with 27 milliohm is rounded to 10.058 ohm
        (10.05762, "Ω", 0.027, "10.058 Ω"),
        # GUM H.1.6: 50.000 838 mm with 93 nm (a gauge block, in metres here)
        (0.050000838, "m", 0.000000093, "50.000838 mm"),
        (12.0412, "V", 0.012, "12.041 V"),
        (12.0412, "V", 0.0996, "12.04 V"),  # 0.0996 is 0.10 to two figures
        (12345.0, "Ω", 2000.0, "12.3 kΩ"),
        (0.0001, "V", 0.5, "0.00 V"),
        (0.0, "V", 0.002, "0.0 mV"),
        (12.0, "V", math.nan, "12 V"),
        (12.0, "V", 0.0, "12 V"),
    ],
)
def test_two_figures_of_the_uncertainty(value: float, unit: str, expanded: float, text: str) -> None:
    assert show(value, unit, uncertainty=expanded) == text


def test_places_are_counted_in_the_unit_itself() -> None:
    assert show(12.04, "V", decimals=3) == "12.040 V"
    assert show(0.085, "V", decimals=4) == "85.0 mV"
    assert show(-0.001, "V", decimals=2) == "0.00 V"
    assert show(51.24, "s", decimals=0) == "51 s"
    assert show(30.0, "", decimals=0) == "30"


def test_never_a_thousand_of_a_prefix_after_rounding() -> None:
    assert show(0.99999, "V") == "1 V"
    assert show(999.96, "V") == "1 kV"
    assert show(0.9996, "V", uncertainty=0.01) == "1.000 V"


@pytest.mark.parametrize(
    ("low", "high", "unit", "text"),
    [
        (14.4, 15.6, "V", "14.4 to 15.6 V"),
        (216.2, 253.0, "V", "216.2 to 253.0 V"),
        (14.998, 15.002, "V", "14.998 to 15.002 V"),
        (-15.6, -14.4, "V", "-15.6 to -14.4 V"),
        (0.05, 0.152, "Ω", "0.050 to 0.152 Ω"),
        (0.0, 0.005, "V", "0 to 5 mV"),
        (10.0, 10.0, "V", "10 to 10 V"),
        (None, 0.152, "Ω", "at most 0.152 Ω"),
        (1e6, None, "Ω", "at least 1 MΩ"),
        (1e6, math.inf, "Ω", "at least 1 MΩ"),
        (None, None, "Ω", "any value"),
    ],
)
def test_a_band_has_one_prefix(low: float | None, high: float | None, unit: str, text: str) -> None:
    assert show_band(low, high, unit) == text


@pytest.mark.parametrize(
    ("typed", "unit", "text"),
    [("12.040", "V", "12.040 V"), (">200M", "Ω", "> 200 MΩ"), ("<0.50", "Ω", "< 0.50 Ω"),
     ("OL", "Ω", "overload"),
     ("4k7", "Ω", "4.7 kΩ"), ("85m", "V", "85 mV"), ("0.7 h", "s", "2520 s"), ("-15.0", "V", "-15.0 V")],
)  # fmt: skip
def test_a_typed_value_is_read_back_with_every_figure(typed: str, unit: str, text: str) -> None:
    assert show_value(parse(typed, unit)) == text


SIZES = st.builds(
    lambda mantissa, power, sign: sign * mantissa * 10.0**power,
    st.floats(1.0, 9.9999999),
    st.integers(-9, 8),
    st.sampled_from([1.0, -1.0]),
)


@given(SIZES, st.sampled_from(UNITS), st.integers(1, 6), st.booleans())
def test_what_is_shown_is_read_back_to_the_digits_shown(
    value: float, unit: str, figures: int, with_uncertainty: bool
) -> None:
    # a unit without prefixes cannot show that 14 400 is rounded to hundreds
    rounds = with_uncertainty and (unit in {"V", "A", "Ω", "W"} or abs(value) < 1000)
    uncertainty = abs(value) * 10.0**-figures if rounds else None
    text = show(value, unit, uncertainty=uncertainty)
    again = parse(text, unit)
    assert "e" not in text.split(" ")[0].lower()
    assert again.number is not None
    assert again.resolution is not None
    # half a unit of the last digit: the most that rounding can do
    assert abs(again.number - Decimal(repr(value))) <= again.resolution / 2
    digits = text.split(" ")[0].lstrip("-")
    if unit in {"V", "A", "W"} and abs(value) < 9e8:
        assert Decimal(digits) < 1000


@given(SIZES, st.sampled_from(UNITS))
def test_exact_text_gives_the_same_float(value: float, unit: str) -> None:
    assert parse(show_exact(value, unit), unit).si == value


@given(st.sampled_from(["12.040 V", "85.0 mV", "1.00 kV", "-3.30 V", "0.0 V"]))
def test_reading_back_a_typed_value_keeps_its_resolution(text: str) -> None:
    value = parse(text, "V")
    again = parse(show_value(value), "V")
    assert (again.number, again.resolution) == (value.number, value.resolution)


@given(st.floats(allow_nan=True, allow_infinity=True), st.sampled_from([*UNITS, "N m"]))
def test_any_float_can_be_shown(value: float, unit: str) -> None:
    assert show(value, unit)
    assert show(value, unit, uncertainty=abs(value))
    assert show(value, unit, decimals=2)


@pytest.mark.parametrize(
    ("value", "low", "high", "unit", "text"),
    [
        (0.0043, 0.0025, 0.4412, "V", "4.3 mV (2.5 to 441.2 mV)"),
        (0.0025, 0.0025, 0.4412, "V", "2.5 mV (2.5 to 441.2 mV)"),
        (0.64, 0.5381, 0.7882, "V", "640 mV (538.1 to 788.2 mV)"),
        (-0.0043, -0.4412, -0.0025, "V", "-4.3 mV (-441.2 to -2.5 mV)"),
        (12.0, 11.54, 12.45, "V", "12.00 V (11.54 to 12.45 V)"),
        (88.0, 69.5, 115.4, "°C", "88 °C (69.5 to 115.4 °C)"),
        (5.0, 5.0, 5.0, "V", "5 V (5 to 5 V)"),
    ],
)
def test_the_middle_of_a_range_has_its_unit(
    value: float, low: float, high: float, unit: str, text: str
) -> None:
    assert f"{show_centre(value, low, high, unit)} ({show_band(low, high, unit)})" == text


@given(
    st.floats(-1e3, 1e3).filter(lambda value: abs(value) > 1e-4),
    st.floats(1e-3, 50.0),
    st.floats(0.0, 1.0),
    st.sampled_from(["V", "A", "W"]),
)
def test_the_middle_of_a_range_never_lies_outside_of_it(
    low: float, width: float, at: float, unit: str
) -> None:
    high = low + width * abs(low)
    text, band = show_centre(min(low + at * (high - low), high), low, high, unit), show_band(low, high, unit)
    first, last = band.split(" to ")
    if " " in first:  # the ends are too far apart for one unit
        return
    own = last.split(" ")[1]
    assert text.endswith(f" {own}")
    assert float(first) <= float(text.split(" ")[0]) <= float(last.split(" ")[0])
