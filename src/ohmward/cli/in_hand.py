"""A run of the same supply that is in hand, told before another is begun from the command line."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from ohmward.cli.screen import resume_command
from ohmward.cli.talking import has_terminal, talk

if TYPE_CHECKING:
    from ohmward.desk.other_runs import Begin

Result = TypeVar("Result")


def begin_or_go_on(arguments: argparse.Namespace, logbook: Path) -> Begin | None:
    """Return what is wanted where a run of the supply is in hand: that, or another; None for neither.

    It is asked where a person can answer and a run would be opened; elsewhere it is told, and another begun.

    Raises KeyboardInterrupt where the person leaves instead.
    """
    import asyncio

    from ohmward.desk.other_runs import MOST, Begin, heading, in_hand, instead

    if has_terminal() and not arguments.no_screen:
        return asyncio.run(instead(_Asked(), logbook, arguments.sheet, simulated=arguments.rehearsal))
    found = in_hand(logbook, arguments.sheet, simulated=arguments.rehearsal)
    if found:
        talk(f"{heading(found)}; another is begun beside it.")
    for each in found[:MOST]:
        command = resume_command(logbook, each.entry.path, plain=arguments.plain)
        talk(f"  {each.words}. To go on with it instead: {command}")
    return Begin()


class _Asked:
    """A question on the terminal, before any screen is there."""

    async def choose(
        self, heading: str, options: Sequence[str], lines: Sequence[str] = (), at: int = 0, keys: str = ""
    ) -> int | None:
        """Ask for one of several by its number; None for Enter alone."""
        del at, keys  # the place of a cursor and its keys: there is none
        for line in (f"{heading}.", *lines, *(f"{number}. {each}" for number, each in enumerate(options, 1))):
            talk(line)
        while True:
            try:
                text = input(f"Which, 1 to {len(options)} (Enter alone: none of these)? ").strip().rstrip(".")
            except EOFError as error:
                raise KeyboardInterrupt from error
            if not text:
                return None
            if text.isascii() and text.isdigit() and 1 <= int(text) <= len(options):
                return int(text) - 1

    async def aside(self, work: Callable[[], Result]) -> Result:
        """Do it: nothing is shown meanwhile."""
        return work()
