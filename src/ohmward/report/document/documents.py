"""The documents: the whole report, the short form for the binder, and the fault sheet for a repairer."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from msgspec.structs import replace

from ohmward.analysis.cause_words import WORTH_SAYING
from ohmward.analysis.rows import CheckRow
from ohmward.report.document import closing, front, results
from ohmward.report.document.blocks import (
    AnyBlock,
    Column,
    Document,
    Fields,
    Heading,
    Listing,
    PageBreak,
    Paper,
    Paragraph,
    Picture,
    Row,
    Ruled,
    Table,
    table,
)
from ohmward.report.document.columns import fitted
from ohmward.report.document.compared import comparison
from ohmward.report.document.keyfigures import key_figures, rail_figures, unit_figures
from ohmward.report.document.phrases import band, chance, failed_rows, row_verdict, running_head, where
from ohmward.report.document.source import Source
from ohmward.report.document.stages import net, stages
from ohmward.report.document.words import Words
from ohmward.run.guidance import make_safe_words

LONGEST_SHORT = 220
"""Characters of a line on the short form; the whole of it is in the full report."""
MOST_RAILS_SHORT = 24
"""On the short form, in letters that can still be read; all of them are in the full report."""
LINES_TO_WRITE = 5
"""On the fault sheet, for what was done."""


def full(
    words: Words, source: Source, *, paper: Paper | None = None, pictures: Sequence[Picture] = ()
) -> Document:
    """Return the whole report.

    Parameters
    ----------
    words : Words
        Language and style.
    source : Source
        The run.
    paper : str, optional
        ``a4`` or ``letter``; that of the locale when left out.
    pictures : sequence of Picture
        Figures, drawn already.
    """
    drawn: tuple[AnyBlock, ...] = ()
    if pictures:
        drawn = (Heading(text=words("pictures.heading")), *pictures)
    blocks = (
        *front.front(words, source),
        PageBreak(),
        *key_figures(words, source),
        *results.causes(words, source),
        *results.overrides(words, source),
        *results.findings(words, source),
        *stages(words, source),
        *results.results(words, source),
        *comparison(words, source),
        *closing.meters(words, source),
        *drawn,
        *results.history(words, source),
        *closing.not_tested(words, source),
        *closing.reading_help(words),
        *closing.cautions(words),
        *results.attempts(words, source),
        *closing.journal(words, source),
    )
    return _document(words, source, "full", blocks, paper, contents=words("plain.contents"))


def short(words: Words, source: Source, *, paper: Paper | None = None) -> Document:
    """Return the one page for the binder."""
    counts = {key: len(rows) for key, rows in closing.left_out(words, source).items()}
    left = words(
        "short.left_value",
        missing=counts["missing"],
        skipped=counts["skipped"],
        aside=counts["set_aside"],
        optional=counts["optional"],
    )
    blocks = (
        *front.outcome(words, source),
        Heading(level=2, text=words("front.findings")),
        Listing(
            items=tuple(front.cut(line, LONGEST_SHORT) for line in front.findings(words, source)),
            numbered=True,
        ),
        *_cut_overrides(words, source),
        Fields(
            rows=_cut_facts(
                (
                    *front.unit(words, source),
                    *front.test(words, source),
                    *front.conditions(words, source),
                    *unit_figures(words, source),
                    (words("short.left"), left),
                )
            ),
            columns=2,
        ),
        *_short_rails(words, source),
        Paragraph(text=words("front.statement", date=words.day(source.tested.isoformat())), quiet=True),
        Paragraph(text=words("short.full"), quiet=True),
        front.signatures(words),
        *front.journal(words, source),
    )
    return _document(words, source, "short", blocks, paper, one_page=True)


def repair(words: Words, source: Source, *, paper: Paper | None = None) -> Document:
    """Return the fault sheet: what is wrong, what it most likely is, how to make sure of it safely."""
    blocks = (
        *front.outcome(words, source),
        Paragraph(text=words("repair.intro" if source.assessment.failed else "repair.not_failed")),
        *_conditions(words, source),
        *_safety(words, source),
        *_failures(words, source),
        *_odd(words, source),
        *comparison(words, source, changed=True),
        *_causes(words, source),
        *results.findings(words, source),
        Heading(text=words("repair.state")),
        Fields(rows=(*front.unit(words, source), *front.conditions(words, source)), columns=2),
        *results.history(words, source),
        Heading(text=words("repair.baseline")),
        Fields(rows=unit_figures(words, source)),
        *rail_figures(words, source),
        *_short_results(words, source),
        Heading(text=words("repair.done")),
        Ruled(lines=LINES_TO_WRITE),
        Paragraph(text=words("repair.after")),
        front.signatures(words, "role_mender"),
        *front.journal(words, source),
    )
    return _document(words, source, "repair", blocks, paper)


def _document(
    words: Words,
    source: Source,
    form: str,
    blocks: tuple[AnyBlock, ...],
    paper: Paper | None,
    *,
    contents: str = "",
    one_page: bool = False,
) -> Document:
    title = words(f"form.{form}")
    digest = source.verification.last_digest
    return Document(
        title=title,
        subject=words("front.subject", tag=source.facts.tag, title=source.supply.title),
        language=words.language,
        direction=words.style.direction,
        paper=paper or words.style.paper,
        rehearsal=words("plain.rehearsal") if source.facts.simulated else "",
        running=running_head(words, source),
        foot=f"{source.facts.run} · SHA-256 {digest[:16]}…",
        page_words=words("plain.page", page="{page}", pages="{pages}"),
        contents=contents,
        one_page=one_page,
        digest=digest,
        at=source.last_at,
        missing_words=words("plain.missing_script", scripts="{scripts}"),
        blocks=tuple(fitted(block) if isinstance(block, Table) else block for block in blocks),
    )


def _cut_facts(facts: tuple[tuple[str, str], ...]) -> tuple[tuple[str, str], ...]:
    return tuple((name, front.cut(said, LONGEST_SHORT)) for name, said in facts)


def _cut_overrides(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    return tuple(
        Listing(items=tuple(front.cut(line, LONGEST_SHORT) for line in block.items))
        if isinstance(block, Listing)
        else block
        for block in front.overrides(words, source)
    )


def _short_rails(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return the rails, the failed ones first where not all of them can stand on the page."""
    blocks = []
    for block in rail_figures(words, source):
        (group,) = block.groups
        rows = group.rows
        if len(rows) > MOST_RAILS_SHORT:
            kept = sorted(rows, key=lambda row: row.tone != "bad")[:MOST_RAILS_SHORT]
            more = words("plain.and_more", count=len(rows) - MOST_RAILS_SHORT)
            rows = (*kept, Row(cells=("",) * len(rows[0].cells), note=more))
        cut = tuple(replace(row, cells=tuple(_cut_cell(cell) for cell in row.cells)) for row in rows)
        blocks.append(replace(block, groups=(replace(group, rows=cut),)))
    return tuple(blocks)


