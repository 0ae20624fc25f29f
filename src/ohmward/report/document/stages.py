"""Stage by stage: every check and every reading of a run, with limit, basis, uncertainty and meter."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ohmward.analysis.rows import CheckRow, ReadingRow
from ohmward.logbook.events import Reading
from ohmward.procedure.model import Item, Stage
from ohmward.quantity import show, show_value
from ohmward.report.document.blocks import (
    AnyBlock,
    Column,
    Group,
    Heading,
    Listing,
    Paragraph,
    Row,
    Table,
)
from ohmward.report.document.phrases import band, row_tone, row_verdict, value
from ohmward.report.document.source import Source
from ohmward.report.document.words import Words


def stages(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return every stage of the procedure in its order."""
    procedure = source.state.procedure
    found: list[AnyBlock] = []
    for number, stage in enumerate(procedure.stages if procedure else (), start=1):
        found += _stage(words, source, stage, number)
    return tuple(found)


def _stage(words: Words, source: Source, stage: Stage, number: int) -> Iterator[AnyBlock]:
    items = [item for item in source.state.items if item.stage == stage.name]
    yield Heading(text=words("stage.heading", number=number, title=stage.title))
    yield Paragraph(text=_about(words, source, stage, items))
    checks = {(row.step, row.subject): row for row in source.assessment.checks}
    readings = {(row.step, row.subject): row for row in source.assessment.readings}
    done_checks = [(item, checks[item.key]) for item in items if item.key in checks]
    done_readings = [(item, readings[item.key]) for item in items if item.key in readings]
    if not done_checks and not done_readings:
        yield Paragraph(text=words("stage.nothing"))
        return
    if done_checks:
        yield _checks(words, source, stage, done_checks)
    if done_readings:
        bases = list(dict.fromkeys(row.basis for _, row in done_readings if row.basis))
        yield _readings(words, source, stage, done_readings, bases)
        predicted = {
            item.together for item, row in done_readings if item.load_a and row.expected_low is not None
        }
        if len(predicted) > 1:
            yield Paragraph(text=words("stage.all_hot"), quiet=True)
        if bases:
            yield Heading(level=3, text=words("stage.bases"))
            yield Listing(
                items=tuple(
                    words("stage.basis_line", mark=mark(index), basis=basis)
                    for index, basis in enumerate(bases)
                ),
                quiet=True,
            )


def _about(words: Words, source: Source, stage: Stage, items: list[Item]) -> str:
    kind = words(f"stage.{'make_safe' if stage.role else 'energised' if stage.energised else 'dead'}")
    entries = [entry for item in items if (entry := source.facts.entry(item)) is not None]
    moments = sorted(entry.at for entry in entries)
    fields = {"kind": kind, "done": len(entries), "total": len(items)}
    if not moments:
        return words("stage.about", **fields)
    return words(
        "stage.about_times", **fields, first=words.moment(moments[0]), last=words.moment(moments[-1])
    )


def mark(index: int) -> str:
    """Return the mark of a basis: a to z, then aa, ab and so on."""
    letters = ""
    index += 1
    while index:
        index, digit = divmod(index - 1, 26)
        letters = chr(ord("a") + digit) + letters
    return letters


def _checks(words: Words, source: Source, stage: Stage, rows: list[tuple[Item, CheckRow]]) -> Table:
    about = any(row.subject for _, row in rows)
    subject = (Column(head=words("stage.subject"), share=2),) if about else ()
    columns = (
        Column(head=words("stage.check"), share=1),
        *subject,
        Column(head=words("stage.severity"), share=1.5),
        Column(head=words("stage.answer"), share=2),
        Column(head=words("stage.when"), share=1),
    )
    made = [
        (
            item.spec.group,
            Row(
                cells=(
                    row.title,
                    *((row.subject,) if about else ()),
                    words(f"severity.{row.severity}"),
                    row_verdict(words, row),
                    clock(row.at),
                ),
                note=_qualified(words, row, row.note if row.answer != "not done" else ""),
                tone=row_tone(row),
            ),
        )
        for item, row in rows
    ]
    return Table(caption=words("stage.checks", title=stage.title), columns=columns, groups=grouped(made))


def _readings(
    words: Words, source: Source, stage: Stage, rows: list[tuple[Item, ReadingRow]], bases: list[str]
) -> Table:
    columns = (
        Column(head=words("stage.reading"), share=2.0),
        Column(head=words("stage.read"), share=1.0),
        Column(head=words("stage.net"), share=2.0),
        Column(head=words("stage.limit"), share=1.6),
        Column(head=words("stage.basis"), share=0.6),
        Column(head=words("stage.expected"), share=1.8),
        Column(head=words("stage.verdict"), share=1.45),
        Column(head=words("stage.meter"), share=1.8),
    )
    made = [(item.spec.title, _reading(words, source, item, row, bases)) for item, row in rows]
    return Table(caption=words("stage.readings", title=stage.title), columns=columns, groups=grouped(made))


