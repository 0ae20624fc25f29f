"""All voltages, currents and temperatures of a unit under given loads, for all its rows at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ohmward.physics.design import Design, RailDesign
from ohmward.physics.heat import after, junction
from ohmward.physics.losses import TransformerState, transformer_state
from ohmward.physics.network import Operating, Scenario, pairs, ratio
from ohmward.physics.rails import RailState, finish, rectify

Array = npt.NDArray[np.float64]

CONSISTENT_K = 0.01
CONSISTENT_PULSE = 0.003
"""Copper temperature [K] and shape of the pulses are called consistent within these."""
MOST_ROUNDS = 15


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """A unit in one scenario; arrays of shape (rows,)."""

    scenario: Scenario
    at: Operating
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

    def secondary_v(self, rail: RailDesign) -> Array:
        """Return the RMS voltage at the terminals of the winding that feeds a rail [V]; of its first half."""
        source = rail.windings[0]
        found = next(t.terminal_v[source] for t in self.transformers.values() if source in t.terminal_v)
        return np.asarray(rail.turns * found)

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


def solve(design: Design, scenarios: Sequence[Scenario], at: Sequence[Operating]) -> list[State]:
    """Return the state of every scenario with the unit standing where `at` says."""
    grid = [pairs(design, scenario, where) for scenario, where in zip(scenarios, at, strict=True)]
    cursor = iter(rectify(design, [pair for row in grid for pair in row if pair.wanted]))
    states = []
    for scenario, row, where in zip(scenarios, grid, at, strict=True):
        air = _air_c(design, scenario)
        rails = {
            pair.rail.name: finish(pair, next(cursor), ratio(design, pair.rail))
            for pair in row
            if pair.wanted
        }
        states.append(
            State(
                scenario=scenario,
                at=where,
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
                        copper_c=where.copper_c[name],
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
    elapsed_s: Sequence[float],
) -> list[State]:
    """Return the state of every scenario `elapsed_s` after it began with everything at room temperature.

    The nominal design is brought to where loss, copper temperature, resistance and the shapes of its
    current pulses agree. Each other row takes the shapes from it, and its copper temperature from the
    nominal losses and its own thermal resistance and time constant: a few kelvin off at most, which is
    under 0.1 % of a rail's voltage.

    Parameters
    ----------
    nominal, design : Design
        The same unit with one row and with all of them.
    elapsed_s : sequence of float
        For each scenario; infinite for the end of a soak.
    """

    def warmed(index: int, state: State) -> Mapping[str, Array]:
        return {
            name: after(elapsed_s[index], state.air_c, state.transformers[name].final_c, t.tau_s)
            for name, t in nominal.transformers.items()
        }

    room = [dict.fromkeys(nominal.transformers, _air_c(nominal, scenario)) for scenario in scenarios]
    steady = _agree(nominal, scenarios, room, warmed)
    if design.rows == 1:
        return steady
    at = []
    for state, elapsed in zip(steady, elapsed_s, strict=True):
        copper_c, air = {}, _air_c(design, state.scenario)
        for name, transformer in design.transformers.items():
            rise = state.transformers[name].final_c[0] - state.air_c[0]
            final = air + rise * transformer.thermal_kpw / nominal.transformers[name].thermal_kpw[0]
            copper_c[name] = after(elapsed, air, final, transformer.tau_s)
        at.append(Operating(copper_c=copper_c, pulse=state.at.pulse))
    return solve(design, scenarios, at)


def at_temperatures(
    nominal: Design, design: Design, scenario: Scenario, copper_c: Mapping[str, float]
) -> State:
    """Return the state with the windings at given temperatures [°C]."""

    def rows(of: Design) -> dict[str, Array]:
        return {name: np.full(of.rows, copper_c[name]) for name in of.transformers}

    held = rows(nominal)
    (steady,) = _agree(nominal, [scenario], [held], lambda _index, _state: held)
    if design.rows == 1:
        return steady
    (state,) = solve(design, [scenario], [Operating(copper_c=rows(design), pulse=steady.at.pulse)])
    return state


def _agree(
    nominal: Design,
    scenarios: Sequence[Scenario],
    start_c: Sequence[Mapping[str, Array]],
    warmed: Callable[[int, State], Mapping[str, Array]],
) -> list[State]:
    """Return states whose temperatures and pulses are those they were computed at."""
    at = [Operating(copper_c=start, pulse={}) for start in start_c]
    states: dict[int, State] = {}
    moving = list(range(len(scenarios)))
    for _ in range(MOST_ROUNDS):
        solved = solve(nominal, [scenarios[i] for i in moving], [at[i] for i in moving])
        states |= dict(zip(moving, solved, strict=True))
        still = []
        for i in moving:
            following = Operating(copper_c=warmed(i, states[i]), pulse=_pulses(states[i]))
            if _moved(at[i], following):
                at[i] = following
                still.append(i)
        moving = still
        if not moving:
            break
    return [states[i] for i in range(len(scenarios))]


def _air_c(design: Design, scenario: Scenario) -> Array:
    """Return the air around everything that loses heat [°C]."""
    return np.asarray(scenario.ambient_c + design.ambient_offset_k + design.condition.air_rise_k)


def _pulses(state: State) -> dict[str, float]:
    """Return peak over mean current of every rail that shares a transformer with another that is computed."""
    known = {name: rail for name, rail in state.rails.items() if bool(rail.reservoir.converged[0])}
    if len(known) < 2:
        return {}
    return {name: float(rail.reservoir.source_peak_a[0] / rail.raw_a[0]) for name, rail in known.items()}


def _moved(old: Operating, new: Operating) -> bool:
    """Return True while temperature or pulse shape still differ from what they were computed at."""
    kelvin = [float(np.abs(new.copper_c[name] - old.copper_c[name]).max()) for name in new.copper_c]
    share = [abs(new.pulse[name] / old.pulse.get(name, np.inf) - 1) for name in new.pulse]
    return max(kelvin, default=0.0) > CONSISTENT_K or max(share, default=0.0) > CONSISTENT_PULSE
