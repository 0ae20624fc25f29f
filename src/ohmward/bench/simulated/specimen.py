"""One unit drawn from a sheet's tolerances, as a design of one row: the supply on the simulated bench."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

import numpy as np

from ohmward.errors import InputError, Mistake
from ohmward.physics.condition import Unit
from ohmward.physics.design import Design, build
from ohmward.physics.faults import apply
from ohmward.physics.network import Operating, Scenario
from ohmward.physics.problems import possible
from ohmward.physics.solve import State, at_temperatures, solve
from ohmward.supply.model import Supply

Part = TypeVar("Part")
FaultAt = tuple[str, str | None]
"""Name of a fault, and the rail or transformer it sits in (None takes the first that it can sit in)."""


def parse_fault(text: str) -> FaultAt:
    """Read ``NAME`` or ``NAME:SUBJECT``, as in ``open-diode:24``."""
    name, _, subject = text.partition(":")
    return name.strip(), subject.strip() or None


def faulty(supply: Supply, faults: Sequence[FaultAt]) -> Unit:
    """Return the unit with every fault in it.

    Raises
    ------
    InputError
        For an unknown fault, or one that cannot sit there; all of them at once.
    """
    unit = Unit(sheet=supply)
    mistakes: list[Mistake] = []
    for name, subject in faults:
        try:
            unit = apply(name, unit, subject)
        except InputError as error:
            mistakes += error.mistakes
    if mistakes:
        raise InputError(mistakes)
    return unit


def draw(unit: Unit, seed: int) -> Design:
    """Return one unit drawn from the tolerances of its sheet; the same seed gives the same unit.

    What the physics spreads for the sake of a person's readings (mains, room, set load) is exact here:
    the bench itself says what they are.

    Raises
    ------
    InputError
        When a value of the sheet is impossible.
    """
    _, wrong = possible(unit.sheet)
    if wrong:
        raise InputError(
            [
                Mistake(where="design sheet", field="", value="", why=word, mend="Correct the sheet")
                for word in wrong
            ]
        )
    drawn = _row(build(unit, rng=np.random.default_rng(seed), draws=1), 1)
    rails = {
        name: dataclasses.replace(
            rail, load_factor=np.full(1, 0.0 if unit.condition.rail(name).load_missing else 1.0)
        )
        for name, rail in drawn.rails.items()
    }
    return dataclasses.replace(
        drawn, rows=1, mains_factor=np.ones(1), ambient_offset_k=np.zeros(1), rails=rails
    )


def state_of(
    design: Design,
    *,
    loads: Mapping[str, float],
    mains_v: float,
    ambient_c: float,
    copper_c: Mapping[str, float],
    like: State | None = None,
) -> State:
    """Return all voltages and currents of a one-row design, its windings at given temperatures [°C].

    `like` is a state close by, under the same loads: the shapes of its current pulses are taken over, which
    saves the rounds in which they are found (they change far less than what they shape).
    """
    scenario = Scenario(
        mains_v=mains_v, ambient_c=ambient_c, loads=dict(loads), wanted=frozenset(design.rails)
    )
    if like is None:
        return at_temperatures(design, design, scenario, copper_c)
    held = {name: np.full(1, celsius) for name, celsius in copper_c.items()}
    (state,) = solve(design, [scenario], [Operating(copper_c=held, pulse=like.at.pulse)])
    return state


def _row(part: Part, row: int) -> Part:
    """Return a design, or a part of one, with `row` as the only row of its arrays."""
    changes = {
        field.name: _value(getattr(part, field.name), row)
        for field in dataclasses.fields(part)  # type: ignore[arg-type]  # only dataclasses come here
    }
    return dataclasses.replace(part, **changes)  # type: ignore[type-var]


def _value(value: Any, row: int) -> Any:
    if isinstance(value, np.ndarray):
        return value[row : row + 1]
    if isinstance(value, dict):
        return {key: _value(each, row) for key, each in value.items()}
    if dataclasses.is_dataclass(value):
        return _row(value, row)
    return value
