"""Dense samples made few: means of stretches of a record, and what comes after an interruption.

Neighbouring samples of a thermometer are not independent: its own lag, its last digit and the draught in
the room hold over many of them. Taken as so many readings they would give intervals that are far too
narrow. The means of stretches are taken as the readings instead, so that what wanders from stretch to
stretch is in the scatter; what still hangs together then widens the interval (`Rise.widening`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ohmward.analysis.soak import Interval, Rise, fit_rise
from ohmward.analysis.stability import RULES, Stability, stabilised

Array = NDArray[np.float64]

LEAST_SHARE = 0.25
"""A stretch with less than this share of the usual count of samples, beside a gap, is left out."""

PER_WINDOW = 30
"""Means within the window of a rule."""
FEWEST = 8
"""Points below which nothing is forecast."""
LEAST_RISE_K = 1.0
"""A rise over the room of less is not worth a forecast."""
GOOD_K, GOOD_SHARE = 3.0, 0.1
"""A forecast counts as supported by data when it is good to 3 K or to a tenth of the rise."""
LEAST_SEEN = 0.4
"""Share of the rise that a record has to have seen before a forecast is said: half a time constant."""
LATER_HALF = "the whole record is not one exponential: its later half alone was fitted"


@dataclass(frozen=True, slots=True, kw_only=True)
class Thinned:
    """A record in few points; `time_s` counts from `offset_s` of the record it was made from."""

    time_s: Array
    temperature_c: Array
    ambient_c: Array | None
    offset_s: float = 0.0
    span_s: float = 0.0
    """From the offset to the last sample; the last point, a mean, lies before it."""


def thinned(
    time_s: ArrayLike,
    temperature_c: ArrayLike,
    ambient_c: ArrayLike | None = None,
    *,
    resumed_s: Sequence[float] = (),
    most: int,
) -> Thinned:
    """Return at most `most` points of a record, from its last interruption on.

    Parameters
    ----------
    time_s, temperature_c : array_like, shape (n,)
        Times [s], ascending from 0 on, and temperatures [degC]; NaN where there is none.
    ambient_c : array_like, shape (n,), optional
        Room temperature [degC] at the same times; where it is NaN it is taken straight between the
        samples beside it. All NaN: as if it were not given.
    resumed_s : sequence of float
        Where the record went on after an interruption [s].
    most : int
        Most points wanted.

    Raises
    ------
    ValueError
        When shapes differ or times do not ascend from 0 on.
    """
    t, y = np.asarray(time_s, dtype=float), np.asarray(temperature_c, dtype=float)
    if t.ndim != 1 or t.shape != y.shape:
        raise ValueError(f"one temperature a time: {y.shape} for {t.shape}")
    if len(t) and not (np.isfinite(t).all() and t[0] >= 0.0 and (np.diff(t) >= 0.0).all()):
        raise ValueError("times have to ascend, from 0 on")
    room = _whole(t, ambient_c)
    start = max((each for each in resumed_s if len(t) and each <= t[-1]), default=0.0)
    kept = np.isfinite(y) & (t >= start - 1e-9)
    t, y = np.maximum(t[kept] - start, 0.0), y[kept]
    room = None if room is None else room[kept]
    span = float(t[-1]) if len(t) else 0.0
    if len(t) > most:
        t, y, room = _means(t, y, room, most)
    return Thinned(time_s=t, temperature_c=y, ambient_c=room, offset_s=start, span_s=span)


def judged(record: Thinned, rule: str) -> Stability:
    """Say whether a record has stabilised by a named rule, by the means of a thirtieth of its window.

    One stray sample then does not unsettle a settled body. The ends of the record are kept: the rule
    looks at a stretch of time up to its last moment.

    Raises
    ------
    ValueError
        For an unknown rule or an empty record.
    """
    if rule not in RULES:
        raise ValueError(f"there is no rule {rule!r}: use one of {', '.join(RULES)}")
    t, y, room = record.time_s, record.temperature_c, record.ambient_c
    rise = y if room is None else y - room
    most = max(8, round(PER_WINDOW * record.span_s / RULES[rule].window_s))
    if len(t) > most:
        ends = t[[0, -1]]
        t, rise, _ = _means(t, rise, None, most)
        if len(t) > 1:
            slope = np.diff(rise)[[0, -1]] / np.diff(t)[[0, -1]]
            outer = rise[[0, -1]] + slope * (ends - t[[0, -1]])
            t, rise = np.concatenate([ends[:1], t, ends[1:]]), np.concatenate([outer[:1], rise, outer[1:]])
    return stabilised(t, rise, rule=rule)


def fit_thinned(record: Thinned) -> tuple[Rise | None, str]:
    """Return the curve of a record and what must be said of it; None where there is nothing to fit.

    Where the whole of it is not one exponential (a heat sink on a case that warms more slowly), its later
    half is fitted alone: by then the faster body has settled.
    """
    t, y, room = record.time_s, record.temperature_c, record.ambient_c
    if len(t) < FEWEST:
        return None, "too early for a forecast"
    if float(np.ptp(y if room is None else y - room)) < LEAST_RISE_K:
        return None, "it hardly moved: there is no rise to fit"
    fit = fit_rise(t, y, ambient_c=room)
    later = t >= t[-1] / 2.0
    if not fit.weaves or later.sum() < 3 * FEWEST:
        return fit, ""
    half = fit_rise(t[later] - t[later][0], y[later], ambient_c=None if room is None else room[later])
    return half, LATER_HALF


def widened(value: float, interval: Interval, factor: float, thermometer_k: float) -> Interval:
    """Return an interval widened by a factor, and by the thermometer's own expanded uncertainty."""
    down, up = factor * (value - interval.low), factor * (interval.high - value)
    return Interval(value - math.hypot(down, thermometer_k), value + math.hypot(up, thermometer_k))


