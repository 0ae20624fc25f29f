"""The assessment as rows of text: what stands in the tables, and what is said of one row in full."""

from __future__ import annotations

from ohmward.analysis.assessment import Assessment
from ohmward.analysis.rows import CheckRow, MissingRow, ReadingRow
from ohmward.analysis.wording import predicted_words
from ohmward.desk.words import ANSWERS, GONE_ON, STANDINGS, VERDICTS, Sign, day_words, outcome_sign
from ohmward.quantity import show
from ohmward.report.text import expected_text, limit_text
from ohmward.run.state import Standing
from ohmward.text import one_line

READING_HEADINGS = ("", "step", "result (read)", "verdict", "limit", "expected")
CHECK_HEADINGS = ("", "check", "answer", "note")
NAME_WIDTH = 44
READ_NAME = 12
"""Columns of the name of a read that is kept whole where its title is cut."""
"""Columns of a step's name: read and verdict then stand beside it at 80; the line below has it in full."""
SAME_OHM = 1e-9
"""By less than this a reading and what was judged of it are the same."""
OVERRIDE_HEADINGS = ("", "step", "why")


def run_verdict(result: Assessment) -> Sign:
    """Return the verdict of the run as a sign."""
    return outcome_sign(result.verdict, likely=result.likely_fault is not None)


def row_cells(row: ReadingRow | MissingRow) -> tuple[str, ...]:
    """Return a reading, or something that is missing, for the table of readings."""
    if isinstance(row, ReadingRow):
        return reading_cells(row)
    word = "STALE" if row.again else "NOT DONE"
    return ("↻" if row.again else "·", short_name(row.title, row.subject), "–", word, "–", "–")


def reading_cells(row: ReadingRow) -> tuple[str, ...]:
    """Return one reading for the table."""
    sign = VERDICTS[row.verdict]
    mark = "✗" if row.past_stop else sign.mark
    word = "PAST ITS STOP LIMIT" if row.past_stop else sign.word.split(",")[0]
    word += " (stale)" if row.stale else " (gone on with)" if row.override else ""
    if row.as_expected is False and not row.failed:
        mark, word = "!", f"{word}, unexpected"
    limit, expected = _spans(row)
    short = value_of(row, "")
    return mark, short_name(row.title, row.subject), short, word, limit, expected


