"""Each reading that a cause is inferred from, of every row of a design, as a magnitude."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from ohmward.analysis._observations import Observation
from ohmward.physics.design import Design
from ohmward.physics.discharge import time_to
from ohmward.physics.heat import after, copper
from ohmward.physics.solve import State

Array = npt.NDArray[np.float64]


def reading(design: Design, state: State | None, seen: Observation, before_s: Array | float = 0.0) -> Array:
    """Return one reading of every row, as a magnitude; `before_s` as in `_predictions`."""
    if seen.key in COLD:
        return COLD[seen.key](design, seen)
    if state is None:
        raise ValueError(f"{seen.key} needs the state of the unit")
    if seen.key in _WARM:
        return _WARM[seen.key](design, state, seen, seen.elapsed_s + np.asarray(before_s))
    return np.asarray(_LOADED[seen.key](design, state, seen))


def _secondary_no_load(design: Design, seen: Observation) -> Array:
    volts = seen.mains_v * design.mains_factor * design.condition.mains_factor
    return np.asarray(volts * design.winding(seen.subject).ratio[seen.subject])


def _winding(design: Design, seen: Observation) -> Array:
    room = seen.ambient_c + design.ambient_offset_k
    return np.asarray(copper(design.winding(seen.subject).secondary_ohm[seen.subject], room))


def _primary(design: Design, seen: Observation) -> Array:
    room = seen.ambient_c + design.ambient_offset_k
    mine = [t for name, t in design.transformers.items() if seen.subject in ("", name) and not t.invented]
    # at the plug all primaries lie in parallel
    return np.asarray(1 / sum(1 / copper(t.primary_ohm, room) for t in mine))


def _bleeder(design: Design, seen: Observation) -> Array:
    rail = design.rails[seen.subject]
    conductance = 1 / rail.bleeder_ohm + 1 / rail.leak_ohm + 1 / OPEN_OHM
    return np.asarray(1 / conductance)


OPEN_OHM = 1e6
"""What a meter shows across a reservoir without a bleeder, by its leakage [Ω]."""
COLD: dict[str, Callable[[Design, Observation], Array]] = {
    "no_load_v": _secondary_no_load,
    "winding_ohm": _winding,
    "primary_ohm": _primary,
    "bleeder_ohm": _bleeder,
}
"""Readings known from the design alone, whatever the loads."""


def _heatsink(design: Design, state: State, seen: Observation, warm_s: Array) -> Array:
    rail = design.rails[seen.subject]
    final = state.sink_c(rail)
    if final is None:
        return np.full(design.rows, np.nan)
    return after(warm_s, state.air_c, final, rail.sink_tau_s)


def _surface(design: Design, state: State, seen: Observation, warm_s: Array) -> Array:
    transformer, now = design.transformers[seen.subject], state.transformers[seen.subject]
    settled = after(warm_s, state.air_c, now.final_c, transformer.tau_s)
    return np.asarray(state.air_c + (settled - state.air_c) * transformer.surface_share)


def _discharge(design: Design, state: State, seen: Observation) -> Array:
    rail = design.rails[seen.subject]
    return time_to(state.rails[rail.name].reservoir.mean_v, _bleeder(design, seen), rail.capacitance_f)


_LOADED: dict[str, Callable[[Design, State, Observation], Array]] = {
    "output_v": lambda design, state, seen: state.rails[seen.subject].output_v,
    "reservoir_v": lambda design, state, seen: state.rails[seen.subject].reservoir.mean_v,
    "reservoir_ripple_pp_v": lambda design, state, seen: state.rails[seen.subject].reservoir.ripple_pp_v,
    "output_ripple_pp_v": lambda design, state, seen: state.rails[seen.subject].output_ripple_pp_v,
    "secondary_v": lambda design, state, seen: state.secondary_v(design.rails[seen.subject]),
    "mains_a": lambda design, state, seen: state.mains_a,
    "mains_no_load_a": lambda design, state, seen: state.mains_a,
    "discharge_s": _discharge,
}
_WARM: dict[str, Callable[[Design, State, Observation, Array], Array]] = {
    "heatsink_c": _heatsink,
    "surface_c": _surface,
}
