"""How much wider an interval has to be where neighbouring residuals of a fit hang together.

A fit by least squares of n readings whose scatter is a first-order autoregression with correlation r from one
to the next: R_ij = r^|i-j|. With J the Jacobian, M = 1 - J (JᵀJ)⁻¹ Jᵀ and a = J (JᵀJ)⁻¹ g of a quantity with
gradient g (all textbook results of linear models, from memory),

    residuals e = M y,   E eᵀe = σ² tr(MR),   E Σ e_i e_(i+1) = σ² tr(LMRM),   var(gᵀp) = σ² aᵀ R a

with L the shift by one. The fit takes out some of what hangs together, and the more so the longer it hangs: r
is that for which the ratio of the two expectations is what the residuals show. The sum of squares has
(tr MR)² / tr MRMR degrees of freedom (Satterthwaite's match of two moments, JCGM 100:2008 G.4.1), few where
little is independent, and the coverage factor is taken for those.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from ohmward.analysis.uncertainty import coverage_factor

Array = npt.NDArray[np.float64]

FEWEST = 16
"""Residuals from which on their correlation is worth estimating."""
MOST = 200
"""Means of stretches that more are brought down to: what is independent stays so."""
LARGEST = 0.995
"""Correlation from one to the next above which a record does not tell by how much; this is taken then."""


class Widening(NamedTuple):
    """How much wider an interval has to be."""

    factor: float
    """From 1."""
    told: bool = True
    """False: the residuals hang together over so long that the record does not tell how much."""


def widening(residuals: Array, jacobian: Array, gradient: Array, *, level: float = 0.95) -> Widening:
    """Return the factor on an interval that takes all readings as independent.

    Parameters
    ----------
    residuals : array, shape (n,)
        Reading less curve, evenly spaced to good approximation.
    jacobian : array, shape (n, p)
        Of the curve, at the fit.
    gradient : array, shape (p,)
        Of the quantity that the interval is of, by the parameters.
    level : float
        Of the interval.
    """
    dof = len(residuals) - jacobian.shape[1]
    size = -(-len(residuals) // MOST)
    e, j = _means(residuals, size), _means(jacobian, size)
    scale = np.linalg.norm(j, axis=0)
    square = float(e @ e)
    if len(e) < FEWEST or not square > 0.0 or not (scale > 0.0).all():
        return Widening(1.0)
    q, upper = np.linalg.qr(j / scale)
    if np.abs(np.diag(upper)).min() < 1e-12:
        return Widening(1.0)
    r = _correlation(float(e[1:] @ e[:-1]) / square, q)
    if r == 0.0:
        return Widening(1.0)
    a = q @ np.linalg.solve(upper.T, gradient / scale)
    hanging, rest = _autoregression(r, len(e)), _less(q, _autoregression(r, len(e)))
    left = float(np.trace(rest))
    mine = max(left**2 / float(np.sum(rest * rest.T)), 1.0)
    alone = len(e) - q.shape[1]
    factor = math.sqrt(float(a @ hanging @ a) / float(a @ a) * alone / left)
    factor *= coverage_factor(level, mine) / coverage_factor(level, dof)
    return Widening(max(1.0, factor), r < LARGEST)


def _correlation(shown: float, q: Array) -> float:
    """Return the r of which residuals show a lag-1 correlation `shown`; 0 where chance alone may show it."""
    from scipy.optimize import brentq

    n = len(q)

    def excess(r: float) -> float:
        both = _less(q, _autoregression(r, n))
        both = both - both @ q @ q.T
        return float(np.trace(both, offset=1)) / float(np.trace(both)) - shown

    if excess(0.0) > -1.0 / math.sqrt(n):
        return 0.0
    if excess(LARGEST) < 0.0:
        return LARGEST
    return float(brentq(excess, 0.0, LARGEST, xtol=1e-4))


def _autoregression(r: float, n: int) -> Array:
    place = np.arange(n)
    return np.asarray(r ** np.abs(place[:, None] - place[None, :]))


def _less(q: Array, matrix: Array) -> Array:
    """Return M times a matrix, M what is at right angles to the columns of `q`."""
    return np.asarray(matrix - q @ (q.T @ matrix))


def _means(values: Array, size: int) -> Array:
    """Return means of so many neighbours; those left over at the end go into the last."""
    if size < 2:
        return values
    edges = np.arange(0, len(values) - size + 1, size)
    counts = np.diff(np.append(edges, len(values)))
    sums = np.add.reduceat(values, edges, axis=0)
    return np.asarray((sums.T / counts).T)


__all__ = ["Widening", "widening"]
