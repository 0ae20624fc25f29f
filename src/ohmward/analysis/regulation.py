"""What a rail's load points say: load regulation, output resistance, the knee, and 'too good' readings.

Uncertainty of a series of readings on one meter and range has two parts. The common part (most of the
accuracy specification: gain and zero of that range) moves all points together; it cancels in a
difference except for its share of the difference itself. The separate part (the last digit, the
spread) does not cancel. Taking all of it as separate would drown a 15 milliohm regulator in the
meter's 0.5 %; taking none of it would pretend to know more than the display shows.

References
----------
.. [1] Load regulation = (V_no-load - V_full-load) / V_full-load, the textbook denominator.
.. [2] JCGM 100:2008 (GUM), 5.2 and F.1.2.3 (a common effect is a correlation).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ohmward.analysis.fits import Array, Line, straight_line
from ohmward.analysis.uncertainty import LEVEL, coverage_factor
from ohmward.analysis.warned import Kind, Warned
from ohmward.quantity import show

DENOMINATOR = "full-load voltage"
"""What load regulation is a percentage of, for reports."""

KNEE_SHARE = 3.0
"""A knee is a fall this many times steeper than the line before it, and beyond its uncertainty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Regulation:
    """Result for one rail; voltages as magnitudes, expanded uncertainties (about 95 %, k = 2)."""

    no_load_v: float
    full_load_v: float
    full_load_a: float
    load_regulation_pct: float
    """(no-load - full-load) / full-load x 100; negative when the rail rises with load."""
    load_regulation_uncertainty_pct: float
    denominator: str
    output_resistance_ohm: float | None
    """Minus the slope of V against I below any knee; None with too few points."""
    output_resistance_uncertainty_ohm: float | None
    """None where nothing but two points of unknown uncertainty fix the line."""
    line: Line | None
    knee_low_a: float | None = None
    knee_high_a: float | None = None
    """The rail lets go between these two loads; None where it does not."""
    warned: tuple[Warned, ...] = ()
    notes: tuple[str, ...] = ()
    """What is as it should be and yet bears on the numbers."""

    @property
    def warnings(self) -> tuple[str, ...]:
        """The words of what is warned of."""
        return tuple(each.words for each in self.warned)


