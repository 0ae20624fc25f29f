"""One reading over the years: its points, the line through them, and where that leads.

A supply is said to age (`Series.ageing`) only where all of these hold: readings in order of time rise or
fall by Mann-Kendall (two-sided p up to `SIGNIFICANT`) towards a limit; the latest differs from the baseline
by more than the meters allow; and the line reaches the limit within `HORIZON_YEARS`.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import msgspec

from ohmward.analysis.history_change import MODEL_SHARE
from ohmward.analysis.history_facts import YEAR_S, PastReading, PastRun, years_between
from ohmward.analysis.history_results import Forecast, Point, Series, Trend
from ohmward.analysis.history_scaling import Scaled

if TYPE_CHECKING:
    from ohmward.analysis.history_line import Line

SIGNIFICANT = 0.05
HORIZON_YEARS = 10.0
FURTHEST_YEARS = 100.0
"""A date further off is not told."""


def point_of(run: PastRun, reading: PastReading, made: Scaled, base: PastRun) -> Point:
    """Return a reading made comparable, as a point of its series."""
    return Point(
        run=run.run,
        at=run.at,
        years=years_between(base.at, run.at),
        read=reading.net,
        value=made.value,
        own=made.own,
        common=made.common,
        limit_low=made.limit_low,
        limit_high=made.limit_high,
        meter=reading.instrument,
        calibrated=reading.calibrated,
        mains_v=reading.mains_v,
        ambient_c=reading.ambient_c,
        how=made.how,
        doubt=made.doubt,
        transcribed=run.transcribed,
    )


def line_of(series: Series) -> Line | None:
    """Return the line through a series, years from the baseline run; None where it has too few readings."""
    import numpy as np

    from ohmward.analysis.history_line import line

    points = series.points
    return line(
        np.array([point.years for point in points]),
        np.array([point.value for point in points]),
        np.array([point.own for point in points]),
        np.array([point.common or 0.0 for point in points]),
        [point.meter for point in points],
    )


def with_trend(
    series: Series, shares: tuple[tuple[float, str], ...], *, forecast: bool, quick: bool
) -> Series:
    """Add the line and when it reaches a limit, and whether that counts as ageing."""
    from ohmward.analysis.history_line import FEWEST, LEVEL
    from ohmward.analysis.trend import mann_kendall

    points = series.points
    if len(points) < FEWEST:
        return series
    if quick and not (
        series.change is not None
        and series.change.worse
        and series.change.verdict == "changed"
        and mann_kendall([point.value for point in points]).p <= SIGNIFICANT
    ):
        return series
    drawn = line_of(series)
    if drawn is None:
        return series
    sen, kendall = drawn.sen, drawn.kendall
    trend = Trend(
        readings=len(points),
        slope_per_year=sen.slope,
        slope_low=sen.low,
        slope_high=sen.high,
        level=LEVEL,
        intercept=sen.intercept,
        s=kendall.s,
        tau=kendall.tau,
        p=kendall.p,
        significant=kendall.p <= SIGNIFICANT,
        scatter=drawn.dark,
    )
    made = msgspec.structs.replace(series, trend=trend)
    if not forecast:
        return made
    crossings = tuple(_forecasts(made, drawn, shares))
    changed = made.change is not None and made.change.verdict == "changed" and made.change.worse
    soon = any(each.in_years is not None and each.in_years <= HORIZON_YEARS for each in crossings)
    return msgspec.structs.replace(
        made, forecasts=crossings, ageing=bool(trend.significant and changed and soon)
    )


def _forecasts(series: Series, drawn: Line, shares: tuple[tuple[float, str], ...]) -> Iterator[Forecast]:
    from ohmward.analysis.history_line import crossing, widened

    last = series.points[-1]
    falling = drawn.sen.slope < 0.0
    goals: list[tuple[float, str, float | None]] = [(share, what, 0.0) for share, what in shares if falling]
    limit = last.limit_low if falling else last.limit_high
    if limit is not None:
        goals.append(
            (limit, "the limit on ripple" if series.quantity == "capacitance_left" else "its limit", None)
        )
    for goal, what, start in goals:
        found = crossing(drawn, goal, share_of=start)
        if found is None or found.at <= 0.0 < last.years:
            continue
        if series.quantity == "capacitance_left":
            found = widened(found, MODEL_SHARE)
        yield Forecast(
            what=what,
            limit=100.0 * goal if start is not None else goal,
            at=_date(series.points[0], found.at),
            low=_date(series.points[0], found.low),
            high=_date(series.points[0], found.high),
            in_years=found.at - last.years,
            supported=bool(series.trend and series.trend.significant),
        )


def _date(first: Point, years: float) -> str:
    """Return the day so many years after the baseline; empty where it is too far off to be told."""
    ahead = years - first.years
    if not -FURTHEST_YEARS < ahead < FURTHEST_YEARS:
        return ""
    return (datetime.fromisoformat(first.at) + timedelta(seconds=ahead * YEAR_S)).date().isoformat()
