"""All voltages, currents and temperatures of a unit under given loads, for all its rows at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ohmward.physics.design import Design, RailDesign
from ohmward.physics.heat import after, junction
from ohmward.physics.losses import TransformerState, transformer_state
from ohmward.physics.network import Scenario, pairs, ratio
from ohmward.physics.rails import RailState, finish, rectify

Array = npt.NDArray[np.float64]

CONSISTENT_K = 0.01
"""Copper temperature and loss are called consistent within this [K]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """A unit in one scenario; arrays of shape (rows,)."""

    scenario: Scenario
    mains_v: Array
    air_c: Array
    """Room and whatever a fault adds to the air inside [°C]."""
    rails: dict[str, RailState]
    transformers: dict[str, TransformerState]

    @property
    def mains_a(self) -> Array:
        """RMS mains current [A]: load pulses, the core loss in phase with them, magnetising in quadrature."""
        every = self.transformers.values()
        nothing = np.zeros_like(self.mains_v)
        load: Array = sum((t.primary_a for t in every), nothing)
        idle: Array = sum((t.magnetising_a for t in every), nothing)
        in_phase: Array = sum((t.core_loss_w for t in every), nothing) / self.mains_v
        power: Array = sum((t.power_w for t in every), nothing)
        return np.asarray(np.sqrt(load**2 + idle**2 + 2 * in_phase * power / self.mains_v))

    def sink_c(self, rail: RailDesign) -> Array | None:
        """Return where the rail's heat sink settles [°C]; None where no heat sink is known."""
        heat = self.rails[rail.name].dissipation_w
        return None if heat is None or rail.sink_kpw is None else self.air_c + heat * rail.sink_kpw

    def junction_c(self, rail: RailDesign) -> Array | None:
        """Return where the pass device's junction settles [°C]."""
        sink, heat, regulator = self.sink_c(rail), self.rails[rail.name].dissipation_w, rail.regulator
        if sink is None or heat is None or regulator is None:
            return None
        return junction(sink, heat, regulator.interface_kpw, regulator.junction_kpw)


def solve(
    design: Design, scenarios: Sequence[Scenario], ambient_c: float, copper_c: Sequence[Mapping[str, Array]]
) -> list[State]:
    """Return the state of every scenario, windings at given temperatures.

    Parameters
    ----------
    copper_c : sequence of mapping
        For each scenario, mean temperature of each transformer's windings [°C], shape (rows,).
    """
    grid = [pairs(design, scenario, at) for scenario, at in zip(scenarios, copper_c, strict=True)]
    cursor = iter(rectify(design, [pair for row in grid for pair in row if pair.wanted]))
    air = ambient_c + design.ambient_offset_k + design.condition.air_rise_k
    states = []
    for scenario, row, at in zip(scenarios, grid, copper_c, strict=True):
        rails = {
            pair.rail.name: finish(pair, next(cursor), ratio(design, pair.rail))
            for pair in row
            if pair.wanted
        }
        states.append(
            State(
                scenario=scenario,
                mains_v=scenario.mains_v * design.mains_factor,
                air_c=air,
                rails=rails,
                transformers={
                    name: transformer_state(
                        design,
                        transformer,
                        mains_v=scenario.mains_v,
                        row=row,
                        rails=rails,
                        copper_c=at[name],
                        air_c=air,
                    )
                    for name, transformer in design.transformers.items()
                },
            )
        )
    return states


def settle(
    nominal: Design,
    design: Design,
    scenarios: Sequence[Scenario],
    ambient_c: float,
    elapsed_s: Sequence[float],
) -> list[State]:
    """Return the state of every scenario `elapsed_s` after it began with everything at room temperature.

    The nominal design is brought to where loss, copper temperature and resistance agree. Each
    other row takes its copper temperature from the nominal losses, its own thermal resistance and time
    constant: a few kelvin off at most, which is under 0.1 % of a rail's voltage.

    Parameters
    ----------
    nominal, design : Design
        The same unit with one row and with all of them.
    elapsed_s : sequence of float
        For each scenario; infinite for the end of a soak.
    """
    steady = _consistent(nominal, scenarios, ambient_c, elapsed_s)
    if design.rows == 1:
        return steady
    air = ambient_c + design.ambient_offset_k + design.condition.air_rise_k
    copper_c = []
    for state, elapsed in zip(steady, elapsed_s, strict=True):
        at = {}
        for name, transformer in design.transformers.items():
            rise = state.transformers[name].final_c[0] - state.air_c[0]
            final = air + rise * transformer.thermal_kpw / nominal.transformers[name].thermal_kpw[0]
            at[name] = after(elapsed, air, final, transformer.tau_s)
        copper_c.append(at)
    return solve(design, scenarios, ambient_c, copper_c)


def _consistent(
    nominal: Design, scenarios: Sequence[Scenario], ambient_c: float, elapsed_s: Sequence[float]
) -> list[State]:
    start = ambient_c + nominal.condition.air_rise_k
    at = [{name: np.full(nominal.rows, start) for name in nominal.transformers} for _ in scenarios]
    for _ in range(12):
        states = solve(nominal, scenarios, ambient_c, at)
        moved = 0.0
        following = []
        for state, elapsed, now in zip(states, elapsed_s, at, strict=True):
            there = {
                name: after(elapsed, np.full(nominal.rows, start), state.transformers[name].final_c, t.tau_s)
                for name, t in nominal.transformers.items()
            }
            moved = max([moved, *(float(np.abs(there[name] - now[name]).max()) for name in there)])
            following.append(there)
        if not moved > CONSISTENT_K:
            break
        at = following
    return states