def _reading(words: Words, source: Source, item: Item, row: ReadingRow, bases: list[str]) -> Row:
    about = _about_what(item, row) or words("plain.dash")
    if _left_out(row):  # it has nothing for the other columns
        said = f"{words('stage.left_out_at', at=clock(row.at))} {_qualified(words, row, '')}"
        if row.basis:
            limit = band(words, row.limit_low, row.limit_high, row.unit)
            said += " " + words("stage.its_limit", limit=limit, mark=mark(bases.index(row.basis)))
        return Row(cells=(about, *[""] * 7), note=said, tone=row_tone(row))
    return Row(
        cells=(
            about,
            _read(words, source, item, row),
            _net_beside_verdict(words, row),
            band(words, row.limit_low, row.limit_high, row.unit),
            f"[{mark(bases.index(row.basis))}]" if row.basis else "",
            band(words, row.expected_low, row.expected_high, row.unit),
            row_verdict(words, row),
            ", ".join(part for part in (row.meter, clock(row.at)) if part),
        ),
        note="\n".join(
            filter(None, (_qualified(words, row, _note(source, item, row)), _taken(words, source, item)))
        ),
        tone=row_tone(row),
    )


def _read(words: Words, source: Source, item: Item, row: ReadingRow) -> str:
    """Return a reading as it was typed; one that a meter gave as it reads, its reply is in the journal."""
    entry = source.facts.entry(item)
    event = entry.event if entry else None
    if isinstance(event, Reading) and event.replies:
        return words.number(show_value(event.value))
    return row.raw or words("plain.dash")


def _taken(words: Words, source: Source, item: Item) -> str:
    """Return how a reading was taken where it was more than one look at a meter."""
    entry = source.facts.entry(item)
    event = entry.event if entry else None
    if not isinstance(event, Reading):
        return ""
    parts = []
    if event.immediate is not None:
        parts.append(words("stage.at_once", value=words.number(show_value(event.immediate))))
    if event.count > 1 and event.standard_deviation == 0.0:
        parts.append(words("stage.mean_of_equal", count=event.count))
    elif event.count > 1 and event.standard_deviation is not None:
        spread = show(event.standard_deviation, event.value.unit, uncertainty=event.standard_deviation)
        parts.append(words("stage.mean_of", count=event.count, spread=words.number(spread)))
    volts = source.facts.test_v.get(item.key)
    if volts is not None and show(volts, "V") not in event.note:
        parts.append(words("stage.tested_at", voltage=value(words, volts, "V")))
    return " ".join(parts)


def _about_what(item: Item, row: ReadingRow) -> str:
    several = item.read is not None and item.read.name and len(item.spec.reads) > 1
    name = item.read.name if several and item.read else ""
    return ", ".join(part for part in (row.subject, name) if part)


def net(words: Words, row: ReadingRow) -> str:
    """Return what was judged, with U; a bound or an overload stands as it was read."""
    if row.net is None:
        return words("plain.dash")
    bound = row.raw[:1] if row.raw[:1] in {"<", ">"} else ""
    if row.uncertainty is None and not bound:
        return words("stage.net_unstated", value=value(words, row.net, row.unit))
    shown = value(words, row.net, row.unit, row.uncertainty)
    return f"{bound} {shown}" if bound else shown


def _net_beside_verdict(words: Words, row: ReadingRow) -> str:
    """Return the same without 'U not stated', where the verdict in the row says that already."""
    said = row.verdict.startswith("not stated") and row.uncertainty is None and row.raw[:1] not in {"<", ">"}
    return value(words, row.net, row.unit) if said else net(words, row)


def _note(source: Source, item: Item, row: ReadingRow) -> str:
    """Return the note of the judgement where it says more than the columns do, else the person's own."""
    entry = source.facts.entry(item)
    own = getattr(entry.event, "note", "") if entry is not None else ""
    plain = row.verdict in {"pass", "not stated: pass", "not applicable"} and row.as_expected is not False
    return own if plain else ("" if row.verdict == "not done" else row.note)


def _left_out(row: ReadingRow | CheckRow) -> bool:
    if isinstance(row, CheckRow):
        return row.answer == "not done"
    return row.verdict == "not done" and not row.raw


def _qualified(words: Words, row: ReadingRow | CheckRow, note: str) -> str:
    parts = [note]
    close = isinstance(row, ReadingRow) and row.verdict in {"conditional pass", "conditional fail"}
    if close and isinstance(row, ReadingRow) and row.probability is not None:
        parts.append(words("stage.probability", percent=f"{100 * row.probability:.0f}"))
    if _left_out(row):
        parts.append(words("verdict.left_out", reason=row.note))
    if row.override:
        parts.append(words("verdict.accepted", reason=row.override))
    if row.amended:
        parts.append(words("verdict.amended", reason=row.amended))
    return "\n".join(part for part in parts if part)


def grouped(rows: Iterable[tuple[str, Row]]) -> tuple[Group, ...]:
    """Return rows under their headings, in their order; a heading that comes again begins a new group."""
    groups: list[tuple[str, list[Row]]] = []
    for head, row in rows:
        if not groups or groups[-1][0] != head:
            groups.append((head, []))
        groups[-1][1].append(row)
    return tuple(Group(head=head, rows=tuple(found)) for head, found in groups)


def clock(at: str) -> str:
    """Return the time of day of an ISO 8601 moment, as in the journal."""
    return at[11:16]
