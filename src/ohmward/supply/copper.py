"""Copper: resistance of a cord or wire by length, area and temperature."""

from __future__ import annotations

import math

CLASS_5_OHM_PER_KM = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95}
"""Largest resistance of flexible conductors by area [mm²]: plain copper, class 5, 20 °C [Ω/km].

IEC 60228, as three cable makers' tables print it."""
COPPER_OHM_MM2_PER_M = 0.017241
"""Resistivity of annealed copper at 20 °C, IEC 60028: 1/58."""
COPPER_PER_K = 0.00393
"""Its temperature coefficient about 20 °C, IEC 60028; the same as R proportional to 234.5 + t."""


def cord_resistance(length_m: float, area_mm2: float, temperature_c: float = 20.0) -> float:
    """Return the largest resistance [Ω] that one core of a sound flexible cord may have.

    R = r L (1 + α (t − 20 °C)), r of IEC 60228 class 5 and α of IEC 60028. An area that is not listed
    is scaled by area from the next smaller listed one (from 0.5 mm² below that). A good cord reads lower.

    Parameters
    ----------
    length_m : float
        Length of the cord [m], zero or more.
    area_mm2 : float
        Nominal area of one core [mm²], above zero.
    temperature_c : float
        Temperature of the copper [°C].

    Raises
    ------
    ValueError
        For a length below zero, an area not above zero, or either not finite.
    """
    _check(length_m, area_mm2)
    listed = max((area for area in CLASS_5_OHM_PER_KM if area <= area_mm2), default=0.5)
    ohm_per_km = CLASS_5_OHM_PER_KM[listed] * listed / area_mm2
    return ohm_per_km * length_m / 1000.0 * _warm(temperature_c)


def copper_resistance(length_m: float, area_mm2: float, temperature_c: float = 20.0) -> float:
    """Return the resistance [Ω] of a solid copper conductor: ρ L / A (1 + α (t − 20 °C)), IEC 60028.

    Arguments and errors as of `cord_resistance`.
    """
    _check(length_m, area_mm2)
    return COPPER_OHM_MM2_PER_M * length_m / area_mm2 * _warm(temperature_c)


def awg_area_mm2(gauge: float) -> float:
    """Return the area [mm²] of an American wire gauge: d = 0.127 mm · 92^((36 − n)/39), ASTM B258."""
    diameter_mm: float = 0.127 * 92.0 ** ((36.0 - gauge) / 39.0)
    return math.pi / 4.0 * diameter_mm**2


def earth_path(
    length_m: float, area_mm2: float, joints_ohm: float = 0.1, temperature_c: float = 20.0
) -> float:
    """Return an earth path through a cord [Ω]: what its joints are allowed, plus the cord.

    0.1 Ω and the cord is the UK code of practice's rule, and one of EN 50106.
    """
    return joints_ohm + cord_resistance(length_m, area_mm2, temperature_c)


def _check(length_m: float, area_mm2: float) -> None:
    if not (math.isfinite(length_m) and length_m >= 0 and math.isfinite(area_mm2) and area_mm2 > 0):
        raise ValueError(
            f"a conductor of {length_m} m and {area_mm2} mm²: the length has to be zero or more, "
            "the area above zero"
        )


def _warm(temperature_c: float) -> float:
    return 1.0 + COPPER_PER_K * (temperature_c - 20.0)
