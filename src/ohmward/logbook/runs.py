"""The folder of runs and design sheets: what is there, and how to find a run."""

from __future__ import annotations

import difflib
import os
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from ohmward.errors import OhmwardError, Unreachable
from ohmward.logbook import anchors, disk, files, names
from ohmward.logbook.dates import date_of
from ohmward.logbook.events import Closed, Opened, Record
from ohmward.logbook.lines import MAX_LINE_BYTES, BadLineError, decode, newer_format
from ohmward.text import one_line


@dataclass(frozen=True, slots=True, kw_only=True)
class RunEntry:
    """One run of a logbook, from its first and last line; `verify` checks the lines between."""

    path: Path
    name: str
    """Folder and file name without ending: 'CR-07/2026-03-01-01-commissioning'."""
    tag: str
    date: str
    """ISO date on which it was begun; empty when unknown."""
    procedure: str
    counts_for: str = ""
    """ISO date on which its results were taken: that on the paper for a run copied from paper."""
    transcribed: bool = False
    """Copied from paper, not recorded at the bench."""
    operator: str = ""
    began_at: str = ""
    last_at: str = ""
    records: int = 0
    closed: bool = False
    simulated: bool = False
    verdict: str = ""
    """Of a closed run."""
    likely_fault: str = ""
    """What the readings of a closed run most likely point to; empty where to no fault."""
    torn: bool = False
    """The last line has no end: a write was cut off, or is under way."""
    problem: str = ""
    """What is wrong with it, in words; empty when first line, last line and seal hold."""
    first_digest: str = ""
    """Digest of its first record: which run it is, whatever the file is called."""
    last_digest: str = ""
    copy_of: str = ""
    """File name of the journal beside it that it is a copy of; empty for a run. Programs that keep a
    folder the same on several computers leave such copies where two of them wrote at once."""


