"""The signs that mean the same in every picture: read, expected, limit, fitted, forecast."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal

from ohmward.report.plots.style import BLACK, BLUE, GREEN, GREY, RED, SKY

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

Sign = dict[str, Any]

READ: Sign = {"marker": "o", "color": BLACK, "linestyle": "none"}
TOGETHER: Sign = {"marker": "s", "color": BLACK, "markerfacecolor": "white", "linestyle": "none"}
HOT: Sign = {
    "marker": "^",
    "color": BLACK,
    "markerfacecolor": "white",
    "linestyle": "none",
    "markersize": 4.4,
}
EXPECTED: Sign = {"color": BLUE, "linestyle": (0, (4, 2)), "linewidth": 0.9}
BAND: Sign = {"facecolor": SKY, "alpha": 0.35, "linewidth": 0.0}
LIMIT: Sign = {"color": RED, "linestyle": "-", "linewidth": 1.5}
HATCH: Sign = {"facecolor": "none", "edgecolor": RED, "hatch": "////", "linewidth": 0.0, "alpha": 0.45}
FITTED: Sign = {"color": BLACK, "linestyle": "-", "linewidth": 0.9}
FORECAST: Sign = {"color": GREEN, "linestyle": "-.", "linewidth": 1.1}
ROOM_LINE: Sign = {"color": GREY, "linestyle": ":", "linewidth": 1.1}

BANDED = "expected, with its band"
"""Label of the expected curve and its band in one."""


def forbid(axes: Axes, x: Sequence[float], edge: Sequence[float], side: Literal["above", "below"]) -> None:
    """Hatch what lies beyond a limit, to the end of the axis, and draw the limit itself."""
    low, high = axes.get_ylim()
    end = high if side == "above" else low
    axes.fill_between(x, edge, end, **HATCH)
    axes.plot(x, edge, **LIMIT)
    axes.set_ylim(low, high)


def put(
    axes: Axes, x: Sequence[float], y: Sequence[float], sign: Sign, *, bars: Sequence[float | None] = ()
) -> None:
    """Draw points, with bars where there are any."""
    if not x:
        return
    spread = [bar or 0.0 for bar in bars]
    if any(spread):
        axes.errorbar(x, y, yerr=spread, fmt="none", ecolor=BLACK, elinewidth=0.7, capthick=0.7, zorder=3)
    axes.plot(x, y, zorder=4, **sign)


def key_line(sign: Sign, label: str) -> Artist:
    """Return an example of a line or point for the key."""
    from matplotlib.lines import Line2D

    return Line2D([], [], label=label, **sign)


def key_patch(sign: Sign, label: str) -> Artist:
    """Return an example of an area for the key."""
    from matplotlib.patches import Patch

    return Patch(label=label, **sign)


def key_banded(label: str = BANDED) -> Artist:
    """Return an example of a band with its middle: the band, as a key has room for one of them."""
    from matplotlib.patches import Patch

    return Patch(label=label, facecolor=SKY, alpha=0.6, edgecolor=BLUE, linestyle=(0, (4, 2)), linewidth=0.9)
