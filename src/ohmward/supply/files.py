"""Design sheets as files: the one place in this package that touches the disk."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from ohmward.errors import InputError, Mistake, Unreachable
from ohmward.supply.model import Supply
from ohmward.supply.sheet import loads
from ohmward.supply.writing import dumps, update
from ohmward.text import visible


def load(path: str | Path) -> Supply:
    """Read the design sheet in a file.

    Raises
    ------
    InputError
        With every mistake in it.
    Unreachable
        When there is no such file, or it cannot be read.
    """
    return loads(read_source(path), str(path))


def save(supply: Supply, path: str | Path, *, replace: bool = False) -> None:
    """Write a design sheet to a file, whole or not at all.

    Parameters
    ----------
    supply : Supply
        What to write.
    path : path
        Where to.
    replace : bool
        Whether a sheet that is there already may be changed; its comments and order stay.

    Raises
    ------
    Unreachable
        When there is a file already and `replace` is not set, or it cannot be written.
    InputError
        When the file to be changed is no design sheet.
    """
    place = Path(path)
    there = place.exists()
    if there and not replace:
        raise Unreachable(f"{visible(str(path))}: there is a file of this name already. Choose another name")
    text = dumps(supply)
    if there:
        old = read_source(path)
        loads(old, str(path))
        text = update(old, supply)
    write_source(text, place)


def write_source(text: str, path: str | Path) -> None:
    """Put the text of a sheet into a file, whole or not at all, in the place of what is there.

    Raises
    ------
    Unreachable
        When it cannot be written; what was there is as it was.
    """
    try:
        _write(Path(path), text)
    except OSError as error:
        raise _unreachable(path, "written", error) from error


def read_source(path: str | Path) -> str:
    """Return the text of a sheet, as it stands there; raises as `load` does."""
    try:
        # not read_text: it would turn a lone carriage return into a line end
        return Path(path).read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise _unreachable(path, "read", error) from error
    except UnicodeDecodeError as error:
        mistake = Mistake(
            where=str(path),
            field="",
            value="",
            why=f"not UTF-8 text (byte {error.start})",
            mend="Save it as UTF-8",
        )
        raise InputError([mistake]) from error
    except ValueError as error:  # a NUL in the name
        raise Unreachable(f"{visible(str(path))}: not a file name ({error})") from error


def _write(place: Path, text: str) -> None:
    """Write beside the file, sync, and put in its place: a crash leaves the old or the new, never half."""
    handle, beside = tempfile.mkstemp(dir=place.parent, prefix=f".{place.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(text.encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())
        mode = place.stat().st_mode & 0o777 if place.exists() else 0o666 & ~_umask()
        Path(beside).chmod(mode)
        Path(beside).replace(place)
    except BaseException:
        with contextlib.suppress(OSError):
            Path(beside).unlink()
        raise


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _unreachable(path: str | Path, what: str, error: OSError) -> Unreachable:
    return Unreachable(f"{visible(str(path))}: cannot be {what} ({error.strerror or error})")
