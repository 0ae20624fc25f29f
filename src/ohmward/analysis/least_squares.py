"""Least squares with several parameters: linear ones by orthogonal factors, curves by iteration.

Solved by orthogonal factors of scaled (and, with a constant, centred) columns, never by the normal
equations, so that the certified digits of the NIST sets survive.

References
----------
.. [1] NIST Statistical Reference Datasets, linear and nonlinear regression.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Bounds = tuple[Array, Array]


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Parameters fitted by least squares, linear or not."""

    values: Array
    covariance: Array
    """Scaled by the scatter (relative weights) unless the uncertainties were given as known."""
    residual_ss: float
    """Sum of squared (weighted) residuals."""
    dof: int
    converged: bool = True

    @property
    def u(self) -> Array:
        """Standard uncertainties."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def residual_sd(self) -> float:
        """sqrt(residual_ss / dof); NaN without degrees of freedom."""
        return math.sqrt(self.residual_ss / self.dof) if self.dof else math.nan


def linear(columns: ArrayLike, y: ArrayLike) -> Curve:
    """Fit y = sum b_j x_j with equal weights, by an orthogonal factorisation of scaled columns.

    A constant column is used to centre the others first, which is what saves the digits of strongly
    collinear data (Longley).

    Parameters
    ----------
    columns : array_like, shape (n, p)
    y : array_like, shape (n,)

    Raises
    ------
    ValueError
        When the columns do not determine the parameters.
    """
    design, ys = np.asarray(columns, dtype=float), np.asarray(y, dtype=float)
    count, free = design.shape
    if count < free:
        raise ValueError(f"{free} parameters need at least {free} points, not {count}")
    constant = np.flatnonzero(np.ptp(design, axis=0) == 0.0)
    shift = np.zeros(free)
    if constant.size:
        first = int(constant[0])
        shift = design.mean(axis=0) / design[0, first]
        shift[first] = 0.0
        centred = design - np.outer(design[:, first], shift)
    else:
        first, centred = 0, design
    scale = np.linalg.norm(centred, axis=0)
    if not (scale > 0.0).all():
        raise ValueError("a column is zero or a second constant")
    q, r = np.linalg.qr(centred / scale)
    if np.abs(np.diag(r)).min() < 1e-13:
        raise ValueError("the columns do not determine the parameters: one follows from the others")
    fitted = np.linalg.solve(r, q.T @ ys)
    # one step of refinement with the residuals of the first solution
    fitted += np.linalg.solve(r, q.T @ (ys - (centred / scale) @ fitted))
    rest = ys - (centred / scale) @ fitted
    rss = math.fsum(rest * rest)
    inverse = np.linalg.inv(r) / scale[:, None]
    back = np.eye(free)
    back[first] -= shift
    half = back @ inverse
    dof = count - free
    variance = rss / dof if dof else math.nan
    return Curve(
        values=back @ (fitted / scale), covariance=variance * half @ half.T, residual_ss=rss, dof=dof
    )


def curve(
    residual: Callable[[Array], Array],
    jacobian: Callable[[Array], Array],
    start: ArrayLike,
    *,
    known: bool = False,
    bounds: Bounds | None = None,
) -> Curve:
    """Fit a nonlinear model by least squares and polish it by Gauss-Newton steps.

    Parameters
    ----------
    residual : callable
        Parameters (p,) to residuals (n,), divided by their uncertainties where those are known.
    jacobian : callable
        Parameters to the derivatives of the residuals (n, p).
    start : array_like
        First guess (p,).
    known : bool
        The residuals are in units of known uncertainties: the covariance is not scaled.
    bounds : pair of ndarray, optional
        Lower and upper limits of the parameters.

    Raises
    ------
    ValueError
        When there are fewer points than parameters or the model is not finite at the start.
    """
    from scipy.optimize import least_squares

    first = np.asarray(start, dtype=float)
    at_start = residual(first)
    if len(at_start) < len(first):
        raise ValueError(f"{len(first)} parameters need at least {len(first)} points, not {len(at_start)}")
    if not np.isfinite(at_start).all():
        raise ValueError("the model is not finite at the first guess")
    limits = bounds or (np.full(len(first), -np.inf), np.full(len(first), np.inf))
    found = least_squares(
        residual,
        first,
        jac=jacobian,
        bounds=limits,
        x_scale="jac",
        xtol=1e-15,
        ftol=1e-15,
        gtol=1e-15,
        max_nfev=2000,
    )
    values = _polished(residual, jacobian, np.asarray(found.x, dtype=float), bounds)
    rest = residual(values)
    rss, dof = math.fsum(rest * rest), len(rest) - len(values)
    variance = 1.0 if known else (rss / dof if dof else math.nan)
    r = np.linalg.qr(jacobian(values), mode="r")
    if np.abs(np.diag(r)).min() <= 1e-14 * np.abs(np.diag(r)).max():
        covariance = np.full((len(values), len(values)), math.inf)
    else:
        half = np.linalg.inv(r)
        covariance = variance * half @ half.T
    return Curve(
        values=values, covariance=covariance, residual_ss=rss, dof=dof, converged=bool(found.success)
    )


def _polished(
    residual: Callable[[Array], Array],
    jacobian: Callable[[Array], Array],
    values: Array,
    bounds: Bounds | None,
) -> Array:
    rest = residual(values)
    best = math.fsum(rest * rest)
    for _ in range(20):
        step = np.linalg.lstsq(jacobian(values), -rest, rcond=None)[0]
        trial = values + step
        if bounds is not None:
            trial = np.clip(trial, bounds[0], bounds[1])
        rest_trial = residual(trial)
        if not np.isfinite(rest_trial).all():
            break
        ss = math.fsum(rest_trial * rest_trial)
        if ss > best * (1.0 + 1e-12):
            break
        moved = np.abs(trial - values).max() if len(values) else 0.0
        values, rest, best = trial, rest_trial, min(best, ss)
        if moved <= 1e-15 * np.abs(values).max():
            break
    return values
