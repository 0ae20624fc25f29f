"""Files that are there whole or not at all: written under a name that is none, then given their own."""

from __future__ import annotations

import contextlib
import errno
import io
import os
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

from ohmward.logbook import disk

_CHUNK = 1 << 20
_NO_LINKS = frozenset(
    {errno.EPERM, errno.EACCES, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK}
)


def place_new(path: Path, data: bytes) -> None:
    """Write a file so that it is there whole or not at all, and never in the place of another.

    Raises
    ------
    FileExistsError
        When the name is taken; nothing was changed.
    OSError
        When it cannot be written; no part of it is left under its name.
    """
    with writing(path) as out:
        out.write(data)


def draft_of(path: Path) -> Path:
    """Return a name for a file until it has its own: hidden, and no other program's or thread's."""
    draft = path.with_name(f".{path.name}.{os.getpid()}-{threading.get_ident()}.draft")
    draft.unlink(missing_ok=True)  # of a program killed long ago that had the same numbers
    return draft


@contextlib.contextmanager
def writing(path: Path, *, replace: bool = False) -> Iterator[BinaryIO]:
    """Give a file to write to; it is there under its name, whole, when the block ends without an error.

    Parameters
    ----------
    path : Path
    replace : bool
        A file of that name may be replaced; without it that is a FileExistsError.

    Raises
    ------
    OSError
        When it cannot be written; what was there before is as it was.
    """
    if not replace and os.path.lexists(path):
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
    draft = draft_of(path)
    descriptor = disk.create(draft)
    try:
        with io.BufferedWriter(_Descriptor(descriptor), _CHUNK) as out:
            yield out
        disk.sync(descriptor)
        if replace:
            draft.replace(path)
            disk.sync_folder(path.parent)
        else:
            name_for_good(draft, path)
    finally:
        os.close(descriptor)
        with contextlib.suppress(OSError):  # it has its name, or the error of that is the one to tell
            draft.unlink(missing_ok=True)


class _Descriptor(io.RawIOBase):
    """An open file as something to write to; it is closed by who opened it."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor

    def writable(self) -> bool:
        return True

    def write(self, data: Any, /) -> int:
        return os.write(self._descriptor, data)


def name_for_good(draft: Path, path: Path) -> None:
    """Give a file its name in one step, never in the place of another; nothing is left when it fails.

    Raises
    ------
    FileExistsError
        When the name is taken.
    OSError
        When the disk failed; the draft may be left.
    """
    try:
        os.link(draft, path)
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
        if os.path.lexists(path):  # such a disk cannot do both in one step
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path)) from error
        os.rename(draft, path)
    try:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(draft)
        disk.sync_folder(path.parent)
    except OSError:
        with contextlib.suppress(OSError):
            os.unlink(path)
        raise
