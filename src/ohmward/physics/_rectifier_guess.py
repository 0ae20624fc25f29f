"""Where to begin: window of conduction and diode current from a pulse cut off by a straight chord.

Only a beginning; nothing of it stays in the answer. It must be near enough for Newton to converge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ohmward.physics._rectifier_circuit import Circuit, ConstantCurrent, Mask
from ohmward.physics._rectifier_mesh import Array
from ohmward.physics._rectifier_state import log_omega, source

EDGE = np.pi / 2 - 1e-3
"""A window ends here at the latest: the source has changed its sign."""
SOFT = 3.5
"""How far a window reaches beyond where the pulse would be cut off sharply, in √(VT/V)."""
_HALF = np.linspace(0.0, np.pi / 2, 25)[1:, None]
_SINE, _COSINE = np.sin(_HALF), np.cos(_HALF)
_CAP = 2 * (_SINE - _HALF * _COSINE)
"""Area of the cosine above a level that it crosses at ± _HALF."""
_LEAST = 1e-3
"""Lowest output considered, as a share of the amplitude."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """Window [rad], U at its nodes, load current [A]; ``bearing`` is False where the load looks too heavy."""

    low: Array
    high: Array
    U: Array
    load_a: Array
    bearing: Mask


def guess(circuit: Circuit) -> Guess:
    """Return a beginning for every column."""
    V, VT = circuit.V, circuit.VT
    if circuit.halves == 1 and isinstance(circuit.load, ConstantCurrent):
        charge, bearing = _known_current(circuit, circuit.load.value)
        level = np.zeros_like(V)
    else:
        level, charge, bearing = _balance(circuit)
    drawn = _spread(circuit, charge)
    low, high, sine, width, resistance = _window(circuit, charge, drawn)
    # The chord from one end of the pulse to the other, V·cos(c ± w/2), as middle and half the rise.
    middle = V * np.sqrt(1 - np.square(sine)) * np.cos(width / 2)
    rise = 2 * V * sine * np.sin(width / 2) / width
    # A half too weak to conduct sits below the level the other one holds.
    weak = level > V
    middle, rise = np.where(weak, level, middle), np.where(weak, 0.0, rise)
    centre = -np.arcsin(sine)
    above = source(circuit, low, high)[0]
    above -= (rise * 0.5 * (high - low)) * circuit.mesh.unit
    above -= middle + rise * (0.5 * (low + high) - centre)
    above /= VT
    U = log_omega(above)
    U += np.log(VT / resistance)
    load = np.maximum(charge / drawn - circuit.leak, 0.0)
    return Guess(low=low, high=high, U=U, load_a=load, bearing=bearing)


def _known_current(circuit: Circuit, current: Array) -> tuple[Array, Mask]:
    """Return charge a window [A·rad], and whether the source could bear it at no output voltage."""
    charge = circuit.period * (current + circuit.leak)
    drop = np.minimum(
        circuit.VT * np.maximum(np.log(4 * current + circuit.Is) - circuit.U0, 0.0) / circuit.V, 1.0
    )
    most = circuit.V / np.maximum(circuit.R0, 1e-9) * _cap(drop)
    return np.maximum(charge, 1e-15), charge < most


def _spread(circuit: Circuit, charge: Array) -> Array:
    """Return the angle whose load each window's charge carries."""
    if circuit.halves == 1:
        return np.full_like(charge, circuit.period)
    both = charge.reshape(2, -1).sum(axis=0)
    return np.asarray(circuit.period * charge / np.tile(both, 2))


def _balance(circuit: Circuit) -> tuple[Array, Array, Mask]:
    """Return output plus diode drop [V], charge a window [A·rad], and whether the source can bear the load.

    The reservoir is taken as endless: the charge the crest pushes through the resistance above a
    constant level meets the load's, at the highest level where it does.
    """
    n = circuit.designs
    V = circuit.V.reshape(circuit.halves, n)
    R = np.maximum((circuit.R0 + circuit.esr + circuit.a / 6).reshape(circuit.halves, n), 1e-9)
    first = V.max(axis=0)
    levels = first * _COSINE
    if circuit.halves == 1:
        given = (first / R[0]) * _CAP
    else:
        given = sum(V[h] / R[h] * _cap(np.minimum(levels / V[h], 1.0)) for h in range(2))
    load, leak = circuit.load.take(np.arange(n)), circuit.leak[:n]
    typical = load.current(0.9 * first)
    drop = circuit.VT[:n] * np.maximum(np.log(4 * typical + circuit.Is[:n]) - circuit.U0[:n], 0.0)
    wanted = circuit.period * (load.current(np.maximum(levels - drop, _LEAST * first)) + leak)
    enough = (given >= wanted) & (levels > drop)
    bearing = enough.any(axis=0)
    row = np.where(bearing, np.argmax(enough, axis=0), len(_HALF) // 2)
    level = np.take_along_axis(levels, row[None], axis=0)[0]
    need = circuit.period * (load.current(np.maximum(level - drop, _LEAST * first)) + leak)
    need = np.maximum(need, 1e-15)
    if circuit.halves == 1:
        return level, need, bearing
    shares = np.stack([V[h] / R[h] * _cap(np.minimum(level / V[h], 1.0)) for h in range(2)])
    shares = np.maximum(shares / np.maximum(shares.sum(axis=0), 1e-300), 1e-6)
    return np.tile(level, 2), np.asarray((shares * need).reshape(-1)), bearing


def _cap(cosine: Array) -> Array:
    half = np.arccos(cosine)
    return np.asarray(2 * (np.sqrt(1 - np.square(cosine)) - half * cosine))


def _window(circuit: Circuit, charge: Array, drawn: Array) -> tuple[Array, Array, Array, Array, Array]:
    """Return the window [rad], −sin of the pulse's centre, its width [rad], and its resistance [Ω].

    A pulse above the chord between its ends carries V/R·cos(c)·2·(sin h − h·cos h), h half the width;
    the ends differ by what the load takes from the reservoir outside. The reservoir itself and the
    softness of the diode act as further resistance: both limits are right, between them it is a blend.
    """
    V, VT, a = circuit.V, circuit.VT, circuit.a
    R = circuit.R0 + circuit.esr
    per_charge, fall = 1.5 * charge / V, a * charge / (2 * V)
    width = np.minimum(np.cbrt(8 * per_charge * R) + np.sqrt(8 * VT / V), 1.5)
    cosine = np.ones_like(width)
    for _ in range(3):
        seen = R + (a / 6 + VT / (1.5 * charge)) * width
        half = np.cbrt(per_charge * seen / cosine)
        width = 0.5 * width + np.minimum(half * (1 + np.square(half) / 30), 1.55)
        # sin(w/2) by its series: 3 % off at the widest.
        outside = np.maximum(1 - width / drawn, 0.0)
        sine = np.minimum(fall * outside / (0.5 * width * (1 - np.square(width) / 24)), 0.95)
        cosine = np.sqrt(1 - np.square(sine))
    centre, half = -np.arcsin(sine), np.hypot(width / 2, SOFT * np.sqrt(VT / V))
    low = np.clip(centre - half, -EDGE, EDGE - 0.1)
    high = np.clip(centre + half, low + 0.1, EDGE)
    return low, high, sine, width, R + a * width / 6
