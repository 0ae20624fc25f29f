"""What is most likely wrong: every fault of the library weighed by all readings of a run together.

Each fault, in each place it can sit in and in several sizes, predicts the readings over the tolerances of
the sheet (`_predictions`); the likelihood of those taken (`_likelihood`) times the prior weight
(`_priors`) gives its probability. All faults are screened with the nominal unit; those that come near, the
sound unit, and pairs of faults where no single one explains the readings, are then computed in full.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from ohmward.analysis._dead import answer_terms, dead_terms
from ohmward.analysis._gather import gather
from ohmward.analysis._hypotheses import HEALTHY_UNIT, Hypothesis, singles
from ohmward.analysis._likelihood import Scale, beyond, fit, kernel_terms, moments, student, widened
from ohmward.analysis._observations import DEAD_KEYS, CheckAnswer, Observation
from ohmward.analysis._pairs import Pairs, Scored
from ohmward.analysis._predictions import Bench
from ohmward.analysis._priors import UNKNOWN
from ohmward.analysis._results import Cause, Diagnosis
from ohmward.analysis._words import because
from ohmward.analysis.facts import RunFacts
from ohmward.physics.fault import Severity
from ohmward.physics.problems import possible
from ohmward.supply.model import Supply

Array = npt.NDArray[np.float64]

NEAR = 9.0
"""Hypotheses within this of the best screened one, in log-odds, are computed in full."""
FEWEST, MOST, MORE_SIZES = 3, 7, 3
CHECKED = 80
"""Faults, each of its best size, that are screened a second time with tolerances as limits."""
COARSE = 0.15
"""Spread of a fault's size that is taken while screening, as a share of what it shifts."""
LEAST_SHIFT = 1e-6
NOTHING_FITS = 3.0
"""Squared distance, per reading, of the best answer of all above which nothing fits."""
UNKNOWN_THEN = 0.9
"""Probability of 'something that the library does not hold' when nothing fits."""
VAGUE = 0.2
"""Spread of a reading when something unknown is wrong, as a share (or in the logarithm, three times it)."""


_GRAVITY: tuple[Severity, ...] = ("improvement", "fault", "danger")


def diagnose(
    supply: Supply,
    observations: Sequence[Observation],
    answers: Sequence[CheckAnswer] = (),
    *,
    mains_known: bool = True,
) -> Diagnosis:
    """Return what is most likely wrong with a supply.

    Parameters
    ----------
    supply : Supply
        Design sheet; readings of rails that cannot be modelled are left out.
    observations : sequence of Observation
        Readings with their conditions and standard uncertainties.
    answers : sequence of CheckAnswer
        Checks answered with pass or fail.
    mains_known : bool
        False: the mains was not read, and may have been anywhere in the sheet's band.

    Returns
    -------
    Diagnosis
    """
    return _Case(supply, observations, answers, mains_known=mains_known).diagnosis()


def diagnose_run(facts: RunFacts) -> Diagnosis | None:
    """Return what is most likely wrong by all that stands in a run; None where nothing can be said."""
    supply, _ = possible(facts.supply)
    found = gather(facts, supply)
    if not (found.observations or found.answers):
        return None
    return diagnose(supply, found.observations, found.answers, mains_known=found.mains_read)


