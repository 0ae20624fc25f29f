"""Reading values. What is accepted and refused is the list of the project's own requirement; prefixes are
those of the SI Brochure (9th ed., table 7), the letters in place of a point those of IEC 60062 (its examples
R47, 4R7, 47R, 4K7, 47K, 1M0 and p33, 3p3, 33p, 3n3, 3µ3 from memory)."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.errors import InputError
from ohmward.quantity import UNITS, QuantityError, Value, parse, states_unit

ACCEPTED = [
    ("12.04", "V", "12.04", "0.01"),
    ("12.04 V", "V", "12.04", "0.01"),
    ("12.040", "V", "12.04", "0.001"),
    ("85m", "V", "0.085", "0.001"),
    ("85 mV", "V", "0.085", "0.001"),
    ("120mV", "V", "0.12", "0.001"),
    ("-15.02", "V", "-15.02", "0.01"),
    ("+15.02 V", "V", "15.02", "0.01"),
    ("\u221215.02 V", "V", "-15.02", "0.01"),  # Unicode minus
    ("12.04\u00a0V", "V", "12.04", "0.01"),  # no-break space
    ("12.04\u202fV", "V", "12.04", "0.01"),  # narrow no-break space
    ("  12.04  V ", "V", "12.04", "0.01"),
    (".5", "V", "0.5", "0.1"),
    ("0", "V", "0", "1"),
    ("1e-3", "V", "0.001", "0.001"),
    ("1.5E3 V", "V", "1500", "100"),
    ("4k7", "Ω", "4700", "100"),
    ("4K7", "Ω", "4700", "100"),
    ("0R12", "Ω", "0.12", "0.01"),
    ("R47", "Ω", "0.47", "0.01"),
    ("4R7", "Ω", "4.7", "0.1"),
    ("47R", "Ω", "47", "1"),
    ("47K", "Ω", "47000", "1000"),
    ("1M0", "Ω", "1000000", "100000"),
    ("2.2M", "Ω", "2200000", "100000"),
    ("2.2m", "Ω", "0.0022", "0.0001"),
    ("2.2 Meg", "Ω", "2200000", "100000"),
    ("2.2 MegΩ", "Ω", "2200000", "100000"),
    ("1 mOhm", "Ω", "0.001", "0.001"),
    ("1 MOhm", "Ω", "1000000", "1000000"),
    ("33 \u03a9", "Ω", "33", "1"),  # Greek capital omega
    ("33 \u2126", "Ω", "33", "1"),  # ohm sign
    ("33 ohm", "Ω", "33", "1"),
    ("33 R", "Ω", "33", "1"),
    ("6800 \u00b5F", "F", "0.0068", "0.000001"),  # micro sign
    ("6800 \u03bcF", "F", "0.0068", "0.000001"),  # Greek mu
    ("6800uF", "F", "0.0068", "0.000001"),
    ("6800u", "F", "0.0068", "0.000001"),
    ("p33", "F", "0.00000000000033", "0.00000000000001"),
    ("3n3", "F", "0.0000000033", "0.0000000001"),
    ("3\u00b53", "F", "0.0000033", "0.0000001"),
    ("12 min", "s", "720", "60"),
    ("1.5 h", "s", "5400", "360"),
    ("20 ms", "s", "0.02", "0.001"),
    ("0.75 mm²", "mm²", "0.75", "0.01"),
    ("0.75 mm2", "mm²", "0.75", "0.01"),
    ("2 m", "m", "2", "1"),
    ("2m", "m", "2", "1"),  # two metres, never two thousandths
    ("6 mm", "m", "0.006", "0.001"),
    ("1.5 cm", "m", "0.015", "0.001"),
    ("2.5 K/W", "K/W", "2.5", "0.1"),
    ("2.5 °C/W", "K/W", "2.5", "0.1"),
    ("11 %", "%", "11", "1"),
    ("11 per cent", "%", "11", "1"),
    ("60 dB", "dB", "60", "1"),
    ("80 VA", "VA", "80", "1"),
    ("1.5 kVA", "VA", "1500", "100"),
    ("20 MHz", "Hz", "20000000", "1000000"),
    ("23.5 °C", "°C", "23.5", "0.1"),
    ("23.5", "°C", "23.5", "0.1"),
    ("-5 °C", "°C", "-5", "1"),
    ("45 K", "K", "45", "1"),
    ("12", "", "12", "1"),
]


@pytest.mark.parametrize(("text", "unit", "number", "resolution"), ACCEPTED)
def test_accepted_with_number_and_weight_of_the_last_digit(
    text: str, unit: str, number: str, resolution: str
) -> None:
    value = parse(text, unit)
    assert value.kind == "exact"
    assert value.number == Decimal(number)
    assert value.resolution == Decimal(resolution)
    assert value.raw == text
    assert value.unit == unit


@pytest.mark.parametrize(
    ("text", "kind", "number"),
    [
        (">200M", "above", "200e6"),
        ("> 200 MΩ", "above", "200e6"),
        (">0R5", "above", "0.5"),
        ("<0.5", "below", "0.5"),
        ("< 0.5 Ω", "below", "0.5"),
    ],
)
def test_a_bound_is_a_kind_of_its_own(text: str, kind: str, number: str) -> None:
    value = parse(text, "Ω")
    assert (value.kind, value.number) == (kind, Decimal(number))
    assert value.si == float(number)


@pytest.mark.parametrize("text", ["OL", "ol", "O.L", "0.L", "0L", ".OL", "---", "----", "OVLD", "OL MΩ"])
def test_an_overload_is_a_kind_of_its_own(text: str) -> None:
    value = parse(text, "Ω")
    assert (value.kind, value.number, value.resolution) == ("overload", None, None)
    assert value.si == float("inf")


REFUSED = [
    # wrong unit
    ("120 mA", "V", "unit is mA"),
    ("5 ohm", "V", "unit is ohm"),
    ("5 A", "Ω", "unit is A"),
    ("5 K", "°C", "unit is K"),
    ("30 °C", "K", "unit is °C"),
    ("5 V", "", "unit is V"),
    ("1 min", "V", "unit is min"),
    # comma
    ("1,2", "V", "comma"),
    ("1,200", "V", "comma"),
    ("12,04 V", "V", "comma"),
    ("1.2,3", "V", "comma"),
    # prefix
    ("5 qV", "V", "prefix in 'qV' is not known"),
    ("25 m°C", "°C", "not used with °C"),
    ("25 k", "%", "not used with %"),
    ("3 kF", "F", "not used with F"),
    ("1 ppm", "V", "not known"),
    ("1 a", "A", "capitals count"),
    ("1 E", "V", "not known"),
    ("12 mv", "V", "capitals count"),
    ("5 m", "s", "milliseconds or minutes"),
    # no numbers
    ("nan", "V", "no number"),
    ("NaN V", "V", "no number"),
    ("inf", "V", "no number"),
    ("-Infinity", "V", "no number"),
    ("∞", "Ω", "no number"),
    ("1e400", "V", "beyond"),
    ("1e-400", "V", "beyond"),
    ("0e-999999999999", "V", "beyond"),
    ("1" * 30, "V", "beyond"),
    ("abc", "V", "no number"),
    ("e5", "V", "no number"),
    ("+", "V", "no number"),
    ("½", "V", "no number"),
    # letters among digits
    ("12.O4", "V", "letter O"),
    ("1O0 Ω", "Ω", "letter O"),
    ("l2.04", "V", "letter l"),
    # grouping
    ("1_000", "V", "underscore"),
    ("1 000", "V", "space inside"),
    ("12 04", "V", "space inside"),
    ("1\u202f000", "V", "space inside"),
    # other digits, other bases
    ("\uff11\uff12", "V", "plain 0 to 9"),  # full width
    ("\u0661\u0662", "V", "plain 0 to 9"),  # Arabic-Indic
    ("0x10", "V", "decimal"),
    ("0b1", "V", "decimal"),
    # letter in place of the point
    ("4k7", "V", "resistance and capacitance only"),
    ("3m3", "Ω", "milli or mega"),
    ("4k7 Ω", "Ω", "in place of the point"),
    ("4k7e3", "Ω", "in place of the point"),
    ("4R7", "F", "does not stand for a point"),
    # form
    ("", "V", "nothing was typed"),
    ("   ", "V", "nothing was typed"),
    ("5.", "V", "one point"),
    ("1.2.3", "V", "one point"),
    ("5 V 3", "V", "not known"),
    ("12.04 Vpp", "V", "not known"),
    (">", "Ω", "no number"),
    (">>5", "Ω", "one > or <"),
    (">=5", "Ω", "one > or <"),
    ("≥5", "Ω", "one > or <"),
    (">OL", "Ω", "no number"),
    ("-OL", "V", "no sign"),
    ("OL A", "V", ""),
    ("12\x1b[31m", "V", "control character"),
    ("12\n", "V", "control character"),
    ("12\u202e", "V", "control character"),
    ("1" * 200, "V", "too long"),
]


@pytest.mark.parametrize(("text", "unit", "reason"), REFUSED)
def test_refused_with_reason_and_example(text: str, unit: str, reason: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse(text, unit)
    (mistake,) = caught.value.mistakes
    assert reason in mistake.why
    assert mistake.mend
    assert "\x1b" not in str(caught.value)
    assert isinstance(caught.value, InputError)


def test_the_refusal_proposes_both_readings_of_a_comma() -> None:
    with pytest.raises(QuantityError) as caught:
        parse("1,200 V", "V")
    assert "1.200" in caught.value.mistakes[0].mend
    assert "1200" in caught.value.mistakes[0].mend


def test_milli_and_mega_are_never_folded() -> None:
    assert parse("2 MΩ", "Ω").si / parse("2 mΩ", "Ω").si == 1e9
    assert parse("2M", "V").si / parse("2m", "V").si == 1e9


def test_an_unknown_unit_is_a_defect_of_the_caller() -> None:
    with pytest.raises(ValueError, match="furlong"):
        parse("5", "furlong")


@pytest.mark.parametrize(
    ("text", "unit", "states"),
    [("18 V", "V", True), ("18", "V", False), ("85m", "V", False), ("85 mV", "V", True), ("4k7", "Ω", True),
     ("10M", "Ω", True), ("10", "Ω", False), ("10", "", True), ("2m", "m", True), ("12 min", "s", True)],
)  # fmt: skip
def test_whether_the_unit_was_said(text: str, unit: str, states: bool) -> None:
    assert states_unit(text, unit) is states


@given(st.text(max_size=80), st.sampled_from(UNITS))
def test_any_text_is_a_value_or_a_refusal(text: str, unit: str) -> None:
    try:
        value = parse(text, unit)
    except QuantityError as error:
        (mistake,) = error.mistakes
        given_reason = mistake.why and mistake.mend
    else:
        given_reason = "none needed"
        assert isinstance(value, Value)
        assert value.number is None or value.number.is_finite()
    assert given_reason


@given(st.text(alphabet="0123456789.,eE+-<>OLRkKmMµupnGVAΩ ", max_size=12), st.sampled_from(["V", "Ω", "F"]))
def test_near_misses_are_values_or_refusals(text: str, unit: str) -> None:
    try:
        value = parse(text, unit)
    except QuantityError:
        return
    assert value.kind == "overload" or value.resolution is not None


@given(st.decimals(min_value=-9999, max_value=9999, places=3), st.sampled_from(["", "m", "k", "M"]))
def test_typed_decimals_are_kept(number: Decimal, prefix: str) -> None:
    factor = {"": Decimal(1), "m": Decimal("1e-3"), "k": Decimal("1e3"), "M": Decimal("1e6")}[prefix]
    value = parse(f"{number:f} {prefix}V", "V")
    assert value.number == number * factor
    assert value.resolution == Decimal("0.001") * factor


def test_a_mend_never_turns_mega_into_milli() -> None:
    with pytest.raises(QuantityError) as caught:
        parse("6800 MF", "F")
    assert "mF" not in caught.value.mistakes[0].mend
