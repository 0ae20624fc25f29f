"""Is it within its limit, and how sure is that? ILAC-G8 decision and JCGM 106 probability.

The boundary convention, stated because ILAC-G8 prints its conditional zones as closed intervals so
that a value exactly on a boundary belongs to two of them: here **a boundary belongs to the better
zone**. The acceptance limit itself is a pass (as JCGM 106 counts it), the limit itself a conditional
pass ('at most 0.1 ohm' is met by 0.1 ohm), the limit plus guard band a conditional fail. Two numbers
that differ by less than 1e-12 of their size are the same number: a verdict must not hang on how a
computer writes 0.1.

References
----------
.. [1] ILAC-G8:09/2019, Guidelines on Decision Rules and Statements of Conformity, 4.2 and table 1.
.. [2] JCGM 106:2012, The role of measurement uncertainty in conformity assessment, 7.2 to 7.4, 8.3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from ohmward.logbook.events import Verdict

Side = Literal["lower", "upper"]

BOUNDARY = "a value exactly on a boundary belongs to the better zone"
"""The convention of this module in one line, for reports."""

NORMAL_95 = 1.96
"""Coverage factor of a normal 95 % range."""
NO_LIMIT = "recorded, no limit applies"
"""What the verdict 'not applicable' of a reading is called; of a check it is an answer, and another thing."""

_SAME = 1e-12
_RANKED: tuple[Verdict, ...] = ("pass", "conditional pass", "conditional fail", "fail")


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """A verdict with all that led to it; numbers in the unit of the value decided on."""

    verdict: Verdict
    value: float
    expanded_uncertainty: float | None
    """U; None where it is not stated."""
    lower: float | None
    upper: float | None
    guard_band: float
    """w; 0 where U is not stated (simple acceptance)."""
    acceptance_low: float | None
    acceptance_high: float | None
    side: Side | None
    """The limit that decided: the nearer one, or the one that is broken. None without limits."""
    margin: float | None
    """Distance inside that limit; negative when it is broken."""
    acceptance_empty: bool
    """The tolerance is narrower than two guard bands: with this meter nothing can pass outright."""

    def __str__(self) -> str:
        return self.verdict

    @property
    def accepted(self) -> bool:
        """Within its limit, surely or not: pass, conditional pass or 'not stated: pass'."""
        return self.verdict in ("pass", "conditional pass", "not stated: pass")


def reading_verdict_said(verdict: str) -> str:
    """Return the verdict of a reading in small letters."""
    return NO_LIMIT if verdict == "not applicable" else verdict


def decide(
    value: float,
    expanded_uncertainty: float | None,
    lower: float | None = None,
    upper: float | None = None,
    *,
    guard_ratio: float = 1.0,
) -> Decision:
    """Decide whether `value` lies within its limits, by ILAC-G8:09/2019 with a guard band.

    Parameters
    ----------
    value : float
        The result, lead null already subtracted.
    expanded_uncertainty : float or None
        U at about 95 % (k = 2). None: not stated, so simple acceptance, and the verdict says so.
    lower, upper : float or None
        Tolerance limits in the same unit. On a negative rail the lower limit is the more negative.
    guard_ratio : float
        w / U. 1 is the rule of ILAC-G8 4.2.2 and the default; 0.83 is ISO 14253-1; 0 is simple
        acceptance with the uncertainty known (4.2.1).

    Returns
    -------
    Decision
        ``not applicable`` when there is no limit at all.

    Raises
    ------
    ValueError
        When a number is NaN, the uncertainty or guard ratio is negative, or the limits are crossed.
    """
    _check_limits(lower, upper)
    if math.isnan(value):
        raise ValueError("the value is not a number")
    if expanded_uncertainty is not None and not 0.0 <= expanded_uncertainty < math.inf:
        raise ValueError(f"an expanded uncertainty is a finite number from 0 up, not {expanded_uncertainty}")
    if not 0.0 <= guard_ratio < math.inf:
        raise ValueError(f"a guard ratio is a finite number from 0 up, not {guard_ratio}")
    guard = guard_ratio * (expanded_uncertainty or 0.0)
    low = None if lower is None else lower + guard
    high = None if upper is None else upper - guard
    sides = _sides(value, lower, upper)
    verdict: Verdict = "not applicable"
    side: Side | None = None
    margin: float | None = None
    if sides:
        margin, side = min(sides)
        verdict = _zone(margin, guard, scale=_scale(value, lower if side == "lower" else upper))
        if expanded_uncertainty is None:
            verdict = "not stated: pass" if verdict == "pass" else "not stated: fail"
    return Decision(
        verdict=verdict,
        value=value,
        expanded_uncertainty=expanded_uncertainty,
        lower=lower,
        upper=upper,
        guard_band=guard,
        acceptance_low=low,
        acceptance_high=high,
        side=side,
        margin=margin,
        acceptance_empty=low is not None and high is not None and high - low < -_SAME * _scale(low, high),
    )


def conformance_probability(
    value: float,
    standard_uncertainty: float,
    lower: float | None = None,
    upper: float | None = None,
) -> float:
    """Return the probability that the true value lies within its limits.

    JCGM 106:2012, 7.2 to 7.4, for a normal distribution of what is known about the true value:
    p = F((upper - value) / u) - F((lower - value) / u), with F the standard normal distribution.

    Parameters
    ----------
    value : float
        Best estimate.
    standard_uncertainty : float
        u (not U). With u = 0 the probability is 1 or 0.
    lower, upper : float or None
        Tolerance limits in the same unit; without any the probability is 1.

    Raises
    ------
    ValueError
        When a number is NaN, the uncertainty is negative, or the limits are crossed.
    """
    _check_limits(lower, upper)
    if math.isnan(value):
        raise ValueError("the value is not a number")
    if not 0.0 <= standard_uncertainty < math.inf:
        raise ValueError(f"a standard uncertainty is a finite number from 0 up, not {standard_uncertainty}")
    if standard_uncertainty == 0.0 or math.isinf(value):
        inside = (lower is None or value >= lower) and (upper is None or value <= upper)
        return 1.0 if inside else 0.0
    below = 0.0 if lower is None else _phi((lower - value) / standard_uncertainty)
    above = 0.0 if upper is None else _phi((value - upper) / standard_uncertainty)
    return max(0.0, 1.0 - below - above)


def largest_false_acceptance(guard_ratio: float, coverage: float = 2.0) -> float:
    """Return the largest probability that an accepted result is outside its limit.

    ILAC-G8:09/2019 table 1, one limit: the worst accepted result lies on the acceptance limit, a
    distance w = `guard_ratio` U inside the limit, where the probability of being outside is
    F(-w / u) with u = U / `coverage`. For a negative ratio (relaxed acceptance) one minus it is the
    largest probability of false rejection.
    """
    return _phi(-guard_ratio * coverage)


def _phi(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def _check_limits(lower: float | None, upper: float | None) -> None:
    for limit in (lower, upper):
        if limit is not None and math.isnan(limit):
            raise ValueError("a limit is not a number")
    if lower is not None and upper is not None and lower > upper:
        raise ValueError(
            f"the lower limit {lower} is above the upper limit {upper}; "
            "on a negative rail the lower limit is the more negative one"
        )


def _sides(value: float, lower: float | None, upper: float | None) -> list[tuple[float, Side]]:
    found: list[tuple[float, Side]] = []
    if lower is not None:
        found.append((value - lower, "lower"))
    if upper is not None:
        found.append((upper - value, "upper"))
    return found


def _scale(value: float, limit: float | None) -> float:
    size = max(abs(value), 0.0 if limit is None else abs(limit))
    return size if math.isfinite(size) else 0.0


def _zone(margin: float, guard: float, scale: float) -> Verdict:
    slack = _SAME * max(scale, guard)
    for boundary, verdict in zip((guard, 0.0, -guard), _RANKED, strict=False):
        if margin >= boundary - slack:
            return verdict
    return "fail"
