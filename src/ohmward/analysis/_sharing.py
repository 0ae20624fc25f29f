"""How readings of parts that share no transformer bear on each other: by mains, room, meters and the plug.

Given what they share — the mains voltage, its crest, the room, the gain of each meter, how well the size of a
fault in all of them is known — the readings of different parts are independent. With residuals r and own
covariance C of each part and slopes S (readings by shared quantities, these in standard deviations), the
likelihood of all together is that of one Gaussian with

    Λ = 1 + Σ Sᵀ C⁻¹ S,   distance = Σ rᵀ C⁻¹ r - bᵀ Λ⁻¹ b,   b = Σ Sᵀ C⁻¹ r,   det = det Λ · Π det C

(matrix inversion and determinant lemmas). So each part is computed by itself; what all others say comes to it
as what is known of the shared quantities, and of what they add to the readings at the plug.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

DRAWN = 3
"""Quantities that `physics.design.build` draws first, for the whole unit: mains, crest, room."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What the readings of one part say of what is shared: k quantities, and m readings at the plug."""

    precision: Array
    """Sᵀ C⁻¹ S, shape (k, k)."""
    pull: Array
    """Sᵀ C⁻¹ r, shape (k,)."""
    distance: float
    logdet: float
    """Half the logarithm of the determinant of C."""
    count: int
    ripple: float
    """Log-density of what is scored on its own."""
    plug: Array
    """What it adds to the readings at the plug, by its own readings, shape (m,)."""
    plug_slopes: Array
    """The same by the shared quantities, shape (m, k)."""
    plug_cov: Array
    """What is left open of it, shape (m, m)."""
    beyond: float = 0.0
    """What its own explanation costs by quantities beyond their limits, as a squared distance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """What all other parts say of shared quantities and of their part of the readings at the plug, k + m."""

    centre: Array
    cov: Array
    before: Array
    """Covariance before any reading of theirs, shape (k + m, k + m)."""
    distance: float = 0.0
    beyond: float = 0.0
    logdet: float = 0.0
    count: int = 0
    ripple: float = 0.0

    def applied(self, mean: Array, cov: Array, slopes: Array) -> tuple[Array, Array]:
        """Return mean and covariance of a part's readings given those of all others.

        Parameters
        ----------
        slopes : array
            Of its readings by what is shared, shape (readings, k + m).
        """
        return mean + slopes @ self.centre, cov + slopes @ (self.cov - self.before) @ slopes.T


def rest(others: Sequence[Said], shared: int, plug: int) -> Rest:
    """Return what parts say together of `shared` quantities and `plug` readings at the plug."""
    before = np.diag(np.concatenate([np.ones(shared), np.zeros(plug)]))
    precision = np.eye(shared) + sum((said.precision for said in others), np.zeros((shared, shared)))
    pull = sum((said.pull for said in others), np.zeros(shared))
    cov = np.linalg.inv(precision)
    centre = cov @ pull
    slopes = sum((said.plug_slopes for said in others), np.zeros((plug, shared)))
    open_ = sum((said.plug_cov for said in others), np.zeros((plug, plug)))
    adds = sum((said.plug for said in others), np.zeros(plug)) + slopes @ centre
    cross = slopes @ cov
    return Rest(
        centre=np.concatenate([centre, adds]),
        cov=np.block([[cov, cross.T], [cross, cross @ slopes.T + open_]]),
        before=before,
        distance=sum(said.distance for said in others) - float(pull @ centre),
        beyond=sum(said.beyond for said in others),
        logdet=sum(said.logdet for said in others) + float(np.linalg.slogdet(precision)[1]) / 2,
        count=sum(said.count for said in others),
        ripple=sum(said.ripple for said in others),
    )


def said(
    *, residual: Array, cov: Array, slopes: Array, at_plug: npt.NDArray[np.bool_], ripple: float
) -> Said:
    """Return what a part says.

    Parameters
    ----------
    residual : array, shape (n,)
        Readings less what is expected of them; at the plug, what the part adds there beyond the usual.
    cov : array, shape (n, n)
        Their covariance with the shared quantities held; at the plug without what all parts have in common.
    slopes : array, shape (n, k)
        By the shared quantities.
    at_plug : array of bool, shape (n,)
    """
    mine, there = np.flatnonzero(~at_plug), np.flatnonzero(at_plug)
    lower = np.linalg.cholesky(cov[np.ix_(mine, mine)])
    both = np.concatenate([residual[mine, None], slopes[mine], cov[np.ix_(mine, there)]], axis=1)
    white = np.linalg.solve(lower, both)
    k = slopes.shape[1]
    z, by, to = white[:, 0], white[:, 1 : 1 + k], white[:, 1 + k :]
    return Said(
        precision=by.T @ by,
        pull=by.T @ z,
        distance=float(z @ z),
        logdet=float(np.log(np.diag(lower)).sum()),
        count=len(mine),
        ripple=ripple,
        plug=residual[there] + to.T @ z,
        plug_slopes=slopes[there] - to.T @ by,
        plug_cov=cov[np.ix_(there, there)] - to.T @ to,
    )


__all__ = ["DRAWN", "Rest", "Said", "rest", "said"]
