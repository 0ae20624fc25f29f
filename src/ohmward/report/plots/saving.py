"""Figures to bytes: SVG, PNG or PDF, the same bytes each time."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ohmward.errors import InputError, Mistake, Unreachable
from ohmward.report.plots.style import inks
from ohmward.text import one_line, visible

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FORMATS = ("svg", "png", "pdf")
_DPI = 200


def kind_of(path: Path, field: str = "-o") -> str:
    """Return the kind of picture that a file name asks for, by its ending.

    Raises
    ------
    InputError
        For another ending.
    """
    kind = path.suffix.lower().lstrip(".")
    if kind in FORMATS:
        return kind
    raise InputError(
        [
            Mistake(
                where="command line",
                field=field,
                value=str(path),
                why="not a kind of picture that can be drawn",
                mend="End the name in .svg, .png or .pdf",
            )
        ]
    )


def rendered(figure: Figure, kind: str, title: str = "") -> bytes:
    """Return a figure as the bytes of a file of `kind`, one of `FORMATS`."""
    named = {"Title": one_line(title)} if title else {}
    metadata: dict[str, dict[str, str | None]] = {
        "svg": {"Date": None, **named},
        "pdf": {"CreationDate": None, **named},
        "png": {**named},
    }
    out = io.BytesIO()
    with inks():
        figure.savefig(out, format=kind, dpi=_DPI, metadata=metadata[kind])
    return out.getvalue()


def rendered_pages(figures: Sequence[Figure], title: str = "") -> bytes:
    """Return figures as the pages of one PDF."""
    from matplotlib.backends.backend_pdf import PdfPages

    out = io.BytesIO()
    metadata = {"CreationDate": None, "Title": one_line(title)}
    with inks(), PdfPages(out, metadata=metadata) as pages:
        for figure in figures:
            pages.savefig(figure)
    return out.getvalue()


def save(figure: Figure, path: Path) -> None:
    """Write a figure as SVG, PNG or PDF, by the ending of its name.

    Raises
    ------
    InputError
        For another ending.
    Unreachable
        When the file cannot be written.
    """
    data = rendered(figure, kind_of(path, "--plot"))
    try:
        path.write_bytes(data)
    except OSError as error:
        raise Unreachable(f"{visible(str(path))}: cannot be written ({error.strerror})") from error
