"""Newton on the whole cycle at once: every node of the conduction and the closure of the cycle together.

Conduction is stepped by the two-derivative implicit formula of fourth order (Hermite–Obreshkov; Hairer
& Wanner, *Solving Ordinary Differential Equations II*, 2nd ed., section IV.3, Padé (2, 2), A-stable)::

    v[j+1] = v[j] + h/2·(G[j] + G[j+1]) + h²/12·(G'[j] − G'[j+1])

with G' known in closed form, on nodes crowded towards the ends of the window, where the diode's knee
is. Between windows the reservoir is discharged by the load law in closed form. The matrix of the whole
is bidiagonal but for the one entry that closes the cycle, so each iteration is a sweep over the nodes
(all designs at once) and one division. The windows are moved along with the iteration until they fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ohmward.physics._rectifier_circuit import (
    Array,
    Circuit,
    ConstantCurrent,
    ConstantPower,
    Mask,
)
from ohmward.physics._rectifier_guess import EDGE, KNEE, TAIL, guess

NODES = 20
"""Nodes a window; see tests/physics/test_rectifier_accuracy.py for what more would give."""
TOLERANCE = 1e-4
"""Largest last change of U; the error left is about its square."""
_ITERATIONS = 40
_EASY = 3
_MOVING = 10
_FITS = 0.01
_POWERS = 9

UNIT = -np.cos(np.pi * np.arange(NODES) / (NODES - 1))[:, None]
"""Chebyshev's extrema, the nodes of a window of half-width one; shape (nodes, 1)."""
SPACING = np.diff(UNIT, axis=0)
_SERIES = UNIT ** np.arange(2 * _POWERS)
_EVEN_FACTOR = (-1.0) ** np.arange(_POWERS) / np.cumprod([1.0, *(k * (k - 1) for k in range(2, 17, 2))])
_ODD_FACTOR = _EVEN_FACTOR / (2 * np.arange(_POWERS) + 1)


@dataclass(slots=True)
class Solution:
    """U at the nodes, shape (nodes, columns); window and state of each column or design."""

    low: Array
    high: Array
    U: Array
    converged: Mask
    bearing: Mask


def solve(circuit: Circuit) -> Solution:
    """Return the periodic steady state of every design; those without one are left unconverged."""
    start = guess(circuit, UNIT)
    found = Solution(start.low, start.high, start.U, np.zeros(circuit.designs, dtype=bool), start.bearing)
    left = np.arange(circuit.designs)
    some, low, high, U = circuit, start.low, start.high, start.U
    if isinstance(circuit.load, ConstantPower):
        # A negative resistance is joined once the iteration is near: far off it may lead anywhere.
        some = replace(circuit, load=ConstantCurrent(start.load_a))
    moving = np.ones(low.size, dtype=bool)
    for iteration in range(_ITERATIONS):
        if iteration == _EASY:
            some = circuit
        low, high, U, moving, change = _iterate(some, low, high, U, moving, iteration)
        still = np.any((change.reshape(some.halves, -1) > TOLERANCE), axis=0)
        still |= moving.reshape(some.halves, -1).any(axis=0)
        if iteration <= _EASY or (still.mean() > 0.7 and iteration < _ITERATIONS - 1):
            continue
        columns = circuit.columns(left)
        found.low[columns], found.high[columns], found.U[:, columns] = low, high, U
        found.converged[left] = ~still & np.isfinite(change.reshape(some.halves, -1)).all(axis=0)
        keep = np.flatnonzero(still)
        if keep.size == 0:
            break
        chosen = some.columns(keep)
        low, high, U, moving = low[chosen], high[chosen], U[:, chosen], moving[chosen]
        some, left = some.take(keep), left[keep]
    return found


