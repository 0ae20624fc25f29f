"""One part of a supply that shares no transformer with the others: its readings, scored given theirs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from ohmward.analysis._crowded import uncrowded
from ohmward.analysis._hypotheses import Hypothesis
from ohmward.analysis._independent import at_plug, own
from ohmward.analysis._likelihood import (
    SHIFT,
    UNEVEN,
    Fit,
    Scale,
    beyond,
    drawn,
    fit,
    kernel_terms,
    moments,
    student,
    widened,
)
from ohmward.analysis._observations import Observation
from ohmward.analysis._predictions import Bench
from ohmward.analysis._sharing import DRAWN, Rest, Said, said
from ohmward.supply.model import Supply

Array = npt.NDArray[np.float64]

COARSE = 0.15
"""Spread of a fault's size that is taken while screening, as a share of what it shifts."""
VAGUE = 0.3
"""The same, and of each reading by itself, for a second look where nothing fits."""
RIPPLE = 0.3
"""Weight of a ripple that is scored on its own while screening, where a shift stands for what it does."""


class Part:
    """The readings of one part, `columns` among those of the unit; those at the plug are of every part."""

    def __init__(
        self, supply: Supply, every: Sequence[Observation], meters: Sequence[str], *, mains_known: bool
    ) -> None:
        mine = [(at, seen) for at, each in enumerate(every) if (seen := own(supply, each)) is not None]
        crowd = uncrowded(supply, [seen for _, seen in mine])
        self.left_out = crowd.left_out
        mine = [(at, seen) for at, seen in mine if seen.subject not in self.left_out]
        self.columns = np.array([at for at, _ in mine], dtype=int)
        self.bench = Bench(
            crowd.supply, [seen for _, seen in mine], mains_known=mains_known, still=crowd.still
        )
        regulated = frozenset(rail.name for rail in supply.rails if rail.regulator is not None)
        self.scale = Scale(self.bench.seen, regulated, meters)
        self.plug = np.array([at_plug(seen) for _, seen in mine], dtype=bool)
        self.names = {rail.name for rail in supply.rails} | {t.name for t in supply.transformers}
        self._predicted: dict[tuple[tuple[str, str, float], ...], Array] = {}

    @property
    def base(self) -> Array:
        """Nominal readings of the sound unit."""
        return np.asarray(self.bench.sound[0])

    def reached(self, hypothesis: Hypothesis) -> Hypothesis:
        """Return those of the faults that sit in this part or in the unit as a whole."""
        mine = tuple(p for p in hypothesis.parts if p.fault.scope == "unit" or p.subject in self.names)
        return replace(hypothesis, parts=mine)

    def predicted(self, hypothesis: Hypothesis) -> Array:
        """Return what is foretold with the faults that reach this part: shape (1 + rows, readings)."""
        mine = self.reached(hypothesis)
        if not mine.parts:
            return self.bench.sound
        key = tuple((p.fault.name, p.subject, p.size) for p in mine.parts)
        if key not in self._predicted:
            self._predicted[key] = self.bench.predict(mine)
        return self._predicted[key]

    def fit(self, predicted: Array, rest: Rest | None) -> Fit:
        """Return how a prediction agrees with the readings, given what the others say."""
        others = None if rest is None else (rest, self._by(predicted))
        return fit(self.scale, predicted, base=self.base, signs=self.bench.signs, terms=True, others=others)

    def moved(self, hypothesis: Hypothesis) -> bool:
        """Return whether a hypothesis moves any reading of this part."""
        return self.predicted(hypothesis) is not self.bench.sound

    def said(self, predicted: Array, *, moved: bool) -> Said:
        """Return what the readings say of what is shared; `moved` where a fault reaches this part.

        At the plug the other parts' predictions hold this part as it nominally is.
        """
        scale, plug = self.scale, self.plug
        x = scale(predicted)[1:]
        mean, away = x.mean(axis=0), x - x.mean(axis=0)
        shift = np.where(plug, 0.0, mean - scale(self.base)) * moved
        by = self._shared(x, shift)
        by[plug, DRAWN:] = 0.0
        alone = scale.noise - scale.common.T @ scale.common + np.diag((UNEVEN * shift) ** 2)
        cov = away.T @ away / len(x) - by[:, :DRAWN] @ by[:, :DRAWN].T
        cov += np.where(plug[:, None] | plug[None, :], 0.0, alone)
        joint = scale.joint
        residual = np.where(plug, mean - scale(predicted[0]), scale.y - mean)
        ripple = float(kernel_terms(scale, x).sum())
        return said(
            residual=residual[joint], cov=cov[np.ix_(joint, joint)], slopes=by[joint], at_plug=plug[joint],
            ripple=ripple,
        )  # fmt: skip

    def outlook(self, predicted: Array, rest: Rest | None, *, sound: bool = False) -> tuple[Array, Array]:
        """Return mean and covariance of the readings on the scale, given what the others say."""
        x = self.scale(predicted)[1:]
        mean, cov = moments(self.scale, x, None if sound else self.base)
        return (mean, cov) if rest is None else rest.applied(mean, cov, self._by(predicted))

    def rough(
        self,
        outlook: tuple[Array, Array],
        shift: Array,
        predicted: Array,
        rest: Rest | None,
        *,
        within: bool = False,
        vague: bool = False,
    ) -> float:
        """Return the log-likelihood of a prediction that is moved by a shift on the scale.

        `within` counts explanations for less that need a quantity beyond its limits. `vague` takes the shift
        of each reading as known within a third, for what is far from linear.
        """
        scale, joint = self.scale, self.scale.joint
        mean, cov = outlook
        wide = widened(cov, shift, VAGUE, uneven=VAGUE) if vague else widened(cov, shift, COARSE)
        lower = np.linalg.cholesky(wide[np.ix_(joint, joint)])
        z = np.linalg.solve(lower, (scale.y - mean - shift)[joint])
        distance, count = float(z @ z), len(joint)
        x = scale(predicted)[1:] + shift
        if within:
            others = None if rest is None else (rest, self._by(predicted))
            distance += 2 * beyond(scale, x, (mean + shift, wide), self.bench.signs, others)
        ripple = float(kernel_terms(scale, x).sum()) if len(scale.kernel) else 0.0
        more = -float(np.log(np.diag(lower)).sum())
        if rest is not None:
            distance += rest.distance + (rest.beyond if within else 0.0)
            count += rest.count
            ripple += rest.ripple
            more -= rest.logdet
        return student(distance, count) + more + RIPPLE * ripple

    def _shared(self, x: Array, shift: Array) -> Array:
        """Return how readings move with what is shared: drawn quantities, meters, the size of a fault."""
        by = drawn(x, self.bench.signs[:, :DRAWN])
        return np.concatenate([by, self.scale.common, SHIFT * shift[None]]).T

    def _by(self, predicted: Array) -> Array:
        """Return the same and, at the plug, with what the others add there: shape (readings, k + m)."""
        x = self.scale(predicted)[1:]
        shift = x.mean(axis=0) - self.scale(self.base)
        return np.concatenate([self._shared(x, shift), np.eye(len(shift))[:, self.plug]], axis=1)


__all__ = ["COARSE", "RIPPLE", "Part"]
