"""What a run's readings say of each rail: regulation, output resistance, ripple, cross-regulation."""

from __future__ import annotations

import math
from collections.abc import Iterator

import msgspec

from ohmward.analysis.decision import decide
from ohmward.analysis.facts import RunFacts
from ohmward.analysis.regulation import Regulation, regulation
from ohmward.logbook.events import Reading, Verdict
from ohmward.procedure.model import Item
from ohmward.supply.model import Rail

CURRENT_QUANTITIES = frozenset({"load_a", "load_current_a", "output_a", "current_a"})
"""Quantities of a load point that tell the current really drawn."""


class RailResult(msgspec.Struct, frozen=True, kw_only=True):
    """One rail; None where the readings do not say. Expanded uncertainties."""

    load_regulation_pct: float | None = None
    load_regulation_uncertainty_pct: float | None = None
    load_regulation_limit_pct: float | None = None
    load_regulation_verdict: Verdict = "not done"
    load_regulation_denominator: str = ""
    output_resistance_ohm: float | None = None
    output_resistance_uncertainty_ohm: float | None = None
    no_load_v: float | None = None
    """Magnitude, as the other voltages here."""
    full_load_v: float | None = None
    full_load_a: float | None = None
    knee_low_a: float | None = None
    knee_high_a: float | None = None
    cross_regulation_pct: float | None = None
    """Fall at full load when every other rail is loaded too, in per cent of full load alone."""
    ripple_pp_v: float | None = None
    """At the output, at the highest load it was read at."""
    reservoir_ripple_pp_v: float | None = None
    half_wave_fraction: float | None = None
    warnings: tuple[str, ...] = ()


class _Point(msgspec.Struct, frozen=True, kw_only=True):
    load_a: float
    item: Item
    reading: Reading

    @property
    def volts(self) -> float:
        return self.reading.judged.net or 0.0


def rail_results(facts: RunFacts) -> dict[str, RailResult]:
    """Return the result of every rail of the supply, by name."""
    return {rail.name: _result(facts, rail) for rail in facts.supply.rails}


def _result(facts: RunFacts, rail: Rail) -> RailResult:
    alone = sorted(_load_points(facts, rail, "output_v", together=False), key=lambda point: point.load_a)
    if len({point.load_a for point in alone}) < 2:
        # a short procedure may load all rails at once only
        alone = sorted(_load_points(facts, rail, "output_v", together=True), key=lambda point: point.load_a)
    ripple = _at_most_load(facts, rail, "output_ripple_pp_v")
    raw = _at_most_load(facts, rail, "reservoir_ripple_pp_v")
    found = RailResult(
        ripple_pp_v=abs(ripple.volts) if ripple else None,
        reservoir_ripple_pp_v=abs(raw.volts) if raw else None,
    )
    if len({point.load_a for point in alone}) < 2 or alone[-1].volts == 0.0:
        return found
    if min(point.volts for point in alone) < 0.0 < max(point.volts for point in alone):
        return msgspec.structs.replace(
            found, warnings=("output voltages of both signs: one was read wrong way round",)
        )
    fitted = _regulation(facts, rail, alone, raw or ripple)
    limit = rail.targets.load_regulation_pct
    verdict: Verdict = "not applicable"
    stated = all(point.reading.judged.uncertainty is not None for point in alone)
    if limit is not None:
        u = fitted.load_regulation_uncertainty_pct if stated else None
        verdict = decide(fitted.load_regulation_pct, u, -limit, limit).verdict
    warnings = list(fitted.warnings)
    if not stated:
        warnings.append(
            "the meter's accuracy is not stated: the uncertainties here are of the last digit alone"
        )
    return msgspec.structs.replace(
        found,
        load_regulation_pct=fitted.load_regulation_pct,
        load_regulation_uncertainty_pct=fitted.load_regulation_uncertainty_pct,
        load_regulation_limit_pct=limit,
        load_regulation_verdict=verdict,
        load_regulation_denominator=fitted.denominator,
        output_resistance_ohm=fitted.output_resistance_ohm,
        output_resistance_uncertainty_ohm=fitted.output_resistance_uncertainty_ohm,
        no_load_v=fitted.no_load_v,
        full_load_v=fitted.full_load_v,
        full_load_a=fitted.full_load_a,
        knee_low_a=fitted.knee_low_a,
        knee_high_a=fitted.knee_high_a,
        cross_regulation_pct=_cross_regulation(facts, rail, alone[-1]),
        warnings=tuple(warnings),
    )


