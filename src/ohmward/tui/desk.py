"""How a screen asks and tells: dialogues awaited from a worker of that screen.

They are loaded when the first is asked for, after the first picture.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from typing import TypeVar

from textual.screen import Screen

from ohmward.tui.frame import Frame

Result = TypeVar("Result")


class Talker(Frame):
    """A screen that can hold a conversation."""

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
        from ohmward.tui.dialogs import Ask

        return await self._over(Ask(heading, lines, label=label, value=value, needed=needed))

    async def ask_list(self, heading: str, lines: Sequence[str], names: Sequence[str]) -> list[str] | None:
        """Ask for a list of names; None when the person goes back."""
        from ohmward.tui.dialogs import AskList

        return await self._over(AskList(heading, lines, names))

    async def confirm(self, heading: str, lines: Sequence[str], yes: str, no: str = "Not yet") -> bool:
        """Ask yes or no."""
        from ohmward.tui.dialogs import Confirm

        answer = await self._over(Confirm(heading, lines, yes, no))
        return answer is True

    async def choose(
        self, heading: str, options: Sequence[str], lines: Sequence[str] = (), at: int = 0, keys: str = ""
    ) -> int | None:
        """Ask for one of several, `keys` in words below; None when the person goes back."""
        from ohmward.tui.dialogs import Choose

        return await self._over(Choose(heading, options, lines, at, keys))

    async def decide(self, heading: str, lines: Sequence[str], yes: str, no: str) -> bool | None:
        """Ask which of two is so; only an answer closes it, or a key of the app (then None)."""
        from ohmward.tui.dialogs import Decide

        return await self._over(Decide(heading, lines, yes, no))

    async def tell(self, heading: str, lines: Sequence[str]) -> None:
        """Say something that has to be read."""
        from ohmward.tui.dialogs import Tell

        await self._over(Tell(heading, lines))

    async def aside(self, work: Callable[[], Result]) -> Result:
        """Do something that takes a while in a thread, with the screen free."""
        return await asyncio.to_thread(work)

    async def _over(self, dialog: Screen[Result]) -> Result | None:
        return await self.app.push_screen_wait(dialog)
