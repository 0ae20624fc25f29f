"""Limits that follow from the design sheet, or from the method of the test itself."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass
from math import exp, log

from ohmward.physics.expectation import SINK_C
from ohmward.procedure.model import Limit
from ohmward.quantity import show
from ohmward.supply import cord_resistance
from ohmward.supply.model import Rail, Supply, Transformer

NO_SOURCE = "common practice, no source"

SHEET_LIMITS: dict[str, str] = {
    "lead_null": "Ω",
    "cord_core": "Ω",
    "mains_band": "V",
    "primary_resistance": "Ω",
    "output_no_load": "V",
    "output_loaded": "V",
    "ripple": "V",
    "reservoir_rating": "V",
    "output_stop": "V",
    "heatsink_temperature": "°C",
    "load_regulation": "%",
}
"""Limits that follow from the design sheet or from the method, and the unit of each."""

RAIL_LIMITS = frozenset(
    {
        "output_no_load",
        "output_loaded",
        "ripple",
        "reservoir_rating",
        "output_stop",
        "heatsink_temperature",
        "load_regulation",
    }
)
"""Limits of one rail: a step that uses one repeats for each rail."""

STOP_FACTOR = 1.15
"""Regulated output at which a live stage is halted, as a share of the set point (common practice)."""
REVERSED_V = 1.0
"""How far [V] a rail may read the wrong way round: a reversed electrolytic bursts (from memory)."""
FULL_LOAD = 0.99
"""Share of the rated current from which a load counts as rated load (a resistor is never quite exact)."""
ROOM_C = 20.0
"""Room temperature [°C] that the heat-sink limit supposes; a hotter room leaves it on the safe side."""
LEADS_OHM = 1.0
CORE_OHM = 0.2
JOINTS_OHM = 0.05

# Winding resistance of a sound 230 V primary by rating: (VA, low ohm, high ohm). Trade tables, from
# memory; laminated cores lie to the high side of the band and toroids to the low side.
_PRIMARY_230_V = (
    (15.0, 150.0, 450.0),
    (30.0, 70.0, 200.0),
    (50.0, 38.0, 100.0),
    (80.0, 22.0, 60.0),
    (100.0, 16.0, 45.0),
    (120.0, 12.0, 32.0),
    (160.0, 8.0, 22.0),
    (225.0, 5.0, 14.0),
    (300.0, 3.5, 10.0),
    (500.0, 1.8, 5.0),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What a limit is resolved for."""

    supply: Supply
    rail: Rail | None
    transformer: Transformer | None
    with_cord: bool | None
    load_a: float | None


def primary_band(rating_va: float, primary_v: float = 230.0) -> tuple[float, float] | None:
    """Return the band of a sound primary's DC resistance.

    Interpolated in the logarithms between the ratings of the table, and scaled by the square of the
    voltage: at the same rating and loss, R is proportional to V²/S.

    Parameters
    ----------
    rating_va, primary_v : float
        Rating [VA] and rated voltage [V] of the primary.

    Returns
    -------
    (low, high) or None
        Both [Ω]; None outside 15 VA to 500 VA, where the table says nothing.
    """
    ratings = [row[0] for row in _PRIMARY_230_V]
    if not ratings[0] <= rating_va <= ratings[-1]:
        return None
    upper = max(1, bisect_left(ratings, rating_va))
    below, above = _PRIMARY_230_V[upper - 1], _PRIMARY_230_V[upper]
    share = log(rating_va / below[0]) / log(above[0] / below[0])
    scale = (primary_v / 230.0) ** 2
    low, high = (exp(log(below[i]) + share * log(above[i] / below[i])) * scale for i in (1, 2))
    return low, high


def clean(side: float | None) -> float | None:
    """Return a side without the dust of binary fractions, to twelve figures."""
    return None if side is None else float(f"{side:.12g}")


def cord_words(length_m: float, area_mm2: float) -> str:
    """Return the resistance of a cord of a length [m] and area [mm²], and what it is of, in words."""
    ohm = show(cord_resistance(length_m, area_mm2), "Ω")
    size = f"{show(length_m, 'm')} of {show(area_mm2, 'mm²')}"
    return f"{ohm} of cord ({size}, IEC 60228 class 5, 20 °C)"


def _lead_null(_: About) -> Limit:
    return Limit(
        low=0.0,
        high=LEADS_OHM,
        basis=NO_SOURCE,
        obtained=NO_SOURCE,
        advice="Sound leads read 0.2 Ω to 0.5 Ω. More means a bad lead, a dirty tip or a flat battery; "
        "it would hide in every resistance read after it.",
    )


