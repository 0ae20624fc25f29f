"""Every reading as its position between its limits: -1 and +1 are the limits, whatever the unit.

With two limits 0 is half way between them. With an upper limit alone 0 is nothing at all and +1 the
limit; with a lower limit alone -1 is the limit, and the reading goes towards 0 as it gets better:
-limit / reading. A temperature counts from 0 °C.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ohmward.analysis.rows import ReadingRow

if TYPE_CHECKING:
    from ohmward.report.plots.material import Material

SCALE = ((-1.0, "lower\nlimit"), (0.0, "well\nclear"), (1.0, "upper\nlimit"))
"""What stands at the positions: the middle is as far from every limit as a reading can be."""
SCALE_WORDS = (
    "Middle: half-way between two limits; with an upper limit alone, nothing at all; with a lower limit "
    "alone, far above it."
)
FARTHEST = 1.6
"""Positions beyond are drawn there, with an arrow."""


def position(value: float, low: float | None, high: float | None) -> float | None:
    """Return where a value lies between its limits; None without a limit, or where it has no meaning."""
    if low is not None and high is not None:
        half = (high - low) / 2.0
        return (value - (low + half)) / half if half > 0.0 else None
    if high is not None:
        return _upper(value, high)
    if low is not None:
        if low > 0.0:
            return -low / value if value > 0.0 else -FARTHEST * 10.0
        mirrored = _upper(-value, -low)
        return None if mirrored is None else -mirrored
    return None


def _upper(value: float, high: float) -> float | None:
    """Return where a value lies below an upper limit: 1 at it, and not below 0 however far from it."""
    if high == 0.0:
        return None
    return max(value / high if high > 0.0 else 1.0 + (value - high) / abs(high), 0.0)


@dataclass(frozen=True, kw_only=True)
class Spot:
    """One reading at its place."""

    row: ReadingRow
    at: float
    low: float
    high: float
    """With the uncertainty either way; both `at` where it is not stated."""
    bound: bool
    """It is known only to lie beyond its number."""


@dataclass(frozen=True, kw_only=True)
class Line:
    """Readings of one step about one thing, drawn in one line."""

    stage: str
    title: str
    subject: str
    spots: tuple[Spot, ...] = ()
    missing: int = 0
    """Required readings with a limit that are not there, or do not count any more."""

    @property
    def key(self) -> tuple[str, str, str]:
        """What it is of."""
        return self.stage, self.title, self.subject

    @property
    def label(self) -> str:
        """Return its name."""
        return f"{self.title}: {self.subject}" if self.subject else self.title

    @property
    def worst(self) -> Spot | None:
        """The spot nearest to a limit, or farthest past it."""
        return max(self.spots, key=lambda spot: (spot.row.failed, abs(spot.at)), default=None)


def spot_of(row: ReadingRow) -> Spot | None:
    """Return a reading at its place; None where it has no limit or no number."""
    if row.net is None:
        return None
    low_limit = row.limit_low or None  # nothing is nearer to a limit for being nearer to zero
    at = position(row.net, low_limit, row.limit_high)
    if at is None:
        return None
    u = row.uncertainty or 0.0
    ends = [position(row.net + each, low_limit, row.limit_high) for each in (-u, u)]
    known = [end for end in ends if end is not None] or [at]
    return Spot(row=row, at=at, low=min(at, *known), high=max(at, *known), bound=row.raw.lstrip()[:1] in "<>")


def about(subject: str) -> str:
    """Return what a reading is of, without the load point or the time."""
    return subject.partition(" @ ")[0]


def lines(material: Material) -> list[Line]:
    """Return the readings of a run in the order of the procedure; those not done as lines without spots."""
    rows = {(row.step, row.subject): row for row in material.assessment.readings}
    missing = {(row.step, row.subject) for row in material.assessment.missing}
    found: dict[tuple[str, str, str], Line] = {}
    for item in material.facts.items:
        if item.read is None:
            continue
        row = rows.get(item.key)
        spot = spot_of(row) if row is not None and not row.stale else None
        lacks = spot is None and item.limit is not None and item.key in missing
        if spot is None and not lacks:
            continue
        line = Line(stage=item.stage, title=item.title, subject=about(item.subject))
        line = found.get(line.key, line)
        found[line.key] = Line(
            stage=line.stage,
            title=line.title,
            subject=line.subject,
            spots=line.spots if spot is None else (*line.spots, spot),
            missing=line.missing + lacks,
        )
    return list(found.values())
