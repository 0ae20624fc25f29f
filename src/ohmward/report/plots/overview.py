"""A whole run at one glance: every reading at its position between its limits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ohmward.analysis.rows import ReadingRow
from ohmward.quantity import show
from ohmward.report.plots import beside, style
from ohmward.report.plots.marks import HATCH, LIMIT, Sign, key_line
from ohmward.report.plots.material import Material
from ohmward.report.plots.positions import FARTHEST, SCALE, SCALE_WORDS, Line, lines
from ohmward.report.plots.style import (
    BLACK,
    GREY,
    PALE,
    RED,
    NothingToShow,
    Picture,
    Width,
    inks,
)
from ohmward.text import plural

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SCALE_WORDS = f"{SCALE_WORDS} At the right the reading nearest to a limit."

LINE_MM = 2.75
EDGE_MM = 9.0
"""Above and below the lines: scale and its name."""
_MARGINS: beside.Margins = {"full": (66.0, 27.0), "column": (38.0, 20.0)}

_SIGNS: dict[str, tuple[str, Sign]] = {
    "pass": ("pass", {"marker": "o", "color": BLACK, "linestyle": "none", "markersize": 3.4}),
    "conditional pass": (
        "conditional pass: by less than its uncertainty",
        {"marker": "o", "color": BLACK, "markerfacecolor": "white", "linestyle": "none", "markersize": 4.2},
    ),
    "not stated: pass": (
        "pass, uncertainty not stated",
        {"marker": "D", "color": GREY, "markerfacecolor": "white", "linestyle": "none", "markersize": 3.2},
    ),
    "conditional fail": (
        "conditional fail: by less than its uncertainty",
        {"marker": "X", "color": RED, "markerfacecolor": "white", "linestyle": "none", "markersize": 5.2},
    ),
    "fail": ("fail", {"marker": "X", "color": RED, "linestyle": "none", "markersize": 5.6}),
    "undecided": (
        "undecided",
        {"marker": "d", "color": RED, "markerfacecolor": "white", "linestyle": "none", "markersize": 4.2},
    ),
}


def overview(material: Material, *, width: Width = "full") -> list[Picture]:
    """Draw every reading of a run that has a limit, as its position between its limits.

    Raises
    ------
    NothingToShow
        When no reading with a limit was taken.
    """
    every = lines(material)
    if not any(line.spots for line in every):
        raise NothingToShow(
            f"run {material.facts.run}: no reading that has a limit was taken yet. Go on with the run first"
        )
    rows = _with_stages(every)
    pages = _pages(rows, int((style.MOST_MM - (35.0 if width == "full" else 44.0)) / LINE_MM))
    found = []
    for number, page in enumerate(pages, 1):
        title = style.titled("every reading between its limits", number, len(pages))
        with inks():
            figure = style.new_figure()
            axes = _axes(figure, width, len(page))
            _draw(axes, page, width)
            style.composed(
                figure,
                width=width,
                body_mm=EDGE_MM + LINE_MM * len(page),
                title=material.title(title),
                key=_key(page),
                foot=(material.foot(), _left_out(material), _SCALE_WORDS),
                simulated=material.simulated,
                layout=False,
            )
        found.append(
            Picture(
                name=style.numbered("overview", number, len(pages)),
                title=title[0].upper() + title[1:],
                words=_words(material, [row for row in page if isinstance(row, Line)]),
                figure=figure,
            )
        )
    return found


def _with_stages(every: Sequence[Line]) -> list[Line | str]:
    """Return the lines with the name of each stage before its first."""
    found: list[Line | str] = []
    stage = ""
    for line in every:
        if line.stage != stage:
            stage = line.stage
            found.append(stage[:1].upper() + stage[1:].replace("-", " "))
        found.append(line)
    return found


def _pages(rows: Sequence[Line | str], most: int) -> list[list[Line | str]]:
    """Return rows in pages; a page that begins within a stage names it again."""
    pages: list[list[Line | str]] = []
    heading = ""
    count = 1 if len(rows) <= most else -(-len(rows) // (most - 1))  # a row for a heading named again
    size = -(-len(rows) // count) + (count > 1)
    for row in rows:
        full = bool(pages) and len(pages[-1]) >= min(size, most) - (isinstance(row, str))
        if not pages or full:
            pages.append([] if isinstance(row, str) else [f"{heading}, continued"])
        if isinstance(row, str):
            heading = row
        pages[-1].append(row)
    return pages


def _axes(figure: Figure, width: Width, count: int) -> Axes:
    body = EDGE_MM + LINE_MM * count
    return beside.panel(figure, width, _MARGINS, top_mm=body - 1.0, height_mm=LINE_MM * count, body_mm=body)


def _draw(axes: Axes, page: Sequence[Line | str], width: Width) -> None:
    count = len(page)
    axes.set_ylim(count - 0.5, -0.5)
    axes.set_xlim(-FARTHEST, FARTHEST)
    axes.fill_betweenx([-0.5, count - 0.5], 1.0, FARTHEST, **HATCH)
    axes.fill_betweenx([-0.5, count - 0.5], -FARTHEST, -1.0, **HATCH)
    for x in (-1.0, 1.0):
        axes.axvline(x, **LIMIT)
    axes.axvline(0.0, color=PALE, linewidth=0.7)
    axes.set_yticks([])
    axes.set_xticks([x for x, _ in SCALE], [text for _, text in SCALE])
    axes.tick_params(axis="x", top=False, labeltop=False)
    for y, row in enumerate(page):
        if isinstance(row, str):
            axes.axhspan(y - 0.5, y + 0.5, color=PALE, zorder=2, linewidth=0)
            beside.write(axes, y, (row, ""), width=width, margins=_MARGINS, bold=True)
            continue
        axes.axhline(y, color=PALE, linewidth=0.4, zorder=1)
        _draw_spots(axes, y, row)
        said, bad = _said(row)
        beside.write(axes, y, (row.title, row.subject), said, width=width, margins=_MARGINS,
                     colour=RED if bad else GREY, bold=bad)  # fmt: skip


def _draw_spots(axes: Axes, y: float, row: Line) -> None:
    for spot in row.spots:
        at = min(max(spot.at, -FARTHEST * 0.97), FARTHEST * 0.97)
        if spot.high > spot.low:
            ends = [min(max(end, -FARTHEST), FARTHEST) for end in (spot.low, spot.high)]
            axes.plot(ends, [y, y], color=BLACK, linewidth=0.7, zorder=3, solid_capstyle="butt")
        sign = _SIGNS[_kind(spot.row)][1]
        axes.plot([at], [y], zorder=4, clip_on=False, **sign)
        if spot.bound or at != spot.at:
            inwards = spot.bound and at == spot.at
            step = 0.13 * (-1.0 if (at > 0) == inwards else 1.0)
            beside.arrow(axes, y, at, at + step)


def _kind(row: ReadingRow) -> str:
    if row.past_stop or row.verdict in ("fail", "not stated: fail"):
        return "fail"
    return row.verdict if row.verdict in _SIGNS else "pass"


def _said(row: Line) -> tuple[str, bool]:
    """Return what stands at the right of a line, and whether it is a failure."""
    worst = row.worst
    if worst is None:
        return "NOT DONE", True
    value = _value(worst.row)
    if worst.row.failed:
        return f"FAIL {value}", True
    if row.missing:
        return f"{value}; {row.missing} missing", True
    return value, False


def _value(row: ReadingRow) -> str:
    if row.net is None:
        return row.raw
    sign = row.raw.lstrip()[:1]
    value = (
        show(row.net, row.unit, uncertainty=row.uncertainty) if sign not in "<>" else show(row.net, row.unit)
    )
    return f"{sign} {value}" if sign in "<>" else value


def _key(page: Sequence[Line | str]) -> list[Artist]:
    there = {_kind(spot.row) for row in page if isinstance(row, Line) for spot in row.spots}
    return [key_line(sign, label) for kind, (label, sign) in _SIGNS.items() if kind in there]


def _left_out(material: Material) -> str:
    rows = material.assessment.readings
    unlimited = sum(row.verdict == "not applicable" for row in rows)
    stale = sum(row.stale for row in rows)
    parts = []
    if unlimited:
        parts.append(f"{unlimited} readings without a limit are not drawn")
    if stale:
        parts.append(f"{stale} that no longer count are not drawn")
    if material.assessment.missing:
        parts.append(f"{len(material.assessment.missing)} required steps (checks among them) are not done")
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}." if text else ""


def _words(material: Material, page: Sequence[Line]) -> str:
    spots = [spot for line in page for spot in line.spots]
    failed = [line for line in page if any(spot.row.failed for spot in line.spots)]
    lacking = sum(line.missing for line in page)
    parts = [
        f"{plural(len(spots), 'reading')} between limits, {sum(s.row.failed for s in spots)} of them outside"
    ]
    parts += [f"outside: {line.label}, {_said(line)[0]}" for line in failed[:8]]
    if lacking:
        parts.append(f"{lacking} required readings are not done")
    return f"{'; '.join(parts)}. {material.foot()}"
