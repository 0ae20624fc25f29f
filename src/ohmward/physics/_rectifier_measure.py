"""What a meter would show of a steady state: means, ripple, RMS values, harmonics, extremes, one cycle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ohmward.physics._rectifier_circuit import Circuit, Index
from ohmward.physics._rectifier_mesh import Array
from ohmward.physics._rectifier_newton import Solution
from ohmward.physics._rectifier_state import gaps, other_half, source, state, tails

_GAUSS = {points: np.polynomial.legendre.leggauss(points) for points in (6, 8)}
CONDUCTING = 0.01
"""A diode is said to conduct while its current exceeds this share of its peak."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One array of shape (designs,) each; those of `rectifier.SteadyState`, and what PIV is made of."""

    mean_v: Array
    valley_v: Array
    peak_v: Array
    ripple_pp_v: Array
    ripple_rms_v: Array
    pulses_rms_a: Array
    """RMS of all current pulses of a cycle together [A]."""
    half_rms_a: Array
    """RMS over the whole cycle of the pulses of one half-cycle, of the larger where they differ [A]."""
    source_peak_a: Array
    diode_mean_a: Array
    load_mean_a: Array
    capacitor_rms_a: Array
    conduction_fraction: Array
    fundamental_v: Array
    second_harmonic_v: Array
    lowest_v: Array
    """Lowest of all nodes, those of the closed form too [V]."""
    forward_peak_v: Array
    """Largest output plus forward voltage of one diode [V]."""
    opposed_peak_v: Array
    """Largest output plus the voltage of the other half of the source [V]."""
    reverse_peak_v: Array
    """Largest output plus source, half a cycle after the crest [V]."""


def measure(circuit: Circuit, solution: Solution, diodes: int) -> Measured:
    """Return everything of a solution; `diodes` is the number in series."""
    return _Meter(circuit, solution).read(diodes)