def regulation(
    load_a: ArrayLike,
    voltage_v: ArrayLike,
    u_separate_v: ArrayLike | None = None,
    u_common_v: ArrayLike = 0.0,
    *,
    regulated: bool = True,
    sag_expected_v: float | None = None,
    ripple_pp_v: float | None = None,
    ripple_expected_v: float | None = None,
) -> Regulation:
    """Analyse the load points of one rail.

    Parameters
    ----------
    load_a : array_like
        Load currents [A], sign ignored; the smallest is the no-load point.
    voltage_v : array_like
        Output voltages [V]; a negative rail is taken by magnitude.
    u_separate_v : array_like, optional
        Standard uncertainty of each point that the others do not share [V]: last digit, spread. Left
        out, the scatter about the line gives it.
    u_common_v : array_like
        Standard uncertainty that all points share [V]: meter's gain and zero.
    regulated : bool
        Whether the rail is meant to be straight. A capacitor-input rail is not: that it is steeper at
        light load is then a note and no warning.
    sag_expected_v, ripple_pp_v, ripple_expected_v : float, optional
        Fall of the output and ripple at full load, as predicted and as measured; for the question
        whether the load was connected at all.

    Returns
    -------
    Regulation
        With what is to be warned of, by kind and in words.

    Raises
    ------
    ValueError
        When there are fewer than two different loads, a value is not finite, signs are mixed, or the
        full-load voltage is zero.
    """
    amps, volts = _points(load_a, voltage_v)
    order = np.argsort(amps, kind="stable")
    separate = None if u_separate_v is None else _spread(u_separate_v, len(amps))[order]
    common = _spread(u_common_v, len(amps))[order]
    amps, volts = amps[order], volts[order]
    if volts[-1] == 0.0:
        raise ValueError("the full-load voltage is zero: load regulation has no meaning")
    kept = _before_knee(amps, volts, separate)
    line, resistance, u_resistance = _line(amps[:kept], volts[:kept], separate, common)
    own = separate if separate is not None else np.full(len(amps), _scatter(line))
    pct, u_pct = _load_regulation(volts, own, common)
    knee = (float(amps[kept - 1]), float(amps[kept])) if kept < len(amps) else (None, None)
    warned, notes = _line_words(line, regulated)
    if knee[0] is not None:
        words = (
            f"the output lets go between {show(knee[0], 'A')} and {show(knee[1] or 0.0, 'A')}: "
            "resistance is that of the points before it"
        )
        warned.append(Warned(Kind.KNEE, words))
    sag, u_sag = volts[0] - volts[-1], 2.0 * math.hypot(own[0], own[-1])
    question = too_good(
        float(sag),
        u_sag,
        sag_expected_v=sag_expected_v,
        ripple_pp_v=ripple_pp_v,
        ripple_expected_v=ripple_expected_v,
    )
    warned += [Warned(Kind.TOO_GOOD, words) for words in question]
    if sag < -u_sag and math.isfinite(u_sag):
        words = (
            "the output rises with load: look at where the sense leads are joined, and at the load's earth"
        )
        warned.append(Warned(Kind.RISES, words))
    return Regulation(
        no_load_v=float(volts[0]),
        full_load_v=float(volts[-1]),
        full_load_a=float(amps[-1]),
        load_regulation_pct=pct,
        load_regulation_uncertainty_pct=u_pct,
        denominator=DENOMINATOR,
        output_resistance_ohm=resistance,
        output_resistance_uncertainty_ohm=u_resistance,
        line=line,
        knee_low_a=knee[0],
        knee_high_a=knee[1],
        warned=tuple(warned),
        notes=tuple(notes),
    )


def _line_words(line: Line | None, regulated: bool) -> tuple[list[Warned], list[str]]:
    """Warnings and notes to the line."""
    if line is None:
        return [Warned(Kind.TOO_FEW, "fewer than two loads before the knee: no resistance is stated")], []
    if not regulated and _flattens(line):
        return [], [
            "steeper at light load, as an unregulated rail is: the resistance is a mean over these loads"
        ]
    return list(line.warned), []


def _flattens(line: Line) -> bool:
    """Do both ends lie above the line and the middle below it?"""
    residuals = line.residuals
    return len(residuals) > 2 and residuals[0] > 0.0 and min(residuals[1:-1]) < 0.0


def too_good(
    sag_v: float,
    sag_uncertainty_v: float,
    *,
    sag_expected_v: float | None = None,
    ripple_pp_v: float | None = None,
    ripple_expected_v: float | None = None,
) -> list[str]:
    """Return the question to ask when a rail is better than it can be (empty when it is not).

    A supply does not improve itself: no sag and no ripple where the design predicts both means that
    no current was drawn.

    Parameters
    ----------
    sag_v, sag_uncertainty_v : float
        Fall from no load to full load and its expanded uncertainty [V].
    sag_expected_v : float, optional
        Fall the design predicts [V]; without it the fall alone is not questioned.
    ripple_pp_v, ripple_expected_v : float, optional
        Ripple at full load [V p-p], as measured and as predicted.
    """
    flat = sag_v <= sag_uncertainty_v
    missing = (
        flat and sag_expected_v is not None and sag_expected_v > 3.0 * max(sag_uncertainty_v, abs(sag_v))
    )
    if ripple_pp_v is None or ripple_expected_v is None:
        quiet = None
    else:
        quiet = ripple_pp_v < 0.2 * ripple_expected_v
    if (missing and quiet is not False) or (flat and quiet):
        saw = "no sag and no ripple" if quiet else "no sag"
        return [f"too good: {saw} under load. Is the load connected, and was the current read?"]
    return []


