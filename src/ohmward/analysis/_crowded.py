"""Which rails of a crowded transformer are weighed: a bound on what one part of a supply may cost.

Each rail has some seventeen quantities with a tolerance and two dozen readings; on one transformer all of
them bear on each other. Of more than `RAILS` some are weighed, whose readings are farthest from the nominal
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
from ohmward.physics.condition import Unit
from ohmward.physics.design import build
from ohmward.supply.model import Supply

RAILS, LEAST = 10, 6
"""Rails of one transformer up to which all are weighed; of more so many that those weighed times all are its
square, which is what the computing goes by, and no fewer than the second."""
_UNITS = 40
"""Random units that the spread of a reading is taken from, to compare one rail with another."""


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
    most = max(LEAST, RAILS**2 // len(ordered))
    kept = ordered[:most]
    whole = msgspec.structs.replace(supply, rails=tuple(ordered))
    asked, alone = _asked(whole), _asked(msgspec.structs.replace(supply, rails=tuple(kept)))
    before = alone - _asked(msgspec.structs.replace(supply, rails=()))
    shared = _asked(msgspec.structs.replace(supply, rails=(), transformers=()))
    return Uncrowded(
        supply=whole,
        still=(shared + before, shared + before + asked - alone),
        left_out=frozenset(rail.name for rail in ordered[most:]),
    )


def fewer(most: int, supply: Supply) -> int:
    """Return how many faults to look at of a part, where `most` would be of one that is not crowded."""
    return max(1, most * RAILS // max(RAILS, len(supply.rails)))


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
    x = Scale(chosen, frozenset())
    bench = Bench(supply, chosen)
    units = build(Unit(sheet=supply), rng=np.random.default_rng(0), draws=_UNITS)
    drawn = x(np.nan_to_num(bench.of(units)))
    spread = np.sqrt(np.var(drawn, axis=0) + np.diag(x.noise))
    away = np.abs(x.y - drawn.mean(axis=0)) / spread
    far: dict[str, float] = {}
    for each, by in zip(chosen, away, strict=True):
        far[each.subject] = max(far.get(each.subject, 0.0), float(by))
    return far


def _load(seen: Observation) -> float:
    return sum(amps for name, amps in seen.loads if name == seen.subject)


__all__ = ["RAILS", "Uncrowded", "fewer", "uncrowded"]
