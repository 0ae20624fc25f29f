"""The keys of a screen, one sentence each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from ohmward.tui.dialogs import Dialog
from ohmward.tui.keys import Key

HOW = (
    "On a reading, start typing a number and the keys write; with nothing typed, a letter is a command. "
    "Enter takes the value, and Enter again goes on. Nothing is on record before the screen says so, and "
    "nothing on record is ever altered: a mistake is amended."
)


class HelpScreen(Dialog[None]):
    """All keys of one screen."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter,space,question_mark,f1", "back", "back", show=False),
        Binding("up", "line(-1)", "up", show=False),
        Binding("down", "line(1)", "down", show=False),
    ]
    KEYS_LINE = "Esc goes back · ↑ ↓ PgUp PgDn scroll"

    def __init__(self, heading: str, keys: Sequence[Key]) -> None:
        super().__init__(f"Keys: {heading}", [])
        self._keys = keys

    def compose_answer(self) -> ComposeResult:
        """Lay out what the person answers with."""
        with VerticalScroll(id="dialog-lines", can_focus=False):
            rows = [
                Content.assemble((f"{key.shown:>7}", "bold $accent"), f"  {key.help}") for key in self._keys
            ]
            intro = [Content(HOW), Content("")] if any(key.key == "p" for key in self._keys) else []
            yield Static(Content("\n").join([*intro, *rows]), markup=False)

    def action_line(self, by: int) -> None:
        """Scroll by a line."""
        self.query_one("#dialog-lines", VerticalScroll).scroll_relative(y=by, animate=False)
