"""How every picture is made: sizes for A4, inks that survive grey print, words made safe, REHEARSAL.

Colours are of the set of Okabe and Ito (Color Universal Design, 2008), told apart by every common kind
of colour blindness; each also differs by line, marker or hatching, so that a grey print says the same.
"""

from __future__ import annotations

import textwrap
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Literal

from ohmward.errors import OhmwardError
from ohmward.report.plots.settings import families, settings
from ohmward.text import one_line

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Width = Literal["column", "full"]

WIDTH_MM: dict[Width, float] = {"column": 82.0, "full": 170.0}
"""One of two columns, and the whole width, of an A4 page with 20 mm margins."""
MOST_MM = 240.0
"""Height that still goes on an A4 page with its caption."""

BLACK, GREY, PALE = "#000000", "#595959", "#d9d9d9"
ORANGE, SKY, GREEN, BLUE, RED, PURPLE = "#E69F00", "#56B4E9", "#009E73", "#0072B2", "#D55E00", "#CC79A7"
SERIES = (
    (BLACK, "-", "o"), (BLUE, "--", "s"), (RED, "-.", "^"), (GREEN, ":", "D"),
    (PURPLE, (0, (5, 1, 1, 1, 1, 1)), "v"), (ORANGE, (0, (8, 2)), "P"),
)  # fmt: skip
"""Colour, line and marker of things shown side by side."""

SIMULATED = "REHEARSAL: simulated bench, not a real supply."

HEAD_PT, BODY_PT, SMALL_PT = 9.0, 7.0, 6.2
_MM_PER_PT = 25.4 / 72.0
_LINE = 1.35
"""Line height in type sizes."""
_WHOLE_PIXELS = 1.04
"""Letters of a PNG are set to whole pixels, and so come out a little wider than drawn."""
_WIDE = 0.6
"""Width of a letter of DejaVu Sans in type sizes, on the safe side; see `wide_mm`."""

_LOCK = threading.RLock()


class NothingToShow(OhmwardError):
    """A picture of this result would be empty; the text says what is missing and how to come by it."""


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A figure with what a report needs beside it."""

    name: str
    """For file names: 'voltage', 'voltage-2'."""
    title: str
    words: str
    """What it shows, in words, for who cannot see it."""
    figure: Figure


@contextmanager
def inks() -> Iterator[None]:
    """Draw within this: our settings whatever a person's own matplotlib is set to, theirs again after."""
    import matplotlib as mpl

    with _LOCK, mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(settings(BODY_PT, SMALL_PT, PALE))  # type: ignore[arg-type]
        yield


@cache
def _drawable() -> frozenset[int]:
    """Return the code points that one of the families has a shape for."""
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return frozenset(
        code
        for family in families()
        for code in get_font(findfont(FontProperties(family=family))).get_charmap()
    )


def plain(text: str, most: int = 0) -> str:
    """Return text from outside as it may be drawn: one line, no markup, a sign for what no font here has.

    With `most`, the end of a longer text is cut, and shown as cut.
    """
    known = _drawable()
    line = "".join(c if ord(c) in known else f"\\u{ord(c):04x}" for c in one_line(text))
    return f"{line[: most - 1]}…" if 0 < most < len(line) else line


