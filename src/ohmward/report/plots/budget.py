"""Where the uncertainty of a reading comes from: its budget, part by part."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ohmward.analysis.reading_budget import budget_of_reading
from ohmward.logbook.events import Reading
from ohmward.quantity import show
from ohmward.report.plots import style
from ohmward.report.plots.marks import LIMIT, key_patch
from ohmward.report.plots.material import Material
from ohmward.report.plots.positions import about
from ohmward.report.plots.style import (
    BLACK,
    BLUE,
    GREEN,
    GREY,
    ORANGE,
    PALE,
    SKY,
    NothingToShow,
    Picture,
    Width,
    inks,
    plain,
    scale_of,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ohmward.analysis.uncertainty import Combined
    from ohmward.procedure.model import Item

MOST = 14
_FARTHEST = 2.0
"""Shares beyond are drawn there, with an arrow."""
_MEND = "Name the meter with the reading, and its accuracy in meters.toml"
_FILLS = (SKY, "white", ORANGE, PALE, GREEN)
_HATCHES = ("", "////", "\\\\\\\\", "....", "xxxx")
_WORDS = {
    "rectangular": "anything within its span as likely",
    "normal": "bell-shaped",
    "student": "few readings",
    "triangular": "triangular",
    "u-shaped": "U-shaped",
    "trapezoidal": "trapezoidal",
}


def budget(material: Material, which: str = "", *, width: Width = "full") -> Picture:
    """Draw where the uncertainty of one reading comes from, or of those that it matters most for.

    Of one reading: its budget, part by part. Of several: each expanded uncertainty as a share of the
    way to the nearest limit, divided by the parts' shares of the variance; from 100 % on the verdict
    is conditional.

    Parameters
    ----------
    material : Material
        Its meters have to be given.
    which : str
        ``step/subject`` of one reading; those nearest to a limit in their own uncertainties when left out.

    Raises
    ------
    NothingToShow
        When no reading has a stated uncertainty, or that one has not.
    """
    if not which:
        return _several(material, width)
    item = _named(material, which)
    found = None if item is None else _combined(material, item)
    if item is None or found is None:
        raise NothingToShow(
            f"run {material.facts.run}: what the uncertainty of '{which}' is made of is not known. {_MEND}"
            if item is not None
            else f"run {material.facts.run}: there is no reading '{which}'. Name it as step/subject, as in "
            "'ohmward assess --json'"
        )
    name = f"{item.title}: {item.subject}" if item.subject else item.title
    unit = item.read.unit if item.read else ""
    title = f"where the uncertainty comes from, {plain(name, 60)}"
    with inks():
        figure = style.new_figure()
        _draw_one(figure.subplots(), found, unit, width)
        style.composed(
            figure,
            width=width,
            body_mm=12.0 + 8.0 * (len(found.components) + 2),
            title=material.title(title),
            foot=(material.foot(), _sentence(material, item, found, unit)),
            simulated=material.simulated,
        )
    return Picture(
        name="budget",
        title=title[0].upper() + title[1:],
        words=f"{_sentence(material, item, found, unit)} {_parts(found, unit)} {material.foot()}",
        figure=figure,
    )


def _several(material: Material, width: Width) -> Picture:
    ranked = _ranked(material)
    if not ranked:
        raise NothingToShow(
            f"run {material.facts.run}: no reading with a limit has a stated uncertainty. {_MEND}"
        )
    names = list(dict.fromkeys(part.name for each in ranked for part in each.found.components))
    title = "how much of the way to its limit each reading is unsure of"
    with inks():
        figure = style.new_figure()
        _draw_several(figure.subplots(), ranked, names, width)
        style.composed(
            figure,
            width=width,
            body_mm=12.0 + 5.2 * len(ranked),
            title=material.title(title),
            key=[key_patch(_paint(number), plain(name, 40)) for number, name in enumerate(names)],
            foot=(
                material.foot(),
                "Bar: expanded uncertainty; its parts by their share of the variance. From 100 % on the "
                f"verdict is conditional. Of each step the reading nearest to a limit, {len(ranked)} in all.",
            ),
            simulated=material.simulated,
        )
    told = [
        f"{each.name}: {each.words}, {100 * each.share:.0f} % of the way to its limit." for each in ranked
    ]
    return Picture(
        name="budget",
        title=title[0].upper() + title[1:],
        words=" ".join([*told, material.foot()]),
        figure=figure,
    )


@dataclass(frozen=True, kw_only=True)
class _Unsure:
    """A reading with its uncertainty, and how much of the way to the nearest limit that is."""

    title: str
    subject: str
    words: str
    found: Combined
    share: float

    @property
    def name(self) -> str:
        return f"{self.title}, {self.subject}" if self.subject else self.title


def _ranked(material: Material) -> list[_Unsure]:
    """Return the readings that are least sure of their verdict, of each step and subject the worst."""
    rows = {(row.step, row.subject): row for row in material.assessment.readings}
    best: dict[tuple[str, str], _Unsure] = {}
    for item in material.facts.items:
        row = rows.get(item.key)
        if row is None or row.stale or row.net is None or not row.uncertainty or row.raw.lstrip()[:1] in "<>":
            continue
        edges = [edge for edge in (row.limit_low, row.limit_high) if edge is not None]
        found = _combined(material, item) if edges else None
        if found is None:
            continue
        gap = min(abs(row.net - edge) for edge in edges)
        share = row.uncertainty / gap if gap > 0.0 else math.inf
        value = f"{show(row.net, row.unit, uncertainty=row.uncertainty)} ± "
        value += show(row.uncertainty, row.unit, uncertainty=row.uncertainty)
        each = _Unsure(title=row.title, subject=row.subject, words=value, found=found, share=share)
        key = (row.title, about(row.subject))
        if key not in best or share > best[key].share:
            best[key] = each
    return sorted(best.values(), key=lambda each: -each.share)[:MOST]


def _draw_several(axes: Axes, ranked: Sequence[_Unsure], names: Sequence[str], width: Width) -> None:
    most = max(min(each.share, _FARTHEST) for each in ranked)
    end = 100.0 * max(1.1, most * 1.05) if most > 0.35 else 100.0 * most * 1.15
    room, room_mm = (1.5, 58.0) if width == "full" else (1.9, 34.0)
    for y, each in enumerate(ranked):
        left, whole = 0.0, 100.0 * min(each.share, _FARTHEST)
        for row in each.found.budget():
            part = whole * row.share_pct / 100.0
            axes.barh(y, part, left=left, height=0.66, **_paint(names.index(row.name)))
            left += part
        more = "" if each.share <= _FARTHEST else "→ "
        _label(axes, y, whole, f"{more}{each.words}")
    axes.set_yticks(
        range(len(ranked)),
        [style.named(each.title, each.subject, room_mm, style.wide_mm) for each in ranked],
    )
    axes.invert_yaxis()
    axes.set_xlim(0.0, end * room)
    if end >= 100.0:
        axes.axvline(100.0, **LIMIT)
    axes.set_xlabel("uncertainty / way to the limit [%]")
    axes.grid(visible=True, axis="x")


def _paint(number: int) -> dict[str, Any]:
    """Return how a part is filled: colour and hatching differ both."""
    return {
        "facecolor": _FILLS[number % len(_FILLS)],
        "edgecolor": BLACK,
        "linewidth": 0.7,
        "hatch": _HATCHES[number % len(_HATCHES)],
    }


def _named(material: Material, which: str) -> Item | None:
    for item in material.facts.items:
        if which in (f"{item.step}/{item.subject}", item.step if not item.subject else None):
            return item
    return None


def _combined(material: Material, item: Item) -> Combined | None:
    """Return the uncertainty as it was judged, with its parts; None where they are not known.

    That is so where the meter's accuracy is not stated, and where the null was taken again since: what
    was recorded stays what it was, and is not told from another.
    """
    reading = material.facts.reading(item)
    if reading is None or item.read is None or reading.judged.uncertainty is None:
        return None
    null = None
    if item.read.subtract:
        entry = material.facts.entries.get((item.read.subtract, ""))
        null = entry.event if entry is not None and isinstance(entry.event, Reading) else None
    found = budget_of_reading(reading, item, null, material.meters)
    same = found is not None and math.isclose(found.expanded, reading.judged.uncertainty, rel_tol=5e-3)
    return found if same else None


def _draw_one(axes: Axes, found: Combined, unit: str, width: Width) -> None:
    rows = found.budget()
    factor, shown = scale_of(found.expanded, unit)
    for y, row in enumerate(rows):
        axes.barh(y, row.contribution * factor, height=0.62, **_paint(y))
        _label(axes, y, row.contribution * factor, f"{row.share_pct:.0f} % of the whole")
    count = len(rows)
    axes.barh(count, found.standard * factor, height=0.62, facecolor="white", edgecolor=BLUE, linewidth=1.2)
    axes.barh(count + 1, found.expanded * factor, height=0.62, facecolor=BLUE, edgecolor=BLACK, linewidth=0.7)
    _label(axes, count, found.standard * factor, show(found.standard, unit, uncertainty=found.standard))
    k = f"k = {found.coverage_factor:.2f}"
    _label(
        axes,
        count + 1,
        found.expanded * factor,
        f"± {show(found.expanded, unit, uncertainty=found.expanded)}, {k}",
    )
    names = [f"{plain(row.name, 34)}\n{_WORDS[row.distribution]}" for row in rows]
    axes.set_yticks(
        range(count + 2), [*names, "all together\n(root of the sum of squares)", "expanded\n(95 %)"]
    )
    axes.invert_yaxis()
    axes.set_xlim(0.0, found.expanded * factor * (1.45 if width == "full" else 1.9))
    axes.set_xlabel(f"standard uncertainty [{shown}]")
    axes.grid(visible=True, axis="x")


def _label(axes: Axes, y: float, x: float, text: str) -> None:
    white = {"facecolor": "white", "edgecolor": "none", "pad": 0.8}
    axes.annotate(text, (x, y), xytext=(3.0, 0.0), textcoords="offset points", va="center", color=GREY,
                  fontsize=style.SMALL_PT, bbox=white)  # fmt: skip


def _sentence(material: Material, item: Item, found: Combined, unit: str) -> str:
    reading = material.facts.reading(item)
    net = reading.judged.net if reading is not None else None
    value = "" if net is None else f"{show(net, unit, uncertainty=found.expanded)} "
    dof = "" if math.isinf(found.dof) else f", {found.dof:.0f} effective degrees of freedom"
    spread = show(found.expanded, unit, uncertainty=found.expanded)
    text = f"Reading: {value}± {spread} (k = {found.coverage_factor:.2f}{dof})."
    if net is None or item.limit is None:
        return text
    limit = item.limit
    edges = [edge for edge in (limit.low, limit.high) if edge is not None]
    gap = min(abs(net - edge) for edge in edges)
    return f"{text} Its nearest limit is {show(gap, unit)} away."


def _parts(found: Combined, unit: str) -> str:
    told = [
        f"{row.name} {show(row.contribution, unit, uncertainty=row.contribution)} ({row.share_pct:.0f} %)"
        for row in found.budget()
    ]
    return f"Standard uncertainties: {', '.join(told)}."
