"""A table of rows that change in place: typing into a form changes a cell or two, not the whole table."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.text import Text
from textual.coordinate import Coordinate

from ohmward.text import one_line
from ohmward.tui.row_table import RowTable


class SheetTable(RowTable):
    """Rows of text, each known by a key; columns of fixed width, their text cut with a sign where it is."""

    def __init__(
        self,
        headings: Sequence[str],
        widths: Sequence[int],
        *,
        id: str,  # noqa: A002 theirs
        stays: bool = True,
    ) -> None:
        super().__init__(id=id)
        self._titles, self._widths = tuple(headings), list(widths)
        self._stays = stays  # else it begins at its first row whenever there are others
        self._keys: tuple[object, ...] = ()
        self._cells: tuple[tuple[str, ...], ...] = ()
        self._strong: frozenset[int] = frozenset()

    def on_mount(self) -> None:
        """Begin with the headings."""
        self._add_headings()

    def _add_headings(self) -> None:
        for title, width in zip(self._titles, self._widths, strict=True):
            self.add_column(Text(title), width=width)

    def set_widths(self, widths: Sequence[int]) -> None:
        """Make the columns as wide as this."""
        if list(widths) == self._widths:
            return
        self._widths = list(widths)
        keys, cells, strong, at = self._keys, self._cells, self._strong, self.cursor_row
        self.clear(columns=True)
        self._add_headings()
        self._keys, self._cells = (), ()
        self.show(keys, cells, strong=strong)
        self.move_cursor(row=at)

    def show(
        self, keys: Sequence[object], rows: Sequence[Sequence[str]], *, strong: Iterable[int] = ()
    ) -> None:
        """Show rows, `strong` ones in bold; the cursor stays on the row that it is on, by its key."""
        new, bold = tuple(tuple(row) for row in rows), frozenset(strong)
        if tuple(keys) == self._keys:
            for number, (old, row) in enumerate(zip(self._cells, new, strict=True)):
                turned = (number in bold) != (number in self._strong)
                for column, cell in enumerate(row):
                    if turned or cell != old[column]:
                        self.update_cell_at(Coordinate(number, column), _text(cell, bold=number in bold))
        else:
            here = self._keys[self.here] if self.here >= 0 else None
            self.clear()
            for number, row in enumerate(new):
                self.add_row(*(_text(cell, bold=number in bold) for cell in row))
            if here in keys and (self._stays or self.has_focus):
                self.move_cursor(row=list(keys).index(here))
        self._keys, self._cells, self._strong = tuple(keys), new, bold


def _text(cell: str, *, bold: bool) -> Text:
    blank = len(cell) - len(cell.lstrip(" "))
    words = " " * blank + one_line(cell)
    return Text(words, style="bold" if bold else "", overflow="ellipsis", no_wrap=True)
