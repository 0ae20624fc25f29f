"""What is short or too hot at the ends of the mains band and in the hottest room."""

from __future__ import annotations

from collections.abc import Iterator

from ohmward.physics.expectation import SINK_C, Expectation, Extremes, RailExtremes
from ohmward.physics.margins import CLASS_LIMIT_C, UNMARKED_CLASS
from ohmward.quantity import show
from ohmward.supply.finding import Finding, Severity
from ohmward.supply.model import Rail, Supply, Transformer

JUNCTION_C, JUNCTION_MOST_C = 125.0, 150.0
"""Highest junction temperature of regulators by class, where the sheet states none [°C]: from the one to the
other by their data sheets."""
_ALL = "as expected by the sheet and what is assumed, all rails at rated current, warm"


def extreme_findings(supply: Supply, expected: Expectation) -> Iterator[Finding]:
    """Yield what is short or too hot at an end of what the sheet wants it to work in, part by part."""
    at = expected.extremes
    if at is None:
        return
    for transformer in supply.transformers:
        yield from _windings(transformer, at)
    for rail in supply.rails:
        found = at.rails.get(rail.name)
        if found is not None:
            yield from _headroom(rail, found, at, expected.mains_v)
            yield from _heat(rail, found, at)


def _windings(transformer: Transformer, at: Extremes) -> Iterator[Finding]:
    hot = at.windings_c.get(transformer.name)
    stated = transformer.insulation_class
    limit = CLASS_LIMIT_C[stated or UNMARKED_CLASS]
    if hot is None or hot <= limit:
        return
    kind = f"class {stated}" if stated else f"class {UNMARKED_CLASS}, taken as the sheet states none"
    yield Finding(
        field=f"transformer[{transformer.name}].insulation_class",
        severity="fault" if stated else "improvement",
        text=f"{transformer.name}: its windings reach {_degrees(hot)} {_hottest(at)}, {_over(hot, limit)} "
        f"{_degrees(limit)} that they may have ({kind}). A larger transformer, less load, or a cooler room",
        basis=f"IEC 61558-1 table 1 (from memory); {_ALL}",
    )


def _headroom(rail: Rail, found: RailExtremes, at: Extremes, mains_v: float) -> Iterator[Finding]:
    if found.low_headroom_v >= 0.0:
        return
    always = (
        f", and {_short(found.headroom_v)} already at {show(mains_v, 'V')}" if found.headroom_v < 0 else ""
    )
    text = (
        f"at {show(at.mains_low_v, 'V')}, inside its mains band, the valley of the reservoir is "
        f"{_short(found.low_headroom_v)} of set point and dropout{always}: the output sags and hums there. "
        "More voltage from the winding, a larger reservoir, a regulator of lower dropout, or a narrower band "
        "on the sheet"
    )
    yield _found(rail, "regulator.dropout", "fault", text, _ALL)


def _heat(rail: Rail, found: RailExtremes, at: Extremes) -> Iterator[Finding]:
    told = False
    for each in _junction(rail, found, at):
        told = True
        yield each
    target = rail.targets.heatsink_max_c
    limit = SINK_C if target is None else target
    if found.heatsink_c is None or found.heatsink_c <= limit or (told and target is None):
        return
    which = "by its target" if target is not None else "as is usual where the sheet states no heatsink_max"
    yield _found(
        rail,
        "heatsink.thermal_resistance",
        "improvement" if target is None else "fault",
        f"the heat sink reaches {_degrees(found.heatsink_c)} {_hottest(at)}, "
        f"{_over(found.heatsink_c, limit)} {_degrees(limit)} it may have {which}. A larger sink, or less "
        "voltage across the regulator",
        _ALL if target is not None else f"{_ALL}; the limit is common practice, no source",
    )


def _junction(rail: Rail, found: RailExtremes, at: Extremes) -> Iterator[Finding]:
    stated = rail.regulator.junction_max_c if rail.regulator is not None else None
    limit = JUNCTION_C if stated is None else stated
    hot = found.junction_c
    if hot is None or hot <= limit:
        return
    severity: Severity = "fault" if stated is not None or hot > JUNCTION_MOST_C else "improvement"
    which = "" if stated is not None else ", as is usual where the sheet states no junction_max"
    yield _found(
        rail,
        "heatsink.thermal_resistance",
        severity,
        f"the junction of its pass device reaches {_degrees(hot)} {_hottest(at)}, {_over(hot, limit)} "
        f"{_degrees(limit)} it may have{which}. A larger sink, or less voltage across the regulator",
        _ALL if stated is not None else f"{_ALL}; junctions of 125 to 150 °C by regulators' data sheets",
    )


def _hottest(at: Extremes) -> str:
    return f"at {show(at.mains_high_v, 'V')} in a room of {show(at.room_c, '°C')}"


def _degrees(value: float) -> str:
    return show(value, "°C", decimals=0)


def _over(value: float, limit: float) -> str:
    return f"{show(value - limit, 'K', decimals=0)} above the"


def _short(headroom_v: float) -> str:
    return f"{show(-headroom_v, 'V', decimals=1)} short"


def _found(rail: Rail, key: str, severity: Severity, text: str, basis: str) -> Finding:
    return Finding(
        field=f"rail[{rail.name}].{key}", severity=severity, text=f"{rail.name}: {text}", basis=basis
    )
