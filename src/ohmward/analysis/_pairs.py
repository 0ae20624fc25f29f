"""Which two faults at once are worth computing in full.

Every pair of the leading faults is reckoned roughly and all together (`_screening.Roughly`). Faults of parts
of the supply that share no transformer do not act on each other: their shifts add, and neither is simulated
with the other. How many are looked at is bounded by the constants here; what is left out is said in words.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ohmward.analysis._crowded import fewer
from ohmward.analysis._hypotheses import HEALTHY_UNIT, Hypothesis, both
from ohmward.analysis._part import Part
from ohmward.analysis._screening import Roughly, Screened, quick
from ohmward.analysis._sharing import Rest
from ohmward.analysis._whole import Whole, WholeFit

Array = npt.NDArray[np.float64]

PAIRS, FIRST, PARTNERS = 5, 2, 14
"""Pairs computed in full, and faults whose partners are looked for."""
WORTH_A_SECOND = -1.0
"""Log-odds of a pair against its first fault alone, reckoned roughly, from which it is computed in full."""
ROUGH, BEATS = 8, 0.0
"""Pairs of any two faults computed in full, and by how much each has to beat the best single one."""
LEAST_PAIRS = 2
"""The same of a crowded transformer, of which each costs the more."""
SEEDS = 2
"""Single faults to which every other is added where nothing fits."""
LEADING, LEAST = 400, 10
"""Faults, each size counted, that pairs are made of, shared by the parts; and the least of each part."""
ENTANGLED = 200
"""Faults that are put into the nominal unit with each seed; fewer where a transformer feeds many rails."""


@dataclass(frozen=True, slots=True)
class Scored:
    """A hypothesis with the logarithm of its weight."""

    hypothesis: Hypothesis
    weight: float
    found: WholeFit | None = None


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


@dataclass(frozen=True, slots=True)
class Pairs:
    """Looks for the pairs of faults that are worth computing in full."""

    whole: Whole
    screened: Screened
    aside: Callable[[Hypothesis], float]
    """Log-likelihood of dead tests and checks."""
    left_out: list[str]
    """Takes what had to be left out, in words."""

    def beside(self, alone: list[Scored]) -> list[Hypothesis]:
        """Return pairs that come out likelier than the single faults they are made of.

        To what the best single faults predict in full the shift of each further fault is added; and of all
        pairs whatever, reckoned roughly, those that beat every single fault.
        """
        found: dict[frozenset[tuple[str, str, float]], tuple[float, Hypothesis]] = {}
        for one in sorted(alone, key=lambda each: -each.weight)[:FIRST]:
            for gain, pair in self._partners(one.hypothesis):
                key = frozenset((part.fault.name, part.subject, part.size) for part in pair.parts)
                if gain > WORTH_A_SECOND and (key not in found or gain + one.weight > found[key][0]):
                    found[key] = (gain + one.weight, pair)
        pairs, rough = (self._fewest(most) for most in (PAIRS, ROUGH))
        chosen = [pair for _, pair in sorted(found.values(), key=lambda each: -each[0])[:pairs]]
        known = {frozenset(pair.name) for pair in chosen}
        leading = self._leading()
        hypotheses = [self.screened.hypotheses[at] for at in leading]
        further = likeliest(hypotheses, self._roughly(leading), most=rough, margin=BEATS)
        return [*chosen, *(pair for pair in further if frozenset(pair.name) not in known)]

    def entangled(self, alone: list[Scored]) -> Iterator[Hypothesis]:
        """Yield pairs whose shifts do not simply add (a regulator in dropout hides what comes before it).

        Each further fault is put into the nominal unit with the best single faults, and that unit computed:
        only those of the same part, for what shares nothing is never entangled.
        """
        seeds: dict[tuple[tuple[str, str], ...], Hypothesis] = {}
        for one in sorted(alone, key=lambda each: -each.weight):
            seeds.setdefault(one.hypothesis.name, one.hypothesis)
        weighed: list[tuple[float, Hypothesis]] = []
        for seed in list(seeds.values())[:SEEDS]:
            weighed += self._with_seed(seed)
        given: set[frozenset[tuple[str, str]]] = set()
        most = self._fewest(ROUGH)
        for _, pair in sorted(weighed, key=lambda each: -each[0]):
            name = frozenset(pair.name)
            if name not in given:
                given.add(name)
                yield pair
            if len(given) >= most:
                return

    def _with_seed(self, seed: Hypothesis) -> Iterator[tuple[float, Hypothesis]]:
        """Yield pairs of one fault and others of its part with their weights; at most `ENTANGLED`."""
        screened, whole = self.screened, self.whole
        at = whole.home(seed)
        part, rest = whole.parts[at], whole.rests(seed)[at]
        others = [
            other
            for other in screened.order
            if screened.homes[other] in (at, None)
            and screened.hypotheses[other].name != seed.name
            and screened.hypotheses[other].parts[0].fault.change is not None
            and not (whole.several and screened.homes[other] is None)
        ]
        most = fewer(ENTANGLED, part.bench.supply)
        if len(others) > most:
            title = seed.parts[0].fault.title
            self._leave_out(
                f"as a second fault beside '{title}', only the {most} likeliest of {len(others)} were "
                "computed together with it"
            )
        pairs = [both(seed, screened.hypotheses[other]) for other in others[:most]]
        if not pairs:
            return
        shifts = part.scale(part.bench.nominals(pairs)) - part.scale(part.base)
        sound = part.bench.sound
        outlook = part.outlook(sound, rest, sound=True)
        for pair, shift in zip(pairs, shifts, strict=True):
            yield part.rough(outlook, shift, sound, rest) + pair.prior + self.aside(pair), pair

    def _fewest(self, most: int) -> int:
        """Return how many pairs to compute in full, where `most` would be of a supply that is not crowded."""
        return max(LEAST_PAIRS, min(fewer(most, part.bench.supply) for part in self.whole.parts))

    def _leave_out(self, words: str) -> None:
        if words not in self.left_out:
            self.left_out.append(words)

    def _leading(self) -> list[int]:
        """Return the faults that pairs are made of: the likeliest of each part, at most `LEADING` in all."""
        screened, parts = self.screened, len(self.whole.parts)
        each = max(LEADING // parts, LEAST)
        count: dict[int | None, int] = {}
        found = []
        for at in screened.order:
            home = screened.homes[at]
            count[home] = count.get(home, 0) + 1
            if count[home] <= each:
                found.append(at)
        if len(found) < len(screened.hypotheses):
            where = "of each part of the supply that shares no transformer with another" if parts > 1 else ""
            self._leave_out(
                " ".join(f"pairs of faults were looked for among the {each} likeliest {where}".split())
            )
        return sorted(found)

    def _roughly(self, leading: Sequence[int]) -> Roughly:
        joint, scale = self.whole.weighed, self.whole.scale
        mean, cov = self.whole.sound
        lower = np.linalg.cholesky(cov[np.ix_(joint, joint)])
        sound = self.aside(HEALTHY_UNIT)
        shifts = self.screened.shifts[list(leading)][:, joint]
        white = np.linalg.solve(lower, np.column_stack([(scale.y - mean)[joint], shifts.T]))
        own = [self.screened.hypotheses[at] for at in leading]
        return Roughly(white[:, 0], white[:, 1:].T, np.array([h.prior + self.aside(h) - sound for h in own]))

    def _partners(self, one: Hypothesis) -> Iterator[tuple[float, Hypothesis]]:
        """Yield the likeliest second faults beside a first, with the log-odds of pair against first."""
        rough: list[tuple[float, Hypothesis, _Beside, Array]] = []
        first = self.aside(one)
        for at, rest in enumerate(self.whole.rests(one)):
            part = self.whole.parts[at]
            here = _Beside(part, self.whole.predicted(at, one), rest)
            for other in self._candidates(at, one, here):
                hypothesis = self.screened.hypotheses[other]
                shift = self.screened.shifts[other, part.columns]
                moves = bool(np.abs(shift).max(initial=0.0) > 0)
                pair = both(one, hypothesis)
                aside = self.aside(pair)
                # what moves no reading of the circuit may still be what a dead test or a check speaks of
                if hypothesis.name == one.name or not (moves or aside > first + 1e-9):
                    continue
                rough.append((here.rough(shift) + pair.prior + aside, pair, here, shift))
        for _, pair, here, shift in sorted(rough, key=lambda each: -each[0])[:PARTNERS]:
            gain = here.rough(shift, within=True) - here.alone
            yield gain + pair.prior + self.aside(pair) - one.prior - first, pair

    def _candidates(self, at: int, one: Hypothesis, here: _Beside) -> list[int]:
        """Return the faults of a part that may come beside a first; outside its own part the likeliest."""
        screened, home = self.screened, self.whole.home(one)
        still = np.abs(screened.shifts).max(axis=1, initial=0.0) == 0
        everywhere = [
            n
            for n, where in enumerate(screened.homes)
            if where is None and at == home and (still[n] or not self.whole.several)
        ]
        mine = [n for n, where in enumerate(screened.homes) if where == at]
        if at != home and len(mine) > LEAST:
            weights = here.quick(screened.shifts[mine][:, here.part.columns])
            weights += np.array([screened.hypotheses[n].prior + screened.asides[n] for n in mine])
            mine = [mine[int(k)] for k in np.argsort(-weights)[:LEAST]]
        return sorted([*everywhere, *mine])


class _Beside:
    """A part as it is foretold with a first fault, to which shifts of further ones are added."""

    def __init__(self, part: Part, predicted: Array, rest: Rest | None) -> None:
        self.part, self.predicted, self.rest = part, predicted, rest
        self.outlook = part.outlook(predicted, rest)
        self._alone: float | None = None

    def rough(self, shift: Array, *, within: bool = False) -> float:
        """Return the log-likelihood with a shift added."""
        return self.part.rough(self.outlook, shift, self.predicted, self.rest, within=within)

    @property
    def alone(self) -> float:
        """The same with none, within limits."""
        if self._alone is None:
            self._alone = self.rough(np.zeros(len(self.outlook[0])), within=True)
        return self._alone

    def quick(self, shifts: Array) -> Array:
        """Return the weights of shifts, but for a constant."""
        return quick(self.part, self.outlook, self.rest, shifts)
