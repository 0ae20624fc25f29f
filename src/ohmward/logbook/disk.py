"""Bytes on the disk: the one home of what differs between systems (locks, sync, exclusive creation).

Where a system cannot do something, the function that would do it returns that in words, for
`Journal.shortcomings`; on Linux with a local disk there are none.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import sys
import time
from pathlib import Path

from ohmward.errors import Refused, Unreachable
from ohmward.text import one_line

if sys.platform != "win32":
    import fcntl

MAX_BYTES = 1 << 30
"""No journal is larger; a file that is, is not read [bytes]."""

FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
"""Error numbers of a disk, quota or file without room."""

_CHUNK = 1 << 20
_STEP = 1 << 13
# Opened so, a pipe or a device answers at once; both are refused all the same.
_ALWAYS = getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
_NO_LOCK = "this disk or system has no file locks: nothing keeps a second session out of the same run"
_NO_FOLDER_SYNC = (
    "this disk or system cannot sync a folder: a power cut may lose the name of a file just made"
)
_NOT_SUPPORTED = frozenset({errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.ENOLCK})


def shown(path: Path) -> str:
    """Return `path` as text safe to show on one line."""
    return one_line(str(path))


def unreachable(path: Path, what: str, error: OSError | ValueError) -> Unreachable:
    """Return the error for a person: which file, what was not done, why."""
    why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return Unreachable(f"{shown(path)}: {what} ({why})")


def open_regular(path: Path, *, write: bool = False) -> int:
    """Open a regular file and return its descriptor, never waiting for a pipe or waking a device.

    Raises
    ------
    Unreachable
        When it is not there, may not be opened so, or is not a regular file.
    """
    what = "cannot be opened for writing" if write else "cannot be read"
    try:
        _require_regular(path, os.stat(path))
        descriptor = os.open(path, _ALWAYS | (os.O_RDWR | os.O_APPEND if write else os.O_RDONLY))
    except (OSError, ValueError) as error:
        raise unreachable(path, what, error) from error
    try:
        _require_regular(path, os.fstat(descriptor))
    except Unreachable:
        os.close(descriptor)
        raise
    return descriptor


def read_open(descriptor: int, path: Path) -> bytes:
    """Return all bytes of an open file.

    Raises
    ------
    Unreachable
        When it cannot be read, or is too large to be a journal.
    """
    chunks: list[bytes] = []
    count = 0
    try:
        too_large = os.fstat(descriptor).st_size > MAX_BYTES
        os.lseek(descriptor, 0, os.SEEK_SET)
        while not too_large and (chunk := os.read(descriptor, _CHUNK)):
            chunks.append(chunk)
            count += len(chunk)
            too_large = count > MAX_BYTES
    except OSError as error:
        raise unreachable(path, "cannot be read", error) from error
    if too_large:
        raise Unreachable(f"{shown(path)}: too large to be a journal (over {MAX_BYTES} bytes)")
    return b"".join(chunks)


def read_file(path: Path) -> bytes:
    """Return all bytes of a regular file; raises Unreachable as `open_regular` and `read_open` do."""
    descriptor = open_regular(path)
    try:
        return read_open(descriptor, path)
    finally:
        os.close(descriptor)


def first_and_last_line(path: Path, longest: int) -> tuple[bytes, bytes, bool]:
    """Return the first and the last whole line of a file, and whether bytes follow the last line end.

    Lines come without their ends; both are empty when there is no whole line under `longest` bytes.
    Only the two ends of the file are read. Raises Unreachable as `read_file` does.
    """
    descriptor = open_regular(path)
    try:
        size = os.fstat(descriptor).st_size
        reach = _STEP
        head = _read_at(descriptor, 0, reach)
        while b"\n" not in head and len(head) < min(size, longest):
            reach *= 8
            head = _read_at(descriptor, 0, reach)
        reach = _STEP
        tail = _read_at(descriptor, max(size - reach, 0), reach)
        while tail.count(b"\n") < 2 and reach < min(size, 2 * longest):
            reach *= 8
            tail = _read_at(descriptor, max(size - reach, 0), reach)
    except OSError as error:
        raise unreachable(path, "cannot be read", error) from error
    finally:
        os.close(descriptor)
    first, end, _ = head.partition(b"\n")
    lines = tail.split(b"\n")
    if not end or len(lines) < 2:
        return b"", b"", bool(size)
    return first, lines[-2], bool(lines[-1])


def _read_at(descriptor: int, start: int, count: int) -> bytes:
    os.lseek(descriptor, start, os.SEEK_SET)
    return os.read(descriptor, count)


def lock(descriptor: int, path: Path) -> str:
    """Make this the only writer of an open file until it is closed; return what could not be done.

    Raises
    ------
    Refused
        When another session holds it.
    """
    if sys.platform == "win32":
        return _NO_LOCK
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        raise Refused(
            "in-use",
            [f"{shown(path)} is being written by another session"],
            "Go on there, or close it there first; nothing was changed",
        ) from error
    except OSError as error:
        if error.errno in _NOT_SUPPORTED:
            return _NO_LOCK
        raise unreachable(path, "cannot be locked", error) from error
    return ""


def lock_waiting(descriptor: int, path: Path, wait_s: float) -> str:
    """As `lock`, for a file held only for moments: wait for the other; raises Refused after `wait_s`."""
    until = time.monotonic() + wait_s
    while True:
        try:
            return lock(descriptor, path)
        except Refused:
            if time.monotonic() >= until:
                raise
            time.sleep(0.02)


def sync(descriptor: int) -> None:
    """Wait until an open file's bytes are on the disk; raises OSError."""
    if sys.platform == "darwin":
        # fsync there only hands the bytes to the drive's own memory.
        fcntl.fcntl(descriptor, fcntl.F_FULLFSYNC)
    else:
        os.fsync(descriptor)


