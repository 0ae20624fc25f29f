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
    """One array of shape (designs,) each; those of `rectifier.SteadyState` and what is judged by."""

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
    piv_v: Array
    lowest_v: Array
    """Lowest of all nodes, those of the closed form too [V]."""


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
        # The rule the steps are made with: weights of a function and of its derivative.
        self.half = half = 0.5 * (high - low)
        self.weight = half * circuit.mesh.middle
        self.slope_weight = np.square(half) * circuit.mesh.slope
        self.vo_prime = now.e_prime - (circuit.VT + circuit.R0 * now.J) * now.U_prime
        self.gap = gaps(circuit, low, high)
        # Against sin 2θ over the gap six points are good to 1e-7 in half a cycle, eight to 1e-6 in one.
        points, self.gauss = _GAUSS[6 if self.alike else 8]
        self.points = 0.5 + 0.5 * points[:, None]
        self.start = now.v[-1] + circuit.a * self.after
        v, _ = circuit.load.decay(circuit, self.start, self.gap * self.points)
        self.blocked_vo = circuit.load.terminal(circuit, v)

    @property
    def alike(self) -> bool:
        """One half-cycle stands for both."""
        return self.circuit.halves == 1 and self.circuit.period < 4

    @property
    def one_sided(self) -> bool:
        """Only one half-cycle conducts."""
        return self.circuit.halves == 1 and self.circuit.period > 4

    def outside(self, values: Array) -> Array:
        """Return the integral over the blocked interval after each window, of a row that of a constant."""
        return self.gap * values if values.ndim == 1 else 0.5 * self.gap * (self.gauss @ values)

    def mean(self, integral: Array) -> Array:
        """Return the mean over the cycle, from the integrals of its columns."""
        span = self.circuit.period if self.circuit.halves == 1 else 2 * np.pi
        return np.asarray(integral.reshape(self.circuit.halves, -1).sum(axis=0) / span)

    def largest(self, values: Array) -> Array:
        """Return the largest over the half-cycles of each design."""
        return np.asarray(values.reshape(self.circuit.halves, -1).max(axis=0))

    def each(self, values: Array) -> Array:
        """Return a value of each design for every column."""
        return values if self.circuit.halves == 1 else np.tile(values, self.circuit.halves)

    def read(self, diodes: int) -> Measured:
        now = self.now
        weighted = now.J * (self.weight + self.slope_weight * now.U_prime)
        charge = weighted.sum(axis=0) + self.before + self.after
        weighted += now.J * self.slope_weight * now.U_prime
        squares = (now.J * weighted).sum(axis=0)
        inside = (self.weight * now.vo + self.slope_weight * self.vo_prime).sum(axis=0)
        mean = self.mean(inside + self.outside(self.blocked_vo))
        variance, first, second = self._ripple(now.vo - self.each(mean), self.blocked_vo - self.each(mean))
        peak = self.largest(self._vertex(now.vo, self.vo_prime))
        valley = -self.largest(self._vertex(-now.vo, -self.vo_prime))
        return Measured(
            mean_v=mean,
            valley_v=valley,
            peak_v=peak,
            ripple_pp_v=peak - valley,
            ripple_rms_v=np.sqrt(np.maximum(variance, 0.0)),
            pulses_rms_a=np.sqrt(self.mean(squares)),
            half_rms_a=np.sqrt(self.largest(squares) / (2 * np.pi)),
            source_peak_a=self.largest(self._vertex(now.J, now.J * now.U_prime)),
            diode_mean_a=self.mean(charge) - self.circuit.leak[: self.circuit.designs],
            load_mean_a=self._load_mean(),
            capacitor_rms_a=self._capacitor_rms(),
            conduction_fraction=self._conduction(),
            fundamental_v=first,
            second_harmonic_v=second,
            piv_v=self._reverse(diodes),
            lowest_v=-self.largest(-np.minimum(now.vo.min(axis=0), self.blocked_vo.min(axis=0))),
        )

    def _load_mean(self) -> Array:
        """Return the mean load current [A]; outside the windows it is what the reservoir gives up."""
        circuit, vo = self.circuit, self.now.vo
        slope = circuit.load.slope(vo)
        if slope is None:
            return circuit.load.value[: circuit.designs]
        inside = self.weight * circuit.load.current(vo) + self.slope_weight * slope * self.vo_prime
        end, _ = circuit.load.decay(circuit, self.start, self.gap)
        given = (self.start - end) / circuit.a - circuit.leak * self.gap
        return self.mean(inside.sum(axis=0) + given)

    def _capacitor_rms(self) -> Array:
        G, circuit = self.now.G, self.circuit
        inside = (G * (self.weight * G + 2 * self.slope_weight * self.now.G_prime)).sum(axis=0)
        drawn = circuit.load.current(self.blocked_vo) + circuit.leak
        return np.sqrt(self.mean(inside / np.square(circuit.a) + self.outside(np.square(drawn))))

    def _ripple(self, swing: Array, blocked: Array) -> tuple[Array, Array, Array]:
        """Return variance [V²] and amplitudes at once and twice the mains frequency [V] of the output."""
        circuit, now = self.circuit, self.now
        rise = self.slope_weight * self.vo_prime
        main, small = self.weight * swing + rise, self.slope_weight * swing
        variance = self.mean((swing * (main + rise)).sum(axis=0) + self.outside(np.square(blocked)))
        cosine, sine = now.e / circuit.V, now.e_prime / -circuit.V
        angle = self.solution.high + self.gap * self.points
        real, imaginary = np.cos(angle), np.sin(angle)
        first = np.zeros(circuit.designs)
        if not self.alike:
            # The second half-cycle is half a turn later.
            turn = np.repeat([1.0, -1.0][: circuit.halves], circuit.designs)
            x = (cosine * main - sine * small).sum(axis=0) + self.outside(blocked * real)
            y = (sine * main + cosine * small).sum(axis=0) + self.outside(blocked * imaginary)
            first = 2 * np.hypot(self.mean(turn * x), self.mean(turn * y))
        sine, cosine = 2 * sine * cosine, 2 * np.square(cosine) - 1
        imaginary, real = 2 * imaginary * real, 2 * np.square(real) - 1
        small *= 2
        x = (cosine * main - sine * small).sum(axis=0) + self.outside(blocked * real)
        y = (sine * main + cosine * small).sum(axis=0) + self.outside(blocked * imaginary)
        return variance, first, 2 * np.hypot(self.mean(x), self.mean(y))

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

    def _reverse(self, diodes: int) -> Array:
        """Return the peak inverse voltage [V] of a bridge (`diodes` 2) or of diodes that stand alone.

        A blocked diode of a bridge sees the output plus the drop of a conducting one. With a diode open, the
        winding's far end is held by the leakage of the others and the whole source lies across one. A
        diode alone sees output and source in series.
        """
        circuit, now = self.circuit, self.now
        if diodes == 2:
            drop = (0.5 * circuit.VT) * (self.solution.U - circuit.U0)
            piv = self.largest((now.vo + drop).max(axis=0))
            return np.maximum(piv, circuit.V) if self.one_sided else piv
        if not self.one_sided:
            other = other_half(circuit, circuit.V) / circuit.V
            return self.largest((now.vo + now.e * other).max(axis=0))
        # Half a cycle after the crest.
        v, _ = circuit.load.decay(circuit, self.start, np.maximum(np.pi - self.solution.high, 0.0))
        return circuit.load.terminal(circuit, v) + circuit.V


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
    v, _ = circuit.load.decay(circuit, meter.start, since)
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
