"""The points of a sweep or a soak: as a small table, and as the series that a plot draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import cycle

from ohmward.logbook.events import Reading
from ohmward.physics.expectation import Expectation
from ohmward.procedure.model import Item
from ohmward.quantity import show, show_band
from ohmward.run.state import RunState
from ohmward.text import one_line
from ohmward.tui.card import band_in, value_text
from ohmward.tui.words import VERDICTS


@dataclass(frozen=True, kw_only=True)
class PointTable:
    """Headings and rows of text; `here` is the row and the column of the present item."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    here: tuple[int, int]


@dataclass(frozen=True, kw_only=True)
class Series:
    """Points (x, y) of one line of the plot, in the units of its axes."""

    name: str
    x: tuple[float, ...]
    y: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Picture:
    """What a plot shows: readings, the expected band, the limits, and the titles of the axes."""

    x_title: str
    y_title: str
    read: tuple[Series, ...]
    band: tuple[Series, ...]
    limits: tuple[float, ...]
    x_span: tuple[float, float]
    """From the first to the last point asked for, read or not."""
    x_points: tuple[float, ...] = ()
    """Every point asked for: where the axis is marked."""

    @property
    def caption(self) -> str:
        """What is drawn, in words: one mark a line of readings."""
        lines = [f"{mark} {line.name}" for mark, line in zip(cycle(MARKS), self.read, strict=False)]
        lines += ["lines without marks: expected band"] if self.band else []
        lines += ["level line: limit"] if self.limits else []
        return "; ".join([f"{self.y_title} against {self.x_title}", *lines])

    @property
    def y_span(self) -> tuple[float, float]:
        """Lowest and highest of all that is drawn, with air about it; never of no height."""
        values = [y for line in (*self.read, *self.band) for y in line.y] + list(self.limits) or [0.0, 1.0]
        low, high = min(values), max(values)
        air = max(0.06 * (high - low), 0.002 * max(abs(low), abs(high)), 1e-6)
        return low - air, high + air


ROOM = "room air"
"""Sensor that every other temperature is seen against."""

MARKS = ("●", "■", "▲", "◆", "○", "□")
"""Of the lines of readings, so that colour is not needed to tell them apart."""


def has_points(item: Item) -> bool:
    """Return whether `item` is one of several points that belong together."""
    return item.kind in {"sweep", "soak"} and item.read is not None


def point_table(state: RunState, item: Item, expectation: Expectation | None) -> PointTable:
    """Return the points that belong to `item`: load points of its rail, or all sensors of the soak."""
    return _soak_table(state, item) if item.kind == "soak" else _sweep_table(state, item, expectation)


def picture(state: RunState, item: Item, expectation: Expectation | None) -> Picture | None:
    """Return the plot of `item`: its rail against load, or its sensor and the room against time.

    None where a plot says nothing: fewer than two points, or nothing read and nothing expected.
    """
    alone = item.kind == "sweep" and item.together
    if item.read is None or alone or len(_siblings(state, item)) < 2:
        return None
    drawn = _soak_picture(state, item) if item.kind == "soak" else _sweep_picture(state, item, expectation)
    return drawn if drawn.read or drawn.band else None


def marked(points: Sequence[float], columns: int, gap: int = 7) -> list[float]:
    """Return the points to mark on an axis of `columns`, the first and the last always, none within `gap`."""
    ordered = sorted(set(points))
    if len(ordered) < 2:
        return ordered
    apart = gap * (ordered[-1] - ordered[0]) / max(columns, 1)
    kept = ordered[:1]
    for point in ordered[1:-1]:
        if point - kept[-1] >= apart and ordered[-1] - point >= apart:
            kept.append(point)
    return [*kept, ordered[-1]]


