"""A line through the readings of years, and when it reaches a limit.

The slope is Theil and Sen's (`trend.theil_sen`): one bad reading does not bend it. When the line reaches
a limit is another question, for it asks how well the line is known there: the uncertainty of a reading far
ahead is carried by the covariances of the readings, since readings of one meter err together. With
weights of least squares, w(X) = 1/n + (X - m)(x - m)/S, the variance of the line at X is w' C w, where

    C = diag(own²) + c² for a reading with itself, ρ c c' between readings of one meter (ρ: `history_change`)

and, where readings scatter more than C says (probe placed otherwise, contact, humidity), one more variance
common to all from the residuals ('dark uncertainty', by moments [1]_); its few degrees of freedom widen
the interval by Student's t at the effective degrees of freedom (GUM G.4). The dates at which the line and the
limit are compatible are the interval (Fieller's, [2]_); it may be open.

References
----------
.. [1] M. Thompson, S. L. R. Ellison, Accred. Qual. Assur. 16 (2011) 483; R. DerSimonian, N. Laird,
   Control. Clin. Trials 7 (1986) 177, from memory.
.. [2] E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175, from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ohmward.analysis.history_change import SHARED
from ohmward.analysis.trend import MannKendall, TheilSen, mann_kendall, theil_sen

Array = NDArray[np.float64]

LEVEL = 0.90
"""Of the intervals of slope and crossing."""
FEWEST = 4
"""Readings below which no line is drawn: three pairs of slopes say nothing of their own spread."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A robust line with what is known of its uncertainty."""

    sen: TheilSen
    kendall: MannKendall
    x: Array
    covariance: Array
    """Of the readings, shape (n, n), the dark part included."""
    dark: float
    """Standard deviation of the scatter that the meters do not account for."""

    @property
    def centre(self) -> float:
        """Mean of the dates."""
        return float(np.mean(self.x))

    def contrast(self, share: float, at: float) -> tuple[Array, Array]:
        """Return weights a, b so that line(X) - share line(at) = (a + b X)' y."""
        n = len(self.x)
        away = self.x - self.centre
        slope = away / float(away @ away)
        level = np.full(n, 1.0 / n)
        constant = (1.0 - share) * (level - self.centre * slope) - share * at * slope
        return constant, slope

    def uncertainty(self, x: float) -> float:
        """Return the standard uncertainty of the line at `x`."""
        constant, slope = self.contrast(0.0, 0.0)
        weights = constant + slope * x
        return math.sqrt(max(float(weights @ self.covariance @ weights), 0.0))

    def factor(self, weights: Array) -> float:
        """Return the coverage factor for `LEVEL` of a combination of the readings."""
        from scipy.stats import norm, t

        whole = float(weights @ self.covariance @ weights)
        dark = self.dark**2 * float(weights @ weights)
        if dark <= 0.0 or whole <= 0.0:
            return float(norm.ppf(0.5 + LEVEL / 2.0))
        freedom = (len(self.x) - 2) * (whole / dark) ** 2
        return float(t.ppf(0.5 + LEVEL / 2.0, freedom))


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """When a line reaches a limit, in the line's x; infinite ends are open."""

    at: float
    low: float
    high: float


def line(x: Array, y: Array, own: Array, common: Array, meters: list[str]) -> Line | None:
    """Draw the line; None with fewer than `FEWEST` readings or dates all the same.

    Parameters
    ----------
    x, y : array, shape (n,)
        Dates in order, and readings.
    own, common : array, shape (n,)
        Standard uncertainties: of each alone, and of what its meter leaves open.
    meters : list of str
        Which meter took each; an empty name is a meter of its own.
    """
    n = len(x)
    if n < FEWEST or float(np.ptp(x)) == 0.0:
        return None
    sen = theil_sen(x, y, LEVEL)
    covariance = covariance_of(own, common, meters)
    dark = _dark(x, y - (sen.intercept + sen.slope * x), covariance)
    return Line(
        sen=sen,
        kendall=mann_kendall(y),
        x=np.asarray(x, dtype=float),
        covariance=covariance + dark**2 * np.eye(n),
        dark=dark,
    )


