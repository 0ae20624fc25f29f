"""What ends a report: meters, what was not tested, how to read it, cautions, and the journal."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from ohmward.analysis.decision import BOUNDARY
from ohmward.bench.meters import Meter, Specification
from ohmward.logbook.events import Answered, Reading, Skipped
from ohmward.quantity import show
from ohmward.report.document.blocks import (
    AnyBlock,
    Column,
    Digest,
    Heading,
    Listing,
    Paragraph,
    Row,
    in_common,
    table,
)
from ohmward.report.document.front import calibration_key
from ohmward.report.document.phrases import tester
from ohmward.report.document.results import of_each
from ohmward.report.document.source import Source
from ohmward.report.document.words import Words

_POINT = re.compile(r"(.+) @ ([0-9.]+) (%|min|s)")
"""A load point or a moment of a soak, as `procedure.expand` names them."""
Entry = tuple[str, str, str]
"""Step, subject, and why it was not done."""


def meters(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return the meters used, with the state of their calibration and their accuracy."""
    used = Counter(
        entry.event.meter for entry in source.facts.entries.values() if isinstance(entry.event, Reading)
    )
    listed = {meter.name: meter for meter in source.state.meters}
    rows = [_meter_row(words, source, meter, used[meter.name]) for meter in listed.values()]
    rows += [
        Row(
            cells=(name or words("meters.by_hand"), "", "", "", "", words("meters.unlisted"), str(count)),
            tone="doubt",
        )
        for name, count in used.items()
        if name not in listed
    ]
    columns = (
        Column(head=words("meters.name"), share=1.8),
        Column(head=words("meters.kind"), share=1.5),
        Column(head=words("meters.serial"), share=1.4),
        Column(head=words("meters.calibrated"), share=1.4),
        Column(head=words("meters.due"), share=1.4),
        Column(head=words("meters.state"), share=1.6),
        Column(head=words("meters.used"), share=0.9),
    )
    rows, common = in_common(rows)
    blocks: list[AnyBlock] = [Heading(text=words("meters.heading"))]
    blocks += (*table(words("meters.table"), columns, rows), *of_each(words, common))
    if not listed:
        blocks.append(Paragraph(text=words("meters.none")))
    ranges: dict[tuple[str, str, str], list[Specification]] = {}
    for meter in listed.values():
        for one in meter.specifications if used[meter.name] else ():
            ranges.setdefault((meter.name, one.function, one.accuracy.text), []).append(one)
    specs = [
        Row(cells=(name, function, _ranges(words, each), text))
        for (name, function, text), each in ranges.items()
    ]
    spec_columns = (
        Column(head=words("meters.name"), share=1.5),
        Column(head=words("meters.function"), share=1.3),
        Column(head=words("meters.range"), share=1.5),
        Column(head=words("meters.spec"), share=1.8),
    )
    blocks += table(words("meters.accuracy"), spec_columns, specs)
    return tuple(blocks)


def _meter_row(words: Words, source: Source, meter: Meter, count: int) -> Row:
    state = calibration_key(source, meter)
    return Row(
        cells=(
            meter.name,
            meter.kind,
            meter.serial or words("plain.not_stated"),
            _day(words, meter.calibrated),
            _day(words, meter.due),
            words(f"calibration.{state}"),
            str(count),
        ),
        note=meter.note,
        tone="bad" if state == "overdue" else "doubt" if state != "in_date" and count else "",
    )


def _day(words: Words, day: date | None) -> str:
    return words("plain.not_stated") if day is None else words.day(day.isoformat())


def _ranges(words: Words, of_one: Sequence[Specification]) -> str:
    """Return the ranges of a meter for which it states one accuracy."""
    shown = [words.number(show(one.high, one.unit)) for one in of_one if not math.isinf(one.high)]
    if len(shown) < len(of_one):
        return words("meters.any_range")
    if any(one.low for one in of_one):
        lows = (words.number(show(one.low, one.unit)) for one in of_one)
        return ", ".join(f"{low} {words('plain.to')} {top}" for low, top in zip(lows, shown, strict=True))
    return words("meters.up_to", value=", ".join(shown))


