"""A table that is walked row by row, its columns fitted between the edges of the screen."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from rich.cells import cell_len
from rich.style import Style
from rich.text import Text
from textual.widgets import DataTable

from ohmward.text import one_line

GAP, BAR = 2, 2
"""Columns of the terminal between two columns, and those that the scroll bar may take."""
LEAST = 16
"""A column is not cut to fewer than this for the sake of another."""
MORE = " …"
"""Behind the last heading: there are columns more than fit. What they say stands below the table."""


def fitted(
    headings: Sequence[str],
    rows: Sequence[Sequence[str]],
    room: int,
    least: int = LEAST,
    soft: Collection[int] = (),
) -> list[int]:
    """Return the widths of the columns that fit, from the first on.

    Parameters
    ----------
    headings : sequence of str
    rows : sequence of sequence of str
        Each as long as `headings`.
    room : int
        Columns of the terminal that there are; 0 or less where that is not known: nothing is cut.
    least : int
        The widest columns give way first, none below this. Where that does not do, the last ones go.
    soft : collection of int, optional
        The columns that may give way; all of them where none are named.
    """
    natural = [max(cell_len(cells[n].rstrip()) for cells in (headings, *rows)) for n in range(len(headings))]
    if room <= 0:
        return natural
    floor = [min(width, least) if n in soft or not soft else width for n, width in enumerate(natural)]
    shown = len(natural)
    while shown > 1 and sum(floor[:shown]) + GAP * shown > room:
        shown -= 1
    widths = natural[:shown]
    while sum(widths) + GAP * shown > room:
        give = max(range(shown), key=lambda n: widths[n] if widths[n] > floor[n] else 0)
        if widths[give] <= floor[give]:
            break
        widths[give] -= 1
    return widths


class RowTable(DataTable[Text]):
    """Rows of text; Home and End go to the first and the last of them.

    Parameters
    ----------
    least, soft
        As for `fitted`.
    """

    def __init__(
        self,
        *,
        id: str,  # noqa: A002 the framework's word
        least: int = LEAST,
        soft: Collection[int] = (),
    ) -> None:
        super().__init__(id=id, cursor_type="row")
        self._least, self._soft = least, soft
        self._widths: list[int] = []
        self._filling: tuple[Sequence[str], Sequence[Sequence[str]], Sequence[Style]] = ((), (), ())

    @property
    def here(self) -> int:
        """Number of the row under the cursor; -1 where there is none."""
        return self.cursor_row if 0 <= self.cursor_row < self.row_count else -1

    def action_scroll_home(self) -> None:
        """Go to the first row; the framework goes to the left edge, where a row is already."""
        self.action_scroll_top()

    def action_scroll_end(self) -> None:
        """Go to the last row."""
        self.action_scroll_bottom()

    @property
    def whole(self) -> tuple[str, ...]:
        """The row under the cursor with all its columns, those too that do not fit; empty where none is."""
        return tuple(self._filling[1][self.here]) if 0 <= self.here < len(self._filling[1]) else ()

    def on_resize(self) -> None:
        """Fit to the new size."""
        self.refit()

    def refit(self) -> None:
        """Fit the columns to the size that there is now."""
        if self._filling[0] and self._needs(*self._filling[:2]) != self._widths:
            self.fill(*self._filling)

    def fill(
        self, headings: Sequence[str], rows: Sequence[Sequence[str]], styles: Sequence[Style] = ()
    ) -> None:
        """Show rows, the cursor where it was as far as that goes.

        Parameters
        ----------
        headings : sequence of str
        rows : sequence of sequence of str
        styles : sequence of Style, optional
            Of the first cell of each row.
        """
        self._filling = (headings, rows, styles)
        at = self.cursor_row
        self.clear()
        self.set_columns(headings, rows)
        for number, row in enumerate(rows):
            # a row with a name alone is the heading of those below it
            heading = len(row) == 2 and not row[1]
            self.add_cells(row, {0: styles[number] if styles else Style(bold=heading or None)})
        if rows:
            self.move_cursor(row=min(max(at, 0), len(rows) - 1))

    def _needs(self, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> list[int]:
        # as wide with a scroll bar as without
        return fitted(headings, rows, self.outer_size.width - BAR, self._least, self._soft)

    def set_columns(self, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> bool:
        """Make the columns fit `rows`, which are to be added; return whether the table was emptied for it."""
        widths = self._needs(headings, rows)
        if widths == self._widths and [str(column.label) for column in self.ordered_columns] == _titled(
            headings, widths
        ):
            return False
        self._widths = widths
        self.clear(columns=True)
        for title, width in zip(_titled(headings, widths), widths, strict=True):
            self.add_column(Text(title, overflow="ellipsis", no_wrap=True), width=width)
        return True

    def add_cells(self, row: Sequence[str], styles: dict[int, Style]) -> None:
        """Add a row of text, some of its cells in a style of their own."""
        self.add_row(
            *(
                Text(one_line(cell), style=styles.get(n, Style()), overflow="ellipsis", no_wrap=True)
                for n, cell in enumerate(row[: len(self._widths)])
            )
        )


def _titled(headings: Sequence[str], widths: Sequence[int]) -> list[str]:
    shown = [*headings[: len(widths)]]
    if len(shown) < len(headings):
        room = widths[-1] - len(MORE)
        shown[-1] = f"{shown[-1][: max(room, 0)]}{MORE}"
    return shown
