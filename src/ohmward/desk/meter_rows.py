"""The meters of the bench as rows of text: functions of the list, of what a test found, of what is read."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

from ohmward.bench.meters import FUNCTIONS, Meter, is_simulated
from ohmward.bench.survey import Checked, calibration
from ohmward.desk.words import Sign
from ohmward.quantity import show, show_value
from ohmward.taking.deciding import Undecided
from ohmward.taking.live_meter import Lately
from ohmward.text import one_line, plural

NO_RESOURCE = "it has no resource: read its display and type"
NONE_LISTED = "No meter is listed yet: e begins the list, a text editor fills it in."
NONE_REACHED = "None of them has a resource: the tool can reach none, read their displays and type."
HEADINGS = ("meter", "calibration", "connection", "kind", "accuracy", "reached at")
CALIBRATIONS = {
    "in date": Sign("✓", "in date", "good"),
    "overdue": Sign("‼", "OVERDUE", "bad"),
    "no due date": Sign("?", "no due date", "warn"),
    "not stated": Sign("?", "not stated", "warn"),
}
BY_HAND = Sign("–", "read by hand", "quiet")
UNTESTED = Sign("·", "not tested", "quiet")
TESTING = Sign("…", "being tested", "quiet")
WELL = Sign("✓", "answers", "good")
QUEUED = Sign("!", "answers, had errors", "warn")
FAILED = Sign("✗", "CANNOT BE USED", "bad")
NO_LIVE = (
    "An insulation tester puts its test voltage on whatever it is clipped to. It is read in a run, where "
    "what has to be asked first is asked; never here."
)


def missing_words(path: Path) -> list[str]:
    """Return what is said where there is no list of meters yet."""
    return [
        f"There is no list of meters yet: {path}",
        "",
        "Without one you read each display and type, and a verdict cannot say how sure it is.",
        "With a meter's accuracy in it every verdict counts the uncertainty of the reading; with its address "
        "the tool reads the meter by one key.",
        "",
        "e begins the file with an example in comments. Fill it in with a text editor; F5 reads it again.",
    ]


def counted(meters: Sequence[Meter], on: date, path: Path) -> str:
    """Return how many meters there are, how they stand, and where the list is."""
    overdue = sum(calibration(each, on) == "overdue" for each in meters)
    open_ended = sum(each.due is None for each in meters)
    parts = [plural(len(meters), "meter")]
    parts += [f"{overdue} overdue"] if overdue else []
    parts += [f"{open_ended} with no due date"] if open_ended else []
    return one_line(f"{' · '.join(parts)} · the list is edited in {path}")


def connection(meter: Meter, found: Checked | None, *, testing: bool) -> Sign:
    """Return how the connection of a meter stands."""
    if not meter.resource:
        return BY_HAND
    if testing:
        return TESTING
    if found is None:
        return UNTESTED
    if found.problem:
        return FAILED
    return QUEUED if found.errors else WELL


def cells(meter: Meter, on: date, found: Checked | None, *, testing: bool) -> tuple[str, ...]:
    """Return one meter for the table."""
    sign = CALIBRATIONS[calibration(meter, on)]
    due = f" {meter.due.isoformat()}" if meter.due else ""
    state = connection(meter, found, testing=testing)
    trip = f" in {_time(found.round_trip_s)}" if found and found.round_trip_s is not None else ""
    return (
        meter.name, f"{sign}{due}", f"{state}{trip if state in {WELL, QUEUED} else ''}", meter.kind,
        _ranges(meter), meter.resource or "–",
    )  # fmt: skip


def style(meter: Meter, on: date, found: Checked | None) -> str:
    """Return the style class of a meter's row."""
    if found is not None and found.problem:
        return "bad"
    return CALIBRATIONS[calibration(meter, on)].style


def words(meter: Meter, on: date, found: Checked | None, cannot: Sequence[Undecided] = ()) -> str:
    """Return what is to be said of one meter now: what is wrong first."""
    state = calibration(meter, on)
    parts = [meter.name]
    if found is not None:
        parts += [_why(found)] if found.problem else [f"answers as '{found.identity}' by {found.backend}"]
        parts += [f"its error queue held: {each}" for each in found.errors]
    if state == "overdue":
        parts.append("its calibration has run out: its readings count, and the report says so")
    if not meter.specifications:
        parts.append("no accuracy is stated: its readings state no uncertainty")
    count = sum(each.meter == meter.name for each in cannot)
    if count:
        parts.append(f"it cannot decide {plural(count, 'limit')} of the supplies here: Enter says which")
    if not meter.resource:
        parts.append(NO_RESOURCE)
    elif found is None:
        parts.append("t tests the connection, r reads it")
    return " · ".join(one_line(part) for part in parts if part)


