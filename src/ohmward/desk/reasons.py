"""Asking for a reason until it is one."""

from __future__ import annotations

from collections.abc import Sequence

from ohmward.desk.asking import Talks
from ohmward.run.reasons import SAY, no_reason


async def ask_reason(
    desk: Talks, heading: str, lines: Sequence[str], *, label: str, needed: bool = True
) -> str | None:
    """Ask for a reason in words; what is none is asked about. None when the person goes back."""
    problem, typed = "", ""
    while True:
        said = [problem, *lines] if problem else lines
        given = await desk.ask(heading, said, label=label, value=typed, needed=needed)
        if given is None:
            return None
        problem, typed = no_reason(given), given
        if not problem:
            return given
        problem = f"{problem}. {SAY}."
