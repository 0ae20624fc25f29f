"""While a soak runs: where it is going, when it will be done, and whether it will pass a limit.

Cheap enough to be asked at every sample. It says 'will pass the limit' only when the whole 95 %
interval lies beyond it and the record has seen enough of the rise for a forecast: a false alarm ends a
good soak, and teaches people not to listen to the next one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from ohmward.analysis.dense import Thinned, finite, fit_thinned, good_enough, judged, thinned, widened
from ohmward.analysis.soak import Rise
from ohmward.analysis.stability import DEFAULT_RULE, RULES, Rule
from ohmward.quantity import show

MOST = 60
"""Points that the record is brought down to."""
ENOUGH_SHARE = 0.4
"""Share of the rise that the record has to have seen before it may raise an alarm: half a time constant."""
ALL = 10**9


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """One temperature as it looks now; None where the record does not say. Intervals at 95 %."""

    now_c: float
    """Latest temperature."""
    final_c: float | None = None
    """Where it settles, the room staying as it is."""
    final_low_c: float | None = None
    final_high_c: float | None = None
    """None also for an end that the record leaves open."""
    time_constant_s: float | None = None
    end_c: float | None = None
    """At the end of the soak, as long as planned."""
    end_low_c: float | None = None
    end_high_c: float | None = None
    stabilised: bool | None = None
    """By the rule; None while the record is shorter than the rule looks at."""
    rule: str = ""
    remaining_s: float | None = None
    """Until it is stabilised by the rule; 0 when it is."""
    enough_data: bool = False
    """The record supports a forecast."""
    will_pass_limit: bool = False
    """The whole interval lies beyond the limit and there is enough data, or it is beyond it already."""
    passes_limit_in_s: float | None = None
    """When it will, by the best curve; 0 when it is beyond it already."""
    words: str = ""
    """All of it in one plain sentence or two."""
    warnings: tuple[str, ...] = ()


def soak_outlook(
    time_s: ArrayLike,
    temperature_c: ArrayLike,
    ambient_c: ArrayLike | None = None,
    *,
    limit_c: float | None = None,
    duration_s: float | None = None,
    resumed_s: Sequence[float] = (),
    uncertainty_k: float = 0.0,
    rule: str = DEFAULT_RULE,
) -> Outlook | None:
    """Return how a running soak looks; None before the first temperature.

    Parameters
    ----------
    time_s, temperature_c : array_like, shape (n,)
        Times from the start of the soak [s], ascending; temperatures [degC], NaN where there is none.
    ambient_c : array_like, shape (n,), optional
        Room temperature at the same times [degC], NaN where there is none.
    limit_c : float, optional
        Limit of this temperature [degC].
    duration_s : float, optional
        Length of the soak as planned [s].
    resumed_s : sequence of float
        Where it went on after an interruption [s]: only what follows the last one is used.
    uncertainty_k : float
        Expanded uncertainty of the thermometer [K], added to the interval.
    rule : str
        Rule by which it counts as stabilised, a key of `stability.RULES`.

    Raises
    ------
    ValueError
        For an unknown rule, shapes that differ or times that do not ascend from 0 on.
    """
    if rule not in RULES:
        raise ValueError(f"there is no rule {rule!r}: use one of {', '.join(RULES)}")
    record = thinned(time_s, temperature_c, ambient_c, resumed_s=resumed_s, most=MOST)
    if not len(record.time_s):
        return None
    temperatures = np.asarray(temperature_c, dtype=float)
    now = float(temperatures[np.isfinite(temperatures)][-1])
    settled = _settled(time_s, temperature_c, ambient_c, record.offset_s, rule)
    found = Outlook(now_c=now, stabilised=settled, rule=str(RULES[rule]))
    if settled:
        found = replace(found, remaining_s=0.0)
    if limit_c is not None and now - uncertainty_k > limit_c:
        found = replace(found, will_pass_limit=True, passes_limit_in_s=0.0)
    fit, why = fit_thinned(record)
    if fit is None:
        found = replace(found, warnings=(why,))
    else:
        found = _forecast(found, fit, uncertainty_k, why)
        found = _at_end(found, fit, record, duration_s, uncertainty_k)
        here = fit.predict(_clock(fit, record, record.span_s)).value
        found = _against_limit(found, fit, limit_c, here)
        found = replace(found, remaining_s=_remaining(found, fit, RULES[rule], here, record.span_s))
    return replace(found, words=_words(found, limit_c))


def _settled(
    time_s: ArrayLike, temperature_c: ArrayLike, ambient_c: ArrayLike | None, since_s: float, rule: str
) -> bool | None:
    record = thinned(time_s, temperature_c, ambient_c, resumed_s=(since_s,), most=ALL)
    return judged(record, rule).stabilised


def _forecast(found: Outlook, fit: Rise, thermometer_k: float, why: str) -> Outlook:
    interval = fit.interval("final_c")
    low, high = wide = widened(fit.final_c, interval, fit.widening.factor, thermometer_k)
    seen = fit.reached_share >= ENOUGH_SHARE and not fit.weaves
    enough = seen and good_enough(fit, wide, thermometer_k)
    return replace(
        found,
        final_c=fit.final_c,
        final_low_c=finite(low),
        final_high_c=finite(high),
        time_constant_s=fit.time_constant_s,
        enough_data=enough,
        warnings=(*((why,) if why else ()), *fit.warnings),
    )


def _at_end(
    found: Outlook, fit: Rise, record: Thinned, duration_s: float | None, thermometer_k: float
) -> Outlook:
    """Add what it will read when the soak ends."""
    if duration_s is None:
        return found
    if duration_s <= record.offset_s + record.span_s:
        return found
    at = _clock(fit, record, duration_s - record.offset_s)
    value = fit.predict(at).value
    low, high = widened(value, fit.predict_interval(at), fit.widening.factor, thermometer_k)
    return replace(found, end_c=value, end_low_c=finite(low), end_high_c=finite(high))


def _clock(fit: Rise, record: Thinned, time_s: float) -> float:
    """Return a time of the record on the clock of the fit, which began later if it is of the later half."""
    return fit.span_s + time_s - float(record.time_s[-1])


def _against_limit(found: Outlook, fit: Rise, limit_c: float | None, here_c: float) -> Outlook:
    if limit_c is None or found.will_pass_limit or found.final_c is None or found.final_low_c is None:
        return found
    if not (found.enough_data and found.final_low_c > limit_c):
        return found
    left, at_limit = found.final_c - here_c, found.final_c - limit_c
    when = fit.time_constant_s * math.log(left / at_limit) if left > at_limit else 0.0
    return replace(found, will_pass_limit=True, passes_limit_in_s=when)


def _remaining(found: Outlook, fit: Rise, rule: Rule, here_c: float, span_s: float) -> float | None:
    """Return the time until the change within the rule's window is small enough.

    The distance e from the final value falls as exp(-t / tau): within a window W it changes by
    e (exp(W / tau) - 1), and the rule asks for a record at least W long.
    """
    if found.stabilised or found.final_c is None or not found.enough_data:
        return found.remaining_s
    tau, window = fit.time_constant_s, rule.window_s / fit.time_constant_s
    left = abs(found.final_c - here_c)
    until_long = max(0.0, rule.window_s - span_s)
    if left <= 0.0:
        return until_long
    # log(expm1(w)) without overflow
    until_small = tau * (math.log(left / rule.change_k) + window + math.log(-math.expm1(-window)))
    return max(until_long, until_small, 0.0)


def _words(found: Outlook, limit_c: float | None) -> str:
    parts = []
    if limit_c is not None and found.will_pass_limit:
        limit = show(limit_c, "°C")
        if found.passes_limit_in_s:
            parts.append(f"will pass the limit of {limit} in about {_minutes(found.passes_limit_in_s)}")
        else:
            parts.append(f"is past the limit of {limit}")
    if found.final_c is None:
        parts += found.warnings[:1]
    elif found.enough_data and found.final_low_c is not None and found.final_high_c is not None:
        fine = 1 if found.final_high_c - found.final_low_c < 4.0 else 0
        low, high = (show(each, "°C", decimals=fine) for each in (found.final_low_c, found.final_high_c))
        parts.append(f"settles near {show(found.final_c, '°C', decimals=fine)} ({low} to {high})")
    else:
        parts.append("too early for a forecast")
    if found.stabilised:
        parts.append("stabilised")
    elif found.remaining_s:
        parts.append(f"stabilised in about {_minutes(found.remaining_s)}")
    return "; ".join(parts)


def _minutes(seconds: float) -> str:
    minutes = seconds / 60.0
    return f"{minutes / 60.0:.1f} h" if minutes >= 100.0 else f"{max(1, round(minutes))} min"
