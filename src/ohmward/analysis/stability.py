"""Has a temperature stabilised? By a named rule, because the published rules differ tenfold.

The rule is applied to the rise over the room where the room was recorded: a warming room is not a
warming supply. Figures and where they were seen: REFERENCES of the project, 'soak finished'.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

DEFAULT_RULE = "CTL 335"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """At most (or less than) a change within a stretch of time at the end of the record."""

    name: str
    basis: str
    change_k: float
    window_s: float
    strict: bool = False
    """The change has to be less than `change_k`, not at most."""
    spaced_share: float = 0.0
    """Where above zero: of three readings, each this share of the elapsed time after the one before, but
    at least half of `window_s`, none is higher than an earlier one by more than `change_k`."""

    def window(self, elapsed_s: float) -> float:
        """Return the stretch of time that is looked at [s]."""
        return max(self.window_s, 2.0 * self.spaced_share * elapsed_s)

    def __str__(self) -> str:
        if self.spaced_share:
            return (
                f"three readings spaced {100 * self.spaced_share:g} % of the elapsed time, at least "
                f"{self.window_s / 120.0:g} min, show no further rise ({self.basis})"
            )
        bound = "less than" if self.strict else "at most"
        minutes = self.window_s / 60.0
        window = f"{minutes / 60.0:g} h" if minutes >= 60.0 else f"{minutes:g} min"
        return f"{bound} {self.change_k:g} K in {window} ({self.basis})"


RULES = {
    rule.name: rule
    for rule in (
        Rule(name="CTL 335", basis="IEC 61010-1, CTL decision 335", change_k=2.0, window_s=3600.0),
        Rule(name="IEC 62368-1", basis="IEC 62368-1 B.1.6", change_k=3.0, window_s=1800.0),
        Rule(name="IEC 60034-1", basis="IEC 60034-1, IEC 62135-1: 2 K/h", change_k=2.0, window_s=3600.0),
        Rule(name="IEC 60598-1", basis="IEC 60598-1, BS 1363-1", change_k=1.0, window_s=3600.0, strict=True),
        Rule(name="IEC 60335-2-6", basis="IEC 60335-2-6", change_k=1.0, window_s=900.0, strict=True),
        Rule(
            name="IEC 60034-1, half-hour",
            basis="IEC 60034-1 thermal equilibrium, from memory",
            change_k=1.0,
            window_s=1800.0,
            strict=True,
        ),
        Rule(
            name="no further rise",
            basis="product-safety text, clause 49.12; 0.1 K counts as none, which is ours",
            change_k=0.1,
            window_s=1800.0,
            spaced_share=0.1,
        ),
        Rule(
            name="IEC 61810-7",
            basis="IEC 61810-7: three readings 5 min apart",
            change_k=1.0,
            window_s=600.0,
            strict=True,
        ),
    )
}
"""Rules by name; CTL 335 is the default."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stability:
    """The answer, with the rule it was given by."""

    stabilised: bool | None
    """None where the record is shorter than the rule asks for."""
    rule: Rule
    change_k: float | None
    """Largest difference (for a rule of no further rise, the largest rise) within the last stretch."""
    note: str

    @property
    def untold(self) -> str:
        """Why it is not told, in words; empty where it is."""
        if self.stabilised is not None:
            return ""
        return f"whether it is stable is not told: {self.note.removesuffix(f': {self.rule}')}"


def stabilised(
    time_s: ArrayLike,
    temperature_c: ArrayLike,
    *,
    rule: str = DEFAULT_RULE,
    ambient_c: ArrayLike | None = None,
) -> Stability:
    """Say whether a temperature has stabilised by a named rule.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times [s], ascending.
    temperature_c : array_like, shape (n,)
        Temperatures [degC].
    rule : str
        A key of `RULES`.
    ambient_c : float or array_like, optional
        Room temperature [degC]; the rule is then applied to the rise over it.

    Raises
    ------
    ValueError
        For an unknown rule, shapes that differ, values that are not finite, or times out of order.
    """
    if rule not in RULES:
        raise ValueError(f"there is no rule {rule!r}: use one of {', '.join(RULES)}")
    chosen = RULES[rule]
    t, y = np.asarray(time_s, dtype=float), np.asarray(temperature_c, dtype=float)
    if t.ndim != 1 or t.shape != y.shape or not len(t):
        raise ValueError(f"one temperature a time: {y.shape} for {t.shape}")
    rise = y if ambient_c is None else y - np.asarray(ambient_c, dtype=float)
    if not (np.isfinite(t).all() and np.isfinite(rise).all()):
        raise ValueError("a reading is not a finite number")
    if (np.diff(t) < 0.0).any():
        raise ValueError("times have to ascend")
    window = chosen.window(float(t[-1]))
    opening = t[-1] - window
    if opening < t[0] - 1e-9:
        short = f"the record is shorter than the {window / 60.0:g} min that the rule looks at"
        return Stability(stabilised=None, rule=chosen, change_k=None, note=f"{short}: {chosen}")
    if chosen.spaced_share:
        first, middle, last = np.interp([opening, t[-1] - window / 2.0, t[-1]], t, rise)
        change = float(max(middle - first, last - middle, last - first))
    else:
        change = float(np.ptp(np.append(rise[t >= opening - 1e-9], np.interp(opening, t, rise))))
    # a difference of two typed temperatures is not exact in binary: 61.5 - 59.5 has to be 2
    slack = 1e-9
    held = change < chosen.change_k - slack if chosen.strict else change <= chosen.change_k + slack
    words = "stabilised" if held else "not stabilised"
    return Stability(
        stabilised=held, rule=chosen, change_k=change, note=f"{words}: changed by {change:.2g} K; {chosen}"
    )
