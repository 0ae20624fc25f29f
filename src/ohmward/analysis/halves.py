"""Do both half-cycles of a rail conduct, or one? Its hidden parts under whichever of the two fits.

With one half-cycle the reservoir is charged half as often: taken for full-wave, half the capacitance
and some three times the resistance would explain the same ripple and sag. Voltages and ripples tell the two
apart only by how they bend with the load, so often they do not; a waveform does, and where it was
captured it decides. Where nothing decides, that is said with both answers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import msgspec

from ohmward.analysis._results import Characterised, RailPoint
from ohmward.analysis.characterise import characterise
from ohmward.quantity import show
from ohmward.supply.model import RectifierKind

CLEAR = 9.0
"""Difference in chi-squared, three standard uncertainties, from which one answer is taken to fit better."""
SHEET_SPREAD = 0.35
"""Standard deviation of the logarithm of a reservoir against its sheet: tolerance and some ageing."""
POOR = 0.05
"""Probability of so large a chi-squared below which another explanation is looked for."""
HALF_GONE = 0.65
"""Share of the sheet's capacitance below which a missing half-cycle may be what makes it look so small."""
ONE_HALF = 0.5
BOTH_HALVES = 0.2
"""Share of the ripple at mains frequency, by a waveform, above which one half-cycle is missing, and below
which both are there (a half-wave sawtooth has 2/3)."""


def characterise_halves(
    points: Sequence[RailPoint],
    *,
    kind: RectifierKind | None,
    fraction: float | None = None,
    sheet_f: float | None = None,
    **given: Any,
) -> Characterised:
    """Return the hidden parts of a rail, with one half-cycle conducting or both, whichever fits.

    Parameters
    ----------
    points : sequence of RailPoint
    kind : {'bridge', 'centre-tap', 'half-wave'}, optional
        As the sheet has it; None for a supply without papers.
    fraction : float, optional
        A(f) / (A(f) + A(2f)) of the reservoir's ripple, from a waveform.
    sheet_f : float, optional
        Capacitance by the sheet [F].
    **given
        As `characterise` takes it.

    Raises
    ------
    ValueError
        When there are too few readings, or no rail gives such readings.
    """
    if kind == "half-wave":
        return characterise(points, kind=kind, **given)
    full, why = _tried(points, kind=kind or "bridge", **given)
    if not _asked(full, kind, fraction, sheet_f):
        return _or_refused(full, why)
    half = _one_half(points, kind, given)
    if half is None:
        return _or_refused(full, why)
    if fraction is not None and fraction > ONE_HALF:
        return _said(half, "the waveform shows that one half-cycle is missing: the figures are for that")
    gain = math.inf if full is None else _weight(full, sheet_f) - _weight(half, sheet_f)
    if full is None or gain > CLEAR:
        return _said(half, _better(kind))
    return full if gain < -CLEAR else _said(full, _either(half))


def _asked(
    full: Characterised | None, kind: RectifierKind | None, fraction: float | None, sheet_f: float | None
) -> bool:
    """Return whether one half-cycle is to be thought of at all."""
    # where the sheet has both halves, only if that does not fit or makes the reservoir look half gone
    odd = full is None or _poor(full) or (sheet_f is not None and full.capacitance_f < HALF_GONE * sheet_f)
    if fraction is not None:
        # between the two the halves are unequal, and the readings decide
        return fraction > ONE_HALF or (fraction >= BOTH_HALVES and odd)
    return kind is None or odd


def _weight(found: Characterised, sheet_f: float | None) -> float:
    """Return chi-squared, with how far the capacitance is from the sheet's where there is one."""
    away = 0.0 if sheet_f is None else math.log(found.capacitance_f / sheet_f) / SHEET_SPREAD
    return found.chi2 + away**2


def _tried(points: Sequence[RailPoint], **given: Any) -> tuple[Characterised | None, str]:
    try:
        return characterise(points, **given), ""
    except ValueError as why:
        return None, str(why)


def _one_half(
    points: Sequence[RailPoint], kind: RectifierKind | None, given: dict[str, Any]
) -> Characterised | None:
    """Return the fit with one half-cycle: the sheet's rectifier with a dead half, or a single diode."""
    if kind is None:
        return _tried(points, kind="half-wave", **given)[0]
    return _tried(points, kind=kind, open_half=True, **given)[0]


def _or_refused(found: Characterised | None, why: str) -> Characterised:
    if found is None:
        raise ValueError(why)
    return found


def _poor(found: Characterised) -> bool:
    from scipy.special import chdtrc

    return found.dof > 0 and bool(chdtrc(found.dof, found.chi2) < POOR)


def _better(kind: RectifierKind | None) -> str:
    if kind is None:
        return "the readings fit a rectifier that conducts in one half-cycle only: the figures are for that"
    return (
        f"the sheet has a {kind}, but the readings fit one that conducts in one half-cycle only, and the "
        "figures are for that: an open diode or a broken half of the winding"
    )


def _either(half: Characterised) -> str:
    farad, ohm = show(_two(half.capacitance_f), "F"), show(_two(half.source_ohm), "Ω")
    return (
        "these readings do not tell whether both half-cycles conduct: the figures are for both; with one, "
        f"the reservoir would be {farad} and the source resistance {ohm}. A waveform of the ripple tells"
    )


def _two(value: float) -> float:
    """Two significant figures: it is an aside."""
    return float(f"{value:.2g}") if math.isfinite(value) else value


def _said(found: Characterised, words: str) -> Characterised:
    return msgspec.structs.replace(found, warnings=(words, *found.warnings))


__all__ = ["characterise_halves"]
