"""Small phrases that every document uses: values, limits, verdicts, where an entry belongs."""

from __future__ import annotations

from collections.abc import Iterable

from ohmward.analysis._results import Cause
from ohmward.analysis.cause_words import percent
from ohmward.analysis.rows import FAILED, CheckRow, ReadingRow
from ohmward.analysis.soak_result import SoakResult
from ohmward.logbook.events import Verdict
from ohmward.quantity import show, show_band, unit_of_difference
from ohmward.report.document.blocks import RowTone, Tone
from ohmward.report.document.source import Source
from ohmward.report.document.words import Words
from ohmward.run.state import Phase

_RANK: tuple[Verdict, ...] = (
    "not applicable",
    "not done",
    "pass",
    "not stated: pass",
    "conditional pass",
    "undecided",
    "conditional fail",
    "not stated: fail",
    "fail",
)
_TONES: dict[str, Tone] = {
    "pass": "pass",
    "conditional_pass": "conditions",
    "conditional_fail": "fail",
    "fail": "fail",
    "unsound": "fail",
}


def value(words: Words, number: float | None, unit: str, uncertainty: float | None = None) -> str:
    """Return a value with its unit, and ``± U`` where there is one; a dash for None."""
    if number is None:
        return words("plain.dash")
    shown = show(number, unit, uncertainty=uncertainty)
    if uncertainty:
        spread = show(uncertainty, unit_of_difference(unit), uncertainty=uncertainty)
        shown = words("plain.plus_minus", value=shown, spread=spread)
    return words.number(shown)


def band(words: Words, low: float | None, high: float | None, unit: str) -> str:
    """Return limits or a predicted band; a dash where both ends are open."""
    if low is None and high is None:
        return words("plain.dash")
    if low is None:
        return words("plain.at_most", value=value(words, high, unit))
    if high is None:
        return words("plain.at_least", value=value(words, low, unit))
    return words.number(show_band(low, high, unit).replace(" to ", f" {words('plain.to')} "))


def where(title: str, subject: str) -> str:
    """Return what an entry is about."""
    return f"{title} ({subject})" if subject else title


def tester(words: Words, operator: str) -> str:
    """Return who tested, or that no name was given."""
    return operator or words("front.nobody")


def verdict(words: Words, found: Verdict) -> str:
    """Return a verdict of one reading in words."""
    return words(f"verdict.{found.replace(': ', '_').replace(' ', '_')}")


def row_verdict(words: Words, row: ReadingRow | CheckRow) -> str:
    """Return verdict or answer of an entry with all that qualifies it."""
    if isinstance(row, CheckRow):
        parts = [verdict(words, row.answer)]
    elif row.verdict == "not applicable":
        parts = [words("verdict.no_limit")]
    else:
        parts = [verdict(words, row.verdict)]
    if isinstance(row, ReadingRow) and row.past_stop:
        parts.append(words("verdict.past_stop"))
    if row.stale:
        parts.append(words("verdict.stale"))
    return "; ".join(parts)


def row_tone(row: ReadingRow | CheckRow) -> RowTone:
    """Return how an entry is marked beside its words."""
    if row.failed:
        return "bad"
    if row.stale or (isinstance(row, ReadingRow) and row.verdict in {"conditional pass", "undecided"}):
        return "doubt"
    return "doubt" if isinstance(row, ReadingRow) and row.as_expected is False else ""


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return the gravest of some verdicts; 'not done' where there are none."""
    return max(verdicts, key=_RANK.index, default="not done")


def outcome_tone(outcome: str) -> Tone:
    """Return how an outcome is framed."""
    return _TONES.get(outcome, "open")


def outcome_word(words: Words, source: Source) -> str:
    """Return the outcome large, marked where it is a rehearsal."""
    word = words(f"outcome.{_found(source, source.outcome)}")
    return f"{words('plain.rehearsal')} – {word}" if source.facts.simulated else word


def outcome_key(verdict: str, *, likely: bool) -> str:
    """Return the key of a run's verdict in the words; a pass whose readings point to a fault has its own."""
    key = verdict.replace(" ", "_")
    return "fault_likely" if likely and key in {"pass", "conditional_pass"} else key


def _found(source: Source, outcome: str) -> str:
    return outcome_key(outcome, likely=source.assessment.likely_fault is not None)


def outcome_sentence(words: Words, source: Source) -> str:
    """Return what the outcome means; what stands against a pass, a likely fault or heat, is said at once."""
    outcome = source.outcome
    if outcome in {"open", "copied"}:
        inner = _stated(words, source, source.assessment.verdict.replace(" ", "_"))
        return words(f"outcome.{outcome}_sentence", outcome=inner)
    said = _stated(words, source, outcome) if outcome != "incomplete" else _incomplete(words, source)
    if source.state.phase is Phase.LIVE:
        said = f"{said} {words('outcome.live_sentence')}"
    if source.state.closed is None and outcome != "unsound":
        return f"{said} {words('outcome.also_open')}"
    return said


def _stated(words: Words, source: Source, outcome: str) -> str:
    key = _found(source, outcome)
    likely = source.assessment.likely_fault
    told = {"chance": chance(words, likely), "title": likely.title} if likely is not None else {}
    said = words(f"outcome.{key}_sentence", **told)
    hot = source.assessment.too_hot
    return f"{said} {too_hot(words, hot[0])}" if outcome == "conditional_pass" and hot else said


def chance(words: Words, cause: Cause) -> str:
    """Return the probability of a cause, and that it rests on one reading where it does."""
    shown = percent(cause.probability)
    return words("results.one_reading", chance=shown) if cause.from_one_reading else shown


def too_hot(words: Words, soak: SoakResult) -> str:
    """Return what a temperature would come to in the hottest room allowed, beyond its limit."""
    hot, likely = soak.beyond_in_the_hottest_room or (0.0, False)
    key = "too_hot" if likely else "may_be_hot"
    return words(
        f"outcome.{key if soak.enough_data else 'no_curve' if soak.no_curve else 'too_short'}_sentence",
        sensor=soak.sensor,
        hot=words.number(show(hot, "°C", decimals=0)),
        limit=value(words, soak.limit_c, "°C"),
    )


def _incomplete(words: Words, source: Source) -> str:
    if source.facts.halted:
        return words("outcome.halted_sentence")
    missing = len(source.assessment.missing)
    if missing:
        return words("outcome.incomplete_sentence", count=missing)
    return words("outcome.incomplete_undecided")


def running_head(words: Words, source: Source) -> str:
    """Return what stands at the head of every page, so that no page can be taken for another outcome."""
    return words(
        "outcome.running",
        tag=source.facts.tag,
        outcome=outcome_word(words, source),
        date=words.day(source.tested.isoformat()),
    )


def failed_rows(source: Source) -> list[ReadingRow | CheckRow]:
    """Return every entry that is out of tolerance and counts, dangers first."""
    rank = {"danger": 0, "fault": 1, "improvement": 2}
    rows: list[ReadingRow | CheckRow] = [*source.assessment.checks, *source.assessment.readings]
    failed = [row for row in rows if row.failed and not row.stale]
    return sorted(failed, key=lambda row: 0 if _past_stop(row) else rank[row.severity])


def is_failed(found: Verdict) -> bool:
    """Return whether a verdict is a failure."""
    return found in FAILED


def _past_stop(row: ReadingRow | CheckRow) -> bool:
    return isinstance(row, ReadingRow) and row.past_stop
