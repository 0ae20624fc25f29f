"""Questions and answers over a screen: each closes with a typed result, Esc closes it with none."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, TypeVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Button, Input, OptionList, Static
from textual.widgets.option_list import Option

from ohmward.desk.first_words import TOO_SMALL
from ohmward.text import one_line
from ohmward.tui.frame import Frame, Sized
from ohmward.tui.line_input import LineInput
from ohmward.tui.showing import plain, styled

Result = TypeVar("Result")
MARKED, UNMARKED = "▶ ", "  "
NONE_FOUND = "Nothing has these letters: Backspace takes one back."


class Dialog(ModalScreen[Result], Sized[Result]):
    """Heading, lines to read, something to answer with, and the keys in words."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "back", "back", show=False),
        Binding("pageup", "scroll(-1)", "scroll", show=False),
        Binding("pagedown", "scroll(1)", "scroll", show=False),
    ]
    CSS_PATH: ClassVar = styled("dialogs")
    KEYS_LINE: ClassVar[str] = "Esc goes back"

    def __init__(self, heading: str, lines: Sequence[str]) -> None:
        super().__init__()
        self._heading = heading
        self._lines = [line for line in lines if line.strip()]

    def too_small_words(self) -> str:
        """Say what the screen below says: whether a supply is live matters most."""
        below = [screen for screen in self.app.screen_stack if isinstance(screen, Frame)]
        return below[-1].too_small_words() if below else super().too_small_words()

    def compose(self) -> ComposeResult:
        """Lay out the parts."""
        yield Static(TOO_SMALL, id="too-small", markup=False)
        with Vertical(id="dialog"):
            yield Static(plain(one_line(self._heading)), id="dialog-heading", markup=False)
            if self._lines:
                with VerticalScroll(id="dialog-lines", can_focus=False):
                    yield Static(Content("\n").join(plain(line) for line in self._lines), markup=False)
            yield from self.compose_answer()
            yield Static(plain(self._keys_told), id="dialog-keys", markup=False)

    @property
    def keys_line(self) -> str:
        """The keys in words."""
        return self.KEYS_LINE

    @property
    def _keys_told(self) -> str:
        """The keys in words, with those that scroll where there is something to read."""
        line = self.keys_line
        return line if not self._lines or "PgUp" in line else f"{line} · PgUp PgDn scroll"

    def compose_answer(self) -> ComposeResult:
        """Compose what the person answers with."""
        yield from ()

    def action_back(self) -> None:
        """Close without an answer."""
        self.dismiss(None)

    def action_scroll(self, by: int) -> None:
        """Scroll the lines by a page up or down."""
        for lines in self.query("#dialog-lines").results(VerticalScroll):
            lines.scroll_page_down() if by > 0 else lines.scroll_page_up()


class Tell(Dialog[None]):
    """Something that has to be read."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter,space", "back", "back", show=False)]
    KEYS_LINE = "Enter, Space or Esc goes back"


class Confirm(Dialog[bool]):
    """Yes or no by its own key: Enter pressed once too often says nothing."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y", "answer(True)", "yes", show=False),
        Binding("n", "answer(False)", "no", show=False),
    ]
    KEYS_LINE = "y yes · n or Esc no"

    def __init__(self, heading: str, lines: Sequence[str], yes: str, no: str) -> None:
        super().__init__(heading, lines)
        self._yes, self._no = yes, no

    def compose_answer(self) -> ComposeResult:
        """Lay out what the person answers with."""
        with Horizontal(id="dialog-buttons"):
            yield Button(Content(f"y  {self._yes}"), id="yes")
            yield Button(Content(f"n  {self._no}"), id="no")

    @on(Button.Pressed)
    def _pressed(self, event: Button.Pressed) -> None:
        self.dismiss(event.button.id == "yes")

    def action_answer(self, yes: bool) -> None:
        """Answer by key."""
        self.dismiss(yes)

    def action_back(self) -> None:
        """Esc is no."""
        self.dismiss(False)


class Decide(Confirm):
    """Which of two is so: only an answer closes it, for none of the two may be taken for granted."""

    KEYS_LINE = "y or n answers, Esc does not"

    def action_back(self) -> None:
        """Esc is no answer."""


class Ask(Dialog[str]):
    """One line of text."""

    KEYS_LINE = "Enter takes it · Esc goes back"

    def __init__(self, heading: str, lines: Sequence[str], *, label: str, value: str, needed: bool) -> None:
        super().__init__(heading, lines)
        self._label, self._value, self._needed = label, value, needed

    def compose_answer(self) -> ComposeResult:
        """Lay out what the person answers with."""
        yield Static(plain(self._label), id="dialog-label", markup=False)
        yield LineInput(self._value, id="dialog-input", compact=True)

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self.query_one(Input).focus()

    @on(Input.Submitted)
    def _submitted(self, event: Input.Submitted) -> None:
        if self.unreadable:
            return
        words = event.value.strip()
        if words or not self._needed:
            self.dismiss(words)
        else:
            self.query_one("#dialog-label", Static).update(plain(f"{self._label} – words are needed here"))


