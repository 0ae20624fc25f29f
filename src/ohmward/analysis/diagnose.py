"""What is most likely wrong: every fault of the library weighed by all readings of a run together.

Each fault, in each place it can sit in and in several sizes, predicts the readings over the tolerances of
the sheet (`_predictions`); the likelihood of those taken (`_likelihood`) times the prior weight
(`_priors`) gives its probability. All faults are screened with the nominal unit; those that come near, the
sound unit, and pairs of faults where no single one explains the readings, are then computed in full, each in
the part of the supply that it sits in (`_whole`), never more than some forty in all.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from ohmward.analysis._dead import answer_terms, dead_terms
from ohmward.analysis._gather import gather
from ohmward.analysis._hypotheses import HEALTHY_UNIT, Hypothesis, Part, singles
from ohmward.analysis._likelihood import kernel_terms, student
from ohmward.analysis._observations import DEAD_KEYS, CheckAnswer, Observation
from ohmward.analysis._pairs import Pairs, Scored
from ohmward.analysis._priors import UNKNOWN
from ohmward.analysis._results import Cause, Diagnosis
from ohmward.analysis._screening import further, screen, survivors
from ohmward.analysis._whole import Whole
from ohmward.analysis._words import either, farthest, reasons
from ohmward.analysis.facts import RunFacts
from ohmward.physics.fault import Fault, Severity
from ohmward.physics.problems import possible
from ohmward.supply.model import Supply

Array = npt.NDArray[np.float64]

NOTHING_FITS = 3.0
"""Squared distance, per reading, of the best answer of all above which nothing fits."""
UNKNOWN_THEN = 0.9
"""Probability of 'something that the library does not hold' when nothing fits."""
APART = 0.1
"""Log-odds by which a fault in one place has to differ from the same in another to be told from it."""
CLEARLY_LOWER = 0.8
"""Share of the sheet's bleeder below which one that was read is taken for another."""
VAGUE = 0.2
"""Spread of a reading when something unknown is wrong, as a share (or in the logarithm, three times it)."""

_LIKE_A_CORD = frozenset({"loose-earth"})
"""What a longer or thinner cord reads like."""

_GRAVITY: tuple[Severity, ...] = ("improvement", "fault", "danger")


