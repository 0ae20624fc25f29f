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

from ohmward.analysis._observations import LOG_KEYS, MAINS_KEYS, Observation
from ohmward.analysis._sharing import DRAWN, Rest

Array = npt.NDArray[np.float64]

TAILS = 12.0
"""Degrees of freedom of the t."""
COMMON = 0.5
"""Share of the variance of a meter's own error that readings of the same unit have in common."""
_FLOOR = {"ripple": 1e-4, "A": 1e-4, "Ω": 1e-3, "s": 1e-2}
"""Added before the logarithm is taken, so that a reading of nothing has one."""
SHIFT, UNEVEN = 0.06, 0.025
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
WANDER = 0.0015
"""The mains at a reading is another than when it was read, by this share of it: a standard deviation, common
to the readings that follow one reading of the mains (made up, no source)."""
LIMIT = 1.9
"""No quantity is further off than this, in standard deviations: a tolerance is a limit (1.73 for a
rectangle), though not quite a hard one."""
_STEPS = 20


class Scale:
    """Readings as numbers that may be compared by their differences."""

    def __init__(
        self, seen: Sequence[Observation], regulated: frozenset[str], meters: Sequence[str] | None = None
    ) -> None:
        """Take readings; `meters` are the groups of readings of the whole unit where these are a part."""
        self.seen, self._regulated = tuple(seen), regulated
        self.meters = tuple(dict.fromkeys(each.group for each in seen)) if meters is None else tuple(meters)
        self.logs = np.array([each.key in LOG_KEYS for each in seen], dtype=bool)
        self.floor = np.array([_FLOOR.get(each.group, 1e-3) for each in seen])
        self.y = self(np.array([each.value for each in seen]))
        kernel = [each.key == "output_ripple_pp_v" and each.subject in regulated for each in seen]
        self.kernel = np.flatnonzero(np.array(kernel, dtype=bool))
        self.joint = np.flatnonzero(~np.array(kernel, dtype=bool))
        self.common = self._common()
        """Error that readings of one meter share, by meter: shape (meters, readings)."""
        self.noise = self._noise()

    def __call__(self, values: Array) -> Array:
        """Return readings, shape (..., readings), on the scale they are compared on."""
        return np.where(self.logs, np.log(np.maximum(values, 0.0) + self.floor), values)

    def back(self, index: int, value: float) -> float:
        """Return a reading from its place on the scale."""
        return math.exp(value) - float(self.floor[index]) if self.logs[index] else value

    @property
    def slope(self) -> Array:
        """Of the scale, at the readings."""
        size = np.array([abs(each.value) for each in self.seen])
        return np.where(self.logs, 1 / (size + self.floor), 1.0)

    def _common(self) -> Array:
        shared = np.array([each.shared for each in self.seen]) * self.slope
        mine = np.array([[each.group == meter for each in self.seen] for meter in self.meters], dtype=bool)
        return np.asarray(math.sqrt(COMMON) * shared * mine.reshape(len(self.meters), len(self.seen)))

    def _noise(self) -> Array:
        """Return the covariance of meters and model."""
        size = np.array([abs(each.value) for each in self.seen])
        own = np.array([each.own for each in self.seen]) * self.slope
        shared = np.array([each.shared for each in self.seen]) * self.slope
        model = np.array([_model(each) for each in self.seen])
        model = np.where(self.logs | (model == _MODEL_K), model, model * size)
        alone = np.diag(own**2 + model**2 + (1 - COMMON) * shared**2)
        return np.asarray(alone + self._wander() + self.common.T @ self.common)

    def _wander(self) -> Array:
        """Return the covariance of what the mains did since it was read."""
        moves = WANDER * np.array([abs(each.value) if each.key in MAINS_KEYS else 0.0 for each in self.seen])
        steady = [each.key == "output_v" and each.subject in self._regulated for each in self.seen]
        moves[np.array(steady, dtype=bool)] = 0.0
        at = np.array(
            [each.mains_v if each.mains_read_v is None else each.mains_read_v for each in self.seen]
        )
        return np.asarray(np.outer(moves, moves) * (at[:, None] == at[None, :]))


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
    beyond: float
    """What of it comes from quantities that would have to be beyond their limits."""
    terms: Array
    """What each reading adds to the log-likelihood, given those before it."""
    expected: Array
    """Each reading as foretold from those before it, on the scale."""
    spread: Array
    """Standard uncertainty of that."""
    joined: tuple[float, int, float]
    """Squared distance and number of all readings of the unit that are scored together, and the logarithm of
    what the t density is multiplied by."""

    def given(self, more: float) -> float:
        """Return the log-likelihood with so much more squared distance in the other parts of the unit."""
        distance, count, apart = self.joined
        return student(distance + more, count) + apart


