"""Commands of a profile made ready to be sent: what stands in braces put in, and put behind a semicolon."""

from __future__ import annotations


def filled(command: str, channel: str = "", *, value: float | None = None, volts: float | None = None) -> str:
    """Return a command with its channel, value and test voltage put in; numbers as NR1, NR2 or NR3."""
    found = command.replace("{channel}", channel)
    if value is not None:
        found = found.replace("{value}", f"{value:.6G}")
    return found if volts is None else found.replace("{volts}", f"{volts:.6G}")


def rooted(line: str) -> str:
    """Return a line that may stand behind a semicolon: from the root of the command tree."""
    return line if line.startswith(("*", ":")) else f":{line}"
