"""A document of a run made and written: what the command line and the screens both call."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from ohmward.errors import InputError, Mistake

if TYPE_CHECKING:
    from ohmward.report.document.blocks import Document, Paper, Picture
    from ohmward.report.document.label import Size
    from ohmward.report.document.second_board import SecondBoard
    from ohmward.report.document.source import Source
    from ohmward.report.document.words import Words

Form = Literal["full", "short", "repair", "label"]
ENDINGS: dict[Form, tuple[str, ...]] = {
    "full": (".pdf", ".html"),
    "short": (".pdf", ".html"),
    "repair": (".pdf", ".html"),
    "label": (".pdf", ".png"),
}
"""What each form can be made as, the usual one first."""
LONGEST_NAME = 150


def _quiet(_: str) -> None:
    """Tell nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is to be made."""

    form: Form
    ending: str
    paper: Paper | None = None
    """That of the words where left out."""
    pictures: bool = True
    size: Size | None = None
    """Of a label, which has to have one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A document as the bytes of its file."""

    data: bytes
    scripts: tuple[str, ...] = ()
    """Scripts in it that no font at hand can show."""


def make(
    words: Words,
    source: Source,
    wanted: Wanted,
    *,
    fonts: Sequence[str] = (),
    tell: Callable[[str], None] = _quiet,
    second: SecondBoard | None = None,
) -> Made:
    """Make a document of a run.

    Parameters
    ----------
    words : Words
    source : Source
    wanted : Wanted
    fonts : sequence of str, optional
        Folders with further fonts.
    tell : callable, optional
        Told what is being done, which may take seconds.
    second : SecondBoard, optional
        Draws half of the pictures.

    Raises
    ------
    ValueError
        When the form cannot be made with that ending.
    """
    if wanted.ending not in ENDINGS[wanted.form]:
        raise ValueError(f"no {wanted.form} as {wanted.ending}")
    if wanted.form == "label":
        return _label(words, source, wanted, fonts)
    made = _document(words, source, wanted, tell, second)
    tell("Setting the pages")
    if wanted.ending == ".html":
        from ohmward.report.document.html import to_html

        return Made(data=to_html(made).encode())
    from ohmward.report.document.pdf import to_pdf

    data, scripts = to_pdf(made, fonts)
    return Made(data=data, scripts=scripts)


def _label(words: Words, source: Source, wanted: Wanted, fonts: Sequence[str]) -> Made:
    from ohmward.report.document.label import label, label_pdf, label_png, parse_size

    size = wanted.size if wanted.size is not None else parse_size(USUAL_LABEL)
    printed = label_png if wanted.ending == ".png" else label_pdf
    data, scripts = printed(label(words, source, size), fonts)
    return Made(data=data, scripts=scripts)


USUAL_LABEL = "89x36"
"""Millimetres: a common address label."""


def _document(
    words: Words, source: Source, wanted: Wanted, tell: Callable[[str], None], second: SecondBoard | None
) -> Document:
    from ohmward.report.document import documents

    if wanted.form == "short":
        return documents.short(words, source, paper=wanted.paper)
    if wanted.form == "repair":
        return documents.repair(words, source, paper=wanted.paper)
    pictures: tuple[Picture, ...] = ()
    if wanted.pictures:
        from ohmward.report.document.pictures import comparison, drawn

        def drawing(number: int, count: int, name: str) -> None:
            tell(f"Drawing {number} of {count}: {name}")

        pictures = (*drawn(words, source, drawing, second), *comparison(words, source))
    return documents.full(words, source, paper=wanted.paper, pictures=pictures)


def file_name(text: str) -> str:
    """Return a file name for what a run and a document are called."""
    kept = "".join(char if char.isalnum() or char in "-_+." else "-" for char in text)
    return kept.strip(".-")[:LONGEST_NAME] or "document"


def write(path: Path, data: bytes, *, replace: bool = False) -> None:
    """Write a file whole or not at all; one in the way goes only with `replace`.

    Raises
    ------
    InputError
        When a file is in the way.
    Unreachable
        When it cannot be written.
    """
    from ohmward.logbook import disk, drafts

    try:
        with drafts.writing(path, replace=replace) as out:
            out.write(data)
    except FileExistsError as error:
        raise in_the_way(path, "Give another name, or let it be overwritten") from error
    except (OSError, ValueError) as error:
        raise disk.unreachable(path, "cannot be written", error) from error


def taken(path: Path) -> bool:
    """Return whether something of that name is there already."""
    return os.path.lexists(path)


def in_the_way(path: Path, mend: str) -> InputError:
    """Return the refusal to overwrite a file."""
    return InputError(
        [Mistake(where=str(path), field="", value="", why="the file is already there", mend=mend)]
    )
