"""A gross change is said even where no accuracy is stated, and silence is never called 'nothing differs'.

What any meter is allowed is common practice, no source (see `history_gross`).
"""

from __future__ import annotations

import msgspec
import pytest

from ohmward.analysis.history_baseline import comparison_words
from ohmward.analysis.history_change import Change, change, told, untold
from ohmward.analysis.history_facts import PastReading, PastRun, Taken
from ohmward.analysis.history_gross import any_meter
from ohmward.analysis.history_scaling import design_of
from ohmward.report.history_text import comparison_text
from support.aged import TAG, sheet_text
from support.drying import reading

Pair = tuple[PastReading, PastReading]
LATER = "2026-03-01T10:00:00+01:00"


def run_of(name: str, *readings: PastReading, at: str = "2020-03-01T10:00:00+01:00") -> PastRun:
    return PastRun(run=f"{TAG}/{name}", tag=TAG, at=at, sheet=sheet_text(), readings=readings, closed=True)


def unstated(quantity: str, value: float, unit: str, high: float | None = None) -> PastReading:
    plain = reading(quantity, "", quantity, value, 0.0, unit=unit, limits=(None, high), meter="")
    return msgspec.structs.replace(plain, own=0.0, common=None)


def compared(*pairs: Pair) -> tuple[PastRun, PastRun, tuple[Change, ...]]:
    then = run_of("then", *(old for old, _ in pairs))
    now = run_of("now", *(new for _, new in pairs), at=LATER)
    supply = design_of(sheet_text())
    found = tuple(change(Taken(new, now, supply), Taken(old, then, supply)) for old, new in pairs)
    return now, then, found


def pair(quantity: str, ends: tuple[float, float], unit: str, high: float | None = None) -> Pair:
    then, now = (unstated(quantity, end, unit, high) for end in ends)
    return then, now


@pytest.mark.parametrize(
    ("quantity", "unit", "values", "most"),
    [
        ("output_v", "V", (12.0, -12.0), 1.3),  # 5 % of 24 V and twice 50 mV
        ("resistance", "Ω", (0.05, 0.2), 1.0125),  # 5 % of 0.25 Ω and twice 0.5 Ω
        ("temperature_c", "°C", (47.2, 94.8), 20.0),
        ("mains_v", "V", (207.0, 253.0), None),  # the day's, not the supply's
    ],
)
def test_what_any_meter_is_allowed_by_hand(
    quantity: str, unit: str, values: tuple[float, float], most: float | None
) -> None:
    assert any_meter(quantity, unit, values) == (None if most is None else pytest.approx(most))


def test_a_gross_change_is_one_whatever_the_meter() -> None:
    _, _, found = compared(
        pair("output_ripple_pp_v", (0.2, 1.9), "V", 0.5),
        pair("temperature_c", (47.2, 94.8), "°C", 90.0),
    )
    assert [each.verdict for each in found] == ["changed", "changed"]
    assert all(each.worse and each.uncertainty is None for each in found)
    lines = list(told(found))
    assert len(lines) == 2
    assert all("changed for the worse, whatever the meter" in line for line in lines)
    assert untold(found) == ""


def test_what_cannot_be_told_is_the_headline_and_the_largest_changes_are_named_first() -> None:
    now, then, found = compared(
        pair("resistance", (0.05, 0.2), "Ω", 0.2),
        pair("output_v", (12.0, 12.1), "V"),
        pair("reservoir_v", (22.0, 23.5), "V"),
    )
    assert [each.verdict for each in found] == ["not told"] * 3
    text = comparison_text(now, then, found, ())
    assert "Nothing differs" not in text
    line = next(line for line in text.splitlines() if line.startswith("NOT TOLD"))
    assert line.startswith("NOT TOLD: 3 readings have no stated accuracy; the largest changes are: ")
    assert line.index("22 V → 23.5 V (+6.8 %)") < line.index("50 mΩ → 0.2 Ω") < line.index("12 V → 12.1 V")
    first, *rest = comparison_words(then, found)
    assert "3 of 3 readings cannot be told" in first
    assert any(line.startswith("NOT TOLD") for line in rest)


def test_readings_that_stand_where_they_stood_are_said_to() -> None:
    now, then, found = compared(pair("output_v", (12.0, 12.0), "V"))
    assert "NOT TOLD: 1 reading has no stated accuracy; none of them has moved." in comparison_text(
        now, then, found, ()
    )
