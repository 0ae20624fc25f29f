"""How far each regulator stands above dropout, over the mains that the supply has to work on."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

from ohmward.analysis.points import Point, points
from ohmward.quantity import show
from ohmward.report.plots import style
from ohmward.report.plots.marks import (
    BAND,
    EXPECTED,
    HATCH,
    LIMIT,
    READ,
    TOGETHER,
    key_banded,
    key_line,
    key_patch,
)
from ohmward.report.plots.material import Material
from ohmward.report.plots.style import GREY, NothingToShow, Picture, Width, inks, plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ohmward.physics.expectation import Band
    from ohmward.supply.model import Mains, Rail, Supply

ROW_MM = 46.0
STEPS = 9
DRAWS = 300
Curves = dict[str, list[tuple[float, "Band"]]]


def headroom(material: Material, rails: Sequence[str] = (), *, width: Width = "full") -> list[Picture]:
    """Draw valley less output less dropout against mains, every rail at its rated current, warm.

    The curve is what the design sheet predicts. Points are from readings: reservoir less
    half its ripple, less the output, less the sheet's dropout; a reservoir's ripple is taken to be a
    sawtooth, whose mean is half way.

    Raises
    ------
    NothingToShow
        When no rail is regulated, or the sheet says too little of all that are.
    """
    wanted = [
        rail for rail in material.rails if rail.regulator is not None and (not rails or rail.name in rails)
    ]
    if not wanted:
        raise NothingToShow(f"{material.facts.tag}: no rail is regulated, so that none can drop out")
    curves = _curves(material.facts.supply, _room(material))
    shown = [rail for rail in wanted if curves.get(rail.name) or _reads(material, rail)]
    if not shown:
        raise NothingToShow(
            f"{material.facts.tag}: the design sheet says too little to compute any headroom, and no "
            "reservoir was read under load. Add transformer, rectifier and reservoir to the sheet, or read it"
        )
    across = min(len(shown), 2 if width == "full" else 1)
    pages = style.pages_of(len(shown), across * int((style.MOST_MM - 30.0) / ROW_MM))
    found = []
    for number, page in enumerate(pages, 1):
        here = shown[page]
        title = style.titled("regulator headroom against mains", number, len(pages))
        with inks():
            figure = style.new_figure()
            rows = -(-len(here) // across)
            axes = figure.subplots(rows, across, squeeze=False).ravel()
            for spare in axes[len(here) :]:
                spare.set_axis_off()
            words = [_draw(each, material, rail, curves) for each, rail in zip(axes, here, strict=False)]
            style.composed(
                figure,
                width=width,
                body_mm=ROW_MM * rows,
                title=material.title(title),
                key=(
                    key_banded("expected, with its band"),
                    key_line(READ, "from readings, all rails loaded"),
                    key_line(TOGETHER, "from readings, this rail alone"),
                    key_patch(HATCH | {"edgecolor": LIMIT["color"], "alpha": 0.9}, "drops out"),
                ),
                foot=(
                    f"{material.foot()} All rails fully loaded, warm, {show(_room(material), '°C')} room.",
                    "Headroom: valley less output and dropout. Dotted: mains and its band.",
                ),
                simulated=material.simulated,
            )
        found.append(
            Picture(
                name=style.numbered("headroom", number, len(pages)),
                title=title[0].upper() + title[1:],
                words=" ".join([*words, material.foot()]),
                figure=figure,
            )
        )
    return found


def _room(material: Material) -> float:
    found = material.facts.expectation
    return 25.0 if found is None else found.ambient_c


def _band(mains: Mains) -> tuple[float, float]:
    return mains.voltage_v * (1.0 + mains.low_pct / 100.0), mains.voltage_v * (1.0 + mains.high_pct / 100.0)


@lru_cache(maxsize=8)
def _curves(supply: Supply, room_c: float) -> Curves:
    from ohmward.physics.readings import at_full_load

    low, high = _band(supply.mains)
    volts = [low + (high - low) * step / (STEPS - 1) for step in range(STEPS)]
    found: Curves = {}
    for each, rails in zip(volts, at_full_load(supply, volts, ambient_c=room_c, draws=DRAWS), strict=True):
        for name, values in rails.items():
            if "headroom_v" in values:
                found.setdefault(name, []).append((each, values["headroom_v"]))
    return found


def _read(material: Material, rail: Rail, *, together: bool) -> list[tuple[float, float]]:
    """Return mains and headroom by the readings, where reservoir, its ripple and output were read."""
    if rail.regulator is None or rail.regulator.dropout_v is None:
        return []
    ripples = _full(rail, points(material.facts, rail, "reservoir_ripple_pp_v"))
    outputs = _full(rail, points(material.facts, rail, "output_v"))
    found = []
    for point in _full(rail, points(material.facts, rail, "reservoir_mean_v")):
        ripple = _same(point, ripples) or (ripples[0] if ripples else None)
        output = _same(point, outputs)
        if point.item.together != together or ripple is None or output is None or point.mains_v is None:
            continue
        valley = abs(point.value) - abs(ripple.value) / 2.0
        found.append((point.mains_v, valley - abs(output.value) - rail.regulator.dropout_v))
    return found


def _reads(material: Material, rail: Rail) -> list[tuple[float, float]]:
    return [*_read(material, rail, together=True), *_read(material, rail, together=False)]


def _full(rail: Rail, found: Sequence[Point]) -> list[Point]:
    return [point for point in found if point.loaded_a >= 0.98 * rail.rated_current_a]


def _same(point: Point, others: Sequence[Point]) -> Point | None:
    """Return the reading of the same load, all rails or this one alone, at the same mains."""
    for other in others:
        if other.item.together == point.item.together and other.mains_v == point.mains_v:
            return other
    return None


def _draw(axes: Axes, material: Material, rail: Rail, curves: Curves) -> str:
    mains = material.facts.supply.mains
    low, high = _band(mains)
    curve = curves.get(rail.name, [])
    together, alone = (_read(material, rail, together=both) for both in (True, False))
    read = [*together, *alone]
    if curve:
        volts = [x for x, _ in curve]
        axes.fill_between(volts, [band.low for _, band in curve], [band.high for _, band in curve], **BAND)
        axes.plot(volts, [band.value for _, band in curve], **EXPECTED)
    for points_read, sign in ((together, READ), (alone, TOGETHER)):
        axes.plot([x for x, _ in points_read], [y for _, y in points_read], zorder=4, **sign)
    seen = [y for _, y in read] + [y for _, band in curve for y in (band.low, band.high)] + [0.0]
    room = 0.12 * (max(seen) - min(seen)) or 1.0
    axes.set_ylim(min(seen) - room, max(seen) + room)
    axes.set_xlim(min([low, *(x for x, _ in read)]) - 2.0, max([high, *(x for x, _ in read)]) + 2.0)
    axes.fill_between(axes.get_xlim(), axes.get_ylim()[0], 0.0, **HATCH)
    axes.axhline(0.0, **LIMIT)
    for x in (low, mains.voltage_v, high):
        axes.axvline(x, color=GREY, linestyle=":", linewidth=0.8)
    axes.set_title(f"Rail {plain(rail.name, 34)}")
    axes.set_xlabel("mains [V]")
    axes.set_ylabel("headroom [V]")
    axes.grid(visible=True)
    if not curve:
        style.said_in(axes, "not computed: the sheet says too little")
    return _words(rail, curve, together or alone)


def _words(rail: Rail, curve: list[tuple[float, Band]], read: list[tuple[float, float]]) -> str:
    parts = []
    if curve:
        (low_v, low), (high_v, high) = curve[0], curve[-1]
        parts.append(
            f"expected {show(low.value, 'V', decimals=1)} at {show(low_v, 'V')} mains, "
            f"{show(high.value, 'V', decimals=1)} at {show(high_v, 'V')}"
        )
    parts += [f"from readings {show(y, 'V', decimals=1)} at {show(x, 'V')}" for x, y in read[:2]]
    return f"Rail {rail.name}: headroom {'; '.join(parts)}."
