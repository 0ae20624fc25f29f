"""Which single faults may be worth computing in full: all of them, by the nominal unit that each makes.

The shifts that two faults bring are added on the scale that readings are compared on (a logarithm where one
spreads by factors, so that factors multiply), about the sound unit's mean and covariance. With residual z,
shifts z_i and z_j and their sizes known within a share a, all in units of the Cholesky factor, the squared
distance is

    |z - z_i - z_j|² - a² vᵀ M⁻¹ v,    M = 1 + a² [z_i z_j]ᵀ[z_i z_j],    v = [z_i z_j]ᵀ (z - z_i - z_j)

and log det M widens the determinant (matrix inversion and determinant lemmas); everything follows from the
table of products of the shifts, for tens of thousands of pairs at once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np
import numpy.typing as npt

from ohmward.analysis._crowded import fewer
from ohmward.analysis._hypotheses import HEALTHY_UNIT, Hypothesis
from ohmward.analysis._likelihood import TAILS
from ohmward.analysis._observations import Observation
from ohmward.analysis._part import Part
from ohmward.analysis._sharing import Rest
from ohmward.analysis._whole import Whole

Array = npt.NDArray[np.float64]

SHARE = 0.16
"""What the size of a shift is known within, as a share (`COARSE` and what is not known of any shift)."""
NEAR = 9.0
"""Hypotheses within this of the best screened one, in log-odds, are computed in full."""
FEWEST, MOST, MORE_SIZES = 5, 7, 3
STILL = 60
"""Faults that move no reading, of which a test or a check speaks: they cost nothing to compute."""
CHECKED = 80
"""Faults, each of its best size, that are screened a second time with tolerances as limits."""
SCREENED = 400
"""Faults, each size counted, that are screened one by one: the likeliest when all are reckoned together."""
AGAIN, NEXT = 6, 4
"""Faults computed in full where none that was fits: the likeliest at a vaguer look, the next at the first."""
LEAST_SHIFT = 1e-6


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
    rest : Rest, optional
        What the other parts of the unit say: their squared distance and number of readings.
    """

    def __init__(self, z: Array, shifts: Array, own: Array, rest: Rest | None = None) -> None:
        self.n, self.own = len(z) + (0 if rest is None else rest.count), own
        self.square = float(z @ z) + (0.0 if rest is None else rest.distance)
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


def quick(part: Part, outlook: tuple[Array, Array], rest: Rest | None, shifts: Array) -> Array:
    """Return the log-likelihood of many shifts of a part at once, but for a constant common to all parts.

    (Of all readings of the unit together the determinant is that, whichever part it is reckoned from.)
    """
    mean, cov = outlook
    joint = part.scale.joint
    lower = np.linalg.cholesky(cov[np.ix_(joint, joint)])
    residual = (part.scale.y - mean)[joint]
    white = np.linalg.solve(lower, np.column_stack([residual, shifts[:, joint].T]))
    return Roughly(white[:, 0], white[:, 1:].T, np.zeros(len(shifts)), rest).singles()


@dataclass(frozen=True, slots=True, kw_only=True)
class Screened:
    """Faults that could show, with what a first look says of them."""

    hypotheses: list[Hypothesis]
    homes: list[int | None]
    """The part that each sits in; None for the unit as a whole."""
    shifts: Array
    """What each moves the readings of the unit by on their scale, shape (hypotheses, readings)."""
    asides: Array
    """Log-likelihood of dead tests and answers."""
    weights: Array
    """Logarithm of the rough weight of each; minus infinity where it was not screened one by one."""
    order: list[int]
    """The likeliest first."""
    left_out: tuple[str, ...] = ()
    """What was not looked at, in words."""


