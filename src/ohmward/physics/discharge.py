"""Stored charge: how long a reservoir takes to fall to a safe voltage through its bleeder."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Value = float | Array

SAFE_V = 5.0
"""Residual voltage [V] that the make-safe wait is computed to.

Well under the 35 V d.c. of a wet location (IEC 61010-1 6.3.1, from memory): at bench voltages the
hazard is an arc and damaged parts rather than shock (common practice, no source).
"""


def time_to(start_v: Value, bleeder_ohm: Value, capacitance_f: Value, safe_v: float = SAFE_V) -> Array:
    r"""Return the time [s] for a capacitor to fall from `start_v` to `safe_v` through a resistor.

    :math:`t = R C \ln(U_0 / U_s)`, zero where the start is already safe. Arguments broadcast; the
    answer has their shape (0-dimensional for floats).

    Parameters
    ----------
    start_v : float or array
        Voltage at switch-off [V]; its sign is of no matter.
    bleeder_ohm : float or array
        Resistance across the capacitor [Ω]; infinite without a bleeder, and so is the answer.
    capacitance_f : float or array
        Capacitance [F].
    safe_v : float
        Voltage to fall to [V], above zero.

    Raises
    ------
    ValueError
        When `safe_v` is not above zero: an exponential never gets there.
    """
    if safe_v <= 0:
        raise ValueError(f"a capacitor never falls to {safe_v} V through a resistor")
    ratio = np.maximum(np.abs(start_v) / safe_v, 1.0)
    # An infinite bleeder of an already safe capacitor is 0 s, not infinity times zero.
    finite = np.where(ratio > 1.0, bleeder_ohm, 0.0)
    return np.asarray(finite * capacitance_f * np.log(ratio))


def voltage_after(start_v: Value, elapsed_s: Value, bleeder_ohm: Value, capacitance_f: Value) -> Array:
    """Return the voltage [V] left `elapsed_s` [s] after switch-off: U0 e^(−t/RC)."""
    return np.asarray(start_v * np.exp(-np.asarray(elapsed_s) / (np.asarray(bleeder_ohm) * capacitance_f)))
