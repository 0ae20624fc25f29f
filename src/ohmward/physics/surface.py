"""A fitted surface in place of most of many nearly equal solutions, and the proof that it will do.

The draws of one rail at one load differ by some tenths in a handful of quantities, and the answers are
smooth in them: a quadratic in the logarithms, fitted to some two hundred exact solutions, stands in for
the rest. Exact solutions kept out of the fit measure its error; where that is too large nothing is replaced.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

FITTED = 180
CHECKED = 40
TOLERANCE = 2e-3
"""Largest relative error on the checked rows; the bands that are made from them are tens of times wider."""


@dataclass(frozen=True, slots=True)
class Surface:
    """A quadratic in the logarithms of the inputs for the logarithms of the outputs."""

    centre: Array
    scale: Array
    coefficients: Array

    def __call__(self, inputs: Array) -> Array:
        """Return outputs, shape (rows, outputs), at inputs of shape (rows, inputs), all above zero."""
        return np.asarray(np.exp(_features((np.log(inputs) - self.centre) / self.scale) @ self.coefficients))


def fit(inputs: Array, outputs: Array) -> Surface | None:
    """Return a surface through exact rows, or None where it misses those it was not fitted to.

    Parameters
    ----------
    inputs, outputs : array
        Shape (`FITTED` + `CHECKED`, inputs or outputs), all above zero; the last `CHECKED` rows judge.
    """
    if not (np.isfinite(outputs).all() and (outputs > 0).all() and (inputs > 0).all()):
        return None
    logs = np.log(inputs)
    centre: Array = logs[:FITTED].mean(axis=0)
    scale = np.maximum(np.abs(logs[:FITTED] - centre).max(axis=0), 1e-12)
    design = _features((logs - centre) / scale)
    # The faint ridge only settles inputs that do not vary; it is far below the tolerance.
    square = design[:FITTED].T @ design[:FITTED]
    square[np.diag_indices_from(square)] += 1e-9 * FITTED
    coefficients: Array = np.asarray(
        np.linalg.solve(square, design[:FITTED].T @ np.log(outputs[:FITTED])), float
    )
    error = np.abs(np.exp(design[FITTED:] @ coefficients) / outputs[FITTED:] - 1).max()
    return Surface(centre, scale, coefficients) if error < TOLERANCE else None


def _features(x: Array) -> Array:
    """Return 1, every x, and every product of two, for rows of x."""
    rows, columns = np.triu_indices(x.shape[1])
    return np.hstack([np.ones((x.shape[0], 1)), x, x[:, rows] * x[:, columns]])
