"""What a conversation needs of the screen it is held on: to ask and to tell; a move records too."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from typing import Protocol, TypeVar

from ohmward.desk.who_tests import Who
from ohmward.errors import Refused
from ohmward.procedure.model import Item
from ohmward.run import LiveRun
from ohmward.run.state import Key

Result = TypeVar("Result")
Act = Callable[[bool], object]
"""Something that records; the flag says that an implausible value was confirmed."""


class Chooses(Protocol):
    """What a question with a few answers needs of whoever shows it."""

    async def choose(
        self, heading: str, options: Sequence[str], lines: Sequence[str] = (), at: int = 0, keys: str = ""
    ) -> int | None:
        """Ask for one of several, `keys` in words below; None when the person goes back."""

    async def aside(self, work: Callable[[], Result]) -> Result:
        """Do something that takes a while; whoever shows may go on showing meanwhile."""


class Talks(Chooses, Protocol):
    """What any conversation needs of whoever shows it."""

    async def ask(
        self,
        heading: str,
        lines: Sequence[str] = (),
        *,
        label: str = "",
        value: str = "",
        needed: bool = False,
    ) -> str | None:
        """Ask for a line of text; None when the person goes back."""

    async def confirm(self, heading: str, lines: Sequence[str], yes: str, no: str = "Not yet") -> bool:
        """Ask yes or no."""

    async def tell(self, heading: str, lines: Sequence[str]) -> None:
        """Say something that has to be read."""


class Desk(Talks, Protocol):
    """What a move needs of the screen."""

    live: LiveRun
    who: Who

    @property
    def item(self) -> Item | None:
        """The item shown."""

    async def ask_list(self, heading: str, lines: Sequence[str], names: Sequence[str]) -> list[str] | None:
        """Ask for a list of names, one a line; None when the person goes back."""

    async def decide(self, heading: str, lines: Sequence[str], yes: str, no: str) -> bool | None:
        """Ask which of two is so; only an answer closes it, or a key of the app (then None)."""

    def say(self, words: str, *, good: bool = True) -> None:
        """Say something in passing."""

    async def record(
        self, act: Act, *, refused: Callable[[Refused], Awaitable[bool | None]] | None = None
    ) -> bool:
        """Record through the gates and show the result; False when nothing was recorded.

        `refused` may take a refusal in hand: it returns whether it recorded, or None to have it shown.
        """

    def go(self, key: Key) -> None:
        """Show another item."""

    def type_at(self, key: Key, text: str) -> None:
        """Show another item with a value typed there and not yet taken: Enter takes it."""

    def use_meter(self, name: str) -> None:
        """Take `name` as the meter of readings of this kind."""
