"""The runs of one supply as rows of text."""

from __future__ import annotations

from ohmward.desk.words import day_words, outcome_sign
from ohmward.logbook import RunEntry
from ohmward.text import one_line, plural

HEADINGS = ("date", "procedure", "state", "by")


def run_cells(run: RunEntry) -> tuple[str, str, str, str]:
    """Return a run as a row under `HEADINGS`."""
    return run.counts_for or run.date, run.procedure, _state(run), run.operator


def run_words(run: RunEntry) -> str:
    """Return what is known of a run from its first and last line, and what Enter does."""
    last = f"last entry {day_words(run.last_at)}" if run.last_at else ""
    torn = "its last line was cut off; opening it sets the rest aside" if run.torn else ""
    opens = "Enter shows what it amounts to" if run.closed else "Enter goes on with it"
    parts = (run.name, last, _state(run), torn, "" if run.problem else opens)
    return " · ".join(one_line(part) for part in parts if part)


def _state(run: RunEntry) -> str:
    if run.problem:
        return f"✗ {run.problem}"
    verdict = str(outcome_sign(run.verdict, likely=bool(run.likely_fault)))
    words = f"closed: {verdict}" if run.closed else f"in hand, {plural(run.records, 'record')}"
    return f"REHEARSAL, {words}" if run.simulated else words