def sync_folder(folder: Path) -> str:
    """Wait until the names in `folder` are on the disk; return what could not be done.

    Raises
    ------
    OSError
        When the disk failed.
    """
    if sys.platform == "win32":
        return _NO_FOLDER_SYNC
    try:
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    except PermissionError:  # a folder may be written in without being readable
        return _NO_FOLDER_SYNC
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno in _NOT_SUPPORTED:
            return _NO_FOLDER_SYNC
        raise
    finally:
        os.close(descriptor)
    return ""


def append(descriptor: int, data: bytes) -> None:
    """Add `data` at the end of an open file and wait until it is on the disk; raises OSError.

    One write; a short one is finished or fails, and what then stands there is the caller's to cut.
    """
    rest = memoryview(data)
    while rest:
        rest = rest[os.write(descriptor, rest) :]
    sync(descriptor)


def cut(descriptor: int, size: int) -> None:
    """Cut an open file to `size` bytes and wait until that is on the disk; raises OSError."""
    os.ftruncate(descriptor, size)
    sync(descriptor)


def cut_quietly(descriptor: int, size: int) -> None:
    """Take away what a failed write left, where that is possible: the reader sets it aside if not."""
    with contextlib.suppress(OSError):
        cut(descriptor, size)


def create(path: Path) -> int:
    """Make a file that was not there and return its descriptor; raises OSError (FileExistsError)."""
    return os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT | os.O_EXCL | _ALWAYS, 0o666)


def open_or_create(path: Path) -> tuple[int, bool]:
    """Open a file for adding to, made where it is missing; return its descriptor and whether it is new.

    Raises
    ------
    Unreachable
        When what is there is not a regular file, or may not be written.
    OSError
        When it cannot be made.
    """
    try:
        return create(path), True
    except FileExistsError:
        return open_regular(path, write=True), False


def write_new(path: Path, data: bytes) -> None:
    """Write a new file, on the disk with its name when this returns; raises OSError.

    When it fails no part of the file is left.
    """
    descriptor = create(path)
    try:
        append(descriptor, data)
        sync_folder(path.parent)
    except OSError:
        path.unlink(missing_ok=True)
        raise
    finally:
        os.close(descriptor)


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that it is there whole or not at all, also after a power cut; raises OSError."""
    draft = path.with_name(f"{path.name}.draft")
    draft.unlink(missing_ok=True)
    write_new(draft, data)
    draft.replace(path)
    sync_folder(path.parent)


def make_folders(folder: Path) -> None:
    """Make `folder` and what is missing above it, each name on the disk when this returns.

    Raises
    ------
    Unreachable
        When it cannot be made.
    """
    try:
        missing = [place for place in (folder, *folder.parents) if not place.exists()]
        for place in reversed(missing):
            place.mkdir(exist_ok=True)
            sync_folder(place.parent)
        if not folder.is_dir():
            raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR))
    except (OSError, ValueError) as error:
        raise unreachable(folder, "the folder cannot be made", error) from error


def put_back(descriptor: int, path: Path) -> None:
    """Close and remove a file just made that came to nothing."""
    os.close(descriptor)
    with contextlib.suppress(OSError):
        path.unlink()


def is_at(path: Path, descriptor: int, size: int) -> bool:
    """Say whether `path` still is the open file, `size` bytes long."""
    try:
        there = os.stat(path)
    except OSError:
        return False
    here = os.fstat(descriptor)
    return (there.st_dev, there.st_ino, there.st_size) == (here.st_dev, here.st_ino, size)


def _require_regular(path: Path, status: os.stat_result) -> None:
    if stat.S_ISREG(status.st_mode):
        return
    kind = "a folder" if stat.S_ISDIR(status.st_mode) else "not a regular file"
    raise Unreachable(f"{shown(path)}: cannot be read as a journal (it is {kind})")
