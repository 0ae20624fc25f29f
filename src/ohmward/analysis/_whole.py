"""A whole supply in its independent parts: any hypothesis scored on the readings of all of them.

A fault of one part is simulated there alone; the others come in by what their readings say of what is shared
(`_sharing`). Two faults of different parts are simulated each in its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from ohmward.analysis._hypotheses import HEALTHY_UNIT, Hypothesis
from ohmward.analysis._independent import independent
from ohmward.analysis._likelihood import Fit, Scale, drawn, kernel_terms, student, widened
from ohmward.analysis._observations import Observation
from ohmward.analysis._part import COARSE, RIPPLE, Part
from ohmward.analysis._predictions import Plug
from ohmward.analysis._sharing import DRAWN, Rest, Said, rest
from ohmward.supply.model import Supply

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class WholeFit:
    """How a hypothesis agrees with all readings."""

    fit: Fit
    """Terms, expectations and spreads of all readings of the unit, in their order."""
    misfits: tuple[float, ...]
    """Squared distance per reading, of each part."""

    @property
    def misfit(self) -> float:
        """Squared distance per reading, of the part where it is worst."""
        return max(self.misfits)


class Whole:
    """A supply with the readings that were taken of it."""

    def __init__(self, supply: Supply, seen: Sequence[Observation], *, mains_known: bool = True) -> None:
        regulated = frozenset(rail.name for rail in supply.rails if rail.regulator is not None)
        self.scale = Scale(seen, regulated)
        meters = self.scale.meters
        self.parts = [
            Part(each, self.scale.seen, meters, mains_known=mains_known) for each in independent(supply)
        ]
        self.several = len(self.parts) > 1
        if self.several:
            self._join()
        self._known: dict[tuple[tuple[str, str, float], ...], list[Rest | None]] = {}
        self._sound_said: dict[int, Said] = {}

    def _join(self) -> None:
        """Give each part what the others put on the mains lead."""
        plugs = [part.bench.at_plug for part in self.parts]
        for at, part in enumerate(self.parts):
            beside = Plug()
            for other, plug in enumerate(plugs):
                beside = beside if other == at else beside.beside(plug)
            part.bench.beside = beside

    @cached_property
    def base(self) -> Array:
        """Nominal readings of the sound unit; those of no part stand as they were read."""
        found = np.array([each.value for each in self.scale.seen], dtype=float)
        for part in self.parts:
            found[part.columns] = part.base
        return found

    @cached_property
    def weighed(self) -> Array:
        """Which readings are of some part and scored together, as places."""
        mine = np.zeros(len(self.scale.seen), dtype=bool)
        for part in self.parts:
            mine[part.columns] = True
        return np.array([at for at in self.scale.joint if mine[at]], dtype=int)

    # --- one hypothesis

    def home(self, hypothesis: Hypothesis) -> int:
        """Return the part that a hypothesis is scored in, given the others: where its first fault sits."""
        for fault in hypothesis.parts:
            for at, part in enumerate(self.parts):
                if fault.fault.scope != "unit" and fault.subject in part.names:
                    return at
        return 0

    def predicted(self, at: int, hypothesis: Hypothesis) -> Array:
        """Return the readings of a part, at the plug with what the faults do in the others."""
        part = self.parts[at]
        found = part.predicted(hypothesis)
        moved = [other for other in self.parts if other is not part and other.moved(hypothesis)]
        if not (moved and part.plug.any()):
            return found
        adds = sum(other.predicted(hypothesis)[0, other.plug] - other.base[other.plug] for other in moved)
        found = found.copy()
        found[:, part.plug] = np.maximum(found[:, part.plug] + adds, 0.0)
        return found

    def rests(self, hypothesis: Hypothesis = HEALTHY_UNIT) -> list[Rest | None]:
        """Return for each part what the others say under a hypothesis; None where there is no other."""
        if not self.several:
            return [None]
        key = tuple((part.fault.name, part.subject, part.size) for part in hypothesis.parts)
        if key not in self._known:
            bare, fits = self._parted(hypothesis)
            said = [replace(each, beyond=found.beyond) for each, found in zip(bare, fits, strict=True)]
            self._known[key] = [self._rest(at, said) for at in range(len(self.parts))]
        return self._known[key]

    def fit(self, hypothesis: Hypothesis) -> WholeFit:
        """Return the agreement of a hypothesis with all readings."""
        home = self.home(hypothesis)
        if not self.several:
            found = self.parts[0].fit(self.predicted(0, hypothesis), None)
            return WholeFit(self._spread_out([found], found), (self._misfit(0, found),))
        _, fits = self._parted(hypothesis)
        found = fits[home]
        found = replace(found, log_likelihood=found.given(sum(each.beyond for each in fits) - found.beyond))
        fits[home] = found
        misfits = tuple(self._misfit(at, each) for at, each in enumerate(fits))
        return WholeFit(self._spread_out(fits, found), misfits)

    def _parted(self, hypothesis: Hypothesis) -> tuple[list[Said], list[Fit]]:
        """Return what each part says under a hypothesis, and how it fits given what the others say."""
        touched = [part.moved(hypothesis) for part in self.parts]
        predicted = [self.predicted(at, hypothesis) for at in range(len(self.parts))]
        said = [
            part.said(readings, moved=moved) if moved or at not in self._sound_said else self._sound_said[at]
            for at, (part, readings, moved) in enumerate(zip(self.parts, predicted, touched, strict=True))
        ]
        self._sound_said |= {at: each for at, each in enumerate(said) if not touched[at]}
        fits = [
            part.fit(readings, self._rest(at, said))
            for at, (part, readings) in enumerate(zip(self.parts, predicted, strict=True))
        ]
        return said, fits

    def _misfit(self, at: int, found: Fit) -> float:
        count = len(self.parts[at].scale.joint)
        return found.distance / count if count else 0.0

    def _spread_out(self, fits: Sequence[Fit], home: Fit) -> Fit:
        """Return the fit of one part with the readings of all in their places."""
        count = len(self.scale.seen)
        terms, expected, spread = np.zeros(count), self.scale.y.copy(), np.zeros(count)
        for part, each in zip(self.parts, fits, strict=True):
            keep = ~part.plug | (each is home)
            at = part.columns[keep]
            terms[at], expected[at], spread[at] = each.terms[keep], each.expected[keep], each.spread[keep]
        return replace(home, terms=terms, expected=expected, spread=spread)

    def _rest(self, at: int, said: Sequence[Said]) -> Rest:
        others = [each for place, each in enumerate(said) if place != at]
        part = self.parts[at]
        return rest(others, DRAWN + len(self.scale.meters) + 1, int(part.plug.sum()))

    # --- all readings of the sound unit as one

    @cached_property
    def sound(self) -> tuple[Array, Array]:
        """Mean and covariance of all readings of the sound unit on their scale."""
        count = len(self.scale.seen)
        base = self.scale(self.base)
        mean, cov = base.copy(), self.scale.noise.copy()
        by = np.zeros((DRAWN, count))
        for part in self.parts:
            x = part.scale(part.bench.sound)[1:]
            shared = drawn(x, part.bench.signs[:, :DRAWN])
            away = x - x.mean(axis=0)
            mean[part.columns] += x.mean(axis=0) - part.scale(part.base)
            cov[np.ix_(part.columns, part.columns)] += away.T @ away / len(x) - shared.T @ shared
            by[:, part.columns] += shared
        return mean, cov + by.T @ by

    def rough(self, shift: Array) -> float:
        """Return the log-likelihood of the sound unit's readings moved by a shift in all its parts."""
        mean, cov = self.sound
        joint = self.weighed
        wide = widened(cov, shift, COARSE)
        lower = np.linalg.cholesky(wide[np.ix_(joint, joint)])
        z = np.linalg.solve(lower, (self.scale.y - mean - shift)[joint])
        ripple = 0.0
        for part in self.parts:
            x = part.scale(part.bench.sound)[1:] + shift[part.columns]
            ripple += float(kernel_terms(part.scale, x).sum())
        return student(float(z @ z), len(joint)) - float(np.log(np.diag(lower)).sum()) + RIPPLE * ripple


__all__ = ["Whole", "WholeFit"]
