"""Text from outside made fit to set: control characters as signs, right-to-left text kept to itself,
scripts without a font named instead of dropped.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Collection
from functools import lru_cache

from ohmward.text import visible

_BREAKS = str.maketrans(
    {"\u2028": "\n", "\u2029": "\n", "\r": "\n", "\x0b": "\n", "\x0c": "\n", "\x85": "\n"}
)
# Few fonts have the pictures of control codes: they are written as programmers write them.
_CODES = {chr(0x2400 + code): code for code in range(0x20)} | {"\u2421": 0x7F}
_PICTURES = re.compile("[\u2400-\u241f\u2421]")
_RIGHT = frozenset({"R", "AL"})
_ISOLATE, _RIGHTWARD, _END = "\u2068", "\u2067", "\u2069"
_ZERO_WIDTH = "\u200b"
LONG_TOKEN = 40
"""Characters without a place to break a line, from which such places are made."""
NARROW_TOKEN, NARROW_FIGURES = 20, 11
"""The same in a column of a table; figures and codes break sooner than words."""
_TOKEN = re.compile(rf"[!-~\u00a1-\u024f]{{{LONG_TOKEN},}}")
_NARROW = re.compile(rf"[!-~\u00a1-\u024f]{{{NARROW_TOKEN},}}|(?=[!-~]*[0-9])[!-~]{{{NARROW_FIGURES},}}")
_ALWAYS = re.compile(r"[\n -~\u00a0-\u017f\u0391-\u03c9\u0410-\u044f‐-‧′″€Ω−≈≤≥∞…·]*")
"""Text that needs no look at a font."""


def clean(text: str) -> str:
    """Return text in which nothing acts: controls, bidi marks and stray codes are shown as signs.

    Right-to-left text is wrapped in an isolate, so that the figures and units beside it stay in place.
    """
    plain = visible(text.replace("\r\n", "\n").translate(_BREAKS))
    if plain.isascii():
        return plain
    plain = _PICTURES.sub(lambda sign: f"\\x{_CODES[sign[0]]:02x}", plain)
    plain = "".join(_unusual(char) for char in plain)
    return "\n".join(_isolated(line) for line in plain.split("\n"))


def breakable(text: str, *, narrow: bool = False) -> str:
    """Return text with a place to break a line after every few characters of a long token."""
    return (_NARROW if narrow else _TOKEN).sub(lambda found: _spaced(found[0]), text)


def _spaced(token: str) -> str:
    return _ZERO_WIDTH.join(token[at : at + 6] for at in range(0, len(token), 6))


def _unusual(char: str) -> str:
    """Show what is neither printed nor needed for shaping: tags, fillers, stray format characters."""
    if unicodedata.category(char) == "Cf" and char not in "\u00ad\u200c\u200d":
        return f"\\u{ord(char):04x}"
    return char


def _isolated(line: str) -> str:
    strong = [at for at, char in enumerate(line) if unicodedata.bidirectional(char) in _RIGHT]
    if not strong:
        return line
    left = sum(unicodedata.bidirectional(char) == "L" for char in line)
    if len(strong) > left:  # a line of that script as a whole
        return f"{_RIGHTWARD}{line}{_END}"
    parts, at = [], 0
    for start, end in _runs(line, strong):
        parts.append(f"{line[at:start]}{_ISOLATE}{line[start:end]}{_END}")
        at = end
    return "".join(parts) + line[at:]


def _runs(line: str, strong: list[int]) -> list[tuple[int, int]]:
    """Runs from a right-to-left letter to the last one before a letter of another direction."""
    runs: list[tuple[int, int]] = []
    for at in strong:
        between = line[runs[-1][1] : at] if runs else ""
        if runs and not any(unicodedata.bidirectional(char) == "L" for char in between):
            runs[-1] = (runs[-1][0], _with_marks(line, at))
        else:
            runs.append((at, _with_marks(line, at)))
    return runs


def _with_marks(line: str, at: int) -> int:
    end = at + 1
    while end < len(line) and unicodedata.category(line[end]) in {"Mn", "Mc", "Me"}:
        end += 1
    return end


def spelled(text: str, has: Callable[[str], bool], missing: Collection[str] = ()) -> tuple[str, set[str]]:
    """Return text in which characters without a font are named, and the scripts they belong to.

    Parameters
    ----------
    text : str
        Cleaned.
    has : callable
        Whether some font has a character.
    missing : collection of str
        Characters known to have none all the same.
    """
    if not missing and _ALWAYS.fullmatch(text):
        return text, set()
    scripts: set[str] = set()
    parts: list[str] = []
    run: list[str] = []

    def end_run() -> None:
        if run:
            name = script(run[0])
            scripts.add(name)
            parts.append(f"[{name}: {' '.join(f'U+{ord(char):04X}' for char in run)}]")
            run.clear()

    for char in text:
        lacking = char in missing or not (has(char) or _needs_no_glyph(char))
        if not lacking:
            end_run()
            parts.append(char)
            continue
        if run and script(char) != script(run[0]):
            end_run()
        run.append(char)
    end_run()
    return "".join(parts), scripts


def _needs_no_glyph(char: str) -> bool:
    return char in "\n\u2067\u2068\u2069\u200b\u200c\u200d\u00ad" or char.isspace()


@lru_cache(maxsize=4096)
def script(char: str) -> str:
    """Return the name of the script of a character, by the name that Unicode gives it."""
    name = unicodedata.name(char, "")
    first = name.split("-")[0].split(" ")[0].capitalize()
    if name.startswith(("CJK", "IDEOGRAPHIC")):
        return "Han"
    if unicodedata.category(char) in {"So", "Sk", "Sm"}:
        return "symbols"
    return first or "unknown"
