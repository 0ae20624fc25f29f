"""A quantity over the years, drawn in the terminal; the plot library is imported on first use."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import Static

from ohmward.desk.picture import Picture
from ohmward.tui.showing import place_in, plain

NOTHING = "Nothing to draw: it takes two readings of one thing, in two runs."


class HistoryPlot(Vertical):
    """A picture, and in words what is drawn."""

    def __init__(self, *, id: str) -> None:  # noqa: A002 the framework's word
        super().__init__(id=id, classes="history-plot")
        self._picture: Picture | None = None

    def compose(self) -> ComposeResult:
        """Lay out the parts."""
        yield Static(NOTHING, classes="history-caption", markup=False)
        yield Vertical(classes="history-place")

    def show(self, picture: Picture | None, caption: str) -> None:
        """Show a picture; where there is no room for it, it is drawn when there is."""
        self._picture = picture
        self.query_one(".history-caption", Static).update(plain(caption or NOTHING))
        self.query_one(".history-place").visible = picture is not None
        self.call_after_refresh(self._draw)

    def on_resize(self) -> None:
        """Fit to the new size."""
        self.call_after_refresh(self._draw)

    def on_show(self) -> None:
        """Draw when it comes into sight."""
        self.call_after_refresh(self._draw)

    async def _draw(self) -> None:
        place = place_in(self, ".history-place")
        if self._picture is not None and place is not None:
            from ohmward.tui.plot import draw, plot_in

            draw(await plot_in(place), self._picture, place.size.width)
