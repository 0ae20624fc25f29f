"""The points of a soak: the table by time and sensor, and the plot of all that was sampled."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping, Sequence

from ohmward.analysis.points import taken_s
from ohmward.analysis.soak_outlook import Outlook
from ohmward.desk.picture import (
    Picture,
    PointTable,
    Series,
    ends,
    number_of,
    read_cell,
    reading_of,
    series,
    siblings_of,
)
from ohmward.procedure.model import ROOM, Item
from ohmward.quantity import show
from ohmward.run.series import Series as Sampled
from ohmward.run.state import RunState
from ohmward.taking.soak_plan import sensor_of
from ohmward.text import one_line

FORECAST_POINTS = 40
HEAD_COLUMNS = 8
"""Of a line of a heading: a cell such as '104.25 ✓' is as wide."""
BROKEN_AT = 5
"""Letters of a longer word on its first line: 'trans-former'."""


def soak_table(state: RunState, item: Item) -> PointTable:
    """Return the readings of a soak: a row a time, a column a sensor."""
    # an amendment may end the asking for further times while one of them is shown
    shown = {each.key: each for each in (*siblings_of(state, item), item)}
    siblings = sorted(shown.values(), key=lambda each: each.elapsed_s or 0.0)
    sensors = list(dict.fromkeys(sensor_of(other) for other in siblings))
    times = list(dict.fromkeys(other.elapsed_s or 0.0 for other in siblings))
    unit = item.read.unit if item.read is not None else ""
    cells = {(other.elapsed_s or 0.0, sensor_of(other)): other for other in siblings}
    rows = [
        (
            show(time / 60, "", decimals=0) + " min",
            *(_bare(state, cells.get((time, sensor)), unit) for sensor in sensors),
        )
        for time in times
    ]
    headings = (f"at\n[{unit}]", *(_stacked(one_line(sensor)) for sensor in sensors))
    here = (times.index(item.elapsed_s or 0.0), sensors.index(sensor_of(item)) + 1)
    return PointTable(headings=headings, rows=tuple(rows), here=here)


def _bare(state: RunState, item: Item | None, unit: str) -> str:
    """Return the cell of a reading without its unit, which stands at the head of the table."""
    return "" if item is None else read_cell(state, item).replace(f" {unit}", "")


def _stacked(name: str) -> str:
    """Return a name with its words below each other, long ones broken: many columns fit."""
    if len(name) <= HEAD_COLUMNS:
        return name
    lines: list[str] = []
    for word in name.split():
        rest = word
        if len(word) > HEAD_COLUMNS:
            lines.append(f"{word[:BROKEN_AT]}-")
            rest = word[BROKEN_AT:]
        lines.append(rest)
    return "\n".join(lines)


def soak_picture(state: RunState, item: Item, outlooks: Mapping[str, Outlook]) -> Picture:
    """Return the plot of a sensor and the room against time: points, samples, and where it is going.

    At the room itself all sensors are drawn.
    """
    assert item.read is not None  # the caller asked
    family = siblings_of(state, item)
    wanted = [sensor_of(item), ROOM] if sensor_of(item) != ROOM else [sensor_of(each) for each in family]
    lines: dict[str, list[tuple[float, float]]] = {name: [] for name in wanted}
    for other in family:
        number = number_of(state, other)
        if number is not None and sensor_of(other) in lines:
            lines[sensor_of(other)].append((_when(state, other) / 60, number))
    read = [series(one_line(name), points) for name, points in lines.items() if points]
    sampled = state.series.get(item.spec.id)
    if sampled is not None:
        read = [line for name in lines for line in _samples(sampled, name)] or read
    limits = [limit.high for limit in (item.limit, item.stop) if limit is not None and limit.high is not None]
    asked = [(other.elapsed_s or 0.0) / 60 for other in family]
    late = [x for line in read for x in line.x]
    last = sampled.begun.duration_s / 60 if sampled is not None else 0.0
    forecast = _forecast(sampled, outlooks.get(sensor_of(item)))
    return Picture(
        x_title="time [min]",
        y_title=f"temperature [{item.read.unit}]",
        read=tuple(read),
        band=(),
        limits=tuple(dict.fromkeys(limits)),
        forecast=() if forecast is None else (forecast,),
        x_span=ends([*asked, *late, last]),
        x_points=tuple(asked),
    )


def _when(state: RunState, item: Item) -> float:
    """Return when a reading was taken [s]: by the clock where it was timed."""
    reading = reading_of(state, item)
    return (item.elapsed_s or 0.0) if reading is None else taken_s(item, reading)


def _samples(sampled: Sampled, name: str) -> list[Series]:
    """Return what was sampled of a channel, a line for each stretch between two gaps."""
    place = next((n for n, channel in enumerate(sampled.begun.channels) if channel.name == name), None)
    if place is None:
        return []
    edges = sorted(gap.from_s for gap in sampled.gaps if gap.channel in {"", name})
    stretches: dict[int, list[tuple[float, float]]] = {}
    for row in sampled.rows:
        value = row.values[place]
        if value is not None:
            stretches.setdefault(bisect_right(edges, row.at_s), []).append((row.at_s / 60, value))
    return [_line(name, points) for points in stretches.values()]


def _line(name: str, points: Sequence[tuple[float, float]]) -> Series:
    return Series(
        name=one_line(name), x=tuple(x for x, _ in points), y=tuple(y for _, y in points), marks=False
    )


def _forecast(sampled: Sampled | None, outlook: Outlook | None) -> Series | None:
    """Return the curve from now to the end of the soak: it goes on as it began."""
    if sampled is None or outlook is None or sampled.last_s is None:
        return None
    if outlook.final_c is None or not outlook.time_constant_s or not outlook.enough_data:
        return None
    span = max(sampled.begun.duration_s - sampled.last_s, 0.0)
    times = [span * n / FORECAST_POINTS for n in range(FORECAST_POINTS + 1)]
    to_go = outlook.now_c - outlook.final_c
    curve = [outlook.final_c + to_go * math.exp(-time / outlook.time_constant_s) for time in times]
    return _line("forecast", [((sampled.last_s + t) / 60, y) for t, y in zip(times, curve, strict=True)])