def reading_words(row: ReadingRow) -> str:
    """Return all that is known of one reading."""
    uncertainty = (
        f"U = {show(row.uncertainty, row.unit)}" if row.uncertainty is not None else "uncertainty not stated"
    )
    sure = f"conformance probability {100 * row.probability:.1f} %" if row.probability is not None else ""
    predicted = _predicted(row)
    parts = [
        name_of(row.title, row.subject),
        value_of(row),
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


def reading_lines(row: ReadingRow) -> list[str]:
    """Return all that is known of one reading, a line each, what matters most first."""
    limit, expected = _spans(row)
    value = value_of(row)
    if row.uncertainty is not None and row.value is not None and row.raw.strip()[:1] not in {">", "<"}:
        value += f" ± {show(row.uncertainty, row.unit, uncertainty=row.uncertainty or None)}"
    elif row.verdict != "not done" and row.uncertainty is None:
        value += ", uncertainty not stated"
    sure = f"conforms with a chance of {_chance(row.probability)}" if row.probability is not None else ""
    sign = "✗ PAST ITS STOP LIMIT" if row.past_stop else str(VERDICTS[row.verdict])
    parts = (
        (name_of(row.title, row.subject),),
        (value, sign, sure, *_fate(row)),
        (f"limit {limit}", f"expected {expected}", _predicted(row).replace("not what", "NOT what")),
        (row.note,),
        (f"limit from {row.basis}" if row.basis else "",),
        (f"read with {row.meter}" if row.meter else "", day_words(row.at)),
    )
    lines = [" · ".join(one_line(part) for part in each if part) for each in parts]
    return [line for line in lines if line]


def _predicted(row: ReadingRow) -> str:
    return predicted_words(row.net, row.expected_low, row.expected_high, row.unit, expected=row.as_expected)


def missing_lines(row: MissingRow) -> list[str]:
    """Return what is known of something that a complete run still lacks."""
    why = "done once, and stale since: it has to be done again" if row.again else "not done"
    return [name_of(row.title, row.subject), f"{why}; a complete run has it"]


def _chance(probability: float) -> str:
    return "> 99.9 %" if probability > 0.999 else "< 0.1 %" if probability < 0.001 else f"{probability:.1%}"


def check_cells(row: CheckRow) -> tuple[str, ...]:
    """Return one check for the table."""
    sign = ANSWERS.get(row.answer, VERDICTS["not done"])
    word = sign.word + (f" ({row.severity})" if row.failed else "") + (" (stale)" if row.stale else "")
    return sign.mark, name_of(row.title, row.subject), word, row.note


def check_words(row: CheckRow) -> str:
    """Return all that is known of one check."""
    parts = [*check_cells(row)[1:], f"severity {row.severity}", day_words(row.at), *_fate(row)]
    return " · ".join(one_line(part) for part in parts if part)


def override_cells(result: Assessment) -> list[tuple[str, str, str]]:
    """Return what was gone on with in writing, what a complete run lacks, and what happened on the way."""
    readings = {(row.step, row.subject) for row in result.readings}
    rows = []
    for each in result.overrides:
        sign = GONE_ON if (each.step, each.subject) in readings else STANDINGS[Standing.OVERRIDDEN]
        rows.append((sign.mark, name_of(each.title, each.subject), f"{sign.word}: {each.reason}"))
    rows += [
        (
            "↻" if row.again else "·",
            name_of(row.title, row.subject),
            "stale: to be done again" if row.again else "not done",
        )
        for row in result.missing
    ]
    rows += [
        (
            "✗" if row.failed else "·",
            name_of(row.title, row.subject) if row.title else row.kind,
            f"{day_words(row.at)}{f', {row.kind}' if row.title else ''}: {one_line(row.text)}",
        )
        for row in result.on_the_way
    ]
    return rows or [("✓", "nothing gone on with, nothing missing, nothing done twice", "")]


def _fate(row: ReadingRow | CheckRow) -> list[str]:
    words = [
        f"{'gone on with' if isinstance(row, ReadingRow) else 'overridden'}: {row.override}"
        if row.override
        else "",
        f"amended, reason: “{row.amended}”" if row.amended else "",
    ]
    return [*words, "stale since" if row.stale else ""]


def _spans(row: ReadingRow) -> tuple[str, str]:
    limit = limit_text(row.limit_low, row.limit_high, row.unit)
    return limit, expected_text(row.expected_low, row.expected_high, row.unit)


def short_name(title: str, subject: str, width: int = NAME_WIDTH) -> str:
    """Return what a row is of within `width` columns; the title is cut before the subject."""
    whole = name_of(title, subject)
    if len(whole) <= width:
        return whole
    tail = f": {one_line(subject)}" if subject else ""
    room = max(width - len(tail), width // 3)
    return f"{_cut(one_line(title), room)}{tail}"[:width]


def _cut(words: str, width: int) -> str:
    """Return words cut to a width; the name of the read at their end stays, for it tells two rows apart."""
    if len(words) <= width:
        return words
    head, comma, read = words.rpartition(", ")
    tail = f"{comma}{read}" if head and len(read) <= READ_NAME and width > 2 * len(read) else ""
    return f"{words[: max(width - len(tail) - 1, 0)]}…{tail}"


def name_of(title: str, subject: str) -> str:
    """Return what a row is of, on one line."""
    return one_line(f"{title}: {subject}" if subject else title)


def value_of(row: ReadingRow, said: str = "read ") -> str:
    """Return what was judged, and in brackets after `said` what was read where leads were taken off."""
    if row.verdict == "not done":
        return "left out"
    if row.value is None:
        return "OL"
    bound = row.raw.strip()[:1]
    if bound not in {">", "<"} and row.net is not None and abs(row.net - row.value) > SAME_OHM:
        return f"{show(row.net, row.unit)} ({said}{show(row.value, row.unit)})"
    return (f"{bound} " if bound in {">", "<"} else "") + show(row.value, row.unit)
