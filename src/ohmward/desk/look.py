"""The look that a person chose last, dark or light, kept for the next time."""

from __future__ import annotations

from pathlib import Path

from ohmward.desk.own_settings import keep, kept, own_file

LOOKS = ("dark", "light")


def look_file() -> Path:
    """Return where it is kept."""
    return own_file("look")


def last_look(file: Path) -> str:
    """Return the look kept in a file; empty where none is, or none that is known."""
    said = kept(file, 16) or ""
    return said if said in LOOKS else ""


def keep_look(file: Path, look: str) -> str:
    """Keep a look for the next time; return why it could not be kept, empty where it was."""
    return keep(file, look)
