"""A unit on the bench: node voltages and temperatures under the loads of the moment.

For whatever must behave like the unit: a simulated bench that steps its bodies' temperatures through
time, or an analysis that fits the unit's unknowns. `expect` runs on the same `solve`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ohmward.errors import InputError, Mistake
from ohmward.physics.condition import Unit, as_unit
from ohmward.physics.design import Design, build
from ohmward.physics.heat import after
from ohmward.physics.network import Scenario
from ohmward.physics.problems import ROOM_C, possible
from ohmward.physics.solve import State, at_temperatures, settle
from ohmward.supply.model import Supply

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """One thing that warms up with one time constant; arrays of shape (1 + draws,)."""

    now_c: Array
    final_c: Array
    """Where it goes if nothing changes [°C]."""
    tau_s: Array

    def later(self, seconds: float) -> Array:
        """Return its temperature `seconds` [s] from now under the same conditions [°C]."""
        return after(seconds, self.now_c, self.final_c, self.tau_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulation:
    """The unit at one moment. Arrays of shape (1 + draws,): row 0 the nominal unit, then drawn ones."""

    design: Design
    state: State
    bodies: dict[str, Body]
    """``transformer T1`` (mean of its windings), ``heat sink +15`` (only those the sheet knows)."""

    def surface_c(self, transformer: str) -> Array:
        """Return the skin of a transformer [°C]."""
        rise = self.bodies[f"transformer {transformer}"].now_c - self.state.air_c
        return np.asarray(self.state.air_c + rise * self.design.transformers[transformer].surface_share)

    def junction_c(self, rail: str) -> Array | None:
        """Return the junction of a rail's pass device now [°C]; None where it has none, or no heat sink."""
        body, heat = self.bodies.get(f"heat sink {rail}"), self.state.rails[rail].dissipation_w
        regulator = self.design.rails[rail].regulator
        if body is None or heat is None or regulator is None:
            return None
        return np.asarray(body.now_c + heat * (regulator.interface_kpw + regulator.junction_kpw))


def simulate(
    supply: Supply | Unit,
    *,
    loads: Mapping[str, float],
    mains_v: float | None = None,
    ambient_c: float = 25.0,
    elapsed_s: float = np.inf,
    temperatures: Mapping[str, float] | None = None,
    draws: int = 0,
    seed: int = 0,
) -> Simulation:
    """Return the unit under simultaneous loads.

    Parameters
    ----------
    supply : Supply or Unit
        A sheet, or a sheet with its condition.
    loads : mapping
        Load current of each rail [A]; rails left out carry none.
    mains_v : float, optional
        Mains [V]; None takes the sheet's.
    ambient_c : float
        Room [°C].
    elapsed_s : float
        How long it has stood under these loads since it was at room temperature [s].
    temperatures : mapping, optional
        Temperatures of bodies by name [°C], as in `Simulation.bodies`; bodies left out are at room
        temperature. Wins over `elapsed_s`.
    draws, seed : int
        Units drawn from the tolerances, beside the nominal one.

    Returns
    -------
    Simulation
        To step through time, give `temperatures` of ``{name: body.later(dt)[row]}`` to the next call.

    Raises
    ------
    InputError
        When a value of the sheet or a load is impossible, or a load names no rail that can be modelled.
    """
    unit = as_unit(supply)
    mains = unit.sheet.mains.voltage_v if mains_v is None else mains_v
    _, wrong = possible(unit.sheet)
    mistakes = [
        Mistake(where="design sheet", field="", value="", why=word, mend="Correct the sheet")
        for word in wrong
    ]
    design = build(unit, rng=np.random.default_rng(seed), draws=draws) if not wrong else None
    mistakes += _mistakes(design, loads, mains, ambient_c)
    if mistakes or design is None:
        raise InputError(mistakes)
    scenario = Scenario(mains_v=mains, ambient_c=ambient_c, loads=dict(loads), wanted=frozenset(design.rails))
    nominal = design if draws == 0 else build(unit, rng=np.random.default_rng(seed), draws=0)
    if temperatures is None:
        (state,) = settle(nominal, design, [scenario], [elapsed_s])
    else:
        windings = {
            name: float(temperatures.get(f"transformer {name}", ambient_c)) for name in design.transformers
        }
        state = at_temperatures(nominal, design, scenario, windings)
    return Simulation(design=design, state=state, bodies=_bodies(design, state, elapsed_s, temperatures))


def _bodies(
    design: Design, state: State, elapsed_s: float, temperatures: Mapping[str, float] | None
) -> dict[str, Body]:
    bodies = {
        f"transformer {name}": Body(
            now_c=t.copper_c, final_c=t.final_c, tau_s=design.transformers[name].tau_s
        )
        for name, t in state.transformers.items()
    }
    for name, rail in design.rails.items():
        final = state.sink_c(rail)
        if final is None:
            continue
        label = f"heat sink {name}"
        if temperatures is None:
            now = after(elapsed_s, state.air_c, final, rail.sink_tau_s)
        else:
            now = np.full(design.rows, temperatures[label]) if label in temperatures else state.air_c
        bodies[label] = Body(now_c=now, final_c=final, tau_s=rail.sink_tau_s)
    return bodies


def _mistakes(
    design: Design | None, loads: Mapping[str, float], mains_v: float, ambient_c: float
) -> list[Mistake]:
    found = []
    if not ROOM_C[0] <= ambient_c <= ROOM_C[1]:
        low, high = ROOM_C
        found.append(
            _mistake("ambient_c", ambient_c, "not a room", f"Give it in °C, from {low:g} to {high:g}")
        )
    if not (np.isfinite(mains_v) and mains_v > 0):
        found.append(_mistake("mains_v", mains_v, "mains must be a voltage", "Give it in volt"))
    for name, load in loads.items():
        if not (np.isfinite(load) and load >= 0):
            found.append(
                _mistake(
                    f"loads[{name}]", load, "a load must be a current of 0 A or more", "Give it in ampere"
                )
            )
        if design is not None and name not in design.rails:
            known = ", ".join(design.rails) or "none"
            found.append(_mistake(f"loads[{name}]", load, "no such rail can be modelled", f"One of: {known}"))
    return found


def _mistake(field: str, value: float, why: str, mend: str) -> Mistake:
    return Mistake(where="", field=field, value=f"{value:g}", why=why, mend=mend)
