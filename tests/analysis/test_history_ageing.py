"""Seven simulated years of CR-11: what was put in comes out, and a healthy supply is not called old.

The truth is what the simulation was given (capacitance, dates), not what the product prints.
"""

from __future__ import annotations

from datetime import date

import pytest

from ohmward.analysis.history import history
from ohmward.analysis.history_glance import glance
from ohmward.analysis.history_results import Forecast, Series
from support.aged import RAIL
from support.drying import World, years

SEEDS = 200
FIRST = date(2019, 3, 1)


def capacitance(world: World, seed: int) -> Series:
    found = history(years(world, seed)).one("capacitance", RAIL)
    assert found is not None
    return found


def covers(forecast: Forecast, truth_years: float) -> bool:
    def at(day: str, open_end: float) -> float:
        return (date.fromisoformat(day) - FIRST).days / 365.25 if day else open_end

    # a day is the smallest step that a forecast is told in
    return at(forecast.low, -1e9) - 0.01 <= truth_years <= at(forecast.high, 1e9) + 0.01


@pytest.mark.parametrize(("loss_per_year", "scopes"), [(0.02, 2), (0.025, 3), (0.03, 2)])
def test_the_date_of_the_end_is_covered_by_its_interval_as_often_as_it_says(
    loss_per_year: float, scopes: int
) -> None:
    world = World(loss_per_year=loss_per_year, scopes=scopes)
    truth = 0.20 / loss_per_year  # CECC 30301 1.8.1 by one maker's data sheet: 20 % of the capacitance
    inside = told = 0
    for seed in range(SEEDS):
        ends = [each for each in capacitance(world, seed).forecasts if "end" in each.what]
        told += bool(ends)
        inside += any(covers(each, truth) for each in ends)
    print(f"{loss_per_year:.1%} a year, {scopes} oscilloscopes: {inside} of {SEEDS} covered")  # noqa: T201
    assert told >= 0.98 * SEEDS
    assert 0.85 * SEEDS <= inside <= 0.95 * SEEDS


def test_the_loss_found_agrees_with_the_loss_put_in_as_often_as_k_2_says() -> None:
    world = World(loss_per_year=0.025)
    inside = 0
    for seed in range(SEEDS):
        change = capacitance(world, seed).change
        assert change is not None
        assert change.now is not None
        assert change.uncertainty is not None
        inside += abs(change.now - 100.0 * (1.0 - 7 * 0.025)) <= change.uncertainty
    assert inside >= 0.90 * SEEDS  # 95 % for k = 2, less four standard deviations of 200 trials


def test_a_supply_that_loses_3_percent_a_year_is_found_to_age() -> None:
    found = sum(bool(history(years(World(loss_per_year=0.03), seed)).ageing) for seed in range(SEEDS))
    assert found >= 0.95 * SEEDS


def test_a_healthy_supply_raises_few_false_alarms() -> None:
    world = World(loss_per_year=0.0, other=True)
    false = sum(bool(history(years(world, seed)).ageing) for seed in range(SEEDS))
    print(f"{false} false alarms of {SEEDS}")  # noqa: T201
    assert false <= 0.05 * SEEDS


def test_the_quick_look_finds_the_same_as_the_whole_one() -> None:
    for seed in range(40):
        for loss in (0.0, 0.02, 0.035):
            runs = years(World(loss_per_year=loss, other=True), seed)
            whole = {each.key for each in history(runs).ageing}
            quick = {each.key for each in history(runs, quick=True).ageing}
            assert quick == whole
            assert len(glance(runs).ageing) == len(whole)


def test_one_bad_reading_does_not_bend_the_line() -> None:
    import msgspec

    runs = years(World(loss_per_year=0.025), 7)
    bad = runs[4]
    spoiled = tuple(
        msgspec.structs.replace(each, net=2.0 * (each.net or 0.0)) if each.step == "ripple.output" else each
        for each in bad.readings
    )
    changed = [*runs[:4], msgspec.structs.replace(bad, readings=spoiled), *runs[5:]]
    slopes = []
    for each in (runs, changed):
        series = history(each).one("capacitance", RAIL)
        assert series is not None
        assert series.trend is not None
        slopes.append(series.trend.slope_per_year)
    assert slopes[1] == pytest.approx(slopes[0], rel=0.25)
