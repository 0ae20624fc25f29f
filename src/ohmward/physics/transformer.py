"""Mains transformer: winding resistance, no-load voltage, magnetising current.

Voltages are RMS. `regulation` is (no-load − full-load)/full-load as a fraction, the makers' convention.
The tables by rating are common practice without a source to cite (compiled from memory, cross-checked
with a few measured units); they are used only where the sheet is silent, with the width given here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from ohmward.physics.spread import Spread

Array = npt.NDArray[np.float64]
Core = Literal["toroid", "laminated"] | None

# Rating [VA], usual regulation of a toroid [%], least and most magnetising current at 230 V [mA].
_BY_RATING = np.array(
    [
        [6.0, 26.0, 1.5, 10.0],
        [15.0, 19.0, 2.0, 15.0],
        [30.0, 16.0, 3.0, 25.0],
        [50.0, 13.5, 4.0, 35.0],
        [80.0, 12.5, 5.0, 45.0],
        [100.0, 10.5, 6.0, 50.0],
        [120.0, 10.0, 6.0, 60.0],
        [160.0, 8.5, 8.0, 80.0],
        [225.0, 7.5, 8.0, 100.0],
        [300.0, 6.5, 10.0, 120.0],
        [500.0, 5.0, 15.0, 200.0],
    ]
)

PRIMARY_SHARE = Spread(value=0.55, low=0.45, high=0.65)
"""Share of the full-load copper loss in the primary.

0.55 brings the primary resistance of toroids from 15 to 300 VA within 10 % of the figures that
builders quote (common practice, no source)."""

RISE_K = Spread(value=60.0, low=45.0, high=75.0)
"""Mean rise of the windings at rated load [K]; class A allows 65 by resistance, one winder designs to 50."""

SURFACE_SHARE = Spread(value=0.75, low=0.65, high=0.9)
"""Rise of the skin over the rise of the windings (assumption)."""

# Of a laminated core over a toroid of the same rating (common practice, no source).
_LAMINATED_REGULATION = 1.2
_UNKNOWN_REGULATION = 1.08
_CORE_LOSS = {"toroid": 0.012, "laminated": 0.035, None: 0.02}

MAGNETISING_EXPONENT = 4.0
"""Magnetising current grows about as this power of the mains voltage near its rating (assumption)."""


def usual_regulation(rating_va: float, core: Core = None) -> Spread:
    """Return the usual regulation [fraction] of a transformer of `rating_va` [VA].

    Straight lines on logarithmic axes through the table of this module; outside 6 to 500 VA the
    last slope goes on.
    """
    toroid = _interpolate(rating_va, 1) / 100
    if core == "toroid":
        return Spread(value=toroid, low=0.83 * toroid, high=1.2 * toroid)
    if core == "laminated":
        usual = toroid * _LAMINATED_REGULATION
        return Spread(value=usual, low=0.9 * usual, high=1.25 * usual)
    return Spread(value=toroid * _UNKNOWN_REGULATION, low=0.85 * toroid, high=1.4 * toroid)


def usual_magnetising_va(rating_va: float, core: Core = None) -> Spread:
    """Return the magnetising power of a sound transformer at its rated voltage [VA].

    From least and most current at 230 V; toroids run to the low side, laminated cores to the high.
    """
    low, high = (230e-3 * _interpolate(rating_va, column) for column in (2, 3))
    decades = float(np.log(high / low))
    start, end = {"toroid": (0.0, 0.7), "laminated": (0.3, 1.0), None: (0.0, 1.0)}[core]
    bounds = (low * float(np.exp(start * decades)), low * float(np.exp(end * decades)))
    return Spread(value=float(np.sqrt(bounds[0] * bounds[1])), low=bounds[0], high=bounds[1], shape="log")


def usual_core_loss_w(rating_va: float, core: Core = None) -> Spread:
    """Return the core loss at rated voltage [W] (share of the rating; assumption)."""
    loss = _CORE_LOSS[core] * rating_va
    return Spread(value=loss, low=0.6 * loss, high=1.6 * loss)


def usual_time_constant_s(rating_va: float) -> Spread:
    """Return the thermal time constant [s]: about 40 min at 100 VA, growing with the cube root of the rating.

    Quoted between a few minutes and hours; a small 100 VA core about 30 to 60 min (from memory).
    """
    tau = 2400.0 * float(np.cbrt(rating_va / 100.0))
    return Spread(value=tau, low=0.6 * tau, high=1.6 * tau, shape="log")


@dataclass(frozen=True, slots=True, kw_only=True)
class Windings:
    """One transformer's windings; arrays of one shape, secondaries in the order given."""

    primary_ohm: Array
    """At 20 °C [Ω]."""
    secondary_ohm: tuple[Array, ...]
    """At 20 °C, of each half where centre-tapped [Ω]."""
    ratio: tuple[Array, ...]
    """No-load secondary voltage over primary voltage."""