def thinned(x: Sequence[float], y: Sequence[float], columns: int) -> tuple[list[float], list[float]]:
    """Return at most about four points a column, keeping the lowest and highest of each (the peaks stay)."""
    if len(x) <= 4 * columns or columns < 1:
        return list(x), list(y)
    size = -(-len(x) // (2 * columns))
    keep: list[int] = []
    for start in range(0, len(x), size):
        part = range(start, min(start + size, len(x)))
        keep += sorted({min(part, key=y.__getitem__), max(part, key=y.__getitem__)})
    return [x[i] for i in keep], [y[i] for i in keep]


def _siblings(state: RunState, item: Item) -> list[Item]:
    """Return the items of the same step and read; of one rail in a sweep, of every sensor in a soak."""
    return [
        other
        for other in state.items
        if other.step == item.step and (item.kind == "soak" or other.rail == item.rail)
    ]


def _reading(state: RunState, item: Item) -> Reading | None:
    entry = state.entries.get(item.key)
    return entry.event if entry is not None and isinstance(entry.event, Reading) else None


def _number(state: RunState, item: Item) -> float | None:
    reading = _reading(state, item)
    exact = reading is not None and reading.value.kind == "exact" and reading.value.number is not None
    return reading.value.si if reading is not None and exact else None


def _read_cell(state: RunState, item: Item) -> str:
    reading = _reading(state, item)
    if reading is None:
        return "·"
    mark = "✗" if reading.judged.past_stop else VERDICTS[reading.judged.verdict].mark
    return f"{value_text(reading.value)} {mark}"


def _sweep_table(state: RunState, item: Item, expectation: Expectation | None) -> PointTable:
    siblings = _siblings(state, item)
    rows = [
        (_load_words(other), _expected_cell(other, expectation), _read_cell(state, other))
        for other in siblings
    ]
    return PointTable(headings=("load", "expected", "read"), rows=tuple(rows), here=(siblings.index(item), 2))


def _load_words(item: Item) -> str:
    point = one_line(item.subject.rpartition(" @ ")[2]) or "all rails"
    return point if item.load_a is None else f"{point} = {show(item.load_a, 'A')}"


def _expected_cell(item: Item, expectation: Expectation | None) -> str:
    band = band_in(expectation, item)
    return "–" if band is None or item.read is None else show_band(band.low, band.high, item.read.unit)


def _soak_table(state: RunState, item: Item) -> PointTable:
    siblings = _siblings(state, item)
    sensors = list(dict.fromkeys(_sensor(other) for other in siblings))
    times = list(dict.fromkeys(other.elapsed_s or 0.0 for other in siblings))
    cells = {(other.elapsed_s or 0.0, _sensor(other)): other for other in siblings}
    rows = [
        (
            show(time / 60, "", decimals=0) + " min",
            *(
                _read_cell(state, cells[time, sensor]) if (time, sensor) in cells else ""
                for sensor in sensors
            ),
        )
        for time in times
    ]
    headings = ("at", *(one_line(sensor) for sensor in sensors))
    here = (times.index(item.elapsed_s or 0.0), sensors.index(_sensor(item)) + 1)
    return PointTable(headings=headings, rows=tuple(rows), here=here)


def _sensor(item: Item) -> str:
    return item.subject.rpartition(" @ ")[0] or item.subject


def _sweep_picture(state: RunState, item: Item, expectation: Expectation | None) -> Picture:
    assert item.read is not None  # `picture` asked
    siblings = [other for other in _siblings(state, item) if other.load_a is not None]
    bands = [(other.load_a or 0.0, band_in(expectation, other)) for other in siblings]
    known = [(load, band) for load, band in bands if band is not None]
    loads = tuple(load for load, _ in known)
    band = (
        Series(name="lowest expected", x=loads, y=tuple(band.low for _, band in known)),
        Series(name="highest expected", x=loads, y=tuple(band.high for _, band in known)),
    )
    read = [
        (other.load_a or 0.0, number) for other in siblings if (number := _number(state, other)) is not None
    ]
    return Picture(
        x_title="load [A]",
        y_title=f"{item.read.name or item.read.quantity} [{item.read.unit}]",
        read=(_series("read", read),) if read else (),
        band=band if known else (),
        limits=(),
        x_span=_ends([other.load_a or 0.0 for other in siblings]),
        x_points=tuple(other.load_a or 0.0 for other in siblings),
    )


def _soak_picture(state: RunState, item: Item) -> Picture:
    assert item.read is not None  # `picture` asked
    lines: dict[str, list[tuple[float, float]]] = {}
    for other in _siblings(state, item):
        number = _number(state, other)
        wanted = _sensor(other) in {_sensor(item), ROOM}
        if number is not None and wanted:
            lines.setdefault(_sensor(other), []).append(((other.elapsed_s or 0.0) / 60, number))
    ends = [
        end
        for limit in (item.limit, item.stop)
        if limit is not None
        for end in (limit.high,)
        if end is not None
    ]
    return Picture(
        x_title="time [min]",
        y_title=f"temperature [{item.read.unit}]",
        read=tuple(_series(one_line(name), points) for name, points in lines.items()),
        band=(),
        limits=tuple(dict.fromkeys(ends)),
        x_span=_ends([(other.elapsed_s or 0.0) / 60 for other in _siblings(state, item)]),
        x_points=tuple((other.elapsed_s or 0.0) / 60 for other in _siblings(state, item)),
    )


def _ends(values: Sequence[float]) -> tuple[float, float]:
    low, high = min(values, default=0.0), max(values, default=0.0)
    return (low, high) if low < high else (low, low + 1.0)


def _series(name: str, points: list[tuple[float, float]]) -> Series:
    ordered = sorted(points)
    return Series(name=name, x=tuple(x for x, _ in ordered), y=tuple(y for _, y in ordered))