class _Case:
    """One supply, what was read and answered, and the weights of what may be wrong."""

    def __init__(
        self,
        supply: Supply,
        observations: Sequence[Observation],
        answers: Sequence[CheckAnswer],
        *,
        mains_known: bool = True,
    ) -> None:
        self.supply = supply
        self.answers = answers
        self.dead = [seen for seen in observations if seen.key in DEAD_KEYS]
        live = [seen for seen in observations if seen.key not in DEAD_KEYS and seen.bound == "exact"]
        self.bench = Bench(supply, live, mains_known=mains_known)
        regulated = frozenset(r.name for r in supply.rails if r.regulator is not None)
        self.scale = Scale(self.bench.seen, regulated)
        self.base = self.bench.sound[0]

    def diagnosis(self) -> Diagnosis:
        hypotheses, *screened = self._screened(singles(self.supply))
        healthy = self._exact(HEALTHY_UNIT)
        scored = [self._exact(h) for h in self._survivors(hypotheses, *screened)]
        alone, pairs = list(scored), Pairs(self.scale, self.bench, rough=self._rough, aside=self._aside)
        scored += [self._exact(h) for h in pairs.beside(alone, hypotheses, *screened[1:])]
        if min(self._misfit(each) for each in [healthy, *scored]) > NOTHING_FITS:
            known = {frozenset(each.hypothesis.name) for each in scored}
            scored += [
                self._exact(h) for h in pairs.entangled(alone, hypotheses) if frozenset(h.name) not in known
            ]
        return self._result(healthy, scored)

    # --- screening

    def _screened(self, every: list[Hypothesis]) -> tuple[list[Hypothesis], Array, Array, Array]:
        """Return what could show, its rough weights, shifts on the scale, and the covariance used.

        A fault that moves no reading and of which no test or check speaks is left out: it is part of 'nothing
        is wrong that these readings show'.
        """
        scale = self.scale
        nominal = self.bench.screen(every)
        asides = np.array([self._aside(h) for h in every])
        moving = np.abs(scale(nominal) - scale(self.base)).max(axis=1, initial=0.0) > LEAST_SHIFT
        kept = np.flatnonzero(moving | (asides > self._aside(HEALTHY_UNIT) + 1e-9) | self._tested(every))
        hypotheses, nominal = [every[i] for i in kept], nominal[kept]
        mean, cov = moments(scale, scale(self.bench.sound)[1:], None)
        shifts = scale(nominal) - scale(self.base)
        weights = np.array(
            [
                self._rough(mean, cov, shift) + h.prior + aside
                for h, shift, aside in zip(hypotheses, shifts, asides[kept], strict=True)
            ]
        )
        return hypotheses, weights, shifts, cov

    def _tested(self, hypotheses: list[Hypothesis]) -> npt.NDArray[np.bool_]:
        """Return which faults a dead test was made for."""
        keys = {seen.key for seen in self.dead}
        return np.array(
            [any(keys & part.fault.moves.keys() for part in h.parts) for h in hypotheses], dtype=bool
        )

    def _rough(
        self, mean: Array, cov: Array, shift: Array, rows: Array | None = None, *, within: bool = False
    ) -> float:
        """Log-likelihood of predicted rows, the sound unit's when left out, moved by a shift.

        `within` counts explanations for less that need a quantity beyond its limits.
        """
        scale, joint = self.scale, self.scale.joint
        wide = widened(cov, shift, COARSE)
        lower = np.linalg.cholesky(wide[np.ix_(joint, joint)])
        z = np.linalg.solve(lower, (scale.y - mean - shift)[joint])
        distance = float(z @ z)
        x = (scale(self.bench.sound)[1:] if rows is None else rows) + shift
        if within:
            distance += 2 * beyond(scale, x, mean + shift, wide, self.bench.signs)
        ripple = float(kernel_terms(scale, x).sum()) if len(scale.kernel) else 0.0
        return student(distance, len(joint)) - float(np.log(np.diag(lower)).sum()) + 0.3 * ripple

    def _survivors(
        self, hypotheses: list[Hypothesis], weights: Array, shifts: Array, cov: Array
    ) -> list[Hypothesis]:
        """Return what is to be computed in full: of the best places for a fault, the best sizes."""
        mean = self.scale(self.bench.sound)[1:].mean(axis=0)
        order = [int(i) for i in np.argsort(-weights)]
        best: dict[tuple[tuple[str, str], ...], int] = {}
        for i in order:
            best.setdefault(hypotheses[i].name, i)
        checked = list(best.values())[:CHECKED]
        finer = {
            i: weights[i] - self._rough(mean, cov, shifts[i]) + self._rough(mean, cov, shifts[i], within=True)
            for i in checked
        }
        chosen = sorted(finer, key=lambda i: -finer[i])
        top = finer[chosen[0]] if chosen else 0.0
        chosen = [i for n, i in enumerate(chosen[:MOST]) if n < FEWEST or finer[i] > top - NEAR]
        names = {hypotheses[i].name: weights[i] for i in chosen[:FEWEST]}
        sizes = [
            i for i in order if i not in chosen and weights[i] > names.get(hypotheses[i].name, np.inf) - NEAR
        ]
        return [hypotheses[i] for i in [*chosen, *sizes[:MORE_SIZES]]]

    # --- in full

    def _exact(self, hypothesis: Hypothesis) -> Scored:
        predicted = self.bench.predict(hypothesis)
        found = fit(self.scale, predicted, base=self.base, signs=self.bench.signs, terms=True)
        weight = found.log_likelihood + hypothesis.prior + self._aside(hypothesis)
        return Scored(hypothesis, weight, found, predicted)

    def _aside(self, hypothesis: Hypothesis) -> float:
        """Log-likelihood of dead tests and checks, which no circuit predicts."""
        names = [part.fault for part in hypothesis.parts]
        sizes = {part.fault.name: part.size for part in hypothesis.parts}
        places = {part.fault.name: part.subject for part in hypothesis.parts}
        dead = sum(dead_terms(seen, names, sizes) for seen in self.dead)
        return dead + sum(answer_terms(answer, places) for answer in self.answers)

    def _misfit(self, scored: Scored) -> float:
        """Return the squared distance per reading."""
        n = len(self.scale.joint)
        return 0.0 if scored.fit is None or not n else scored.fit.distance / n

    def _unknown(self) -> float:
        """Weight of something that the library does not hold: the sound unit, and anything beside it."""
        spread = np.where(self.scale.logs, 3 * VAGUE, VAGUE * np.abs(self.scale(self.base)))
        x = self.scale(self.bench.sound)[1:]
        mean, cov = moments(self.scale, x, None)
        joint = self.scale.joint
        wide = cov[np.ix_(joint, joint)] + np.diag(spread[joint] ** 2)
        lower = np.linalg.cholesky(wide)
        z = np.linalg.solve(lower, (self.scale.y - mean)[joint])
        total = student(float(z @ z), len(joint)) - float(np.log(np.diag(lower)).sum())
        ripple = float(np.maximum(kernel_terms(self.scale, x), -3.0).sum()) if len(self.scale.kernel) else 0.0
        return total + ripple + math.log(UNKNOWN) + self._aside(HEALTHY_UNIT)

    # --- result

    def _result(self, healthy: Scored, scored: list[Scored]) -> Diagnosis:
        unknown = Scored(replace(HEALTHY_UNIT), self._unknown())
        fits = min(self._misfit(each) for each in [healthy, *scored]) <= NOTHING_FITS
        if not fits:
            most = max(each.weight for each in [healthy, *scored])
            odds = math.log(UNKNOWN_THEN / (1 - UNKNOWN_THEN))
            unknown = replace(unknown, weight=max(unknown.weight, most + odds))
        every = [healthy, *scored, unknown]
        top = max(each.weight for each in every)
        total = sum(math.exp(each.weight - top) for each in every)
        grouped: dict[tuple[tuple[str, str], ...], list[Scored]] = {}
        for each in scored:
            grouped.setdefault(tuple(sorted(each.hypothesis.name)), []).append(each)
        causes = [self._cause(group, healthy, top, total) for group in grouped.values()]
        share = math.exp(healthy.weight - top) / total
        causes.append(
            Cause(
                fault="healthy",
                subject="",
                title="Nothing is wrong that these readings show",
                probability=share,
                severity="improvement",
                fits=self._misfit(healthy) <= NOTHING_FITS,
            )
        )
        causes.append(
            Cause(
                fault="unknown",
                subject="",
                title="Nothing here fits: something that the library does not hold",
                probability=math.exp(unknown.weight - top) / total,
                fits=fits,
                confirm="Repeat the readings that are off with another meter, then look for what is not on "
                "the sheet.",
            )
        )
        ordered = sorted(causes, key=lambda cause: -cause.probability)
        notes = () if fits else ("nothing here fits: even the best of these is poor in absolute terms",)
        return Diagnosis(causes=tuple(ordered), fits=fits, readings=len(self.scale.y), notes=notes)

    def _cause(self, group: list[Scored], healthy: Scored, top: float, total: float) -> Cause:
        best = max(group, key=lambda each: each.weight)
        parts = best.hypothesis.parts
        worst: Severity = max((part.fault.severity for part in parts), key=_GRAVITY.index)
        assert best.fit is not None
        assert healthy.fit is not None
        return Cause(
            fault=" & ".join(part.fault.name for part in parts),
            subject=" & ".join(part.subject for part in parts if part.subject),
            title="; and ".join(
                f"{part.fault.title} ({part.subject})" if part.subject else part.fault.title for part in parts
            ),
            probability=sum(math.exp(each.weight - top) for each in group) / total,
            because=because(
                self.scale,
                best.fit,
                healthy.fit,
                dead=self.dead,
                answers=self.answers,
                faults=[part.fault for part in parts],
                sizes={part.fault.name: part.size for part in parts},
            ),
            confirm=" ".join(part.fault.confirm for part in parts),
            make_safe=" ".join(dict.fromkeys(part.fault.make_safe for part in parts)),
            severity=worst,
            fits=self._misfit(best) <= NOTHING_FITS,
        )


__all__ = ["Cause", "Diagnosis", "diagnose", "diagnose_run"]
