"""A whole run assessed: what holds, what does not, how sure that is, and what to do about it.

Readings are taken as they were judged when they were recorded; nothing is judged again here. What
only several readings together can tell (regulation, output resistance) is computed from them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

import msgspec

from ohmward.analysis._results import Cause
from ohmward.analysis.chance import far_out
from ohmward.analysis.decision import reading_verdict_said
from ohmward.analysis.facts import Entered, RunFacts
from ohmward.analysis.rails import rail_results
from ohmward.analysis.rows import (
    FAILED,
    Assessment,
    CheckRow,
    HistoryRow,
    MissingRow,
    OverrideRow,
    ReadingRow,
    RunVerdict,
    as_read,
)
from ohmward.analysis.soaks import soak_results
from ohmward.analysis.stability import DEFAULT_RULE
from ohmward.analysis.summary import summary
from ohmward.analysis.waveforms import half_wave_fractions, waveform_results, with_waveforms
from ohmward.logbook.events import Answered, Reading, Skipped
from ohmward.procedure.model import Item
from ohmward.quantity import show_value
from ohmward.supply import findings

__all__ = ["Assessment", "Entered", "RunFacts", "Weighed", "assess", "causes", "to_json", "weighed"]

Weighed = tuple[tuple[Cause, ...], tuple[str, ...]]
"""What is most likely wrong, and what was left out in weighing it."""

_READING_KEYS = (
    "stage", "step", "subject", "quantity", "value", "unit", "uncertainty", "limit_low", "limit_high",
    "basis", "expected_low", "expected_high", "verdict", "note", "raw", "net", "probability", "stale",
)  # fmt: skip
_CHECK_KEYS = ("stage", "step", "subject", "answer", "severity", "note", "stale")


def assess(
    facts: RunFacts,
    *,
    stable_rule: str = DEFAULT_RULE,
    weigh: Callable[[RunFacts], Callable[[], Weighed]] | None = None,
) -> Assessment:
    """Assess a run as far as it has come; `stable_rule` says when a soak counts as stabilised.

    Where `weigh` is given, it begins what `weighed` does, elsewhere, and returns what waits for it.

    The verdict: ``fail`` with any failure of severity danger or fault (``conditional fail`` when all
    of them are nearer their limits than the uncertainty), else ``incomplete`` while a required item
    is not done, stale or undecided, or the supply not yet shown to be safe to touch, else
    ``conditional pass`` with anything failed and gone on with in writing, left out though required, taken
    before its time or at a time that only a file states, nearer its limit than the uncertainty, of the earth
    by a meter that does not settle it, too hot by forecast or dangerous by design, whose readings together
    make a fault likelier than none (an open diode may leave every limit met), or with a reading farther from
    what is predicted than chance brings it, else ``pass``. What is written settles a failed check; it does
    not move a reading inside its limit. An improvement never changes the verdict.
    """
    waves = waveform_results(facts)
    facts = msgspec.structs.replace(facts, half_wave_fractions=half_wave_fractions(facts, waves))
    causes_weighed = partial(weighed, facts) if weigh is None else weigh(facts)
    found = Assessment(
        run=facts.run,
        tag=facts.tag,
        simulated=facts.simulated,
        verdict="incomplete",
        readings=tuple(_readings(facts)),
        checks=tuple(_checks(facts)),
        rails=with_waveforms(facts, rail_results(facts), waves),
        waveforms=waves,
        waveform_problems=facts.capture_problems,
        soaks=soak_results(facts, stable_rule),
        overrides=tuple(_overrides(facts)),
        missing=tuple(_missing(facts)),
        findings=findings(facts.supply),
        history=_history(facts),
    )
    likely, left_out = causes_weighed()
    found = msgspec.structs.replace(found, causes=likely, causes_left_out=left_out)
    judged = msgspec.structs.replace(found, verdict=_verdict(found, facts))
    return msgspec.structs.replace(judged, summary=summary(judged, facts))


def causes(facts: RunFacts) -> tuple[Cause, ...]:
    """Return what is most likely wrong, the likeliest first: the causes of `assess`, and nothing else."""
    waves = waveform_results(facts) if facts.captures else ()
    return weighed(msgspec.structs.replace(facts, half_wave_fractions=half_wave_fractions(facts, waves)))[0]


def to_json(assessment: Assessment) -> dict[str, object]:
    """Return the assessment in the shape other programs read; SI base units, no infinities."""
    return {
        "run": assessment.run,
        "tag": assessment.tag,
        "simulated": assessment.simulated,
        "verdict": assessment.verdict,
        "readings": [{name: getattr(row, name) for name in _READING_KEYS} for row in assessment.readings],
        "checks": [{name: getattr(row, name) for name in _CHECK_KEYS} for row in assessment.checks],
        "rails": {name: msgspec.to_builtins(rail) for name, rail in assessment.rails.items()},
        "soaks": [msgspec.to_builtins(row) for row in assessment.soaks],
        "waveforms": [msgspec.to_builtins(row) for row in assessment.waveforms],
        "waveform_problems": list(assessment.waveform_problems),
        "overrides": [msgspec.to_builtins(row) for row in assessment.overrides],
        "missing": [msgspec.to_builtins(row) for row in assessment.missing],
        "history": [msgspec.to_builtins(row) for row in assessment.history],
        "findings": [msgspec.to_builtins(row) for row in assessment.findings],
        "causes": [msgspec.to_builtins(row) for row in assessment.causes],
        "causes_left_out": list(assessment.causes_left_out),
        "comparison": [msgspec.to_builtins(row) for row in assessment.comparison],
        "summary": list(assessment.summary),
    }


LEAST_PROBABILITY = 0.005
"""Causes below this are not listed."""
DOUBT = 0.2
"""Where nothing failed and all was as expected, causes are told only with 'healthy' less likely than this."""
RAILS_UNASKED = 6
"""With more rails than this, causes are weighed only where something asks for one: it takes seconds."""


def weighed(facts: RunFacts) -> Weighed:
    """Return what is most likely wrong, and what was left out.

    It is asked for where something failed or was not expected; and in a run that is through, as a joint of
    high resistance may leave each reading inside its limit and its band, and not all of them together.
    """
    from ohmward.analysis._gather import any_trouble

    troubled = any_trouble(facts)
    if not troubled and (len(facts.supply.rails) > RAILS_UNASKED or any(_missing(facts))):
        return (), ()
    from ohmward.analysis.diagnose import diagnose_run

    found = diagnose_run(facts)
    if found is None:
        return (), ()
    healthy = sum(cause.probability for cause in found.causes if cause.fault == "healthy")
    if not troubled and healthy >= DOUBT:
        return (), ()
    return tuple(c for c in found.causes if c.probability >= LEAST_PROBABILITY), found.left_out


def _readings(facts: RunFacts) -> Iterator[ReadingRow]:
    for item in facts.items:
        entry = facts.entry(item)
        if entry is not None and item.read is not None and not isinstance(entry.event, Answered):
            yield _reading_row(item, entry, entry.event)


def _reading_row(item: Item, entry: Entered, event: Reading | Skipped) -> ReadingRow:
    read, judged = item.read, None if isinstance(event, Skipped) else event.judged
    value = None if isinstance(event, Skipped) or event.value.number is None else event.value.si
    limit = item.limit
    return ReadingRow(
        stage=item.stage,
        step=item.step,
        subject=item.subject,
        title=item.title,
        severity=item.spec.severity,
        quantity=read.quantity if read else "",
        raw="" if isinstance(event, Skipped) else as_read(event),
        value=value,
        unit=read.unit if read else "",
        net=judged.net if judged else None,
        uncertainty=judged.uncertainty if judged else None,
        limit_low=judged.limit_low if judged else (limit.low if limit else None),
        limit_high=judged.limit_high if judged else (limit.high if limit else None),
        basis=judged.basis if judged else (limit.basis if limit else ""),
        expected_value=judged.expected_value if judged else None,
        expected_low=judged.expected_low if judged else None,
        expected_high=judged.expected_high if judged else None,
        as_expected=judged.as_expected if judged else None,
        probability=judged.probability if judged else None,
        verdict=judged.verdict if judged else "not done",
        past_stop=judged.past_stop if judged else False,
        note=event.reason if isinstance(event, Skipped) else _both(event.judged.note, event.note),
        meter="" if isinstance(event, Skipped) else event.meter,
        at=entry.at,
        stale=entry.stale,
        override=entry.override,
        amended=entry.amended,
    )


def _both(ours: str, theirs: str) -> str:
    """The judgement's note and the person's own, kept apart by quotes."""
    return f"{ours} (“{theirs}”)" if ours and theirs else ours or theirs


def _checks(facts: RunFacts) -> Iterator[CheckRow]:
    for item in facts.items:
        entry = facts.entry(item)
        if entry is None or item.read is not None or isinstance(entry.event, Reading):
            continue
        event = entry.event
        yield CheckRow(
            stage=item.stage,
            step=item.step,
            subject=item.subject,
            title=item.title,
            answer="not done" if isinstance(event, Skipped) else event.answer,
            severity=item.spec.severity,
            note=event.reason if isinstance(event, Skipped) else event.note,
            at=entry.at,
            stale=entry.stale,
            override=entry.override,
            amended=entry.amended,
        )


def _overrides(facts: RunFacts) -> Iterator[OverrideRow]:
    for item in facts.items:
        entry = facts.entry(item)
        if entry is not None and entry.override:
            yield OverrideRow(
                stage=item.stage,
                step=item.step,
                subject=item.subject,
                title=item.title,
                reason=entry.override,
            )


def _missing(facts: RunFacts) -> Iterator[MissingRow]:
    for item in facts.items:
        entry = facts.entry(item)
        if item.required and item.key not in facts.captured and (entry is None or entry.stale):
            yield MissingRow(
                stage=item.stage,
                step=item.step,
                subject=item.subject,
                title=item.title,
                again=entry is not None,
            )


def _verdict(found: Assessment, facts: RunFacts) -> RunVerdict:
    both: list[ReadingRow | CheckRow] = [*found.readings, *found.checks]
    rows = [row for row in both if not row.stale and row.severity != "improvement"]
    open_rows = [row for row in rows if row.failed and not (isinstance(row, CheckRow) and row.override)]
    surely = any(
        isinstance(row, CheckRow) or row.past_stop or row.verdict != "conditional fail" for row in open_rows
    )
    rails = set(found.rail_verdicts)
    if surely or rails & {"fail", "not stated: fail"}:
        return "fail"
    if open_rows or "conditional fail" in rails:
        return "conditional fail"
    readings = [row for row in found.readings if not row.stale]
    if (
        facts.halted
        or found.missing
        or any(row.verdict == "undecided" and row.severity != "improvement" for row in readings)
    ):
        return "incomplete"
    doubtful = (
        bool(found.overrides)
        or _set_aside(found)
        or bool(facts.earth_unsettled)
        or any(row.verdict == "conditional pass" for row in readings)
        or "conditional pass" in rails
        or any(finding.severity == "danger" for finding in found.findings)
        or any(soak.too_hot_in_the_hottest_room for soak in found.soaks)
        or any(_left_out(facts, item) for item in facts.items)
        or any((entry.early or _against(entry)) and not entry.stale for entry in facts.entries.values())
        or bool(facts.untimed)
        or found.likely_fault is not None
        or any(row.severity != "improvement" for row in far_out(found))
    )
    return "conditional pass" if doubtful else "pass"


def _history(facts: RunFacts) -> tuple[HistoryRow, ...]:
    titles = {item.key: item.title for item in facts.items}
    rows = [HistoryRow(at=at, kind="repair", text=what) for at, what in facts.repairs]
    rows += [
        HistoryRow(
            at=at, kind="note", step=step, subject=subject, title=titles.get((step, subject), ""), text=text
        )
        for at, step, subject, text in facts.notes
    ]
    for at, event, why in facts.superseded:
        words, failed = _as_words(event)
        stopped = isinstance(event, Reading) and event.judged.past_stop
        rows.append(
            HistoryRow(
                at=at,
                kind="replaced",
                step=event.step,
                subject=event.subject,
                failed=failed,
                past_stop=stopped,
                passed_again=_passed_again(facts, event, why),
                attempt=isinstance(event, Reading) and not stopped and not why.startswith("amended"),
                title=titles.get((event.step, event.subject), ""),
                text=f"{words}; {why}",
            )
        )
    return tuple(sorted(rows, key=lambda row: row.at))


def _passed_again(facts: RunFacts, event: Answered | Reading | Skipped, why: str) -> bool:
    """Whether a replaced check passed without a remark, was taken again, and passes now."""
    now = facts.entries.get((event.step, event.subject))
    plain = isinstance(event, Answered) and event.answer == "pass" and not event.note and not event.against
    passes = now is not None and isinstance(now.event, Answered) and now.event.answer == "pass"
    return plain and passes and not why.startswith("amended")


def _as_words(event: Answered | Reading | Skipped) -> tuple[str, bool]:
    """What an entry said, and whether it was a failure."""
    if isinstance(event, Skipped):
        return f"left out: {event.reason}", False
    if isinstance(event, Answered):
        return f"{event.answer}{f': {event.note}' if event.note else ''}", event.answer == "fail"
    judged = event.judged
    verdict = (
        "past its stop limit, which halted the run"
        if judged.past_stop
        else reading_verdict_said(judged.verdict.removeprefix("not stated: "))
    )
    read = show_value(event.value) if not event.replies else as_read(event)
    return f"{read} ({verdict})", judged.verdict in FAILED or judged.past_stop


def _against(entry: Entered) -> bool:
    """Whether a check was passed against what the readings say."""
    return isinstance(entry.event, Answered) and bool(entry.event.against)


def _set_aside(found: Assessment) -> bool:
    """Whether a danger check was answered 'not applicable'."""
    return any(
        row.answer == "not applicable" and row.severity == "danger" for row in found.checks if not row.stale
    )


def _left_out(facts: RunFacts, item: Item) -> bool:
    entry = facts.entry(item)
    return item.required and entry is not None and isinstance(entry.event, Skipped)
