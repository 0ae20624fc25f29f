"""What is switched on is written down, so that it can be switched off whatever becomes of the process.

It is first written to a small file in the logbook, on disk and locked, and taken away when it is off
again. A process that was killed leaves the file unlocked behind, and the next start switches off what
it names (`recover`).
"""

from __future__ import annotations

import hashlib
import os
import re
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol

import msgspec

from ohmward.bench.conversation import Conversation, InstrumentRefused
from ohmward.bench.in_step import NoStamp
from ohmward.bench.leaving import FOLDER
from ohmward.bench.profile import Output, Profile
from ohmward.bench.transport import Transport, transport
from ohmward.errors import OhmwardError
from ohmward.text import local_moment, one_line

try:
    import fcntl
except ImportError:  # pragma: no cover  not on Linux or macOS
    fcntl = None  # type: ignore[assignment]

FORMAT = 1


class Entry(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What has to be known to switch one instrument off, without any other file."""

    format: int = FORMAT
    meter: str
    resource: str
    visa: str
    identity: str
    channel: str
    off: tuple[str, ...]
    confirm: str
    error: str
    timeout_s: float
    since: str
    process: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovered:
    """What became of an instrument that an earlier process left on."""

    meter: str
    off: bool
    text: str


class Switched(Protocol):
    """What can be left on: an owner."""

    name: str
    resource: str
    visa: str
    identity: str
    channel: str
    profile: Profile


def entry_of(meter: Switched, since: str, process: int) -> Entry:
    """Return what has to be known to switch a meter off after this process is gone."""
    profile, output = meter.profile, meter.profile.output
    return Entry(
        meter=meter.name, resource=meter.resource, visa=meter.visa, identity=meter.identity,
        channel=meter.channel, off=output.off if output else (), confirm=output.confirm if output else "",
        error=profile.error, timeout_s=profile.timeout_s, since=since, process=process,
    )  # fmt: skip


class Guard:
    """Remembers on disk what is switched on.

    Parameters
    ----------
    logbook : Path, optional
        The logbook's folder; None keeps nothing on disk (for tests and for sources of no danger).
    """

    def __init__(self, logbook: Path | None, now: Callable[[], datetime] | None = None) -> None:
        self.folder = None if logbook is None else logbook / FOLDER
        self._now = now or (lambda: datetime.now().astimezone())
        self._held: dict[str, tuple[Path, int]] = {}
        self._lock = threading.Lock()

    def arm(self, entry: Callable[[str, int], Entry], meter: str) -> None:
        """Write down that an instrument is about to be switched on; on disk when this returns.

        Raises
        ------
        InstrumentRefused
            When another process on this logbook has it switched on.
        """
        if self.folder is None:
            return
        with self._lock:
            if meter in self._held:
                return
            self.folder.mkdir(parents=True, exist_ok=True)
            path = self.folder / _file_name(meter)
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
            if not _locked(descriptor):
                os.close(descriptor)
                raise InstrumentRefused(
                    f"{one_line(meter)}: another ohmward has it switched on. End that one first"
                )
            os.ftruncate(descriptor, 0)
            os.write(descriptor, msgspec.json.encode(entry(self._now().isoformat(), os.getpid())))
            os.fsync(descriptor)
            _sync_folder(self.folder)
            self._held[meter] = (path, descriptor)

    def clear(self, meter: str) -> None:
        """Write down that it is off."""
        with self._lock:
            path, descriptor = self._held.pop(meter, (None, -1))
            if path is None:
                return
            path.unlink(missing_ok=True)
            os.close(descriptor)
            _sync_folder(path.parent)


def recover(
    logbook: Path,
    *,
    make: Callable[[Entry], Transport] | None = None,
    tries: int = 3,
    pause_s: float = 0.5,
) -> tuple[Recovered, ...]:
    """Switch off what a process that is no more left on.

    To be called when a logbook is opened, before anything else is switched on. What cannot be reached
    stays written down, and is named so that a person can switch it off by hand.
    """
    folder = logbook / FOLDER
    if not folder.is_dir():
        return ()
    found = (_recovered(path, make or _transport, tries, pause_s) for path in sorted(folder.glob("*.json")))
    return tuple(each for each in found if each is not None)


def _recovered(
    path: Path, make: Callable[[Entry], Transport], tries: int, pause_s: float
) -> Recovered | None:
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CLOEXEC)
    except FileNotFoundError:
        return None
    try:
        if not _locked(descriptor):
            return None  # its process lives and looks after it
        try:
            entry = msgspec.json.decode(path.read_bytes(), type=Entry)
        except (msgspec.DecodeError, OSError):
            return Recovered(
                meter=path.stem,
                off=False,
                text=f"a load or source may still be on, and {path} cannot be read: look, then delete it",
            )
        result = _switched_off(entry, make, tries, pause_s)
        if result.off:
            path.unlink(missing_ok=True)
            _sync_folder(path.parent)
        return result
    finally:
        os.close(descriptor)


def _switched_off(entry: Entry, make: Callable[[Entry], Transport], tries: int, pause_s: float) -> Recovered:
    why, since = "", local_moment(entry.since)
    conversation = Conversation(make(entry), _profile(entry), expected=entry.identity)
    for attempt in range(tries + 2):
        try:
            conversation.open()
            conversation.switch(on=False, channel=entry.channel)
        except NoStamp:
            continue
        except OhmwardError as error:
            why = str(error)
            if attempt + 1 < tries:
                time.sleep(pause_s)
        else:
            text = f"{one_line(entry.meter)}: left on since {since} by a process that ended; now off"
            return Recovered(meter=entry.meter, off=True, text=text)
        finally:
            conversation.transport.close()
    why += "" if why.endswith((".", "?")) else "."
    text = f"{one_line(entry.meter)} MAY STILL BE ON since {since}: {why} Switch it off by hand"
    return Recovered(meter=entry.meter, off=False, text=text)


def _transport(entry: Entry) -> Transport:
    return transport(entry.resource, visa=entry.visa)


def _profile(entry: Entry) -> Profile:
    return Profile(
        name="left-on", kind="load", title=entry.meter, timeout_s=entry.timeout_s, error=entry.error,
        output=Output(on=(), off=entry.off, confirm=entry.confirm),
    )  # fmt: skip


def _file_name(meter: str) -> str:
    plain = re.sub(r"[^A-Za-z0-9]+", "-", meter).strip("-")[:40]
    return f"{plain or 'meter'}-{hashlib.sha256(meter.encode()).hexdigest()[:8]}.json"


def _locked(descriptor: int) -> bool:
    """Return whether the file is ours: a dead process holds no lock, however it died."""
    if fcntl is None:  # pragma: no cover
        return True
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
