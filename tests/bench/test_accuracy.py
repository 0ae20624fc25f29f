"""Accuracy notation against printed worked examples of meter makers and the GUM."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.bench.accuracy import parse_accuracy
from ohmward.errors import InputError

CHECKS: dict[str, dict[str, Any]] = {
    check["id"]: check
    for check in json.loads(
        (Path(__file__).parents[1] / "data" / "reference" / "checks_multimeter.json").read_text(
            encoding="utf-8"
        )
    )["checks"]
}


@pytest.mark.parametrize(
    "name", ["dmm_100v_2pct_2", "dmm_100v_1pct_2", "dmm_120v_1pct_3", "dmm_2v_05pct_3", "dmm_2v_008pct_2"]
)
@pytest.mark.parametrize(
    "notation",
    ["±({pct} % + {counts})", "{pct}% rdg + {counts} dgt", "+/-({pct} % of reading + {counts} counts)"],
)
def test_printed_examples(name: str, notation: str) -> None:
    # Each check carries its source; all were found on public pages.
    check = CHECKS[name]
    given_, printed = check["inputs"], check["printed"]
    text = notation.format(pct=given_["pct_reading"], counts=given_["counts"])
    half = parse_accuracy(text, "V", resolution=given_["resolution"]).half_width(given_["reading"])
    if isinstance(printed, dict):
        assert given_["reading"] - half == pytest.approx(printed["low"], abs=check["tolerance"])
        assert given_["reading"] + half == pytest.approx(printed["high"], abs=check["tolerance"])
        half_printed = printed.get("half", half)
    else:
        half_printed = printed
    assert half == pytest.approx(half_printed, abs=check["tolerance"])


def test_digital_voltmeter_of_the_gum() -> None:
    # GUM 4.3.7 example 2 (from memory): 14e-6 of reading + 2e-6 of the 1 V range at 0.928571 V -> 15 uV.
    found = parse_accuracy("14 ppm rdg + 2 ppm range", "V", range_value=1.0)
    assert found.half_width(0.928571) == pytest.approx(14.999994e-6, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "unit", "value", "half"),
    [
        ("0.05 % rdg + 0.01 % range", "V", 12.0, 0.006 + 0.006),
        ("0.02 Ω", "Ω", 0.1, 0.02),
        ("±2 % + 20 mΩ", "Ω", 0.1, 0.022),
        ("±(3 % + 0.1 MΩ)", "Ω", 10e6, 0.4e6),
        ("±2.2 °C or ±0.75 %, whichever is greater", "°C", 100.0, 2.2),
        ("±2.2 °C or ±0.75 %, whichever is greater", "°C", 400.0, 3.0),
        (
            "1.5 K",
            "°C",
            60.0,
            1.5,
        ),  # as makers write it: common practice, no source
        ("±(0.5 % + 0.5 K)", "°C", 60.0, 0.8),
        ("50 ppm", "V", -10.0, 0.0005),
        ("1 % fs", "V", 0.0, 0.6),
        ("+-(1 % + 5 digits)", "V", 0.0, 0.05),
    ],
)
def test_notations_of_the_trade(text: str, unit: str, value: float, half: float) -> None:
    found = parse_accuracy(text, unit, range_value=60.0, resolution=0.01)
    assert found.half_width(value) == pytest.approx(half, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "nothing is written"),
        ("about right", "not a part of an accuracy"),
        ("0,5 % + 2", "comma"),
        ("0.5 % + 0.2", "neither '%' nor unit"),
        ("0.5 % + 0.1 %", "second time"),
        ("0.5 % of full", "not known"),
        ("0.5 % + 2 A", "2 A"),
        ("0 %", "accuracy of nothing"),
        ("0.5 % - 2", "not known"),
    ],
)
def test_what_cannot_be_read_is_refused_with_a_mend(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        parse_accuracy(
            text, "V", range_value=60.0, resolution=0.01, where="meters.toml", field="meter[a].accuracy[1]"
        )
    for mistake in caught.value.mistakes:
        assert (mistake.where, mistake.field, mistake.value) == ("meters.toml", "meter[a].accuracy[1]", text)
        assert mistake.mend


def test_counts_need_a_resolution_and_range_a_range_both_said_at_once() -> None:
    with pytest.raises(InputError) as caught:
        parse_accuracy("0.1 % range + 2", "V")
    assert len(caught.value.mistakes) == 2


@given(st.floats(-1e3, 1e3), st.integers(0, 99), st.sampled_from([0.1, 0.25, 0.5, 1.0, 2.5]))
def test_half_width_is_even_in_sign_and_grows_with_size(value: float, counts: int, percent: float) -> None:
    found = parse_accuracy(f"±({percent} % + {counts})", "V", resolution=0.01)
    assert found.half_width(value) == found.half_width(-value)
    assert found.half_width(2 * value) >= found.half_width(value) >= counts * 0.01
