"""Text made fit to show: control characters as visible signs, lines that fit the page, nouns and numbers."""

from __future__ import annotations

import textwrap
import unicodedata
from contextvars import ContextVar
from datetime import datetime

_BIDI = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")

NOT_GIVEN = "not given"

PAGE: ContextVar[int | None] = ContextVar("PAGE", default=None)
"""Columns of the terminal that text is made for; None where it goes to a file or another program."""


def folded(text: str) -> str:
    """Return text with no line longer than the page, broken between words; as it is where there is none."""
    width = PAGE.get()
    return text if width is None else "\n".join(_fold(line, width) for line in text.split("\n"))


def _fold(line: str, width: int) -> str:
    if len(line) <= width:
        return line
    indent = " " * (len(line) - len(line.lstrip()))
    end = " " * (len(line) - len(line.rstrip()))
    inside = textwrap.fill(
        line.strip(), width - len(end), initial_indent=indent, subsequent_indent=f"{indent}  ",
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip
    return inside + end


def visible(text: str) -> str:
    """Return `text` with every control, bidi or surrogate character shown as a sign; newlines stay."""
    if text.isprintable():  # none of them is
        return text
    return "".join(char if char == "\n" else _sign(char) for char in text)


def one_line(text: str) -> str:
    """Return `text` as `visible` does, on one line."""
    return " ".join(visible(text).split())


def tester(operator: str) -> str:
    """Return who tested in one line, or that no name was given."""
    return one_line(operator) or NOT_GIVEN


def by(operator: str) -> str:
    """Return by whom it was tested, in one line."""
    return f"by {one_line(operator)}" if operator else f"tester {NOT_GIVEN}"


def plural(number: int, noun: str, many: str = "") -> str:
    """Return a number with its noun: '1 run', '3 runs'; `many` where an s does not make the plural."""
    return f"{number} {noun if number == 1 else many or f'{noun}s'}"


def local_moment(at: str) -> str:
    """Return an ISO 8601 stamp as date and time of this place; the stamp itself if it is none."""
    try:
        return datetime.fromisoformat(at).astimezone().strftime("%Y-%m-%d %H:%M:%S")
    except ValueError:
        return at


def _sign(char: str) -> str:
    code = ord(char)
    if code < 0x20:
        return chr(0x2400 + code)
    if code == 0x7F:
        return "\u2421"
    if char in _BIDI or unicodedata.category(char) in {"Cc", "Cs", "Co", "Cn"}:
        return f"\\u{code:04x}"
    return char
