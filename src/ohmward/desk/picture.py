"""What a table and a plot of points show, as data: readings, expected band, limits, forecast."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import cycle

from ohmward.desk.readings import judged_text
from ohmward.desk.words import VERDICTS
from ohmward.logbook.events import Reading
from ohmward.procedure.model import Item
from ohmward.run.state import RunState


@dataclass(frozen=True, kw_only=True)
class PointTable:
    """Headings and rows of text; `here` is the row and the column of the present item."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    here: tuple[int, int]
    no_plot: str = "No plot yet: nothing is read, and nothing expected that could be drawn."
    """What is said in the place of the plot where there is none."""
    heads: frozenset[int] = frozenset()
    """Rows that are the headings of further columns, where a wide table is folded."""
    remark: str = ""
    """What has to be known of the cells."""


@dataclass(frozen=True, kw_only=True)
class Series:
    """Points (x, y) of one line of the plot, in the units of its axes."""

    name: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    marks: bool = True
    """Each point has its mark; a dense record is a line only."""
    joined: bool = True
    """The points are joined by a line; those that lie years apart are not."""


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
    forecast: tuple[Series, ...] = ()
    """Where what is read is going."""
    x_points: tuple[float, ...] = ()
    """Every point asked for: where the axis is marked."""

    @property
    def caption(self) -> str:
        """What is drawn, in words: one mark a line of readings."""
        names = dict.fromkeys(line.name for line in self.read)
        lines = [f"{mark} {name}" for mark, name in zip(cycle(MARKS), names, strict=False)]
        lines += ["lines without marks: expected band"] if self.band else []
        lines += ["level line: limit"] if self.limits else []
        lines += ["line beyond now: forecast"] if self.forecast else []
        return "; ".join([f"{self.y_title} against {self.x_title}", *lines])

    @property
    def y_span(self) -> tuple[float, float]:
        """Lowest and highest of all that is drawn, with air about it; never of no height."""
        values = [y for line in (*self.read, *self.band, *self.forecast) for y in line.y] + list(
            self.limits
        ) or [0.0, 1.0]
        low, high = min(values), max(values)
        air = max(0.06 * (high - low), 0.002 * max(abs(low), abs(high)), 1e-6)
        return low - air, high + air


MARKS = ("●", "■", "▲", "◆", "○", "□")
"""Of the lines of readings, so that colour is not needed to tell them apart."""


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


def siblings_of(state: RunState, item: Item) -> list[Item]:
    """Return the items of the same step and read; of one rail in a sweep, of every sensor in a soak."""
    return [
        other
        for other in state.items
        if other.step == item.step and (item.kind == "soak" or other.rail == item.rail)
    ]


def reading_of(state: RunState, item: Item) -> Reading | None:
    """Return the reading that was taken for an item; None where none was."""
    entry = state.entries.get(item.key)
    return entry.event if entry is not None and isinstance(entry.event, Reading) else None


def number_of(state: RunState, item: Item) -> float | None:
    """Return what was read for an item as a number [its unit]; None where there is none."""
    reading = reading_of(state, item)
    exact = reading is not None and reading.value.kind == "exact" and reading.value.number is not None
    return reading.value.si if reading is not None and exact else None


def read_cell(state: RunState, item: Item) -> str:
    """Return what was read for an item with the mark of its verdict."""
    reading = reading_of(state, item)
    if reading is None:
        return "·"
    mark = "✗" if reading.judged.past_stop else VERDICTS[reading.judged.verdict].mark
    return f"{judged_text(reading, item)} {mark}"


def ends(values: Sequence[float]) -> tuple[float, float]:
    """Return the lowest and the highest, never the same."""
    low, high = min(values, default=0.0), max(values, default=0.0)
    return (low, high) if low < high else (low, low + 1.0)


def series(name: str, points: list[tuple[float, float]]) -> Series:
    """Return points as a line, in order."""
    ordered = sorted(points)
    return Series(name=name, x=tuple(x for x, _ in ordered), y=tuple(y for _, y in ordered))