def _cord_core(about: About) -> Limit:
    cord = about.supply.mains.cord
    size = None if cord is None else cord.size
    own = 0.0 if size is None else cord_resistance(*size) + JOINTS_OHM
    detail = f"; {cord_words(*size)} and {show(JOINTS_OHM, 'Ω')} of joints" if size and own > CORE_OHM else ""
    return Limit(
        high=max(CORE_OHM, own),
        basis=f"{NO_SOURCE}{detail}",
        obtained=NO_SOURCE,
        advice="Each pin to its own core and terminal, and open to the other two. Transposed cores are a "
        "danger.",
    )


def _mains_band(about: About) -> Limit:
    mains = about.supply.mains
    return Limit(
        low=clean(mains.low_v),
        high=clean(mains.high_v),
        basis=f"design sheet: mains {show(mains.voltage_v, 'V')} {mains.low_pct:+g} % {mains.high_pct:+g} %",
        obtained="computed",
        advice="Outside this band the readings that follow say little about the supply; note it and wait, "
        "or use a variable transformer.",
    )


def _primary_resistance(about: About) -> Limit | None:
    transformers = (about.transformer,) if about.transformer else about.supply.transformers
    bands = [
        None
        if each.rating_va is None
        else primary_band(each.rating_va, each.primary_voltage_v or about.supply.mains.voltage_v)
        for each in transformers
    ]
    known = [band for band in bands if band is not None]
    if not known or len(known) < len(bands):
        return None
    low, high = (1 / sum(1 / band[side] for band in known) for side in (0, 1))
    rated = " and ".join(show(each.rating_va or 0.0, "VA") for each in transformers)
    return Limit(
        low=clean(low),
        high=clean(high),
        obtained="from memory",
        basis=f"trade tables of 230 V primaries by rating ({rated}), scaled to the rated voltage",
        advice="Open: fuse, switch, or a thermal fuse buried in the winding. A quarter: a 115 V setting. Far "
        "too low: a short. A shorted turn does not show here. Measured cold.",
    )


def _no_load(about: About) -> Limit | None:
    return _output(about, 0.0)


def _loaded(about: About) -> Limit | None:
    return _output(about, about.load_a)


def _output(about: About, load_a: float | None) -> Limit | None:
    """Return the limit of an output at a load current [A]; None is rated load."""
    rail = about.rail
    if rail is None:
        return None
    if rail.set_point_v is None:
        return _unregulated(rail, rail.rated_current_a if load_a is None else load_a)
    target = rail.targets.output_tolerance_pct
    own = None if rail.regulator is None else rail.regulator.tolerance_pct
    tolerance = own if target is None else target
    if tolerance is None:
        return None
    half = abs(rail.set_point_v) * tolerance / 100
    source = "tolerance of the regulator" if target is None else "target of the rail"
    return Limit(
        low=clean(rail.set_point_v - half),
        high=clean(rail.set_point_v + half),
        basis=f"design sheet: set point {show(rail.set_point_v, 'V')} ± {tolerance:g} % ({source})",
        obtained="computed",
    )


def _unregulated(rail: Rail, load_a: float) -> Limit | None:
    """Return the limit of an unregulated output: its targets hold about nominal at rated current.

    Below rated current it may rise by the load regulation that the sheet allows: from
    (V0 - V1) / V1 <= r follows V0 <= (1 + r) V1. Without that target nothing can be said there.
    """
    tolerance, regulation = rail.targets.output_tolerance_pct, rail.targets.load_regulation_pct
    if tolerance is None:
        return None
    rise, words = 1.0, f"{show(rail.nominal_v, 'V')} ± {tolerance:g} % at rated current"
    if load_a < FULL_LOAD * rail.rated_current_a:
        if regulation is None:
            return None
        rise, words = 1 + regulation / 100, f"{words}, and up to {regulation:g} % more below it"
    ends = (rail.nominal_v * (1 - tolerance / 100), rail.nominal_v * (1 + tolerance / 100) * rise)
    return Limit(
        low=clean(min(ends)),
        high=clean(max(ends)),
        basis=f"design sheet: {words} (targets)",
        obtained="computed",
    )


def _ripple(about: About) -> Limit | None:
    target = about.rail.targets.ripple_pp_v if about.rail else None
    if about.rail is None or target is None:
        return None
    bandwidth = about.rail.targets.ripple_bandwidth_hz
    within = f" in {show(bandwidth, 'Hz')}" if bandwidth else ""
    return Limit(
        high=target,
        basis=f"design sheet: ripple at most {show(target, 'V')} peak to peak{within}",
        obtained="computed",
        advice="Tip and ring of the probe on the same terminal must show a flat trace first; a long earth "
        "lead reads its own loop.",
    )


