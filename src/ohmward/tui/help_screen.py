"""Help: what the step in hand is about, the keys that matter now, every key, and the glossary."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Input, Static

from ohmward.desk.glossary import found, glossary
from ohmward.desk.help_rows import Part
from ohmward.tui.dialogs import Dialog
from ohmward.tui.frame import plain
from ohmward.tui.grids import Lead, grid
from ohmward.tui.keys import Key


class Reading(Dialog[None]):
    """A dialogue with more to read than fits: the arrow keys scroll it."""

    KEYS_LINE = "Esc goes back · ↑ ↓ PgUp PgDn scroll"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "line(-1)", "up", show=False),
        Binding("down", "line(1)", "down", show=False),
    ]

    def action_line(self, by: int) -> None:
        """Scroll by a line."""
        self.query_one("#dialog-lines", VerticalScroll).scroll_relative(y=by, animate=False)


class HelpScreen(Reading):
    """What one screen is about, and all its keys."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter,space,question_mark,f1", "back", "back", show=False),
        Binding("g", "glossary", "glossary", show=False),
    ]
    KEYS_LINE = "↑ ↓ PgUp PgDn scroll · g glossary · Esc Enter Space ? F1 go back"

    def __init__(
        self, heading: str, keys: Sequence[Key], *, now: Sequence[Key] = (), about: Sequence[Part] = ()
    ) -> None:
        super().__init__(f"Help: {heading}", [])
        self._keys, self._about = keys, about
        known = {key.action for key in keys}
        self._now = [key for key in now if key.action in known]

    def compose_answer(self) -> ComposeResult:
        """Lay out what the person answers with."""
        with VerticalScroll(id="dialog-lines", classes="tall", can_focus=False):
            yield from self._told(self._about[:1])
            if self._now:
                head = "Keys that matter now, the most important first"
                yield from self._listed(head, [(key.shown, key.hint) for key in self._now])
                yield Static("")
            yield from self._told(self._about[1:])
            yield from self._listed("Every key", [(key.shown, key.help) for key in self._keys])

    def _told(self, parts: Sequence[Part]) -> Iterator[Static]:
        for part in parts:
            yield Static(plain(part.heading), classes="help-heading", markup=False)
            yield Static(Content("\n").join(plain(line) for line in part.lines), markup=False)
            yield Static("")

    def _listed(self, heading: str, keys: Sequence[tuple[str, str]]) -> Iterator[Static]:
        yield Static(heading, classes="help-heading", markup=False)
        rows = [Lead(shown.rjust(6), words, ink="accent") for shown, words in keys]
        yield Static(grid(rows, self.app.theme_variables, width=6))

    def action_glossary(self) -> None:
        """Explain the trade words."""
        self.app.push_screen(GlossaryScreen())


class GlossaryScreen(Reading):
    """The trade words that the screens use, narrowed by what is typed."""

    KEYS_LINE = "type a word · ↑ ↓ PgUp PgDn scroll · Esc goes back"

    def __init__(self) -> None:
        super().__init__("Glossary: the trade words used here", [])

    def compose_answer(self) -> ComposeResult:
        """Lay out what the person answers with."""
        yield Input(id="dialog-input", placeholder="a word, or part of one", compact=True)
        with VerticalScroll(id="dialog-lines", classes="tall", can_focus=False):
            yield Static("", id="glossary-words", markup=False)

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self._show("")
        self.query_one(Input).focus()

    @on(Input.Changed)
    def _typed(self, event: Input.Changed) -> None:
        self._show(event.value)

    def _show(self, query: str) -> None:
        words = found(query)
        blocks = [Content.assemble((word.word, "bold $accent"), "  ", word.text) for word in words]
        none = Content(f"None of the {len(glossary())} words here says that. Try a shorter part of it.")
        self.query_one("#glossary-words", Static).update(Content("\n").join(blocks) if blocks else none)
        self.query_one("#dialog-lines", VerticalScroll).scroll_home(animate=False)