def covariance_of(own: Array, common: Array, meters: list[str]) -> Array:
    """Return the covariance of readings, shape (n, n); see the module."""
    names = np.asarray(meters)
    together = (names[:, None] == names[None, :]) & (names[:, None] != "")
    matrix = SHARED * np.outer(common, common) * together
    np.fill_diagonal(matrix, own**2 + common**2)
    return np.asarray(matrix)


def crossing(drawn: Line, limit: float, *, share_of: float | None = None) -> Crossing | None:
    """Return when the line reaches `limit`.

    Parameters
    ----------
    drawn : Line
    limit : float
        In the unit of the readings; with `share_of`, as a share of the line's own value at that x.
    share_of : float, optional

    Returns
    -------
    Crossing or None
        None where nothing is heading there: line level, or already across and coming back. An interval
        that begins at -inf says that it may be across already.
    """
    slope = drawn.sen.slope
    if slope == 0.0:
        return None
    share = 0.0 if share_of is None else limit
    start = 0.0 if share_of is None else share_of
    goal = limit if share_of is None else share * drawn.sen.predict(start)
    at = (goal - drawn.sen.intercept) / slope
    constant, along = drawn.contrast(share, start)
    offset = (1.0 - share) * drawn.sen.intercept - share * start * slope
    offset -= limit if share_of is None else 0.0
    last = float(drawn.x[-1])
    factor = drawn.factor(constant + along * max(at, last))
    low, high = _interval(drawn, (constant, along), offset, factor=factor, at=at)
    return Crossing(at=at, low=low, high=high)


def widened(found: Crossing, share: float) -> Crossing:
    """Return a crossing counted from x = 0 where the scale itself is known to `share` only (a half-width).

    Both parts are combined as independent ones; open ends stay open.
    """
    from scipy.stats import norm

    more = float(norm.ppf(0.5 + LEVEL / 2.0)) * share * abs(found.at) / math.sqrt(3.0)
    return Crossing(
        at=found.at,
        low=found.at - math.hypot(found.at - found.low, more),
        high=found.at + math.hypot(found.high - found.at, more),
    )


def _interval(
    drawn: Line, weights: tuple[Array, Array], offset: float, *, factor: float, at: float
) -> tuple[float, float]:
    """Solve (A + B X)² = q² var(a + b X) about the crossing; open ends are infinite."""
    slope, c = drawn.sen.slope, drawn.covariance
    constant, along = weights
    square = factor**2
    v_aa, v_ab, v_bb = (
        float(p @ c @ q) for p, q in ((constant, constant), (constant, along), (along, along))
    )
    a = slope**2 - square * v_bb
    b = 2.0 * (offset * slope - square * v_ab)
    d = offset**2 - square * v_aa
    inside = b * b - 4.0 * a * d
    if inside < 0.0:  # everywhere compatible
        return -math.inf, math.inf
    root = math.sqrt(inside)
    if abs(a) < 1e-300:
        return (-math.inf, math.inf) if b == 0.0 else (min(at, -d / b), math.inf)
    ends = sorted(((-b - root) / (2.0 * a), (-b + root) / (2.0 * a)))
    if a > 0.0:
        return ends[0], ends[1]
    # the slope may be nothing: compatible beyond one end on the side where the line is heading
    return (ends[1], math.inf) if at >= ends[1] else (-math.inf, ends[0])


def _dark(x: Array, residuals: Array, covariance: Array) -> float:
    """Return the standard deviation that the scatter asks for beyond `covariance`, by moments."""
    n = len(x)
    design = np.column_stack((np.ones(n), x - x.mean()))
    annihilator = np.eye(n) - design @ np.linalg.pinv(design)
    spare = annihilator @ residuals
    excess = float(spare @ spare) - float(np.trace(annihilator @ covariance))
    return math.sqrt(max(excess, 0.0) / (n - 2))
