"""Questions about a value: plausible, and within limits with three answers."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.quantity import Value, implausible, parse, within


def test_milliohms_of_insulation_are_asked_about() -> None:
    question = implausible(parse("200m", "Ω"), 1e4, 1e11, "insulation")
    assert question == "0.2 Ω of insulation? Did you mean 200 MΩ?"


@pytest.mark.parametrize(
    ("typed", "unit", "low", "high", "words"),
    [
        ("0.2", "Ω", 1e6, 1e11, "Did you mean 200 MΩ?"),
        ("200M", "Ω", 0.0, 5.0, "Did you mean 0.2 Ω?"),
        ("15.02", "V", -17.0, -13.0, "Did you mean -15.02 V?"),
        ("5", "V", 0.0, 0.02, "Did you mean 5 mV?"),
        ("77", "V", 0.0, 30.0, "Expected here: 0 to 30 V."),  # a real surprise: nothing is put in its mouth
        ("1 V", "V", 10.0, 20.0, "Expected here: 10 to 20 V."),
        (">0.2", "Ω", 1e6, None, "Did you mean more than 200 MΩ?"),
        ("0", "V", 10.0, 20.0, "Expected here"),
    ],
)
def test_what_may_have_been_meant(typed: str, unit: str, low: float, high: float | None, words: str) -> None:
    question = implausible(parse(typed, unit), low, high)
    assert question is not None
    assert words in question


def test_a_slip_that_would_be_outside_the_limit_too_is_not_guessed_at() -> None:
    typed = parse("0.4", "Ω")
    assert implausible(typed, 1e5, 1e11, allowed=(1e5, None)) == "0.4 Ω? Did you mean 400 kΩ?"
    question = implausible(typed, 1e5, 1e11, allowed=(2e7, None))
    assert question == "0.4 Ω? Expected here: 100 kΩ to 100 GΩ."
    assert implausible(typed, 1e5, 1e11, allowed=(2e7, None), usual="1 GΩ") == "0.4 Ω? Expected here: 1 GΩ."


def test_a_bound_is_asked_about_as_one() -> None:
    over = Value(raw="9.9E+37", kind="above", number=Decimal(20), unit="Ω")  # as of a meter over its range
    words = "more than 20 Ω of resistance, over the range of the meter? Expected here: 0 to 5 Ω."
    assert implausible(over, 0.0, 5.0, "resistance") == words
    assert implausible(parse("> 20", "Ω"), 0.0, 5.0, "resistance") == words
    far = implausible(parse("> 20 M", "Ω"), 0.0, 5.0)  # of 20 Ω nothing would have been over the range
    assert far == "more than 20 MΩ, over the range of the meter? Expected here: 0 to 5 Ω."
    slip = implausible(parse("> 200m", "Ω"), 1e4, None, "insulation")
    assert slip == "more than 0.2 Ω of insulation? Did you mean more than 200 MΩ?"
    assert implausible(parse("< 1", "V"), 10.0, 20.0) == "less than 1 V? Expected here: 10 to 20 V."


@pytest.mark.parametrize(
    ("typed", "low", "high"),
    [
        ("15", 10.0, 20.0),
        ("10", 10.0, 20.0),
        ("20", 10.0, 20.0),
        ("0.1", 0.1, None),
        ("5", None, None),
        ("OL", 0, 5),
    ],
)
def test_nothing_to_ask(typed: str, low: float | None, high: float | None) -> None:
    assert implausible(parse(typed, "V"), low, high) is None


@pytest.mark.parametrize(
    ("typed", "low", "high", "answer"),
    [
        ("0.1", None, 0.1, True),  # on the limit is inside, in decimal
        ("0.101", None, 0.1, False),
        (">200M", 1e6, None, True),
        (">0.5M", 1e6, None, None),
        (">200M", None, 0.1, False),
        (">0.05", None, 0.1, None),
        (">0.1", None, 0.1, False),
        (">5", 1.0, 10.0, None),
        (">10", 1.0, 10.0, False),
        ("<0.05", None, 0.1, True),
        ("<0.5", None, 0.1, None),
        ("<0.5", 1e6, None, False),
        ("<5", 1.0, 10.0, None),
        ("OL", 1e6, None, None),
        ("OL", None, 0.1, None),
        ("OL", None, None, True),
        ("5", None, None, True),
    ],
)
def test_three_answers(typed: str, low: float | None, high: float | None, answer: bool | None) -> None:
    assert within(parse(typed, "Ω"), low, high) is answer


NUMBERS = st.floats(-1e3, 1e3).map(lambda number: round(number, 3))


@given(NUMBERS, NUMBERS, NUMBERS, st.sampled_from([0.001, 1.0, 500.0]))
def test_a_bound_is_never_wrong(bound: float, one: float, other: float, beyond: float) -> None:
    low, high = sorted((one, other))
    true = parse(f"{round(bound + beyond, 3):.3f}", "V")
    for limits in ((low, high), (low, None), (None, high)):
        answer = within(parse(f">{bound:.3f}", "V"), *limits)
        assert answer is None or answer is within(true, *limits)
