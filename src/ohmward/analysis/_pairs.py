"""Which two faults at once are worth computing in full: every pair, reckoned roughly and all together.

The shifts that two faults bring are added on the scale that readings are compared on (a logarithm where one
spreads by factors, so that factors multiply), about the sound unit's mean and covariance. With residual z,
shifts z_i and z_j and their sizes known within a share a, all in units of the Cholesky factor, the squared
distance is

    |z - z_i - z_j|² - a² vᵀ M⁻¹ v,    M = 1 + a² [z_i z_j]ᵀ[z_i z_j],    v = [z_i z_j]ᵀ (z - z_i - z_j)

and log det M widens the determinant (matrix inversion and determinant lemmas); everything follows from the
table of products of the shifts, for tens of thousands of pairs at once.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from ohmward.analysis._hypotheses import HEALTHY_UNIT, Hypothesis, both
from ohmward.analysis._likelihood import TAILS, Fit, Scale, moments
from ohmward.analysis._predictions import Bench

Array = npt.NDArray[np.float64]

PAIRS, FIRST, PARTNERS = 5, 2, 14
"""Pairs computed in full, and faults whose partners are looked for."""
WORTH_A_SECOND = -1.0
"""Log-odds of a pair against its first fault alone, reckoned roughly, from which it is computed in full."""
ROUGH, BEATS = 8, 0.0
"""Pairs of any two faults computed in full, and by how much each has to beat the best single one."""
SEEDS = 2
"""Single faults to which every other is added where nothing fits."""
SHARE = 0.16
"""What the size of a shift is known within, as a share (`COARSE` and what is not known of any shift)."""


@dataclass(frozen=True, slots=True)
class Scored:
    """A hypothesis with the logarithm of its weight."""

    hypothesis: Hypothesis
    weight: float
    fit: Fit | None = None
    predicted: Array | None = None


class Roughly:
    """Weights of single faults and of pairs, from shifts whitened once.

    Parameters
    ----------
    z : array, shape (n,)
        Readings less the sound unit's mean, whitened.
    shifts : array, shape (hypotheses, n)
        Whitened shifts.
    own : array, shape (hypotheses,)
        Logarithm of the prior, and of what dead tests and answers say beyond the sound unit.
    """

    def __init__(self, z: Array, shifts: Array, own: Array) -> None:
        self.n, self.own = len(z), own
        self.square = float(z @ z)
        self.table = shifts @ shifts.T
        self.along = shifts @ z

    def singles(self) -> Array:
        """Return the weight of each fault alone, but for a constant."""
        size = np.diag(self.table)
        rest = self.along - size
        wide = 1.0 + SHARE**2 * size
        distance = self.square - 2.0 * self.along + size - SHARE**2 * rest**2 / wide
        return self._weight(distance, np.log(wide)) + self.own

    def pairs(self) -> Array:
        """Return the weight of each pair, shape (hypotheses, hypotheses), but for the prior of a pair."""
        size = np.diag(self.table)
        one, other, cross = size[:, None], size[None, :], self.table
        v, w = (self.along - size)[:, None] - cross, (self.along - size)[None, :] - cross
        a = SHARE**2
        m11, m22, m12 = 1.0 + a * one, 1.0 + a * other, a * cross
        det = m11 * m22 - m12**2
        gained = a * (m22 * v**2 + m11 * w**2 - 2.0 * m12 * v * w) / det
        distance = self.square - 2.0 * (self.along[:, None] + self.along[None, :]) + one + other + 2.0 * cross
        return self._weight(distance - gained, np.log(det)) + self.own[:, None] + self.own[None, :]

    def _weight(self, distance: Array, wide: Array) -> Array:
        nu = TAILS
        return np.asarray(-(nu + self.n) / 2 * np.log1p(np.maximum(distance, 0.0) / nu) - wide / 2)


def likeliest(
    hypotheses: Sequence[Hypothesis], roughly: Roughly, *, most: int, margin: float
) -> list[Hypothesis]:
    """Return the pairs that come out likelier than the best single fault plus a margin, at most `most`.

    One of each two faults and places, with the sizes that fit best. A pair of one fault in one place is none.
    """
    if len(hypotheses) < 2:
        return []
    weights = roughly.pairs()
    # the prior of a pair, beyond those of its faults
    weights = weights + both(hypotheses[0], hypotheses[1]).prior - hypotheses[0].prior - hypotheses[1].prior
    least = float(roughly.singles().max()) + margin
    upper = np.triu_indices(len(hypotheses), 1)
    flat = weights[upper]
    found: dict[frozenset[tuple[str, str]], Hypothesis] = {}
    for at in np.argsort(-flat):
        if len(found) >= most or not math.isfinite(flat[at]) or flat[at] < least:
            break
        one, other = hypotheses[int(upper[0][at])], hypotheses[int(upper[1][at])]
        key = frozenset((*one.name, *other.name))
        if len(key) == 2 and key not in found:
            found[key] = both(one, other)
    return list(found.values())


class RoughScore(Protocol):
    """Log-likelihood of predicted rows, the sound unit's when left out, moved by a shift."""

    def __call__(
        self, mean: Array, cov: Array, shift: Array, rows: Array | None = None, *, within: bool = False
    ) -> float:
        """Return it; `within` counts for less what needs a quantity beyond its limits."""


