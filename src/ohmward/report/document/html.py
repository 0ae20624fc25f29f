"""A document as one HTML file: no script, nothing from outside, every text escaped; it prints well."""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterator
from html import escape
from pathlib import Path
from typing import Any

import msgspec

from ohmward.report.document.blocks import (
    Block,
    Digest,
    Document,
    Fields,
    Group,
    Heading,
    Listing,
    PageBreak,
    Paragraph,
    Picture,
    Row,
    Ruled,
    Signatures,
    Table,
    Verdict,
)
from ohmward.report.document.pdf import walk
from ohmward.report.document.scripts import clean

_STYLE = Path(__file__).resolve().parent / "template" / "document.css"
MANY_COLUMNS = 5
"""From which a table is moved sideways on a small screen rather than squeezed into it."""
_FLAGS = {"bad": "▲ ", "doubt": "△ ", "": ""}


def to_html(document: Document) -> str:
    """Set a document as a whole page; the same document gives the same text."""
    shown = msgspec.convert(walk(msgspec.to_builtins(document), clean), Document)
    return "".join(_page(shown))


def _page(document: Document) -> Iterator[str]:
    paper = {"a4": "A4", "letter": "letter"}[document.paper]
    style = _STYLE.read_text(encoding="utf-8")
    title = f"{document.title}: {document.running}"
    kind = ' class="one"' if document.one_page else ""
    language, direction = _text(document.language), _text(document.direction)
    yield f'<!DOCTYPE html>\n<html{kind} lang="{language}" dir="{direction}">\n<head>\n'
    yield '<meta charset="utf-8">\n'
    policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
    yield f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
    yield f"<title>{_text(title)}</title>\n"
    for name, content in (
        ("description", document.subject),
        ("keywords", f"{document.foot}, sha256:{document.digest}"),
        ("dcterms.date", document.at),
    ):
        yield f'<meta name="{name}" content="{_text(content)}">\n'
    style = style.replace("PAPER", paper).replace("RUNNING", _in_css(document.running))
    yield f"<style>\n{style}</style>\n</head>\n"
    yield "<body>\n"
    if document.rehearsal:
        yield f'<div class="rehearsal" data-mark="{_text(document.rehearsal)}" aria-hidden="true"></div>\n'
    yield f'<header class="running">{_text(document.running)}</header>\n<main>\n'
    yield f"<h1>{_text(document.title)} <small>{_text(document.subject)}</small></h1>\n"
    depth = 1
    for number, block in enumerate(document.blocks):
        if isinstance(block, Heading):  # the outline skips no level, whatever the size asked for
            depth = min(block.level + 1, depth + 1)
            yield _heading(block, f"s{number}", depth)
        else:
            yield _SETTERS[type(block)](block)
        if isinstance(block, PageBreak) and document.contents:
            yield _contents(document)
    yield f"</main>\n<footer>{_text(document.foot)}</footer>\n</body>\n</html>\n"


def _in_css(text: str) -> str:
    """Return text as it may stand in a string of a style sheet: all but plain letters and figures by code."""
    return "".join(char if char.isascii() and char.isalnum() else f"\\{ord(char):x} " for char in text)


def _contents(document: Document) -> str:
    links = "".join(
        f'<li><a href="#s{number}">{_text(block.text)}</a></li>\n'
        for number, block in enumerate(document.blocks)
        if isinstance(block, Heading) and block.level == 1
    )
    name = _text(document.contents)
    return f'<nav aria-label="{name}"><h2 class="l1">{name}</h2>\n<ul>\n{links}</ul></nav>\n'


def _heading(block: Heading, anchor: str, depth: int) -> str:
    return f'<h{depth} id="{anchor}" class="l{block.level}">{_text(block.text)}</h{depth}>\n'


def _paragraph(block: Paragraph) -> str:
    kind = ' class="framed"' if block.framed else ' class="quiet"' if block.quiet else ""
    return f"<p{kind}>{_lines(block.text)}</p>\n"


def _verdict(block: Verdict) -> str:
    word, sentence = _text(block.word), _text(block.sentence)
    return f'<div class="verdict {block.tone}"><strong>{word}</strong> {sentence}</div>\n'


