"""How well predicted readings agree with those taken: all of them together.

The joint distribution of the predictions is taken as Gaussian, with mean and covariance over the drawn
units, in the logarithm where a reading spreads by factors. What the meters and the model itself are off
by is added. The density is a multivariate t rather than a normal one: a covariance that is a little
wrong, or one reading that is off, must not turn into certainty. The ripple of a regulated output is either
some millivolt or, in dropout, some volt: no Gaussian; it is scored on its own by the density over
the draws themselves.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ohmward.analysis._observations import LOG_KEYS, Observation

Array = npt.NDArray[np.float64]

TAILS = 12.0
"""Degrees of freedom of the t."""
COMMON = 0.5
"""Share of the variance of a meter's own error that readings of the same unit have in common."""
_FLOOR = {"ripple": 1e-4, "A": 1e-4, "Ω": 1e-3, "s": 1e-2}
"""Added before the logarithm is taken, so that a reading of nothing has one."""
_SHIFT, _UNEVEN = 0.06, 0.025
"""Uncertainty of what a fault shifts the readings by, as a share of it: of all alike, and of each."""
_SMOOTH = 0.25
"""Width of the kernel for the ripple of a regulated output, in the logarithm."""
_STRAY = 1e-3
"""Density anywhere at all for the same, in the logarithm."""
_MODEL = {"V": 0.0015, "ripple": 0.04, "A": 0.04, "Ω": 0.02, "s": 0.05}
"""What the model is off by [share of the reading]; against circuit simulation, see the tests of physics."""
_TOGETHER = {"V": 0.003, "ripple": 0.06}
"""The same where several rails load one transformer."""
_MODEL_K = 1.5
LIMIT = 1.9
"""No quantity is further off than this, in standard deviations: a tolerance is a limit (1.73 for a
rectangle), though not quite a hard one."""
_STEPS = 20


class Scale:
    """Readings as numbers that may be compared by their differences."""

    def __init__(self, seen: Sequence[Observation], regulated: frozenset[str]) -> None:
        self.seen = tuple(seen)
        self.logs = np.array([each.key in LOG_KEYS for each in seen], dtype=bool)
        self.floor = np.array([_FLOOR.get(each.group, 1e-3) for each in seen])
        self.y = self(np.array([each.value for each in seen]))
        kernel = [each.key == "output_ripple_pp_v" and each.subject in regulated for each in seen]
        self.kernel = np.flatnonzero(np.array(kernel, dtype=bool))
        self.joint = np.flatnonzero(~np.array(kernel, dtype=bool))
        self.noise = self._noise()

    def __call__(self, values: Array) -> Array:
        """Return readings, shape (..., readings), on the scale they are compared on."""
        return np.where(self.logs, np.log(np.maximum(values, 0.0) + self.floor), values)

    def back(self, index: int, value: float) -> float:
        """Return a reading from its place on the scale."""
        return math.exp(value) - float(self.floor[index]) if self.logs[index] else value

    def _noise(self) -> Array:
        """Return the covariance of meters and model."""
        size = np.array([abs(each.value) for each in self.seen])
        slope = np.where(self.logs, 1 / (size + self.floor), 1.0)
        own = np.array([each.own for each in self.seen]) * slope
        shared = np.array([each.shared for each in self.seen]) * slope
        model = np.array([_model(each) for each in self.seen])
        model = np.where(self.logs | (model == _MODEL_K), model, model * size)
        groups = np.array([each.group for each in self.seen])
        alike = groups[:, None] == groups[None, :]
        return np.asarray(
            np.diag(own**2 + model**2 + (1 - COMMON) * shared**2)
            + COMMON * np.where(alike, shared[:, None] * shared[None, :], 0.0)
        )


def _model(seen: Observation) -> float:
    if seen.unit == "°C":
        return _MODEL_K
    base = _MODEL.get(seen.group, 0.02)
    return _TOGETHER.get(seen.group, base) if len(seen.loads) > 1 else base


@dataclass(frozen=True, slots=True)
class Fit:
    """How one hypothesis agrees with the readings."""

    log_likelihood: float
    distance: float
    """Squared, of the readings that are scored together: about their number when all is well."""
    terms: Array
    """What each reading adds to the log-likelihood, given those before it."""
    expected: Array
    """Each reading as foretold from those before it, on the scale."""
    spread: Array
    """Standard uncertainty of that."""


def fit(
    scale: Scale,
    predicted: Array,
    *,
    base: Array | None = None,
    signs: Array | None = None,
    terms: bool = False,
) -> Fit:
    """Return the agreement of predicted readings, shape (1 + rows, readings), with those taken.

    Parameters
    ----------
    base : array, optional
        Nominal readings of the sound unit: what differs from them is known the less well.
    signs : array, optional
        Shape (rows, quantities), plus and minus one: how each drawn unit is off. With it, an explanation
        that needs a quantity beyond its limits counts for less.
    terms : bool
        Also split the likelihood by reading.
    """
    x = scale(predicted)[1:]
    mean, cov = moments(scale, x, base)
    joint = scale.joint
    lower = np.linalg.cholesky(cov[np.ix_(joint, joint)])
    z = np.linalg.solve(lower, (scale.y - mean)[joint])
    distance = float(z @ z)
    if signs is not None and distance > 0:
        distance += 2 * beyond(scale, x, mean, cov, signs)
    total = student(distance, len(joint)) - float(np.log(np.diag(lower)).sum())
    ripple = kernel_terms(scale, x)
    each = np.zeros(len(scale.y))
    expected, spread = mean.copy(), np.sqrt(np.diag(cov))
    if terms and len(joint):
        each[joint] = _sequential(np.asarray(z), np.asarray(lower, dtype=float))
        expected[joint] = scale.y[joint] - np.diag(lower) * z
        spread[joint] = np.diag(lower)
    each[scale.kernel] = ripple
    return Fit(total + float(ripple.sum()), distance, each, expected, spread)


