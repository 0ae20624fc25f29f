"""Pictures of histories: a supply over the years, two runs, all supplies, what is due. Legible in grey."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING

from ohmward.analysis.history_change import COVERAGE
from ohmward.analysis.history_facts import YEAR_S
from ohmward.analysis.history_glance import Due, Glance
from ohmward.analysis.history_results import Forecast, History, Series
from ohmward.analysis.history_series import line_of
from ohmward.report.history_fleet import by_margin
from ohmward.report.history_text import latest_of_soaks
from ohmward.report.plots import style
from ohmward.report.plots.marks import BAND, FITTED, FORECAST, HATCH, LIMIT, Sign, key_line, key_patch, put
from ohmward.report.plots.style import NothingToShow, composed, inks, new_figure, plain, scale_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ROW_MM = 46.0
LINE_MM = 4.4
EDGE_MM = 12.0
MOST_PANELS = 8
LEAST_YEARS, LEAST_SHARE = 2.0, 0.04
"""No panel shows less than so many years, and so much of its values."""
MOST_LINES = 48
FARTHEST = 3.0
"""A limit further ahead than so many times the years there are is not drawn."""
AHEAD = 0.6
"""How far ahead of the last run a panel looks, as a share of the years there are; further for a forecast."""


def history_figure(found: History) -> Figure:
    """Draw what ages, then what has a trend or has changed: at most `MOST_PANELS` readings over the dates.

    Raises
    ------
    NothingToShow
        With fewer than two runs that share a reading.
    """
    chosen = _chosen(found)
    if not chosen:
        raise NothingToShow(
            f"nothing to draw of {found.tag}: no reading was taken in two runs. Draw it after the next retest"
        )
    with inks():
        figure = new_figure()
        rows = -(-len(chosen) // 2)
        axes = figure.subplots(rows, 2, squeeze=False).ravel()
        instruments = list(dict.fromkeys(point.meter for series in chosen for point in series.points))
        for panel, series in zip(axes, chosen, strict=False):
            _draw_series(panel, series, found, instruments)
        for panel in axes[len(chosen) :]:
            panel.set_axis_off()
        key = [
            key_line(_sign(instruments, name), f"read with {plain(name, 24) or 'a meter not named'}")
            for name in instruments[: len(style.SERIES)]
        ]
        key += [key_line(FITTED, "robust line"), key_patch(BAND, "where it is known to be, 90 %")]
        key += [key_line(LIMIT, "limit, or end of life"), key_line(FORECAST, "reaches it, 90 %")]
        if found.broken:
            key.append(key_line(_BREAK, "repaired, or another design"))
        compared = f"Compared with {plain(found.baseline)}; bars are U (k = 2) of each reading."
        foot = [compared, *_left_out(found, chosen)]
        return composed(
            figure, width="full", body_mm=ROW_MM * rows,
            title=f"{plain(found.tag)} over the years: {plain(found.title)}", key=key, foot=foot,
            simulated=found.simulated,
        )  # fmt: skip


_BREAK: Sign = {"color": style.GREY, "linestyle": (0, (1, 1)), "linewidth": 1.2}
_PANEL_MM = 60.0


def _chosen(found: History) -> list[Series]:
    def rank(series: Series) -> tuple[bool, bool, bool, float, float]:
        change = series.change
        near = [each.in_years for each in _near(series) if each.in_years is not None]
        return (
            not series.ageing,
            series.quantity != "capacitance_left",
            not (change is not None and change.verdict == "changed"),
            min(near, default=math.inf),
            -(change.size if change is not None else 0.0),
        )

    several = [each for each in latest_of_soaks(found.series) if len(each.points) > 1]
    return sorted(several, key=rank)[:MOST_PANELS]


def _near(series: Series) -> list[Forecast]:
    """Return the limits that the readings are on their way to and that are not too far off to draw."""
    span = max(series.points[-1].years - series.points[0].years, 1.0)
    return [
        each
        for each in series.forecasts
        if each.supported and each.at and (each.in_years or 0.0) <= FARTHEST * span
    ]


def _left_out(found: History, chosen: Sequence[Series]) -> list[str]:
    several = sum(len(each.points) > 1 for each in found.series)
    more = several - len(chosen)
    return [f"{more} more readings over the years are in the tables."] if more else []


def _sign(instruments: Sequence[str], name: str) -> Sign:
    colour, _, marker = style.SERIES[instruments.index(name) % len(style.SERIES)]
    return {"color": colour, "marker": marker, "linestyle": "none"}


def _draw_series(axes: Axes, series: Series, found: History, instruments: Sequence[str]) -> None:
    import numpy as np

    values = [point.value for point in series.points]
    goals = _near(series)
    scale, unit = _scale([*values, *(each.limit for each in goals)], series.unit)
    first = datetime.fromisoformat(series.points[0].at)
    start = _year(first.date()) - series.points[0].years
    for name in instruments:
        mine = [point for point in series.points if point.meter == name]
        bars = [
            None if point.common is None else scale * COVERAGE * math.hypot(point.own, point.common)
            for point in mine
        ]
        put(
            axes,
            [start + p.years for p in mine],
            [scale * p.value for p in mine],
            _sign(instruments, name),
            bars=bars,
        )
    last = start + series.points[-1].years
    end = _end(series, goals, start, last)
    line = line_of(series)
    if line is not None and series.trend is not None:
        x = np.linspace(series.points[0].years, end - start, 80)
        y = np.array([line.sen.predict(float(each)) for each in x])
        factor = line.factor(line.contrast(0.0, 0.0)[0])
        half = np.array([factor * line.uncertainty(float(each)) for each in x])
        axes.fill_between(start + x, scale * (y - half), scale * (y + half), **BAND)
        axes.plot(start + x, scale * y, **FITTED)
    for each in goals:
        _draw_goal(axes, each, scale, (start, end))
    _draw_limits(axes, series, scale)
    for broken in (each for each in found.breaks if each.whole):
        axes.axvline(_year(date.fromisoformat(broken.at[:10])), **_BREAK)
    mark = "AGES: " if series.ageing else ""
    axes.set_title(f"{mark}{style.named(series.title, series.subject, style.letters(_PANEL_MM) - len(mark))}")
    how = next((point.how for point in reversed(series.points) if point.how), "")
    axes.set_ylabel(plain(f"{unit}{f', {how}' if how else ''}", 34), fontsize=style.SMALL_PT)
    axes.set_xlim(min(start + series.points[0].years - 0.4, end - LEAST_YEARS), end)
    _roomy(axes, LEAST_SHARE * scale * max(abs(value) for value in values))
    _whole_years(axes)
    axes.grid(True)


def _end(series: Series, goals: Sequence[Forecast], start: float, last: float) -> float:
    """Return where the axis ends: past the interval of the first limit reached, where that is near enough."""
    span = max(last - start - series.points[0].years, 1.0)
    ends = [_year(date.fromisoformat(each.high or each.at)) for each in goals if each.high or each.at]
    near = [end for end in ends if end <= last + FARTHEST * span]
    return max(last + AHEAD * span if goals else last + 0.3, max(near, default=0.0) + 0.3)


def _draw_goal(axes: Axes, each: Forecast, scale: float, ends: tuple[float, float]) -> None:
    limit = scale * each.limit
    axes.plot(ends, (limit, limit), **LIMIT)
    low = _year(date.fromisoformat(each.low)) if each.low else ends[0]
    high = _year(date.fromisoformat(each.high)) if each.high else ends[1]
    if low >= ends[1]:
        return
    axes.plot(
        (low, min(high, ends[1])),
        (limit, limit),
        color=FORECAST["color"],
        linewidth=3.0,
        solid_capstyle="butt",
    )
    if each.at:
        at = _year(date.fromisoformat(each.at))
        axes.plot(
            [at],
            [limit],
            marker="D",
            color=FORECAST["color"],
            markeredgecolor="black",
            linestyle="none",
            zorder=6,
        )
        words = f"{each.what}: {each.at[:4]} ({each.low[:4] or 'open'}–{each.high[:4] or 'open'})"
        rightwards = at < (ends[0] + ends[1]) / 2.0
        axes.annotate(
            plain(words), (max(at, ends[0]), limit), xytext=(4 if rightwards else -4, 4), zorder=7,
            textcoords="offset points", ha="left" if rightwards else "right", fontsize=style.SMALL_PT,
        )  # fmt: skip


def _draw_limits(axes: Axes, series: Series, scale: float) -> None:
    """Draw the limits that lie near what was read; a limit far away would flatten the readings."""
    low, high = axes.get_ylim()
    room = high - low
    last = series.points[-1]
    for limit in (last.limit_low, last.limit_high):
        if limit is not None and low - 0.6 * room <= scale * limit <= high + 0.6 * room:
            axes.axhline(scale * limit, **LIMIT)


def _roomy(axes: Axes, least: float) -> None:
    """Widen an axis that would blow up nothing into a step."""
    low, high = axes.get_ylim()
    if high - low < least:
        middle = (low + high) / 2.0
        axes.set_ylim(middle - least / 2.0, middle + least / 2.0)


def _whole_years(axes: Axes) -> None:
    from matplotlib.ticker import MaxNLocator

    axes.xaxis.set_major_locator(MaxNLocator(6, integer=True))


def _scale(values: Sequence[float], unit: str) -> tuple[float, str]:
    if unit in {"°C", "%", ""}:
        return 1.0, unit
    return scale_of(max((abs(value) for value in values), default=1.0), unit)


def _year(day: date) -> float:
    """Return a date as a year with its fraction."""
    return day.year + (day - date(day.year, 1, 1)).total_seconds() / YEAR_S


def fleet_figure(glances: Sequence[Glance]) -> Figure:
    """Draw the worst margin of every supply, the smallest first; rehearsals only where there is nothing else.

    Raises
    ------
    NothingToShow
        When no supply has a reading with a limit.
    """
    real = [each for each in glances if not each.simulated]
    chosen = by_margin([each for each in real or glances if each.margin_pct is not None])
    if not chosen:
        raise NothingToShow("no supply has a reading with a limit yet")
    rows = chosen[:MOST_LINES]
    with inks():
        figure = new_figure()
        axes = _line_axes(figure, len(rows), left_mm=30.0, right_mm=70.0)
        for y, each in enumerate(rows):
            margin = each.margin_pct or 0.0
            shown = min(max(margin, -20.0), 100.0)
            ages = bool(each.ageing)
            colour = "white" if ages else style.PALE
            axes.barh(y, shown, height=0.62, color=colour, edgecolor="black", linewidth=0.7,
                      hatch="////" if ages else None)  # fmt: skip
            _beside(axes, y, plain(each.tag, 22), plain(f"{margin:.0f} %  {each.margin_what}", 52))
        axes.axvline(0.0, **LIMIT)
        axes.axvspan(-20.0, 0.0, **HATCH)
        axes.set_xlim(-20.0, 100.0)
        axes.set_xlabel("distance of the worst reading from its limit [% of the limit]")
        key = [
            key_patch({"facecolor": style.PALE, "edgecolor": "black"}, "steady"),
            key_patch({"facecolor": "white", "edgecolor": "black", "hatch": "////"}, "ages"),
            key_line(LIMIT, "limit"),
        ]
        more = len(chosen) - len(rows)
        title = "All supplies, the worst margin first" + (f": {len(rows)} of {len(chosen)}" if more else "")
        return _composed_lines(figure, len(rows), title, key, simulated=not real)


def due_figure(dues: Sequence[Due], today: date) -> Figure:
    """Draw when each supply is due, the most overdue first; rehearsals only where there is nothing else.

    Raises
    ------
    NothingToShow
        When there is no supply.
    """
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter, date2num

    real = [each for each in dues if not each.simulated]
    rows = sorted(real or dues, key=lambda each: (each.on, each.tag))[:MOST_LINES]
    if not rows:
        raise NothingToShow("the logbook knows no supply yet")
    with inks():
        figure = new_figure()
        axes = _line_axes(figure, len(rows), left_mm=30.0, right_mm=58.0)
        now = float(date2num(today))  # type: ignore[no-untyped-call]
        for y, each in enumerate(rows):
            on = float(date2num(date.fromisoformat(each.on)))  # type: ignore[no-untyped-call]
            axes.plot([now, on], [y, y], color="black", linewidth=0.8, linestyle="-" if on < now else ":")
            late = each.overdue_days > 0
            fill = "black" if late else "white"
            axes.plot([on], [y], marker="X" if late else "o", color="black", markerfacecolor=fill,
                      linestyle="none", markersize=4.5, zorder=4)  # fmt: skip
            _beside(
                axes,
                y,
                plain(each.tag, 22),
                plain(f"{'now' if each.at_once else each.on}  {each.procedure}, {each.reason}", 46),
            )
        axes.axvline(now, color=style.RED, linewidth=1.2)
        locator = AutoDateLocator(maxticks=7)  # type: ignore[no-untyped-call]
        axes.xaxis.set_major_locator(locator)
        axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]
        key = [
            key_line({"marker": "X", "color": "black", "linestyle": "none"}, "overdue"),
            key_line(
                {"marker": "o", "color": "black", "markerfacecolor": "white", "linestyle": "none"}, "due"
            ),
            key_line({"color": style.RED, "linewidth": 1.2}, f"today, {today.isoformat()}"),
        ]
        return _composed_lines(figure, len(rows), "What is to be tested when", key, simulated=not real)


def _line_axes(figure: Figure, count: int, *, left_mm: float, right_mm: float) -> Axes:
    whole = style.WIDTH_MM["full"]
    height = EDGE_MM + LINE_MM * count
    axes = figure.add_axes(
        (left_mm / whole, 9.0 / height, 1.0 - (left_mm + right_mm) / whole, 1.0 - EDGE_MM / height)
    )
    axes.set_ylim(count - 0.4, -0.6)
    axes.set_yticks([])
    axes.grid(True, axis="x")
    return axes


def _beside(axes: Axes, y: int, left: str, right: str) -> None:
    place = axes.get_yaxis_transform()
    axes.text(-0.015, y, plain(left), transform=place, ha="right", va="center", fontsize=style.SMALL_PT)
    axes.text(1.015, y, plain(right), transform=place, ha="left", va="center", fontsize=style.SMALL_PT)


def _composed_lines(
    figure: Figure, count: int, title: str, key: Sequence[object], *, simulated: bool
) -> Figure:
    return composed(
        figure, width="full", body_mm=EDGE_MM + LINE_MM * count, title=title, key=list(key),  # type: ignore[arg-type]
        simulated=simulated, layout=False,
    )  # fmt: skip