class AskList(Dialog[list[str]]):
    """A list of names, entered one after another."""

    KEYS_LINE = (
        "Enter adds the name; with nothing typed it takes the list · Backspace brings the last one back · "
        "Esc goes back"
    )

    def __init__(self, heading: str, lines: Sequence[str], names: Sequence[str]) -> None:
        super().__init__(heading, lines)
        self._names = [one_line(name) for name in names]

    def compose_answer(self) -> ComposeResult:
        """Lay out what the person answers with."""
        with VerticalScroll(id="dialog-names", can_focus=False):
            yield Static("", id="dialog-name-list", markup=False)
        yield _NameInput(id="dialog-input", compact=True)

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self.query_one(Input).focus()
        self._show()

    @on(Input.Submitted)
    def _submitted(self, event: Input.Submitted) -> None:
        if self.unreadable:
            return
        name = one_line(event.value)
        if not name:
            self.dismiss(self._names)
            return
        if name not in self._names:
            self._names.append(name)
        event.input.value = ""
        self._show()

    def action_take_back(self) -> None:
        """Bring the last name back to be changed or dropped."""
        if self._names:
            self.query_one(Input).value = self._names.pop()
            self.query_one(Input).action_end()
            self._show()

    def _show(self) -> None:
        listed = [f"{number}  {name}" for number, name in enumerate(self._names, 1)] or ["no part named yet"]
        self.query_one("#dialog-name-list", Static).update(plain("\n".join(listed)))
        self.query_one("#dialog-names", VerticalScroll).scroll_end(animate=False)


class _NameInput(LineInput):
    """An input whose backspace, with nothing typed, belongs to the list."""

    def action_delete_left(self) -> None:
        """Delete a character, or bring the last name back."""
        if self.value or not isinstance(self.screen, AskList):
            super().action_delete_left()
        else:
            self.screen.action_take_back()


class MarkedList(OptionList):
    """A list whose chosen line is marked by a sign before it, beside its colour."""

    def show_options(self, lines: Sequence[tuple[int | None, str]]) -> None:
        """Show lines by their numbers; one without a number cannot be chosen."""
        self.clear_options()
        self._unmarked, self._marked = [words for _, words in lines], None
        self.add_options(
            Option(
                plain(UNMARKED + words), id=None if number is None else f"n{number}", disabled=number is None
            )
            for number, words in lines
        )
        self.highlighted = next((at for at, (number, _) in enumerate(lines) if number is not None), None)

    def watch_highlighted(self, highlighted: int | None) -> None:
        """Move the mark along."""
        for at, sign in ((self._marked, UNMARKED), (highlighted, MARKED)):
            if at is not None and at < self.option_count:
                self.replace_option_prompt_at_index(at, plain(sign + self._unmarked[at]))
        self._marked = highlighted
        super().watch_highlighted(highlighted)

    _unmarked: Sequence[str] = ()
    _marked: int | None = None


class Choose(Dialog[int]):
    """One of several; a long list is shortened by typing."""

    LONG = 10
    KEYS_LINE = "↑ ↓ PgUp PgDn choose · Enter takes it · Esc goes back"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "cursor(-1)", "up", show=False),
        Binding("down", "cursor(1)", "down", show=False),
        Binding("pageup", "page(-1)", "up", show=False),
        Binding("pagedown", "page(1)", "down", show=False),
    ]

    def __init__(
        self, heading: str, options: Sequence[str], lines: Sequence[str], at: int, keys: str
    ) -> None:
        super().__init__(heading, lines)
        self._keys = keys
        self._options, self._at = [one_line(option) for option in options], at

    def compose_answer(self) -> ComposeResult:
        """Lay out what the person answers with."""
        if len(self._options) > self.LONG:
            yield LineInput(id="dialog-input", compact=True)
        yield MarkedList(id="dialog-options", markup=False, compact=True)

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self._fill("")
        self._listed.highlighted = self._at
        self.call_after_refresh(self._listed.scroll_to_highlight)
        (self.query_one(Input) if self.query(Input) else self._listed).focus()

    @property
    def keys_line(self) -> str:
        """The keys in words."""
        return self._keys or self.KEYS_LINE

    @property
    def _listed(self) -> MarkedList:
        return self.query_one(MarkedList)

    @on(Input.Changed)
    def _typed(self, event: Input.Changed) -> None:
        if not self.gone:
            self._fill(event.value)

    def _fill(self, words: str) -> None:
        wanted = words.lower().split()
        found = [
            (number, option)
            for number, option in enumerate(self._options)
            if all(word in option.lower() for word in wanted)
        ]
        self._listed.show_options(found or [(None, NONE_FOUND)])

    @on(Input.Submitted)
    def _submitted(self) -> None:
        if not self.gone:
            self._listed.action_select()

    @on(OptionList.OptionSelected)
    def _selected(self, event: OptionList.OptionSelected) -> None:
        if not self.unreadable:
            self.dismiss(int((event.option_id or "n0")[1:]))

    def action_cursor(self, by: int) -> None:
        """Move the cursor of the list."""
        self._listed.action_cursor_down() if by > 0 else self._listed.action_cursor_up()

    def action_page(self, by: int) -> None:
        """Move the cursor by a page."""
        listed, page = self._listed, max(self._listed.size.height - 1, 1)
        if listed.option_count:
            listed.highlighted = min(max((listed.highlighted or 0) + by * page, 0), listed.option_count - 1)
