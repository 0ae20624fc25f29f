"""Panels of one line a reading: its name at the left, its value at the right, in millimetres."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from ohmward.report.plots import style
from ohmward.report.plots.marks import Sign
from ohmward.report.plots.style import GREY, Width, cut, wide_mm

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Margins = dict[Width, tuple[float, float]]
"""Room at the left for names and at the right for values [mm]."""


def panel(
    figure: Figure, width: Width, margins: Margins, *, top_mm: float, height_mm: float, body_mm: float
) -> Axes:
    """Return a panel within the body of a figure, which is `body_mm` high.

    Parameters
    ----------
    top_mm : float
        Its upper edge, from the bottom of the body.
    height_mm : float
        Of the panel itself, without its scale.
    """
    whole = style.WIDTH_MM[width]
    left, right = margins[width]
    bottom = (top_mm - height_mm) / body_mm
    return figure.add_axes((left / whole, bottom, 1.0 - (left + right) / whole, height_mm / body_mm))


def write(
    axes: Axes,
    y: float,
    name: tuple[str, str],
    value: str = "",
    *,
    width: Width,
    margins: Margins,
    colour: str = GREY,
    bold: bool = False,
) -> None:
    """Write the name of a line, a title and what it is of, and its value; both are cut to fit."""
    left, right = margins[width]
    panel_mm = style.WIDTH_MM[width] - left - right
    heavy = bold and not value
    text = style.named(*name, left - 3.0, partial(wide_mm, bold=heavy))
    weight, heading = "bold" if bold else "normal", "bold" if heavy else "normal"
    usual: Sign = {"transform": axes.get_yaxis_transform(), "va": "center", "fontsize": style.SMALL_PT}
    axes.text(-2.0 / panel_mm, y, text, ha="right", fontweight=heading, **usual)
    if value:
        shown = cut(value, right - 2.0, partial(wide_mm, bold=bold))
        axes.text(1.0 + 1.5 / panel_mm, y, shown, ha="left", color=colour, fontweight=weight, **usual)


def arrow(axes: Axes, y: float, start: float, end: float) -> None:
    """Draw a small arrow along a line: the true value lies that way."""
    shape = {"arrowstyle": "->", "linewidth": 0.8, "mutation_scale": 6, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", (end, y), (start, y), annotation_clip=False, zorder=3, arrowprops=shape)
