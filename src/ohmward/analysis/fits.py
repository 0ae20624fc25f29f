"""Straight lines with uncertainty.

Two conventions for weights are kept apart, because mixing them up is the commonest mistake: the
uncertainties of the points are *known* (nothing is scaled, and the scatter is tested against them),
or only their *relative* weights are (everything is scaled by the scatter found).

Sums are centred, so that ten certified digits survive. Models of more parameters: `least_squares`.

References
----------
.. [1] ISO/TS 28037:2010, Determination and use of straight-line calibration functions, clause 6.
.. [2] JCGM 100:2008 (GUM), annex H.3.
.. [3] EURACHEM/CITAC Guide QUAM, 3rd ed., appendix A5 (inverse reading).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ohmward.analysis.warned import Kind, Warned

Array = NDArray[np.float64]
Weights = Literal["known", "relative"]


class Estimate(NamedTuple):
    """A value with its standard uncertainty."""

    value: float
    u: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """y = intercept + slope x, fitted; standard uncertainties throughout."""

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    covariance: float
    """Of intercept and slope; without it a prediction is wrong."""
    residual_sd: float
    """sqrt(sum of squared residuals / dof), in the unit of y; NaN without degrees of freedom."""
    chi2: float | None
    """Weighted sum of squared residuals; None without uncertainties."""
    dof: int
    residuals: tuple[float, ...]
    centre_x: float
    """Weighted mean of x; 0 for a line through the origin."""
    centre_y: float
    u_centre: float
    """Uncertainty of the line at `centre_x`, where it is uncorrelated with the slope."""
    r_squared: float
    """About the mean; about zero for a line through the origin."""
    warned: tuple[Warned, ...] = ()

    @property
    def warnings(self) -> tuple[str, ...]:
        """The words of what is warned of."""
        return tuple(each.words for each in self.warned)

    @property
    def correlation(self) -> float:
        """Correlation coefficient of intercept and slope; NaN for a line through the origin."""
        product = self.u_intercept * self.u_slope
        return self.covariance / product if product else math.nan

    @property
    def covariance_matrix(self) -> Array:
        """2 x 2, in the order intercept, slope."""
        off = self.covariance
        return np.array([[self.u_intercept**2, off], [off, self.u_slope**2]])

    def predict(self, x: float) -> Estimate:
        """Return the line at `x`: u^2 = u(centre)^2 + (x - centre)^2 u(slope)^2 (GUM H.3.5).

        It is the uncertainty of the line, not that of a further reading there.
        """
        away = x - self.centre_x
        return Estimate(self.centre_y + self.slope * away, math.hypot(self.u_centre, away * self.u_slope))

    def inverse(self, y: float, u: float = 0.0) -> Estimate:
        """Return x where the line reads `y`, itself known to within the standard uncertainty `u`.

        u(x)^2 = (u^2 + u(centre)^2 + (x - centre)^2 u(slope)^2) / slope^2 [1]_ [3]_.
        Where the slope is not distinguishable from zero (within 2 u) no x can be stated: u(x) is
        infinite.

        Raises
        ------
        ValueError
            When the slope is exactly zero.
        """
        if self.slope == 0.0:
            raise ValueError("the line is level: no x can be read from it")
        away = (y - self.centre_y) / self.slope
        if not abs(self.slope) > 2.0 * self.u_slope:
            return Estimate(self.centre_x + away, math.inf)
        spread = math.sqrt(u * u + self.u_centre**2 + (away * self.u_slope) ** 2)
        return Estimate(self.centre_x + away, spread / abs(self.slope))


def straight_line(
    x: ArrayLike,
    y: ArrayLike,
    u: ArrayLike | None = None,
    *,
    weights: Weights = "known",
    through_origin: bool = False,
    at_most: bool = False,
) -> Line:
    """Fit y = a + b x by (weighted) least squares.

    Parameters
    ----------
    x, y : array_like
        n points.
    u : array_like, optional
        Standard uncertainty of each y, or one for all; weights are 1 / u^2. Left out, all points
        weigh the same and the scatter gives the uncertainties.
    weights : {"known", "relative"}
        Whether `u` is the uncertainty itself, or only right up to a common factor.
    through_origin : bool
        Force the intercept to zero.
    at_most : bool
        `u` is an upper bound, as of a digit that may be off by one either way: that the points agree better
        than that is no news, and is not warned of.

    Returns
    -------
    Line
        With warnings where the numbers cannot be taken at face value.

    Raises
    ------
    ValueError
        When shapes differ, a value is not finite, an uncertainty is not above zero, or the points
        do not determine a line.
    """
    xs, ys, us = _points(x, y, u)
    count, free = len(xs), 1 if through_origin else 2
    if weights not in ("known", "relative"):
        raise ValueError(f"weights are 'known' or 'relative', not {weights!r}")
    if count < free:
        raise ValueError(f"a line needs at least {free} points, not {count}")
    w = np.ones(count) if us is None else (us.min() / us) ** 2
    total = math.fsum(w)
    mean_x = 0.0 if through_origin else math.fsum(w * xs) / total
    mean_y = 0.0 if through_origin else math.fsum(w * ys) / total
    dx, dy = xs - mean_x, ys - mean_y
    sxx = math.fsum(w * dx * dx)
    if not sxx > 1e-24 * max(math.fsum(w * xs * xs), 1e-300):
        raise ValueError("all x are the same: the points do not determine a slope")
    slope = math.fsum(w * dx * dy) / sxx
    residuals = dy - slope * dx
    dof = count - free
    rss = math.fsum(residuals * residuals)
    weighted = math.fsum(w * residuals * residuals)
    known = us is not None and weights == "known"
    scale = 1.0 / float(us.min()) ** 2 if us is not None else 1.0
    variance = 1.0 / scale if known else (weighted / dof if dof else math.nan)
    u_slope = math.sqrt(variance / sxx)
    u_centre = 0.0 if through_origin else math.sqrt(variance / total)
    chi2 = None if us is None else weighted * scale
    spread = math.fsum(w * dy * dy)
    return Line(
        intercept=mean_y - slope * mean_x,
        slope=slope,
        u_intercept=math.hypot(u_centre, mean_x * u_slope),
        u_slope=u_slope,
        covariance=-mean_x * u_slope**2,
        residual_sd=math.sqrt(rss / dof) if dof else math.nan,
        chi2=chi2,
        dof=dof,
        residuals=tuple(float(each) for each in residuals),
        centre_x=mean_x,
        centre_y=mean_y,
        u_centre=u_centre,
        r_squared=1.0 - weighted / spread if spread > 0.0 else math.nan,
        warned=tuple(
            _line_warnings(
                xs,
                residuals,
                np.sqrt(w),
                dof,
                chi2=chi2 if known else None,
                bends=not through_origin,
                at_most=at_most,
            )
        ),
    )


def _points(x: ArrayLike, y: ArrayLike, u: ArrayLike | None) -> tuple[Array, Array, Array | None]:
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if xs.ndim != 1 or xs.shape != ys.shape:
        raise ValueError(f"x and y are two rows of the same length, not {xs.shape} and {ys.shape}")
    if not (np.isfinite(xs).all() and np.isfinite(ys).all()):
        raise ValueError("a point is not a finite number")
    if u is None:
        return xs, ys, None
    us = np.asarray(u, dtype=float)
    if us.ndim == 0:
        us = np.full(xs.shape, float(us))
    if us.shape != ys.shape:
        raise ValueError(f"one uncertainty a point: {us.shape} for {ys.shape}")
    if not (np.isfinite(us).all() and (us > 0.0).all()):
        raise ValueError("an uncertainty is a finite number above zero")
    return xs, ys, us


def _line_warnings(
    xs: Array, residuals: Array, root_w: Array, dof: int, *, chi2: float | None, bends: bool, at_most: bool
) -> list[Warned]:
    found = []
    if dof == 0:
        words = "as many points as parameters: the line runs through every point and nothing tests it"
        return [
            Warned(Kind.UNTESTED, words if chi2 is not None else f"{words}; its uncertainty is not known")
        ]
    if chi2 is not None:
        found += _chi2_warnings(chi2, dof, at_most=at_most)
    if dof >= 2 and bends:
        found += _curvature_warnings(xs, residuals, root_w)
    return found


def _chi2_warnings(chi2: float, dof: int, *, at_most: bool) -> list[Warned]:
    from scipy.special import chdtr, chdtrc, chdtri

    if chdtrc(dof, chi2) < 0.05:
        limit = float(chdtri(dof, 0.05))
        words = (
            f"the points lie further from the line than their uncertainties allow (chi-squared {chi2:.3g} "
            f"with {dof} degrees of freedom, 95 % limit {limit:.3g}): either it is not a straight line or "
            "the uncertainties are too small"
        )
        return [Warned(Kind.FURTHER, words)]
    if not at_most and dof >= 3 and chdtr(dof, chi2) < 0.025:
        words = (
            f"the points agree better than their uncertainties allow (chi-squared {chi2:.3g} with {dof} "
            "degrees of freedom): the uncertainties are too large, or hold a part common to all points"
        )
        return [Warned(Kind.CLOSER, words)]
    return []


def _curvature_warnings(xs: Array, residuals: Array, root_w: Array) -> list[Warned]:
    """Does a parabola take away more of the scatter than chance would (F test, 1 %)?"""
    from scipy.special import fdtrc

    if len(np.unique(xs)) < 4:
        return []
    scaled = (xs - xs.mean()) / np.ptp(xs)
    design = np.column_stack([np.ones_like(scaled), scaled, scaled**2]) * root_w[:, None]
    target = residuals * root_w
    before = math.fsum(target * target)
    coefficients = np.linalg.lstsq(design, target, rcond=None)[0]
    rest = target - design @ coefficients
    after, dof = math.fsum(rest * rest), len(xs) - 3
    # residuals at the level of rounding have no shape to speak of
    floor = (1e-13 * float(np.abs(root_w).max() * max(np.abs(residuals).max(), 1e-300))) ** 2
    if dof < 1 or before <= floor or after >= before:
        return []
    f = math.inf if after == 0.0 else (before - after) / (after / dof)
    if fdtrc(1, dof, f) >= 0.01:
        return []
    shape = "sag" if coefficients[2] < 0 else "rise"
    words = f"the points bend away from a straight line (towards a {shape} at the ends): a line does not fit"
    return [Warned(Kind.BENT, words)]
