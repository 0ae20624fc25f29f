"""What may be wrong: every fault of the library, in every place it can sit in, in several sizes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, TypeVar, cast

import msgspec
import numpy as np
import numpy.typing as npt

from ohmward.analysis._priors import HEALTHY, SECOND, UNKNOWN, WEIGHTS
from ohmward.physics.condition import Condition, RailCondition, TransformerCondition, Unit
from ohmward.physics.fault import Fault
from ohmward.physics.faults import FAULTS, apply, subjects
from ohmward.supply.model import Supply

Array = npt.NDArray[np.float64]
Kind = TypeVar("Kind", RailCondition, TransformerCondition, Condition)

_SCALAR_RAIL = frozenset({"open_half", "bleeder_missing", "regulator", "load_missing"})
"""What the model takes for all rows of a design alike; so is a reservoir of no capacitance."""


@dataclass(frozen=True, slots=True)
class Part:
    """One fault in one place, of a size known within a factor of exp(± spread)."""

    fault: Fault
    subject: str
    size: float
    spread: float = 0.0

    def applied(self, unit: Unit, place: Array | None = None) -> Unit:
        """Return the unit with it; `place` (from -1 to 1, one a row) sets the size of each row."""
        size: Any = self.size
        if place is not None and self.spread > 0:
            size = self.size * np.exp(self.spread * place)
        return apply(self.fault, unit, self.subject, size=size)


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """None, one or two faults; `prior` is the logarithm of its chance before any reading."""

    parts: tuple[Part, ...]
    prior: float

    @property
    def name(self) -> tuple[tuple[str, str], ...]:
        """Faults and places, whatever their sizes."""
        return tuple((part.fault.name, part.subject) for part in self.parts)

    def applied(self, unit: Unit, place: Array | None = None) -> Unit:
        """Return the unit with all its faults."""
        for part in self.parts:
            unit = part.applied(unit, place)
        return unit


HEALTHY_UNIT = Hypothesis((), math.log(HEALTHY))


def singles(supply: Supply) -> list[Hypothesis]:
    """Return every single fault that can sit in the supply, one hypothesis for each of its sizes."""
    places = [(fault, subject) for fault in FAULTS.values() for subject in subjects(fault, supply)]
    total = sum(WEIGHTS.get(fault.name, 0.5) for fault, _ in places)
    room = 1.0 - HEALTHY - UNKNOWN
    found = []
    for fault, subject in places:
        sizes = _sizes(fault)
        chance = room * WEIGHTS.get(fault.name, 0.5) / total / len(sizes)
        found += [
            Hypothesis((Part(fault, subject, size, spread),), math.log(chance)) for size, spread in sizes
        ]
    return found


def both(one: Hypothesis, other: Hypothesis) -> Hypothesis:
    """Return two faults at once."""
    room = math.log(1.0 - HEALTHY - UNKNOWN)
    return Hypothesis((*one.parts, *other.parts), one.prior + other.prior - room + math.log(SECOND))


ABOUT = 0.3
"""Half-width, on a logarithmic scale, of the size of a fault that comes in one size only."""


def _sizes(fault: Fault) -> list[tuple[float, float]]:
    """Return sizes with their half-widths on a logarithmic scale: half way to their neighbours."""
    if not fault.sizes:
        known = not fault.size_is or "primary" in fault.size_is
        return [(fault.size, 0.0 if known else ABOUT)]
    if "sheet" in fault.size_is or "primary" in fault.size_is:
        # taps come in steps
        return [(size, 0.0) for size in fault.sizes]
    logs = sorted(math.log(size) for size in fault.sizes)
    found = []
    for index, here in enumerate(logs):
        near = [abs(logs[other] - here) for other in (index - 1, index + 1) if 0 <= other < len(logs)]
        # a factor of one is no fault at all
        near = [min(gap, 1.2 * abs(here)) if fault.size_is.startswith("times") else gap for gap in near]
        found.append((math.exp(here), sum(near) / (2 * len(near))))
    return found


def batchable(unit: Unit, sheet: Supply) -> bool:
    """Return whether a unit's condition can be one row among others of the same design."""
    if unit.sheet is not sheet:
        return False
    sound = RailCondition()
    return all(
        rail.capacitance_factor > 0 and all(getattr(rail, f) == getattr(sound, f) for f in _SCALAR_RAIL)
        for rail in unit.condition.rails.values()
    )


def stacked(units: list[Unit], sheet: Supply) -> Unit:
    """Return one unit whose condition holds an array for each number, a row for each unit.

    `physics.design.build` multiplies and adds the numbers of a condition to arrays of shape (rows,), so
    that a row of them may differ from the next.
    """
    rails = {rail.name: _stack([u.condition.rail(rail.name) for u in units]) for rail in sheet.rails}
    transformers = {
        t.name: _stack([u.condition.transformer(t.name) for u in units]) for t in sheet.transformers
    }
    condition = _stack([msgspec.structs.replace(u.condition, rails={}, transformers={}) for u in units])
    whole = msgspec.structs.replace(condition, rails=rails, transformers=transformers)
    return Unit(sheet=sheet, condition=whole)


def _stack(parts: list[Kind]) -> Kind:
    changed: dict[str, Any] = {}
    for name in parts[0].__struct_fields__:
        values = [getattr(part, name) for part in parts]
        if any(value != values[0] for value in values):
            changed[name] = np.array([np.inf if value is None else value for value in values], dtype=float)
    return msgspec.structs.replace(parts[0], **changed)


class Levels:
    """Stands in for a random generator: each quantity gets the next column of a fixed design.

    Rows of a Hadamard matrix hold every quantity at plus or minus one standard deviation, all columns
    orthogonal, so that means and covariances over its rows are exact for a model that is linear.
    """

    def __init__(self, rows: int, still: tuple[int, int] = (0, 0)) -> None:
        """Take the number of rows, and from and to which quantity, as they are asked for, none is varied."""
        self._columns = _hadamard(rows)
        self._next, self._asked, self._still = 0, 0, still

    def uniform(self, _low: float, _high: float, size: int) -> Array:
        """Return the next column, scaled to the variance of a rectangle from -1 to 1."""
        self._asked += 1
        if self._still[0] < self._asked <= self._still[1]:
            return np.zeros(size)
        self._next += 1
        column = self._columns[:, 1 + self._next % (self._columns.shape[1] - 1)]
        return np.asarray(column[:size] / np.sqrt(3.0))

    def last(self, size: int, back: int = 1) -> Array:
        """Return the last column, or one further back, which a design of fewer quantities leaves free."""
        return np.asarray(self._columns[:size, -back] / np.sqrt(3.0))

    def signs(self, count: int) -> Array:
        """Return the first `count` columns handed out, as plus and minus one: shape (rows, count)."""
        width = self._columns.shape[1] - 1
        return np.stack([self._columns[:, 1 + k % width] for k in range(1, count + 1)], axis=1)

    @property
    def used(self) -> int:
        """Columns handed out so far."""
        return self._next

    @property
    def asked(self) -> int:
        """Quantities asked for so far."""
        return self._asked


class Nominal:
    """Stands in for a random generator where every row is the nominal unit."""

    def uniform(self, _low: float, _high: float, size: int) -> Array:
        """Return noughts."""
        return np.zeros(size)


def generator(levels: Levels | Nominal) -> np.random.Generator:
    """Return it as what `physics.design.build` asks for."""
    return cast(np.random.Generator, levels)


def _hadamard(rows: int) -> Array:
    matrix = np.ones((1, 1))
    while matrix.shape[0] < rows:
        matrix = np.block([[matrix, matrix], [matrix, -matrix]])
    return matrix
