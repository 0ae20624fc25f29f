"""Fuse-links and the cords behind them: preferred ratings, and what an area may carry."""

from __future__ import annotations

import math

R10 = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
"""Preferred ratings of IEC 60127 within a decade (a fuse maker's list of its sheet 3)."""
R20 = (1.12, 1.4, 1.8, 2.24, 2.8, 3.55, 4.5, 5.6, 7.1, 9.0)
"""Ratings between them, series R20 (from memory)."""
CORD_A = {0.5: 3.0, 0.75: 6.0, 1.0: 10.0, 1.5: 16.0, 2.5: 25.0, 4.0: 32.0}
"""Largest current of a flexible cord by area [mm²] [A], IEC 60335-1 table 11 (from memory)."""


def is_preferred(rating_a: float) -> bool:
    """Return whether a rating [A] is one of R10 or R20 in any decade; 32 mA stands for 31.5 mA."""
    decade = _decade(rating_a)
    between = [step * 10.0**decade for step in R20]
    return any(math.isclose(rating_a, step, rel_tol=1e-3) for step in _r10(decade) + between)


def preferred_about(rating_a: float) -> tuple[float, float]:
    """Return the preferred (R10) ratings next below and next above a rating [A]; itself where it is one."""
    decade = _decade(rating_a)
    steps = [step for power in (decade - 1, decade, decade + 1) for step in _r10(power)]
    below = max(step for step in steps if step <= rating_a * 1.001)
    above = min(step for step in steps if step >= rating_a * 0.999)
    return below, above


def _decade(rating_a: float) -> int:
    return math.floor(math.log10(rating_a) + 1e-9)


def _r10(decade: int) -> list[float]:
    """Return the R10 ratings of a decade [A]; below 100 mA, 32 mA is printed for 31.5 mA."""
    return [(3.2 if step == 3.15 and decade < -1 else step) * 10.0**decade for step in R10]


def cord_current_a(area_mm2: float) -> float:
    """Return what a cord of an area [mm²] may carry [A]: of the next smaller listed area; 0 below all."""
    return max((amps for area, amps in CORD_A.items() if area <= area_mm2 * 1.001), default=0.0)