def _points(load_a: ArrayLike, voltage_v: ArrayLike) -> tuple[Array, Array]:
    amps, volts = np.abs(np.asarray(load_a, dtype=float)), np.asarray(voltage_v, dtype=float)
    if amps.ndim != 1 or amps.shape != volts.shape:
        raise ValueError(f"one voltage a load: {volts.shape} for {amps.shape}")
    if not (np.isfinite(amps).all() and np.isfinite(volts).all()):
        raise ValueError("a load point is not a finite number")
    if len(amps) < 2 or np.ptp(amps) == 0.0:
        raise ValueError("regulation needs at least two different loads")
    if volts.min() < 0.0 < volts.max():
        raise ValueError("voltages of both signs: a rail has one")
    return amps, np.abs(volts)


def _spread(u: ArrayLike, count: int) -> Array:
    values = np.broadcast_to(np.asarray(u, dtype=float), (count,))
    if not (np.isfinite(values).all() and (values >= 0.0).all()):
        raise ValueError("an uncertainty is a finite number from 0 up")
    return values


def _before_knee(amps: Array, volts: Array, separate: Array | None) -> int:
    """Count of points before the output lets go: the first that falls far short of the line before it.

    At least three points must make the line. A capacitor-input rail, steep at first and then flatter,
    bends the other way and has no knee.
    """
    for kept in range(3, len(amps)):
        if np.ptp(amps[:kept]) == 0.0:
            continue
        line = straight_line(
            amps[:kept], volts[:kept], None if separate is None else np.maximum(separate[:kept], 1e-12)
        )
        predicted = line.predict(float(amps[kept]))
        own = 0.0 if separate is None else float(separate[kept])
        scatter = predicted.u if math.isfinite(predicted.u) else 0.0
        short = predicted.value - volts[kept]
        step = amps[kept] - amps[kept - 1]
        fall = volts[kept - 1] - volts[kept]
        # compared with the steepest the line itself may be, and with 0.2 % of the output
        steepest = max(-line.slope, 0.0) + 2.0 * (line.u_slope if math.isfinite(line.u_slope) else 0.0)
        beyond = short > max(3.0 * math.hypot(own, scatter), 0.002 * abs(volts[0]))
        if beyond and step > 0.0 and fall > KNEE_SHARE * steepest * step:
            return kept
    return len(amps)


def _line(
    amps: Array, volts: Array, separate: Array | None, common: Array
) -> tuple[Line | None, float | None, float | None]:
    if np.ptp(amps) == 0.0:
        return None, None, None
    u = None if separate is None or not (separate[: len(amps)] > 0.0).all() else separate[: len(amps)]
    line = straight_line(amps, volts, u, at_most=True)  # a digit either way, where half of one is the rule
    resistance = -line.slope
    k = coverage_factor(LEVEL, line.dof) if u is None and line.dof else 2.0
    shared = float((common[: len(amps)] / np.abs(volts).clip(1e-12)).max())
    # where the points scatter more than they should, the slope is known that much less well
    excess = math.sqrt(max(1.0, line.chi2 / line.dof)) if line.chi2 is not None and line.dof else 1.0
    spread = math.hypot(excess * line.u_slope, resistance * shared)
    return line, resistance, k * spread if math.isfinite(spread) else None


def _scatter(line: Line | None) -> float:
    return line.residual_sd if line is not None and math.isfinite(line.residual_sd) else 0.0


def _load_regulation(volts: Array, separate: Array, common: Array) -> tuple[float, float]:
    """Return per cent and its U: 100 (V_nl / V_fl - 1), a common gain cancelling in the quotient."""
    no_load, full = float(volts[0]), float(volts[-1])
    pct = 100.0 * (no_load - full) / full
    own = math.hypot(float(separate[0]) / full, no_load * float(separate[-1]) / full**2)
    # a common zero error e shifts both: d(V_nl / V_fl) = e (1 - V_nl / V_fl) / V_fl
    shared = float(common.max()) * abs(no_load - full) / full**2
    return pct, 100.0 * 2.0 * math.hypot(own, shared)
