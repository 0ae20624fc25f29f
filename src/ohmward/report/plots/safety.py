"""Earth and insulation: every resistance of the dead tests against its limit, on a scale of decades."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from ohmward.analysis.rows import ReadingRow
from ohmward.quantity import show
from ohmward.report.plots import beside, style
from ohmward.report.plots.marks import HATCH, LIMIT, Sign, key_line
from ohmward.report.plots.material import Material
from ohmward.report.plots.style import BLACK, GREY, PALE, RED, NothingToShow, Picture, Width, inks

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LINE_MM = 4.2
_MARGINS: beside.Margins = {"full": (62.0, 24.0), "column": (36.0, 19.0)}
EDGE_MM = 13.0
_GOOD: Sign = {"marker": "o", "color": BLACK, "linestyle": "none", "markersize": 3.8}
_BAD: Sign = {"marker": "X", "color": RED, "linestyle": "none", "markersize": 5.6}
_TICK: Sign = {"marker": "|", "color": RED, "linestyle": "none", "markersize": 9.0, "markeredgewidth": 1.8}
_LEAST_OHM = 1e-3
"""Where a reading of nothing at all is drawn: a logarithm has no zero."""


def safety(material: Material, *, width: Width = "full") -> list[Picture]:
    """Draw the earth path, which must be low, and the separations, which must be high.

    Every reading in ohms with one limit is drawn. One that is only known to lie above the meter's
    range has an arrow.

    Raises
    ------
    NothingToShow
        When neither was read.
    """
    low = [row for row in _ohms(material) if row.limit_low is None]
    high = [row for row in _ohms(material) if row.limit_high is None]
    if not any(row.net is not None for row in [*low, *high]):
        raise NothingToShow(
            f"run {material.facts.run}: neither earth nor insulation was read. They are the first "
            "of the dead tests"
        )
    most = int((style.MOST_MM - 60.0) / LINE_MM)
    parts = [
        (rows[page], what) for rows, what in ((low, "low"), (high, "high")) for page in _slices(rows, most)
    ]
    pages = _together(parts, most)
    found = []
    for number, page in enumerate(pages, 1):
        title, foot = style.titled("earth and insulation", number, len(pages)), material.foot()
        with inks():
            figure = style.new_figure()
            body = sum(EDGE_MM + LINE_MM * len(rows) for rows, _ in page)
            top = body
            for rows, what in page:
                height = EDGE_MM + LINE_MM * len(rows)
                axes = beside.panel(
                    figure, width, _MARGINS, top_mm=top - 6.0, height_mm=height - EDGE_MM, body_mm=body
                )
                _draw(axes, rows, what, width)
                top -= height
            style.composed(
                figure,
                width=width,
                body_mm=body,
                title=material.title(title),
                key=(
                    key_line(_GOOD, "read, less the leads; bar: its uncertainty"),
                    key_line(_BAD, "fail"),
                    key_line(_TICK, "limit"),
                ),
                foot=(foot, *_foot(material, [row for rows, _ in page for row in rows])),
                simulated=material.simulated,
                layout=False,
            )
        found.append(
            Picture(
                name=style.numbered("safety", number, len(pages)),
                title=title[0].upper() + title[1:],
                words=" ".join([*(_words(material, row) for rows, _ in page for row in rows), foot]),
                figure=figure,
            )
        )
    return found


def _ohms(material: Material) -> list[ReadingRow]:
    return [
        row
        for row in material.assessment.readings
        if row.unit == "Ω" and not row.stale and (row.limit_low is None) != (row.limit_high is None)
    ]


def _slices(rows: Sequence[ReadingRow], most: int) -> list[slice]:
    return style.pages_of(len(rows), most) if rows else []


def _together(
    parts: Sequence[tuple[list[ReadingRow], str]], most: int
) -> list[list[tuple[list[ReadingRow], str]]]:
    """Return the parts by page, two on one where they fit."""
    pages: list[list[tuple[list[ReadingRow], str]]] = []
    for part in parts:
        used = sum(len(rows) + 3 for rows, _ in pages[-1]) if pages else most
        if pages and used + len(part[0]) <= most + 3:
            pages[-1].append(part)
        else:
            pages.append([part])
    return pages


def _draw(axes: Axes, rows: Sequence[ReadingRow], what: str, width: Width) -> None:
    seen = [max(abs(row.net), _LEAST_OHM) for row in rows if row.net is not None]
    seen += [limit for row in rows for limit in (row.limit_low, row.limit_high) if limit]
    axes.set_xscale("log")
    axes.set_xlim(min(seen) / 3.0, max(seen) * 4.0)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_yticks([])
    style.log_ticks(axes, "x", "Ω", 7 if width == "full" else 3)
    axes.set_title(f"Must be {what}: resistance [Ω]")
    axes.grid(visible=True, axis="x")
    for y, row in enumerate(rows):
        _draw_row(axes, y, row)
        beside.write(axes, y, (row.title, row.subject), _said(row), width=width, margins=_MARGINS,
                     colour=RED if row.failed else GREY, bold=row.failed)  # fmt: skip


def _draw_row(axes: Axes, y: int, row: ReadingRow) -> None:
    """Draw a reading, its uncertainty, and its limit with the forbidden side hatched."""
    left, right = axes.get_xlim()
    limit = row.limit_high if row.limit_high is not None else row.limit_low
    axes.axhline(y, color=PALE, linewidth=0.4, zorder=1)
    if limit:
        beyond = (limit, right) if row.limit_high is not None else (left, limit)
        axes.fill_betweenx([y - 0.42, y + 0.42], *beyond, **HATCH)
        axes.plot([limit, limit], [y - 0.42, y + 0.42], solid_capstyle="butt", **LIMIT)
    if row.net is None:
        return
    at = max(row.net, _LEAST_OHM)
    bound = row.raw.lstrip()[:1]
    if row.uncertainty and bound not in "<>":
        ends = [max(row.net - row.uncertainty, left), row.net + row.uncertainty]
        axes.plot(ends, [y, y], color=BLACK, linewidth=0.8, zorder=3)
    axes.plot([at], [y], zorder=4, **(_BAD if row.failed else _GOOD))
    if bound in "<>":
        beside.arrow(axes, y, at, at * (2.6 if bound == ">" else 1 / 2.6))


def _said(row: ReadingRow) -> str:
    if row.net is None:
        return "left out" if row.verdict == "not done" else row.raw
    bound = row.raw.lstrip()[:1]
    value = (
        f"{bound} {show(row.net, row.unit)}"
        if bound in "<>"
        else show(row.net, row.unit, uncertainty=row.uncertainty)
    )
    return f"FAIL {value}" if row.failed else value


def _foot(material: Material, rows: Sequence[ReadingRow]) -> Iterator[str]:
    """Yield what insulation was tested at, and on what the limits rest."""
    titles: dict[float, list[str]] = {}
    for row in rows:
        volts = _test_v(material, row)
        if volts is not None and row.title not in titles.setdefault(volts, []):
            titles[volts].append(row.title)
    for volts, named in titles.items():
        yield f"Tested at {show(volts, 'V')} DC: {', '.join(named)}."
    bases = list(dict.fromkeys(row.basis for row in rows if row.basis))
    if bases:
        yield f"Limits: {'; '.join(bases)}."


def _test_v(material: Material, row: ReadingRow) -> float | None:
    return None if row.net is None else material.facts.test_v.get((row.step, row.subject))


def _words(material: Material, row: ReadingRow) -> str:
    name = f"{row.title}, {row.subject}" if row.subject else row.title
    limit = (
        f"at most {show(row.limit_high, 'Ω')}"
        if row.limit_high is not None
        else f"at least {show(row.limit_low or 0.0, 'Ω')}"
    )
    volts = _test_v(material, row)
    at = "" if volts is None else f" at {show(volts, 'V')} DC"
    return f"{name}: {_said(row)}{at}, limit {limit}."
