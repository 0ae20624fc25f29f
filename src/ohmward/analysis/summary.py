"""An assessment in at most fifteen plain lines: what must not be powered, what to mend, what to watch."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

from ohmward.analysis._results import Cause
from ohmward.analysis.cause_words import (
    EARTH_JOINT,
    MOST_LIKELY,
    UNKNOWN_DANGER,
    WORTH_SAYING,
    chance_of,
    likeliest_words,
    with_alike,
)
from ohmward.analysis.chance import unexpected
from ohmward.analysis.facts import RunFacts
from ohmward.analysis.outcomes import outcome_called
from ohmward.analysis.rails import RailResult
from ohmward.analysis.rows import FAILED, Assessment, CheckRow, ReadingRow
from ohmward.analysis.soak_result import SoakResult
from ohmward.analysis.wording import GONE_ON, sentence, titled
from ohmward.logbook.events import Answered, Skipped
from ohmward.quantity import show
from ohmward.text import one_line, plural

MOST_LINES = 15
_POWER = "Do not power it"
_MEND = "Mend"
_WATCH = "Watch"
_UNSETTLED = "Not settled"
_BEFORE = "First"
_SURE = "To make sure"
_OR = "Or"
_HOT = "Too hot"
_FED = "Fed from a file"
MOST_UNTIMED = 4
"""Titles listed of what was not timed here."""
_NOT_YET_SAFE = "Not yet safe to touch: unplug it, and measure the residual voltage before anything else."
MOST_CAUSES = 3
ADVICE = " Name the meter, and its accuracy in meters.toml."
"""What the line on readings without a stated uncertainty ends with: for the tester, not for readers."""


def summary(assessment: Assessment, facts: RunFacts) -> tuple[str, ...]:
    """Return the summary lines, the gravest first, the outcome on the first."""
    mends = [*_mends(assessment), *_halts(assessment), *_accepted(assessment, facts)]
    cause = {MOST_LIKELY: list(_cause(assessment))}
    groups = {
        _POWER: list(dict.fromkeys(_dangers(assessment, facts))),
        **(cause if assessment.likely_fault is not None else {}),
        _HOT: [*_too_hot(assessment), *_too_short(assessment)],
        _MEND: list(dict.fromkeys(mends)),
        **cause,  # stays where it was put, if it was
        _OR: list(_other_causes(assessment)),
        _WATCH: list(dict.fromkeys(_watches(assessment, facts))),
    }
    opening = [_outcome(assessment), *([_NOT_YET_SAFE] if facts.halted else [])]
    todo = _todo(assessment)
    shown = _fitted(groups, MOST_LINES - len(opening) - len(todo))
    watches = shown.pop(_WATCH)
    return (*opening, *chain.from_iterable(shown.values()), *todo, *watches)


def _fitted(groups: dict[str, list[str]], room: int) -> dict[str, list[str]]:
    """Cut the groups to the room there is: graver ones first, yet each that has lines keeps at least one."""
    shown: dict[str, list[str]] = {}
    names = list(groups)
    for index, name in enumerate(names):
        lines = groups[name]
        later = sum(1 for other in names[index + 1 :] if groups[other])
        space = max(room - later, 0)
        if len(lines) > space:
            kept = lines[: max(space - 1, 0)]
            lines = [*kept, f"{name}: {len(lines) - len(kept)} more, in the tables."] if space else []
        shown[name] = lines
        room -= len(lines)
    return shown


def outcome_word(assessment: Assessment) -> str:
    """Return the verdict of a run in capitals; where its readings together point to a fault, that."""
    return outcome_called(assessment.verdict, likely=assessment.likely_fault is not None)


def _outcome(assessment: Assessment) -> str:
    words = {
        "pass": "Passes: everything asked for was done and is within its limits.",
        "conditional pass": "Passes with conditions, which are listed below.",
        "conditional fail": "Fails, though by less than the uncertainty of the meters.",
        "fail": "Fails.",
        "incomplete": "Not finished: no verdict yet.",
    }
    likely = assessment.likely_fault
    if likely is not None:
        words["conditional pass"] = (
            "Within its limits, and yet its readings together point to a fault, "
            f"most likely ({chance_of(likely)}): {sentence(likely.title)} "
            "Do not leave it on before that is looked at."
        )
    if against := next(chain(_too_hot(assessment), _too_short(assessment)), ""):
        words["conditional pass"] += f" {against}"
    marked = "REHEARSAL. " if assessment.simulated else ""
    return f"{marked}{assessment.tag}: {words[assessment.verdict]}"


def _todo(assessment: Assessment) -> list[str]:
    missing = assessment.missing
    if not missing:
        return []
    first = missing[0]
    again = sum(1 for row in missing if row.again)
    how = f", {again} of them again because something was opened, mended or powered since" if again else ""
    one = len(missing) == 1
    return [
        f"To do: {len(missing)} required {'step is' if one else 'steps are'} not done{how}; "
        f"next: {titled(first.title, first.subject)}."
    ]


def _dangers(assessment: Assessment, facts: RunFacts) -> Iterator[str]:
    earth = {item.key for item in facts.items if item.spec.proves_earth}
    for row in _open_rows(assessment):
        if row.severity == "danger" or _past_stop(row):
            joint = (
                f" {EARTH_JOINT}" if (row.step, row.subject) in earth and isinstance(row, ReadingRow) else ""
            )
            yield f"{_POWER}: {_failure(row)}{joint}"
    for finding in assessment.findings:
        if finding.severity == "danger":
            yield f"{_POWER} before this is settled: {sentence(finding.text)}"
    for violation in facts.violations:
        yield f"{_POWER} on the strength of this log: {sentence(violation)}"


def _worth_saying(assessment: Assessment) -> list[Cause]:
    return [cause for cause in assessment.causes if cause.probability >= WORTH_SAYING][:MOST_CAUSES]


def _cause(assessment: Assessment) -> Iterator[str]:
    """What is most likely wrong, by what, what has to be made safe, and then how to make sure."""
    worth = _worth_saying(assessment)
    if not worth:
        return
    first = worth[0]
    told = first.because and first.fault not in ("healthy", "unknown")
    why = f" By: {sentence(first.because[0])}" if told else ""
    against = f" Against it: {sentence(first.against[0])}" if first.against else ""
    if first.fault == "healthy" and any(row.severity == "danger" for row in _open_rows(assessment)):
        yield f"{MOST_LIKELY} ({chance_of(first)}): {UNKNOWN_DANGER}"
        return
    yield f"{likeliest_words(first)}{why}{against}"
    if first.fault != "healthy":
        if not first.fits:
            yield f"{MOST_LIKELY}, though nothing here fits these readings well: repeat {_off(assessment)}."
        if first.make_safe:
            yield f"{_BEFORE}: {sentence(first.make_safe)}"
        if first.confirm:
            yield f"{_SURE}: {sentence(first.confirm)}"


def _off(assessment: Assessment) -> str:
    """Which readings are off where nothing fits, the farthest first."""
    off = next((cause.because for cause in assessment.causes if cause.fault == "unknown"), ())
    return f"those that are off, the farthest first: {'; '.join(off)}" if off else "those that are off"


def _other_causes(assessment: Assessment) -> Iterator[str]:
    """What else it may be, and what was not weighed."""
    for cause in _worth_saying(assessment)[1:]:
        yield f"{_OR} ({chance_of(cause)}): {with_alike(cause)}"
    if assessment.causes:
        for words in assessment.causes_left_out:
            yield f"Of causes: {sentence(words)}"


def follows_a_cause(line: str) -> bool:
    """Return whether a summary line only says how to go about the cause in the line before it."""
    return line.startswith((f"{_BEFORE}: ", f"{_SURE}: "))


def _halts(assessment: Assessment) -> Iterator[str]:
    """What halted the run and no longer stands: taken again, or amended."""
    for row in assessment.history:
        if row.past_stop:
            yield f"Halted on the way: {titled(row.title, row.subject)}: {sentence(row.text)}"


def _mends(assessment: Assessment) -> Iterator[str]:
    faults = [row for row in _open_rows(assessment) if row.severity == "fault" and not _past_stop(row)]
    sweeps: dict[tuple[str, str], list[ReadingRow]] = {}
    for row in faults:
        if isinstance(row, CheckRow):
            yield f"{_MEND}: {_failure(row)}"
        else:
            sweeps.setdefault((row.title, row.subject.partition(" @ ")[0]), []).append(row)
    for rows in sweeps.values():
        others = f" (The worst of {len(rows)} that fail.)" if len(rows) > 1 else ""
        yield f"{_MEND}: {_failure(max(rows, key=_excess))}{others}"
    for name, rail in assessment.rails.items():
        yield from _rail_mends(name, rail)
    for reading in assessment.readings:
        if reading.verdict == "undecided" and not reading.stale:
            yield f"Settle: {titled(reading.title, reading.subject)}: {sentence(reading.note)}"


def _accepted(assessment: Assessment, facts: RunFacts) -> Iterator[str]:
    """What stays open though nothing else failed in the end: of the earth, gone on with, left out, mended."""
    for words in facts.earth_unsettled:
        yield f"{_UNSETTLED}: {sentence(words)}"
    for check in assessment.checks:
        if check.override and check.failed and not check.stale:
            yield f"{GONE_ON}: {titled(check.title, check.subject)}: {sentence(check.override)}"
        if check.answer == "not applicable" and check.severity == "danger" and not check.stale:
            yield f"Set aside: {titled(check.title, check.subject)}: {sentence(check.note)}"
    for item in facts.items:
        entry = facts.entry(item)
        if item.required and entry is not None and isinstance(entry.event, Skipped):
            yield f"Left out: {titled(item.title, item.subject)}: {sentence(entry.event.reason)}"
    yield from _shortened(facts)
    if facts.untimed:
        yield _fed(facts)
    replaced = [row for row in assessment.history if row.failed and not row.past_stop]
    if replaced:
        first = replaced[0]
        others = f", and {len(replaced) - 1} more" if len(replaced) > 1 else ""
        where = titled(first.title, first.subject)
        yield f"On the way: {where}: {first.text}{others}; the tables have all of it."
    for row in assessment.history:
        if row.kind == "repair":
            yield f"Mended on the way: {sentence(row.text)}"


def _shortened(facts: RunFacts) -> Iterator[str]:
    """What was not held, or waited for, as long as the procedure asks; the entries of a step in one line."""
    early: dict[str, list[str]] = {}
    for item in facts.items:
        entry = facts.entry(item)
        event = entry.event if entry is not None and not entry.stale else None
        if isinstance(event, Answered) and event.against:
            said = f" In writing: {sentence(event.note)}" if event.note else ""
            yield f"Against the readings: {item.title}: {sentence(event.against)}{said}"
        if entry is not None and entry.early and not entry.stale:
            note = "" if isinstance(entry.event, Skipped) else one_line(entry.event.note)
            why = f" ({note})" if note else ""
            words = f"{titled(item.title, item.subject)}: {entry.early}{why}"
            early.setdefault(item.title, []).append(words)
    for each in early.values():
        others = f", and {len(each) - 1} more" if len(each) > 1 else ""
        yield f"Shortened: {sentence(each[-1] + others)}"


def _fed(facts: RunFacts) -> str:
    """What was fed from files, and which times nobody here took."""
    files = " and ".join(f"'{file}' ({plural(count, 'entry', 'entries')})" for file, count in facts.fed)
    if not facts.untimed:
        return f"{_FED}: {files}."
    longest = sorted(facts.untimed, key=lambda item: item.kind != "soak")
    titles = list(dict.fromkeys(item.title for item in longest))
    more = len(titles) - MOST_UNTIMED
    listed = ", ".join(f"'{title}'" for title in titles[:MOST_UNTIMED])
    others = f" and {more} more" if more > 0 else ""
    return f"{_FED}: {files}; the times are those that the file states, not timed here: {listed}{others}."


def _rail_mends(name: str, rail: RailResult) -> Iterator[str]:
    for what, verdict, pct, limit in (
        ("load", rail.load_regulation_verdict, rail.load_regulation_pct, rail.load_regulation_limit_pct),
        ("line", rail.line_regulation_verdict, rail.line_regulation_pct, rail.line_regulation_limit_pct),
    ):
        if verdict in FAILED and pct is not None and limit is not None:
            yield f"{_MEND}: rail {name}: {what} regulation is {show(pct, '%')}, limit {show(limit, '%')}."


def _too_hot(assessment: Assessment) -> Iterator[str]:
    """What would pass its limit in the hottest room allowed."""
    for soak in assessment.too_hot:
        if not soak.withheld:
            yield f"{_HOT}: {soak.sensor}: {soak.hottest_words}."


def _too_short(assessment: Assessment) -> Iterator[str]:
    """What may pass its limit for all that a soak tells that was too short, or follows no curve."""
    for no_curve, why in (
        (False, "the soak was too short to tell"),
        (True, "readings that follow no one curve do not tell"),
    ):
        named = [
            f"{soak.sensor} ({show(soak.last_c, '°C', decimals=1)} at the end, limit "
            f"{show(soak.limit_c, '°C')})"
            for soak in assessment.too_hot
            if soak.withheld and soak.limit_c is not None and soak.no_curve == no_curve
        ]
        if named:
            yield f"{_UNSETTLED}: {why} how hot it gets: {', '.join(named)}."


def _soak_watches(assessment: Assessment) -> Iterator[str]:
    for soak in assessment.soaks:
        if soak.read_once:
            yield from _touched(soak)
        elif not (soak.too_hot_in_the_hottest_room or soak.enough_data):
            why = soak.warnings[0] if soak.warnings else "too little data for a forecast"
            yield f"{_WATCH}: {soak.sensor}: {sentence(why)}"


def _touched(soak: SoakResult) -> Iterator[str]:
    """What is read hot once, and comes so near its limit in the hottest room that its meter does not tell."""
    high = soak.at_max_ambient_high_c
    if high is not None and high > (soak.limit_c or high) and not soak.too_hot_in_the_hottest_room:
        hot, limit = show(soak.hottest_known_c, "°C", decimals=1), show(soak.limit_c or 0.0, "°C")
        yield f"{_WATCH}: {soak.sensor}: {hot} in the hottest room allowed, limit {limit}."


MOST_OF_A_WAVEFORM = 2
"""Sentences about one waveform; the rest is in the tables."""


def _waveform_watches(assessment: Assessment) -> Iterator[str]:
    for problem in assessment.waveform_problems:
        yield f"{_WATCH}: {sentence(problem)}"
    for wave in assessment.waveforms:
        for words in wave.matters[:MOST_OF_A_WAVEFORM]:
            where = f"rail {wave.rail}" if wave.rail else wave.step
            yield f"{_WATCH}: {where}, waveform of the {wave.point or 'rail'}: {sentence(words)}"


def is_danger(line: str) -> bool:
    """Return whether a summary line is of the gravest kind: not to be powered."""
    return line.startswith(_POWER)


def is_watch(line: str, assessment: Assessment, facts: RunFacts) -> bool:
    """Return whether a summary line is of the least grave kind: to be watched, or could be better."""
    return line.startswith(f"{_WATCH}: ") or line in set(_watches(assessment, facts))


def _watches(assessment: Assessment, facts: RunFacts) -> Iterator[str]:
    yield from _waveform_watches(assessment)
    yield from unexpected(assessment, _WATCH)
    for name, rail in assessment.rails.items():
        for warning in rail.warnings:
            yield f"{_WATCH}: rail {name}: {sentence(warning)}"
    yield from _soak_watches(assessment)
    for finding in assessment.findings:
        if finding.severity != "danger":
            yield f"By design: {sentence(finding.text)}"
    yield from _small_watches(assessment, facts)


def _small_watches(assessment: Assessment, facts: RunFacts) -> Iterator[str]:
    for meter in facts.overdue_meters:
        yield f"{_WATCH}: the calibration of '{meter}' had run out when it was used."
    for row in _open_rows(assessment):
        if row.severity == "improvement":
            yield f"Could be better: {_failure(row)}"
    if facts.fed and not facts.untimed:
        yield _fed(facts)
    unstated = sum(row.verdict.startswith("not stated") for row in assessment.readings if not row.stale)
    if unstated:
        yield (
            f"{unstated} of {len(assessment.readings)} readings have no stated uncertainty: the numbers "
            f"were taken as they stand.{ADVICE}"
        )


def _open_rows(assessment: Assessment) -> Iterator[ReadingRow | CheckRow]:
    rows: list[ReadingRow | CheckRow] = [*assessment.checks, *assessment.readings]
    for row in rows:
        settled = isinstance(row, CheckRow) and row.override
        if row.failed and not row.stale and not settled:
            yield row


def _excess(row: ReadingRow) -> float:
    """How far a reading is beyond its limit, in its unit; 0 where that cannot be said."""
    if row.net is None:
        return 0.0
    over = row.net - row.limit_high if row.limit_high is not None else 0.0
    under = row.limit_low - row.net if row.limit_low is not None else 0.0
    return max(over, under, 0.0)


def _past_stop(row: ReadingRow | CheckRow) -> bool:
    return isinstance(row, ReadingRow) and row.past_stop


def _failure(row: ReadingRow | CheckRow) -> str:
    where = titled(row.title, row.subject)
    if isinstance(row, CheckRow):
        return f"{where}: {sentence(row.note or 'failed')}"
    value = row.raw if row.net is None else show(row.net, row.unit, uncertainty=row.uncertainty)
    accepted = f" {GONE_ON}: {sentence(row.override)}" if row.override else ""
    return f"{where}: {value}. {sentence(row.note)}{accepted}"
