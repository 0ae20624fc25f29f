"""A run that comes as a whole: from another logbook, or from paper. It is there whole or not at all.

What lies beside a journal is written first and the journal last, under its name in one step: until
then the logbook has no such run, and what an interruption leaves is taken up by the next attempt.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import msgspec

from ohmward.errors import OhmwardError
from ohmward.logbook import anchors, disk, drafts, files, names
from ohmward.logbook.clock import Clock, aware_now
from ohmward.logbook.events import Closed, Event, Opened, Record
from ohmward.logbook.lines import ZEROS, Seal, encode, encode_seal, line_hash


class TakenError(Exception):
    """A file of that name is there with other bytes; nothing was changed."""

    def __init__(self, path: Path) -> None:
        self.path = path
        super().__init__(str(path))


def bring_in(journal: Path, data: bytes, beside: Mapping[str, bytes], *, try_only: bool = False) -> bool:
    """Put a journal and the files beside it in their places; return False where all of it was there.

    Parameters
    ----------
    journal : Path
        Where the journal goes.
    data : bytes
        Its bytes.
    beside : mapping of str to bytes
        What goes beside it, by file name.
    try_only : bool
        Only say whether anything of it is missing, or taken.

    Raises
    ------
    TakenError
        When one of the names is taken by other bytes.
    OSError
        When something cannot be written; nothing of the run is left but what was there before.
    """
    wanted = {**beside, journal.name: data}
    missing = {name: each for name, each in wanted.items() if not _is_there(journal.with_name(name), each)}
    if try_only or not missing:
        return bool(missing)
    disk.make_folders(journal.parent)
    done: list[Path] = []
    try:
        for name, each in missing.items():  # the journal is the last of them
            place = journal.with_name(name)
            drafts.place_new(place, each)
            done.append(place)
    except OSError as error:
        _take_back(journal, done)
        if isinstance(error, FileExistsError):  # another program was quicker
            raise TakenError(place) from error
        raise
    return True


def _take_back(journal: Path, done: Sequence[Path]) -> None:
    """Remove what was put beside a journal that never came; what cannot be removed harms nothing."""
    if not os.path.lexists(journal):
        for place in reversed(done):
            with contextlib.suppress(OSError):
                place.unlink(missing_ok=True)


def _is_there(path: Path, data: bytes) -> bool:
    if not os.path.lexists(path):
        return False
    try:
        there = disk.read_file(path)
    except OhmwardError as error:
        raise TakenError(path) from error
    if there != data:
        raise TakenError(path)
    return True


@dataclass(frozen=True, slots=True, kw_only=True)
class Composed:
    """A closed run in memory, not yet in any logbook."""

    name: str
    """File name of its journal."""
    journal: bytes
    seal: bytes
    records: tuple[Record, ...]


def compose(name: str, folder: str, events: Sequence[Event], clock: Clock) -> Composed:
    """Return a closed run of `events`, written as a journal writes them.

    Parameters
    ----------
    name : str
        Name of the run, without ending; `Opened.run` is filled in from it.
    folder : str
        Name of its folder among the runs.
    events : sequence of Event
        From `Opened` to `Closed`, whose count is filled in.
    clock : Clock

    Raises
    ------
    Refused
        When one of them could not be read back as it is.
    """
    began = clock.monotonic()
    lines: list[bytes] = []
    records: list[Record] = []
    last_hash = ZEROS
    for seq, each in enumerate(events):
        event = each
        if isinstance(event, Opened):
            event = msgspec.structs.replace(event, run=f"{folder}/{name}")
        elif isinstance(event, Closed):
            event = msgspec.structs.replace(event, records=seq)
        elapsed = max(clock.monotonic() - began, 0.0)
        line, record = encode(seq=seq, at=aware_now(clock), elapsed_s=elapsed, event=event, prev=last_hash)
        last_hash = line_hash(line)
        lines.append(line + b"\n")
        records.append(record)
    file = f"{name}{names.JOURNAL}"
    last = records[-1]
    seal = Seal(run=file, records=len(records), last=last.digest, at=last.at)
    return Composed(name=file, journal=b"".join(lines), seal=encode_seal(seal), records=tuple(records))


def write_closed(
    logbook: Path, *, tag: str, procedure: str, day: date, events: Sequence[Event], clock: Clock
) -> Path:
    """Write a whole closed run into a logbook, and anchor it; return the path of its journal.

    Parameters
    ----------
    logbook : Path
    tag, procedure : str
        For the file's name; made safe for any system.
    day : date
        The day it counts for, for the file's name.
    events, clock
        As `compose` takes them.

    Raises
    ------
    Refused
        When a record could not be read back as it is; nothing was written.
    Unreachable
        When it cannot be written; then there is no such run, or all of it is there and it is said.
    """
    folder = Path(os.path.abspath(logbook)) / "runs" / names.safe(tag)
    try:
        files.make_logbook(folder.parent.parent)
        disk.make_folders(folder)
        number = names.first_free(day, os.listdir(folder))
        while True:
            composed = compose(names.stem(day, number, procedure), folder.name, events, clock)
            path = folder / composed.name
            try:
                bring_in(path, composed.journal, {files.seal_path(path).name: composed.seal})
                break
            except TakenError:  # another program was quicker
                number += 1
    except (OSError, ValueError) as error:
        raise disk.unreachable(folder, "the run cannot be written here", error) from error
    anchors.add(logbook, anchors.closed_run(path, composed.records), clock)
    return path


def sha256(data: bytes) -> str:
    """Return the SHA-256 of a file's bytes (hex)."""
    return hashlib.sha256(data).hexdigest()
