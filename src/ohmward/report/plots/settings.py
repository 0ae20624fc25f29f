"""What matplotlib is told before it draws: the same on every machine, whatever a person has set."""

from __future__ import annotations

from functools import cache
from typing import Any

# Families that fill in what DejaVu Sans lacks, where a machine has them; the shapes of all else stay.
_FURTHER = (
    "Noto Sans CJK SC", "Noto Sans CJK JP", "Noto Sans CJK KR", "WenQuanYi Zen Hei", "Droid Sans Fallback",
    "Noto Sans Thai", "Noto Sans Devanagari", "Noto Sans Bengali", "Noto Sans Tamil", "Noto Sans", "Unifont",
)  # fmt: skip


def settings(body_pt: float, small_pt: float, rule: str) -> dict[str, Any]:
    """Return them for these type sizes, with grids in the colour `rule`."""
    return {
        "font.family": families(),
        "font.size": body_pt,
        "axes.titlesize": body_pt,
        "axes.titleweight": "bold",
        "axes.titlelocation": "left",
        "axes.titlepad": 3.0,
        "axes.titley": 1.0,  # where it stands anyhow; left out, each drawing looks for it anew
        "axes.labelsize": body_pt,
        "axes.labelpad": 2.0,
        "axes.linewidth": 0.6,
        "axes.formatter.useoffset": False,
        "axes.formatter.limits": (-5, 6),
        "axes.axisbelow": True,
        "xtick.labelsize": small_pt,
        "ytick.labelsize": small_pt,
        "xtick.major.width": 0.6,
        "ytick.major.width": 0.6,
        "xtick.major.size": 2.5,
        "ytick.major.size": 2.5,
        "xtick.major.pad": 2.0,
        "ytick.major.pad": 2.0,
        "legend.fontsize": small_pt,
        "legend.frameon": False,
        "lines.linewidth": 1.0,
        "lines.markersize": 3.6,
        "errorbar.capsize": 1.8,
        "hatch.linewidth": 0.5,
        "grid.linewidth": 0.4,
        "grid.color": rule,
        "text.parse_math": False,
        "svg.hashsalt": "ohmward",
        "svg.fonttype": "path",
        "pdf.fonttype": 42,
    }


@cache
def families() -> list[str]:
    """Return the font families to draw with, the first that has a letter first."""
    from matplotlib.font_manager import fontManager

    there = {font.name for font in fontManager.ttflist}
    return ["DejaVu Sans", *(name for name in _FURTHER if name in there)]