def fit(
    scale: Scale,
    predicted: Array,
    *,
    base: Array | None = None,
    signs: Array | None = None,
    terms: bool = False,
    others: tuple[Rest, Array] | None = None,
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
    others : tuple of Rest and array, optional
        What the other parts of a unit say, and how the readings move with what is shared, shape
        (readings, k); the likelihood is then of all of them, the rest of what is returned of these.
    """
    x = scale(predicted)[1:]
    mean, cov = moments(scale, x, base)
    if others is not None:
        mean, cov = others[0].applied(mean, cov, others[1])
    joint = scale.joint
    lower = np.linalg.cholesky(cov[np.ix_(joint, joint)])
    z = np.linalg.solve(lower, (scale.y - mean)[joint])
    distance = float(z @ z)
    past = 0.0
    if signs is not None and distance > 0:
        past = 2 * beyond(scale, x, (mean, cov), signs, others)
        distance += past
    ripple = kernel_terms(scale, x)
    apart = float(ripple.sum()) - float(np.log(np.diag(lower)).sum())
    joined, count = distance, len(joint)
    if others is not None:
        joined, count = distance + others[0].distance + others[0].beyond, count + others[0].count
        apart += others[0].ripple - others[0].logdet
    each = np.zeros(len(scale.y))
    expected, spread = mean.copy(), np.sqrt(np.diag(cov))
    if terms and len(joint):
        each[joint] = _sequential(np.asarray(z), np.asarray(lower, dtype=float))
        expected[joint] = scale.y[joint] - np.diag(lower) * z
        spread[joint] = np.diag(lower)
    each[scale.kernel] = ripple
    return Fit(student(joined, count) + apart, distance, past, each, expected, spread, (joined, count, apart))


def beyond(
    scale: Scale,
    x: Array,
    gaussian: tuple[Array, Array],
    signs: Array,
    others: tuple[Rest, Array] | None = None,
) -> float:
    """Return what it costs to explain the readings with every quantity inside its limits.

    Predictions are linear in the quantities z to good approximation, y = mean + J z + e: half of the
    least of |e|² + |z|² within the limits, less the same without them. Of quantities that other parts of the
    unit have a say in, the middle and the spread are what those leave. `gaussian` is mean and covariance.
    """
    mean, cov = gaussian
    joint = scale.joint
    slopes = drawn(x, signs)[:, joint]
    middle, known = np.zeros(len(slopes)), np.eye(len(slopes))
    rest = cov[np.ix_(joint, joint)]
    if others is not None:
        said, by = others
        of_these = said.cov[:DRAWN, :DRAWN]
        known[:DRAWN, :DRAWN] = np.linalg.inv(of_these)
        middle[:DRAWN] = said.centre[:DRAWN]
        slopes[:DRAWN] = known[:DRAWN, :DRAWN] @ (said.cov[:DRAWN] @ by[joint].T)
        rest = rest - slopes[:DRAWN].T @ of_these @ slopes[:DRAWN] - slopes[DRAWN:].T @ slopes[DRAWN:]
    telling = np.abs(slopes).max(axis=1, initial=0.0) > 1e-9
    slopes, middle, known = slopes[telling], middle[telling], known[np.ix_(telling, telling)]
    if others is None:
        rest = rest - slopes.T @ slopes
    rest[np.diag_indices_from(rest)] += 1e-12
    try:
        lower = np.linalg.cholesky(rest)
    except np.linalg.LinAlgError:
        lower = np.diag(np.sqrt(np.diag(scale.noise)[joint]))
    both = np.linalg.solve(lower, np.column_stack([slopes.T, (scale.y - mean)[joint]]))
    a, b = both[:, :-1], both[:, -1]
    return _boxed(a.T @ a + known, a.T @ b, middle)


def drawn(x: Array, signs: Array) -> Array:
    """Return how readings move with each quantity by one standard deviation, shape (quantities, readings)."""
    return np.asarray(signs.T @ (x - x.mean(axis=0)) / len(x))


def _boxed(normal: Array, right: Array, middle: Array | None = None) -> float:
    """Return the least of z'Nz/2 - r'z with every |middle + z| within the limit, less the same without any.

    Newton steps among those that are free, each as far as it helps, the others held at their limits
    (projected Newton; what is held and pulls outwards stays held).
    """
    free = np.linalg.solve(normal, right)
    low = -LIMIT - (np.zeros(len(right)) if middle is None else middle)
    high = low + 2 * LIMIT
    if bool(((free >= low) & (free <= high)).all()):
        return 0.0

    def cost(z: Array) -> Array:
        return np.asarray(np.einsum("...i,...i->...", z, z @ normal / 2 - right))

    z = np.clip(free, low, high)
    for _ in range(_STEPS):
        slope = normal @ z - right
        loose = ~(((z >= high) & (slope < 0)) | ((z <= low) & (slope > 0)))
        if np.abs(slope[loose]).max(initial=0.0) < 1e-8:
            break
        step = np.zeros_like(z)
        step[loose] = -np.linalg.solve(normal[np.ix_(loose, loose)], slope[loose])
        tried = np.clip(z + step * 0.5 ** np.arange(8)[:, None], low, high)
        z = tried[int(cost(tried).argmin())]
    return max(float(cost(z)) + float(right @ free) / 2, 0.0)


def moments(scale: Scale, x: Array, base: Array | None) -> tuple[Array, Array]:
    """Return mean and covariance of readings on the scale, meters and model included."""
    mean = x.mean(axis=0)
    away = x - mean
    cov = away.T @ away / len(x) + scale.noise
    return mean, cov if base is None else widened(cov, mean - scale(base))


def widened(cov: Array, shift: Array, more: float = 0.0, *, uneven: float = UNEVEN) -> Array:
    """Return a covariance with what is not known of the shift that a fault brings.

    Parameters
    ----------
    more : float
        Further spread of its size, as a share.
    uneven : float
        What is not known of each reading's shift by itself, as a share.
    """
    wide = cov + (SHIFT**2 + more**2) * np.outer(shift, shift)
    wide[np.diag_indices_from(wide)] += (uneven * shift) ** 2
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
