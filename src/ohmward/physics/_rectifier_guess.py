"""Where to begin: window of conduction and diode current from a pulse cut off by a straight chord.

Only a beginning; nothing of it stays in the answer. It must be near enough for Newton to converge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ohmward.physics._rectifier_circuit import Array, Circuit, Mask

_HALF = np.linspace(0.0, np.pi / 2, 65)[1:, None]
_SINE, _COSINE = np.sin(_HALF), np.cos(_HALF)
_CAP = 2 * (_SINE - _HALF * _COSINE)
"""Area of the cosine above a level that it crosses at ± _HALF."""
EDGE = np.pi / 2 - 1e-3
"""A window ends here at the latest: the source has changed its sign."""
TAIL = 7.0
"""A window reaches down to exp(−TAIL) of the peak current, or to where resistance no longer matters."""
KNEE = 0.05
"""… to where the resistive drop is this share of VT, if that is lower."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """Window [rad], U at its nodes, load current [A]; ``bearing`` is False where the load looks too heavy."""

    low: Array
    high: Array
    U: Array
    load_a: Array
    bearing: Mask


def guess(circuit: Circuit, nodes: Array) -> Guess:
    """Return a beginning for every column; `nodes` in [−1, 1], shape (nodes, 1)."""
    V, VT = circuit.V, circuit.VT
    level, charge, bearing = _level(circuit)
    drawn = _spread(circuit, charge)
    centre, width, resistance = _window(circuit, charge, drawn)
    soft = 4 * np.sqrt(VT / V)
    half = np.hypot(width / 2, soft)
    low = np.clip(centre - half, -EDGE, EDGE - 0.1)
    high = np.clip(centre + half, low + 0.1, EDGE)
    theta = 0.5 * (low + high) + 0.5 * (high - low) * nodes
    begin, end = np.cos(centre - width / 2), np.cos(centre + width / 2)
    chord = begin + (end - begin) / width * (theta - centre + width / 2)
    # A half too weak to conduct sits below the level the other one holds.
    chord = np.where(level > V, level / V, chord)
    above = V * (np.cos(theta) - chord) / VT
    return Guess(
        low=low,
        high=high,
        U=np.log(VT / resistance) + _log_omega(above),
        load_a=np.maximum(charge / drawn - circuit.leak, 0.0),
        bearing=bearing,
    )


def _spread(circuit: Circuit, charge: Array) -> Array:
    """Return the angle whose load each window's charge carries."""
    if circuit.halves == 1:
        return np.full_like(charge, circuit.period)
    both = charge.reshape(2, -1).sum(axis=0)
    return np.asarray(circuit.period * charge / np.tile(both, 2))


def _level(circuit: Circuit) -> tuple[Array, Array, Mask]:
    """Return output plus diode drop [V], charge a window [A·rad], and whether the source can bear the load.

    The reservoir is taken as endless: the charge the crest pushes through the resistance above a
    constant level meets the load's, at the highest level where it does.
    """
    n = circuit.designs
    V = circuit.V.reshape(circuit.halves, n)
    R = np.maximum((circuit.R0 + circuit.esr + circuit.a / 6).reshape(circuit.halves, n), 1e-9)
    strong = np.argmax(V, axis=0)
    first = np.take_along_axis(V, strong[None], axis=0)[0]
    levels = first * _COSINE
    given = 0.0 * levels
    for half in range(circuit.halves):
        cap = _cap(np.minimum(levels / V[half], 1.0)) if circuit.halves == 2 else _CAP
        given = given + V[half] / R[half] * cap
    head = np.arange(n)
    load, VT, Is = circuit.load.take(head), circuit.VT[:n], circuit.Is[:n]
    typical = np.maximum(load.current(0.9 * first), 0.0)
    drop = VT * np.log1p(4 * typical / Is)
    out = np.maximum(levels - drop, 1e-3 * first)
    wanted = circuit.period * (load.current(out) + circuit.leak[:n])
    enough = (given >= wanted) & (levels > drop)
    row = np.argmax(enough, axis=0)
    bearing = enough.any(axis=0)
    row = np.where(bearing, row, len(_HALF) // 2)
    level = np.take_along_axis(levels, row[None], axis=0)[0]
    need = circuit.period * (load.current(np.maximum(level - drop, 1e-3 * first)) + circuit.leak[:n])
    need = np.maximum(need, 1e-15)
    if circuit.halves == 1:
        return level, need, bearing
    shares = np.stack([V[h] / R[h] * _cap(np.minimum(level / V[h], 1.0)) for h in range(2)])
    shares = np.maximum(shares / np.maximum(shares.sum(axis=0), 1e-300), 1e-6)
    return np.tile(level, 2), np.asarray((shares * need).reshape(-1)), bearing


def _cap(cosine: Array) -> Array:
    half = np.arccos(cosine)
    return np.asarray(2 * (np.sqrt(1 - np.square(cosine)) - half * cosine))


def _window(circuit: Circuit, charge: Array, drawn: Array) -> tuple[Array, Array, Array]:
    """Return centre and width of the pulse [rad] and the resistance it seems to flow through [Ω].

    A pulse above the chord between its ends carries V/R·cos(c)·2·(sin h − h·cos h), h half the width;
    the ends differ by what the load takes from the reservoir outside. The reservoir itself and the
    softness of the diode act as further resistance: both limits are right, between them it is a blend.
    """
    V, VT, a = circuit.V, circuit.VT, circuit.a
    R = circuit.R0 + circuit.esr
    width = np.minimum(np.cbrt(12 * charge * np.maximum(R, 1e-9) / V) + np.sqrt(8 * VT / V), 1.5)
    centre = np.full_like(width, -0.1)
    for _ in range(8):
        seen = R + a * width / 6 + VT * width / (1.5 * charge)
        half = np.cbrt(1.5 * charge * seen / V / np.cos(centre))
        width = 0.5 * width + np.minimum(half * (1 + np.square(half) / 30), 1.55)
        fall = a * charge / drawn * np.maximum(drawn - width, 0.0)
        centre = np.maximum(-np.arcsin(np.minimum(fall / (2 * V * np.sin(width / 2)), 0.95)), -1.3)
    return centre, width, R + a * width / 6


def _log_omega(z: Array) -> Array:
    """Return ln w of w + ln w = z (Wright's omega), to a few per cent."""
    big = np.maximum(z, 1.0)
    small = np.minimum(z, 1.0)
    log = np.where(z > 1.0, np.log(big - np.log(big) * big / (1 + big)), small - np.log1p(np.exp(small)))
    for _ in range(2):
        w = np.exp(log)
        log = log + (z - w - log) / (1 + w)
    return np.asarray(log)
