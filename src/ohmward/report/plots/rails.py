"""A rail against its load: output with limit, expected band and fitted line; ripple with its limit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from ohmward.analysis.points import Point, points
from ohmward.analysis.rails import load_line, load_points, split
from ohmward.quantity import show
from ohmward.report.plots import style
from ohmward.report.plots.marks import (
    BAND,
    EXPECTED,
    FITTED,
    HATCH,
    HOT,
    LIMIT,
    READ,
    TOGETHER,
    Sign,
    forbid,
    key_banded,
    key_line,
    key_patch,
    put,
)
from ohmward.report.plots.material import Material
from ohmward.report.plots.style import NothingToShow, Picture, Width, inks, plain, said_in, scale_of

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from ohmward.physics.expectation import Band
    from ohmward.supply.model import Rail

Curve = list[tuple[float, "Band"]]

ROW_MM = 42.5
_RAW, _OUT = "reservoir_ripple_pp_v", "output_ripple_pp_v"
_AROUND_MM: dict[Width, float] = {"full": 26.0, "column": 40.0}
"""Heading, key and foot."""
NAME = 34
"""Letters of a rail's name over its panel."""
_ALONE = "read, this rail alone"


@dataclass(frozen=True, kw_only=True)
class _Plot:
    """One kind of picture with a part for each rail."""

    name: str
    title: str
    draw: Callable[[Material, Sequence[Rail], Figure, Width], list[str]]
    row_mm: float
    across: int
    key: tuple[Artist, ...]
    note: str


def voltage(material: Material, rails: Sequence[str] = (), *, width: Width = "full") -> list[Picture]:
    """Draw output against load: against its limits, and close up with the fitted line.

    Bars in the first panel are the whole expanded uncertainty; close up they are the part that the
    points do not share (last digit and scatter), which is what a slope is told from.

    Parameters
    ----------
    material : Material
    rails : sequence of str
        Names; every rail when left out.
    width : {"column", "full"}

    Returns
    -------
    list of Picture
        As many as go on a page each.

    Raises
    ------
    NothingToShow
        When no output was read on any of them.
    """
    wanted = _wanted(material, rails)
    if not any(points(material.facts, rail, "output_v") for rail in wanted):
        raise NothingToShow(
            f"run {material.facts.run}: no rail's output was read, neither unloaded nor at a load point. "
            "Take the step 'Load points'; 'ohmward expect --plot' draws what is expected of it"
        )
    with inks():
        key = (
            key_line(READ, _ALONE),
            key_line(TOGETHER, "all rails loaded"),
            key_line(HOT, "after the soak"),
            key_line(FITTED, "fitted line"),
            key_banded(),
            key_patch(HATCH | {"edgecolor": LIMIT["color"], "alpha": 0.9}, "beyond the limit"),
        )
    plot = _Plot(
        name="voltage",
        title="output against load",
        draw=_voltages,
        row_mm=ROW_MM if width == "full" else 74.0,
        across=1,
        key=key,
        note="Bars: expanded uncertainty; close up, the part of it that the points do not share.",
    )
    return _paged(material, wanted, plot, width)


def ripple(material: Material, rails: Sequence[str] = (), *, width: Width = "full") -> list[Picture]:
    """Draw ripple, peak to peak, against load on a logarithmic scale: reservoir and output.

    Raises
    ------
    NothingToShow
        When no ripple was read.
    """
    wanted = _wanted(material, rails)
    if not any(points(material.facts, rail, key) for rail in wanted for key in (_RAW, _OUT)):
        raise NothingToShow(
            f"run {material.facts.run}: no ripple was read on any rail. Take the step 'Ripple'"
        )
    with inks():
        key = (
            key_line(READ, "output, read"),
            key_line(HOT, "output, after the soak"),
            key_line(TOGETHER, "reservoir, read"),
            key_banded(),
            key_patch(HATCH | {"edgecolor": LIMIT["color"], "alpha": 0.9}, "beyond the limit of the output"),
        )
    plot = _Plot(
        name="ripple",
        title="ripple against load, peak to peak",
        draw=_ripples,
        row_mm=ROW_MM,
        across=2 if width == "full" else 1,
        key=key,
        note="",
    )
    return _paged(material, wanted, plot, width)