@dataclass(frozen=True, slots=True)
class Pairs:
    """Looks for the pairs of faults that are worth computing in full."""

    scale: Scale
    bench: Bench
    rough: RoughScore
    aside: Callable[[Hypothesis], float]
    """Log-likelihood of dead tests and checks."""

    @property
    def base(self) -> Array:
        """Nominal readings of the sound unit."""
        return np.asarray(self.bench.sound[0])

    def beside(
        self, alone: list[Scored], hypotheses: list[Hypothesis], shifts: Array, cov: Array
    ) -> list[Hypothesis]:
        """Return pairs that come out likelier than the single faults they are made of.

        To what the best single faults predict in full the shift of each further fault is added; and of all
        pairs whatever, reckoned roughly, those that beat every single fault.
        """
        found: dict[frozenset[tuple[str, str, float]], tuple[float, Hypothesis]] = {}
        for one in sorted(alone, key=lambda each: -each.weight)[:FIRST]:
            for gain, pair in self._partners(one, hypotheses, shifts):
                key = frozenset((part.fault.name, part.subject, part.size) for part in pair.parts)
                if gain > WORTH_A_SECOND and (key not in found or gain + one.weight > found[key][0]):
                    found[key] = (gain + one.weight, pair)
        chosen = [pair for _, pair in sorted(found.values(), key=lambda each: -each[0])[:PAIRS]]
        known = {frozenset(pair.name) for pair in chosen}
        further = likeliest(hypotheses, self._roughly(hypotheses, shifts, cov), most=ROUGH, margin=BEATS)
        return [*chosen, *(pair for pair in further if frozenset(pair.name) not in known)]

    def entangled(self, alone: list[Scored], hypotheses: list[Hypothesis]) -> Iterator[Hypothesis]:
        """Yield pairs whose shifts do not simply add (a regulator in dropout hides what comes before it).

        Each further fault is put into the nominal unit with the best single faults, and that unit computed.
        """
        seeds: dict[tuple[tuple[str, str], ...], Hypothesis] = {}
        for one in sorted(alone, key=lambda each: -each.weight):
            seeds.setdefault(one.hypothesis.name, one.hypothesis)
        pairs = [
            both(one, other)
            for one in list(seeds.values())[:SEEDS]
            for other in hypotheses
            if other.name != one.name and other.parts[0].fault.change is not None
        ]
        if not pairs:
            return
        scale = self.scale
        shifts = scale(self.bench.nominals(pairs)) - scale(self.base)
        mean, cov = moments(scale, scale(self.bench.sound)[1:], None)
        weights = [
            self.rough(mean, cov, shift) + pair.prior + self.aside(pair)
            for pair, shift in zip(pairs, shifts, strict=True)
        ]
        given: set[frozenset[tuple[str, str]]] = set()
        for at in np.argsort(-np.array(weights)):
            name = frozenset(pairs[int(at)].name)
            if name not in given:
                given.add(name)
                yield pairs[int(at)]
            if len(given) >= ROUGH:
                return

    def _roughly(self, hypotheses: list[Hypothesis], shifts: Array, cov: Array) -> Roughly:
        joint = self.scale.joint
        mean = self.scale(self.bench.sound)[1:].mean(axis=0)
        lower = np.linalg.cholesky(cov[np.ix_(joint, joint)])
        sound = self.aside(HEALTHY_UNIT)
        return Roughly(
            np.asarray(np.linalg.solve(lower, (self.scale.y - mean)[joint])),
            np.asarray(np.linalg.solve(lower, shifts[:, joint].T).T),
            np.array([h.prior + self.aside(h) - sound for h in hypotheses]),
        )

    def _partners(
        self, one: Scored, hypotheses: list[Hypothesis], shifts: Array
    ) -> Iterator[tuple[float, Hypothesis]]:
        """Yield the likeliest second faults beside a first, with the log-odds of pair against first."""
        if one.predicted is None:
            return
        x = self.scale(one.predicted)[1:]
        mean, cov = moments(self.scale, x, self.base)
        still = np.zeros(len(mean))
        rough: list[tuple[float, Hypothesis, Array]] = []
        first, unmoved = self.aside(one.hypothesis), self.rough(mean, cov, still, x)
        for other, shift in zip(hypotheses, shifts, strict=True):
            moves = bool(np.abs(shift).max(initial=0.0) > 0)
            pair = both(one.hypothesis, other)
            aside = self.aside(pair)
            # what moves no reading of the circuit may still be what a dead test or a check speaks of
            if other.name == one.hypothesis.name or not (moves or aside > first + 1e-9):
                continue
            base = self.rough(mean, cov, shift, x) if moves else unmoved
            rough.append((base + pair.prior + aside, pair, shift))
        alone = self.rough(mean, cov, still, x, within=True) + one.hypothesis.prior + first
        for _, pair, shift in sorted(rough, key=lambda each: -each[0])[:PARTNERS]:
            weight = self.rough(mean, cov, shift, x, within=True) + pair.prior + self.aside(pair)
            yield weight - alone, pair
