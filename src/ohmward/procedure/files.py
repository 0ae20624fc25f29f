"""Procedures and limit sets as files: a path of the user's own, or one shipped with the tool by name."""

from __future__ import annotations

from difflib import get_close_matches
from pathlib import Path

from ohmward.errors import Unreachable
from ohmward.procedure.limitset import LimitSet, loads_limits
from ohmward.procedure.loader import loads
from ohmward.procedure.model import Procedure
from ohmward.shipped import Kind, folder, names
from ohmward.text import visible
from ohmward.textfile import read_text


def load(path_or_name: Path | str) -> Procedure:
    """Read a procedure file.

    Parameters
    ----------
    path_or_name : path or str
        A file, or the name of a shipped procedure such as ``commissioning``. What exists as a file is
        taken as a file.

    Raises
    ------
    InputError
        When the file has mistakes; all of them at once.
    Unreachable
        When there is no such file or procedure, or it cannot be read.
    """
    return loads(source_text(path_or_name), str(path_or_name))


def load_limits(path_or_name: Path | str) -> LimitSet:
    """Read a limit set, by path or by the name of a shipped one such as ``iec``; raises as `load`."""
    return loads_limits(source_text_limits(path_or_name), str(path_or_name))


def source_text(path_or_name: Path | str) -> str:
    """Return the TOML text of a procedure, to be kept with the run; raises as `load`."""
    return _text(path_or_name, "procedures", "procedure")


def source_text_limits(path_or_name: Path | str) -> str:
    """Return the TOML text of a limit set, to be kept with the run; raises as `load`."""
    return _text(path_or_name, "limits", "limit set")


def _text(path_or_name: Path | str, kind: Kind, what: str) -> str:
    called = str(path_or_name)
    try:
        path = Path(path_or_name)
        if not path.is_file():
            shipped = names(kind)
            if called not in shipped and not path.exists():
                raise Unreachable(_unknown(called, shipped, what))
            path = folder(kind) / f"{called}.toml" if called in shipped else path
    except OSError as error:
        raise Unreachable(visible(f"{called}: cannot be read ({error.strerror})")) from error
    return read_text(path)


def _unknown(called: str, shipped: tuple[str, ...], what: str) -> str:
    near = get_close_matches(called, shipped, n=1)
    mend = f"Did you mean '{near[0]}'?" if near else f"Shipped with the tool: {', '.join(shipped)}"
    return visible(f"{called}: there is no such file, and no {what} of this name. {mend}")
