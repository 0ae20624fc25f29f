"""Two runs of one supply beside each other: what moved, and whether by more than the meters allow."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ohmward.analysis.rows import ReadingRow
from ohmward.quantity import show
from ohmward.report.plots import beside, style
from ohmward.report.plots.marks import HATCH, LIMIT, Sign, key_line
from ohmward.report.plots.material import Material
from ohmward.report.plots.positions import FARTHEST, Spot, spot_of
from ohmward.report.plots.style import BLACK, GREY, PALE, NothingToShow, Picture, Width, inks
from ohmward.text import plural

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LINE_MM = 3.3
_MARGINS: beside.Margins = {"full": (66.0, 38.0), "column": (30.0, 29.0)}
MOST = 40
"""Readings shown: those that moved most."""

_BEFORE: Sign = {
    "marker": "o",
    "color": GREY,
    "markerfacecolor": "white",
    "linestyle": "none",
    "markersize": 4.0,
}
_AFTER: Sign = {"marker": "o", "color": BLACK, "linestyle": "none", "markersize": 4.0}
_MOVED: Sign = {"color": BLACK, "linestyle": "-", "linewidth": 1.4}
_STILL: Sign = {"color": GREY, "linestyle": ":", "linewidth": 1.0}


@dataclass(frozen=True, kw_only=True)
class _Pair:
    before: Spot
    after: Spot

    @property
    def shift(self) -> float:
        """How far it moved between its limits."""
        return self.after.at - self.before.at

    @property
    def surely(self) -> bool | None:
        """Whether by more than both uncertainties together; None where one is not stated."""
        one, two = self.before.row.uncertainty, self.after.row.uncertainty
        if one is None or two is None or self.before.row.net is None or self.after.row.net is None:
            return None
        return abs(self.after.row.net - self.before.row.net) > math.hypot(one, two)


def compare(before: Material, after: Material, *, width: Width = "full") -> Picture:
    """Draw the readings that both runs have, each at its position between its limits then and now.

    The limits are those of the later run. The readings that moved most are drawn, the farthest first.

    Raises
    ------
    NothingToShow
        When the runs have no reading with a limit in common.
    """
    pairs = _pairs(before, after)
    if not pairs:
        raise NothingToShow(
            f"runs {before.facts.run} and {after.facts.run}: no reading with a limit stands in both of them"
        )
    ranked = sorted(pairs, key=lambda pair: -abs(pair.shift))
    shown = ranked[:MOST]
    title = "what moved between two runs"
    with inks():
        figure = style.new_figure()
        _draw(_axes(figure, width, len(shown)), shown, width)
        style.composed(
            figure,
            width=width,
            body_mm=9.0 + LINE_MM * len(shown),
            title=after.title(title),
            key=(
                key_line(_BEFORE, "before"),
                key_line(_AFTER, "after"),
                key_line(_MOVED, "moved by more than both uncertainties"),
                key_line(_STILL, "less than that, or not stated"),
            ),
            foot=(
                f"Before: {before.foot()}",
                f"After: {after.foot()}",
                _counts(ranked, shown),
                "Limits of the later run. At most: the right edge is the limit; at least: the left one.",
            ),
            simulated=before.simulated or after.simulated,
            layout=False,
        )
    return Picture(
        name="compare", title=title[0].upper() + title[1:], words=_words(before, after, ranked), figure=figure
    )


def _pairs(before: Material, after: Material) -> list[_Pair]:
    old = {(row.step, row.subject): row for row in before.assessment.readings if not row.stale}
    found = []
    for row in after.assessment.readings:
        was = old.get((row.step, row.subject))
        if row.stale or was is None or was.net is None or was.unit != row.unit:
            continue
        now = spot_of(row)
        # at the later run's limits, so that a changed limit does not look like a changed supply
        then = spot_of(_at_limits(was, row.limit_low, row.limit_high))
        if now is not None and then is not None and now.row.unit == then.row.unit:
            found.append(_Pair(before=then, after=now))
    return found


def _at_limits(row: ReadingRow, low: float | None, high: float | None) -> ReadingRow:
    import msgspec

    return msgspec.structs.replace(row, limit_low=low, limit_high=high)


def _axes(figure: Figure, width: Width, count: int) -> Axes:
    body = 9.0 + LINE_MM * count
    return beside.panel(figure, width, _MARGINS, top_mm=body - 1.0, height_mm=LINE_MM * count, body_mm=body)


def _draw(axes: Axes, pairs: Sequence[_Pair], width: Width) -> None:
    axes.set_ylim(len(pairs) - 0.5, -0.5)
    axes.set_xlim(-FARTHEST, FARTHEST)
    for side in (-1.0, 1.0):
        axes.fill_betweenx([-0.5, len(pairs) - 0.5], side, side * FARTHEST, **HATCH)
        axes.axvline(side, **LIMIT)
    axes.axvline(0.0, color=PALE, linewidth=0.7)
    axes.set_yticks([])
    axes.set_xticks([-1.0, 0.0, 1.0], ["lower\nlimit", "0", "upper\nlimit"])
    for y, pair in enumerate(pairs):
        ends = [min(max(spot.at, -FARTHEST), FARTHEST) for spot in (pair.before, pair.after)]
        axes.axhline(y, color=PALE, linewidth=0.4, zorder=1)
        axes.plot(ends, [y, y], zorder=3, **(_MOVED if pair.surely else _STILL))
        axes.plot(ends[:1], [y], zorder=4, clip_on=False, **_BEFORE)
        axes.plot(ends[1:], [y], zorder=5, clip_on=False, **_AFTER)
        row = pair.after.row
        beside.write(axes, y, (row.title, row.subject), _change(pair), width=width, margins=_MARGINS,
                     colour=BLACK if pair.surely else GREY)  # fmt: skip


def _change(pair: _Pair) -> str:
    """Return 'before → after'."""
    texts = []
    for spot in (pair.before, pair.after):
        row = spot.row
        value = "" if row.net is None else show(row.net, row.unit, uncertainty=row.uncertainty)
        texts.append(f"{row.raw.lstrip()[:1]} {value}" if spot.bound else value)
    return f"{texts[0]} → {texts[1]}"


def _counts(ranked: Sequence[_Pair], shown: Sequence[_Pair]) -> str:
    moved = sum(pair.surely is True for pair in ranked)
    unknown = sum(pair.surely is None for pair in ranked)
    both = plural(len(ranked), "reading")
    text = f"{both} with a limit in both runs, {moved} moved by more than both uncertainties"
    if unknown:
        text += f", {unknown} without a stated uncertainty"
    rest = len(ranked) - len(shown)
    return f"{text}; the {len(shown)} that moved most are drawn." if rest else f"{text}."


def _words(before: Material, after: Material, ranked: Sequence[_Pair]) -> str:
    parts = [f"Run {after.facts.run} against {before.facts.run}. {_counts(ranked, ranked)}"]
    for pair in ranked[:5]:
        row = pair.after.row
        name = f"{row.title}, {row.subject}" if row.subject else row.title
        parts.append(f"{name}: {_change(pair)}.")
    return " ".join(parts)
