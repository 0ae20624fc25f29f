"""Is it a change, or two meters? And the line through the years with the date of its crossing."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.analysis.history_change import (
    Change,
    _numbers,
    _words,
    change,
    changes,
    plus_minus,
    same_meter,
    told,
    uncertainty_of_difference,
)
from ohmward.analysis.history_facts import PastReading, PastRun, Taken
from ohmward.analysis.history_line import Line, covariance_of, crossing, line, widened
from ohmward.analysis.history_scaling import Scaled, design_of
from ohmward.analysis.trend import mann_kendall, theil_sen
from support.aged import TAG, sheet_text
from support.drying import reading

REFERENCE = Path(__file__).parents[1] / "data" / "reference"


def run_of(name: str, *readings: PastReading, at: str = "2020-03-01T10:00:00+01:00") -> PastRun:
    return PastRun(run=f"{TAG}/{name}", tag=TAG, at=at, sheet=sheet_text(), readings=readings, closed=True)


def earth(value: float, **fields: object) -> PastReading:
    plain = reading("earth", "case", "resistance", value, 0.0, unit="Ω", limits=(None, 0.2), meter="low-ohm")
    return msgspec.structs.replace(plain, **{"own": 0.001, "common": 0.004, "serial": "L-1", **fields})


def compare(now: PastReading, then: PastReading) -> object:
    later = run_of("later", now, at="2026-03-01T10:00:00+01:00")
    earlier = run_of("earlier", then)
    supply = design_of(sheet_text())
    return change(Taken(now, later, supply), Taken(then, earlier, supply))


def test_the_uncertainty_of_a_difference_by_hand() -> None:
    one = Scaled(value=1.0, own=3.0, common=4.0)
    # two meters: 2 sqrt(9 + 9 + 16 + 16) = 14.14; one meter with half shared: less 2 * 0.5 * 16 -> 2 sqrt(34)
    assert uncertainty_of_difference(one, one, shared=False) == pytest.approx(2 * math.sqrt(50.0))
    assert uncertainty_of_difference(one, one, shared=True) == pytest.approx(2 * math.sqrt(34.0))
    assert uncertainty_of_difference(one, Scaled(value=1.0, own=3.0, common=None), shared=True) is None


def test_the_same_difference_may_be_a_change_for_one_meter_and_two_meters_for_two() -> None:
    # U two meters 2 sqrt(2 + 32) = 11.7 mΩ, one meter 2 sqrt(2 + 16) = 8.5 mΩ
    one = compare(earth(0.080), earth(0.070))
    two = compare(earth(0.080), earth(0.070, serial="L-2"))
    assert (one.verdict, one.same_meter) == ("changed", True)  # type: ignore[attr-defined]
    assert (two.verdict, two.same_meter) == ("within the meters", False)  # type: ignore[attr-defined]
    assert "two meters" in two.words  # type: ignore[attr-defined]
    assert one.worse  # type: ignore[attr-defined]


def test_a_meter_calibrated_in_between_counts_as_two() -> None:
    assert same_meter(earth(0.07, calibrated="2020-01-01"), earth(0.07, calibrated="2020-01-01"))
    assert not same_meter(earth(0.07, calibrated="2020-01-01"), earth(0.07, calibrated="2021-01-01"))
    assert not same_meter(earth(0.07, meter=""), earth(0.07, meter=""))


def test_nothing_is_claimed_where_an_accuracy_is_not_stated() -> None:
    found = compare(earth(0.2), earth(0.05, common=None))
    assert found.verdict == "not told"  # type: ignore[attr-defined]
    assert found.difference == pytest.approx(0.15)  # type: ignore[attr-defined]


def test_another_load_or_quantity_is_not_compared() -> None:
    loaded = earth(24.0, quantity="output_v", unit="V", load_a=6.0, rail="24")
    assert compare(loaded, msgspec.structs.replace(loaded, load_a=3.0)).verdict == "not comparable"  # type: ignore[attr-defined]
    assert compare(earth(0.07), earth(0.07, unit="V")).verdict == "not comparable"  # type: ignore[attr-defined]


def test_a_bound_shows_a_change_only_where_it_excludes_the_other() -> None:
    bound = earth(200e6, kind="above", quantity="insulation", limit_low=1e6, limit_high=None, common=3e6)
    value = msgspec.structs.replace(bound, kind="exact", net=120e6)
    fell = compare(value, bound)
    assert (fell.verdict, fell.worse) == ("changed", True)  # type: ignore[attr-defined]
    assert compare(bound, bound).verdict == "not told"  # type: ignore[attr-defined]
    assert compare(msgspec.structs.replace(value, net=250e6), bound).verdict == "not told"  # type: ignore[attr-defined]
    # 90 MΩ at 30 °C is 180 MΩ at 20 °C, and more than 200 MΩ at 10 °C is only more than 100 MΩ there
    warm, cold = (
        msgspec.structs.replace(value, net=90e6, ambient_c=30.0),
        msgspec.structs.replace(bound, ambient_c=10.0),
    )
    assert compare(warm, cold).verdict == "not told"  # type: ignore[attr-defined]


def test_changes_are_told_worst_first_and_in_kelvin_for_temperatures() -> None:
    warm = reading(
        "soak", "case @ 30 min", "temperature_c", 60.0, 0.005, unit="°C", limits=(None, 70.0), room_c=20.0
    )
    cool = msgspec.structs.replace(warm, net=45.0)
    supply = design_of(sheet_text())
    found = changes(run_of("b", warm, earth(0.15)), run_of("a", cool, earth(0.05)), supply, supply)
    lines = list(told(found))
    assert len(lines) == 2
    assert lines[0].startswith("soak")  # 43 times its uncertainty, the earth 8 times
    assert " K)" in lines[0]
    assert "%" not in lines[0].replace("100 %", "")
    assert plus_minus(1.234, "°C") == "±1.2 K"


def test_prediction_of_a_line_agrees_with_the_thermometer_of_the_gum() -> None:
    # GUM H.3: correction at 30 °C -0.1494 °C with u = 0.0041 °C, s = 0.0035 °C (printed)
    with (REFERENCE / "gum_h3_thermometer.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    names = list(rows[0])
    x, y = (np.array([float(row[name]) for row in rows]) for name in names[:2])
    answers = json.loads((REFERENCE / "gum_h3_thermometer.json").read_text(encoding="utf-8"))
    assert "0.0041" in json.dumps(answers)
    drawn = Line(
        sen=theil_sen(x, y), kendall=mann_kendall(y), x=x, covariance=0.0035**2 * np.eye(len(x)), dark=0.0
    )
    assert drawn.uncertainty(30.0) == pytest.approx(0.0041, abs=5e-5)


@settings(deadline=None)
@given(
    slope=st.floats(0.5, 3.0),
    noise=st.integers(0, 10_000),
    limit=st.floats(12.0, 40.0),
    common=st.floats(0.0, 0.3),
)
def test_a_crossing_interval_is_where_line_and_limit_are_compatible(
    slope: float, noise: int, limit: float, common: float
) -> None:
    rng = np.random.default_rng(noise)
    x = np.arange(8.0)
    y = slope * x + rng.normal(0.0, 0.2, 8)
    drawn = line(x, y, np.full(8, 0.1), np.full(8, common), ["a"] * 4 + ["b"] * 4)
    assert drawn is not None
    found = crossing(drawn, limit)
    assert found is not None
    assert found.low <= found.at <= found.high
    # the other way: the ends are where the line's own interval touches the limit
    for end in (found.low, found.high):
        if math.isfinite(end):
            constant, along = drawn.contrast(0.0, 0.0)
            factor = drawn.factor(constant + along * max(found.at, 7.0))
            assert abs(drawn.sen.predict(end) - limit) == pytest.approx(
                factor * drawn.uncertainty(end), rel=1e-6
            )


def test_a_crossing_of_a_share_does_not_depend_on_a_common_scale() -> None:
    x = np.arange(8.0)
    y = 100.0 - 3.0 * x
    plain = line(x, y, np.full(8, 0.2), np.full(8, 0.0), [""] * 8)
    scaled = line(x, 1.3 * y, np.full(8, 0.26), np.full(8, 0.0), [""] * 8)
    assert plain is not None
    assert scaled is not None
    one, other = (crossing(each, 0.8, share_of=0.0) for each in (plain, scaled))
    assert one is not None
    assert other is not None
    assert one.at == pytest.approx(20.0 / 3.0)
    assert (other.at, other.low, other.high) == pytest.approx((one.at, one.low, one.high))


def test_a_line_that_may_be_level_has_an_open_end_and_a_level_one_no_crossing() -> None:
    x = np.arange(6.0)
    noisy = line(x, np.array([1.0, 3.0, 0.5, 2.5, 1.2, 3.1]), np.full(6, 0.1), np.zeros(6), [""] * 6)
    assert noisy is not None
    found = crossing(noisy, 50.0)
    assert found is not None
    assert math.isinf(found.high)
    level = line(x, np.full(6, 5.0), np.full(6, 0.1), np.zeros(6), [""] * 6)
    assert level is not None
    assert crossing(level, 6.0) is None


def test_too_few_readings_make_no_line() -> None:
    assert line(np.arange(3.0), np.arange(3.0), np.ones(3), np.zeros(3), [""] * 3) is None
    assert line(np.zeros(5), np.arange(5.0), np.ones(5), np.zeros(5), [""] * 5) is None


def test_readings_of_one_meter_err_together() -> None:
    matrix = covariance_of(np.full(3, 1.0), np.full(3, 2.0), ["a", "a", ""])
    # diagonal 1 + 4; off it half of 2 * 2 for the one meter, none for a meter not named
    assert matrix.tolist() == [[5.0, 2.0, 0.0], [2.0, 5.0, 0.0], [0.0, 0.0, 5.0]]


def test_a_doubtful_scale_widens_a_crossing_and_leaves_open_ends_open() -> None:
    from ohmward.analysis.history_line import Crossing

    found = widened(Crossing(at=10.0, low=9.0, high=math.inf), 0.1)
    assert found.low == pytest.approx(10.0 - math.hypot(1.0, 1.6449 * 1.0 / math.sqrt(3.0)), rel=1e-3)
    assert math.isinf(found.high)


@pytest.mark.parametrize(
    ("then", "now", "low", "high", "way"),
    [
        (11.55, 11.94, 11.52, 12.48, "better"),  # a sag that was cured, of a rail set to 12 V
        (11.94, 11.55, 11.52, 12.48, "worse"),
        (12.40, 12.06, 11.52, 12.48, "better"),  # it fell, and to the set point
        (11.40, 11.94, 11.52, 12.48, "better"),  # it was beyond a limit
        (0.45, 0.02, None, 0.5, "better"),
        (0.02, 0.45, None, 0.5, "worse"),
        (200e6, 2e6, 1e6, None, "worse"),
        (2.0, 3.0, None, None, ""),
    ],
)
def test_better_is_further_inside_the_limits_whichever_way_it_moved(
    then: float, now: float, low: float | None, high: float | None, way: str
) -> None:
    now_, then_ = (
        Scaled(value=value, own=0.001, common=0.001, limit_low=low, limit_high=high) for value in (now, then)
    )
    blank = Change(
        step="s", subject="", title="", quantity="output_v", unit="V", then=None, now=None,
        then_run="", now_run="",
    )  # fmt: skip
    found = _numbers(blank, now_, then_)
    assert (found.worse, found.better) == (way == "worse", way == "better")
    assert (f"for the {way}" in _words(found)) == bool(way)
