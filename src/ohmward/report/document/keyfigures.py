"""The figures that most readers look for, gathered from all over a run."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from ohmward.analysis.points import taken_s
from ohmward.analysis.rails import FULL_SHARE, RailResult
from ohmward.analysis.rows import ReadingRow
from ohmward.logbook.events import Verdict
from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.report.document.blocks import AnyBlock, Column, Fields, Heading, Paragraph, Row, Table, table
from ohmward.report.document.phrases import band, is_failed, value, verdict, worst
from ohmward.report.document.source import Source
from ohmward.report.document.words import Words
from ohmward.supply.model import Rail

SOAKED_SHARE = 0.95
"""Of the time asked for, from which on a soak counts as whole: the last reading is seldom to the second."""


@dataclass(frozen=True, slots=True)
class Found:
    """A reading that counts, with the item it belongs to."""

    item: Item
    row: ReadingRow

    @property
    def net(self) -> float:
        """What was judged, else as read; zero for what has no number."""
        if self.row.net is not None:
            return self.row.net
        return self.row.value or 0.0


def found(source: Source) -> list[Found]:
    """Return every reading that counts and has a value or a bound."""
    rows = {(row.step, row.subject): row for row in source.assessment.readings}
    return [
        Found(item, rows[item.key])
        for item in source.state.items
        if item.key in rows and rows[item.key].raw and not rows[item.key].stale
    ]


def key_figures(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return the key figures of the unit and of each rail."""
    return (
        Heading(text=words("key.heading")),
        Paragraph(text=words("key.intro"), quiet=True),
        Fields(rows=unit_figures(words, source)),
        *rail_figures(words, source),
    )


def unit_figures(words: Words, source: Source) -> tuple[tuple[str, str], ...]:
    """Return earth, insulation, residual voltage and the hottest part."""
    return (
        *_earth(words, source),
        *_insulation(words, source),
        *_residual(words, source),
        *_hot(words, source),
    )


def rail_figures(words: Words, source: Source) -> tuple[Table, ...]:
    """Return one row a rail."""
    columns = (
        Column(head=words("key.rail"), share=1.1),
        Column(head=words("key.rated"), share=1.25),
        Column(head=words("key.no_load"), share=0.9),
        Column(head=words("key.full_load"), share=0.95),
        Column(head=words("key.hot"), share=1.6),
        Column(head=words("key.regulation"), share=1.6),
        Column(head=words("key.ripple"), share=0.95),
        Column(head=words("key.raw"), share=0.95),
        Column(head=words("key.worst"), share=1.25),
    )
    readings = found(source)
    rows = [_rail_row(words, source, name, readings) for name in source.assessment.rails]
    return table(words("key.table"), columns, rows)


def _rail_row(words: Words, source: Source, name: str, readings: list[Found]) -> Row:
    rail, result = source.supply.rail(name), source.assessment.rails[name]
    of_rail = [each for each in readings if each.item.rail == name]
    gravest = worst([*(each.row.verdict for each in of_rail), *_of(result)])
    missing = {(row.step, row.subject) for row in source.assessment.missing}
    unfinished = any(item.rail == name and item.key in missing for item in source.state.items)
    hot = [
        each
        for each in of_rail
        if each.item.read
        and each.item.read.quantity == "output_v"
        and each.item.stage == "soak"
        and each.item.elapsed_s is None
    ]
    return Row(
        cells=(
            name,
            f"{value(words, rail.nominal_v, 'V')}, {value(words, rail.rated_current_a, 'A')}",
            value(words, _signed(rail, result.no_load_v), "V"),
            _loaded(words, result, rail),
            value(words, _signed(rail, hot[-1].net), "V", hot[-1].row.uncertainty)
            if hot
            else words("plain.dash"),
            value(words, result.load_regulation_pct, "%", result.load_regulation_uncertainty_pct),
            value(words, result.ripple_pp_v, "V"),
            value(words, result.reservoir_ripple_pp_v, "V"),
            words("key.unfinished") if unfinished and not is_failed(gravest) else verdict(words, gravest),
        ),
        tone="bad" if is_failed(gravest) else "doubt" if unfinished else "",
    )


def _signed(rail: Rail, volts: float | None) -> float | None:
    """Return the size of a voltage with the sign of its rail."""
    return None if volts is None else math.copysign(volts, rail.nominal_v)


def _loaded(words: Words, result: RailResult, rail: Rail) -> str:
    """Return the voltage at full load; at less than that, with the load it was read at."""
    volts = value(words, _signed(rail, result.full_load_v), "V")
    if result.full_load_a is None or result.full_load_a >= FULL_SHARE * rail.rated_current_a:
        return volts
    return words("key.at_load", voltage=volts, current=value(words, result.full_load_a, "A"))


def _of(result: RailResult) -> tuple[Verdict, ...]:
    return (result.load_regulation_verdict, result.line_regulation_verdict)


def _earth(words: Words, source: Source) -> Iterator[tuple[str, str]]:
    measured = [each for each in found(source) if each.item.spec.proves_earth and each.row.value is not None]
    if not measured:
        if source.supply.protection_class == "I":
            yield words("key.earth_head"), words("key.not_measured")
        return
    highest = max(measured, key=lambda each: each.net)
    yield (
        words("key.earth", count=len(measured)),
        words(
            "key.earth_value",
            value=shown(words, highest),
            subject=highest.row.subject or highest.row.title,
            limit=_limit(words, highest),
        ),
    )