def _wanted(material: Material, names: Sequence[str]) -> list[Rail]:
    return [rail for rail in material.rails if not names or rail.name in names]


def _paged(material: Material, rails: Sequence[Rail], plot: _Plot, width: Width) -> list[Picture]:
    across = min(plot.across, len(rails))
    pages = style.pages_of(
        len(rails), across * max(1, int((style.MOST_MM - _AROUND_MM[width]) / plot.row_mm))
    )
    found = []
    for number, page in enumerate(pages, 1):
        here = rails[page]
        title = style.titled(plot.title, number, len(pages))
        foot = (f"{material.foot()} {material.conditions()}", plot.note)
        with inks():
            figure = style.new_figure()
            words = plot.draw(material, here, figure, width)
            style.composed(
                figure,
                width=width,
                body_mm=plot.row_mm * -(-len(here) // across),
                title=material.title(title),
                key=plot.key,
                foot=foot,
                simulated=material.simulated,
            )
        found.append(
            Picture(
                name=style.numbered(plot.name, number, len(pages)),
                title=title[0].upper() + title[1:],
                words=" ".join([*words, foot[0]]),
                figure=figure,
            )
        )
    return found


def _voltages(material: Material, rails: Sequence[Rail], figure: Figure, width: Width) -> list[str]:
    shape = (len(rails), 2) if width == "full" else (2 * len(rails), 1)
    axes = figure.subplots(*shape, squeeze=False).reshape(len(rails), 2)
    words = []
    for (left, right), rail in zip(axes, rails, strict=True):
        words.append(_voltage(left, right, material, rail))
    return words


def _voltage(left: Axes, right: Axes, material: Material, rail: Rail) -> str:
    """Draw one rail, and return it in words."""
    every = points(material.facts, rail, "output_v")
    swept = list(load_points(material.facts, rail)) or [point for point in every if not point.item.together]
    factor, unit = scale_of(max([rail.rated_current_a, *(point.loaded_a for point in every)]), "A")
    curve = _curve(material, rail, "output_v", "output_v")
    name = plain(rail.name, NAME)
    together = [point for point in every if point.item.together]
    hot = [point for point in together if point.item.stage == "soak"]
    cool = [point for point in together if point.item.stage != "soak"]
    for axes in (left, right):
        _band(axes, curve, factor)
        if axes is left:
            put(axes, *_xy(swept, factor), READ, bars=[p.reading.judged.uncertainty for p in swept])
        put(axes, *_xy(cool, factor), TOGETHER)
        put(axes, *_xy(hot, factor), HOT)
        axes.set_xlabel(f"load [{unit}]")
        axes.set_ylabel("output [V]")
        axes.grid(visible=True)
        axes.set_xlim(-0.04 * rail.rated_current_a * factor, 1.06 * factor * _most(rail, every))
    left.set_title(f"Rail {name}")
    _limits(left, swept or every, curve, factor)
    if not every:
        said_in(left, "output not read")
        said_in(right, "output not read")
        return f"Rail {rail.name}: output not read."
    return _close_up(right, material, rail, swept, others=[*cool, *hot], factor=factor)


def _close_up(
    axes: Axes, material: Material, rail: Rail, swept: list[Point], *, others: list[Point], factor: float
) -> str:
    fitted = load_line(material.facts, rail)
    own = [2.0 * split(point.reading)[0] for point in swept]
    put(axes, *_xy(swept, factor), READ, bars=own)
    seen = [
        value for point, u in zip(swept, own, strict=True) for value in (point.value - u, point.value + u)
    ]
    seen += [point.value for point in others]
    said = f"Rail {rail.name}: {_ends(swept)}"
    title = "Close up"
    if fitted is not None and fitted.line is not None:
        sign = -1.0 if swept[-1].value < 0.0 else 1.0
        top = fitted.knee_low_a if fitted.knee_low_a is not None else swept[-1].loaded_a
        ends = [swept[0].loaded_a, top]
        axes.plot([x * factor for x in ends], [sign * fitted.line.predict(x).value for x in ends], **FITTED)
        if fitted.output_resistance_ohm is not None:
            u = fitted.output_resistance_uncertainty_ohm
            resistance = show(fitted.output_resistance_ohm, "Ω", uncertainty=u)
            spread = f" ± {show(u, 'Ω', uncertainty=u)}" if u else ""
            title = f"Close up; line: {resistance}{spread}"
            said += f", fitted line {resistance}{spread}"
        if fitted.knee_low_a is not None and fitted.knee_high_a is not None:
            title += ", then it lets go"
            axes.axvspan(fitted.knee_low_a * factor, fitted.knee_high_a * factor, color=style.PALE, zorder=0)
    else:
        title = "Close up; too few load points for a line"
    axes.set_title(title, fontweight="normal")
    low, high = min(seen), max(seen)
    room = max(0.25 * (high - low), 1e-4 * abs(high), 1e-6)
    axes.set_ylim(low - room, high + room)
    return f"{said}."


def _ends(swept: Sequence[Point]) -> str:
    """Return the first and last load point in words."""
    if not swept:
        return "read with all rails loaded only"
    told = [f"{show(p.value, 'V')} at {show(p.loaded_a, 'A') if p.loaded_a else 'no load'}" for p in swept]
    limit = swept[-1].reading.judged
    within = ""
    if limit.limit_low is not None and limit.limit_high is not None:
        within = f", limits {show(limit.limit_low, 'V')} to {show(limit.limit_high, 'V')}"
    return (told[0] if len(told) == 1 else f"{told[0]}, {told[-1]}") + within


def _most(rail: Rail, found: Sequence[Point]) -> float:
    return max([rail.rated_current_a, *(point.loaded_a for point in found)])


def _xy(found: Sequence[Point], factor: float) -> tuple[list[float], list[float]]:
    return [point.loaded_a * factor for point in found], [point.value for point in found]


def _curve(material: Material, rail: Rail, key: str, unloaded: str) -> Curve:
    """Return the expected band of a reading against load; empty where nothing can be said."""
    found = material.facts.expectation
    expected = found.rails.get(rail.name) if found is not None else None
    if expected is None:
        return []
    curve = [(0.0, expected.no_load.get(unloaded))]
    curve += [(point.load_a, point.values.get(key)) for point in expected.loaded]
    return [(load, band) for load, band in curve if band is not None]


def _band(axes: Axes, curve: Curve, factor: float) -> None:
    if not curve:
        return
    load = [x * factor for x, _ in curve]
    axes.fill_between(load, [band.low for _, band in curve], [band.high for _, band in curve], **BAND)
    axes.plot(load, [band.value for _, band in curve], **EXPECTED)


def _limits(axes: Axes, found: Sequence[Point], curve: Curve, factor: float) -> None:
    """Draw the limits that the points were judged by, as a staircase between them, and fit the axis."""
    edges: dict[str, list[tuple[float, float]]] = {"above": [], "below": []}
    for point in sorted(found, key=lambda each: each.loaded_a):
        judged = point.reading.judged
        if judged.limit_high is not None:
            edges["above"].append((point.loaded_a * factor, judged.limit_high))
        if judged.limit_low is not None:
            edges["below"].append((point.loaded_a * factor, judged.limit_low))
    seen = [point.value for point in found] + [y for side in edges.values() for _, y in side]
    seen += [y for _, band in curve for y in (band.low, band.high)]
    if not seen:
        return
    low, high = min(seen), max(seen)
    room = 0.14 * (high - low) or 0.1 * abs(high) or 1.0
    axes.set_ylim(low - room, high + room)
    if edges["above"]:
        forbid(axes, *_staircase(axes, edges["above"]), "above")
    if edges["below"]:
        forbid(axes, *_staircase(axes, edges["below"]), "below")


def _staircase(axes: Axes, edge: Sequence[tuple[float, float]]) -> tuple[list[float], list[float]]:
    """Return limits at points as a line over the whole axis, stepping half way between two points."""
    left, right = axes.get_xlim()
    xs, ys = [left], [edge[0][1]]
    for (x, y), (x_next, y_next) in pairwise(edge):
        if y != y_next:
            middle = (x + x_next) / 2.0
            xs += [middle, middle]
            ys += [y, y_next]
    return [*xs, right], [*ys, edge[-1][1]]


def _ripples(material: Material, rails: Sequence[Rail], figure: Figure, width: Width) -> list[str]:
    across = min(2 if width == "full" else 1, len(rails))
    axes = figure.subplots(-(-len(rails) // across), across, squeeze=False).ravel()
    for spare in axes[len(rails) :]:
        spare.set_axis_off()
    return [_ripple(each, material, rail) for each, rail in zip(axes, rails, strict=False)]


def _ripple(axes: Axes, material: Material, rail: Rail) -> str:
    """Draw the ripple of one rail, and return it in words."""
    found = {key: points(material.facts, rail, key) for key in (_OUT, _RAW)}
    every = [point for each in found.values() for point in each]
    factor, unit = scale_of(_most(rail, every), "A")
    curves = {_OUT: _curve(material, rail, _OUT, _OUT)}
    if rail.regulator is not None:  # else they are one and the same
        curves[_RAW] = _curve(material, rail, _RAW, _RAW)
    signs: dict[str, Sign] = {_OUT: READ, _RAW: TOGETHER}
    axes.set_title(f"Rail {plain(rail.name, NAME)}")
    axes.set_xlabel(f"load [{unit}]")
    axes.set_ylabel("ripple, peak to peak")
    axes.set_yscale("log")
    axes.grid(visible=True, which="major")
    axes.set_xlim(-0.04 * rail.rated_current_a * factor, 1.06 * factor * _most(rail, every))
    for curve in curves.values():
        _band(axes, [(x, band) for x, band in curve if band.low > 0.0], factor)
    for key, several in found.items():
        hot = [point for point in several if point.item.stage == "soak"]
        put(axes, *_sizes([point for point in several if point not in hot], factor), signs[key])
        put(axes, *_sizes(hot, factor), HOT)
    limits = [p.reading.judged.limit_high for p in found[_OUT] if p.reading.judged.limit_high is not None]
    seen = [abs(point.value) for point in every if point.value] + limits
    seen += [y for curve in curves.values() for _, band in curve for y in (band.low, band.high) if y > 0.0]
    if seen:
        axes.set_ylim(min(seen) / 1.8, max(seen) * 2.2)
    style.log_ticks(axes, "y", "V")
    if not every:
        said_in(axes, "ripple not read")
        return f"Rail {rail.name}: ripple not read."
    if limits:
        edge = min(limits)
        axes.fill_between(axes.get_xlim(), edge, 1.7 * edge, **HATCH)  # a strip: the reservoir lies above it
        axes.axhline(edge, **LIMIT)
    return _ripple_words(rail, found, limits)


def _sizes(found: Sequence[Point], factor: float) -> tuple[list[float], list[float]]:
    return _xy([point for point in found if point.value > 0.0], factor)


def _ripple_words(rail: Rail, found: dict[str, list[Point]], limits: Sequence[float]) -> str:
    parts = []
    for key, what in ((_OUT, "output"), (_RAW, "reservoir")):
        if found[key]:
            point = max(found[key], key=lambda each: each.loaded_a)
            parts.append(f"{what} {show(point.value, 'V')} at {show(point.loaded_a, 'A')}")
    limit = f", limit of the output {show(min(limits), 'V')}" if limits else ""
    return f"Rail {rail.name}: ripple p-p {', '.join(parts)}{limit}."
