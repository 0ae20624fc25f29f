"""What is left on a reservoir after switch-off: bleeder, leakage, and a load that is still on."""

from __future__ import annotations

import math

FLOOR_V = 1.0
"""Reservoir voltage below which an electronic load, or a regulator, draws no more [V] (assumption)."""


def decay(volts: float, seconds: float, *, ohm: float, farad: float, load_a: float = 0.0) -> float:
    r"""Return the voltage [V] of a capacitor that was at `volts` `seconds` [s] ago.

    With a constant current I beside the resistor, :math:`U(t) = (U_0 + IR)e^{-t/RC} - IR` down to
    `FLOOR_V`, then :math:`U e^{-t/RC}`; in a straight line where nothing but the current draws. From
    :math:`C\,dU/dt = -U/R - I`.

    Parameters
    ----------
    ohm : float
        Across the capacitor [Ω]; may be infinite.
    farad : float
        Capacitance [F]; nothing is left of a charge where there is none.
    load_a : float
        Constant current drawn besides [A].
    """
    if farad <= 0 or volts <= 0:
        return 0.0
    if load_a > 0 and volts > FLOOR_V:
        whole = farad * (volts - FLOOR_V) / load_a
        if not math.isinf(ohm):
            whole = ohm * farad * math.log((volts + load_a * ohm) / (FLOOR_V + load_a * ohm))
        if seconds < whole:
            if math.isinf(ohm):
                return volts - load_a * seconds / farad
            return (volts + load_a * ohm) * math.exp(-seconds / (ohm * farad)) - load_a * ohm
        volts, seconds = FLOOR_V, seconds - whole
    return volts if math.isinf(ohm) else volts * math.exp(-seconds / (ohm * farad))
