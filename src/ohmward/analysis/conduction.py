"""Reservoir capacitance and series resistance from the shape of its ripple, with the load current known.

While the rectifier does not conduct, the load alone discharges the reservoir: v' = -I/C. While it does, a
pulse of current i(t) lifts it by its charge and, at once, by its passage through the series resistance:

    v(t) = v_0 - (1/C) ∫ I dt + (1/C) ∫ i dt + r i(t)

Nothing is assumed of source, diodes or i(t), but that the pulse begins and ends at nought once a ripple
period: it is a sine series over its duration, whose coefficients follow linearly, with its start, its
length and tau = r C found by least squares (variable projection). The pulse must restore what the load took,
which ties its charge to the slope. The term ∫ (v - mean) dt, free, takes up a load that follows the
voltage and the droop of an AC-coupled input.

Against circuit simulation (ngspice; bridge, centre tap, half-wave and open diode, 10 to 300 mΩ, 1 to 10 mF,
10 to 100 kSa/s) C came out within 0.6 % and tau within 0.6 % of the pulse's length; a diode lets go softly,
which the series rounds off. `SOFT` covers that with room, `LOSSY_FORM` what a very lossy capacitor adds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from scipy.optimize import OptimizeResult

Array = NDArray[np.float64]

SOFT = 0.01
"""Expanded uncertainty of tau from the soft ends of the pulse, as a share of its length."""
CAPACITANCE_FORM = 0.01
"""Expanded relative uncertainty of C from the form of the model (see the module's comparison)."""
LOSSY_FORM = 0.08
"""What adds to it with (tau / period) squared: 6.8 % were seen at 1.02, 3.9 % at 0.68, 1.4 % at 0.41."""
CURRENT_U = 0.015
"""Standard relative uncertainty taken for a load current that was set and not read (common practice)."""
LEAST_BINS = 60
MOST_BINS = 400
MOST_PERIODS = 64
_TERMS = 4
_BACKWARDS = 0.1
"""Share of its peak by which the pulse may run backwards before the fit is no conduction pulse."""
_FITS = 0.01
"""Residual [share of the swing] below which the other way up is not tried."""
_AS_GOOD = 1.05
"""Sum of squares, over that of the best fit, up to which another fits as well."""
_MISFIT = 0.05
"""Residual [share of the swing] above which the shape is not that of a reservoir."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Conduction:
    """What the shape of a reservoir's ripple says; expanded uncertainties (about 95 %)."""

    capacitance_f: float
    capacitance_uncertainty_f: float
    esr_ohm: float | None
    """None where it cannot be told from where the pulse begins."""
    esr_uncertainty_ohm: float | None
    conduction_s: float
    """How long the rectifier conducts each time."""
    peak_a: float
    """Peak of the charging pulse."""


@dataclass(frozen=True, slots=True)
class _Fit:
    length_s: float
    tau_s: float
    tau_u_s: float
    slope_vps: float
    """Discharge [V/s], above nought."""
    pulse: Array
    """Coefficients of the sine series [V/s]."""
    residual_v: float
    cost: float


def conduction(
    samples_v: Array,
    sample_rate_hz: float,
    ripple_hz: float,
    load_a: float,
    *,
    load_uncertainty_a: float | None = None,
    scale_uncertainty: float = 0.0,
    step_v: float = 0.0,
) -> tuple[Conduction | None, str]:
    """Return capacitance and series resistance, or None and why they cannot be told.

    Parameters
    ----------
    samples_v : array, shape (n,)
        Of the reservoir [V], evenly spaced; of either sign, AC-coupled or not.
    sample_rate_hz : float
        [Hz]
    ripple_hz : float
        How often the rectifier conducts [Hz]: twice the mains frequency, or once where half of it is missing.
    load_a : float
        Mean current drawn from the reservoir [A], bleeder included.
    load_uncertainty_a : float, optional
        Its standard uncertainty [A]; `CURRENT_U` of it when left out.
    scale_uncertainty : float
        Expanded uncertainty of the digitiser's vertical scale, as a share.
    step_v : float
        One step of the digitiser [V]: a jump smaller than that is not told.
    """
    if not load_a > 0.0:
        return None, "the load current is not known"
    if sample_rate_hz / ripple_hz < LEAST_BINS:
        needed = LEAST_BINS * ripple_hz
        return None, f"sampled too slowly for the conduction step: take {needed:g} samples a second or more"
    if len(samples_v) * ripple_hz < 2.0 * sample_rate_hz:
        return None, "shorter than two ripple periods"
    time, volts, noise = _folded(samples_v, sample_rate_hz, ripple_hz)
    swing = float(np.ptp(volts))
    if not swing > 0.0 or noise > 0.1 * swing:
        return None, "no ripple stands out of the noise"
    period = 1.0 / ripple_hz
    chosen, upright = None, volts
    for sign in _signs(volts):
        fit = _best(time, sign * volts, period, _TERMS)
        if fit is not None and (chosen is None or fit.cost < chosen.cost):
            chosen, upright = fit, sign * volts
        if chosen is not None and chosen.residual_v < _FITS * swing:
            break
    other = _best(time, upright, period, _TERMS - 1)
    if chosen is None or other is None or chosen.residual_v > _MISFIT * swing or chosen.slope_vps <= 0.0:
        return None, "its shape is not that of a reservoir behind a rectifier"
    current_u = 2.0 * (CURRENT_U if load_uncertainty_a is None else load_uncertainty_a / load_a)
    form_u = CAPACITANCE_FORM + LOSSY_FORM * (chosen.tau_s * ripple_hz) ** 2
    shared_u = float(np.sqrt(current_u**2 + scale_uncertainty**2 + form_u**2))
    return _result(chosen, other, load_a=load_a, shared_u=shared_u, step_v=step_v), ""


def _telling(fit: _Fit, other: _Fit) -> _Fit | None:
    """Return the fit that tells tau: a passage can come with a shift of the start, and then none may."""
    if fit.tau_u_s <= fit.length_s:
        return fit
    return other if other.tau_u_s <= other.length_s and other.cost <= _AS_GOOD * fit.cost else None


def _result(fit: _Fit, other: _Fit, *, load_a: float, shared_u: float, step_v: float) -> Conduction:
    """Return the result; `shared_u` is the relative uncertainty of current, scale and form."""
    capacitance = load_a / fit.slope_vps
    slope_u = abs(other.slope_vps / fit.slope_vps - 1.0)
    relative = float(np.hypot(shared_u, slope_u))
    along = np.linspace(0.0, np.pi, 200)
    pulse = np.sin(np.outer(along, np.arange(1, len(fit.pulse) + 1))) @ fit.pulse
    told, esr, esr_u = _telling(fit, other), None, None
    if told is not None:
        jump = step_v / float(pulse.max())
        tau_u = math.hypot(2.0 * told.tau_u_s, SOFT * fit.length_s, fit.tau_s - other.tau_s, jump)
        esr = told.tau_s / capacitance
        esr_u = math.hypot(tau_u / capacitance, relative * esr)
    return Conduction(
        capacitance_f=capacitance,
        capacitance_uncertainty_f=relative * capacitance,
        esr_ohm=esr,
        esr_uncertainty_ohm=esr_u,
        conduction_s=fit.length_s,
        peak_a=float(pulse.max()) * capacitance,
    )


def _signs(volts: Array) -> tuple[float, float]:
    """Return which way up to try first: a reservoir rises faster than it falls."""
    skew = float(np.sum(np.diff(volts, append=volts[:1]) ** 3))
    return (1.0, -1.0) if skew >= 0.0 else (-1.0, 1.0)


def _folded(samples: Array, rate_hz: float, ripple_hz: float) -> tuple[Array, Array, float]:
    """Return one period averaged over all whole ones [s, V], and the noise left in each mean [V]."""
    in_period = rate_hz / ripple_hz
    periods = min(int(len(samples) / in_period), MOST_PERIODS)
    kept = samples[: round(periods * in_period)]
    phase = np.mod(np.arange(len(kept)) / in_period, 1.0)
    bins = int(min(MOST_BINS, in_period + 1e-6))
    place = np.minimum((phase * bins + 1e-9).astype(np.int64), bins - 1)
    count = np.maximum(np.bincount(place, minlength=bins), 1)
    mean = np.bincount(place, kept, bins) / count
    moment = np.bincount(place, phase, bins) / count
    spread = np.bincount(place, np.square(kept - mean[place]), bins) / count
    return moment / ripple_hz, mean, float(np.sqrt(np.mean(spread / count)))


def _best(time: Array, volts: Array, period: float, terms: int) -> _Fit | None:
    """Return the best of several starts whose pulse does not run backwards."""
    from scipy.optimize import least_squares

    valley = float(time[int(np.argmin(volts))])
    rise = float(np.mod(time[int(np.argmax(volts))] - valley, period)) or 0.2 * period
    low = [valley - 0.1 * period, 0.3 * min(rise, 0.9 * period), 0.0]
    high = [valley + 0.1 * period, 0.98 * period, 2.0 * period]

    def solved(found: Array) -> tuple[Array, Array]:
        columns = _columns(time, volts, period, found, terms)
        return columns, np.asarray(np.linalg.lstsq(columns, volts, rcond=None)[0], dtype=float)

    def residual(found: Array) -> Array:
        columns, parts = solved(found)
        return np.asarray(columns @ parts - volts)

    best: _Fit | None = None
    for stretch in (1.1, 1.5):
        for share in (0.03, 0.15, 0.5):
            begin = np.clip([valley, stretch * rise, share * rise], low, high)
            tried = least_squares(residual, begin, bounds=(low, high), x_scale=np.full(3, period / 100.0))
            fit = _fit(tried, solved(tried.x)[1][1 : terms + 1], period)
            if fit is not None and (best is None or fit.cost < best.cost):
                best = fit
    return best


def _fit(tried: OptimizeResult, pulse: Array, period: float) -> _Fit | None:
    terms, count = len(pulse), len(tried.fun)
    along = np.sin(np.outer(np.linspace(0.0, np.pi, 200), np.arange(1, terms + 1))) @ pulse
    if not along.max() > 0.0 or along.min() < -_BACKWARDS * along.max():
        return None
    variance = 2.0 * tried.cost / max(count - terms - 5, 1)
    return _Fit(
        length_s=float(tried.x[1]),
        tau_s=float(tried.x[2]),
        tau_u_s=float(np.sqrt(max(np.linalg.pinv(tried.jac.T @ tried.jac)[2, 2] * variance, 0.0))),
        slope_vps=float(_areas(float(tried.x[1]), terms) @ pulse) / period,
        pulse=pulse,
        residual_v=float(np.sqrt(2.0 * tried.cost / count)),
        cost=float(tried.cost),
    )


def _areas(length: float, terms: int) -> Array:
    """Return the integral of each sine of the series over its duration."""
    order = np.pi * np.arange(1, terms + 1)
    return np.asarray(length * (1.0 - np.cos(order)) / order)


def _columns(time: Array, volts: Array, period: float, found: Array, terms: int) -> Array:
    """Return what the voltage is a sum of: level, each sine's charge and passage, the load."""
    start, length, tau = found
    since = np.mod(time - start, period)
    along = np.clip(since / length, 0.0, 1.0)
    columns = [np.ones_like(time)]
    for order, area in enumerate(_areas(length, terms), 1):
        angle = order * np.pi
        charge = length * (1.0 - np.cos(angle * along)) / angle
        columns.append(charge + tau * np.sin(angle * along) - area * since / period)
    order_of = np.argsort(since)
    away = volts[order_of] - volts.mean()
    steps = 0.5 * (away[1:] + away[:-1]) * np.diff(since[order_of])
    followed = np.empty_like(volts)
    followed[order_of] = np.concatenate([[0.0], np.cumsum(steps)])
    columns.append(followed)
    return np.column_stack(columns)
