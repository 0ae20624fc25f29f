"""Table and plot of the points of a sweep or soak; the plot library is imported on first use."""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.coordinate import Coordinate
from textual.widgets import DataTable, Static

from ohmward.desk.picture import Picture, PointTable
from ohmward.desk.point_width import fitted
from ohmward.tui.frame import WIDTHS
from ohmward.tui.showing import place_in, plain, put

SCROLLBAR = 2
"""Columns that one takes where there are more rows than room."""
TABLE_SHARE = 0.6
"""Of the height, where the plot stands below the table."""


class PointsPane(Vertical):
    """The points of one step, as a table and as a plot."""

    def __init__(self, *, id: str) -> None:  # noqa: A002 the framework's word
        super().__init__(id=id)
        self._picture: Picture | None = None
        self._given: PointTable | None = None
        self._table: PointTable | None = None
        self._drawn: tuple[Picture | None, int, int] | None = None

    def compose(self) -> ComposeResult:
        """Lay out the parts."""
        table: DataTable[Text] = DataTable(id="points-table", cursor_type="cell", fixed_columns=1)
        table.can_focus = False
        yield table
        yield Static("", id="plot-words", markup=False)
        yield Vertical(id="plot-place")

    def show(self, table: PointTable, picture: Picture | None) -> None:
        """Show a table and, where the plot has room on the screen, its picture."""
        self._given = table
        self._fill(self._within(table))
        self._picture = picture
        words = table.no_plot if picture is None else picture.caption
        if self._table is not None and self._table.remark:
            words = f"{self._table.remark}. {words}"
        put(self.query_one("#plot-words", Static), plain(words))
        self.set_class(picture is None, "no-plot")
        self.call_after_refresh(self._draw)

    def on_resize(self) -> None:
        """Fit to the new size."""
        if self._given is not None:
            self.show(self._given, self._picture)

    def _within(self, table: PointTable) -> PointTable:
        widest = self.app.size.width >= WIDTHS[-1][0]
        lines = len(table.rows) + max(heading.count("\n") for heading in table.headings) + 1
        high = self.size.height * (TABLE_SHARE if widest else 1.0)
        scrolls = SCROLLBAR if 0 < high < lines else 0
        return fitted(table, self._room - scrolls, unmark=widest, bar=SCROLLBAR - scrolls)

    @property
    def _room(self) -> int:
        """Columns there are; before it is laid out, as a rule."""
        return self.size.width or self.app.size.width * 3 // 8

    def _fill(self, table: PointTable) -> None:
        """Fill the table; where only cells are others, only those are written."""
        shown: DataTable[Text] = self.query_one("#points-table", DataTable)
        old, self._table = self._table, table
        shown.cell_padding = 0 if self._too_wide(table) else 1
        if old is None or _shape(old) != _shape(table):
            shown.clear(columns=True)
            shown.header_height = max(heading.count("\n") for heading in table.headings) + 1
            shown.add_columns(*(Text(f"{heading} ".replace("\n", " \n")) for heading in table.headings))
            for number in range(len(table.rows)):
                shown.add_row(*_cells(table, number), height=_height(table.rows[number]))
        else:
            for number in range(len(table.rows)):
                after = _cells(table, number)
                for column, (cell, before) in enumerate(zip(after, _cells(old, number), strict=True)):
                    if cell != before or cell.style != before.style:
                        wider = len(cell.plain) > len(before.plain)
                        shown.update_cell_at(Coordinate(number, column), cell, update_width=wider)
        shown.move_cursor(row=table.here[0], column=table.here[1])

    def _too_wide(self, table: PointTable) -> bool:
        """Return whether the columns, with air on both sides, need more than there is room for."""
        if self.app.size.width < WIDTHS[-1][0]:
            return True
        columns = zip(table.headings, *table.rows, strict=True)
        widths = [max(len(line) for cell in column for line in cell.split("\n")) + 3 for column in columns]
        return sum(widths) > self._room

    async def _draw(self) -> None:
        place = place_in(self, "#plot-place")
        if self._picture is None or place is None:
            return
        wanted = (self._picture, place.size.width, place.size.height)
        if wanted != self._drawn:
            from ohmward.tui.plot import draw, plot_in

            self._drawn = wanted
            draw(await plot_in(place), self._picture, place.size.width)


def _cells(table: PointTable, number: int) -> list[Text]:
    style = "bold" if number == table.here[0] or number in table.heads else ""
    return [Text(f"{cell} ".replace("\n", " \n"), style=style) for cell in table.rows[number]]


def _shape(table: PointTable) -> tuple[object, ...]:
    return table.headings, len(table.rows), [table.rows[number] for number in sorted(table.heads)]


def _height(row: Sequence[str]) -> int:
    return max(cell.count("\n") for cell in row) + 1
