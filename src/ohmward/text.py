"""Text made fit to show: control characters from outside as visible signs, a noun as its number asks."""

from __future__ import annotations

import unicodedata

_BIDI = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def visible(text: str) -> str:
    """Return `text` with every control, bidi or surrogate character shown as a sign; newlines stay."""
    if text.isprintable():  # none of them is
        return text
    return "".join(char if char == "\n" else _sign(char) for char in text)


def one_line(text: str) -> str:
    """Return `text` as `visible` does, on one line."""
    return " ".join(visible(text).split())


def plural(number: int, noun: str, many: str = "") -> str:
    """Return a number with its noun: '1 run', '3 runs'; `many` where an s does not make the plural."""
    return f"{number} {noun if number == 1 else many or f'{noun}s'}"


def _sign(char: str) -> str:
    code = ord(char)
    if code < 0x20:
        return chr(0x2400 + code)
    if code == 0x7F:
        return "\u2421"
    if char in _BIDI or unicodedata.category(char) in {"Cc", "Cs", "Co", "Cn"}:
        return f"\\u{code:04x}"
    return char
