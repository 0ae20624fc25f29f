"""What an oscilloscope would show at a rail of the simulated unit: one cycle of the mains, repeated."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ohmward.physics.design import Design
from ohmward.physics.network import pairs
from ohmward.physics.rails import OSCILLATION_PP_V, cycle
from ohmward.physics.regulator import passed
from ohmward.physics.solve import State

Array = npt.NDArray[np.float64]

SAMPLES = 400
OSCILLATION_HZ = 187e3
"""Frequency of an oscillating regulator (made up for the simulation, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Waves:
    """One cycle at equally spaced moments from a rising zero of the mains; signed [V]."""

    reservoir_v: Array
    output_v: Array
    frequency_hz: float = 50.0
    noise_pp_v: float = 0.0
    """Broad-band noise at the output, peak to peak [V]."""
    swing_pp_v: float = 0.0
    """Of an oscillating regulator at the output [V]."""

    @classmethod
    def flat(cls, reservoir_v: float, output_v: float) -> Waves:
        """Return a rail that stands still."""
        return cls(reservoir_v=np.full(2, reservoir_v), output_v=np.full(2, output_v))

    def at(self, where: str, time_s: Array, rng: np.random.Generator) -> Array:
        """Return ``reservoir`` or ``output`` at the times given, noise included [V]."""
        wave = self.reservoir_v if where == "reservoir" else self.output_v
        place = np.mod(time_s * self.frequency_hz, 1.0) * len(wave)
        volts = np.interp(place, np.arange(len(wave) + 1), np.append(wave, wave[0]))
        if where == "output":
            volts = volts + rng.uniform(-0.5, 0.5, len(time_s)) * self.noise_pp_v
            volts = volts + 0.5 * self.swing_pp_v * np.sin(2 * np.pi * OSCILLATION_HZ * time_s)
        return np.asarray(volts)


def waves(design: Design, state: State, name: str) -> Waves:
    """Return one cycle of a rail of a one-row design in one state."""
    found = state.rails[name].reservoir
    rail = design.rails[name]
    if not found.converged[0]:
        return Waves.flat(0.0, 0.0)
    pair = next(each for each in pairs(design, state.scenario, state.at) if each.rail.name == name)
    _, raw, _ = cycle(design, pair, SAMPLES)
    if not np.isfinite(raw).all():
        # Without a reservoir there is no cycle to sample: humps of the size the model gives.
        mean, half = float(found.mean_v[0]), float(found.ripple_pp_v[0]) / 2
        raw = mean - half * np.cos(4 * np.pi * np.arange(SAMPLES) / SAMPLES)
    regulator, load = rail.regulator, float(pair.load_a[0])
    output, noise, swing = raw, 0.0, 0.0
    if regulator is not None and regulator.state != "shorted":
        swing = OSCILLATION_PP_V if regulator.state == "oscillating" else 0.0
        noise = float(regulator.noise_pp_v[0])
        output = passed(
            raw,
            set_point_v=float(state.rails[name].output_v[0]) + load * float(rail.wiring_ohm[0])
            if swing
            else float(regulator.set_point_v[0]),
            load_a=0.0 if swing else load,
            output_ohm=float(regulator.output_ohm[0]),
            dropout_v=float(regulator.dropout_v[0]),
            rejection_db=float(regulator.rejection_db[0]),
        )
    output = np.maximum(output - load * float(rail.wiring_ohm[0]), 0.0)
    return Waves(
        reservoir_v=rail.sign * raw,
        output_v=rail.sign * output,
        frequency_hz=design.frequency_hz,
        noise_pp_v=noise,
        swing_pp_v=swing,
    )
