"""Design sheets as files: the one place in this package that touches the disk."""

from __future__ import annotations

from pathlib import Path

from ohmward.errors import InputError, Mistake, Unreachable
from ohmward.supply.model import Supply
from ohmward.supply.sheet import dumps, loads
from ohmward.text import visible


def load(path: str | Path) -> Supply:
    """Read the design sheet in a file.

    Raises
    ------
    InputError
        With every mistake in it.
    Unreachable
        When the file cannot be read.
    """
    try:
        text = Path(path).read_text(encoding="utf-8")
    except OSError as error:
        raise Unreachable(f"{visible(str(path))}: cannot be read ({error.strerror})") from error
    except UnicodeDecodeError as error:
        mistake = Mistake(where=str(path), field="", value="", why="not UTF-8 text", mend="Save it as UTF-8")
        raise InputError([mistake]) from error
    return loads(text, str(path))


def save(supply: Supply, path: str | Path) -> None:
    """Write a design sheet to a new file.

    Raises
    ------
    Unreachable
        When the file is already there or cannot be written.
    """
    try:
        with Path(path).open("x", encoding="utf-8") as file:
            file.write(dumps(supply))
    except OSError as error:
        raise Unreachable(f"{visible(str(path))}: cannot be written ({error.strerror})") from error
