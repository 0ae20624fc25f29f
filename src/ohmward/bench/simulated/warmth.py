"""How warm the parts of the simulated unit are, as its bench clock goes on."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from ohmward.physics.design import Design
from ohmward.physics.solve import State

CASE_KPW = 0.25
CASE_TAU_S = 1800.0
TERMINAL_K = 4.0
"""Rise of the hottest panel over the room for each watt of heat inside, its time constant, and what an
output terminal is warmer than the case at rated current (made up for the simulation, no source)."""


@dataclass(slots=True)
class Warmth:
    """Temperatures of the bodies of one unit [°C]; `room_c` is where they all began."""

    design: Design
    room_c: float
    bodies: dict[str, float] = field(default_factory=dict)
    """``transformer T1`` (mean of its windings), ``heat sink +15``, ``case``."""
    _judged: State | None = None
    _finals: dict[str, tuple[float, float]] = field(default_factory=dict)
    """Where each goes in the state last stepped through [°C], and its time constant [s]."""

    def __post_init__(self) -> None:
        names = [f"transformer {name}" for name in self.design.transformers]
        names += [
            f"heat sink {name}" for name, rail in self.design.rails.items() if rail.sink_kpw is not None
        ]
        for name in (*names, "case"):
            self.bodies.setdefault(name, self.room_c)

    def copper_c(self) -> dict[str, float]:
        """Return the temperature of each transformer's windings [°C]."""
        return {name: self.bodies[f"transformer {name}"] for name in self.design.transformers}

    def step(self, seconds: float, state: State | None, room_c: float) -> None:
        """Let `seconds` [s] pass in one state of the unit; None where it is off."""
        if state is not self._judged or not self._finals or state is None:
            self._judged = state
            self._finals = {name: self._final(name, state, room_c) for name in self.bodies}
        for name, now in self.bodies.items():
            final, tau = self._finals[name]
            self.bodies[name] = final - (final - now) * math.exp(-seconds / tau)

    def skin_c(self, transformer: str, room_c: float) -> float:
        """Return the surface of a transformer [°C]."""
        share = float(self.design.transformers[transformer].surface_share[0])
        return room_c + (self.bodies[f"transformer {transformer}"] - room_c) * share

    def _final(self, name: str, state: State | None, room_c: float) -> tuple[float, float]:
        kind, _, which = name.rpartition(" ")
        if kind == "transformer":
            tau = float(self.design.transformers[which].tau_s[0])
            return (room_c if state is None else float(state.transformers[which].final_c[0])), tau
        if kind == "heat sink":
            rail = self.design.rails[which]
            sink = None if state is None else state.sink_c(rail)
            final = room_c if sink is None or not math.isfinite(sink[0]) else float(sink[0])
            return final, float(rail.sink_tau_s[0])
        return room_c + (0.0 if state is None else CASE_KPW * heat_w(state)), CASE_TAU_S


def heat_w(state: State) -> float:
    """Return all the heat inside the unit [W]."""
    parts = [t.core_loss_w + t.copper_loss_w for t in state.transformers.values()]
    for rail in state.rails.values():
        parts.append(rail.bridge_w)
        if rail.dissipation_w is not None:
            parts.append(rail.dissipation_w)
    watts = [float(part[0]) for part in parts]
    return sum(each for each in watts if math.isfinite(each))