class Logbook:
    """A folder with `runs/<tag>/*.jsonl` and `supplies/*.toml`; it may not be there yet."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.runs_folder = folder / "runs"
        self.supplies_folder = folder / "supplies"

    def runs(self) -> tuple[RunEntry, ...]:
        """Return every run, the latest first; damaged ones too, with what is wrong; copies are left out.

        Raises
        ------
        Unreachable
            When a folder is there and cannot be listed.
        """
        return tuple(each for each in self.everything() if not each.copy_of)

    def copies(self) -> tuple[RunEntry, ...]:
        """Return the journals that are copies of others beside them; raises as `runs` does."""
        return tuple(each for each in self.everything() if each.copy_of)

    def everything(self) -> tuple[RunEntry, ...]:
        """Return every journal, copies too, the latest first; raises as `runs` does."""
        found: list[RunEntry] = []
        for tag_folder in _listed(self.runs_folder):
            if not os.path.isdir(tag_folder):
                continue
            try:
                found.extend(entry(path) for path in _listed(tag_folder) if names.is_journal(path.name))
            except Unreachable as error:
                found.append(_unread(tag_folder, str(error)))
        return tuple(sorted(found, key=_when, reverse=True))

    def at_hand(self, closed: int) -> tuple[RunEntry, ...]:
        """Return the runs that no seal closes, and the latest `closed` of the others, the latest first.

        Copies are left out. No other journal is opened: damage among the older ones is not seen here.

        Raises
        ------
        Unreachable
            When a folder is there and cannot be listed.
        """
        in_hand: list[Path] = []
        sealed: list[Path] = []
        for tag_folder in _listed(self.runs_folder):
            if not os.path.isdir(tag_folder):
                continue
            listed = {path.name: path for path in _listed(tag_folder)}
            for name, path in listed.items():
                if names.is_journal(name):
                    seal = name.removesuffix(names.JOURNAL) + names.SEAL
                    (sealed if seal in listed else in_hand).append(path)
        latest = sorted(sealed, key=lambda path: path.name, reverse=True)[:closed]
        found = [each for each in map(entry, (*in_hand, *latest)) if not each.copy_of]
        return tuple(sorted(found, key=_when, reverse=True))

    def find(self, what: str) -> Path:
        """Return the journal that `what` means: a path, a run's name, or a tag (its latest run).

        Raises
        ------
        Unreachable
            When there is none, or a name means several.
        """
        bare = what.removesuffix(names.JOURNAL)
        for place in (Path(what), self.folder / what, self.runs_folder / f"{bare}{names.JOURNAL}"):
            if os.path.isfile(place):
                return place
        entries = self.runs()
        wanted = _nfc(what)
        bare = _nfc(bare)
        named = [entry for entry in entries if bare in {_nfc(entry.name), _nfc(entry.path.stem)}]
        if len(named) > 1:
            choices = ", ".join(entry.name for entry in named)
            raise Unreachable(one_line(f"'{what}' means several runs: {choices}. Name one of them"))
        # By the tag in the journal first: a disk that folds capitals puts 'cr-07' and 'CR-07' in one folder.
        tagged = [entry for entry in entries if wanted == _nfc(entry.tag)]
        tagged = tagged or [entry for entry in entries if wanted == _nfc(entry.path.parent.name)]
        if named or tagged:
            return (named or tagged)[0].path
        raise Unreachable(one_line(f"no run '{what}' in {self.folder}. {_hint(what, entries)}"))

    def sheets(self) -> tuple[Path, ...]:
        """Return the design sheets, by name; raises Unreachable when the folder cannot be listed."""
        return tuple(
            path for path in _listed(self.supplies_folder) if path.suffix == ".toml" and os.path.isfile(path)
        )


def entry(path: Path) -> RunEntry:
    """Return what the first and last line of one journal tell; a damaged one with its problem."""
    try:
        first, last, torn = _first_and_last(path)
    except (OhmwardError, BadLineError) as error:
        return _unread(path, str(error))
    opened = first.event
    if not isinstance(opened, Opened):
        return _unread(path, "line 1: a journal begins with its 'opened' record")
    closing = last.event if isinstance(last.event, Closed) else None
    date, _, procedure = names.parts(path.name) or (first.at[:10], 0, "")
    return RunEntry(
        path=path,
        name=_name(path),
        tag=opened.tag,
        date=date,
        procedure=procedure,
        counts_for=date_of(opened, first.at).isoformat(),
        transcribed=opened.transcribed is not None,
        operator=opened.operator,
        began_at=first.at,
        last_at=last.at,
        records=last.seq + 1,
        closed=closing is not None,
        simulated=opened.simulated,
        verdict=closing.verdict if closing else "",
        likely_fault=closing.likely_fault if closing else "",
        torn=torn,
        problem=_seal_words(path, last),
        first_digest=first.digest,
        last_digest=last.digest,
        copy_of=_copy_of(path, opened, first.digest),
    )


def copies_in(folder: Path, journals: Iterable[str]) -> frozenset[str]:
    """Return which of the journals of a folder are copies of others beside them.

    Only those that share date and number with another are read, so that a long list costs nothing.
    """
    alike: dict[str, list[str]] = {}
    for name in journals:
        found = _DAY_AND_NUMBER.search(name)
        alike.setdefault(found[0] if found else name, []).append(name)
    suspects = [name for group in alike.values() if len(group) > 1 for name in group]
    return frozenset(name for name in suspects if entry(folder / name).copy_of)


_DAY_AND_NUMBER = re.compile(r"\d{4}-\d\d-\d\d-\d{2,6}(?=-)")


def _unread(path: Path, problem: str) -> RunEntry:
    date, _, procedure = names.parts(path.name) or ("", 0, "")
    return RunEntry(
        path=path,
        name=_name(path),
        tag=path.parent.name,
        date=date,
        procedure=procedure,
        problem=one_line(problem),
    )


def _name(path: Path) -> str:
    return anchors.run_name(path)


def _copy_of(path: Path, opened: Opened, first_digest: str) -> str:
    """Return the name of the journal beside `path` that has the name it was given and is the same run."""
    given = f"{opened.run.rpartition('/')[2]}{names.JOURNAL}"
    if given in {path.name, names.JOURNAL} or names.safe_part(given) != given:
        return ""
    other = path.with_name(given)
    try:
        if os.path.samefile(path, other):
            return ""  # one file under two names, or a disk that folds capitals
        first, _, _ = disk.first_and_last_line(other, MAX_LINE_BYTES)
        return given if decode(first).digest == first_digest else ""
    except (OSError, Unreachable, BadLineError):
        return ""


def _first_and_last(path: Path) -> tuple[Record, Record, bool]:
    first, last, torn = disk.first_and_last_line(path, MAX_LINE_BYTES)
    if not first:
        raise BadLineError("no whole record: not a journal, or a run that was never begun")
    newer = newer_format(first)
    if newer:
        raise BadLineError(newer)
    try:
        opened = decode(first)
    except BadLineError as bad:
        raise BadLineError(f"line 1: {bad}") from bad
    try:
        return opened, decode(last), torn
    except BadLineError as bad:
        raise BadLineError(f"last line: {bad}") from bad


def _seal_words(path: Path, last: Record) -> str:
    try:
        seal = files.read_seal(path)
    except BadLineError as bad:
        return one_line(f"its seal file is damaged: {bad}")
    except Unreachable as error:
        return str(error)
    if seal is None:
        return "closed, but its seal file is missing" if isinstance(last.event, Closed) else ""
    if (seal.records, seal.last) != (last.seq + 1, last.digest):
        return f"not as it was closed: the seal counts {seal.records} records and names another last one"
    return ""


def _when(entry: RunEntry) -> tuple[str, str]:
    """Sort by when the results were taken: what was copied from paper yesterday is still an old run."""
    if entry.transcribed:
        return entry.counts_for, entry.name
    if entry.began_at:
        return datetime.fromisoformat(entry.began_at).astimezone(UTC).isoformat(), entry.name
    return entry.date, entry.name


def _hint(what: str, entries: tuple[RunEntry, ...]) -> str:
    if not entries:
        return "The logbook holds no run yet"
    known = sorted({entry.tag for entry in entries} | {entry.name for entry in entries})
    near = difflib.get_close_matches(what, known, n=3, cutoff=0.5)
    tags = ", ".join(sorted({entry.tag for entry in entries})[:10])
    return f"Did you mean {' or '.join(near)}?" if near else f"It holds runs of {tags}"


def _nfc(text: str) -> str:
    """Return `text` in the one form that names are compared in; some disks give accents apart."""
    return unicodedata.normalize("NFC", text)


def _listed(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except FileNotFoundError:
        return []
    except (OSError, ValueError) as error:
        raise disk.unreachable(folder, "cannot be listed", error) from error
