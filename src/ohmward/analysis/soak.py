"""A thermal soak: exponential rise, its final temperature, and how little a short record knows of it.

Model. Without a record of the room the temperature is T(t) = start + rise (1 - exp(-t / tau)). With
one, rise is over the room and the room may move: the body follows tau dT/dt = T_a(t) + rise - T from
T(0) = start, solved exactly for a room temperature that is straight between its samples.

For each tau the model is linear in rise and start, so tau is the only thing searched for: no first
guess is needed. Intervals are profile-likelihood intervals: where the record is short the symmetric
+-2u misleads grossly (BOD data of [2]_: it reaches below zero for the rate).

References
----------
.. [1] NIST Statistical Reference Datasets, Misra1a.
.. [2] D. M. Bates, D. G. Watts, Nonlinear Regression Analysis and Its Applications, Wiley 1988,
   3.4 and 6.1 (profiles), A1.4 (BOD).
.. [3] JCGM 100:2008 (GUM), 5.2.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from ohmward.analysis.fits import Estimate
from ohmward.analysis.hanging import Widening, widening
from ohmward.analysis.lag import Array, Lagged, Solution
from ohmward.analysis.uncertainty import coverage_factor

Name = Literal["rise_k", "time_constant_s", "start_c", "final_c"]
Functional = Callable[[float], tuple[Array, float]]
"""Time constant to (weights of rise and start, known part) of a quantity linear in both."""

SHORT_SHARE = 0.8
"""A record that ends before this share of the rise forecasts by extrapolation, and says so."""


class Interval(NamedTuple):
    """Lower and upper end; infinite where the record leaves it open."""

    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Rise:
    """A fitted soak. Times in the unit they were given in, temperatures [degC], differences [K]."""

    rise_k: float
    """Final less start; over the room where its temperature was given."""
    time_constant_s: float
    start_c: float
    u_rise_k: float
    u_time_constant_s: float
    u_start_c: float
    """0 where the start was fixed."""
    covariance: Array
    """In the order rise, time constant[, start]."""
    residual_sd: float
    dof: int
    span_s: float
    """Time from the start of the soak to its last reading."""
    ambient_c: float | None
    """Room temperature at the end of the record; None where it was not given."""
    warnings: tuple[str, ...] = ()
    _data: Lagged = field(repr=False, compare=False)

    @property
    def correlation(self) -> float:
        """Correlation coefficient of rise and time constant; near 1 where the record is short."""
        product = self.u_rise_k * self.u_time_constant_s
        return float(self.covariance[0, 1]) / product if 0.0 < product < math.inf else math.nan

    @property
    def final_c(self) -> float:
        """Temperature it settles at, in the room as it was at the end of the record."""
        return self.rise_k + (self.start_c if self.ambient_c is None else self.ambient_c)

    @property
    def u_final_c(self) -> float:
        """Standard uncertainty of `final_c` (see `interval` for a short record)."""
        return self._u(np.array([1.0, 0.0, 1.0 if self.ambient_c is None else 0.0]))

    @property
    def reached_share(self) -> float:
        """Share of the rise that the record has seen, 1 - exp(-span / tau)."""
        return -math.expm1(-self.span_s / self.time_constant_s)

    @cached_property
    def _solutions(self) -> dict[float, Solution]:
        return {}

    @cached_property
    def _tau_intervals(self) -> dict[float, Interval]:
        return {}

    def _solve(self, tau: float) -> Solution:
        """Solve for a time constant; every interval searches the same grid, so each is solved once."""
        found = self._solutions.get(tau)
        if found is None:
            found = self._solutions[tau] = self._data.solve(tau)
        return found

    @property
    def residuals(self) -> Array:
        """Reading less curve [K]; of a record of thousands of points the means of stretches of it."""
        solution = self._solve(self.time_constant_s)
        return self._data.residuals(self.time_constant_s, solution)

    @property
    def weaves(self) -> bool:
        """Whether the readings weave about the curve: one exponential does not fit."""
        return _patterned(self.residuals, self)

    @cached_property
    def widening(self) -> Widening:
        """Widening of uncertainties and intervals where neighbouring residuals hang together.

        As it is for the final value; see `hanging`.
        """
        if not self.dof:
            return Widening(1.0)
        tau = self.time_constant_s
        jacobian = self._data.jacobian(tau, self._solve(tau))
        gradient = np.array([1.0, 0.0, 1.0 if self.ambient_c is None else 0.0])[: jacobian.shape[1]]
        return widening(self.residuals, jacobian, gradient)

    def predict(self, time_s: float) -> Estimate:
        """Return the temperature at a time, with its standard uncertainty from the whole covariance.

        Beyond the record the room is taken to stay as it was last.
        """
        weights, known = self._data.functional(time_s, self.time_constant_s)
        value = float(known + weights[0] * self.rise_k + weights[1] * self.start_c)
        slope = self._data.slope(time_s, self.time_constant_s, self.rise_k, self.start_c)
        return Estimate(value, self._u(np.array([weights[0], slope, weights[1]])))

    def curve(self, time_s: ArrayLike) -> Array:
        """Return the temperatures of `predict` at ascending times [degC], shape (n,)."""
        known, weights = self._data.response(np.asarray(time_s, dtype=float), self.time_constant_s)
        return np.asarray(known + weights @ np.array([self.rise_k, self.start_c]))

    def interval(self, name: Name, level: float = 0.95) -> Interval:
        """Return the profile-likelihood interval of a parameter.

        All values for which, the other parameters being free, the sum of squares stays below
        S (1 + t^2 / dof) [2]_; infinite at an end that the record leaves open.

        Parameters
        ----------
        name : {"rise_k", "time_constant_s", "start_c", "final_c"}
        level : float
            Level of confidence.

        Raises
        ------
        ValueError
            For another name or an impossible level.
        """
        if name == "time_constant_s":
            return self._tau_interval(level)
        weights = {
            "rise_k": (1.0, 0.0),
            "start_c": (0.0, 1.0),
            "final_c": (1.0, 1.0 if self.ambient_c is None else 0.0),
        }
        if name not in weights:
            raise ValueError(f"there is no parameter {name!r}")
        offset = self.ambient_c or 0.0 if name == "final_c" else 0.0
        if name == "start_c" and self._data.start_c is not None:
            return Interval(self.start_c, self.start_c)
        found = self._linear_interval(lambda _: (np.array(weights[name]), 0.0), level)
        return Interval(found.low + offset, found.high + offset)

    def predict_interval(self, time_s: float, level: float = 0.95) -> Interval:
        """Return the profile-likelihood interval of the temperature at a time."""
        return self._linear_interval(lambda tau: self._data.functional(time_s, tau), level)

    def at_ambient(self, ambient_c: float, level: float = 0.95) -> tuple[float, Interval]:
        """Return the final temperature in another room, with its interval.

        The rise over the room is taken to be the same there (linear cooling, good for some tens of
        kelvin). Where the room was not recorded, the start is taken to have been its temperature.
        """
        rise = self.interval("rise_k", level)
        return ambient_c + self.rise_k, Interval(ambient_c + rise.low, ambient_c + rise.high)

    def remaining_s(self, within_k: float) -> float:
        """Return the time from the last reading until it is within `within_k` of its final value."""
        left = abs(self.rise_k) * math.exp(-self.span_s / self.time_constant_s)
        return max(0.0, self.time_constant_s * math.log(left / within_k)) if left > 0.0 else 0.0

    def _u(self, gradient: Array) -> float:
        part = gradient[: len(self.covariance)]
        return math.sqrt(max(float(part @ self.covariance @ part), 0.0)) if self.dof else math.nan

    def _limit(self, level: float) -> float:
        if not 0.0 < level < 1.0:
            raise ValueError(f"a level is between 0 and 1, not {level}")
        least = self._solve(self.time_constant_s).residual_ss
        return least * (1.0 + coverage_factor(level, self.dof) ** 2 / self.dof)

    def _tau_interval(self, level: float) -> Interval:
        if not self.dof:
            return Interval(0.0, math.inf)
        found = self._tau_intervals.get(level)
        if found is None:
            limit = self._limit(level)
            low, high = (self._crossing(limit, end) for end in (self._data.tau_low, self._data.tau_high))
            found = Interval(0.0 if low is None else low, math.inf if high is None else high)
            self._tau_intervals[level] = found
        return found

    def _crossing(self, limit: float, end: float) -> float | None:
        """Time constant on the way to `end` where the sum of squares reaches `limit`, if it does."""
        from scipy.optimize import brentq

        def excess(log_tau: float) -> float:
            return self._solve(math.exp(log_tau)).residual_ss - limit

        # nearest crossing, should there be several
        steps = np.linspace(math.log(self.time_constant_s), math.log(end), 60)
        last = float(steps[0])
        for step in steps[1:]:
            if excess(float(step)) > 0.0:
                return (
                    math.exp(float(brentq(excess, last, float(step), xtol=1e-10)))
                    if excess(last) < 0.0
                    else None
                )
            last = float(step)
        return None

    def _linear_interval(self, functional: Functional, level: float) -> Interval:
        """Range of a quantity linear in (rise, start) over all tau whose sum of squares is allowed.

        For a given tau the sum of squares is a parabola in that quantity: g = g^ +- sqrt(v (limit - S)).
        The ends over all tau are the profile interval, found by a search along one dimension.
        """
        if not self.dof:
            return Interval(-math.inf, math.inf)
        limit = self._limit(level)
        taus = self._tau_interval(level)
        low, high = max(taus.low, self._data.tau_low), min(taus.high, self._data.tau_high)
        ends = [self._end(functional, limit, (low, high), sign) for sign in (-1.0, 1.0)]
        if math.isinf(taus.high) and self._runs_away(functional):
            rising = self._solve(self._data.tau_high).values[0] > 0.0
            ends[1 if rising else 0] = math.inf if rising else -math.inf
        return Interval(*ends)

    def _end(self, functional: Functional, limit: float, taus: tuple[float, float], sign: float) -> float:
        from scipy.optimize import minimize_scalar

        def reach(log_tau: float) -> float:
            solution = self._solve(math.exp(log_tau))
            weights, known = functional(math.exp(log_tau))
            spare = max(limit - solution.residual_ss, 0.0)
            return -sign * (
                known + solution.value(weights) + sign * math.sqrt(solution.variance(weights) * spare)
            )

        grid = np.linspace(math.log(taus[0]), math.log(taus[1]), 41)
        heights = [reach(each) for each in grid]
        best = int(np.argmin(heights))
        around = (grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)])
        fine = minimize_scalar(reach, bounds=around, method="bounded", options={"xatol": 1e-9})
        return -sign * min(float(fine.fun), heights[best])

    def _runs_away(self, functional: Functional) -> bool:
        """Does the quantity grow without end as tau does (a final value, but not a start or a near time)?"""
        weights, _ = functional(self._data.tau_high)
        return bool(weights[0] > 0.5)


def fit_rise(
    time_s: ArrayLike,
    temperature_c: ArrayLike,
    *,
    start_c: float | None = None,
    ambient_c: ArrayLike | None = None,
) -> Rise:
    """Fit an exponential rise (or fall) to a soak.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times since the soak began, ascending, from 0 on; in any unit, the time constant comes out in it.
    temperature_c : array_like, shape (n,)
        Temperatures [degC].
    start_c : float, optional
        Temperature at time 0, where it is known for certain; left out, it is fitted.
    ambient_c : float or array_like, shape (n,), optional
        Room temperature [degC] at the same times. `rise_k` is then over the room.

    Returns
    -------
    Rise
        With warnings where the record is too short to say much.

    Raises
    ------
    ValueError
        When shapes differ, a value is not finite, times do not ascend from 0, or there are fewer
        points than parameters.
    """
    data = Lagged.prepare(time_s, temperature_c, start_c=start_c, ambient_c=ambient_c)
    tau = data.best_tau()
    solution, tau = data.polish(tau)
    free = 2 + (start_c is None)
    dof = len(data.time) - free
    jacobian = data.jacobian(tau, solution)
    covariance = _covariance(jacobian, solution.residual_ss / dof if dof else math.nan)
    u = np.sqrt(np.diag(covariance))
    found = Rise(
        rise_k=float(solution.values[0]),
        time_constant_s=tau,
        start_c=float(solution.values[1]),
        u_rise_k=float(u[0]),
        u_time_constant_s=float(u[1]),
        u_start_c=float(u[2]) if start_c is None else 0.0,
        covariance=covariance,
        residual_sd=math.sqrt(solution.residual_ss / dof) if dof else math.nan,
        dof=dof,
        span_s=float(data.time[-1]),
        ambient_c=None if data.ambient is None else float(data.ambient[-1]),
        _data=data.condensed(),
    )
    return replace(found, warnings=_warnings(found, data, solution))


def _covariance(jacobian: Array, variance: float) -> Array:
    scale = np.linalg.norm(jacobian, axis=0)
    if not (scale > 0.0).all():
        return np.full((jacobian.shape[1],) * 2, math.inf)
    r = np.linalg.qr(jacobian / scale, mode="r")
    if np.abs(np.diag(r)).min() < 1e-12:
        return np.full((jacobian.shape[1],) * 2, math.inf)
    half = np.linalg.inv(r) / scale[:, None]
    return np.asarray(variance * half @ half.T)


def _warnings(found: Rise, data: Lagged, solution: Solution) -> tuple[str, ...]:
    said = []
    if not found.dof:
        said.append("as many readings as unknowns: nothing tests the curve, and its uncertainty is not known")
    elif not all(math.isfinite(end) for end in found.interval("rise_k")):
        said.append(
            "the record is too short for a forecast: it does not show that the temperature settles "
            "(the interval of its final value is open at one end)"
        )
    elif _lopsided(found):
        said.append(
            "the final value is poorly determined, and more so to one side: "
            "its interval tells, the ± does not"
        )
    if found.time_constant_s > found.span_s:
        said.append("the time constant is longer than the record")
    if found.reached_share < SHORT_SHARE:
        said.append(
            f"the record ends at {100 * found.reached_share:.0f} % of the rise: the rest is extrapolated"
        )
    if found.dof and not abs(found.rise_k) > 2.0 * found.u_rise_k:
        said.append("the rise is not distinguishable from none")
    if _patterned(data.residuals(found.time_constant_s, solution), found):
        said.append(
            "the readings weave about the curve more than their scatter explains: a second body, a moving "
            "room or a changed load; one exponential does not fit"
        )
    return tuple(said)


def _lopsided(found: Rise) -> bool:
    """Do the ends of the interval lie more than a fifth away from where a symmetric one would put them?"""
    low, high = found.interval("rise_k")
    down, up = found.rise_k - low, high - found.rise_k
    return max(down, up) > 1.2 * coverage_factor(0.95, found.dof) * found.u_rise_k or max(
        down, up
    ) > 1.5 * min(down, up)


def _patterned(residuals: Array, found: Rise) -> bool:
    """Do the residuals hang together (von Neumann's ratio), by at least half a per cent of the rise?

    Scatter alone makes neighbours differ by sqrt(2) times its standard deviation.
    """
    if len(residuals) < 12 or not found.dof:
        return False
    scatter = math.sqrt(float(np.mean(np.diff(residuals) ** 2)) / 2.0)
    return found.residual_sd > max(1.5 * scatter, 0.005 * abs(found.rise_k))
