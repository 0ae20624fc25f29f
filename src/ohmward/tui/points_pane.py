"""Table and plot of the points of a sweep or soak; the plot library is imported on first use."""

from __future__ import annotations

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import DataTable, Static

from ohmward.desk.picture import Picture, PointTable
from ohmward.tui.frame import plain


class PointsPane(Vertical):
    """The points of one step, as a table and as a plot."""

    def __init__(self, *, id: str) -> None:  # noqa: A002 the framework's word
        super().__init__(id=id)
        self._picture: Picture | None = None

    def compose(self) -> ComposeResult:
        """Lay out the parts."""
        table: DataTable[Text] = DataTable(id="points-table", cursor_type="cell", fixed_columns=1)
        table.can_focus = False
        yield table
        yield Static("", id="plot-words", markup=False)
        yield Vertical(id="plot-place")

    def show(self, table: PointTable, picture: Picture | None) -> None:
        """Show a table and, where the plot has room on the screen, its picture."""
        self._fill(table)
        self._picture = picture
        words = (
            "No plot yet: nothing is read, and nothing expected that could be drawn."
            if picture is None
            else picture.caption
        )
        self.query_one("#plot-words", Static).update(plain(words))
        self.set_class(picture is None, "no-plot")
        self.call_after_refresh(self._draw)

    def on_resize(self) -> None:
        """Fit to the new size."""
        self.call_after_refresh(self._draw)

    def _fill(self, table: PointTable) -> None:
        shown: DataTable[Text] = self.query_one("#points-table", DataTable)
        shown.clear(columns=True)
        shown.add_columns(*(Text(heading) for heading in table.headings))
        for number, row in enumerate(table.rows):
            style = "bold" if number == table.here[0] else ""
            shown.add_row(*(Text(cell, style=style) for cell in row))
        shown.move_cursor(row=table.here[0], column=table.here[1])

    async def _draw(self) -> None:
        place = self.query_one("#plot-place", Vertical)
        if self._picture is not None and place.size.height > 0 and place.size.width > 0:
            from ohmward.tui.plot import draw, plot_in

            draw(await plot_in(place), self._picture, place.size.width)
