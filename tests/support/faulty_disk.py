"""A disk that fails, writes short, or loses power at a chosen call; an interposed layer over `os`.

Every call of the logbook to a disk (open, read, listdir, write, fsync, ftruncate, link, rename,
replace, unlink, mkdir, flock) is counted, and one of them goes wrong:

- ``fail``: it raises OSError and does nothing; what follows works again.
- ``short``: a write takes half of its bytes, and the next write finds the disk full.
- ``kill``: the process ends before the call: nothing is called any more.
- ``power``: as ``kill``, and then the disk holds only what was waited for. Of what was not, either names
  or bytes may have reached it all the same (`Lost`): a file may be there empty, or whole without a name.

What is on the disk for certain is kept as the POSIX rules say: bytes of a file at its own fsync, names in
a folder at the folder's.
"""

from __future__ import annotations

import errno
import fcntl
import os
import shutil
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Literal
from unittest.mock import patch

Fault = Literal["fail", "short", "kill", "power"]
Lost = Literal["names and bytes", "names", "bytes"]
LOSSES: tuple[Lost, ...] = ("names and bytes", "names", "bytes")
COUNTED = (
    "open",
    "write",
    "fsync",
    "ftruncate",
    "link",
    "rename",
    "replace",
    "unlink",
    "mkdir",
    "read",
    "listdir",
)


class KilledError(BaseException):
    """The process ended here; nothing may catch it."""


class FaultyDisk:
    """Counts the calls under `folder`, and lets one go wrong."""

    def __init__(self, folder: Path, fault: Fault | None = None, at: int = -1) -> None:
        self.folder, self.fault, self.at = folder, fault, at
        self.calls = 0
        self.log: list[str] = []
        self.dead = False
        self._full = False
        self._real: dict[str, Callable[..., Any]] = {}
        self._open: set[int] = set()
        self._bytes: dict[int, bytes] = {}
        self._names: dict[int, dict[str, int]] = {}
        for place in (folder, *folder.rglob("*")):
            self._settle(place)

    @contextmanager
    def running(self) -> Iterator[None]:
        """Stand between the program and the disk; afterwards every file it left open is closed."""
        replaced: dict[str, Any] = {name: self._counted(name, getattr(os, name)) for name in COUNTED}
        with (
            patch.multiple(os, **replaced),
            patch.object(fcntl, "flock", self._counted("flock", fcntl.flock)),
            patch.object(os, "close", self._closing(os.close)),
            suppress(KilledError),
        ):
            yield
        for descriptor in self._open:
            os.close(descriptor)

    def after_power_cut(self, to: Path, lost: Lost) -> None:
        """Write to `to` what the disk holds after the cut."""
        shutil.rmtree(to, ignore_errors=True)
        bytes_now, names_now = dict(self._bytes), dict(self._names)
        for place in (self.folder, *self.folder.rglob("*")):
            status = os.lstat(place)
            if stat.S_ISDIR(status.st_mode):
                if "names" not in lost:
                    names_now[status.st_ino] = _listing(place)
            elif "bytes" not in lost:
                bytes_now[status.st_ino] = place.read_bytes()
        folders = {os.lstat(p).st_ino for p in (self.folder, *self.folder.rglob("*")) if p.is_dir()}

        def restore(inode: int, place: Path) -> None:
            place.mkdir()
            for name, child in names_now.get(inode, {}).items():
                if child in folders:
                    restore(child, place / name)
                else:
                    (place / name).write_bytes(bytes_now.get(child, b""))

        restore(os.lstat(self.folder).st_ino, to)

    def _counted(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*arguments: Any, **options: Any) -> Any:
            if not self._here(name, arguments, options):
                return real(*arguments, **options)
            if self.dead:
                raise KilledError
            number = self.calls
            self.calls += 1
            self.log.append(name)
            if name == "write" and self._full:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            if number == self.at:
                return self._wrong(name, real, arguments, options)
            return self._done(name, real, arguments, options)

        return call

    def _wrong(self, name: str, real: Callable[..., Any], arguments: Any, options: Any) -> Any:
        if self.fault in {"kill", "power"}:
            self.dead = True
            raise KilledError
        if self.fault == "short" and name == "write":
            self._full = True
            return real(arguments[0], bytes(arguments[1])[: max(len(arguments[1]) // 2, 1)])
        if self.fault == "short":
            return self._done(name, real, arguments, options)
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    def _done(self, name: str, real: Callable[..., Any], arguments: Any, options: Any) -> Any:
        # What is certain is kept account of here: the disk beneath need not be waited for.
        result: Any = None if name == "fsync" else real(*arguments, **options)
        if name == "open":
            self._open.add(result)
            if arguments[1] & os.O_EXCL:
                self._bytes.pop(os.fstat(result).st_ino, None)  # a number used again
        elif name == "mkdir":
            self._names.pop(os.lstat(arguments[0]).st_ino, None)
        elif name == "fsync":
            self._settle(arguments[0])
        return result

    def _closing(self, real: Callable[[int], None]) -> Callable[[int], None]:
        def close(descriptor: int) -> None:
            self._open.discard(descriptor)
            real(descriptor)

        return close

    def _here(self, name: str, arguments: Any, options: Any) -> bool:
        if isinstance(arguments[0], int):
            return arguments[0] in self._open
        if options.get("dir_fd") is not None:
            return False
        return Path(os.path.abspath(arguments[0])).is_relative_to(self.folder)

    def _settle(self, place: Path | int) -> None:
        """Take what a file or folder holds (by path or descriptor) as being on the disk for certain."""
        status = os.stat(place, follow_symlinks=True)
        if stat.S_ISDIR(status.st_mode):
            self._names[status.st_ino] = _listing(place)
        elif isinstance(place, int):
            self._bytes[status.st_ino] = os.pread(place, status.st_size, 0)
        else:
            self._bytes[status.st_ino] = place.read_bytes()


def _listing(folder: Path | int) -> dict[str, int]:
    with os.scandir(folder) as entries:
        return {entry.name: entry.inode() for entry in entries}