def screen(
    whole: Whole,
    every: Sequence[Hypothesis],
    aside: Callable[[Hypothesis], float],
    dead: Sequence[Observation],
) -> Screened:
    """Return the faults that could show.

    One that moves no reading and of which no test or check speaks is left out: it is part of 'nothing is
    wrong that these readings show'.
    """
    words: tuple[str, ...] = ()
    left_out = {name for part in whole.parts for name in part.left_out}
    if left_out:
        every = [each for each in every if not any(part.subject in left_out for part in each.parts)]
        words = tuple(_crowded(part) for part in whole.parts if part.left_out)
    homes = [_home(whole, hypothesis) for hypothesis in every]
    shifts = _shifts(whole, every, homes)
    asides = np.array([aside(hypothesis) for hypothesis in every])
    moving = np.abs(shifts).max(axis=1, initial=0.0) > LEAST_SHIFT
    kept = np.flatnonzero(moving | (asides > aside(HEALTHY_UNIT) + 1e-9) | _tested(every, dead))
    hypotheses, homes = [every[int(i)] for i in kept], [homes[int(i)] for i in kept]
    shifts, asides = shifts[kept], asides[kept]
    own = np.array([hypothesis.prior for hypothesis in hypotheses]) + asides
    first = _quickly(whole, homes, shifts) + own
    chosen = set(np.argsort(-first, kind="stable")[:SCREENED].tolist())
    weights = _one_by_one(whole, homes, shifts, chosen) + own
    if len(hypotheses) > SCREENED:
        words += (
            f"of {len(hypotheses)} faults, places and sizes the {SCREENED} likeliest by a first reckoning "
            "were looked at one by one",
        )
    order = sorted(range(len(hypotheses)), key=lambda at: (-weights[at], -first[at]))
    return Screened(
        hypotheses=hypotheses, homes=homes, shifts=shifts, asides=asides, weights=weights, order=order,
        left_out=words,
    )  # fmt: skip


def survivors(whole: Whole, screened: Screened) -> list[Hypothesis]:
    """Return what is to be computed in full: of the best places for a fault, the best sizes."""
    hypotheses, weights = screened.hypotheses, screened.weights
    order = [at for at in screened.order if np.isfinite(weights[at])]
    scorer = _Rough(whole)
    finer = {
        at: weights[at]
        - scorer(screened.homes[at], screened.shifts[at])
        + scorer(screened.homes[at], screened.shifts[at], within=True)
        for at in _best_sizes(hypotheses, order)[:CHECKED]
    }
    chosen = sorted(finer, key=lambda at: -finer[at])
    top = finer[chosen[0]] if chosen else 0.0
    near = [at for at in chosen if finer[at] > top - NEAR]
    still = [at for at in near if np.abs(screened.shifts[at]).max(initial=0.0) == 0][:STILL]
    moving = [at for at in chosen if at not in still]
    kept = {*still, *moving[:FEWEST], *(at for at in moving[:MOST] if at in near)}
    chosen = [at for at in chosen if at in kept]
    names = {hypotheses[at].name: weights[at] for at in chosen[:3]}
    sizes = [
        at for at in order if at not in chosen and weights[at] > names.get(hypotheses[at].name, np.inf) - NEAR
    ]
    return [hypotheses[at] for at in [*chosen, *sizes[:MORE_SIZES]]]


def further(whole: Whole, screened: Screened, worst: int, known: Sequence[Hypothesis]) -> list[Hypothesis]:
    """Return what to compute in full where nothing fits: faults of the part that fits worst, seen anew."""
    hypotheses = screened.hypotheses
    scorer = _Rough(whole)
    mine = [at for at in screened.order if screened.homes[at] == worst or not whole.several][:SCREENED]
    vague = {
        at: scorer(worst, screened.shifts[at], vague=True) + hypotheses[at].prior + screened.asides[at]
        for at in mine
    }
    names = {hypothesis.name for hypothesis in known}

    def new(order: Sequence[int], most: int) -> list[Hypothesis]:
        places = (at for at in _best_sizes(hypotheses, order) if hypotheses[at].name not in names)
        return [hypotheses[at] for at in islice(places, most)]

    sheet = whole.parts[worst].bench.supply
    found = new(sorted(mine, key=lambda at: -vague[at]), fewer(AGAIN, sheet))
    names |= {hypothesis.name for hypothesis in found}
    return [*found, *new(mine, fewer(NEXT, sheet))]


