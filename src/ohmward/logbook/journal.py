"""The journal of one run, open for writing: what `append` returned is on the disk.

Nothing acknowledged is ever altered. A failed write is final for the open journal: open the run
again, and it goes on from the last acknowledged record.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Self

from ohmward.errors import OhmwardError, Refused, Unreachable
from ohmward.logbook import anchors, disk, drafts, files
from ohmward.logbook.clock import Clock, aware_now
from ohmward.logbook.events import Closed, Event, Opened, Record
from ohmward.logbook.lines import ZEROS, Seal, encode, encode_seal, line_hash


class Journal:
    """One run, open for writing by this session alone; made by `create_run` or `open_run`.

    Attributes
    ----------
    path : Path
        The journal file.
    shortcomings : tuple of str
        What this system or disk cannot warrant, in words; empty on Linux with a local disk.
    """

    def __init__(
        self,
        path: Path,
        descriptor: int,
        clock: Clock,
        *,
        records: Sequence[Record] = (),
        last_hash: str = ZEROS,
        size: int = 0,
        shortcomings: Sequence[str] = (),
        draft: Path | None = None,
    ) -> None:
        self.path = path
        self._place = draft or path  # where the file is until it has its name
        self.shortcomings = tuple(word for word in shortcomings if word)
        self._descriptor = descriptor
        self._clock = clock
        self._began: float | None = None  # at the first record, so that each session shows as a zero
        self._records = list(records)
        self._shown: tuple[Record, ...] | None = None
        self._last_hash = last_hash
        self._size = size
        self._trouble = ""
        self._turn = threading.Lock()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def records(self) -> tuple[Record, ...]:
        """Every record on the disk, in order."""
        if self._shown is None:
            self._shown = tuple(self._records)
        return self._shown

    @property
    def closed(self) -> bool:
        """Whether the run is ended (not: whether this file is still open)."""
        return bool(self._records) and isinstance(self._records[-1].event, Closed)

    def now(self) -> datetime:
        """Return the time by the clock that records are stamped with."""
        return aware_now(self._clock)

    def append(self, event: Event) -> Record:
        """Record `event`; it is on the disk when this returns.

        A `Closed` event ends the run, writes its seal file and adds it to the logbook's chain of closed
        runs (`anchors`), where the journal lies in a logbook.

        Raises
        ------
        Refused
            When the run is closed, or the event could not be read back as it is; nothing changed.
        Unreachable
            When the disk failed or the file was taken away. What was acknowledged before stands; this
            journal takes nothing more, open the run again.
        """
        return self.append_many((event,))[0]

    def append_many(self, events: Sequence[Event]) -> tuple[Record, ...]:
        """Record `events` with one write and one sync, all of them or none; raises as `append` does."""
        with self._turn:
            self._require_writable()
            if not events:
                return ()
            data, records, last_hash, began = self._encoded(events)
            if self._size + len(data) > disk.MAX_BYTES:
                raise Refused(
                    "full", [f"{disk.shown(self.path)} is as long as a journal may be"], "Begin a new run"
                )
            # Until all of this is done the journal is in trouble, whatever interrupts it.
            self._trouble = "the last write was interrupted"
            self._write(data)
            self._records.extend(records)
            self._shown = None
            self._last_hash = last_hash
            self._size += len(data)
            self._began = began
            if self.closed:
                self._write_seal()
                self._anchor()
            self._trouble = ""
        return tuple(records)

    def give_name(self) -> None:
        """Give the journal of a run just begun its name; raises OSError, and then it has none."""
        drafts.name_for_good(self._place, self.path)
        self._place = self.path

    def close(self) -> None:
        """Let go of the file; the run stays as it is. Closing twice does nothing."""
        with self._turn:
            descriptor, self._descriptor = self._descriptor, -1
            if descriptor >= 0:
                os.close(descriptor)

    def _require_writable(self) -> None:
        again = "Open the run again to go on"
        if self._descriptor < 0:
            raise Refused("not-open", [f"{disk.shown(self.path)} is no longer open for writing"], again)
        if self._trouble:
            raise Unreachable(
                f"{disk.shown(self.path)}: nothing more is recorded here: {self._trouble}. {again}"
            )
        if self.closed:
            raise Refused("closed", ["the run is closed; nothing is added to it"], "Begin a new run")
        if not disk.is_at(self._place, self._descriptor, self._size):
            self._trouble = "the file was removed, replaced or changed by something else"
            raise Unreachable(f"{disk.shown(self.path)}: not recorded: {self._trouble}. Stop and look for it")

    def _encoded(self, events: Sequence[Event]) -> tuple[bytes, list[Record], str, float]:
        began = self._began
        lines: list[bytes] = []
        records: list[Record] = []
        last_hash = self._last_hash
        for event in events:
            seq = len(self._records) + len(records)
            self._require_turn(event, seq, last=len(records) == len(events) - 1)
            at, seconds = aware_now(self._clock), self._clock.monotonic()
            began = seconds if began is None else began
            line, record = encode(seq=seq, at=at, elapsed_s=seconds - began, event=event, prev=last_hash)
            last_hash = line_hash(line)
            lines.append(line + b"\n")
            records.append(record)
        return b"".join(lines), records, last_hash, began or 0.0

    def _require_turn(self, event: Event, seq: int, *, last: bool) -> None:
        """Refuse what `verify` would call out of place."""
        if (seq == 0) != isinstance(event, Opened):
            raise Refused("record", ["a journal begins with its one 'opened' record"], "Nothing was recorded")
        if isinstance(event, Closed) and not last:
            raise Refused(
                "record", ["nothing can follow the closing record"], "Close the run by itself, at the end"
            )
        if isinstance(event, Closed) and event.records != seq:
            raise Refused(
                "record",
                [f"the closing record counts {event.records} records before it; there are {seq}"],
                "Nothing was recorded; count again",
            )

    def _write(self, data: bytes) -> None:
        try:
            disk.append(self._descriptor, data)
        except OSError as error:
            disk.cut_quietly(self._descriptor, self._size)
            raise self._failed(f"not recorded: {error.strerror or error}", error) from error

    def _write_seal(self) -> None:
        try:
            write_seal(self.path, self._records)
        except OSError as error:
            why = f"the run is closed, its last record is on the disk, but its seal is not: {error.strerror}"
            raise self._failed(why, error) from error

    def _anchor(self) -> None:
        logbook = anchors.logbook_of(self.path)
        if logbook is None:
            return
        try:
            anchors.add(logbook, anchors.closed_run(self.path, self._records), self._clock)
        except OhmwardError as error:
            self._trouble = "the run is closed"
            raise Unreachable(
                f"{disk.shown(self.path)}: the run is closed and sealed and all of it is on the disk, but "
                f"the logbook's chain of closed runs does not name it yet: {error}. 'ohmward anchor' adds it"
            ) from error

    def _failed(self, why: str, error: OSError) -> Unreachable:
        self._trouble = why
        mend = "Make room on the disk, then open" if error.errno in disk.FULL else "Open"
        safe = f"The {len(self._records)} records before are safe"
        return Unreachable(f"{disk.shown(self.path)}: {why}. {safe}. {mend} the run again")


def write_seal(path: Path, records: Sequence[Record]) -> None:
    """Write the seal of a closed run, whole or not at all; raises OSError."""
    last = records[-1]
    seal = Seal(run=path.name, records=len(records), last=last.digest, at=last.at)
    disk.write_whole(files.seal_path(path), encode_seal(seal))