def _regulation(facts: RunFacts, rail: Rail, points: list[_Point], ripple: _Point | None) -> Regulation:
    split = [_split(point.reading) for point in points]
    sag, expected_ripple = _expected(facts, rail, points[-1].load_a, ripple)
    return regulation(
        [point.load_a for point in points],
        [point.volts for point in points],
        [separate for separate, _ in split],
        [common for _, common in split],
        sag_expected_v=sag,
        ripple_pp_v=abs(ripple.volts) if ripple else None,
        ripple_expected_v=expected_ripple,
    )


def _split(reading: Reading) -> tuple[float, float]:
    """Standard uncertainty of a reading as (its own, shared with the others on the same meter).

    Its own: one digit either way, rectangular, and the spread of repeated readings. The rest of what
    was stated when it was judged is shared.
    """
    digit = float(reading.value.resolution or 0) / math.sqrt(3.0)
    spread = (reading.standard_deviation or 0.0) / math.sqrt(reading.count)
    own = math.hypot(digit, spread)
    judged = reading.judged
    if judged.uncertainty is None:
        return own, 0.0
    total = judged.uncertainty / (judged.coverage or 2.0)
    return min(own, total) if own else total, math.sqrt(max(total**2 - own**2, 0.0)) if own else 0.0


def _expected(
    facts: RunFacts, rail: Rail, load_a: float, ripple: _Point | None
) -> tuple[float | None, float | None]:
    """What the design predicts for the sag [V] and for the ripple that was read [V p-p]."""
    if facts.expectation is None:
        return None, None
    none = facts.expectation.band("output_v", rail.name)
    full = facts.expectation.band("output_v", rail.name, load_a=load_a)
    sag = abs(none.value) - abs(full.value) if none and full else None
    band = None
    if ripple is not None and ripple.item.read is not None:
        item = ripple.item
        band = facts.expectation.band(
            ripple.item.read.expect, rail.name, load_a=item.load_a, together=item.together
        )
    return sag, band.value if band else None


def _load_points(facts: RunFacts, rail: Rail, key: str, *, together: bool) -> Iterator[_Point]:
    """Yield the points of one quantity; a no-load reading taken elsewhere fills in for a missing 0 %."""
    found = [
        _Point(load_a=_load(facts, item), item=item, reading=reading)
        for item in facts.items
        if item.rail == rail.name and item.elapsed_s is None and item.role == "" and _is(item, key)
        for reading in [facts.reading(item)]
        if reading is not None and reading.judged.net is not None and reading.value.kind == "exact"
    ]
    swept = [point for point in found if point.item.load_a is not None and point.item.together == together]
    yield from swept
    if swept and not any(point.load_a == 0.0 for point in swept):
        unloaded = [point for point in found if point.item.load_a is None]
        yield from unloaded[-1:]


def _is(item: Item, key: str) -> bool:
    return item.read is not None and key in (item.read.expect, item.read.quantity)


def _load(facts: RunFacts, item: Item) -> float:
    """Current of a load point [A]: as read there, else as the procedure asks."""
    for other in facts.items:
        same = other.spec.id == item.spec.id and other.subject == item.subject and other.read is not None
        if same and other.read is not None and other.read.quantity in CURRENT_QUANTITIES:
            reading = facts.reading(other)
            if reading is not None and reading.judged.net is not None:
                return abs(reading.judged.net)
    return abs(item.load_a or 0.0)


def _at_most_load(facts: RunFacts, rail: Rail, key: str) -> _Point | None:
    points = [*_load_points(facts, rail, key, together=False), *_load_points(facts, rail, key, together=True)]
    return max(points, key=lambda point: point.load_a, default=None)


def _cross_regulation(facts: RunFacts, rail: Rail, full: _Point) -> float | None:
    together = list(_load_points(facts, rail, "output_v", together=True))
    for point in together:
        if abs(point.load_a - full.load_a) <= 0.02 * full.load_a:
            return 100.0 * (abs(full.volts) - abs(point.volts)) / abs(full.volts)
    return None
