"""The desk on lines: each question is a few lines that end by saying what can be typed."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Coroutine, Sequence
from typing import Any, TypeVar

from ohmward.desk.asking import Act
from ohmward.desk.in_use import InUse
from ohmward.desk.recording import recorded
from ohmward.desk.who_tests import Who
from ohmward.errors import Refused
from ohmward.plain.lines import Lines
from ohmward.procedure.model import Item
from ohmward.run import LiveRun
from ohmward.run.mains_on import MAINS_ON
from ohmward.run.state import Key

Result = TypeVar("Result")
OFF_WORDS = frozenset({"off", "x", "make safe"})
"""What makes safe, at every question while mains is on."""
NOT_LIVE = (
    "Nothing is energised by the records, so there is nothing to switch off: nothing is done. "
    "The question before stands; 'back' leaves it."
)
"""What makes safe, typed at a question while mains is off: it is never taken for the answer."""
_YES, _NO = frozenset({"yes", "y"}), frozenset({"no", "n"})
_BACK, _QUIT = "back", "quit"


class PutAside(BaseException):
    """The person breaks a question off, to make safe or to leave. No handler of errors is to keep it.

    Attributes
    ----------
    command : str
        ``off`` or ``quit``.
    """

    def __init__(self, command: str) -> None:
        super().__init__(command)
        self.command = command


class PlainDesk:
    """Asks and tells line by line; see `ohmward.desk.asking.Desk`. Nothing in it waits but for a line.

    Parameters
    ----------
    live : LiveRun
    lines : Lines
    trouble : callable
        Writes the details of an error down and returns one sentence.
    reopen : callable
        Opens the journal in hand anew.
    who : Who
    """

    def __init__(
        self, live: LiveRun, lines: Lines, *, trouble: Callable[[BaseException], str],
        reopen: Callable[[], None], who: Who,
    ) -> None:  # fmt: skip
        self.live, self.lines, self.who = live, lines, who
        self._trouble, self._reopen = trouble, reopen
        self.at: Key | None = None
        self.in_use = InUse()
        self.queued = ""
        """What was typed after a command: it answers the first question for words."""
        self.typed: tuple[Key, str] | None = None
        """A value typed that belongs to another entry: an empty line there takes it."""
        self.shown: Key | None = None
        """The entry whose card was said last."""

    @property
    def trouble(self) -> Callable[[BaseException], str]:
        """Write the details of an error down; return one sentence."""
        return self._trouble

    @property
    def reopen(self) -> Callable[[], None]:
        """Open the journal in hand anew."""
        return self._reopen

    @property
    def item(self) -> Item | None:
        """The item in hand."""
        return self.live.state.by_key.get(self.at) if self.at is not None else None

    def show_card(self) -> bool:
        """Say the card of the item in hand, unless it was said last; return whether it was said now."""
        self.shown = self.at
        return False

    def show_state(self) -> None:
        """Have what is in hand said again."""
        self.shown = None

    def go(self, key: Key) -> None:
        """Take another item in hand."""
        self.at = key

    def type_at(self, key: Key, text: str) -> None:
        """Take another item in hand with a value typed for it and not yet taken."""
        self.go(key)
        self.typed = key, text
        self.say(f"not recorded yet: {text} stands typed at what follows; Enter alone takes it there.")

    def use_meter(self, name: str) -> None:
        """Take `name` as the meter of readings of this kind."""
        self.in_use.use(self.item, name)
        self.lines.say(f"In use now: {name}." if name else "In use now: none of the list.")

    def say(self, words: str, *, good: bool = True) -> None:
        """Say something in passing."""
        del good
        self.lines.say(f"{words[:1].upper()}{words[1:]}")

    async def aside(self, work: Callable[[], Result]) -> Result:
        """Do something that takes a while: here everything waits for it."""
        return work()

    async def tell(self, heading: str, lines: Sequence[str]) -> None:
        """Say something that has to be read."""
        self._head(heading, lines)

    async def ask(
        self, heading: str, lines: Sequence[str] = (), *, label: str = "", value: str = "",
        needed: bool = False,
    ) -> str | None:  # fmt: skip
        """Ask for a line of text; None when the person goes back."""
        if self.queued:
            words, self.queued = self.queued, ""
            return words
        self._head(heading, lines)
        empty = (
            "" if needed and not value else f" Enter alone keeps {value}." if value else " It may stay empty."
        )
        self.lines.say(f"{label or 'Words'}? Type it, or 'back'.{empty}")
        while True:
            text = self.line() or value
            if text.lower() == _BACK:
                return None
            if text or not needed:
                return text
            self.lines.say("This cannot stay empty. Type it, or 'back'.")

    async def ask_list(self, heading: str, lines: Sequence[str], names: Sequence[str]) -> list[str] | None:
        """Ask for a list of names, one a line; None when the person goes back."""
        if self.queued:
            words, self.queued = self.queued, ""
            return [name.strip() for name in words.split(";") if name.strip()]
        self._head(heading, lines)
        if names:
            self.lines.say("Named so far:", *(f"  {name}" for name in names))
        keeps = "keeps these" if names else "goes back"
        self.lines.say(f"One a line; an empty line ends the list. An empty line at once {keeps}.")
        found: list[str] = []
        while text := self.line():
            if text.lower() == _BACK:
                return None
            found.append(text)
        return found or list(names) or None

    async def confirm(self, heading: str, lines: Sequence[str], yes: str, no: str = "Not yet") -> bool:
        """Ask yes or no; an empty line is neither."""
        return await self.decide(heading, lines, yes, no) is True

    async def decide(self, heading: str, lines: Sequence[str], yes: str, no: str) -> bool | None:
        """Ask which of two is so."""
        self._head(heading, lines)
        asked = f"yes: {yes}. no: {no}. Which?"
        while True:
            self.lines.say(asked)
            text = self.line().lower()
            if text in _YES | _NO:
                return text in _YES
            asked = f"Type yes or no. yes: {yes}. no: {no}."

    async def choose(
        self, heading: str, options: Sequence[str], lines: Sequence[str] = (), at: int = 0, keys: str = ""
    ) -> int | None:
        """Ask for one of several by its number; None when the person goes back."""
        del at, keys  # the place of a cursor and its keys: there is none
        self._head(heading, lines)
        self.lines.say(*(f"{number}. {option}" for number, option in enumerate(options, 1)))
        while True:
            numbers = f"a number from 1 to {len(options)}" if len(options) > 1 else "1"
            self.lines.say(f"Type {numbers}, or 'back'.")
            text = self.line().rstrip(".").lower()
            if text == _BACK:
                return None
            if text.isascii() and text.isdigit() and 1 <= int(text) <= len(options):
                return int(text) - 1

    async def record(
        self, act: Act, *, refused: Callable[[Refused], Awaitable[bool | None]] | None = None
    ) -> bool:
        """Record through the gates; whatever goes wrong is said in words."""
        return await recorded(self, act, refused)

    def _head(self, heading: str, lines: Sequence[str]) -> None:
        self.show_card()
        self.lines.say("", f"{heading}." if heading[-1:].isalnum() else heading)
        self.lines.say(*(line for line in lines if line.strip()))

    def line(self) -> str:
        """Return what is typed, unless it puts everything aside."""
        while True:
            text = self.lines.ask()
            aside = self.aside_of(text)
            if aside is not None:
                raise aside
            if text.lower() not in OFF_WORDS:
                return text
            self.lines.say(NOT_LIVE)

    def aside_of(self, text: str) -> PutAside | None:
        """Return what a line puts everything aside for: to make safe, or to leave; None where it does not."""
        if text.lower() in OFF_WORDS and self.live.state.phase in MAINS_ON:
            return PutAside("off")
        return PutAside("quit") if text.lower() == _QUIT else None


def held(conversation: Coroutine[Any, Any, Result]) -> Result:
    """Hold a conversation to its end: on lines nothing in it waits for anything but a line.

    Raises
    ------
    RuntimeError
        When it does: a defect of ours.
    """
    try:
        conversation.send(None)
    except StopIteration as end:
        return end.value  # type: ignore[no-any-return]
    conversation.close()
    raise RuntimeError("a conversation waited for something that no line can give it")
