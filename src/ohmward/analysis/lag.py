"""The linear algebra of a first-order lag: for a given time constant, rise and start by least squares.

Used by `soak`. T(t) = known(t) + rise (1 - E) + start e(t), with E = exp(-t / tau); without a room
record known = 0 and e = 1 (rise from the start on), with one known is the lagged room temperature and
e = E (rise over the room).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

CONDENSED = 1000
"""Points that a longer record is condensed to, where many time constants have to be tried."""


@dataclass(frozen=True, slots=True)
class Solution:
    """Best rise and start for one time constant."""

    values: Array
    """(rise, start)."""
    inverse: Array
    """(X^T W X)^-1, 2 x 2; zeros for a start that is fixed."""
    residual_ss: float

    def value(self, weights: Array) -> float:
        """Return a linear function of (rise, start)."""
        return float(weights @ self.values)

    def variance(self, weights: Array) -> float:
        """Return its variance for unit variance of a reading."""
        return max(float(weights @ self.inverse @ weights), 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lagged:
    """A record, checked, ready to be solved for any time constant."""

    time: Array
    temperature: Array
    weight: Array
    start_c: float | None
    ambient: Array | None
    within_ss: float = 0.0
    """Sum of squares lost in condensing, the same for every time constant."""
    tau_low: float
    tau_high: float

    @classmethod
    def prepare(
        cls, time: ArrayLike, temperature: ArrayLike, *, start_c: float | None, ambient_c: ArrayLike | None
    ) -> Lagged:
        """Check a record and set the range of time constants worth trying."""
        t, y = np.asarray(time, dtype=float), np.asarray(temperature, dtype=float)
        if t.ndim != 1 or t.shape != y.shape:
            raise ValueError(f"one temperature a time: {y.shape} for {t.shape}")
        room = None if ambient_c is None else np.broadcast_to(np.asarray(ambient_c, dtype=float), t.shape)
        finite = np.isfinite(t).all() and np.isfinite(y).all() and (room is None or np.isfinite(room).all())
        if not finite or (start_c is not None and not math.isfinite(start_c)):
            raise ValueError("a reading is not a finite number")
        free = 2 + (start_c is None)
        if len(t) < free:
            raise ValueError(f"{free} unknowns need at least {free} readings, not {len(t)}")
        steps = np.diff(t)
        if t[0] < 0.0 or (steps < 0.0).any() or not t[-1] > t[0]:
            raise ValueError("times have to ascend, from 0 on")
        span = float(t[-1])
        smallest = float(steps[steps > 0.0].min())
        return cls(
            time=t,
            temperature=y,
            weight=np.ones_like(t),
            start_c=start_c,
            ambient=room,
            tau_low=max(min(smallest, span / 50.0) / 3.0, 1e-6 * span),
            tau_high=1e5 * span,
        )

    def solve(self, tau: float) -> Solution:
        """Return the best rise and start for a time constant."""
        known, one, start = self._columns(tau)
        target = self.temperature - known
        if self.start_c is not None:
            return self._solve_rise(target - self.start_c * start, one)
        # start e + rise (1 - E) is a straight line in (1 - E), centred for the sake of the digits
        total = float(self.weight.sum())
        mean = float(self.weight @ one) / total
        away = one - mean
        sxx = float(self.weight @ (away * away))
        level = float(self.weight @ target) / total
        if sxx <= 1e-26 * total:
            # a start that cannot be told from the rise: the record says nothing of the latter
            rest = target - level
            values, inverse = np.array([0.0, level]), np.diag([1e300, 1e300])
        else:
            slope = float(self.weight @ (away * target)) / sxx
            rest = target - level - slope * away
            values = np.array([slope, level - slope * mean])
            inverse = np.array([[1.0, -mean], [-mean, mean * mean + sxx / total]]) / sxx
            if self.ambient is not None:
                # there the line is start + (rise - start) (1 - E)
                mix = np.array([[1.0, 1.0], [0.0, 1.0]])
                values, inverse = mix @ values, mix @ inverse @ mix.T
        return Solution(values, inverse, float(self.weight @ (rest * rest)) + self.within_ss)

    def _solve_rise(self, target: Array, one: Array) -> Solution:
        sxx = float(self.weight @ (one * one))
        rise = float(self.weight @ (one * target)) / sxx
        rest = target - rise * one
        inverse = np.array([[1.0 / sxx, 0.0], [0.0, 0.0]])
        values = np.array([rise, self.start_c if self.start_c is not None else 0.0])
        return Solution(values, inverse, float(self.weight @ (rest * rest)) + self.within_ss)

    def best_tau(self) -> float:
        """Return the time constant of the least sum of squares, by a grid and a bounded search."""
        from scipy.optimize import minimize_scalar

        data = self.condensed()
        grid = np.linspace(math.log(self.tau_low), math.log(self.tau_high), 60)
        heights = [data.solve(math.exp(each)).residual_ss for each in grid]
        best = int(np.argmin(heights))
        around = (grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)])
        fine = minimize_scalar(
            lambda each: data.solve(math.exp(each)).residual_ss,
            bounds=around,
            method="bounded",
            options={"xatol": 1e-8},
        )
        return math.exp(float(fine.x) if fine.fun <= heights[best] else float(grid[best]))

    def polish(self, tau: float) -> tuple[Solution, float]:
        """Return the solution after Gauss-Newton steps on all parameters with the whole record."""
        solution = self.solve(tau)
        for _ in range(12):
            rest = self.residuals(tau, solution)
            jacobian = self.jacobian(tau, solution)
            scale = np.linalg.norm(jacobian, axis=0)
            if not (scale > 0.0).all():
                break
            step = np.linalg.lstsq(jacobian / scale, rest, rcond=None)[0] / scale
            trial = tau + float(step[1])
            if not self.tau_low < trial < self.tau_high:
                break
            better = self.solve(trial)
            if better.residual_ss > solution.residual_ss * (1.0 + 1e-12):
                break
            moved, tau, solution = abs(trial - tau), trial, better
            if moved <= 1e-12 * tau:
                break
        return solution, tau

    def residuals(self, tau: float, solution: Solution) -> Array:
        """Return reading less model."""
        known, one, start = self._columns(tau)
        return np.asarray(self.temperature - known - solution.values[0] * one - solution.values[1] * start)

    def jacobian(self, tau: float, solution: Solution) -> Array:
        """Return the derivatives of the model by rise, time constant and, where it is free, start."""
        _, one, start = self._columns(tau)
        by_tau = self._by_tau(tau, solution)
        columns = [one, by_tau] if self.start_c is not None else [one, by_tau, start]
        return np.column_stack(columns)

    def _by_tau(self, tau: float, solution: Solution) -> Array:
        if self.ambient is None:
            return np.asarray(-solution.values[0] * self.time / tau**2 * np.exp(-self.time / tau))
        step = 1e-5 * tau
        up, down = (self._model(tau + each, solution) for each in (step, -step))
        return np.asarray((up - down) / (2.0 * step))

    def _model(self, tau: float, solution: Solution) -> Array:
        known, one, start = self._columns(tau)
        return np.asarray(known + solution.values[0] * one + solution.values[1] * start)

    def response(self, times: Array, tau: float) -> tuple[Array, Array]:
        """Return known parts at ascending times, shape (n,), and weights of (rise, start), shape (n, 2)."""
        one = -np.expm1(-times / tau)
        if self.ambient is None:
            return np.zeros_like(one), np.stack([one, np.ones_like(one)], axis=-1)
        before = np.searchsorted(self.time, times, side="right")  # after a jump of the room
        room = np.insert(self.ambient, before, np.interp(times, self.time, self.ambient))
        known = lagged(np.insert(self.time, before, times), room, tau)
        return known[before + np.arange(len(times))], np.stack([one, 1.0 - one], axis=-1)

    def functional(self, time: float, tau: float) -> tuple[Array, float]:
        """Return the weights of (rise, start) in the temperature at a time, and its known part."""
        known, weights = self.response(np.array([time]), tau)
        return weights[0], float(known[0])

    def slope(self, time: float, tau: float, rise: float, start: float) -> float:
        """Return the derivative of the temperature at a time by the time constant."""
        step = 1e-6 * tau
        ends = []
        for each in (step, -step):
            weights, known = self.functional(time, tau + each)
            ends.append(known + weights[0] * rise + weights[1] * start)
        return float(ends[0] - ends[1]) / (2.0 * step)

    def condensed(self) -> Lagged:
        """Return the record in at most `CONDENSED` points, means of stretches weighted by their count."""
        count = len(self.time)
        if count <= 2 * CONDENSED:
            return self
        edges = np.linspace(0, count, CONDENSED + 1).astype(int)[:-1]
        sizes = np.diff(np.append(edges, count)).astype(float)

        def means(values: Array) -> Array:
            return np.asarray(np.add.reduceat(values, edges) / sizes)

        level = means(self.temperature)
        # scatter about the straight line through each stretch, not about its mean: the slope is the model's
        t = means(self.time)
        dt, dy = (
            self.time - np.repeat(t, sizes.astype(int)),
            self.temperature - np.repeat(level, sizes.astype(int)),
        )
        along = np.add.reduceat(dt * dy, edges) ** 2 / np.maximum(np.add.reduceat(dt * dt, edges), 1e-300)
        return Lagged(
            time=t,
            temperature=level,
            weight=sizes,
            start_c=self.start_c,
            ambient=None if self.ambient is None else means(self.ambient),
            within_ss=float(np.sum(dy * dy) - np.sum(along)),
            tau_low=self.tau_low,
            tau_high=self.tau_high,
        )

    def _columns(self, tau: float) -> tuple[Array, Array, Array]:
        """Return known part, column of the rise, column of the start."""
        fall = -self.time / tau
        one = -np.expm1(fall)
        if self.ambient is None:
            return np.zeros_like(one), one, np.ones_like(one)
        return lagged(self.time, self.ambient, tau), one, np.exp(fall)


def lagged(time: Array, room: Array, tau: float) -> Array:
    """Return the response of a first-order lag, from 0, to a room temperature straight between samples.

    F(t + d) = F(t) e^-h + a0 p + (a1 - a0) (1 - p / h) with h = d / tau and p = 1 - e^-h; before the
    first sample the room is taken as constant.
    """
    h = np.diff(time) / tau
    p = -np.expm1(-h)
    ramp = np.where(h > 1e-8, 1.0 - p / np.where(h > 1e-8, h, 1.0), h / 2.0)
    added = room[:-1] * p + np.diff(room) * ramp
    found = np.empty_like(room)
    found[0] = -room[0] * math.expm1(-time[0] / tau)
    age = np.concatenate([[0.0], np.cumsum(h)])
    first = 0
    while first < len(added):
        # in stretches short enough for exp not to overflow
        last = max(int(np.searchsorted(age, age[first] + 30.0, side="right")) - 1, first + 1)
        if last == first + 1:
            found[last] = found[first] * math.exp(-h[first]) + added[first]
        else:
            since = age[first + 1 : last + 1] - age[first]
            found[first + 1 : last + 1] = np.exp(-since) * (
                found[first] + np.cumsum(added[first:last] * np.exp(since))
            )
        first = last
    return found
