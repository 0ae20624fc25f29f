"""The hidden parts of each rail of a run, where its readings tell them."""

from __future__ import annotations

import math

from ohmward.analysis._results import Characterised, RailPoint
from ohmward.analysis.facts import RunFacts
from ohmward.analysis.points import Point, points
from ohmward.analysis.rails import split
from ohmward.supply.model import Rail, RectifierKind

_GAIN_V, _GAIN_RIPPLE = 0.005, 0.05
"""Half-widths taken where a meter's accuracy is not stated (common practice, no source)."""
_WIRING_OHM = 0.02
_QUIESCENT_A = 6e-3


def character(facts: RunFacts, rail: Rail) -> tuple[Characterised | None, str]:
    """Return a rail's hidden parts; or None, and in words why not (empty where too little was read)."""
    regulated = rail.regulator is not None
    # a reading may be called by its quantity and compared with another name: it counts once
    both = [*points(facts, rail, "reservoir_v"), *points(facts, rail, "reservoir_mean_v")]
    volts = list({point.item.key: point for point in both}.values())
    ripples = points(facts, rail, "reservoir_ripple_pp_v")
    if not regulated:
        bare = not volts
        volts = volts or points(facts, rail, "output_v")
        ripples = ripples or points(facts, rail, "output_ripple_pp_v")
    else:
        bare = False
    volts, ripples = ([p for p in each if not p.item.together] for each in (volts, ripples))
    if len({round(p.loaded_a, 4) for p in volts}) < 3 or not any(p.loaded_a > 0 for p in ripples):
        return None, ""
    from ohmward.analysis.halves import characterise_halves

    wiring = _WIRING_OHM if rail.wiring_ohm is None else rail.wiring_ohm
    quiescent = _QUIESCENT_A if rail.regulator is None else rail.regulator.quiescent_a or _QUIESCENT_A
    try:
        found = characterise_halves(
            [
                *(_voltage(p) for p in volts),
                *(_ripple(p) for p in ripples),
            ],
            kind=_kind(rail),
            sheet_f=rail.reservoir.capacitance_f if rail.reservoir else None,
            fraction=facts.half_wave_fractions.get(rail.name),
            frequency_hz=facts.supply.mains.frequency_hz,
            mains_nominal_v=facts.supply.mains.voltage_v,
            rated_a=rail.rated_current_a,
            gain_v=_gain(volts, _GAIN_V),
            gain_ripple=_gain(ripples, _GAIN_RIPPLE),
            bleeder_ohm=rail.reservoir.bleeder_ohm if rail.reservoir else None,
            idle_a=quiescent if regulated else 0.0,
            wiring_ohm=wiring if bare else 0.0,
            forward_v=rail.rectifier.forward_v if rail.rectifier else None,
        )
    except ValueError as why:
        return None, f"its hidden parts cannot be told: {why}"
    return found, ""


def _voltage(p: Point) -> RailPoint:
    return RailPoint(load_a=p.loaded_a, mean_v=abs(p.value), mains_v=p.mains_v, u_mean_v=split(p.reading)[0])


def _ripple(p: Point) -> RailPoint:
    return RailPoint(
        load_a=p.loaded_a, ripple_pp_v=abs(p.value), mains_v=p.mains_v, u_ripple_v=split(p.reading)[0]
    )


def _kind(rail: Rail) -> RectifierKind | None:
    if rail.rectifier is not None:
        return rail.rectifier.kind
    return "centre-tap" if len(rail.sources) == 2 else None


def _gain(read: list[Point], not_stated: float) -> float:
    """Return the half-width of the error common to all, as a share: of the reading that has most of it."""
    shares = [
        math.sqrt(3.0) * split(p.reading)[1] / abs(p.value)
        for p in read
        if p.value and p.reading.judged.uncertainty is not None
    ]
    return max(shares, default=not_stated) or not_stated