def details(
    meter: Meter, on: date, found: Checked | None, path: Path, cannot: Sequence[Undecided] = ()
) -> list[str]:
    """Return all that is known of one meter, for reading."""
    stated = meter.calibrated.isoformat() if meter.calibrated else "not stated"
    due = meter.due.isoformat() if meter.due else "not stated"
    word = CALIBRATIONS[calibration(meter, on)].word
    lines = [
        f"Kind: {meter.kind}" + (f", serial {meter.serial}" if meter.serial else ""),
        f"Calibrated: {stated}; due: {due}{f'; {word}' if meter.due else ''}",
        f"Reached at: {meter.resource or 'read by hand'}"
        + (f", channel {meter.channel}" if meter.channel else "")
        + (f", asked as '{meter.profile}'" if meter.resource else ""),
        f"Calls itself: {meter.idn}" if meter.idn else "",
        f"Measures with up to {show(meter.test_current_a, 'A')}" if meter.test_current_a else "",
        f"Note: {meter.note}" if meter.note else "",
        *_found_lines(found),
        "Accuracy:"
        if meter.specifications
        else "Accuracy: none stated, so its readings state no uncertainty",
        *(
            f"  {one.function}, "
            + ("any range" if math.isinf(one.high) else f"{show(one.high, one.unit)} range")
            + f": {one.accuracy.text}"
            for one in meter.specifications
        ),
        *(f"Cannot decide: {each.words}" for each in cannot if each.meter == meter.name),
        f"Edited in {path}",
    ]
    return [f"  {one_line(line)}" if line.startswith("  ") else one_line(line) for line in lines if line]


def _found_lines(found: Checked | None) -> list[str]:
    if found is None:
        return []
    if found.problem:
        state = connection(found.meter, found, testing=False).word
        return [f"Connection: {state}: {_why(found)}", *_queue_lines(found)]
    trip = f", round trip {_time(found.round_trip_s)}" if found.round_trip_s is not None else ""
    queue = _queue_lines(found) or ["Error queue: empty"]
    return [f"Connection: answers as '{found.identity}' by {found.backend}{trip}", *queue]


def _why(found: Checked) -> str:
    """Return what is wrong with a connection; which meter is said already."""
    return found.problem.removeprefix(f"{one_line(found.meter.name)}: ")


def _queue_lines(found: Checked) -> list[str]:
    return [f"Error queue: {each}" for each in found.errors]


def live_heading(meter: str, function: str) -> str:
    """Return what is being read."""
    return one_line(f"{meter}, {function}: read over and over; nothing is recorded")


def live_words(found: Lately) -> list[str]:
    """Return how the last readings lie: mean, spread, and what the meter's accuracy leaves open."""
    several, unit = found.several, found.value.unit
    lines = [f"reading {found.number}"]
    if several.mean is not None and several.standard_deviation is not None:
        spread = several.standard_deviation
        mean = show(several.mean, unit, uncertainty=spread) if spread else show_value(several.value)
        said = show(spread, unit, uncertainty=spread) if spread else f"none in {several.count}"
        lines.append(f"last {several.count}: mean {mean}, standard deviation {said}")
        lines.append(f"from {show_value(found.low)} to {show_value(found.high)}")
    elif several.mean is None:
        lines.append("no number: over its range")
    if several.half_width is not None:
        allowed = show(several.half_width, unit, uncertainty=several.half_width)
        lines.append(f"accuracy ±{allowed}" + (f" on the {several.span} range" if several.span else ""))
    elif several.mean is not None:
        lines.append("no accuracy stated for this")
    return [one_line(line) for line in lines]


def figures(found: Lately) -> tuple[str, str]:
    """Return the reading as number and unit, for large digits."""
    number, _, unit = show_value(found.value).rpartition(" ")
    return (number.replace("−", "-"), unit) if number else (unit, "")


def functions_of(measures: Sequence[tuple[str, str]]) -> list[str]:
    """Return the measures of a profile, name and function each, as they are chosen from."""
    return [
        f"{name} [{FUNCTIONS.get(function, '')}]" if FUNCTIONS.get(function) else name
        for name, function in measures
    ]


def simulated(meters: Sequence[Meter], checked: Mapping[str, Checked]) -> bool:
    """Return whether any of the meters is one of the simulated bench."""
    return any(is_simulated(each.idn) for each in meters) or any(each.simulated for each in checked.values())


def _ranges(meter: Meter) -> str:
    count = len(meter.specifications)
    if not count:
        return "none stated"
    return meter.specifications[0].accuracy.text if count == 1 else f"stated for {count} ranges"


def _time(seconds: float | None) -> str:
    if seconds is None:
        return "–"
    return f"{1000.0 * seconds:.1f} ms" if seconds < 1.0 else f"{seconds:.1f} s"