@cache
def _advance(char: str, bold: bool) -> float:
    """Return how far a letter takes the pen, in type sizes."""
    from matplotlib.font_manager import FontProperties, findfont, get_font
    from matplotlib.ft2font import LoadFlags

    font = get_font(findfont(FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")))
    if not font.get_char_index(ord(char)):
        return 1.05  # of a family that fills in: ideographs are as wide as high
    font.set_size(100.0, 72)
    return float(font.load_char(ord(char), LoadFlags.NO_HINTING).linearHoriAdvance) / 65536.0 / 100.0


def wide_mm(text: str, points: float = SMALL_PT, *, bold: bool = False) -> float:
    """Return how wide a line of text is drawn [mm]."""
    return _WHOLE_PIXELS * sum(_advance(char, bold) for char in text) * points * _MM_PER_PT


def cut(text: str, most: float, measure: Callable[[str], float] = len) -> str:
    """Return text as `plain` does, its end cut so that `measure` of it is at most `most`."""
    line = plain(text)
    if measure(line) <= most:
        return line
    while line and measure(f"{line}…") > most:
        line = line[:-1]
    return f"{line.rstrip()}…"


def wrapped(
    text: str, width: Width, *, points: float = SMALL_PT, share: float = 1.0, bold: bool = False
) -> list[str]:
    """Return text in lines that fit a share of the picture's width; a word too long for one is broken."""
    room = share * (WIDTH_MM[width] - 4.0)
    lines = [""]
    for word in plain(text).split():
        if wide_mm(f"{lines[-1]} {word}", points, bold=bold) <= room:
            lines[-1] = f"{lines[-1]} {word}".strip()
            continue
        if lines[-1]:
            lines.append("")
        for char in word:
            if wide_mm(lines[-1] + char, points, bold=bold) > room:
                lines.append("")
            lines[-1] += char
    return lines


def letters(room_mm: float, points: float = SMALL_PT) -> int:
    """Return how many letters fit into `room_mm`."""
    return max(4, int(room_mm / (_WIDE * points * _MM_PER_PT)))


def lines_mm(count: int, points: float = SMALL_PT) -> float:
    """Return the height of so many lines of text."""
    return count * points * _LINE * _MM_PER_PT


def new_figure() -> Figure:
    """Return an empty figure; `composed` gives it its size."""
    from matplotlib.figure import Figure

    return Figure()


def composed(
    figure: Figure,
    *,
    width: Width,
    body_mm: float,
    title: str,
    key: Sequence[Artist] = (),
    foot: Sequence[str] = (),
    simulated: bool = False,
    layout: bool = True,
) -> Figure:
    """Give a figure its size, heading, key and foot, and REHEARSAL across it when it is one.

    Parameters
    ----------
    figure : Figure
        With its panels.
    body_mm : float
        Height of the panels, their axis labels included [mm].
    key : sequence of Artist
        Labelled examples of what is drawn.
    foot : sequence of str
        Sentences below it.
    simulated : bool
    layout : bool
        False where the panels have been placed by hand in `body` coordinates (see `placed`).
    """
    heading = wrapped(title, width, points=HEAD_PT, bold=True)
    said = [*foot, SIMULATED] if simulated else list(foot)
    below = [line for sentence in said if sentence for line in wrapped(sentence, width)]
    rows = _key_rows(key, width)
    top = lines_mm(len(heading), HEAD_PT) + 2.0
    bottom = lines_mm(len(below)) + (1.0 if below else 0.0)
    keyed = len(rows) * 3.6 + (1.0 if rows else 0.0)
    total = top + body_mm + bottom + keyed
    figure.set_size_inches(WIDTH_MM[width] / 25.4, total / 25.4)
    x = 2.0 / WIDTH_MM[width]
    figure.text(
        x,
        1.0 - 1.0 / total,
        "\n".join(heading),
        fontsize=HEAD_PT,
        fontweight="bold",
        va="top",
        linespacing=1.15,
    )
    if below:
        figure.text(
            x,
            0.8 / total,
            "\n".join(below),
            fontsize=SMALL_PT,
            color=GREY,
            va="bottom",
            linespacing=_LINE * 0.86,
        )
    for number, row in enumerate(rows):
        _draw_key(figure, row, (total - top - 1.8 - 3.6 * number) / total)
    low, high = bottom / total, (top + keyed) / total
    if layout:
        figure.set_layout_engine(
            "constrained", rect=(0.0, low, 1.0, 1.0 - low - high), h_pad=0.03, w_pad=0.03
        )
    else:
        placed(figure, low, 1.0 - high)
    if simulated:
        _mark(figure, total, WIDTH_MM[width])
    engine = figure.get_layout_engine()
    if engine is not None:  # once and for all: it moves a little each time, and the bytes with it
        engine.execute(figure)
        figure.set_layout_engine("none")
    return figure


def placed(figure: Figure, low: float, high: float) -> None:
    """Move panels placed by hand on the whole figure into the part of it from `low` to `high`."""
    for axes in figure.axes:
        box = axes.get_position()
        axes.set_position((box.x0, low + box.y0 * (high - low), box.width, box.height * (high - low)))


def _key_rows(key: Sequence[Artist], width: Width) -> list[list[Artist]]:
    """Return the key in rows that fit."""
    rows: list[list[Artist]] = []
    room = 0.0
    for handle in key:
        need = 9.5 + wide_mm(str(handle.get_label()))
        if not rows or need > room:
            rows.append([])
            room = WIDTH_MM[width] - 4.0
        rows[-1].append(handle)
        room -= need
    return rows


def _draw_key(figure: Figure, row: Sequence[Artist], y: float) -> None:
    legend = figure.legend(
        handles=list(row),
        loc="center left",
        bbox_to_anchor=(1.2 / (25.4 * figure.get_figwidth()), y),
        ncols=len(row),
        handlelength=2.2,
        columnspacing=1.2,
        handletextpad=0.5,
        borderaxespad=0.2,
        borderpad=0.1,
    )
    legend.set_in_layout(False)


def _mark(figure: Figure, total_mm: float, width_mm: float) -> None:
    """Write REHEARSAL across the figure, again every 120 mm of its height."""
    times = max(1, round(total_mm / 120.0))
    points = min(46.0, 0.105 * min(width_mm, 2.6 * total_mm) / _MM_PER_PT)
    for number in range(times):
        mark = figure.text(
            0.5, (number + 0.5) / times, "REHEARSAL", fontsize=points, fontweight="bold", color=BLACK,
            alpha=0.10, rotation=24 if total_mm > 0.5 * width_mm else 12, ha="center", va="center", zorder=10,
        )  # fmt: skip
        mark.set_in_layout(False)


def said_in(axes: Axes, words: str) -> None:
    """Say in the middle of a panel why it is empty, or what it lacks."""
    lines = textwrap.wrap(plain(words), 34)
    axes.text(
        0.5, 0.5, "\n".join(lines), ha="center", va="center", transform=axes.transAxes, color=GREY,
        fontsize=SMALL_PT, bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5, "alpha": 0.8},
    )  # fmt: skip


def scale_of(largest: float, unit: str) -> tuple[float, str]:
    """Return what to multiply by, and the unit that an axis up to `largest` is written in."""
    for power, prefix in ((1e-6, "M"), (1e-3, "k"), (1.0, ""), (1e3, "m"), (1e6, "µ")):
        if largest * power >= 1.0 - 1e-9:
            return power, f"{prefix}{unit}"
    return 1.0, unit


def named(title: str, subject: str, most: float, measure: Callable[[str], float] = len) -> str:
    """Return 'title: subject' with `measure` of it at most `most`; letters are counted where none is given.

    The title is cut before what it is of, and in the middle where it ends on the name of a reading.
    """
    name = plain(f"{title}: {subject}" if subject else title)
    if measure(name) <= most:
        return name
    of = cut(f": {subject}", max(0.67 * most, most - measure(title)), measure) if subject else ""
    room = most - measure(of)
    head, comma, tail = title.rpartition(", ")
    if comma and measure(tail) <= room / 2:
        return f"{cut(head, room - measure(f' {tail}'), measure)} {plain(tail)}{of}"
    return f"{cut(title, room, measure)}{of}"


def log_ticks(axes: Axes, which: Literal["x", "y"], unit: str, most: int = 7) -> None:
    """Write the decades of a logarithmic axis as a person reads them: 10 mV, 1 V; `most` of them at most."""
    from matplotlib.ticker import FixedFormatter, FixedLocator, LogLocator, NullFormatter

    from ohmward.quantity import show

    axis = axes.xaxis if which == "x" else axes.yaxis
    low, high = sorted(axis.get_view_interval())
    ticks = [10.0**power for power in range(-9, 13) if low <= 10.0**power <= high]
    if len(ticks) < 2:
        ticks = [m * 10.0**p for p in range(-9, 13) for m in (1, 2, 5) if low <= m * 10.0**p <= high]
    ticks = ticks[:: max(1, -(-len(ticks) // most))]
    axis.set_major_locator(FixedLocator(ticks))
    axis.set_major_formatter(FixedFormatter([show(tick, unit) for tick in ticks]))
    axis.set_minor_locator(LogLocator(subs=tuple(range(2, 10)), numticks=20))
    axis.set_minor_formatter(NullFormatter())


def pages_of(count: int, most: int) -> list[slice]:
    """Return even slices of so many things, at most `most` each."""
    pages = max(1, -(-count // most))
    size = -(-count // pages) if count else 1
    return [slice(start, start + size) for start in range(0, count, size)]


def numbered(name: str, number: int, pages: int) -> str:
    """Return 'voltage', or 'voltage-2' where there are several."""
    return name if pages == 1 else f"{name}-{number}"


def titled(title: str, number: int, pages: int) -> str:
    """Return a title with its page where there are several."""
    return title if pages == 1 else f"{title} ({number} of {pages})"