def source(circuit: Circuit, low: Array, high: Array) -> tuple[Array, Array]:
    """Return V·cos θ and V·sin θ at the nodes, by a power series as one product of matrices."""
    half = 0.5 * (high - low)
    centre = 0.5 * (high + low)
    powers = np.square(half) ** np.arange(_POWERS)[:, None]
    even = powers * _EVEN_FACTOR[:, None]
    odd = powers * half * _ODD_FACTOR[:, None]
    cosine, sine = circuit.V * np.cos(centre), circuit.V * np.sin(centre)
    factors = np.empty((2 * _POWERS, 2 * half.size))
    factors[0::2, : half.size] = cosine * even
    factors[1::2, : half.size] = -sine * odd
    factors[0::2, half.size :] = sine * even
    factors[1::2, half.size :] = cosine * odd
    both = _SERIES @ factors
    return both[:, : half.size], both[:, half.size :]


@dataclass(slots=True)
class State:
    """Everything that follows from U at the nodes; names as in `_rectifier_circuit`, ' is d/dθ."""

    e: Array
    e_prime: Array
    J: Array
    vo: Array
    v: Array
    G: Array
    D: Array
    """−dv/dU [V]."""
    D_ohm: Array
    """dD/dJ [Ω]."""
    D_slope: Array
    """dD/dU [V]."""
    G_slope: Array
    """dG/dU [V/rad]."""
    U_prime: Array
    G_prime: Array
    bare: Array
    """J·(d²G/dU² over J) [V/rad]."""


def state(circuit: Circuit, low: Array, high: Array, U: Array) -> State:
    """Return the circuit's state at the nodes; see the laws in `_rectifier_circuit`."""
    a, esr, R0, VT = circuit.a, circuit.esr, circuit.R0, circuit.VT
    e, sine = source(circuit, low, high)
    J = np.exp(U)
    vo = e - VT * U - R0 * J + (VT * np.log(circuit.Is) + R0 * circuit.Is)
    g = circuit.load.slope(vo)
    G = a * J - a * (circuit.load.current(vo) + circuit.leak)
    v = vo - (esr / a) * G
    k = 1 + esr * g
    D_ohm = k * R0 + esr
    D_slope = D_ohm * J
    D = D_slope + k * VT
    bare = (a * (1 + g * R0)) * J
    G_slope = bare + a * g * VT
    U_prime = -(k * sine + G) / D
    G_prime = G_slope * U_prime + (a * g) * sine
    return State(e, -sine, J, vo, v, G, D, D_ohm, D_slope, G_slope, U_prime, G_prime, bare)


def tails(now: State) -> tuple[Array, Array]:
    """Return charge before and after the window [A·rad]: J falls off exponentially there."""
    return now.J[0] / np.maximum(now.U_prime[0], 1.0), now.J[-1] / np.maximum(-now.U_prime[-1], 1.0)


def gaps(circuit: Circuit, low: Array, high: Array) -> Array:
    """Return the blocked angle after each window, up to the next one of the same design."""
    if circuit.halves == 1:
        return circuit.period + low - high
    return np.pi + _following(circuit, low) - high


def _following(circuit: Circuit, values: Array) -> Array:
    """Return the values of the column that comes after each column in time."""
    return values if circuit.halves == 1 else np.roll(values, circuit.designs)


def _before(circuit: Circuit, values: Array) -> Array:
    return values if circuit.halves == 1 else np.roll(values, -circuit.designs)


def _iterate(
    circuit: Circuit, low: Array, high: Array, U: Array, moving: Mask, iteration: int
) -> tuple[Array, Array, Array, Mask, Array]:
    now = state(circuit, low, high, U)
    step = _newton_step(circuit, now, low, high)
    change = np.abs(step).max(axis=0)
    U = _limited(circuit, now, U, step, change, iteration)
    if moving.any():
        low, high, U, moving = _move(circuit, now, low, high, U, change, moving, iteration)
    return low, high, U, moving, change


