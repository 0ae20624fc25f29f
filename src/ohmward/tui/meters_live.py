"""What one meter reads just now: large digits, and how the last readings lie."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.widgets import Digits, Static

from ohmward.desk.meter_rows import figures, live_heading, live_words
from ohmward.taking.live_meter import Lately
from ohmward.text import one_line
from ohmward.tui.frame import plain


class LivePane(Vertical):
    """The reading, as long as it is read; then the last one, and that it is the last."""

    def __init__(self, *, id: str) -> None:  # noqa: A002 the framework's word
        super().__init__(id=id)
        self._meter = ""
        self.display = False

    def compose(self) -> ComposeResult:
        """Lay out the parts."""
        yield Static("", id="live-heading", markup=False)
        with Horizontal(id="live-figures"):
            yield Digits("", id="live-number")
            yield Static("", id="live-unit", markup=False)
            yield Static("", id="live-words", markup=False)

    def begin(self, meter: str, function: str) -> None:
        """Show that a meter is being asked."""
        self._meter = meter
        self.display = True
        self._say(live_heading(meter, function or "its first quantity"))
        self.query_one(Digits).update("-")
        self._put("#live-unit", "")
        self._put("#live-words", "being asked …")

    def show(self, lately: Lately) -> None:
        """Show one more reading."""
        number, unit = figures(lately)
        self._say(live_heading(lately.meter, lately.function))
        self.query_one(Digits).update(number)
        self._put("#live-unit", unit)
        self._put("#live-words", "\n".join(live_words(lately)))

    def end(self, problem: str) -> None:
        """Show that it is no longer read, and why."""
        meter = one_line(self._meter)
        if problem:
            self._say(f"{meter}: {one_line(problem)}")
            self.query_one(Digits).update("-")
            self._put("#live-unit", "")
            self._put("#live-words", "no reading; r tries again")
        else:
            self._say(f"{meter}: stopped; this was its last reading. r reads it again")

    def _say(self, words: str) -> None:
        self._put("#live-heading", words)

    def _put(self, where: str, words: str) -> None:
        self.query_one(where, Static).update(plain(words))