class _Meter:
    """Integrals over one cycle: nodes inside the windows, Gauss points of the closed form outside."""

    def __init__(self, circuit: Circuit, solution: Solution) -> None:
        self.circuit, self.solution = circuit, solution
        low, high = solution.low, solution.high
        self.now = now = state(circuit, source(circuit, low, high), solution.U)
        self.before, self.after = tails(now)
        self.half = 0.5 * (high - low)
        self.vo_prime = now.e_prime - (circuit.VT + circuit.R0 * now.J) * now.U_prime
        self.gap = gaps(circuit, low, high)
        # Against sin 2θ over the gap six points are good to 1e-7 in half a cycle, eight to 1e-6 in one.
        points, self.gauss = _GAUSS[6 if circuit.period < 4 else 8]
        self.points = 0.5 + 0.5 * points[:, None]
        v, _ = circuit.load.decay(circuit, now.v[-1] + circuit.a * self.after, self.gap * self.points)
        self.blocked_vo = circuit.load.terminal(circuit, v)
        self.blocked_load = np.broadcast_to(circuit.load.current(self.blocked_vo), v.shape)

    def inside(self, values: Array, slopes: Array) -> Array:
        """Return the integral over each window of a function with the given d/dθ."""
        mesh = self.circuit.mesh
        return np.asarray(self.half * (mesh.middle @ values + self.half * (mesh.slope @ slopes)))

    def outside(self, values: Array) -> Array:
        """Return the integral over the blocked interval after each window."""
        return np.asarray(0.5 * self.gap * (self.gauss @ values))

    def mean(self, integral: Array) -> Array:
        """Return the mean over the cycle, from the integrals of its columns."""
        span = self.circuit.period if self.circuit.halves == 1 else 2 * np.pi
        return np.asarray(integral.reshape(self.circuit.halves, -1).sum(axis=0) / span)

    def largest(self, values: Array) -> Array:
        """Return the largest over the half-cycles of each design."""
        return np.asarray(values.reshape(self.circuit.halves, -1).max(axis=0))

    def each(self, values: Array) -> Array:
        """Return a value of each design for every column."""
        return np.tile(values, self.circuit.halves)

    def read(self, diodes: int) -> Measured:
        circuit, now = self.circuit, self.now
        J_prime = now.J * now.U_prime
        squares = self.inside(np.square(now.J), 2 * now.J * J_prime)
        mean = self.mean(self.inside(now.vo, self.vo_prime) + self.outside(self.blocked_vo))
        swing, blocked = now.vo - self.each(mean), self.blocked_vo - self.each(mean)
        variance = self.inside(np.square(swing), 2 * swing * self.vo_prime) + self.outside(np.square(blocked))
        peak = self.largest(self._vertex(now.vo, self.vo_prime))
        valley = -self.largest(self._vertex(-now.vo, -self.vo_prime))
        first, second = self._harmonics(swing, blocked)
        forward, opposed, reverse = self._reverse(diodes)
        return Measured(
            mean_v=mean,
            valley_v=valley,
            peak_v=peak,
            ripple_pp_v=peak - valley,
            ripple_rms_v=np.sqrt(np.maximum(self.mean(variance), 0.0)),
            pulses_rms_a=np.sqrt(self.mean(squares)),
            half_rms_a=np.sqrt(self.largest(squares) / (2 * np.pi)),
            source_peak_a=self.largest(self._vertex(now.J, J_prime)),
            diode_mean_a=self.mean(self.inside(now.J, J_prime) + self.before + self.after)
            - circuit.leak[: circuit.designs],
            load_mean_a=self._load_mean(),
            capacitor_rms_a=self._capacitor_rms(),
            conduction_fraction=self._conduction(),
            fundamental_v=first,
            second_harmonic_v=second,
            lowest_v=-self.largest(-np.minimum(now.vo.min(axis=0), self.blocked_vo.min(axis=0))),
            forward_peak_v=forward,
            opposed_peak_v=opposed,
            reverse_peak_v=reverse,
        )

    def _load_mean(self) -> Array:
        current = np.broadcast_to(self.circuit.load.current(self.now.vo), self.now.vo.shape)
        slope = self.circuit.load.slope(self.now.vo)
        slopes = np.zeros_like(current) if slope is None else slope * self.vo_prime
        start = self.now.v[-1] + self.circuit.a * self.after
        end, _ = self.circuit.load.decay(self.circuit, start, self.gap)
        return self.mean(
            self.inside(current, slopes) + (start - end) / self.circuit.a - self.circuit.leak * self.gap
        )

    def _capacitor_rms(self) -> Array:
        G, a = self.now.G, self.circuit.a
        charging = self.inside(np.square(G), 2 * G * self.now.G_prime) / np.square(a)
        return np.sqrt(self.mean(charging + self.outside(np.square(self.blocked_load + self.circuit.leak))))

    def _harmonics(self, swing: Array, blocked: Array) -> tuple[Array, Array]:
        """Return amplitude of the first and second harmonic of the mains in the output [V]."""
        circuit, now = self.circuit, self.now
        cosine, sine = now.e / circuit.V, -now.e_prime / circuit.V
        angle = self.solution.high + self.gap * self.points
        real, imaginary = np.cos(angle), np.sin(angle)
        parts = []
        for order in (1, 2):
            if order == 2:
                cosine, sine = 2 * np.square(cosine) - 1, 2 * sine * cosine
                real, imaginary = 2 * np.square(real) - 1, 2 * imaginary * real
            x = self.inside(swing * cosine, self.vo_prime * cosine - order * swing * sine)
            y = self.inside(swing * sine, self.vo_prime * sine + order * swing * cosine)
            x, y = x + self.outside(blocked * real), y + self.outside(blocked * imaginary)
            if order == 1:
                # The second half-cycle is half a turn later; two halves alike leave nothing.
                turn = np.repeat([1.0, -1.0][: circuit.halves], circuit.designs)
                both_alike = circuit.halves == 1 and circuit.period < 4
                x, y = (0 * x, 0 * y) if both_alike else (turn * x, turn * y)
            parts.append(2 * np.hypot(self.mean(x), self.mean(y)))
        return parts[0], parts[1]

    def _vertex(self, values: Array, slopes: Array) -> Array:
        """Return the maximum over each window of the cubic that fits value and slope at the nodes."""
        mesh, columns = self.circuit.mesh, np.arange(values.shape[1])
        top = values.argmax(axis=0)
        left = np.clip(np.where(slopes[top, columns] > 0, top, top - 1), 0, mesh.last - 1)
        h = self.half * mesh.spacing[left, 0]
        start, rise = values[left, columns], values[left + 1, columns] - values[left, columns]
        d0, d1 = slopes[left, columns] * h, slopes[left + 1, columns] * h
        b, c = 3 * rise - 2 * d0 - d1, d0 + d1 - 2 * rise
        # The root of d0 + 2·b·t + 3·c·t² at which the slope falls through nought.
        root = np.sqrt(np.maximum(np.square(b) - 3 * c * d0, 0.0))
        below = root - b
        t = np.clip(np.divide(d0, below, out=np.zeros_like(d0), where=below > 0), 0.0, 1.0)
        return np.asarray(np.maximum(values[top, columns], start + t * (d0 + t * (b + t * c))))

    def _conduction(self) -> Array:
        U, columns = self.solution.U, np.arange(self.solution.U.shape[1])
        level = self.each(self.largest(U.max(axis=0))) + np.log(CONDUCTING)
        above = level < U
        mesh = self.circuit.mesh
        first, last = above.argmax(axis=0), mesh.last - above[::-1].argmax(axis=0)
        earlier, later = np.maximum(first - 1, 0), np.minimum(last + 1, mesh.last)

        def crossing(outer: Index, inner: Index) -> Array:
            """Return where the parabola through both nodes, with the outer one's slope, meets the level."""
            x, way = mesh.unit[outer, 0], mesh.unit[inner, 0] - mesh.unit[outer, 0]
            below, climb = level - U[outer, columns], U[inner, columns] - U[outer, columns]
            slope = self.now.U_prime[outer, columns] * self.half * way
            root = slope + np.sqrt(np.maximum(np.square(slope) + 4 * (climb - slope) * below, 0.0))
            part = np.divide(2 * below, root, out=np.zeros_like(root), where=root > 0)
            return np.asarray(self.half * (x + np.clip(part, 0.0, 1.0) * way))

        span = crossing(later, last) - crossing(earlier, first)
        return self.mean(np.where(above.any(axis=0), span, 0.0))

    def _reverse(self, diodes: int) -> tuple[Array, Array, Array]:
        circuit, now = self.circuit, self.now
        total = circuit.VT * (self.solution.U - np.log(circuit.Is))
        forward = self.largest((now.vo + total / diodes).max(axis=0))
        other = other_half(circuit, circuit.V)
        opposed = self.largest((now.vo + now.e * (other / circuit.V)).max(axis=0))
        later = np.maximum(np.pi - self.solution.high, 0.0)
        v, _ = circuit.load.decay(circuit, now.v[-1] + circuit.a * self.after, later)
        return forward, opposed, self.largest(circuit.load.terminal(circuit, v) + circuit.V)


