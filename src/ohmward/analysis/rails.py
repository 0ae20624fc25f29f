"""What a run's readings say of each rail: load, line and cross regulation, resistance, ripple."""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec

from ohmward.analysis._results import Characterised
from ohmward.analysis.decision import decide
from ohmward.analysis.facts import RunFacts
from ohmward.analysis.load_effect import LoadEffect, load_effect
from ohmward.analysis.points import Point, points
from ohmward.analysis.regulation import Regulation, regulation
from ohmward.analysis.warned import Kind
from ohmward.logbook.events import Reading, Verdict
from ohmward.quantity import show
from ohmward.supply.model import Rail

FULL_SHARE = 0.95
"""Of the rated current, from which on a load counts as full."""
SAME_LOAD = 0.02
"""Loads that differ by less than this share are the same."""
LINE_SPAN = 0.05
"""Mains voltages have to differ by this share of the nominal one to speak of line regulation."""


class RailResult(msgspec.Struct, frozen=True, kw_only=True):
    """One rail; None where the readings do not say. Voltages as magnitudes, expanded uncertainties."""

    load_regulation_pct: float | None = None
    load_regulation_uncertainty_pct: float | None = None
    load_regulation_limit_pct: float | None = None
    load_regulation_verdict: Verdict = "not done"
    load_regulation_denominator: str = ""
    line_regulation_pct: float | None = None
    """Rise at full load from the lowest to the highest mains read, in per cent of that at nominal mains."""
    line_regulation_uncertainty_pct: float | None = None
    line_regulation_limit_pct: float | None = None
    line_regulation_verdict: Verdict = "not done"
    load_effect_denominator: str = ""
    load_effect_settled_v: float | None = None
    """Fall from no load to full load after the dwell."""
    load_effect_settled_uncertainty_v: float | None = None
    load_effect_settled_pct: float | None = None
    load_effect_settled_uncertainty_pct: float | None = None
    load_effect_immediate_v: float | None = None
    """The same as soon as the load was on, where that was read."""
    load_effect_immediate_uncertainty_v: float | None = None
    load_effect_immediate_pct: float | None = None
    load_effect_immediate_uncertainty_pct: float | None = None
    load_effect_drift_v: float | None = None
    """Settled less immediate."""
    load_effect_drift_uncertainty_v: float | None = None
    load_effect_drift: str = ""
    """What the drift suggests, in words."""
    output_resistance_ohm: float | None = None
    output_resistance_uncertainty_ohm: float | None = None
    no_load_v: float | None = None
    full_load_v: float | None = None
    full_load_a: float | None = None
    knee_low_a: float | None = None
    knee_high_a: float | None = None
    cross_regulation_pct: float | None = None
    """Fall at full load when every other rail is loaded too, in per cent of full load alone."""
    ripple_pp_v: float | None = None
    """At the output, at the highest load and nearest to nominal mains."""
    reservoir_ripple_pp_v: float | None = None
    half_wave_fraction: float | None = None
    """From a capture; see `ripple`."""
    characterised: Characterised | None = None
    """The hidden parts by the readings; see `characterise`."""
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def rail_results(facts: RunFacts) -> dict[str, RailResult]:
    """Return the result of every rail of the supply, by name."""
    return {rail.name: _with_parts(facts, rail, _result(facts, rail)) for rail in facts.supply.rails}


def load_points(facts: RunFacts, rail: Rail) -> tuple[Point, ...]:
    """Return the load points that a rail is judged by, in the order of load; empty where none was read."""
    return tuple(_sweep(points(facts, rail, "output_v")))


def load_line(facts: RunFacts, rail: Rail) -> Regulation | None:
    """Return the line through `load_points`, None where they do not make one."""
    swept = load_points(facts, rail)
    signs = {point.value > 0.0 for point in swept}
    if len({point.loaded_a for point in swept}) < 2 or swept[-1].value == 0.0 or len(signs) > 1:
        return None
    return _regulation(facts, rail, list(swept), None)


def load_regulation(facts: RunFacts, rail: Rail) -> tuple[float, Verdict] | None:
    """Return the load regulation by the readings so far [%] and its verdict; None where they tell none."""
    line = load_line(facts, rail)
    if line is None:
        return None
    u = line.load_regulation_uncertainty_pct if _stated(load_points(facts, rail)) else None
    return line.load_regulation_pct, _within(line.load_regulation_pct, u, rail.targets.load_regulation_pct)


def _with_parts(facts: RunFacts, rail: Rail, found: RailResult) -> RailResult:
    """Add the hidden parts, and why they cannot be told."""
    from ohmward.analysis._characters import character

    parts, why = character(facts, rail)
    said = (*(parts.warnings if parts else ()), *((why,) if why else ()))
    return msgspec.structs.replace(found, characterised=parts, notes=(*found.notes, *said))