def _cut_cell(text: str) -> str:
    return front.cut_anywhere(text, 40)


def _short_results(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    return tuple(block for block in results.results(words, source) if not isinstance(block, Heading))


def _conditions(words: Words, source: Source) -> tuple[AnyBlock, ...]:
    """Return the conditions of a pass, which its sentence refers to; a failure has its own tables."""
    if source.assessment.verdict != "conditional pass":
        return ()
    found = Listing(items=front.findings(words, source), numbered=True)
    return (Heading(level=2, text=words("front.findings")), found)


def _safety(words: Words, source: Source) -> Iterator[AnyBlock]:
    yield Heading(text=words("repair.safety"))
    yield Paragraph(text=make_safe_words(source.state), framed=True)
    lines = [words("cautions.power"), words("cautions.code")]
    if source.supply.mains.fuse is not None:
        lines.append(words("repair.fuse", fuse=front.fuse(words, source.supply.mains.fuse)))
    yield Listing(items=tuple(lines))


def _failures(words: Words, source: Source) -> Iterator[AnyBlock]:
    yield Heading(text=words("repair.failed"))
    rows = failed_rows(source)
    if not rows:
        yield Paragraph(text=words("repair.failed_none"))
        return
    columns = (
        Column(head=words("stage.severity"), share=1),
        Column(head=words("left.step"), share=2.6),
        Column(head=words("stage.net"), share=1.6),
        Column(head=words("stage.limit"), share=1.6),
        Column(head=words("stage.verdict"), share=1.4),
    )
    made = []
    for row in rows:
        read, limit = words("plain.dash"), words("plain.dash")
        if not isinstance(row, CheckRow):
            read = net(words, row) if row.net is not None else row.raw
            limit = band(words, row.limit_low, row.limit_high, row.unit)
        notes = [row.note, words("verdict.accepted", reason=row.override) if row.override else ""]
        made.append(
            Row(
                cells=(
                    words(f"severity.{row.severity}"),
                    where(row.title, row.subject),
                    read,
                    limit,
                    row_verdict(words, row),
                ),
                note="\n".join(note for note in notes if note),
                tone="bad",
            )
        )
    yield from table(words("repair.failed"), columns, made, titled=False)


def _odd(words: Words, source: Source) -> Iterator[AnyBlock]:
    rows = [
        row
        for row in source.assessment.readings
        if not row.stale and not row.failed and row.as_expected is False
    ]
    columns = (
        Column(head=words("left.step"), share=3),
        Column(head=words("stage.net"), share=1.8),
        Column(head=words("stage.expected"), share=1.8),
    )
    made = [
        Row(
            cells=(
                where(row.title, row.subject),
                net(words, row),
                band(words, row.expected_low, row.expected_high, row.unit),
            )
        )
        for row in rows
    ]
    if made:
        yield Heading(text=words("repair.odd"))
        yield from table(words("repair.odd"), columns, made, titled=False)


def _causes(words: Words, source: Source) -> Iterator[AnyBlock]:
    yield Heading(text=words("repair.causes"))
    causes = [cause for cause in source.assessment.causes if cause.fault != "healthy"]
    if not causes:
        yield Paragraph(text=words("repair.causes_none"))
        return
    if not causes[0].fits:
        yield Paragraph(text=words("results.poor"), framed=True)
    for number, cause in enumerate(causes, start=1):
        head = words("repair.cause_head", number=number, title=cause.title, chance=chance(words, cause))
        yield Heading(level=2, text=head)
        facts = [
            (words("repair.make_safe"), cause.make_safe or words("repair.default_safe")),
            (words("repair.confirm"), cause.confirm or words("repair.no_confirm")),
        ]
        if cause.alike:
            facts.append((words("repair.alike"), cause.alike))
        if cause.because and cause.probability >= WORTH_SAYING:
            facts.append((words("repair.decided"), "\n".join(cause.because)))
        if cause.against:
            facts.append((words("repair.against"), "\n".join(cause.against)))
        yield Fields(rows=tuple(facts))
    yield from results.left_out(words, source)