def diagnose(
    supply: Supply,
    observations: Sequence[Observation],
    answers: Sequence[CheckAnswer] = (),
    *,
    mains_known: bool = True,
    through_cord: bool = True,
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
    through_cord : bool
        Whether the earth was measured through the cord, which then reads along.

    Returns
    -------
    Diagnosis
    """
    return _diagnosed(supply, tuple(observations), tuple(answers), mains_known, through_cord)


@lru_cache(maxsize=8)
def _diagnosed(
    supply: Supply,
    observations: tuple[Observation, ...],
    answers: tuple[CheckAnswer, ...],
    mains_known: bool,
    through_cord: bool,
) -> Diagnosis:
    """Weigh what is wanted at the last reading, at closing and when the run is looked at once only."""
    from threadpoolctl import threadpool_limits

    # Matrices of a hundred rows: on a busy machine threads wait for each other far longer than they work.
    with threadpool_limits(limits=1, user_api="blas"):
        case = _Case(supply, observations, answers, mains_known=mains_known, through_cord=through_cord)
        return case.diagnosis()


def diagnose_run(facts: RunFacts) -> Diagnosis | None:
    """Return what is most likely wrong by all that stands in a run; None where nothing can be said."""
    supply, _ = possible(facts.supply)
    found = gather(facts, supply)
    if not (found.observations or found.answers):
        return None
    return diagnose(
        supply,
        found.observations,
        found.answers,
        mains_known=found.mains_read,
        through_cord=not facts.cord_left_out,
    )


class _Case:
    """One supply, what was read and answered, and the weights of what may be wrong."""

    def __init__(
        self,
        supply: Supply,
        observations: Sequence[Observation],
        answers: Sequence[CheckAnswer],
        *,
        mains_known: bool = True,
        through_cord: bool = True,
    ) -> None:
        self.supply, self.through_cord = supply, through_cord
        self.answers = answers
        self.dead = [seen for seen in observations if seen.key in DEAD_KEYS]
        live = [seen for seen in observations if seen.key not in DEAD_KEYS and seen.bound == "exact"]
        self.whole = Whole(supply, live, mains_known=mains_known)
        self.scale = self.whole.scale
        self.fed = {
            rail: name
            for part in self.whole.parts
            for name, rails in part.bench.fed.items()
            for rail in rails
        }

    def diagnosis(self) -> Diagnosis:
        screened = screen(self.whole, self._possible(), self._aside, self.dead)
        left_out = list(screened.left_out)
        healthy = self._exact(HEALTHY_UNIT)
        scored = [self._exact(h) for h in survivors(self.whole, screened)]
        if not self._any_fits([healthy, *scored]):
            best = min(scored, key=self._misfit, default=healthy)
            misfits = best.found.misfits if best.found else (0.0,)
            known = [each.hypothesis for each in scored]
            again = further(self.whole, screened, misfits.index(max(misfits)), known)
            scored += [self._exact(h) for h in again]
        alone, pairs = list(scored), Pairs(self.whole, screened, self._aside, left_out)
        scored += [self._exact(h) for h in pairs.beside(alone)]
        if not self._any_fits([healthy, *scored]):
            named = {frozenset(each.hypothesis.name) for each in scored}
            scored += [self._exact(h) for h in pairs.entangled(alone) if frozenset(h.name) not in named]
        return self._result(healthy, scored, left_out)

    def _possible(self) -> list[Hypothesis]:
        """Return every single fault; of a bleeder that only the sheet lacks no more than where one was read.

        Elsewhere nothing tells it from a sound unit, and it would only take from that.
        """
        lower = {seen.subject for seen in self.scale.seen if self._lower_bleeder(seen)}
        return [
            each
            for each in singles(self.supply)
            if all(part.fault.name != "bleeder-unlisted" or part.subject in lower for part in each.parts)
        ]

    def _lower_bleeder(self, seen: Observation) -> bool:
        """Return whether a bleeder was read that the sheet has not, or clearly less than it has."""
        if seen.key != "bleeder_ohm":
            return False
        reservoir = self.supply.rail(seen.subject).reservoir
        fitted = None if reservoir is None else reservoir.bleeder_ohm
        return fitted is None or seen.value < CLEARLY_LOWER * fitted

    def _exact(self, hypothesis: Hypothesis) -> Scored:
        found = self.whole.fit(hypothesis)
        weight = found.fit.log_likelihood + hypothesis.prior + self._aside(hypothesis)
        return Scored(hypothesis, weight, found)

    def _aside(self, hypothesis: Hypothesis) -> float:
        """Log-likelihood of dead tests and checks, which no circuit predicts."""
        names = [part.fault for part in hypothesis.parts]
        sizes = {part.fault.name: part.size for part in hypothesis.parts}
        places = {part.fault.name: part.subject for part in hypothesis.parts}
        dead = sum(dead_terms(seen, names, sizes) for seen in self.dead)
        return dead + sum(answer_terms(answer, places, self.fed) for answer in self.answers)

    def _any_fits(self, scored: Sequence[Scored]) -> bool:
        return min(self._misfit(each) for each in scored) <= NOTHING_FITS

    def _misfit(self, scored: Scored) -> float:
        """Return the squared distance per reading."""
        return 0.0 if scored.found is None else scored.found.misfit

    def _unknown(self) -> float:
        """Weight of what the library does not hold: the sound unit, and anything beside it in one part."""
        weights = []
        for part, rest in zip(self.whole.parts, self.whole.rests(), strict=True):
            sound, scale = part.bench.sound, part.scale
            spread = np.where(scale.logs, 3 * VAGUE, VAGUE * np.abs(scale(part.base)))
            mean, cov = part.outlook(sound, rest, sound=True)
            joint = scale.joint
            wide = cov[np.ix_(joint, joint)] + np.diag(spread[joint] ** 2)
            lower = np.linalg.cholesky(wide)
            z = np.linalg.solve(lower, (scale.y - mean)[joint])
            ripple = float(np.maximum(kernel_terms(scale, scale(sound)[1:]), -3.0).sum())
            distance, count, apart = float(z @ z), len(joint), ripple - float(np.log(np.diag(lower)).sum())
            if rest is not None:
                distance, count = distance + rest.distance + rest.beyond, count + rest.count
                apart += rest.ripple - rest.logdet
            weights.append(student(distance, count) + apart)
        top = max(weights)
        mean_weight = top + math.log(sum(math.exp(each - top) for each in weights) / len(weights))
        return mean_weight + math.log(UNKNOWN) + self._aside(HEALTHY_UNIT)

    # --- result

    def _result(self, healthy: Scored, scored: list[Scored], left_out: Sequence[str]) -> Diagnosis:
        unknown = Scored(replace(HEALTHY_UNIT), self._unknown())
        fits = self._any_fits([healthy, *scored])
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
        causes = [
            self._cause([each for group in alike for each in group], healthy, top, total)
            for alike in _alike(grouped.values())
        ]
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
                because=() if fits else farthest(self.scale, self.whole.sound),
                confirm="Repeat the readings that are off with another meter, then look for what is not on "
                "the sheet.",
            )
        )
        ordered = sorted(causes, key=lambda cause: -cause.probability)
        poor = () if fits else ("nothing here fits: even the best of these is poor in absolute terms",)
        return Diagnosis(
            causes=tuple(ordered), fits=fits, readings=len(self.scale.y), notes=poor, left_out=tuple(left_out)
        )

    def _alike(self, fault: Fault) -> str:
        """Return what reads like a fault; a cord does where the earth was measured through it."""
        return "" if fault.name in _LIKE_A_CORD and not self.through_cord else fault.alike

    def _cause(self, group: list[Scored], healthy: Scored, top: float, total: float) -> Cause:
        """Return a cause of the hypotheses of one fault or pair, in all places that nothing tells apart."""
        best = max(group, key=lambda each: each.weight)
        parts = _gravest_first(best.hypothesis)
        places = dict.fromkeys(
            " & ".join(part.subject for part in _gravest_first(each.hypothesis) if part.subject)
            for each in group
        )
        subject = either(list(places))
        worst = parts[0].fault.severity
        assert best.found is not None
        assert healthy.found is not None
        told = reasons(
            self.scale,
            best.found.fit,
            healthy.found.fit,
            best.hypothesis,
            dead=self.dead,
            answers=self.answers,
            fed=self.fed,
        )
        return Cause(
            fault=" & ".join(part.fault.name for part in parts),
            subject=subject,
            title=f"{parts[0].fault.title} ({subject})"
            if len(parts) == 1 and subject
            else "; and ".join(
                f"{part.fault.title} ({part.subject})" if part.subject else part.fault.title for part in parts
            ),
            probability=sum(math.exp(each.weight - top) for each in group) / total,
            because=told.because,
            against=told.against,
            confirm=" ".join(part.fault.confirm for part in parts),
            make_safe=" ".join(dict.fromkeys(part.fault.make_safe for part in parts)),
            alike=" ".join(dict.fromkeys(filter(None, (self._alike(part.fault) for part in parts)))),
            severity=worst,
            fits=self._misfit(best) <= NOTHING_FITS,
        )


def _gravest_first(hypothesis: Hypothesis) -> list[Part]:
    return sorted(hypothesis.parts, key=lambda part: -_GRAVITY.index(part.fault.severity))


def _alike(groups: Iterable[list[Scored]]) -> list[list[list[Scored]]]:
    """Return the groups with those together that are one fault in places which nothing tells apart."""
    found: list[tuple[str, list[float], list[list[Scored]]]] = []
    for group in groups:
        parts = group[0].hypothesis.parts
        name = parts[0].fault.name if len(parts) == 1 else ""
        weights = sorted(each.weight for each in group)
        for known, at, together in found:
            same = name and known == name and len(at) == len(weights)
            if same and max(abs(a - b) for a, b in zip(at, weights, strict=True)) < APART:
                together.append(group)
                break
        else:
            found.append((name, weights, [group]))
    return [together for _, _, together in found]


__all__ = ["Cause", "Diagnosis", "diagnose", "diagnose_run"]
