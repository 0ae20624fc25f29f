"""Limit sets of a user's own: what is taken, and every mistake at once."""

from __future__ import annotations

import pytest

from ohmward.errors import InputError
from ohmward.procedure import loads_limits, resolve, source_text_limits
from support.supplies import supply

OWN = """
format = 1
name = "own"
title = "Own bench"
edition = "house rules, 2026"
rules = "Local codes rule."

[insulation_test]
voltage = "250 V"
basis = "house rules"
obtained = "common practice, no source"

[limit.earth_continuity]
rule = "base plus cord"
base = "50 mΩ"
unit = "Ω"
basis = "house rules 3.1"
obtained = "common practice, no source"

[limit.insulation]
rule = "fixed"
low = "20 MΩ"
unit = "Ω"
basis = "house rules 3.2"
obtained = "common practice, no source"

[limit.residual_voltage]
rule = "fixed"
low = "-2 V"
high = "2 V"
unit = "V"
basis = "house rules 3.3"
obtained = "common practice, no source"
"""


def mistakes(text: str) -> dict[str, str]:
    with pytest.raises(InputError) as caught:
        loads_limits(text, "own.toml")
    assert all(mistake.where == "own.toml" for mistake in caught.value.mistakes)
    assert all(mistake.why and mistake.mend for mistake in caught.value.mistakes)
    return {mistake.field: str(mistake) for mistake in caught.value.mistakes}


def test_a_set_of_a_users_own_may_leave_out_what_no_gate_needs() -> None:
    own = loads_limits(OWN)
    earth = resolve("earth_continuity", own, supply())
    assert earth is not None
    assert earth.high == pytest.approx(0.05 + 0.052, abs=5e-5)  # 2 m of 0.75 mm² at 26.0 Ω/km, IEC 60228
    assert resolve("case_temperature", own, supply()) is None
    assert own.insulation_test_v == 250.0
    assert own.insulation_test.alternative_v is None


def test_all_mistakes_at_once_with_field_value_and_mend() -> None:
    text = (
        OWN.replace("format = 1", "format = 2")
        .replace('base = "50 mΩ"', 'base = "50 mV"')
        .replace('low = "20 MΩ"', 'low = "20,5 MΩ"')
        .replace('low = "-2 V"', 'low = "2 V"')
        .replace('unit = "V"', 'unit = "Ω"')
        .replace('voltage = "250 V"', "voltage = 250")
        .replace(
            'obtained = "common practice, no source"\n\n[limit.earth', 'obtained = "hearsay"\n\n[limit.earth'
        )
        + '[limit.case_temprature]\nrule = "fixed"\nhigh = "60 °C"\n'
        + '[limit.terminal_temperature]\nrule = "fixd"\nunit = "°C"\nbasis = "x"\nobtained = "found"\n'
    )
    found = mistakes(text)
    assert "reads format 1" in found["format"]
    assert "Ω" in found["limit.earth_continuity.base"]
    assert "comma" in found["limit.insulation.low"]
    assert "below the high side" in found["limit.residual_voltage.low"]
    assert "Write unit = 'V'" in found["limit.residual_voltage.unit"]
    assert "in quotes" in found["insulation_test.voltage"]
    assert "hearsay" in found["insulation_test.obtained"]
    assert "Did you mean 'case_temperature'?" in found["limit.case_temprature"]
    assert "Did you mean 'fixed'?" in found["limit.terminal_temperature.rule"]


@pytest.mark.parametrize("name", ["earth_continuity", "insulation", "residual_voltage"])
def test_a_set_without_a_limit_that_a_gate_needs_is_refused(name: str) -> None:
    head, _, tail = OWN.partition(f"[limit.{name}]")
    rest = tail[tail.index("[limit", 1) :] if "[limit" in tail else ""
    assert list(mistakes(head + rest)) == [f"limit.{name}"]


def test_a_limit_has_a_side_and_a_basis() -> None:
    found = mistakes(OWN.replace('low = "20 MΩ"\n', "").replace('basis = "house rules 3.3"\n', ""))
    assert "low side, a high side or both" in found["limit.insulation"]
    assert "missing" in found["limit.residual_voltage.basis"]


def test_a_zero_or_negative_earth_limit_is_refused() -> None:
    assert "above zero" in mistakes(OWN.replace("50 mΩ", "0 Ω"))["limit.earth_continuity.base"]


@pytest.mark.parametrize("text", ["", "[limit", "format = 1", "limit = 3", "[insulation_test]\n[limit]\n"])
def test_what_is_no_limit_set_is_refused_in_words(text: str) -> None:
    assert mistakes(text)


def test_unknown_keys_are_named_with_the_closest_known_one() -> None:
    found = mistakes(source_text_limits("iec").replace("fixed_cord_ceiling", "fixed_cord_cieling"))
    assert "Did you mean 'fixed_cord_ceiling'?" in found["limit.earth_continuity.fixed_cord_cieling"]


def test_a_class_that_does_not_exist_is_named() -> None:
    found = mistakes(source_text_limits("uk").replace('III = "0.25 MΩ"', 'IV = "0.25 MΩ"'))
    assert "limit.insulation.low.IV" in found