def sample(circuit: Circuit, solution: Solution, theta: Array) -> tuple[Array, Array]:
    """Return terminal voltage [V] and rectified current [A] at angles from the first half's crest.

    Parameters
    ----------
    theta : array, shape (samples,)

    Returns
    -------
    two arrays of shape (samples, designs)
    """
    meter = _Meter(circuit, solution)
    n, period = circuit.designs, circuit.period if circuit.halves == 1 else 2 * np.pi
    offset = np.repeat(np.arange(circuit.halves) * np.pi, n)
    since = np.mod(theta[:, None] - offset - solution.high, period)
    since_start = np.mod(theta[:, None] - offset - solution.low, period)
    width = solution.high - solution.low
    v, _ = circuit.load.decay(circuit, meter.now.v[-1] + circuit.a * meter.after, since)
    out, current = circuit.load.terminal(circuit, v), np.zeros_like(since)
    # Before the next window begins only the column whose window was last tells the voltage.
    if circuit.halves == 2:
        swap = since[:, n:] < since[:, :n]
        out = np.tile(np.where(swap, out[:, n:], out[:, :n]), 2)
    row, column = np.nonzero(since_start <= width)
    out[row, column], current[row, column] = _between(meter, since_start[row, column], column)
    if circuit.halves == 2:
        within = since_start <= width
        out = np.where(within[:, n:], out[:, n:], out[:, :n])
        current = current[:, :n] + current[:, n:]
    return out, current - circuit.leak[:n]


def _between(meter: _Meter, x: Array, column: Index) -> tuple[Array, Array]:
    """Return vo and J between the nodes, by the cubic that fits value and slope, at `x` past the start."""
    width = meter.solution.high[column] - meter.solution.low[column]
    unit = np.clip(1 - 2 * x / width, -1.0, 1.0)
    mesh = meter.circuit.mesh
    left = np.clip((np.arccos(unit) * mesh.last / np.pi).astype(np.intp), 0, mesh.last - 1)
    h = meter.half[column] * mesh.spacing[left, 0]
    begin = 0.5 * width * (1 - np.cos(np.pi * left / mesh.last))
    t = (x - begin) / h

    def cubic(values: Array, slopes: Array) -> Array:
        start, rise = values[left, column], values[left + 1, column] - values[left, column]
        d0, d1 = slopes[left, column] * h, slopes[left + 1, column] * h
        return np.asarray(start + t * (d0 + t * (3 * rise - 2 * d0 - d1 + t * (d0 + d1 - 2 * rise))))

    J = cubic(meter.now.J, meter.now.J * meter.now.U_prime)
    return cubic(meter.now.vo, meter.vo_prime), np.maximum(J, 0.0)
