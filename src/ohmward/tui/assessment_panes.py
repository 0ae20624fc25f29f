"""The parts of the assessment screen: a table with coloured marks, text to scroll, and a picture."""

from __future__ import annotations

from collections.abc import Sequence

from rich.style import Style
from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.widgets import Static

from ohmward.analysis.rows import Cause
from ohmward.desk.assessment_parts import cause_lines, lead_style, summary_parts
from ohmward.desk.picture import Picture
from ohmward.tui.grids import Lead, grid
from ohmward.tui.row_table import RowTable
from ohmward.tui.showing import place_in, plain

_MARKS = {"✓": "success", "✗": "error", "!": "warning", "?": "warning", "↻": "warning", "‼": "error"}


class MarkedTable(RowTable):
    """Rows of text behind a mark; the mark is coloured, the words say the same."""

    def mark(self, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        """Show rows, each with its mark first."""
        inks = self.app.theme_variables
        marks = [row[0] for row in rows]
        styles = [Style(color=inks.get(_MARKS.get(mark, "")), bold=mark == "✗") for mark in marks]
        self.fill(headings, rows, styles)


class Words(VerticalScroll):
    """Text that is scrolled with the arrow keys."""

    def __init__(self, *, id: str) -> None:  # noqa: A002 the framework's word
        super().__init__(id=id)

    def compose(self) -> ComposeResult:
        """Lay out the parts."""
        yield Static("", markup=False)

    def show(self, rows: Sequence[Lead]) -> None:
        """Show text from its top."""
        self.query_one(Static).update(grid(rows, self.app.theme_variables))
        self.scroll_home(animate=False)


_INKS = {"good": "success", "warn": "warning", "bad": "error"}


def summary_rows(lines: Sequence[str], *, airy: bool) -> list[Lead]:
    """Return the summary, the words that ask for something standing out; `airy` with a line between."""
    rows = []
    for line in lines:
        lead, rest = summary_parts(line)
        ink = _INKS.get(lead_style(lead), "") if lead else ""
        rows.append(Lead("•", rest, ink=ink, head=f"{lead} " if lead else ""))
        rows += [Lead("", "")] if airy else []
    return rows or [Lead("", "Nothing to say yet.")]


def cause_rows(causes: Sequence[Cause]) -> list[Lead]:
    """Return the causes, the likeliest first, each with what decided it and how to make sure."""
    rows = []
    for cause in causes:
        (chance, title), *told = cause_lines(cause)
        rows.append(Lead(chance, title, bold=True))
        rows += [Lead(lead, words, ink="error" if lead == "First" else "accent") for lead, words in told]
        rows.append(Lead("", ""))
    return rows


class PicturePane(Vertical):
    """A picture in the terminal, with what it shows in words; the plot library is imported on first use."""

    def __init__(self, *, id: str) -> None:  # noqa: A002 the framework's word
        super().__init__(id=id, classes="picture")
        self._picture: Picture | None = None

    def compose(self) -> ComposeResult:
        """Lay out the parts."""
        yield Static("", classes="picture-words", markup=False)
        yield Vertical(classes="picture-place")

    def show(self, picture: Picture | None, otherwise: str) -> None:
        """Show a picture; where there is none, say so."""
        self._picture = picture
        self.query_one(".picture-words", Static).update(plain(picture.caption if picture else otherwise))
        self.set_class(picture is None, "none")
        self.call_after_refresh(self._draw)

    def on_resize(self) -> None:
        """Fit to the new size."""
        self.call_after_refresh(self._draw)

    async def _draw(self) -> None:
        place = place_in(self, ".picture-place")
        if self._picture is not None and place is not None:
            from ohmward.tui.plot import draw, plot_in

            draw(await plot_in(place), self._picture, place.size.width)