def _newton_step(circuit: Circuit, now: State, low: Array, high: Array) -> Array:
    """Return the change of U that solves the linearised equations of the cycle."""
    h = 0.5 * (high - low) * SPACING
    half, twelfth = 0.5 * h, np.square(h) / 12
    curved = now.bare * now.U_prime - now.G_slope * (now.G_slope + now.U_prime * now.D_slope) / now.D
    miss = np.diff(now.v, axis=0)
    miss -= half * (now.G[1:] + now.G[:-1])
    miss += twelfth * np.diff(now.G_prime, axis=0)
    left = half * now.G_slope[:-1] + twelfth * curved[:-1] - now.D[:-1]
    right = twelfth * curved[1:] - half * now.G_slope[1:] - now.D[1:]
    factor = left / right
    offset = -miss / right
    part, homogeneous = np.zeros_like(now.J), np.ones_like(now.J)
    for j in range(NODES - 1):
        part[j + 1] = factor[j] * part[j] + offset[j]
        homogeneous[j + 1] = factor[j] * homogeneous[j]
    return part + homogeneous * _closure(circuit, now, low, high, part[-1], homogeneous[-1])


def _closure(circuit: Circuit, now: State, low: Array, high: Array, part: Array, homogeneous: Array) -> Array:
    """Return the change of U at the first node of each column that closes the cycle."""
    before, after = tails(now)
    end, slope = circuit.load.decay(circuit, now.v[-1], gaps(circuit, low, high))
    into = circuit.a * before
    miss = now.v[0] - into - _before(circuit, end + slope * circuit.a * after)
    left = _before(circuit, slope * (circuit.a * after - now.D[-1]))
    right = -now.D[0] - into
    # right·x[here] = left·(part + homogeneous·x)[before] − miss
    ratio = left / right * _before(circuit, homogeneous)
    constant = (left * _before(circuit, part) - miss) / right
    if circuit.halves == 1:
        return np.asarray(constant / (1 - ratio))
    return np.asarray((constant + ratio * _before(circuit, constant)) / (1 - ratio * _before(circuit, ratio)))


def _limited(circuit: Circuit, now: State, U: Array, step: Array, change: Array, iteration: int) -> Array:
    """Return U after the step, taken as a change of voltage and solved for the diode law again.

    Voltage against U is a line at small currents and an exponential at large ones; a large step in
    U itself would overshoot.
    """
    if iteration > 1 and not np.any(change > 0.3):
        return U + step
    linear = now.D - now.D_slope
    wanted = linear * U + now.D_slope + now.D * step
    up = np.log1p(np.maximum(step, 0.0))
    new = U + np.where(step > 0, up, np.maximum(step, -3.0))
    for _ in range(2):
        rise = now.D_ohm * np.exp(new)
        new += (wanted - linear * new - rise) / (linear + rise)
    return U + np.clip(new - U, -12.0, 12.0)


def _move(
    circuit: Circuit,
    now: State,
    low: Array,
    high: Array,
    U: Array,
    change: Array,
    moving: Mask,
    iteration: int,
) -> tuple[Array, Array, Array, Mask]:
    """Return windows moved to where the current fades, U carried along its slope, and who still moves."""
    with np.errstate(divide="ignore"):
        knee = np.log(KNEE * circuit.VT / (circuit.R0 + circuit.esr))
    fade = np.minimum(knee, U.max(axis=0) - TAIL)
    width = high - low
    reach = 0.25 * width
    begin = np.clip((fade - U[0]) / np.maximum(now.U_prime[0], 5.0), -reach, reach)
    end = np.clip((fade - U[-1]) / np.minimum(now.U_prime[-1], -5.0), -reach, reach)
    begin = np.where(moving, np.maximum(begin, -EDGE - low), 0.0)
    end = np.where(moving, np.minimum(end, EDGE - high), 0.0)
    shift = 0.5 * (begin + end) + 0.5 * (end - begin) * UNIT
    carried = U + np.clip(now.U_prime * shift, -3.0, 3.0)
    most = np.maximum(np.abs(begin), np.abs(end))
    still = moving & ((most > _FITS * width) | (change > 1.0)) & (iteration < _MOVING)
    return low + begin, high + end, carried, still