def beyond(scale: Scale, x: Array, mean: Array, cov: Array, signs: Array) -> float:
    """Return what it costs to explain the readings with every quantity inside its limits.

    Predictions are linear in the quantities z to good approximation, y = mean + J z + e: half of the
    least of |e|² + |z|² within the limits, less the same without them.
    """
    joint = scale.joint
    slopes = signs.T @ (x - mean)[:, joint] / len(x)
    slopes = slopes[np.abs(slopes).max(axis=1, initial=0.0) > 1e-9]
    rest = cov[np.ix_(joint, joint)] - slopes.T @ slopes
    rest[np.diag_indices_from(rest)] += 1e-12
    try:
        lower = np.linalg.cholesky(rest)
    except np.linalg.LinAlgError:
        lower = np.diag(np.sqrt(np.diag(scale.noise)[joint]))
    a = np.linalg.solve(lower, slopes.T)
    b = np.linalg.solve(lower, (scale.y - mean)[joint])
    normal = a.T @ a
    normal[np.diag_indices_from(normal)] += 1.0
    return _boxed(normal, a.T @ b)


def _boxed(normal: Array, right: Array) -> float:
    """Return the least of z'Nz/2 - r'z with every |z| within the limit, less the same without limits.

    Newton steps among those that are free, each as far as it helps, the others held at their limits
    (projected Newton; what is held and pulls outwards stays held).
    """
    free = np.linalg.solve(normal, right)
    if np.abs(free).max(initial=0.0) <= LIMIT:
        return 0.0

    def cost(z: Array) -> Array:
        return np.asarray(np.einsum("...i,...i->...", z, z @ normal / 2 - right))

    z = np.clip(free, -LIMIT, LIMIT)
    for _ in range(_STEPS):
        slope = normal @ z - right
        loose = ~(((z >= LIMIT) & (slope < 0)) | ((z <= -LIMIT) & (slope > 0)))
        if np.abs(slope[loose]).max(initial=0.0) < 1e-8:
            break
        step = np.zeros_like(z)
        step[loose] = -np.linalg.solve(normal[np.ix_(loose, loose)], slope[loose])
        tried = np.clip(z + step * 0.5 ** np.arange(8)[:, None], -LIMIT, LIMIT)
        z = tried[int(cost(tried).argmin())]
    return max(float(cost(z)) + float(right @ free) / 2, 0.0)


def moments(scale: Scale, x: Array, base: Array | None) -> tuple[Array, Array]:
    """Return mean and covariance of readings on the scale, meters and model included."""
    mean = x.mean(axis=0)
    away = x - mean
    cov = away.T @ away / len(x) + scale.noise
    return mean, cov if base is None else widened(cov, mean - scale(base))


def widened(cov: Array, shift: Array, more: float = 0.0) -> Array:
    """Return a covariance with what is not known of the shift that a fault brings.

    Parameters
    ----------
    more : float
        Further spread of its size, as a share.
    """
    wide = cov + (_SHIFT**2 + more**2) * np.outer(shift, shift)
    wide[np.diag_indices_from(wide)] += (_UNEVEN * shift) ** 2
    return np.asarray(wide)


def student(distance: float, n: int) -> float:
    """Logarithm of the multivariate t density at a squared distance, but for the determinant."""
    nu = TAILS
    constant = math.lgamma((nu + n) / 2) - math.lgamma(nu / 2) - n / 2 * math.log(nu * math.pi)
    return constant - (nu + n) / 2 * math.log1p(distance / nu)


def _sequential(z: Array, lower: Array) -> Array:
    """Return the density of each reading given those before it (the t's own recursion)."""
    n = len(z)
    done = np.concatenate(([0.0], np.cumsum(z**2)))
    totals = np.array([student(float(done[k]), k) for k in range(n + 1)])
    return np.asarray(np.diff(totals) - np.log(np.diag(lower)))


def kernel_terms(scale: Scale, x: Array) -> Array:
    """Return the log-density of each ripple of a regulated output over the draws."""
    at = scale.kernel
    if not len(at):
        return np.zeros(0)
    width = np.sqrt(_SMOOTH**2 + np.diag(scale.noise)[at])
    away = (scale.y[at] - x[:, at]) / width
    density = np.exp(-(away**2) / 2).mean(axis=0) / (width * math.sqrt(2 * math.pi))
    return np.asarray(np.log(density + _STRAY))
