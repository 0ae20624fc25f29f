"""What a fault is: what it does to a unit, which readings it moves, and the words a person needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import msgspec

from ohmward.physics.condition import Unit
from ohmward.supply.model import Rail, Transformer

Scope = Literal["rail", "regulated-rail", "transformer", "unit"]
Severity = Literal["danger", "fault", "improvement"]
Direction = Literal["up", "down", "unstable"]
Change = Callable[[Unit, str, float], Unit]

READINGS = (
    "no_load.output_v",
    "no_load.reservoir_v",
    "output_v",
    "reservoir_mean_v",
    "reservoir_valley_v",
    "reservoir_ripple_pp_v",
    "output_ripple_pp_v",
    "ripple_at_mains_frequency",
    "secondary_v",
    "secondary_no_load_v",
    "winding_ohm",
    "primary_ohm",
    "headroom_v",
    "dissipation_w",
    "heatsink_c",
    "junction_c",
    "surface_c",
    "mains_a",
    "mains_no_load_a",
    "discharge_s",
    "bleeder_ohm",
    "earth_ohm",
    "insulation_ohm",
    "isolation_ohm",
    "output_to_case_ohm",
)
"""Readings that faults are told apart by: keys of `Expectation` (``no_load.`` where the rail is unloaded),
and those of the dead tests."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One way in which a unit goes wrong."""

    name: str
    title: str
    severity: Severity
    scope: Scope
    """What it sits in: a rail, a regulated rail, a transformer, or the unit as a whole."""
    moves: dict[str, Direction]
    """Readings of `READINGS` that tell it and which way they go, at rated load unless the key says otherwise.
    Others may follow from these (a regulator behind a sagging reservoir loses less heat)."""
    steady: tuple[str, ...] = ()
    """Readings that it leaves as they were, within 1 %: what tells it from its neighbours."""
    what: str
    confirm: str
    make_safe: str
    alike: str = ""
    """What no reading of this model tells from it: a part that is not the sheet's, an entry that is wrong. A
    sentence."""
    change: Change | None = None
    """None where no reading of this model shows it: found by looking, or it blows the fuse."""
    size: float = 1.0
    """Usual size, in the measure that `size_is` names."""
    sizes: tuple[float, ...] = ()
    """Sizes worth trying when causes are ranked; empty where there is only one."""
    size_is: str = ""


def on_rail(change: Callable[[Rail, float], dict[str, object]]) -> Change:
    """Return a change of one rail's condition from the fields it sets."""

    def changed(unit: Unit, name: str, size: float) -> Unit:
        condition = unit.condition
        rail = msgspec.structs.replace(condition.rail(name), **change(unit.sheet.rail(name), size))
        return _with(unit, rails=condition.rails | {name: rail})

    return changed


def on_transformer(change: Callable[[Transformer, float], dict[str, object]]) -> Change:
    """Return a change of one transformer's condition from the fields it sets."""

    def changed(unit: Unit, name: str, size: float) -> Unit:
        condition = unit.condition
        sheet = next(transformer for transformer in unit.sheet.transformers if transformer.name == name)
        transformer = msgspec.structs.replace(condition.transformer(name), **change(sheet, size))
        return _with(unit, transformers=condition.transformers | {name: transformer})

    return changed


def on_unit(change: Callable[[float], dict[str, object]]) -> Change:
    """Return a change of the whole unit's condition from the fields it sets."""

    def changed(unit: Unit, _name: str, size: float) -> Unit:
        return _with(unit, **change(size))

    return changed


def on_sheet_rail(change: Callable[[Rail], Rail]) -> Change:
    """Return a change of the sheet itself: a rail that is not what the sheet says."""

    def changed(unit: Unit, name: str, _size: float) -> Unit:
        rails = tuple(change(rail) if rail.name == name else rail for rail in unit.sheet.rails)
        return msgspec.structs.replace(unit, sheet=msgspec.structs.replace(unit.sheet, rails=rails))

    return changed


def on_primary(unit: Unit, name: str, size: float) -> Unit:
    """Return the unit with the rated primary voltage of a transformer multiplied: another tap is in use."""
    mains = unit.sheet.mains.voltage_v
    transformers = tuple(
        msgspec.structs.replace(t, primary_voltage_v=(t.primary_voltage_v or mains) * size)
        if t.name == name
        else t
        for t in unit.sheet.transformers
    )
    return msgspec.structs.replace(unit, sheet=msgspec.structs.replace(unit.sheet, transformers=transformers))


def _with(unit: Unit, **fields: object) -> Unit:
    return msgspec.structs.replace(unit, condition=msgspec.structs.replace(unit.condition, **fields))
