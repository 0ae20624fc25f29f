"""The questions about a supply that has no design sheet yet, one by one; what was answered stays in sight."""

from __future__ import annotations

from typing import ClassVar

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.message import Message
from textual.widgets import Input, Static

from ohmward.errors import InputError
from ohmward.supply.question import (
    ASKS,
    NOTHING,
    Question,
    as_before,
    asks,
    check,
    help_words,
    meant,
    offered,
    understood,
)
from ohmward.supply.questions import build, next_question
from ohmward.text import one_line
from ohmward.tui.dialogs import Dialog
from ohmward.tui.frame import plain
from ohmward.tui.line_input import LineInput


class _Answer(LineInput):
    """A line that a question mark does not get into at its beginning: there it asks for help."""

    class Asked(Message):
        """What is asked for is to be told."""

    async def on_key(self, event: events.Key) -> None:
        """Take a question mark at the beginning for a question."""
        if event.character == ASKS and not self.value[: min(self.selection)].strip():
            event.stop()
            event.prevent_default()
            self.post_message(self.Asked())


class SheetQuestions(Dialog[str]):
    """Asks for a design sheet; closes with its commented text, or with none."""

    KEYS_LINE: ClassVar[str] = "Enter takes it · ? says what is asked for · Esc goes a question back"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "back", "back", show=False)]

    def __init__(self) -> None:
        super().__init__("A new supply", [])
        self._answers: dict[str, str] = {}
        self._prompts: list[str] = []
        self._question: Question | None = next_question({})
        self._told = False
        """Whether what is asked for was told last, and nothing has been typed since."""

    def compose_answer(self) -> ComposeResult:
        """Lay out what the person answers with."""
        with VerticalScroll(id="dialog-names", can_focus=False):
            yield Static("", id="dialog-name-list", markup=False)
        yield Static("", id="dialog-label", markup=False)
        yield _Answer(id="dialog-input", compact=True)
        yield Static("", id="dialog-check", markup=False)

    def on_mount(self) -> None:
        """Begin, once it is on the screen."""
        self._ask()

    def _ask(self, said: str = "") -> None:
        question = self._question
        assert question is not None
        self._told = False
        listed = self._prompts or [
            "Only what says 'needed' has to be known: elsewhere Enter alone takes what stands after "
            "'Enter:', which is what is usual, or 'not known'. What was said of one rail is never taken for "
            "the next."
        ]
        self.query_one("#dialog-name-list", Static).update(plain("\n".join(listed)))
        self.query_one("#dialog-names", VerticalScroll).scroll_end(animate=False)
        why = f" – {question.why}" if question.why else ""
        self.query_one("#dialog-label", Static).update(
            plain(one_line(f"{question.section}: {question.prompt}{why}"))
        )
        entry = self.query_one(Input)
        with entry.prevent(Input.Changed):
            entry.value = said
            entry.cursor_position = len(said)
        entry.placeholder = hint(question)
        entry.focus()
        self._check(said)

    def _check(self, typed: str) -> None:
        question = self._question
        problem = check(question, meant(question, typed)) if question is not None and typed.strip() else None
        self._say(problem or "", asked=asks(typed))

    def _say(self, words: str, *, asked: bool = False) -> None:
        """Say what is wrong with what stands there, or what is asked for."""
        mark = "" if asked or not words else "✗ "
        self.query_one("#dialog-check", Static).update(plain(f"{mark}{one_line(words)}"))

    @on(Input.Changed)
    def _typed(self, event: Input.Changed) -> None:
        self._told = False
        self._check(event.value)

    @on(_Answer.Asked)
    def _tell(self) -> None:
        if self._question is not None:
            self._told = True
            self._say(help_words(self._question), asked=True)

    @on(Input.Submitted)
    def _submitted(self, event: Input.Submitted) -> None:
        question = self._question
        if self.unreadable or question is None:
            return
        if self._told and not event.value.strip():
            self._told = False  # Enter behind a question mark ends it: it takes nothing
            return
        typed = meant(question, event.value)
        problem = check(question, typed)
        if problem is not None:
            self._say(problem, asked=asks(typed))
            if asks(typed):  # pasted
                with event.input.prevent(Input.Changed):
                    event.input.value = ""
            return
        self._answers[question.key] = typed
        said = understood(question, typed)
        self._prompts.append(one_line(f"{question.section}: {question.prompt}: {said}"))
        self._question = next_question(self._answers)
        if self._question is None:
            self._end()
        else:
            self._ask()

    def _end(self) -> None:
        """Close with the sheet; where the answers do not fit together, ask the last one again."""
        try:
            text = build(self._answers)
        except InputError as error:
            self.action_back()
            self.query_one("#dialog-check", Static).update(plain("✗ " + "\n✗ ".join(str(error).splitlines())))
            return
        self.dismiss(text)

    def action_back(self) -> None:
        """Go to the question before; from the first one, leave."""
        if not self._answers:
            self.dismiss(None)
            return
        _, said = self._answers.popitem()
        self._prompts.pop()
        self._question = next_question(self._answers)
        self._ask(said)


def hint(question: Question) -> str:
    """Return what is shown where nothing is typed yet."""
    return "; ".join(part for part in (_empty_means(question), as_before(question)) if part)


def _empty_means(question: Question) -> str:
    if shown := offered(question):
        empty = f"Enter: {question.default or NOTHING}"
        return f"{shown}; {'needed' if question.required and not question.default else empty}"
    if question.default:
        return f"Enter: {question.default}"
    needed = "needed" if question.required else f"Enter: {NOTHING}"
    return f"such as {question.example}; {needed}" if question.example else needed
