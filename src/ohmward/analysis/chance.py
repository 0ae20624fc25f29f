"""Readings within their limits that are not what the design predicts: a few are chance, a far one never is.

The readings of one curve (a sweep of a rail, a sensor through a soak) are not independent of each other: all
of them together are one.
"""

from __future__ import annotations

from collections.abc import Iterator

from ohmward.analysis.decision import NORMAL_95
from ohmward.analysis.rows import Assessment, ReadingRow
from ohmward.analysis.wording import sentence, titled
from ohmward.text import plural

SOUND = 0.9
"""Probability of no fault from which readings beyond their own bands are put down to chance."""
ABSURD = 4.0
"""Standard deviations from what is predicted from which a reading is not chance. Of a normal distribution a
share of 6.3e-5 lies beyond (tables of it, from memory): among a hundred readings less than one run in a
hundred has such a one; and tolerances end sooner than a normal distribution does."""
TOO_HOT = (
    "usual reasons: a dry interface under the sensor, a sink or transformer smaller than listed, more heat "
    "than computed, blocked vents, hotter air around it"
)
Curve = tuple[str, str]
"""Title of a step, and what its readings are of."""


def far_out(assessment: Assessment) -> tuple[ReadingRow, ...]:
    """Return the readings that pass and are so far from what is predicted that chance does not do it."""
    rows = (row for row in assessment.readings if not row.stale and not row.failed)
    return tuple(row for row in rows if row.as_expected is False and distance(row) > ABSURD)


def distance(row: ReadingRow) -> float:
    """Return how far a reading is from what was predicted, in standard deviations of band and meter."""
    value, low, high = row.expected_value, row.expected_low, row.expected_high
    if row.net is None or value is None or low is None or high is None:
        return 0.0
    side = high - value if row.net > value else value - low
    # what is predicted may lie at the edge of its band
    spread = max(side, (high - low) / 4.0) / NORMAL_95
    both = float((spread**2 + ((row.uncertainty or 0.0) / 2.0) ** 2) ** 0.5)
    return abs(row.net - value) / max(both, 1e-12)


def unexpected(assessment: Assessment, watch: str) -> Iterator[str]:
    """Yield a line on each curve with a reading that is unexpected or near its limit; chance takes one line.

    `watch` begins what is to be watched. Where all readings together say that nothing is wrong, a few beyond
    their own bands are what chance does.
    """
    watched: dict[Curve, list[ReadingRow]] = {}
    chance: dict[Curve, list[ReadingRow]] = {}
    sound = _sound(assessment)
    far = {curve(row) for row in far_out(assessment)}
    for row in assessment.readings:
        if row.stale or row.failed:
            continue
        unlike = row.as_expected is False
        if row.verdict == "conditional pass" or (unlike and (not sound or curve(row) in far)):
            watched.setdefault(curve(row), []).append(row)
        elif unlike:
            chance.setdefault(curve(row), []).append(row)
    for (title, about), rows in watched.items():
        worst = max(rows, key=distance)
        others = f" (the worst of {len(rows)})" if len(rows) > 1 else ""
        where = titled(title, worst.subject if about else "")
        yield f"{watch}: {where}{others}: {sentence(worst.note)}{_why(worst, sound=sound)}"
    if chance:
        yield _by_chance(assessment, chance)


def _why(row: ReadingRow, *, sound: bool) -> str:
    """Return what a far reading means where no cause is told for it."""
    if not sound or distance(row) <= ABSURD:
        return ""
    hot = row.unit == "°C" and row.net is not None and row.net > (row.expected_high or row.net)
    return f" Chance does not do that{f'; {TOO_HOT}' if hot else ''}."


def _by_chance(assessment: Assessment, chance: dict[Curve, list[ReadingRow]]) -> str:
    compared = [row for row in assessment.readings if row.as_expected is not None and not row.stale]
    curves = {curve(row) for row in compared}
    beyond = [row for rows in chance.values() for row in rows]
    worst = max(beyond, key=distance)
    once = (
        f" ({len(chance)} of {len(curves)} with those of a sweep or a soak taken as one)"
        if len(curves) < len(compared)
        else ""
    )
    return (
        f"By chance: {len(beyond)} of {plural(len(compared), 'reading')}{once} beyond the band that 95 % of "
        f"sound units meet, as a few are; the farthest is {titled(worst.title, worst.subject)}."
    )


def curve(row: ReadingRow) -> Curve:
    """Return what a reading has in common with the others of its sweep or soak."""
    return row.title, row.subject.partition(" @ ")[0]


def _sound(assessment: Assessment) -> bool:
    """Whether all readings together were weighed, and say that nothing is wrong."""
    first = assessment.causes[0] if assessment.causes else None
    return first is not None and first.fault == "healthy" and first.fits and first.probability >= SOUND
