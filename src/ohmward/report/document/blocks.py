"""What a document is made of: blocks in their order, the same for paper and for the screen.

A document holds plain text only. Nothing in it is markup of any kind; `pdf` and `html` set it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import msgspec
from msgspec.structs import replace

Tone = Literal["pass", "conditions", "fail", "open"]
"""How a verdict is framed, so that it tells apart in black and white too."""
RowTone = Literal["", "bad", "doubt"]
Paper = Literal["a4", "letter"]


class Block(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind"):
    """One block of a document."""


class Heading(Block, frozen=True, kw_only=True, tag="heading"):
    """A heading; level 1 opens a section."""

    level: int = 1
    text: str


class Paragraph(Block, frozen=True, kw_only=True, tag="paragraph"):
    """Running text."""

    text: str
    quiet: bool = False
    """Set smaller: what explains, not what was found."""
    framed: bool = False
    """A warning that has to be seen."""


class Verdict(Block, frozen=True, kw_only=True, tag="verdict"):
    """The outcome, large."""

    word: str
    sentence: str
    tone: Tone


class Fields(Block, frozen=True, kw_only=True, tag="fields"):
    """Names and values."""

    rows: tuple[tuple[str, str], ...]
    columns: int = 1


class Listing(Block, frozen=True, kw_only=True, tag="listing"):
    """Sentences one below the other."""

    items: tuple[str, ...]
    numbered: bool = False
    quiet: bool = False
    """Set smaller, as what explains a table above it."""


class Column(msgspec.Struct, frozen=True, kw_only=True):
    """One column of a table."""

    head: str
    share: float = 1.0
    """Of the width of the table, in parts of the sum."""


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """One row; `note` is set below it over the whole width."""

    cells: tuple[str, ...]
    note: str = ""
    tone: RowTone = ""


class Group(msgspec.Struct, frozen=True, kw_only=True):
    """Rows under one sub-heading, which is repeated where they go on over a page; empty for none."""

    head: str = ""
    rows: tuple[Row, ...]


class Table(Block, frozen=True, kw_only=True, tag="table"):
    """A table, its head repeated on every page."""

    caption: str
    columns: tuple[Column, ...]
    groups: tuple[Group, ...]
    titled: bool = True
    """False where the heading above says the same as the caption already."""


class Picture(Block, frozen=True, kw_only=True, tag="picture"):
    """A figure as SVG, with the words that stand for it where it cannot be seen."""

    svg: str
    caption: str
    instead: str


class Digest(Block, frozen=True, kw_only=True, tag="digest"):
    """A hash, to be compared figure by figure."""

    label: str
    text: str


class Signatures(Block, frozen=True, kw_only=True, tag="signatures"):
    """Lines to sign on: who, and as what."""

    roles: tuple[str, ...]
    name: str
    signature: str
    date: str


class Ruled(Block, frozen=True, kw_only=True, tag="ruled"):
    """Empty lines to write on by hand."""

    lines: int


class PageBreak(Block, frozen=True, kw_only=True, tag="break"):
    """What follows begins a page."""


AnyBlock = (
    Heading
    | Paragraph
    | Verdict
    | Fields
    | Listing
    | Table
    | Picture
    | Digest
    | Signatures
    | Ruled
    | PageBreak
)


class Document(msgspec.Struct, frozen=True, kw_only=True):
    """A whole document."""

    title: str
    subject: str
    """What it is about, in one line."""
    language: str
    direction: str = "ltr"
    paper: Paper
    rehearsal: str
    """Printed across every page; empty for a real run."""
    running: str
    """At the head of every page: the supply and the verdict."""
    foot: str
    """At the foot of every page: run and hash."""
    page_words: str
    """With ``{page}`` and ``{pages}``."""
    contents: str = ""
    """Title of the table of contents; empty for none."""
    one_page: bool = False
    """Set as small as it needs to be to stand on one page."""
    digest: str
    """Last digest of the journal."""
    at: str
    """Moment of the last record, ISO 8601: the document's own date."""
    missing_words: str = ""
    """Said at the end where text is in a script that no font here has; with ``{scripts}``."""
    blocks: tuple[AnyBlock, ...]


def in_common(rows: Sequence[Row]) -> tuple[list[Row], tuple[str, ...]]:
    """Return rows without the lines that stand in the note of every one of them, and those lines.

    Two rows or more, of which each says the same, are told it once.
    """
    notes = [row.note.split("\n") for row in rows]
    common = (
        tuple(line for line in notes[0] if line and all(line in note for note in notes)) if rows[1:] else ()
    )
    if not common:
        return list(rows), ()
    left = ["\n".join(line for line in note if line not in common) for note in notes]
    return [replace(row, note=note) for row, note in zip(rows, left, strict=True)], common


def table(
    caption: str, columns: tuple[Column, ...], rows: tuple[Row, ...] | list[Row], *, titled: bool = True
) -> tuple[Table, ...]:
    """Return a table of rows without sub-headings, and nothing where there are no rows."""
    if not rows:
        return ()
    return (Table(caption=caption, columns=columns, groups=(Group(rows=tuple(rows)),), titled=titled),)
