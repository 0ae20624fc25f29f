"""Reading a text file that a person named."""

from __future__ import annotations

import stat
from pathlib import Path

from ohmward.errors import InputError, Mistake, Unreachable
from ohmward.text import visible


def read_text(path: Path | str) -> str:
    """Return the text of a regular file in UTF-8.

    Raises
    ------
    Unreachable
        When there is no such file, it is not a regular one, or it cannot be read.
    InputError
        When it is not UTF-8.
    """
    try:
        if not stat.S_ISREG(Path(path).stat().st_mode):
            raise Unreachable(visible(f"{path}: not a regular file"))
        return Path(path).read_text(encoding="utf-8")
    except OSError as error:
        raise Unreachable(visible(f"{path}: cannot be read ({error.strerror})")) from error
    except UnicodeDecodeError as error:
        raise InputError(
            [Mistake(where=str(path), field="", value="", why="not UTF-8 text", mend="Save it as UTF-8")]
        ) from error
    except ValueError as error:  # a null character in a name
        raise Unreachable(visible(f"{path}: no such file name")) from error
