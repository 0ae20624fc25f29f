"""A retest beside the run that it carries along: what has changed since, by more than the meters allow."""

from __future__ import annotations

from ohmward.analysis.history_baseline import comparison_words, earlier_run
from ohmward.analysis.history_change import Change
from ohmward.report.document.blocks import AnyBlock, Column, Digest, Heading, Listing, Paragraph, Row, table
from ohmward.report.document.source import Source
from ohmward.report.document.words import Words
from ohmward.report.history_text import change_cells


def comparison(words: Words, source: Source, *, changed: bool = False) -> tuple[AnyBlock, ...]:
    """Return every reading then and now, or those that have changed; nothing for a run that carries none."""
    earlier = earlier_run(source.opened)
    found = source.assessment.comparison
    rows = [each for each in found if each.verdict == "changed" or not changed]
    if earlier is None or (changed and not rows):
        return ()
    columns = (
        Column(head=words("compared.reading"), share=3),
        Column(head=words("compared.then"), share=1.5),
        Column(head=words("compared.now"), share=1.5),
        Column(head=words("compared.change"), share=2),
        Column(head=words("compared.verdict"), share=1.7),
        Column(head=words("compared.scaled"), share=1.8),
    )
    told = words("compared.with", run=earlier.run, date=words.day(earlier.at), procedure=earlier.procedure)
    return (
        Heading(text=words("compared.heading")),
        Paragraph(text=told),
        Listing(items=tuple(comparison_words(earlier, found))),
        *table(words("compared.heading"), columns, [_row(words, each) for each in rows], titled=False),
        Digest(label=words("compared.digest"), text=earlier.last),
    )


def _row(words: Words, change: Change) -> Row:
    name, then, now, difference, verdict = change_cells(change)
    cells = (name, words.number(then), words.number(now), words.number(difference), verdict, change.how)
    return Row(cells=cells, tone="doubt" if change.verdict == "changed" else "")