def not_tested(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return everything that was not tested, with why."""
    blocks: list[AnyBlock] = [Heading(text=words("left.heading"))]
    columns = (
        Column(head=words("left.step"), share=2.4),
        Column(head=words("stage.subject"), share=2.4),
        Column(head=words("left.why"), share=2),
    )
    for key, entries in left_out(words, source).items():
        if key == "set_aside":
            blocks += _set_aside(words, source)
        else:
            blocks += table(words(f"left.{key}"), columns, _merged(entries))
    if len(blocks) == 1:
        blocks.append(Paragraph(text=words("left.nothing")))
    return (*blocks, Paragraph(text=words("left.always")))


def _set_aside(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return each check that somebody set aside as not applicable: how grave, why, by whom and when."""
    columns = (
        Column(head=words("left.step"), share=2.4),
        Column(head=words("stage.subject"), share=1),
        Column(head=words("stage.severity"), share=1),
        Column(head=words("left.why"), share=2.4),
        Column(head=words("results.by_whom"), share=2),
    )
    rows = []
    for item in source.state.items:
        entry = source.facts.entry(item)
        if entry is not None and isinstance(entry.event, Answered) and entry.event.answer == "not applicable":
            who = f"{tester(words, source.operator_at(entry.at))}\n{words.moment(entry.at)}"
            severity = words(f"severity.{item.spec.severity}")
            rows.append(Row(cells=(item.title, item.subject, severity, entry.event.note, who)))
    return table(words("left.set_aside"), columns, rows)


def left_out(words: Words, source: Source) -> dict[str, list[Entry]]:
    """Return what was not tested by kind: missing, skipped, set_aside, optional."""
    found: dict[str, list[Entry]] = {"missing": [], "skipped": [], "set_aside": [], "optional": []}
    for row in source.assessment.missing:
        why = words("left.missing_again" if row.again else "left.missing_never")
        found["missing"].append((row.title, row.subject, why))
    for item in source.state.items:
        entry = source.facts.entry(item)
        event = entry.event if entry else None
        if isinstance(event, Skipped):
            found["skipped"].append((item.title, item.subject, event.reason))
        elif isinstance(event, Answered) and event.answer == "not applicable":
            found["set_aside"].append((item.title, item.subject, event.note))
        elif event is None and not item.required:
            found["optional"].append((item.title, item.subject, words("left.missing_never")))
    return found


def _merged(entries: list[Entry]) -> list[Row]:
    """Return one row for all subjects of a step that were left out for the same reason."""
    subjects: dict[tuple[str, str], list[str]] = {}
    for title, subject, why in entries:
        subjects.setdefault((title, why), []).append(subject)
    return [Row(cells=(title, together(on), why)) for (title, why), on in subjects.items()]


def together(subjects: Iterable[str]) -> str:
    """Return subjects in one line, the points of each once: '+15 @ 0, 10, 25 %; lid'."""
    points: dict[tuple[str, str], list[str]] = {}
    for subject in subjects:
        found = _POINT.fullmatch(subject)
        name, point, unit = found.groups() if found else (subject, "", "")
        points.setdefault((name, unit), []).append(point)
    shown = [f"{name} @ {', '.join(at)} {unit}" if unit else name for (name, unit), at in points.items()]
    return ("; " if any(unit for _, unit in points) else ", ").join(shown)


def reading_help(words: Words) -> tuple[AnyBlock, ...]:
    """Return how to read the tables."""
    return (
        Heading(text=words("read.heading")),
        Paragraph(text=words("read.decision")),
        Paragraph(text=words("read.uncertainty")),
        Paragraph(text=words("read.rule", boundary=BOUNDARY[0].upper() + BOUNDARY[1:])),
        Paragraph(text=words("read.severities")),
        Paragraph(text=words("read.stale")),
    )


def cautions(words: Words) -> tuple[AnyBlock, ...]:
    """Return the cautions, which defer to local codes and to who is licensed."""
    lines = tuple(words(f"cautions.{key}") for key in ("power", "code", "label", "doubt"))
    return (Heading(text=words("cautions.heading")), Listing(items=lines))


def journal(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return what checking the journal found, and what a chain of hashes cannot show."""
    checked = source.verification
    return (
        Heading(text=words("journal.heading")),
        Paragraph(
            text=words("journal.intact" if checked.intact else "journal.damaged"), framed=not checked.intact
        ),
        *_listed(_problems(words, source)),
        Digest(label=words("front.digest", records=checked.records), text=checked.last_digest),
        Paragraph(text=words("front.digest_check", name=source.name)),
        *_chain(words, source),
        *(Paragraph(text=said, quiet=True) for said in checked.cannot_show),
        Heading(level=3, text=words("journal.sessions")),
        Listing(
            items=tuple(
                words("journal.session", when=words.moment(at), operator=tester(words, operator), tool=tool)
                for at, operator, tool in source.sessions
            )
        ),
    )


def _chain(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return the head of the logbook's chain of closed runs, as it stood when this was made."""
    head = source.verification.head
    if head is None:
        return ()
    label = words("journal.chain", bench=head.bench, runs=head.runs, date=words.day(head.at))
    return (Digest(label=label, text=head.digest), Paragraph(text=words("journal.chain_check"), quiet=True))


def _problems(words: Words, source: Source) -> Iterator[str]:
    checked = source.verification
    for line, said in checked.problems:
        yield words("journal.problem", line=line, words=said)
    for said in source.facts.violations:
        yield words("journal.violation", words=said)
    for line, said in checked.notices:
        yield words("journal.notice", line=line, words=said)


def _listed(lines: Iterator[str]) -> tuple[AnyBlock, ...]:
    found = tuple(lines)
    return (Listing(items=found),) if found else ()
