"""Stored charge: how long a reservoir takes to fall to a safe voltage through its bleeder."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

Number = TypeVar("Number", float, npt.NDArray[np.float64])

SAFE_V = 5.0
"""Residual voltage [V] that the make-safe wait is computed to.

Well under the 35 V d.c. of a wet location (IEC 61010-1 6.3.1, from memory): at bench voltages the
hazard is an arc and damaged parts rather than shock (common practice, no source).
"""


def time_to(
    start_v: Number, bleeder_ohm: Number | float, capacitance_f: Number | float, safe_v: float = SAFE_V
) -> Number:
    r"""Return the time [s] for a capacitor to fall from `start_v` to `safe_v` through a resistor.

    :math:`t = R C \ln(U_0 / U_s)`, zero where the start is already safe; any of the arguments may be
    an array.

    Parameters
    ----------
    start_v : float or array
        Voltage at switch-off [V], magnitude.
    bleeder_ohm : float or array
        Resistance across the capacitor [Ω]; infinite without a bleeder, and so is the answer.
    capacitance_f : float or array
        Capacitance [F].
    safe_v : float
        Voltage to fall to [V], above zero.

    References
    ----------
    Decay V0·exp(−t/RC): any text on circuits; worked figures in the tests.
    """
    ratio = np.maximum(np.abs(start_v) / safe_v, 1.0)
    time = np.where(ratio > 1.0, np.asarray(bleeder_ohm) * capacitance_f * np.log(ratio), 0.0)
    return float(time) if np.ndim(time) == 0 else time  # type: ignore[return-value]
