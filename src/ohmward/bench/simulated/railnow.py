"""A rail of the simulated unit at one moment, as ideal meters would show it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ohmward.physics.design import RailDesign
from ohmward.physics.rails import RailState

NAMEPLATE_OHM = 0.02
"""Output resistance of a rail of which only the nameplate is known (assumption) [Ω]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RailNow:
    """One rail at one moment; voltages with the rail's sign, ripple as a magnitude."""

    output_v: float = 0.0
    output_ripple_pp_v: float = 0.0
    reservoir_v: float = 0.0
    reservoir_ripple_rms_v: float = 0.0
    load_a: float = 0.0


def running(rail: RailDesign, state: RailState, load_a: float) -> RailNow:
    """Return a rail of a unit that is on; nothing where it has collapsed."""
    raw = state.reservoir
    if not (raw.converged[0] and math.isfinite(raw.mean_v[0])):
        return RailNow()
    return RailNow(
        output_v=rail.sign * float(state.output_v[0]),
        output_ripple_pp_v=float(state.output_ripple_pp_v[0]),
        reservoir_v=rail.sign * float(raw.mean_v[0]),
        reservoir_ripple_rms_v=float(raw.ripple_rms_v[0]),
        load_a=load_a * float(rail.load_factor[0]),
    )


def standing(rail: RailDesign, held_v: float) -> RailNow:
    """Return a rail of a unit that is off, with what its reservoir still holds (a magnitude) [V]."""
    output, regulator = held_v, rail.regulator
    if regulator is not None and regulator.state != "shorted":
        left = held_v - float(regulator.dropout_v[0])
        output = max(min(float(regulator.set_point_v[0]), left), 0.0)
    return RailNow(output_v=rail.sign * output, reservoir_v=rail.sign * held_v)


def nameplate(nominal_v: float, load_a: float, *, powered: bool) -> RailNow:
    """Return a rail that cannot be modelled: its nominal voltage while the unit is on."""
    if not powered:
        return RailNow()
    output = nominal_v - math.copysign(NAMEPLATE_OHM * load_a, nominal_v)
    return RailNow(output_v=output, reservoir_v=output, load_a=load_a)
