"""This computer's name among those that write to one logbook.

A logbook may lie in a folder that is synchronised between computers. Each of them keeps a chain of
its own in it, so that no two ever write one file; the name of that chain is therefore kept on the
computer, not in the logbook.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import platform
import secrets
from collections.abc import Iterator
from pathlib import Path

from ohmward.errors import OhmwardError
from ohmward.logbook import disk, names

VARIABLE = "OHMWARD_BENCH"
"""Environment variable that names this computer; else a random name is made once and kept."""


def bench_name(state_folder: Path | None = None) -> str:
    """Return the name of this computer, safe as a file name.

    Parameters
    ----------
    state_folder : Path, optional
        Where the name is kept; the person's own folder for the state of programs when not given.
    """
    given = os.environ.get(VARIABLE, "").strip()
    if given:
        return names.safe(given)
    kept = (state_folder or _state_folder()) / "bench"
    return _read(kept) or _made(kept) or _of_this_host()


@contextlib.contextmanager
def lock_here(descriptor: int, path: Path, wait_s: float) -> Iterator[None]:
    """Keep the other programs of this computer from an open file that every program adds to.

    On a disk without locks, such as some network shares, a file on this computer is locked instead:
    that is enough, as no other computer writes the same chain.

    Raises
    ------
    Refused
        When another holds it for longer than `wait_s`.
    """
    if not disk.lock_waiting(descriptor, path, wait_s):
        yield  # let go of when the descriptor is closed
        return
    stand_in = _open_stand_in()
    try:
        if stand_in >= 0:
            disk.lock_waiting(stand_in, path, wait_s)
        yield
    finally:
        if stand_in >= 0:
            os.close(stand_in)


def _open_stand_in() -> int:
    place = _state_folder() / "lock"
    try:
        disk.make_folders(place.parent)
        return disk.open_or_create(place)[0]
    except (OhmwardError, OSError):
        return -1  # nothing can be locked anywhere: `verify` finds two lines with one number


def _state_folder() -> Path:
    from platformdirs import user_state_path

    return user_state_path("ohmward")


def _read(kept: Path) -> str:
    try:
        text = disk.read_file(kept).decode(errors="replace").strip()
    except OhmwardError:
        return ""
    return names.safe(text) if text else ""


def _made(kept: Path) -> str:
    try:
        disk.make_folders(kept.parent)
        disk.write_new(kept, f"{secrets.token_hex(4)}\n".encode())
    except (OhmwardError, OSError):  # read-only, or another program was quicker: what is there counts
        pass
    return _read(kept)


def _of_this_host() -> str:
    """Return a name for a computer on which none can be kept: always the same, not secret."""
    return hashlib.sha256(platform.node().encode()).hexdigest()[:8]
