"""Drawing a picture with the plot widget; imported only when a plot is shown (it brings numpy along)."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import cycle

from textual.containers import Vertical
from textual_plot import HiResMode, NumericAxisFormatter, PlotWidget

from ohmward.desk.picture import MARKS, Picture, Series, marked, thinned

LINES = 5
"""Colours of lines of readings, by the names ``plot-0`` on in the theme."""


class _AsAsked(NumericAxisFormatter):
    """Labels every point asked for to its own digits (0.12, not 0.1)."""

    def get_labels_for_ticks(self, ticks: Sequence[float]) -> list[str]:
        """Return the labels of `ticks`."""
        return [f"{tick:.4g}" for tick in ticks]


async def plot_in(place: Vertical) -> PlotWidget:
    """Return the plot widget of `place`, made on first use; it never takes the focus."""
    for plot in place.query(PlotWidget):
        return plot
    plot = PlotWidget(allow_pan_and_zoom=False)
    plot.can_focus = False
    plot.set_x_formatter(_AsAsked())
    await place.mount(plot)
    plot.margin_top, plot.margin_bottom, plot.margin_left = 0, 2, 8
    return plot


def draw(plot: PlotWidget, picture: Picture, width: int) -> None:
    """Draw, `width` columns wide: readings as marks and lines, the band as two lines, limits as levels."""
    columns = max(width - 10, 20)
    inks = plot.app.theme_variables
    plot.clear()
    plot.set_xlimits(*picture.x_span)
    plot.set_xticks(marked(picture.x_points, columns))
    plot.set_ylimits(*picture.y_span)
    for line in picture.band:
        _line(plot, line, inks["success"], columns)
    for level in picture.limits:
        _line(plot, Series(name="limit", x=picture.x_span, y=(level, level)), inks["error"], columns)
    for line in picture.forecast:
        _line(plot, line, inks["warning"], columns)
    names = dict.fromkeys(line.name for line in picture.read)
    read = [inks[f"plot-{number}"] for number in range(LINES)]
    looks = dict(zip(names, zip(cycle(read), cycle(MARKS), strict=False), strict=False))
    for line in picture.read:
        style, mark = looks[line.name]
        if len(line.x) > 1 and line.joined:
            _line(plot, line, style, columns)
        ends = slice(None) if line.marks else slice(-1, None)  # a dense line is marked where it stands now
        plot.scatter(list(line.x[ends]), list(line.y[ends]), marker=mark, marker_style=style)


def _line(plot: PlotWidget, line: Series, style: str, columns: int) -> None:
    x, y = thinned(line.x, line.y, columns)
    plot.plot(x, y, line_style=style, hires_mode=HiResMode.BRAILLE)
