"""Copper: resistance of a cord by length, area and temperature."""

from __future__ import annotations

# Maximum DC resistance [Ω/km] at 20 °C of plain class 5 conductors, IEC 60228 table 3 (found).
CLASS_5_OHM_PER_KM: dict[float, float] = {
    0.5: 39.0,
    0.75: 26.0,
    1.0: 19.5,
    1.5: 13.3,
    2.5: 7.98,
    4.0: 4.95,
}
COPPER_PER_K = 0.00393
"""Temperature coefficient of annealed copper about 20 °C [1/K], IEC 60028."""
_OTHER_OHM_MM2_PER_KM = 19.5
"""Area x resistance of the 0.75 and 1.0 mm² rows, for a size that is not in the table."""


def cord_resistance(length_m: float, area_mm2: float, temperature_c: float = 20.0) -> float:
    """Return the largest resistance [Ω] of one core of a flexible cord.

    R = r L (1 + α (t - 20 °C)), with r of IEC 60228 class 5 and α of IEC 60028.

    Parameters
    ----------
    length_m : float
        Length of the cord [m], zero or more.
    area_mm2 : float
        Nominal area of a core [mm²], above zero.
    temperature_c : float
        Temperature of the copper [°C].

    Raises
    ------
    ValueError
        For a length below zero or an area of zero or below.
    """
    if length_m < 0 or area_mm2 <= 0:
        raise ValueError(f"cord of {length_m} m and {area_mm2} mm²: length has to be >= 0 and area > 0")
    per_km = CLASS_5_OHM_PER_KM.get(area_mm2, _OTHER_OHM_MM2_PER_KM / area_mm2)
    return per_km * length_m / 1000.0 * (1.0 + COPPER_PER_K * (temperature_c - 20.0))
