"""What is most likely wrong: the causes by probability, each with the readings that decided."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ohmward.analysis.cause_words import left_out_words, percent
from ohmward.report.plots import style
from ohmward.report.plots.marks import Sign
from ohmward.report.plots.material import Material
from ohmward.report.plots.style import BLACK, GREY, PALE, SKY, NothingToShow, Picture, Width, inks, plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ohmward.analysis.rows import Cause

MOST = 6
BECAUSE = 3
_HATCH = {"healthy": "....", "unknown": "xxxx"}
_LINE_MM = style.lines_mm(1)
_BAR_MM = 4.2


def causes(material: Material, *, width: Width = "full") -> Picture:
    """Draw the causes of what was not as it should be, the likeliest first.

    Raises
    ------
    NothingToShow
        When nothing failed and nothing was unexpected, so that no cause was looked for.
    """
    ranked = material.assessment.causes[:MOST]
    if not ranked:
        raise NothingToShow(
            f"run {material.facts.run}: no cause was looked for, because nothing failed and nothing was "
            "unexpected, or too little was read to tell causes apart"
        )
    blocks = [_block(cause, width) for cause in ranked]
    heights = [_BAR_MM + 1.0 + _LINE_MM * len(lines) + 3.0 for _, lines in blocks]
    title = "what is most likely wrong"
    left_out = plain(left_out_words(material.assessment))
    with inks():
        figure = style.new_figure()
        _draw(figure, ranked, blocks, heights, width)
        style.composed(
            figure,
            width=width,
            body_mm=sum(heights) + 2.0,
            title=material.title(title),
            foot=(material.foot(), _left(material), left_out, *_unfit(ranked)),
            simulated=material.simulated,
            layout=False,
        )
    words = " ".join(f"{percent(cause.probability)}: {cause.title}{_because(cause)}." for cause in ranked)
    said = " ".join(each for each in (words, left_out, material.foot()) if each)
    return Picture(name="causes", title=title[0].upper() + title[1:], words=said, figure=figure)


def _block(cause: Cause, width: Width) -> tuple[list[str], list[str]]:
    """Return a cause's title and, in lines that fit, the readings that decided."""
    decided = [f"• {each}" for each in cause.because[:BECAUSE]]
    if len(cause.because) > BECAUSE:
        decided.append(f"and {len(cause.because) - BECAUSE} more")
    lines = [line for each in decided for line in style.wrapped(each, width, share=0.96)]
    title = style.wrapped(cause.title, width, points=style.BODY_PT, bold=True)
    return title, [*title, *lines]


def _draw(
    figure: Figure,
    ranked: Sequence[Cause],
    blocks: Sequence[tuple[list[str], list[str]]],
    heights: Sequence[float],
    width: Width,
) -> None:
    """Draw a bar for each cause, its title above and its readings below it."""
    axes = figure.add_axes((2.0 / style.WIDTH_MM[width], 0.0, 1.0 - 4.0 / style.WIDTH_MM[width], 1.0))
    axes.set_axis_off()
    total = sum(heights) + 2.0
    axes.set_ylim(total, 0.0)
    axes.set_xlim(0.0, 100.0)
    y = 1.0
    scale = 0.84  # the rest of the width is for the number behind the bar
    for cause, (title, lines), height in zip(ranked, blocks, heights, strict=True):
        axes.text(
            0.0, y, "\n".join(title), va="top", fontweight="bold", fontsize=style.BODY_PT, linespacing=1.1
        )
        top = y + _LINE_MM * len(title) * 1.12 + 0.6
        axes.barh(
            top + _BAR_MM / 2, 100.0 * scale, height=_BAR_MM, facecolor="none", edgecolor=PALE, linewidth=0.6
        )
        fill: Sign = {"facecolor": SKY, "edgecolor": BLACK, "linewidth": 0.7}
        hatch = _HATCH.get(cause.fault, "" if cause.fits else "////")
        axes.barh(top + _BAR_MM / 2, 100.0 * scale * cause.probability, height=_BAR_MM, hatch=hatch, **fill)
        axes.text(100.0 * scale + 1.5, top + _BAR_MM / 2, percent(cause.probability), va="center",
                  fontweight="bold", fontsize=style.HEAD_PT)  # fmt: skip
        axes.text(1.5, top + _BAR_MM + 0.7, "\n".join(lines[len(title) :]), va="top", color=GREY,
                  fontsize=style.SMALL_PT, linespacing=1.2)  # fmt: skip
        y += height


def _because(cause: Cause) -> str:
    return f", by {'; '.join(cause.because[:BECAUSE])}" if cause.because else ""


def _left(material: Material) -> str:
    rest = 1.0 - sum(cause.probability for cause in material.assessment.causes[:MOST])
    return f"All else together: {100 * rest:.0f} %." if rest >= 0.005 else ""


def _unfit(ranked: Sequence[Cause]) -> tuple[str, ...]:
    if all(cause.fits for cause in ranked):
        return ()
    return (
        plain(
            "Hatched: even this fits the readings poorly; repeat those that are off before you mend anything."
        ),
    )