def _result(facts: RunFacts, rail: Rail) -> RailResult:
    outputs = points(facts, rail, "output_v")
    if outputs and min(point.value for point in outputs) < 0.0 < max(point.value for point in outputs):
        return RailResult(warnings=("output voltages of both signs: one was read the wrong way round",))
    ripple = _fullest(facts, points(facts, rail, "output_ripple_pp_v"))
    raw = _fullest(facts, points(facts, rail, "reservoir_ripple_pp_v"))
    found = RailResult(
        ripple_pp_v=abs(ripple.value) if ripple else None,
        reservoir_ripple_pp_v=abs(raw.value) if raw else None,
    )
    found = _with_line(facts, rail, outputs, found)
    swept = _sweep(outputs)
    if len({point.loaded_a for point in swept}) < 2 or swept[-1].value == 0.0:
        return found
    return _with_load(facts, rail, swept, outputs=outputs, ripple=raw or ripple, found=found)


def _with_load(
    facts: RunFacts,
    rail: Rail,
    swept: list[Point],
    *,
    outputs: list[Point],
    ripple: Point | None,
    found: RailResult,
) -> RailResult:
    """Add load regulation, resistance and cross-regulation."""
    fitted = _regulation(facts, rail, swept, ripple)
    limit = rail.targets.load_regulation_pct
    stated = _stated(swept)
    # half a digit of a typed value is not what a meter may be off by: no line is held against that
    warnings = [each.words for each in fitted.warned if stated or each.kind is not Kind.FURTHER]
    if not stated:
        warnings.append(
            "the meter's accuracy is not stated: the uncertainties here are of the last digit alone"
        )
    if abs(fitted.full_load_a) < FULL_SHARE * rail.rated_current_a:
        read, rated = show(abs(fitted.full_load_a), "A"), show(rail.rated_current_a, "A")
        warnings.append(f"the highest load read is {read} of {rated}: what is told of its load ends there")
    u = fitted.load_regulation_uncertainty_pct
    effect = _load_effect(rail, swept)
    return msgspec.structs.replace(
        found,
        load_regulation_pct=fitted.load_regulation_pct,
        load_regulation_uncertainty_pct=u,
        load_regulation_limit_pct=limit,
        load_regulation_verdict=_within(fitted.load_regulation_pct, u if stated else None, limit),
        load_regulation_denominator=fitted.denominator,
        output_resistance_ohm=fitted.output_resistance_ohm,
        output_resistance_uncertainty_ohm=fitted.output_resistance_uncertainty_ohm,
        no_load_v=fitted.no_load_v,
        full_load_v=fitted.full_load_v,
        full_load_a=fitted.full_load_a,
        knee_low_a=fitted.knee_low_a,
        knee_high_a=fitted.knee_high_a,
        cross_regulation_pct=_cross_regulation(outputs, swept[-1]),
        warnings=(*warnings, *((effect.words,) if effect.suspicious else ())),
        notes=(*fitted.notes, *((effect.words,) if effect.words and not effect.suspicious else ())),
        load_effect_drift=effect.words,
        **{f"load_effect_{name}": getattr(effect, name) for name in _EFFECT},
    )


_EFFECT = tuple(name for name in LoadEffect.__struct_fields__ if name not in ("words", "suspicious"))


def _load_effect(rail: Rail, swept: Sequence[Point]) -> LoadEffect:
    """Return the load effect between the ends of a sweep, at once too where that was read."""
    none, full = swept[0], swept[-1]
    early = full.reading.immediate
    # a lead null or the like that was taken off the settled reading comes off this one too
    offset = full.value - full.reading.value.si if full.reading.value.number is not None else 0.0
    known = early is not None and early.number is not None and early.kind == "exact"
    own, common = split(full.reading)
    digit = float(early.resolution or 0) / math.sqrt(3.0) if early is not None else 0.0
    return load_effect(
        none.value,
        full.value,
        early.si + offset if early is not None and known else None,
        own_v=(split(none.reading)[0], own, digit or own),
        common_v=common,
        regulated=rail.regulator is not None,
    )


def _within(value: float, u: float | None, limit: float | None) -> Verdict:
    return "not applicable" if limit is None else decide(value, u, -limit, limit).verdict


def _stated(swept: Sequence[Point]) -> bool:
    return all(point.reading.judged.uncertainty is not None for point in swept)


def _sweep(outputs: list[Point]) -> list[Point]:
    """Return the load points of the step that has the most of them, by load, one rail at a time first.

    A reading without load, taken elsewhere, fills in for a missing 0 %.
    """
    steps: dict[tuple[bool, str], list[Point]] = {}
    for point in outputs:
        if point.load_a is not None:
            steps.setdefault((point.item.together, point.item.spec.id), []).append(point)
    if not steps:
        return []
    alone = {key: value for key, value in steps.items() if not key[0]} or steps
    best = max(alone.values(), key=lambda each: len({point.loaded_a for point in each}))
    unloaded = [point for point in outputs if point.load_a is None]
    if unloaded and not any(point.loaded_a == 0.0 for point in best):
        best = [unloaded[-1], *best]
    return sorted(best, key=lambda point: point.loaded_a)


