"""Where the ± of a reading comes from, as lines with a bar for the share of each part."""

from __future__ import annotations

from ohmward.desk.readings import reading_text
from ohmward.errors import InputError
from ohmward.quantity import show
from ohmward.run.budget import ReadingBudget, budget_of
from ohmward.run.state import RunState
from ohmward.text import one_line

WIDTH = 12
MANY = 200.0
"""Degrees of freedom beyond which their number tells nothing more."""


def budget_heading(found: ReadingBudget) -> str:
    """Return what the reading is, and its ±."""
    where = f"{found.item.title}: {found.item.subject}" if found.item.subject else found.item.title
    return one_line(f"Where the uncertainty comes from: {where}")


def budget_lines(found: ReadingBudget) -> list[str]:
    """Return the parts of an uncertainty, the largest first, and how they come together."""
    reading, combined = found.reading, found.combined
    unit = reading.value.unit
    lines = [f"Read: {reading_text(reading)}"]
    if one_line(reading.value.raw) != reading_text(reading):
        lines[0] += f", from '{one_line(reading.value.raw)}'"
    if reading.count > 1 and reading.standard_deviation is not None:
        spread = show(reading.standard_deviation, unit)
        lines[0] += f", mean of {reading.count}, standard deviation {spread}"
    if reading.meter:
        specification = f", accuracy {one_line(found.accuracy)}" if found.accuracy else ""
        lines.append(f"Meter: {one_line(reading.meter)}{specification}")
    if found.parts:
        made = " + ".join(f"{one_line(words)} = {_two(part, unit)}" for words, part in found.parts)
        within = _two(sum(part for _, part in found.parts), unit)
        lines.append(f"At this reading: {made}, so within ±{within}, anywhere in it as likely: ÷ √3")
    if combined is None:
        return [*lines, *(f"Not stated: {one_line(note)}." for note in found.notes)]
    lines.append("Its parts, as standard uncertainties, with the share of each:")
    rows = sorted(combined.budget(), key=lambda row: -row.share_pct)
    widest = max((len(one_line(row.name)) for row in rows), default=0)
    for row in rows:
        filled = round(row.share_pct / 100.0 * WIDTH)
        bar = "█" * filled + "·" * (WIDTH - filled)
        name = one_line(row.name).ljust(min(widest, 34))
        lines.append(f"{name}  {bar} {row.share_pct:3.0f} %  {_two(row.contribution, unit)}")
    few = "" if combined.dof > MANY else f", {combined.dof:.0f} degrees of freedom"
    lines += [
        f"Together (root of the sum of squares): {_two(combined.standard, unit)}{few}",
        f"Times {combined.coverage_factor:.2f}: ±{_two(combined.expanded, unit)}, which holds the true value "
        f"in about {100 * combined.level:.0f} of 100 such readings",
    ]
    if reading.value.kind != "exact":
        lines.append("It is known only to lie beyond what the meter can show; the ± is of that end.")
    elif reading.judged.net is not None:
        net = show(reading.judged.net, unit, uncertainty=combined.expanded)
        lines.append(f"Result: {net} ± {_two(combined.expanded, unit)}{_room(found)}")
    return [*lines, *(f"Note: {one_line(note)}." for note in found.notes)]


def budget_told(state: RunState, step: str, subject: str) -> tuple[str, list[str]]:
    """Return heading and lines for a reading of a run; where it has no budget, why."""
    try:
        found = budget_of(state, step, subject)
    except InputError as error:
        return "Where the uncertainty comes from", [mistake.why + "." for mistake in error.mistakes]
    return budget_heading(found), budget_lines(found)


def _room(found: ReadingBudget) -> str:
    """Return how far the nearest limit is, in words; empty where there is none."""
    judged, unit = found.reading.judged, found.reading.value.unit
    edges = [edge for edge in (judged.limit_low, judged.limit_high) if edge is not None]
    if judged.net is None or not edges:
        return ""
    return f"; its nearest limit is {show(min(abs(judged.net - edge) for edge in edges), unit)} away"


def _two(value: float, unit: str) -> str:
    """An uncertainty with two figures (JCGM 100:2008, 7.2.6)."""
    return show(value, unit, uncertainty=value or None)
