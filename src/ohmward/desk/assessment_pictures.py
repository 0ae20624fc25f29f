"""Pictures of an assessment as data for the terminal: a rail against its load, a soak, a waveform, bars."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from ohmward.analysis.facts import CapturedWave, RunFacts
from ohmward.analysis.rows import MissingRow, ReadingRow
from ohmward.analysis.soak_result import SoakResult
from ohmward.analysis.waveforms import WaveformResult
from ohmward.desk.assessment_filter import Row
from ohmward.desk.assessment_rows import reading_cells, short_name, value_of
from ohmward.desk.bar import LEAST_WIDTH, Bar
from ohmward.desk.picture import Picture, Series, series
from ohmward.desk.points import picture
from ohmward.desk.soak_points import FORECAST_POINTS, soak_picture
from ohmward.procedure.model import Item
from ohmward.run.state import RunState
from ohmward.taking.soak_plan import sensor_of
from ohmward.text import one_line

BEYOND = 1.5
"""How far beyond the record of a soak its forecast is drawn, in lengths of it."""
MOST_CYCLES = 3
"""Of the mains that are drawn of a waveform."""
LIMITS_HEADINGS = ("", "reading", "between its limits", "read")
_FIXED = 24
"""Columns of a line of bars that are neither its name nor its bar: mark, value, gaps."""


def rail_picture(state: RunState, facts: RunFacts, rail: str) -> Picture | None:
    """Return the load line of a rail: readings, expected band, limits; None where it was not swept."""
    items = [item for item in _swept(state) if item.rail == rail and not item.together]
    if not items:
        return None
    drawn = picture(state, items[0], facts.expectation)
    limit = items[0].limit
    if drawn is None or limit is None:
        return drawn
    levels = tuple(level for level in (limit.low, limit.high) if level is not None)
    return replace(drawn, limits=levels)


def _swept(state: RunState) -> Iterator[Item]:
    for item in state.items:
        if item.kind == "sweep" and item.read is not None and item.read.quantity == "output_v":
            yield item


def soak_result_picture(state: RunState, result: SoakResult) -> Picture | None:
    """Return a sensor against time: what was read or sampled, the room, where it settles, the limit."""
    item = next(
        (item for item in state.items if item.kind == "soak" and sensor_of(item) == result.sensor), None
    )
    if item is None or item.read is None:
        return None
    drawn = soak_picture(state, item, {})
    own = [line for line in drawn.read if line.name == one_line(result.sensor)]
    if not own or not own[-1].x:
        return drawn if drawn.read else None
    end = drawn.x_span[0] + BEYOND * (drawn.x_span[1] - drawn.x_span[0])
    forecast = _onwards(result, own[-1].x[-1], end)
    if forecast is None:
        return drawn
    ticks = (*drawn.x_points, end)
    return replace(drawn, forecast=(forecast,), x_span=(drawn.x_span[0], end), x_points=ticks)


def _onwards(result: SoakResult, from_min: float, to_min: float) -> Series | None:
    """Return the curve beyond the record [min, °C]; None where there is none to rely on."""
    if result.final_c is None or not result.time_constant_s or not result.enough_data:
        return None
    tau = result.time_constant_s / 60.0
    times = [from_min + (to_min - from_min) * n / FORECAST_POINTS for n in range(FORECAST_POINTS + 1)]
    to_go = result.last_c - result.final_c
    points = [(time, result.final_c + to_go * math.exp(-(time - from_min) / tau)) for time in times]
    return replace(series("forecast", points), marks=False)


def wave_picture(facts: RunFacts, wave: WaveformResult) -> Picture | None:
    """Return a few cycles of a waveform against time [ms]; None where its samples are not at hand."""
    taken = next((each for each in facts.captures if _same(each, wave)), None)
    if taken is None or not len(taken.samples):
        return None
    cycle_s = 1.0 / (wave.mains_hz or facts.supply.mains.frequency_hz or 50.0)
    count = max(min(len(taken.samples), round(MOST_CYCLES * cycle_s / taken.interval_s)), 2)
    points = [
        (1e3 * n * taken.interval_s, float(value)) for n, value in enumerate(taken.samples[:count].tolist())
    ]
    finite = [point for point in points if math.isfinite(point[1])]
    if len(finite) < 2:
        return None
    span = (finite[0][0], finite[-1][0])
    ticks = tuple(span[0] + (span[1] - span[0]) * n / 6 for n in range(7))
    line = replace(series(one_line(f"{wave.rail} {wave.point}"), finite), marks=False)
    return Picture(
        x_title="time [ms]",
        y_title=f"waveform [{taken.unit}]",
        read=(line,),
        band=(),
        limits=(),
        x_span=span,
        x_points=tuple(float(f"{tick:.3g}") for tick in ticks),
    )


def _same(taken: CapturedWave, wave: WaveformResult) -> bool:
    return (taken.step, taken.subject, taken.file) == (wave.step, wave.subject, wave.file)


def bar_of_row(row: ReadingRow) -> Bar | None:
    """Return the bar of a reading; None where neither a limit nor an expected band is known."""
    banded = row.expected_low is not None and row.expected_high is not None
    if row.limit_low is None and row.limit_high is None and not banded:
        return None
    return Bar(
        low=row.limit_low,
        high=row.limit_high,
        band=(row.expected_low, row.expected_high) if banded else None,  # type: ignore[arg-type]
        value=row.net if row.net is not None else row.value,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """How wide the name and the bar of a line of bars are."""

    name: int
    bar: int


def columns(width: int) -> Columns:
    """Return how `width` columns are shared between name and bar; neither grows without end."""
    room = max(width - _FIXED, LEAST_WIDTH + 16)
    bar = min(max(room // 2, LEAST_WIDTH), 72)
    return Columns(name=min(room - bar, 64), bar=bar)


def bar_rows(rows: list[Row], width: int) -> list[tuple[Row, tuple[str, ...]]]:
    """Return each reading that has a limit as a line: mark, name, its place between its limits, value."""
    shared = columns(width)
    found: list[tuple[Row, tuple[str, ...]]] = []
    for row in rows:
        if isinstance(row, MissingRow):
            name = short_name(row.title, row.subject, shared.name)
            found.append((row, ("↻" if row.again else "·", name, "", "not done")))
            continue
        bar = bar_of_row(row)
        if bar is not None and (row.limit_low is not None or row.limit_high is not None):
            name = short_name(row.title, row.subject, shared.name)
            found.append((row, (reading_cells(row)[0], name, bar.text(shared.bar), value_of(row))))
    return found