def _reservoir_rating(about: About) -> Limit | None:
    rail = about.rail
    if rail is None or rail.reservoir is None or rail.reservoir.voltage_rating_v is None:
        return None
    rating = rail.reservoir.voltage_rating_v
    low, high = _towards(rail, rating)
    return Limit(
        low=low,
        high=high,
        obtained="computed",
        basis=f"design sheet: reservoir rated {show(rating, 'V')}",
        advice="An electrolytic past its rating, or reversed, may burst. It has to hold at the highest "
        "mains too.",
    )


def _output_stop(about: About) -> Limit | None:
    rail = about.rail
    if rail is None or rail.set_point_v is None:
        return _reservoir_rating(about)
    low, high = _towards(rail, STOP_FACTOR * abs(rail.set_point_v))
    return Limit(
        low=clean(low),
        high=clean(high),
        obtained=NO_SOURCE,
        basis=f"{NO_SOURCE}: {STOP_FACTOR:g} times the set point of {show(rail.set_point_v, 'V')}",
        advice="The pass device is shorted, the sense lead open or the wrong regulator fitted. Switch off.",
    )


def _heatsink_temperature(about: About) -> Limit | None:
    rail = about.rail
    if rail is None:
        return None
    target = rail.targets.heatsink_max_c
    if target is None:
        return _sink_at_hottest_junction(rail) or _usual_sink(rail)
    basis = f"design sheet: heat sink at most {show(target, '°C')}"
    return Limit(high=target, basis=basis, obtained="computed")


def _sink_at_hottest_junction(rail: Rail) -> Limit | None:
    """Return the heat-sink temperature at which the junction is as hot as it may be.

    All the heat P leaves by the sink, so P = (Ts - Ta) / Rsa and Tj = Ts + P (Rjc + Rcs); solved for Ts
    at Tj = Tj,max, with k = (Rjc + Rcs) / Rsa: Ts = (Tj,max + k Ta) / (1 + k).
    """
    regulator, sink = rail.regulator, rail.heatsink
    if regulator is None or sink is None:
        return None
    hottest_c, inner_kpw = regulator.junction_max_c, regulator.junction_to_case_kpw
    if hottest_c is None or inner_kpw is None or sink.interface_kpw is None:
        return None
    k = (inner_kpw + sink.interface_kpw) / sink.thermal_resistance_kpw
    return Limit(
        high=clean((hottest_c + k * ROOM_C) / (1 + k)),
        basis=f"design sheet: junction at {show(hottest_c, '°C')} by the thermal resistances of device, "
        f"interface and heat sink, in a room of {show(ROOM_C, '°C')}",
        obtained="computed",
        advice="A dry or missing interface makes the junction hotter and the sink cooler than this supposes. "
        "In a hotter room the sink may be hotter, but the junction has no more to spare.",
    )


def _usual_sink(rail: Rail) -> Limit | None:
    """Return what a heat sink is usually allowed where the sheet says nothing of it."""
    if rail.regulator is None or rail.heatsink is None:
        return None
    return Limit(
        high=SINK_C,
        basis=f"{NO_SOURCE}: {show(SINK_C, '°C')}, as the sheet states nothing of how hot it may be",
        obtained=NO_SOURCE,
        advice="Where the design means it to be hotter, state heatsink_max among the rail's targets, or what "
        "the junction allows. A sink of 60 °C cannot be held.",
    )


def _load_regulation(about: About) -> Limit | None:
    target = about.rail.targets.load_regulation_pct if about.rail else None
    if target is None:
        return None
    return Limit(
        low=-target,
        high=target,
        obtained="computed",
        basis=f"design sheet: load regulation {target:g} %, (no load - full load) / full load",
    )


def _towards(rail: Rail, magnitude_v: float) -> tuple[float, float]:
    """Return the sides of 'at most this much, and not reversed' for the rail's own sign."""
    return (-magnitude_v, REVERSED_V) if rail.sign < 0 else (-REVERSED_V, magnitude_v)


FROM_SHEET: dict[str, Callable[[About], Limit | None]] = {
    "lead_null": _lead_null,
    "cord_core": _cord_core,
    "mains_band": _mains_band,
    "primary_resistance": _primary_resistance,
    "output_no_load": _no_load,
    "output_loaded": _loaded,
    "ripple": _ripple,
    "reservoir_rating": _reservoir_rating,
    "output_stop": _output_stop,
    "heatsink_temperature": _heatsink_temperature,
    "load_regulation": _load_regulation,
}