def windings(
    *,
    regulation: Array,
    primary_share: Array,
    primary_v: float,
    rating_va: float,
    voltage_v: Sequence[Array],
    current_a: Sequence[float],
    hot_factor: float,
    primary_ohm: Array | None = None,
    secondary_ohm: Sequence[Array | None] = (),
) -> Windings:
    r"""Return the windings that give the stated regulation, or those measured.

    With copper loss :math:`\varepsilon S` at rated load, a share s of it in the primary:
    :math:`R_1 = s\,\varepsilon U_1^2 / (S (1+\varepsilon)^2)` and
    :math:`R_2 = (1-s)\,\varepsilon U_2 / I_2`, both hot; divided by `hot_factor` at 20 °C. The ratio
    is :math:`n = U_2 (1+\varepsilon)/U_1`, so that a secondary's whole source resistance is
    :math:`R_2 + n^2 R_1` when it alone is loaded.

    Parameters
    ----------
    regulation, primary_share : array
        ε and s [fraction].
    primary_v, rating_va : float
        U1 [V] and S [VA].
    voltage_v : sequence of array
        U2 at rated load, of each secondary (each half of a centre-tapped one) [V].
    current_a : sequence of float
        I2, rated [A].
    hot_factor : float
        Resistance at rated load over that at 20 °C.
    primary_ohm, secondary_ohm : array, optional
        Measured at 20 °C [Ω]; these win.

    Notes
    -----
    Derived from the definition of regulation for a resistive load, leakage inductance left out: at
    mains frequency it is small against the resistance below about 300 VA (common practice, no source).
    """
    measured = list(secondary_ohm) or [None] * len(voltage_v)
    computed = primary_share * regulation * primary_v**2 / (rating_va * (1 + regulation) ** 2) / hot_factor
    return Windings(
        primary_ohm=computed if primary_ohm is None else primary_ohm,
        secondary_ohm=tuple(
            (1 - primary_share) * regulation * volts / amps / hot_factor if known is None else known
            for volts, amps, known in zip(voltage_v, current_a, measured, strict=True)
        ),
        ratio=tuple(volts * (1 + regulation) / primary_v for volts in voltage_v),
    )


def implied_regulation(
    *,
    primary_ohm: float,
    secondary_ohm: float,
    primary_v: float,
    voltage_v: float,
    current_a: float,
    share_va: float,
) -> float:
    r"""Return the regulation [fraction] that measured resistances (hot) imply.

    :math:`\varepsilon = \varepsilon_2 + \varepsilon_1 (1+\varepsilon)^2` with
    :math:`\varepsilon_2 = R_2 I_2/U_2` and :math:`\varepsilon_1 = R_1 S/U_1^2`; the smaller root, or
    the plain sum where resistances are too large for any.

    Parameters
    ----------
    share_va : float
        S, the whole rating that the primary carries [VA].
    """
    own, shared = secondary_ohm * current_a / voltage_v, primary_ohm * share_va / primary_v**2
    # shared·ε² + (2·shared − 1)·ε + own + shared = 0
    middle, last = 2 * shared - 1, own + shared
    root = middle**2 - 4 * shared * last
    if shared <= 0 or root < 0:
        return last
    return float((-middle - np.sqrt(root)) / (2 * shared))


def terminal_rms(
    *,
    open_v: Array,
    shared_ohm: Array,
    shared_power_w: Array,
    shared_a: Array,
    own_ohm: Array,
    own_power_w: Array,
    own_a: Array,
    own_share: float = 1.0,
) -> Array:
    r"""Return the RMS voltage [V] at a loaded winding's terminals.

    For u = e − r i, :math:`U^2 = E^2 - 2 r P + r^2 I^2` with P the mean of e·i, the power that leaves the
    ideal winding. The primary's part of r carries the current of all in both half-cycles, the winding's own
    part its own current in the share of them in which it conducts.

    Parameters
    ----------
    open_v : array
        E [V].
    shared_ohm : array
        Primary resistance referred to this winding [Ω].
    shared_power_w, shared_a : array
        P of all windings [W], and their RMS current referred to this one [A].
    own_ohm, own_power_w, own_a : array
        The same of this winding; P and I of both halves together.
    own_share : float
        1 for a plain winding, 0.5 for each half of a centre-tapped one.
    """
    shared_drop, own_drop = shared_ohm * shared_a, own_ohm * own_a
    cross = 2 * (shared_ohm * shared_power_w + own_share * own_ohm * own_power_w)
    square = shared_drop**2 + own_share * own_drop * (2 * shared_drop + own_drop)
    return np.asarray(np.sqrt(np.maximum(open_v**2 - cross + square, 0.0)))


def _interpolate(rating_va: float, column: int) -> float:
    """Return a column of the table at `rating_va`, straight on logarithmic axes, continued outside."""
    x, y = np.log(_BY_RATING[:, 0]), np.log(_BY_RATING[:, column])
    at = np.log(max(rating_va, 1.0))
    place = int(np.clip(np.searchsorted(x, at), 1, len(x) - 1))
    slope = (y[place] - y[place - 1]) / (x[place] - x[place - 1])
    return float(np.exp(y[place] + slope * (at - x[place])))