def _fullest(facts: RunFacts, found: list[Point]) -> Point | None:
    """Return the point at the highest load, of several there the one nearest to nominal mains."""
    most = max((point.loaded_a for point in found), default=0.0)
    full = [point for point in found if point.loaded_a >= (1.0 - SAME_LOAD) * most]
    return min(full, key=lambda point: _off_nominal(facts, point), default=None)


def _off_nominal(facts: RunFacts, point: Point) -> float:
    nominal = facts.supply.mains.voltage_v
    # mains that was never read is taken as near enough
    return 0.0 if point.mains_v is None else round(abs(point.mains_v - nominal) / nominal, 2)


def _regulation(facts: RunFacts, rail: Rail, swept: list[Point], ripple: Point | None) -> Regulation:
    parts = [split(point.reading) for point in swept]
    sag, expected_ripple = _expected(facts, rail, swept[-1].loaded_a, ripple)
    return regulation(
        [point.loaded_a for point in swept],
        [point.value for point in swept],
        [separate for separate, _ in parts],
        [common for _, common in parts],
        regulated=rail.regulator is not None,
        sag_expected_v=sag,
        ripple_pp_v=abs(ripple.value) if ripple else None,
        ripple_expected_v=expected_ripple,
    )


def split(reading: Reading) -> tuple[float, float]:
    """Standard uncertainty of a reading as (its own, shared with the others on the same meter).

    Its own: one digit either way, rectangular, and the spread of repeated readings. The rest of what
    was stated when it was judged is shared.
    """
    digit = float(reading.value.resolution or 0) / math.sqrt(3.0)
    own = math.hypot(digit, (reading.standard_deviation or 0.0) / math.sqrt(reading.count))
    judged = reading.judged
    if judged.uncertainty is None:
        return own, 0.0
    total = judged.uncertainty / (judged.coverage or 2.0)
    own = min(own, total) or total
    return own, math.sqrt(max(total**2 - own**2, 0.0))


def _expected(
    facts: RunFacts, rail: Rail, load_a: float, ripple: Point | None
) -> tuple[float | None, float | None]:
    """What the design predicts for the sag [V] and for the ripple that was read [V p-p]."""
    if facts.expectation is None:
        return None, None
    none = facts.expectation.band("output_v", rail.name)
    full = facts.expectation.band("output_v", rail.name, load_a=load_a)
    sag = abs(none.value) - abs(full.value) if none and full else None
    if ripple is None or ripple.item.read is None:
        return sag, None
    item = ripple.item
    key = item.read.expect or item.read.quantity if item.read else ""
    band = facts.expectation.band(key, rail.name, load_a=item.load_a, together=item.together)
    return sag, band.value if band else None


def _cross_regulation(outputs: list[Point], full: Point) -> float | None:
    for point in outputs:
        if (
            point.item.together
            and not full.item.together
            and abs(point.loaded_a - full.loaded_a) <= SAME_LOAD * full.loaded_a
        ):
            return 100.0 * (abs(full.value) - abs(point.value)) / abs(full.value)
    return None


def _with_line(facts: RunFacts, rail: Rail, outputs: list[Point], found: RailResult) -> RailResult:
    """Add line regulation: outputs at full load with the mains at different voltages."""
    known = [point for point in outputs if point.load_a and point.mains_v is not None]
    most = max((point.loaded_a for point in known), default=0.0)
    full = [point for point in known if point.loaded_a >= (1.0 - SAME_LOAD) * most and point.item.together]
    if len(full) < 2:
        return found
    low, high = (pick(full, key=lambda point: point.mains_v or 0.0) for pick in (min, max))
    span = (high.mains_v or 0.0) - (low.mains_v or 0.0)
    middle = min(full, key=lambda point: abs((point.mains_v or 0.0) - facts.supply.mains.voltage_v))
    if span < LINE_SPAN * facts.supply.mains.voltage_v or middle.value == 0.0:
        return found
    scale = 100.0 / abs(middle.value)
    pct = scale * (abs(high.value) - abs(low.value))
    own = [split(point.reading) for point in (high, low)]
    u = 2.0 * math.hypot(scale * own[0][0], scale * own[1][0], pct * own[0][1] / abs(middle.value))
    limit = rail.targets.line_regulation_pct
    return msgspec.structs.replace(
        found,
        line_regulation_pct=pct,
        line_regulation_uncertainty_pct=u,
        line_regulation_limit_pct=limit,
        line_regulation_verdict=_within(pct, u if _stated([high, low]) else None, limit),
    )
