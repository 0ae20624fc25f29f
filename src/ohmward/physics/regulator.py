"""Linear regulator behind a reservoir: set point, dropout with the valley coming through, heat.

Magnitudes throughout (a negative rail is mirrored by whoever calls), arrays in, arrays out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Regulated:
    """What comes out of a regulator. All in SI base units; shapes as the arguments broadcast."""

    output_v: Array
    """Mean at the regulator's output [V]."""
    ripple_pp_v: Array
    headroom_v: Array
    """Valley less output less dropout; negative while the valley comes through [V]."""
    dissipation_w: Array
    """In the pass device, its own quiescent current included."""
    limited: npt.NDArray[np.bool_]
    """The load asks for more than the current limit; the output has collapsed."""


def regulate(
    *,
    set_point_v: Array,
    load_a: Array,
    mean_v: Array,
    valley_v: Array,
    peak_v: Array,
    output_ohm: Array | float = 0.0,
    dropout_v: Array | float = 2.0,
    rejection_db: Array | float = 60.0,
    quiescent_a: Array | float = 0.0,
    limit_a: Array | float = np.inf,
) -> Regulated:
    r"""Return output, ripple, headroom and heat of a linear regulator.

    While the valley of the reservoir stays `dropout_v` above :math:`U = U_0 - r_o I`, the output is
    U and the input ripple is divided by :math:`10^{a/20}`. Below that the device is fully on for part of
    each half-cycle and the output follows the input less the dropout. The reservoir is taken to
    fall in a straight line from peak to valley, so with d the depth by which the valley misses and
    p the input's p-p, the output falls short for a share d/p of the time by d/2 in the mean:
    :math:`\bar U = U - d^2/(2p)`, ripple d on top of what the rejection leaves.

    Parameters
    ----------
    set_point_v : array
        Unloaded output [V].
    load_a : array
        Load current [A]; constant current, as behind a load set to it.
    mean_v, valley_v, peak_v : array
        Reservoir [V].
    output_ohm : array
        Output resistance [Ω].
    dropout_v : array
        Least input-output difference [V].
    rejection_db : array
        Ripple rejection [dB], positive.
    quiescent_a : array
        Current of the regulator itself [A].
    limit_a : array
        Current limit [A].

    Notes
    -----
    Source: the definition of each quantity in any regulator's data; the straight-line valley is the
    engineering approximation of this module. A current limit is taken as constant current: a load
    that insists on more finds no output voltage.
    """
    target = set_point_v - output_ohm * load_a
    headroom = valley_v - target - dropout_v
    ripple_in = np.maximum(peak_v - valley_v, 0.0)
    through = np.clip(-headroom, 0.0, ripple_in)
    # What the whole waveform lies below the target by, once even the peak does not reach.
    below = np.maximum(-headroom - ripple_in, 0.0)
    span = np.where(ripple_in > 0, ripple_in, 1.0)
    full_on_share = through / span
    output = target - full_on_share * through / 2 - below
    rest = (ripple_in - through) * 10 ** (-np.asarray(rejection_db) / 20)
    limited = np.asarray(load_a > limit_a)
    output = np.where(limited, 0.0, np.maximum(output, 0.0))
    passed = np.minimum(load_a, limit_a)
    return Regulated(
        output_v=output,
        ripple_pp_v=np.where(limited, 0.0, through + rest),
        headroom_v=headroom,
        dissipation_w=np.maximum(mean_v - output, 0.0) * passed + mean_v * quiescent_a,
        limited=limited,
    )


def passed(
    raw_v: Array,
    *,
    set_point_v: float,
    load_a: float,
    output_ohm: float,
    dropout_v: float,
    rejection_db: float,
) -> Array:
    """Return the output at each instant of a reservoir's waveform [V].

    The set point less its drop, plus what the rejection leaves of the input's ripple; wherever the input
    less the dropout is lower, that.

    Parameters
    ----------
    raw_v : array
        The reservoir over one cycle, equally spaced [V].
    """
    target = set_point_v - output_ohm * load_a
    held = target + (raw_v - raw_v.mean()) * 10 ** (-rejection_db / 20)
    return np.asarray(np.maximum(np.minimum(held, raw_v - dropout_v), 0.0))
