"""The circuit at the nodes of a window of conduction: everything that follows from U, in closed form."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ohmward.physics._rectifier_circuit import Circuit
from ohmward.physics._rectifier_mesh import POWERS, Array, as_single


def source(circuit: Circuit, low: Array, high: Array) -> tuple[Array, Array]:
    """Return V·cos θ and its derivative −V·sin θ at the nodes.

    By cos(c + h·s) and its power series in h·s, as one product of matrices, several times faster than
    the library's sine; the first term left out is below 1e-8 for the widest window, h = π/2.
    """
    half, centre = 0.5 * (high - low), 0.5 * (high + low)
    powers = np.empty((POWERS, half.size), dtype=half.dtype)
    powers[0] = 1.0
    powers[1:] = np.square(half)
    np.multiply.accumulate(powers[1:], axis=0, out=powers[1:])
    even = powers * circuit.mesh.even
    odd = powers * circuit.mesh.odd
    odd *= half
    cosine, sine = circuit.V * np.cos(centre), circuit.V * np.sin(centre)
    factors = np.empty((2 * POWERS, 2 * half.size), dtype=half.dtype)
    np.multiply(cosine, even, out=factors[0::2, : half.size])
    np.multiply(-sine, odd, out=factors[1::2, : half.size])
    np.multiply(-sine, even, out=factors[0::2, half.size :])
    np.multiply(-cosine, odd, out=factors[1::2, half.size :])
    both = circuit.mesh.series @ factors
    return both[:, : half.size], both[:, half.size :]


@dataclass(slots=True)
class State:
    """Names as in `_rectifier_circuit`; a prime is d/dθ, a slope d/dU; shape (nodes, columns) or a row."""

    e: Array
    e_prime: Array
    J: Array
    vo: Array
    v: Array
    G: Array
    G_slope: Array
    G_prime: Array
    G_bare: Array
    """Part of G_slope that is proportional to J."""
    D: Array
    """−dv/dU [V]."""
    D_ohm: Array
    """dD/dJ [Ω]."""
    D_slope: Array
    D_still: Array
    """Part of D that stays at no current [V]."""
    rate: Array
    """D·U', the rise of the voltage that drives the current [V/rad]."""
    U_prime: Array


def state(circuit: Circuit, source_at: tuple[Array, Array], U: Array) -> State:
    """Return the circuit's state at the nodes where the source is `source_at`.

    From the laws in `_rectifier_circuit`, with g the slope of the load's law and k = 1 + esr·g::

        −dv/dU = D = k·VT + (k·R0 + esr)·J
        dG/dU  = a·(J + g·(VT + R0·J))
        U' = (k·e' − G)/D,   G' = dG/dU·U' − a·g·e'
    """
    e, e_prime = source_at
    a, esr, R0, VT = circuit.a, circuit.esr, circuit.R0, circuit.VT
    J = np.exp(U)
    vo = VT * U
    np.subtract(e, vo, out=vo)
    vo -= R0 * J
    vo += VT * circuit.U0 + R0 * circuit.Is
    G = a * J
    G_bare = G_slope = G.copy()
    G -= a * (circuit.load.current(vo) + circuit.leak)
    v = vo - (esr / a) * G
    g = circuit.load.slope(vo)
    if g is None:
        D_ohm, D_still, rate = R0 + esr, VT, e_prime - G
    else:
        k = 1 + esr * g
        D_ohm, D_still, rate = k * R0 + esr, k * VT, k * e_prime - G
        G_bare *= 1 + g * R0
        G_slope = G_bare + a * g * VT
    D_slope = D_ohm * J
    D = D_slope + D_still
    U_prime = rate / D
    G_prime = G_slope * U_prime
    if g is not None:
        G_prime -= (a * g) * e_prime
    return State(e, e_prime, J, vo, v, G, G_slope, G_prime, G_bare, D, D_ohm, D_slope, D_still, rate, U_prime)


def tails(now: State) -> tuple[Array, Array]:
    """Return charge before and after the window [A·rad]: J falls off exponentially there."""
    return now.J[0] / np.maximum(now.U_prime[0], 1.0), now.J[-1] / np.maximum(-now.U_prime[-1], 1.0)


def gaps(circuit: Circuit, low: Array, high: Array) -> Array:
    """Return the blocked angle after each window, up to the next one of the same design."""
    if circuit.halves == 1:
        return circuit.period + low - high
    return np.pi + other_half(circuit, low) - high


def other_half(circuit: Circuit, values: Array) -> Array:
    """Return for each column the value of the window before it, which is also the one after it."""
    return values if circuit.halves == 1 else np.roll(values, circuit.designs)


def log_omega(z: Array) -> Array:
    """Return ln w of w + ln w = z (Wright's omega), to some 1e-5: in single precision, for beginnings."""
    x = as_single(z)
    log = np.log1p(np.maximum(x, 0))
    log += np.minimum(x, 0)
    for _ in range(3):
        w = np.exp(log)
        x_miss = x - w
        x_miss -= log
        w += 1
        x_miss /= w
        log += x_miss
    return log.astype(z.dtype, copy=False)


def stiffness(circuit: Circuit, low: Array, high: Array, U: Array) -> Array:
    """Return for each design how many time constants of resistance and reservoir fit into its window."""
    ohm = circuit.R0 + circuit.esr + circuit.VT * np.exp(-U.max(axis=0))
    return np.asarray(((high - low) * circuit.a / ohm).reshape(circuit.halves, -1).max(axis=0))
