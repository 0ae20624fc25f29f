"""Which rails of a crowded transformer are weighed: a bound on what one part of a supply may cost.

Each rail has some seventeen quantities with a tolerance and two dozen readings; on one transformer all of
them bear on each other. Of more than `RAILS` those are weighed whose readings are farthest from the nominal
unit's; the others load the transformer as the sheet says, and are not asked what is wrong with them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import msgspec
import numpy as np

from ohmward.analysis._hypotheses import Levels, generator
from ohmward.analysis._likelihood import Scale
from ohmward.analysis._observations import Observation
from ohmward.analysis._predictions import Bench
from ohmward.analysis._readings import COLD, reading
from ohmward.physics.condition import Unit
from ohmward.physics.design import build
from ohmward.supply.model import Supply

RAILS = 10
"""Rails of one transformer that are weighed."""
_SHARE = 0.02
"""Taken as the spread of a reading by tolerances, as a share, to compare one rail with another."""


@dataclass(frozen=True, slots=True)
class Uncrowded:
    """A part of a sheet, what is weighed of it first."""

    supply: Supply
    still: tuple[int, int] = (0, 0)
    """Quantities of the rails that are not weighed, in the order in which they are drawn (`Levels`)."""
    left_out: frozenset[str] = frozenset()


def uncrowded(supply: Supply, seen: Sequence[Observation]) -> Uncrowded:
    """Return the part with the rails that are weighed first, and the names of those that are not."""
    if len(supply.rails) <= RAILS:
        return Uncrowded(supply)
    far = _farthest(supply, seen)
    ordered = sorted(supply.rails, key=lambda rail: -far.get(rail.name, 0.0))
    kept = ordered[:RAILS]
    whole = msgspec.structs.replace(supply, rails=tuple(ordered))
    asked, alone = _asked(whole), _asked(msgspec.structs.replace(supply, rails=tuple(kept)))
    before = alone - _asked(msgspec.structs.replace(supply, rails=()))
    shared = _asked(msgspec.structs.replace(supply, rails=(), transformers=()))
    return Uncrowded(
        supply=whole,
        still=(shared + before, shared + before + asked - alone),
        left_out=frozenset(rail.name for rail in ordered[RAILS:]),
    )


def _asked(supply: Supply) -> int:
    """Return how many quantities are drawn for a sheet."""
    levels = Levels(2)
    build(Unit(sheet=supply), rng=generator(levels), draws=1)
    return levels.asked


def _farthest(supply: Supply, seen: Sequence[Observation]) -> dict[str, float]:
    """Return how far each rail's readings are from nominal, unloaded and at the heaviest of its loads."""
    names = {rail.name for rail in supply.rails}
    most: dict[str, float] = {}
    for each in seen:
        if each.subject in names and len(each.loads) <= 1:
            most[each.subject] = max(most.get(each.subject, 0.0), _load(each))
    chosen = [
        each
        for each in seen
        if each.subject in names
        and len(each.loads) <= 1
        and (not each.loads or _load(each) == most[each.subject])
    ]
    bench = Bench(supply, chosen)
    scale = Scale(chosen, frozenset())
    states = bench.warm
    nominal = np.array(
        [
            float(reading(bench.nominal, None if e.key in COLD else states[e.scenario], e).ravel()[0])
            for e in chosen
        ]
    )
    base = scale(np.where(np.isfinite(nominal), nominal, 0.0))
    spread = np.hypot(np.sqrt(np.diag(scale.noise)), np.where(scale.logs, _SHARE * 10, _SHARE * np.abs(base)))
    away = np.abs(scale.y - base) / spread
    far: dict[str, float] = {}
    for each, by in zip(chosen, away, strict=True):
        far[each.subject] = max(far.get(each.subject, 0.0), float(by))
    return far


def _load(seen: Observation) -> float:
    return sum(amps for name, amps in seen.loads if name == seen.subject)


__all__ = ["RAILS", "Uncrowded", "uncrowded"]
