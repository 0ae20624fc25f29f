"""A rail of which only voltage and current are known: bands that hold for a regulated rail and a plain one.

Common practice, no source: an unregulated rail may stand half as high again without load ("12 V
0.5 A" shows 17 to 20 V), a regulated one keeps within 5 %; ripple is a few millivolt on a regulated
rail and up to a tenth of the voltage on a plain one.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ohmward.physics.expectation import Band, LoadedPoint, RailExpectation
from ohmward.physics.facts import Nameplate

NO_LOAD_HIGH = 1.5
LOW = 0.9
FULL_HIGH = 1.1
RIPPLE_LOW_V = 1e-3
RIPPLE_SHARE = 0.1
GUESSED = (
    "GUESSES, not computed: only the nameplate is known. Taken: without load "
    f"{100 * (1 - LOW):.0f} % below to {100 * (NO_LOAD_HIGH - 1):.0f} % above nominal, at full load within "
    f"{100 * (FULL_HIGH - 1):.0f} %, ripple up to {100 * RIPPLE_SHARE:.0f} % of it. Measure, then put down "
    "what was found"
)
APPARENT_PER_W = (1.4, 2.0, 3.2)
"""Mains VA for each watt delivered, least, usual and most: drops, regulator and pulses of current."""


def expected(rail: Nameplate, load_points: Sequence[float]) -> RailExpectation:
    """Return bands for a rail of unknown inside."""
    return RailExpectation(
        no_load=_values(rail, 0.0),
        loaded=tuple(
            LoadedPoint(load_a=point * rail.rated_a, values=_values(rail, point)) for point in load_points
        ),
        together=_values(rail, 1.0),
        notes=(GUESSED,),
        guessed=True,
    )


def mains_a(rails: Sequence[Nameplate], mains_v: float) -> Band:
    """Return the mains current [A] of rails that all carry their rated current."""
    watts = sum(rail.nominal_v * rail.rated_a for rail in rails)
    low, usual, high = (factor * watts / mains_v for factor in APPARENT_PER_W)
    return Band(value=usual, low=low, high=high)


def _values(rail: Nameplate, share: float) -> dict[str, Band]:
    top = max(NO_LOAD_HIGH - (NO_LOAD_HIGH - FULL_HIGH) * share, FULL_HIGH)
    ends = sorted(rail.sign * rail.nominal_v * factor for factor in (LOW, top))
    ripple = RIPPLE_SHARE * rail.nominal_v * max(share, 0.05)
    ripple_low = min(RIPPLE_LOW_V, ripple / 2)
    return {
        "output_v": Band(value=rail.sign * rail.nominal_v, low=ends[0], high=ends[1]),
        "output_ripple_pp_v": Band(value=float(np.sqrt(ripple_low * ripple)), low=ripple_low, high=ripple),
    }
