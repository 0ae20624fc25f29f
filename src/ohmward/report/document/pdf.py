"""A document as PDF: typst sets it from constant templates; what a document says reaches it as data only."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

import msgspec

from ohmward.report.document.blocks import Document
from ohmward.report.document.fonts import coverage, font_folder
from ohmward.report.document.scripts import breakable, clean, spelled

_TEMPLATES = Path(__file__).resolve().parent / "template"
_NOT_TEXT = frozenset({"svg", "kind", "tone", "paper", "language", "direction", "at"})
_COLUMNS = frozenset({"cells", "rows"})
"""Where there is less room than a line."""
_NOT_SHOWN = re.compile(r'the text `"(.+?)"` could not be displayed')
_MOST_TRIES = 40
STANDARD: Literal["a-2a"] = "a-2a"
"""PDF/A-2a: for archives, tagged, fonts inside; it refuses a character without a glyph."""


def to_pdf(document: Document, fonts: Sequence[str] = ()) -> tuple[bytes, tuple[str, ...]]:
    """Set a document.

    Parameters
    ----------
    document : Document
        What it says.
    fonts : sequence of str
        Folders with more fonts.

    Returns
    -------
    tuple
        The PDF, and the scripts that no font has (they are spelled out by their codes). The same
        document gives the same bytes.
    """
    pages, scripts = typeset("document.typ", document, fonts)
    return pages[0], scripts


def typeset(
    template: str,
    content: msgspec.Struct,
    fonts: Sequence[str] = (),
    *,
    form: Literal["pdf", "png"] = "pdf",
    dots_per_inch: float = 300.0,
) -> tuple[list[bytes], tuple[str, ...]]:
    """Set what a template asks for; return the pages (one file for PDF) and scripts without a font."""
    import typst

    covered: frozenset[int] = frozenset()

    def has(char: str) -> bool:
        nonlocal covered
        covered = covered or coverage(tuple(fonts))
        return ord(char) in covered

    data = msgspec.to_builtins(content)
    at = datetime.fromisoformat(data["at"])
    missing: set[str] = set()
    with font_folder() as ours, tempfile.TemporaryDirectory() as nowhere:
        known = typst.Fonts(False, True, [ours, *fonts])
        for _ in range(_MOST_TRIES):
            prepared, scripts = _prepared(data, has, missing)
            prepared["moment"] = [at.year, at.month, at.day, at.hour, at.minute, at.second]
            if scripts and "missing_words" in prepared:
                prepared["missing_words"] = prepared["missing_words"].format(scripts=", ".join(scripts))
            elif "missing_words" in prepared:
                prepared["missing_words"] = ""
            try:
                made = typst.compile(
                    (_TEMPLATES / template).read_bytes(),
                    font_paths=known,
                    ignore_system_fonts=True,
                    sys_inputs={"data": msgspec.json.encode(prepared).decode()},
                    format=form,
                    ppi=dots_per_inch,
                    pdf_standards=[STANDARD] if form == "pdf" else [],
                    package_path=nowhere,  # no template asks for a package; none could be fetched
                    package_cache_path=nowhere,
                    timestamp=int(at.timestamp()),
                )
            except typst.TypstError as error:
                lacking = _NOT_SHOWN.search(error.message)
                if lacking is None or set(lacking[1]) <= missing:
                    raise
                missing |= set(lacking[1])
                continue
            return (made if isinstance(made, list) else [made]), scripts
    raise RuntimeError("the document holds too many characters that no font shows")


def _prepared(
    data: dict[str, Any], has: Callable[[str], bool], missing: set[str]
) -> tuple[dict[str, Any], tuple[str, ...]]:
    scripts: set[str] = set()

    def text(value: str, *, narrow: bool = False) -> str:
        said, lacking = spelled(clean(value), has, missing)
        scripts.update(lacking)
        return breakable(said, narrow=narrow)

    prepared = walk(data, text, lambda value: text(value, narrow=True))
    return prepared, tuple(sorted(scripts))


def walk(value: Any, text: Callable[[str], str], narrow: Callable[[str], str] | None = None) -> Any:
    """Return plain data with every text passed through `text`, those in columns through `narrow`.

    Names of kinds, drawings and hashes are left as they are.
    """
    if isinstance(value, str):
        return text(value)
    if isinstance(value, dict):
        inner = {key: narrow if narrow and key in _COLUMNS else text for key in value}
        return {
            key: each if key in _NOT_TEXT else walk(each, inner[key], narrow) for key, each in value.items()
        }
    if isinstance(value, list | tuple):
        return [walk(each, text, narrow) for each in value]
    return value