def good_enough(fit: Rise, interval: Interval, thermometer_k: float) -> bool:
    """Return whether a forecast of the final value is supported by data: to 3 K or a tenth of the rise."""
    half = max(interval.high - fit.final_c, fit.final_c - interval.low)
    return half <= max(GOOD_K, GOOD_SHARE * abs(fit.rise_k)) + thermometer_k


def can_forecast(fit: Rise, interval: Interval) -> bool:
    """Return whether a forecast of the final value is worth saying at all, be it rough.

    Not with an end that the record leaves open, an uncertainty beyond the rise itself, or a record of less
    than half a time constant: any number from those may come out absurd.
    """
    half = max(interval.high - fit.final_c, fit.final_c - interval.low)
    return half <= abs(fit.rise_k) and fit.reached_share >= LEAST_SEEN


def finite(value: float) -> float | None:
    """None for an end that the record leaves open: JSON has no infinity, and a person no use for one."""
    return value if math.isfinite(value) else None


def _whole(t: Array, ambient_c: ArrayLike | None) -> Array | None:
    """Room temperature without holes; None where it is not known at all."""
    if ambient_c is None:
        return None
    room = np.asarray(ambient_c, dtype=float)
    if room.shape != t.shape:
        raise ValueError(f"one room temperature a time: {room.shape} for {t.shape}")
    known = np.isfinite(room)
    return np.interp(t, t[known], room[known]) if known.any() else None


def _means(t: Array, y: Array, room: Array | None, most: int) -> tuple[Array, Array, Array | None]:
    """Means over equal stretches of time."""
    span = float(t[-1] - t[0])
    place = (
        np.minimum(((t - t[0]) / span * most).astype(int), most - 1) if span > 0.0 else np.zeros(len(t), int)
    )
    count = np.bincount(place, minlength=most)
    full = count >= max(1.0, LEAST_SHARE * float(np.median(count[count > 0])))

    def mean(values: Array) -> Array:
        return np.asarray(np.bincount(place, values, minlength=most)[full] / count[full])

    return mean(t), mean(y), None if room is None else mean(room)
