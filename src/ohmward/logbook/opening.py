"""Beginning a run and going on with one: who may write, and from where."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from pathlib import Path

import msgspec

from ohmward.errors import Damaged
from ohmward.logbook import disk, drafts, files, names
from ohmward.logbook.chain import check
from ohmward.logbook.clock import Clock, SystemClock, aware_now
from ohmward.logbook.events import Opened, Record, Recovered
from ohmward.logbook.journal import Journal, write_seal


def create_run(
    logbook: Path, *, tag: str, procedure_name: str, opened: Opened, clock: Clock | None = None
) -> Journal:
    """Begin a run: make its journal in the logbook with `opened` as its first record.

    Parameters
    ----------
    logbook : Path
        Folder of the logbook; made when missing.
    tag, procedure_name : str
        For the file's name; made safe for any system.
    opened : Opened
        First record; its `run` is filled in here with the run's name.
    clock : Clock, optional
        The system's when not given.

    Returns
    -------
    Journal
        Open for writing; file, name and folders are on the disk.

    Raises
    ------
    Refused
        When the first record could not be read back as it is.
    Unreachable
        When the folder or file cannot be made or written; no file is left behind.
    """
    clock = clock or SystemClock()
    # Absolute, so that a change of the working folder cannot part the journal from its file.
    folder = Path(os.path.abspath(logbook)) / "runs" / names.safe(tag)
    day = aware_now(clock).date()
    try:
        files.make_logbook(folder.parent.parent)
        disk.make_folders(folder)
        number = names.first_free(day, os.listdir(folder))
        while True:
            path = folder / f"{names.stem(day, number, procedure_name)}{names.JOURNAL}"
            try:
                return _begun(path, opened, clock)
            except FileExistsError:  # another session was quicker
                number += 1
    except OSError as error:
        raise disk.unreachable(folder, "a run cannot be begun here", error) from error


def _begun(path: Path, opened: Opened, clock: Clock) -> Journal:
    """Make the journal under a name that is none, and give it its own when its first record is on the disk.

    So that no power cut leaves a journal without one, for a person to wonder at.
    """
    draft = drafts.draft_of(path)
    descriptor = disk.create(draft)
    try:
        # The folder is synced with the name; here it is asked whether it can be.
        weak = [disk.lock(descriptor, path), disk.sync_folder(path.parent)]
        journal = Journal(path, descriptor, clock, shortcomings=weak, draft=draft)
        journal.append(msgspec.structs.replace(opened, run=f"{path.parent.name}/{path.stem}"))
        journal.give_name()
    except BaseException:
        disk.put_back(descriptor, draft)
        raise
    return journal


def open_run(path: Path, *, clock: Clock | None = None) -> Journal:
    """Go on with a run: lock its journal, check every line, set a torn last line aside.

    The torn bytes go to a file beside the journal, and a `Recovered` record names it. A closed run
    opens too and takes nothing more; a seal that is missing is written.

    Parameters
    ----------
    path : Path
        The journal file.
    clock : Clock, optional
        The system's when not given.

    Returns
    -------
    Journal
        With every record that was ever acknowledged.

    Raises
    ------
    Refused
        When another session is writing it.
    Damaged
        When any whole line, or the seal, is not as the tool wrote it: each one named.
    Unreachable
        When it cannot be read and written, is no regular file, or was written by a newer tool.
    """
    path = Path(os.path.abspath(path))
    descriptor = disk.open_regular(path, write=True)
    try:
        try:
            weak = [disk.lock(descriptor, path), disk.sync_folder(path.parent)]
            # What a stopped session wrote and did not wait for is waited for now, before it is shown.
            disk.sync(descriptor)
            return _gone_on(path, descriptor, clock or SystemClock(), weak)
        except OSError as error:
            raise disk.unreachable(path, "the run cannot be gone on with", error) from error
    except BaseException:
        os.close(descriptor)
        raise


def _gone_on(path: Path, descriptor: int, clock: Clock, weak: Sequence[str]) -> Journal:
    seal, seal_words = files.sound_seal(path)
    data = disk.read_open(descriptor, path)
    checked = check(data)
    try:
        files.require_sound(path, checked, seal, seal_words)
    except Damaged as error:
        mend = "nothing is written to a damaged journal; keep it as it is and begin a new run"
        raise Damaged(f"{error}\n{disk.shown(path)}: {mend}") from error
    size = len(data) - len(checked.torn)
    if checked.torn:
        disk.write_new(files.torn_path(path, files.next_torn(path)), checked.torn)
        disk.cut(descriptor, size)
    journal = Journal(
        path,
        descriptor,
        clock,
        records=checked.records,
        last_hash=checked.last_hash,
        size=size,
        shortcomings=weak,
    )
    if not checked.closed:
        journal.append_many(_recoveries(path, checked.records))
    elif seal is None:
        write_seal(path, checked.records)
    return journal


def _recoveries(path: Path, records: Sequence[Record]) -> list[Recovered]:
    """Return a record for each file of torn bytes that the journal does not name yet.

    Mostly the one just written; also one of a recovery that was itself cut off before its record.
    """
    told = {record.event.set_aside for record in records if isinstance(record.event, Recovered)}
    places = [files.torn_path(path, number) for number in range(1, files.next_torn(path))]
    news = []
    for place in places:
        if place.name in told or not place.is_file():
            continue
        torn = disk.read_file(place)
        news.append(
            Recovered(torn_bytes=len(torn), set_aside=place.name, sha256=hashlib.sha256(torn).hexdigest())
        )
    return news
