"""Heat: one time constant a body, the junction chain, and copper that grows hot.

Functions of floats or arrays alike.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Value = float | Array
Number = TypeVar("Number", float, Array)

COPPER_K = 234.5
"""Copper's resistance is proportional to (234.5 + t) with t in °C (EN 61558-1 14.2, as reprinted by a
winder; the same as 0.00393 per kelvin at 20 °C, IEC 60028)."""

ALUMINIUM_K = 228.0
"""The same of a winding of aluminium wire (temperature-rise formulas of an engineering portal; product-safety
text uses 225 for conductor-grade aluminium)."""

REFERENCE_C = 20.0
"""Temperature that resistances are kept at [°C]."""


def copper(ohm_at_20: Number, temperature_c: Number) -> Number:
    """Return the resistance [Ω] at `temperature_c` [°C] of copper that has `ohm_at_20` at 20 °C.

    R(t) = R20 (234.5 + t) / 254.5; see `COPPER_K`.
    """
    return ohm_at_20 * (COPPER_K + temperature_c) / (COPPER_K + REFERENCE_C)


def winding_rise(
    cold_ohm: float, hot_ohm: float, cold_c: float, ambient_c: float, *, metal_k: float = COPPER_K
) -> float:
    """Return a winding's mean rise over the room [K] by its resistance.

    ΔT = (R2 − R1)/R1 · (234.5 + t1) − (t2 − t1), EN 61558-1 14.2.

    Parameters
    ----------
    cold_ohm, hot_ohm : float
        R1 and R2, before and at the end of the run [Ω].
    cold_c : float
        t1, winding and room at the start [°C].
    ambient_c : float
        t2, room at the end [°C].
    metal_k : float
        `COPPER_K` or `ALUMINIUM_K`.
    """
    return (hot_ohm - cold_ohm) / cold_ohm * (metal_k + cold_c) - (ambient_c - cold_c)


def after(elapsed_s: Value, start: Value, final: Value, time_constant_s: Value) -> Array:
    """Return the temperature of a body with one time constant, `elapsed_s` after leaving `start`.

    T(t) = T_final − (T_final − T_start) e^(−t/τ); `elapsed_s` may be infinite.
    """
    return np.asarray(final - (final - start) * np.exp(-np.asarray(elapsed_s) / time_constant_s))


def junction(sink_c: Number, dissipation_w: Number, interface_kpw: Number, inner_kpw: Number) -> Number:
    """Return the junction temperature [°C]: T_j = T_sink + P (R_case-sink + R_junction-case)."""
    return sink_c + dissipation_w * (interface_kpw + inner_kpw)


def largest_sink(
    dissipation_w: float, junction_max_c: float, ambient_c: float, interface_kpw: float, inner_kpw: float
) -> float:
    """Return the largest thermal resistance of a heat sink [K/W] that keeps the junction within its limit.

    R_sa = (T_jmax − T_a)/P − R_jc − R_cs; negative where no heat sink will do.
    """
    return (junction_max_c - ambient_c) / dissipation_w - inner_kpw - interface_kpw