def _fields(block: Fields) -> str:
    rows = "".join(
        f"<div><dt>{_text(name)}</dt><dd>{_text(value)}</dd></div>\n" for name, value in block.rows
    )
    kind = ' class="two"' if block.columns > 1 else ""
    return f"<dl{kind}>\n{rows}</dl>\n"


def _listing(block: Listing) -> str:
    name = "ol" if block.numbered else "ul"
    items = "".join(f"<li>{_lines(item)}</li>\n" for item in block.items)
    kind = ' class="quiet"' if block.quiet else ""
    return f"<{name}{kind}>\n{items}</{name}>\n"


def _table(block: Table) -> str:
    heads = "".join(f'<th scope="col">{_text(column.head)}</th>' for column in block.columns)
    total = sum(column.share for column in block.columns)
    widths = "".join(f'<col style="width:{100 * column.share / total:.1f}%">' for column in block.columns)
    caption = f"<caption>{_text(block.caption)}</caption>\n" if block.titled else ""
    bodies = "".join(_group(group, len(block.columns)) for group in block.groups)
    many = ' class="many"' if len(block.columns) >= MANY_COLUMNS else ""
    return (
        f'<section class="wide" tabindex="0" aria-label="{_text(block.caption)}">\n'
        f"<table{many}>\n{caption}<colgroup>{widths}</colgroup>\n"
        f"<thead><tr>{heads}</tr></thead>\n{bodies}</table></section>\n"
    )


def _group(group: Group, count: int) -> str:
    head = ""
    if group.head:
        head = f'<tr class="group"><th colspan="{count}" scope="rowgroup">{_text(group.head)}</th></tr>\n'
    return f"<tbody>\n{head}{''.join(_row(row, count) for row in group.rows)}</tbody>\n"


def _row(row: Row, count: int) -> str:
    flag = _FLAGS[row.tone]
    first, *others = row.cells
    cells = "".join(f"<td>{_text(cell)}</td>" for cell in (f"{flag}{first}", *others))
    kind = " ".join(part for part in (row.tone, "noted" if row.note else "") if part)
    opening = f'<tr class="{kind}">' if kind else "<tr>"
    made = f"{opening}{cells}</tr>\n"
    if not row.note:
        return made
    noted = f"note {row.tone}".strip()
    if not any(others):
        return (
            f'<tr class="{noted}"><td>{_text(flag + first)}</td>'
            f'<td colspan="{count - 1}">{_text(row.note)}</td></tr>\n'
        )
    return f'{made}<tr class="{noted}"><td colspan="{count}">{_text(row.note)}</td></tr>\n'


def _picture(block: Picture) -> str:
    data = base64.b64encode(block.svg.encode()).decode()
    return (
        f'<figure><img src="data:image/svg+xml;base64,{data}" alt="{_text(block.instead)}">'
        f"<figcaption>{_text(block.caption)}</figcaption></figure>\n"
    )


def _digest(block: Digest) -> str:
    return f'<p class="digest">{_text(block.label)} <code>{_text(block.text)}</code></p>\n'


def _signatures(block: Signatures) -> str:
    lines = []
    for role in block.roles:
        words = "".join(f"<small>{_text(word)}</small>" for word in (block.name, block.signature, block.date))
        lines.append(
            f"<strong>{_text(role)}</strong><span></span><span></span><span></span><small></small>{words}"
        )
    return f'<div class="sign">{"".join(lines)}</div>\n'


def _ruled(block: Ruled) -> str:
    return f'<div class="ruled" aria-hidden="true">{"<span></span>" * block.lines}</div>\n'


def _break(block: PageBreak) -> str:
    return '<div class="new-page"></div>\n'


_SETTERS: dict[type[Block], Callable[[Any], str]] = {
    Paragraph: _paragraph,
    Verdict: _verdict,
    Fields: _fields,
    Listing: _listing,
    Table: _table,
    Picture: _picture,
    Digest: _digest,
    Signatures: _signatures,
    Ruled: _ruled,
    PageBreak: _break,
}


def _text(text: str) -> str:
    return escape(text, quote=True)


def _lines(text: str) -> str:
    return escape(text, quote=True).replace("\n", "<br>")
