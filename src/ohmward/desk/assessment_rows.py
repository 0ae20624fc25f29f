"""The assessment as rows of text: what stands in the tables, and what is said of one row in full."""

from __future__ import annotations

from ohmward.analysis.assessment import Assessment
from ohmward.analysis.rails import RailResult
from ohmward.analysis.rows import CheckRow, ReadingRow
from ohmward.desk.words import ANSWERS, VERDICTS, Sign, day_words
from ohmward.quantity import show
from ohmward.report.text import expected_text, limit_text
from ohmward.text import one_line

READING_HEADINGS = ("", "step", "read", "verdict", "limit", "expected")
CHECK_HEADINGS = ("", "check", "answer", "note")
NAME_WIDTH = 44
"""Columns of a step's name: read and verdict then stand beside it at 80; the line below has it in full."""
RAIL_HEADINGS = ("", "rail", "load regulation", "verdict", "output resistance", "ripple p-p")
OVERRIDE_HEADINGS = ("", "step", "why")
_RUN_VERDICTS = {
    "pass": Sign("✓", "PASS", "good"),
    "conditional pass": Sign("✓", "CONDITIONAL PASS", "warn"),
    "conditional fail": Sign("✗", "CONDITIONAL FAIL", "warn"),
    "fail": Sign("✗", "FAIL", "bad"),
    "incomplete": Sign("·", "INCOMPLETE", "warn"),
}


def run_verdict(result: Assessment) -> Sign:
    """Return the verdict of the run as a sign."""
    return _RUN_VERDICTS[result.verdict]


def reading_cells(row: ReadingRow) -> tuple[str, ...]:
    """Return one reading for the table."""
    sign = VERDICTS[row.verdict]
    mark = "✗" if row.past_stop else sign.mark
    word = "PAST ITS STOP LIMIT" if row.past_stop else sign.word.split(",")[0]
    word += " (stale)" if row.stale else " (overridden)" if row.override else ""
    limit, expected = _spans(row)
    return mark, _short(_name(row.title, row.subject)), _value(row), word, limit, expected


def reading_words(row: ReadingRow) -> str:
    """Return all that is known of one reading."""
    uncertainty = (
        f"U = {show(row.uncertainty, row.unit)}" if row.uncertainty is not None else "uncertainty not stated"
    )
    sure = f"conformance probability {100 * row.probability:.1f} %" if row.probability is not None else ""
    predicted = {None: "", True: "as the design predicts", False: "not what the design predicts"}[
        row.as_expected
    ]
    parts = [
        _name(row.title, row.subject),
        _value(row),
        VERDICTS[row.verdict].word,
        row.note,
        "limit {}, expected {}".format(*_spans(row)),
        row.basis,
        predicted,
        uncertainty,
        sure,
        f"meter: {row.meter}" if row.meter else "",
        day_words(row.at),
        *_fate(row),
    ]
    return " · ".join(one_line(part) for part in parts if part)


def check_cells(row: CheckRow) -> tuple[str, ...]:
    """Return one check for the table."""
    sign = ANSWERS.get(row.answer, VERDICTS["not done"])
    word = sign.word + (f" ({row.severity})" if row.failed else "") + (" (stale)" if row.stale else "")
    return sign.mark, _name(row.title, row.subject), word, row.note


def check_words(row: CheckRow) -> str:
    """Return all that is known of one check."""
    parts = [*check_cells(row)[1:], f"severity {row.severity}", day_words(row.at), *_fate(row)]
    return " · ".join(one_line(part) for part in parts if part)


def override_cells(result: Assessment) -> list[tuple[str, str, str]]:
    """Return what was accepted in writing, what a complete run still lacks, and what happened on the way."""
    rows = [("!", _name(row.title, row.subject), f"overridden: {row.reason}") for row in result.overrides]
    rows += [
        (
            "↻" if row.again else "·",
            _name(row.title, row.subject),
            "stale: to be done again" if row.again else "not done",
        )
        for row in result.missing
    ]
    rows += [
        (
            "✗" if row.failed else "·",
            _name(row.title, row.subject) if row.title else row.kind,
            f"{day_words(row.at)}, {row.kind}: {one_line(row.text)}",
        )
        for row in result.history
    ]
    return rows or [("✓", "nothing overridden, nothing missing, nothing done twice", "")]


def rail_cells(name: str, rail: RailResult) -> tuple[str, ...]:
    """Return what the readings of one rail say together."""
    sign = VERDICTS[rail.load_regulation_verdict]
    return (
        sign.mark,
        one_line(name),
        _of(rail.load_regulation_pct, "%", rail.load_regulation_uncertainty_pct),
        sign.word.split(",")[0],
        _of(rail.output_resistance_ohm, "Ω", rail.output_resistance_uncertainty_ohm),
        _of(rail.ripple_pp_v, "V", None),
    )


def rail_words(name: str, rail: RailResult) -> str:
    """Return all that is known of one rail."""
    parts = [
        f"rail {name}",
        f"regulation {rail.load_regulation_denominator}" if rail.load_regulation_denominator else "",
    ]
    if rail.load_regulation_limit_pct is not None:
        parts.append(f"limit {show(rail.load_regulation_limit_pct, '%')}")
    if rail.knee_low_a is not None and rail.knee_high_a is not None:
        parts.append(f"knee between {show(rail.knee_low_a, 'A')} and {show(rail.knee_high_a, 'A')}")
    if rail.cross_regulation_pct is not None:
        parts.append(f"cross regulation {show(rail.cross_regulation_pct, '%')}")
    return " · ".join(one_line(part) for part in (*parts, *rail.warnings) if part)


def _of(value: float | None, unit: str, uncertainty: float | None) -> str:
    return "–" if value is None else show(value, unit, uncertainty=uncertainty)


def _fate(row: ReadingRow | CheckRow) -> list[str]:
    words = [
        f"overridden: {row.override}" if row.override else "",
        f"amended: {row.amended}" if row.amended else "",
    ]
    return [*words, "stale since" if row.stale else ""]


def _spans(row: ReadingRow) -> tuple[str, str]:
    limit = limit_text(row.limit_low, row.limit_high, row.unit)
    return limit, expected_text(row.expected_low, row.expected_high, row.unit)


def _short(words: str) -> str:
    return words if len(words) <= NAME_WIDTH else words[: NAME_WIDTH - 1] + "…"


def _name(title: str, subject: str) -> str:
    return one_line(f"{title}: {subject}" if subject else title)


def _value(row: ReadingRow) -> str:
    if row.verdict == "not done":
        return "left out"
    if row.value is None:
        return "OL"
    bound = row.raw.strip()[:1]
    return (f"{bound} " if bound in {">", "<"} else "") + show(row.value, row.unit)