def _insulation(words: Words, source: Source) -> Iterator[tuple[str, str]]:
    measured = _quantity(source, "insulation")
    if not measured:
        yield words("key.insulation_none"), words("key.not_measured")
        return
    lowest = min(measured, key=lambda each: each.net)
    voltage = value(words, source.facts.test_v.get(lowest.item.key), "V")
    yield (
        words("key.insulation", voltage=voltage, count=len(measured)),
        words("key.insulation_value", value=shown(words, lowest), limit=_limit(words, lowest)),
    )


def _residual(words: Words, source: Source) -> Iterator[tuple[str, str]]:
    measured = [each for each in _quantity(source, "residual_v") if each.item.role == "make-safe"]
    if not measured:
        yield words("key.residual_none"), words("key.not_measured")
        return
    highest = max(measured, key=lambda each: abs(each.net))
    yield (
        words("key.residual", count=len(measured)),
        words("key.residual_value", value=shown(words, highest), limit=_limit(words, highest)),
    )


def _hot(words: Words, source: Source) -> Iterator[tuple[str, str]]:
    soaks = [soak for soak in source.assessment.soaks if soak.limit_c is not None]
    if not soaks:
        yield words("key.hottest"), words("key.hottest_none")
        return
    soak = min(soaks, key=lambda each: (each.limit_c or 0.0) - each.hottest_known_c)
    ends = value(words, soak.last_c, "°C")
    short = cut_short(words, source)
    limit, ambient = value(words, soak.limit_c, "°C"), value(words, source.supply.ambient_max_c, "°C")
    hot = words.number(show(soak.hottest_known_c, "°C", decimals=1))
    told = {"sensor": soak.sensor, "value": ends, "limit": limit}
    if soak.read_once:
        key = "key.hottest_once" if soak.enough_data else "key.hottest_no_room"
        said = words(key, ambient=ambient, hot=hot, **told)
        yield words("key.hottest"), "; ".join(part for part in (said, short) if part)
        return
    if soak.final_c is None or not soak.enough_data:
        key = "key.hottest_cut" if short else "key.hottest_short"
        known = words("key.at_least", ambient=ambient, hot=hot) if soak.at_least_c is not None else ""
        said = words(key, **told, **({"short": short} if short else {}))
        yield words("key.hottest"), "; ".join(part for part in (said, known) if part)
        return
    forecast = (
        words(
            "key.hottest_value",
            **told,
            final=value(words, soak.final_c, "°C", soak.final_uncertainty_k),
            ambient=ambient,
            hot=hot,
        ),
        short,
    )
    yield words("key.hottest"), "; ".join(part for part in forecast if part)


def mains_range(words: Words, source: Source) -> str:
    """Return the mains voltages read, lowest to highest."""
    return _range(words, source, "V", lambda item: _condition(item) == "mains_v")


def room_range(words: Words, source: Source) -> str:
    """Return the room temperatures read, lowest to highest."""
    return _range(words, source, "°C", lambda item: _condition(item) == "ambient_c")


def humidity(words: Words, source: Source) -> str:
    """Return the humidity as read."""
    return _range(words, source, "%", lambda item: item.step == "humidity")


def full_load_s(source: Source) -> float | None:
    """Return how long the soak was at full load [s]: to its last reading or sample; None without one."""
    times = [
        taken_s(each.item, reading)
        for each in found(source)
        if each.item.elapsed_s is not None and (reading := source.facts.reading(each.item)) is not None
    ]
    times += [series.last_s for series in source.state.series.values() if series.last_s is not None]
    return max(times, default=None)


def cut_short(words: Words, source: Source) -> str:
    """Return for how long the soak went on, of how long; empty where it was not cut short."""
    lasted = full_load_s(source)
    times = (item.elapsed_s for item in source.state.items if not item.is_further)
    asked = max((time_s for time_s in times if time_s is not None), default=0.0)
    if lasted is None or lasted >= SOAKED_SHARE * asked:
        return ""
    told = {"lasted": words.number(show(round(lasted), "s")), "asked": words.number(show(asked, "s"))}
    return words("key.cut_short", **told)


def shown(words: Words, each: Found) -> str:
    """Return what was judged with its uncertainty, a bound by its sign; an overload as it was read."""
    if each.row.net is None:
        return each.row.raw
    if each.row.raw[:1] in {"<", ">"}:
        return f"{each.row.raw[0]} {value(words, each.row.net, each.row.unit)}"
    return value(words, each.row.net, each.row.unit, each.row.uncertainty)


def _quantity(source: Source, name: str) -> list[Found]:
    return [
        each
        for each in found(source)
        if each.item.read is not None and each.item.read.quantity == name and each.row.value is not None
    ]


def _limit(words: Words, each: Found) -> str:
    return band(words, each.row.limit_low, each.row.limit_high, each.row.unit)


def _condition(item: Item) -> str:
    return item.read.condition if item.read else ""


def _range(words: Words, source: Source, unit: str, wanted: Callable[[Item], bool]) -> str:
    values = [each.net for each in found(source) if wanted(each.item) and each.row.value is not None]
    if not values:
        return words("plain.not_stated")
    if min(values) == max(values):
        return value(words, values[0], unit)
    return band(words, min(values), max(values), unit)
