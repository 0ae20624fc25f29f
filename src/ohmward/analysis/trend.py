"""Drift over the years: a slope that one bad reading cannot bend, and whether there is a trend at all.

References
----------
.. [1] P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379.
.. [2] D. R. Helsel, R. M. Hirsch, Statistical Methods in Water Resources, USGS TWRI book 4, A3,
   chapters 8, 10 and 12.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

EXACT_UP_TO = 10
"""Readings up to which the distribution of S is taken exactly; the normal one is good enough beyond [2]_."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TheilSen:
    """Median of all pairwise slopes, with its confidence interval."""

    slope: float
    intercept: float
    """median(y) - slope median(x); see `intercept_joint` for the other convention."""
    low: float
    high: float
    """Ends of the interval of the slope [1]_."""
    level: float
    intercept_joint: float
    """median(y - slope x). The choice moves a forecast: state it."""
    median_x: float
    median_y: float

    def predict(self, x: float) -> float:
        """Return the line at `x`."""
        return self.intercept + self.slope * x

    def crossing(self, limit: float) -> tuple[float, float, float] | None:
        """Return where the line reaches `limit`, with the ends that the interval of the slope gives.

        The line turns about (median x, median y). Ends are infinite where a slope of the interval
        never gets there; None for a level line.
        """
        if self.slope == 0.0:
            return None
        away = limit - self.median_y
        ends = [
            self.median_x + away / slope if slope * self.slope > 0.0 else math.inf
            for slope in (self.low, self.high)
        ]
        ahead = away / self.slope >= 0.0
        ends = [end if math.isfinite(end) or ahead else -math.inf for end in ends]
        return (limit - self.intercept) / self.slope, min(ends), max(ends)


@dataclass(frozen=True, slots=True, kw_only=True)
class MannKendall:
    """Test for a trend up or down, of whatever shape."""

    s: int
    """Pairs that rise less pairs that fall."""
    variance: float
    z: float
    """With continuity correction."""
    p: float
    """Two-sided probability of an S at least as far from 0 without a trend."""
    tau: float
    """S over the number of pairs."""
    method: Literal["exact", "normal"]
    p_normal: float


def theil_sen(x: ArrayLike, y: ArrayLike, level: float = 0.95) -> TheilSen:
    """Fit a line by the median of the slopes of all pairs [1]_.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        Such as dates in years and readings.
    level : float
        Level of confidence of the interval of the slope, from 0.5 on.

    Raises
    ------
    ValueError
        When shapes differ, a value is not finite, all x are the same, or the level is impossible.
    """
    from scipy.stats import theilslopes

    xs, ys = _pairs(x, y)
    if not 0.5 <= level < 1.0:
        raise ValueError(f"a level is from 0.5 to below 1, not {level}")
    if len(xs) < 2 or np.ptp(xs) == 0.0:
        raise ValueError("a slope needs at least two different x")
    found = theilslopes(ys, xs, alpha=level, method="separate")
    slope = float(found.slope)
    return TheilSen(
        slope=slope,
        intercept=float(found.intercept),
        low=float(found.low_slope),
        high=float(found.high_slope),
        level=level,
        intercept_joint=float(np.median(ys - slope * xs)),
        median_x=float(np.median(xs)),
        median_y=float(np.median(ys)),
    )


def mann_kendall(y: ArrayLike) -> MannKendall:
    """Test readings in order of time for a trend.

    S = sum over pairs of sign(y_j - y_i), var S = (n(n-1)(2n+5) - sum t(t-1)(2t+5)) / 18 with t tied
    readings in a group [2]_. p is exact up to `EXACT_UP_TO` readings without ties, else normal with
    continuity correction.

    Raises
    ------
    ValueError
        With fewer than two readings, or one that is not finite.
    """
    ys = np.asarray(y, dtype=float)
    count = len(ys)
    if ys.ndim != 1 or count < 2:
        raise ValueError("a trend needs at least two readings")
    if not np.isfinite(ys).all():
        raise ValueError("a reading is not a finite number")
    s = sum(int(np.sign(ys[i + 1 :] - ys[i]).sum()) for i in range(count - 1))
    ties = np.unique(ys, return_counts=True)[1]
    variance = (
        count * (count - 1) * (2 * count + 5) - int((ties * (ties - 1) * (2 * ties + 5)).sum())
    ) / 18.0
    z = (s - math.copysign(1.0, s)) / math.sqrt(variance) if s and variance > 0.0 else 0.0
    p_normal = math.erfc(abs(z) / math.sqrt(2.0))
    exact = count <= EXACT_UP_TO and not (ties > 1).any()
    return MannKendall(
        s=s,
        variance=variance,
        z=z,
        p=_exact_p(count, s) if exact else p_normal,
        tau=s / (count * (count - 1) / 2),
        method="exact" if exact else "normal",
        p_normal=p_normal,
    )


def _exact_p(count: int, s: int) -> float:
    """Return P(|S| >= |s|), counting the orders of n readings by their inversions, one reading at a time."""
    orders = [1]
    for n in range(2, count + 1):
        longer = [0] * (len(orders) + n - 1)
        for inversions, ways in enumerate(orders):
            for more in range(n):
                longer[inversions + more] += ways
        orders = longer
    pairs = count * (count - 1) // 2
    far = sum(ways for inversions, ways in enumerate(orders) if abs(pairs - 2 * inversions) >= abs(s))
    return far / math.factorial(count)


def _pairs(x: ArrayLike, y: ArrayLike) -> tuple[Array, Array]:
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if xs.ndim != 1 or xs.shape != ys.shape:
        raise ValueError(f"x and y are two rows of the same length, not {xs.shape} and {ys.shape}")
    if not (np.isfinite(xs).all() and np.isfinite(ys).all()):
        raise ValueError("a point is not a finite number")
    return xs, ys
