"""The files of one run: the journal, and beside it its seal and what was set aside of torn lines."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ohmward.errors import Damaged, Unreachable
from ohmward.logbook import disk, drafts, names
from ohmward.logbook.chain import Checked, Finding, check, seal_problems
from ohmward.logbook.events import Captured, Record, Recovered
from ohmward.logbook.lines import BadLineError, Seal, decode_seal
from ohmward.text import one_line

_MOST_SHOWN = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """What a journal holds now, perhaps while another session writes it."""

    records: tuple[Record, ...]
    torn_bytes: int
    """Bytes after the last line end: a write that was cut off, or is under way. Not a record."""
    sealed: bool
    """Closed, and its seal agrees."""


KEPT_AS_IS = ".gitattributes"
_KEPT_AS_IS = b"""\
# Written by ohmward: journals are kept byte for byte, so no line ends are changed and no lines merged.
runs/** -text -merge
anchors/** -text -merge
"""


def make_logbook(logbook: Path) -> None:
    """Make a logbook's folder where it is missing, such that version control leaves its files as they are.

    Raises
    ------
    Unreachable
        When it cannot be made.
    OSError
        When it cannot be written in.
    """
    disk.make_folders(logbook)
    place = logbook / KEPT_AS_IS
    if not os.path.lexists(place):
        with contextlib.suppress(FileExistsError):  # another program was quicker
            drafts.place_new(place, _KEPT_AS_IS)


def seal_path(path: Path) -> Path:
    """Return where the seal of a journal is."""
    return Path(os.path.splitext(path)[0] + names.SEAL)


def torn_path(path: Path, number: int) -> Path:
    """Return where the torn bytes of a journal are set aside."""
    return Path(f"{os.path.splitext(path)[0]}.torn-{number}")


def signature_path(path: Path, number: int) -> Path:
    """Return where a detached signature of a journal is."""
    return Path(f"{os.path.splitext(path)[0]}.sig-{number}")


def signatures(path: Path) -> tuple[Path, ...]:
    """Return the detached signatures beside a journal, in order."""
    number, found = 1, []
    while os.path.lexists(place := signature_path(path, number)):
        found.append(place)
        number += 1
    return tuple(found)


def named_files(records: Sequence[Record]) -> dict[str, str]:
    """Return the SHA-256 (hex) of each file beside a journal that its records name, by file name."""
    named: dict[str, str] = {}
    for record in records:
        event = record.event
        if isinstance(event, Recovered) and event.sha256:
            named[event.set_aside] = event.sha256
        elif isinstance(event, Captured):
            named[event.file] = event.sha256
    return named


def next_torn(path: Path) -> int:
    """Return the number of the next file of torn bytes."""
    number = 1
    while os.path.lexists(torn_path(path, number)):
        number += 1
    return number


def read_seal(path: Path) -> Seal | None:
    """Return the seal of the journal at `path`, None when it has none.

    Raises
    ------
    BadLineError
        When the seal is not as the tool wrote it.
    Unreachable
        When it is there and cannot be read.
    """
    place = seal_path(path)
    if place == path or not os.path.lexists(place):
        return None
    return decode_seal(disk.read_file(place))


def contents(path: Path) -> Contents:
    """Read a journal strictly, without locking it; a torn last line is counted, not read.

    Raises
    ------
    Unreachable
        When it cannot be read, is no regular file, or was written by a newer tool.
    Damaged
        When any line, or the seal, is not as the tool wrote it: each one named.
    """
    seal, words = sound_seal(path)  # before the journal: a sealed journal changes no more
    checked = check(disk.read_file(path))
    require_sound(path, checked, seal, words)
    return Contents(records=checked.records, torn_bytes=len(checked.torn), sealed=seal is not None)


def read(path: Path) -> tuple[Record, ...]:
    """Return the records of a journal; raises as `contents` does."""
    return contents(path).records


def sound_seal(path: Path) -> tuple[Seal | None, str]:
    """Return the seal, and in words what is wrong with it."""
    try:
        return read_seal(path), ""
    except BadLineError as bad:
        return None, one_line(f"its seal file is damaged: {bad}")


def require_sound(path: Path, checked: Checked, seal: Seal | None, seal_words: str) -> None:
    """Raise unless the journal reads from end to end and agrees with its seal."""
    if checked.newer:
        raise Unreachable(f"{disk.shown(path)}: {checked.newer}")
    problems = list(checked.problems)
    if not checked.lines and not problems:
        problems.append((1, "no whole record: not a journal, or a run that was never begun"))
    if seal_words:
        problems.append((max(checked.lines, 1), seal_words))
    if seal is not None and not problems:
        problems.extend(seal_problems(checked, seal))
    if problems:
        raise Damaged(_told(path, problems))


def _told(path: Path, problems: list[Finding]) -> str:
    shown = [f"{disk.shown(path)}: line {number}: {words}" for number, words in problems[:_MOST_SHOWN]]
    if len(problems) > _MOST_SHOWN:
        shown.append(f"{disk.shown(path)}: and {len(problems) - _MOST_SHOWN} more")
    return "\n".join(shown)
