"""Two runs beside each other: what moved, and whether it is a change or two meters that disagree.

What a change is, and what is scaled before it is looked at, is `analysis.history_change`'s to say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ohmward.analysis.history_change import Change
from ohmward.analysis.history_facts import PastRun
from ohmward.analysis.outcomes import outcome_called
from ohmward.quantity import show
from ohmward.quantity.value import Kind
from ohmward.report.plots import beside, style
from ohmward.report.plots.marks import HATCH, LIMIT, Sign, key_line
from ohmward.report.plots.positions import FARTHEST, SCALE, SCALE_WORDS, position
from ohmward.report.plots.style import BLACK, GREY, PALE, NothingToShow, Picture, Width, inks
from ohmward.text import plural

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LINE_MM = 3.3
_MARGINS: beside.Margins = {"full": (66.0, 38.0), "column": (30.0, 29.0)}
MOST = 40
"""Readings shown: those that moved most."""
MOST_TOLD = 4
"""Changes of what has no limit, named below the picture."""
_BOUNDS = {"above": "> ", "below": "< "}

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
    """A reading of both runs at its positions between the limits of the later one."""

    change: Change
    before: float
    after: float

    @property
    def shift(self) -> float:
        """How far it moved between its limits."""
        return self.after - self.before

    @property
    def surely(self) -> bool:
        """Whether it is told as a change."""
        return self.change.verdict == "changed"

    @property
    def words(self) -> str:
        """Return 'before → after'."""
        return _moved(self.change)


def compare(now: PastRun, then: PastRun, found: Sequence[Change], *, width: Width = "full") -> Picture:
    """Draw the readings that two runs have in common, each at its position between its limits then and now.

    The limits are those of the later run. The readings that moved most are drawn, the farthest first.

    Parameters
    ----------
    now, then : PastRun
        The later run and the earlier.
    found : sequence of Change
        `history_change.changes` of them.
    width : {"column", "full"}

    Raises
    ------
    NothingToShow
        When the runs have no reading with a limit in common.
    """
    pairs = _pairs(now, found)
    if not pairs:
        raise NothingToShow(f"runs {then.run} and {now.run}: no reading with a limit stands in both of them")
    ranked = sorted(pairs, key=lambda pair: -abs(pair.shift))
    shown = ranked[:MOST]
    title = "what moved between two runs"
    tags = now.tag if now.tag == then.tag else f"{then.tag}, {now.tag}"
    others = _without_limit(pairs, found)
    with inks():
        figure = style.new_figure()
        _draw(_axes(figure, width, len(shown)), shown, width)
        style.composed(
            figure,
            width=width,
            body_mm=9.0 + LINE_MM * len(shown),
            title=f"{tags}: {title}",
            key=(
                key_line(_BEFORE, "before"),
                key_line(_AFTER, "after"),
                key_line(_MOVED, "a change: more than the meters allow"),
                key_line(_STILL, "no more than that, or not told"),
            ),
            foot=(
                f"Before: {_ended(then)}",
                f"After: {_ended(now)}",
                _counts(ranked, shown),
                others,
                f"Limits of the later run. {SCALE_WORDS}",
            ),
            simulated=now.simulated or then.simulated,
            layout=False,
        )
    return Picture(
        name="compare",
        title=title[0].upper() + title[1:],
        words=_words(now, then, ranked, others),
        figure=figure,
    )


def _pairs(now: PastRun, found: Sequence[Change]) -> list[_Pair]:
    pairs = []
    for change in found:
        reading = now.reading(change.key)
        if reading is None or change.now is None or change.then is None or change.verdict == "not comparable":
            continue
        # at the later run's limits, so that a changed limit does not look like a changed supply
        ends = [position(value, reading.limit_low, reading.limit_high) for value in (change.then, change.now)]
        if ends[0] is not None and ends[1] is not None:
            pairs.append(_Pair(change=change, before=ends[0], after=ends[1]))
    return pairs


def _ended(run: PastRun) -> str:
    """Return which run it is, and how it ended: no picture of a failed run may pass for a good one."""
    if not run.records:  # its values alone were carried along by the later one
        return f"run {run.run}, as the later one carries it along."
    if not run.closed:
        return f"run {run.run}: NOT CLOSED, no verdict."
    return f"run {run.run}: {outcome_called(run.verdict, likely=bool(run.likely_fault))}."


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
    axes.set_xticks([x for x, _ in SCALE], [text for _, text in SCALE])
    for y, pair in enumerate(pairs):
        ends = [min(max(at, -FARTHEST), FARTHEST) for at in (pair.before, pair.after)]
        axes.axhline(y, color=PALE, linewidth=0.4, zorder=1)
        axes.plot(ends, [y, y], zorder=3, **(_MOVED if pair.surely else _STILL))
        axes.plot(ends[:1], [y], zorder=4, clip_on=False, **_BEFORE)
        axes.plot(ends[1:], [y], zorder=5, clip_on=False, **_AFTER)
        beside.write(axes, y, (pair.change.title, pair.change.subject), pair.words, width=width,
                     margins=_MARGINS, colour=BLACK if pair.surely else GREY)  # fmt: skip


def _moved(change: Change) -> str:
    then, now = _value(change, change.then, change.then_kind), _value(change, change.now, change.now_kind)
    return f"{then} → {now}"


def _value(change: Change, value: float | None, kind: Kind) -> str:
    if value is None:
        return "–"
    return _BOUNDS.get(kind, "") + show(value, change.unit, uncertainty=change.uncertainty)


def _counts(ranked: Sequence[_Pair], shown: Sequence[_Pair]) -> str:
    moved = sum(pair.surely for pair in ranked)
    unknown = sum(pair.change.verdict == "not told" for pair in ranked)
    both = plural(len(ranked), "reading")
    text = f"{both} with a limit in both runs, {moved} changed by more than the meters allow"
    if unknown:
        text += f", {unknown} not told (a bound, or a meter without a stated accuracy)"
    rest = len(ranked) - len(shown)
    return f"{text}; the {len(shown)} that moved most are drawn." if rest else f"{text}."


def _without_limit(pairs: Sequence[_Pair], found: Sequence[Change]) -> str:
    """Return what has changed and has no place in the picture; empty where nothing has."""
    drawn = {pair.change.key for pair in pairs}
    changed = [each for each in found if each.verdict == "changed" and each.key not in drawn]
    named = [f"{_name(each)} {_moved(each)}" for each in changed]
    if len(named) > MOST_TOLD:
        named = [*named[:MOST_TOLD], f"{len(named) - MOST_TOLD} more"]
    return f"Changed too, and without a limit: {'; '.join(named)}." if named else ""


def _name(change: Change) -> str:
    return f"{change.title}, {change.subject}" if change.subject else change.title


def _words(now: PastRun, then: PastRun, ranked: Sequence[_Pair], others: str) -> str:
    parts = [f"Run {now.run} against {then.run}. {_counts(ranked, ranked)}"]
    parts += [f"{_name(pair.change)}: {pair.words}." for pair in ranked[:5]]
    return " ".join(part for part in (*parts, others) if part)