def _best_sizes(hypotheses: Sequence[Hypothesis], order: Sequence[int]) -> list[int]:
    """Return the first size of each fault and place in an order."""
    best: dict[tuple[tuple[str, str], ...], int] = {}
    for at in order:
        best.setdefault(hypotheses[at].name, at)
    return list(best.values())


class _Rough:
    """Scores shifts of the sound unit, in the part they are of or in all."""

    def __init__(self, whole: Whole) -> None:
        self.whole, self.rests = whole, whole.rests()
        self.outlooks = [
            part.outlook(part.bench.sound, rest, sound=True)
            for part, rest in zip(whole.parts, self.rests, strict=True)
        ]

    def __call__(self, home: int | None, shift: Array, *, within: bool = False, vague: bool = False) -> float:
        if home is None and self.whole.several:
            return self.whole.rough(shift) - (self._past_limits(shift) if within else 0.0)
        at = home or 0
        part = self.whole.parts[at]
        return part.rough(
            self.outlooks[at],
            shift[part.columns],
            part.bench.sound,
            self.rests[at],
            within=within,
            vague=vague,
        )

    def _past_limits(self, shift: Array) -> float:
        """Return what limits cost a fault of the whole unit: at least what they cost in any one part."""
        costs = []
        for part in self.whole.parts:
            sound, here = part.bench.sound, shift[part.columns]
            outlook = part.outlook(sound, None, sound=True)
            costs.append(
                part.rough(outlook, here, sound, None) - part.rough(outlook, here, sound, None, within=True)
            )
        return max(costs)


def _crowded(part: Part) -> str:
    name, count = part.bench.supply.transformers[0].name, len(part.bench.supply.rails)
    out = len(part.left_out)
    return (
        f"{name} feeds {count} rails: only the {count - out} whose readings are farthest from what the sheet "
        f"says were weighed, the other {out} were not, and fewer faults and pairs of faults were tried"
    )


def _home(whole: Whole, hypothesis: Hypothesis) -> int | None:
    everywhere = all(part.fault.scope == "unit" for part in hypothesis.parts)
    return None if everywhere else whole.home(hypothesis)


def _shifts(whole: Whole, every: Sequence[Hypothesis], homes: Sequence[int | None]) -> Array:
    """Return what each fault moves all readings by; at the plug what it adds in each part, together."""
    found = np.tile(whole.base, (len(every), 1))
    for at, part in enumerate(whole.parts):
        mine = [n for n, home in enumerate(homes) if home in (at, None)]
        moved = part.bench.screen([every[n] for n in mine]) - part.base
        found[np.array(mine, dtype=int)[:, None], part.columns] += moved
    return np.asarray(whole.scale(found) - whole.scale(whole.base))


def _quickly(whole: Whole, homes: Sequence[int | None], shifts: Array) -> Array:
    """Return the log-likelihood of all, reckoned together; infinite for faults of the whole unit."""
    scorer, found = _Rough(whole), np.full(len(homes), np.inf)
    for at, part in enumerate(whole.parts):
        mine = [n for n, home in enumerate(homes) if home == at]
        if mine:
            here = shifts[mine][:, part.columns]
            found[mine] = quick(part, scorer.outlooks[at], scorer.rests[at], here)
    return found


def _one_by_one(whole: Whole, homes: Sequence[int | None], shifts: Array, chosen: set[int]) -> Array:
    scorer = _Rough(whole)
    still: dict[int | None, float] = {}
    found = np.full(len(homes), -np.inf)
    for at in sorted(chosen):
        if np.abs(shifts[at]).max(initial=0.0) > 0:
            found[at] = scorer(homes[at], shifts[at])
            continue
        if homes[at] not in still:
            still[homes[at]] = scorer(homes[at], shifts[at])
        found[at] = still[homes[at]]
    return found


def _tested(hypotheses: Sequence[Hypothesis], dead: Sequence[Observation]) -> npt.NDArray[np.bool_]:
    """Return which faults a dead test was made for."""
    keys = {seen.key for seen in dead}
    return np.array([any(keys & part.fault.moves.keys() for part in h.parts) for h in hypotheses], dtype=bool)


__all__ = ["NEAR", "SHARE", "Roughly", "Screened", "further", "quick", "screen", "survivors"]
