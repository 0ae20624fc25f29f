"""Tolerances, and arrays drawn from them: row 0 is the nominal design, the rest are possible units."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import msgspec
import numpy as np
import numpy.typing as npt

from ohmward.physics.expectation import Band

Array = npt.NDArray[np.float64]

COVERAGE = (0.025, 0.975)
"""Quantiles of the 95 % band."""
MOST = 0.95
"""Share of the draws that must be finite for a band to be made of them."""


class Spread(msgspec.Struct, frozen=True, kw_only=True):
    """A quantity known within limits; nothing is known of where inside them it lies.

    ``flat`` is the rectangular distribution of JCGM 100:2008 (GUM) 4.3.7; ``log`` the same on a
    logarithmic scale, for what is known only as an order of magnitude. Each side of `value` is
    drawn with the same probability, so that the value stays the median of unequal limits.
    """

    value: float
    low: float
    high: float
    shape: Literal["flat", "log"] = "flat"


def exactly(value: float) -> Spread:
    """Return a quantity without spread."""
    return Spread(value=value, low=value, high=value)


def within(value: float, percent: float) -> Spread:
    """Return a quantity known to plus or minus `percent` of its value."""
    half = abs(value) * percent / 100
    return Spread(value=value, low=value - half, high=value + half)


def between(low: float, high: float, value: float | None = None, *, log: bool = False) -> Spread:
    """Return a quantity known to lie between limits; the middle (geometric when `log`) is its value."""
    middle = float(np.sqrt(low * high)) if log else (low + high) / 2
    return Spread(
        value=middle if value is None else value, low=low, high=high, shape="log" if log else "flat"
    )


class Draw:
    """Draws quantities one after the other; the same seed and order give the same units.

    Every quantity consumes its random numbers whether or not it has a spread, so that two sheets
    of the same shape (a unit and the same unit with a fault) share their draws.
    """

    def __init__(self, rng: np.random.Generator, draws: int) -> None:
        self._rng = rng
        self._draws = draws

    @property
    def rows(self) -> int:
        """Nominal design and draws."""
        return self._draws + 1

    def __call__(self, spread: Spread | float) -> Array:
        """Return an array of shape (1 + draws,): the value, then the draws."""
        known = exactly(spread) if isinstance(spread, int | float) else spread
        side = np.concatenate(([0.0], self._rng.uniform(-1.0, 1.0, self._draws)))
        if known.shape == "log":
            low, value, high = np.log([known.low, known.value, known.high])
            return np.asarray(np.exp(value + np.where(side < 0, value - low, high - value) * side))
        return known.value + np.where(side < 0, known.value - known.low, known.high - known.value) * side


def bands(values: Array) -> list[Band | None]:
    """Return the band of every row of `values`, shape (M, 1 + draws); None where there is none.

    The value is the nominal design; the band holds 95 % of the draws and always the value. There is none
    where the value is not finite, or more than one draw in twenty is not: the others say too little.
    """
    known = np.isfinite(values)
    whole: npt.NDArray[np.bool_] = np.atleast_1d(known.all(axis=1))
    if not whole.all():
        values = values.copy()
        for row in np.flatnonzero(~whole):
            whole[row] = known[row, 0] and known[row].mean() > MOST
            finite = values[row, 1:][known[row, 1:]] if whole[row] else np.zeros(1)
            values[row, 1:] = np.quantile(finite, np.linspace(0.0, 1.0, values.shape[1] - 1))
    low, high = _quantiles(values[:, 1:] if values.shape[1] > 1 else values)
    value = values[:, 0]
    rows: Sequence[tuple[float, float, float]] = np.stack(
        [value, np.minimum(low, value), np.maximum(high, value)], axis=1
    ).tolist()
    sound: Sequence[bool] = whole.tolist()
    return [
        Band(value=v, low=lo, high=hi) if there else None
        for there, (v, lo, hi) in zip(sound, rows, strict=True)
    ]


def band(values: Array) -> Band | None:
    """Return the band of one quantity, shape (1 + draws,)."""
    return bands(values[np.newaxis, :])[0]


def _quantiles(draws: Array) -> tuple[Array, Array]:
    """Return lower and upper quantile of each row by linear interpolation of the order statistics."""
    count = draws.shape[1]
    places = [quantile * (count - 1) for quantile in COVERAGE]
    below = [int(place) for place in places]
    above = [min(place + 1, count - 1) for place in below]
    ordered = np.partition(draws, sorted({*below, *above}), axis=1)
    low, high = (
        ordered[:, b] + (place - b) * (ordered[:, a] - ordered[:, b])
        for place, b, a in zip(places, below, above, strict=True)
    )
    return low, high
