"""Whether a journal is, byte for byte, what the tool wrote; and what that cannot show."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ohmward.errors import Unreachable
from ohmward.logbook import anchors, disk, files, names
from ohmward.logbook.anchors import Head, Known
from ohmward.logbook.chain import Checked, Finding, check, clock_notices, seal_problems, torn_problem
from ohmward.logbook.events import Captured, Opened, Recovered
from ohmward.text import one_line

_REWRITTEN = (
    "A journal rewritten as a whole, with every hash computed anew, would look intact. Compare the last "
    "digest with one noted elsewhere at the time, such as on the printed report: it stands for every byte "
    "before it."
)
_ALL_REWRITTEN = (
    "A journal rewritten together with its seal and with the logbook's chain of closed runs, every hash "
    "computed anew, would look intact. Compare the last digest, or the head of the chain, with one noted "
    "elsewhere at the time, such as on a printed report: it stands for every byte before it."
)
_CUT = (
    "The run is not closed, so nothing beside it counts its records: some may have been cut from the end. A "
    "digest noted earlier must still be found in the file, as the digest of one of its lines."
)
_UNCLOSED = (
    "If it was once closed, and its closing record, its seal and its line in the logbook's chain were "
    "removed together, it looks as it does now. A report printed when it was closed shows the last digest "
    "it had then."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """What checking a journal found."""

    path: Path
    intact: bool
    """No problem was found; notices do not count."""
    records: int
    """Count of lines that read as records."""
    closed: bool
    problems: tuple[Finding, ...]
    """(line number from 1, words), in order of lines."""
    notices: tuple[Finding, ...]
    """Not damage, but worth knowing: a changed clock, a renamed file."""
    last_digest: str
    """The `digest` of the last record: 64 hex figures near the file's end, to be printed on the
    report; empty when the last line does not read."""
    cannot_show: tuple[str, ...]
    """In sentences: what a chain of hashes alone cannot show of this run."""
    first_digest: str = ""
    """Of its first record: which run it is, whatever the file is called."""
    anchored: bool = False
    """The logbook's chain of closed runs names it as it is here."""
    head: Head | None = None
    """The end of that chain, to be printed on the report beside `last_digest`."""


def verify(path: Path, known: Known | None = None) -> Verification:
    """Check every byte of a journal, its seal, the files it names, and what its logbook's chains say of it.

    Parameters
    ----------
    path : Path
        The journal file; it may be being written.
    known : Known, optional
        The chains of its logbook, where they are read already.

    Returns
    -------
    Verification
        Every problem, by line.

    Raises
    ------
    Unreachable
        When it cannot be read, is no regular file, or was written by a newer tool.
    """
    seal, seal_words = files.sound_seal(path)
    checked = check(disk.read_file(path))
    if checked.newer:
        raise Unreachable(f"{disk.shown(path)}: {checked.newer}")
    problems = [*checked.problems, *torn_problem(checked)]
    if not checked.lines and not checked.torn:
        problems.append((1, "the file is empty: a run that was never begun"))
    if seal_words:
        problems.append((max(checked.lines, 1), seal_words))
    elif seal is not None or not checked.problems:
        problems.extend(seal_problems(checked, seal))
    problems.extend(_named_files(path, checked))
    known = anchors.known(anchors.logbook_of(path)) if known is None else known
    first = checked.records[0].digest if checked.numbers[:1] == (1,) else ""
    said = known.of(first)
    if not problems:  # else what it is not as it was is named already
        problems.extend(_anchor_problems(checked, said))
    last = checked.last.digest if checked.last else ""
    return Verification(
        path=path,
        intact=not problems,
        records=len(checked.records),
        closed=checked.closed,
        problems=tuple(sorted(problems)),
        notices=(*_renamed(path, checked, seal.run if seal else ""), *clock_notices(checked)),
        last_digest=last,
        first_digest=first,
        anchored=any(anchor.last == last for anchor in said),
        head=known.head(first),
        cannot_show=_cannot_show(closed=checked.closed, anchored=bool(said)),
    )


def _cannot_show(*, closed: bool, anchored: bool) -> tuple[str, ...]:
    if closed:
        return (_ALL_REWRITTEN if anchored else _REWRITTEN,)
    return _REWRITTEN, _CUT, _UNCLOSED


def _anchor_problems(checked: Checked, said: Sequence[anchors.Anchor]) -> list[Finding]:
    """Compare a journal with what was said of it when it was closed."""
    last = checked.last.digest if checked.last else ""
    at = max(checked.lines, 1)
    return [
        (
            at,
            f"not as it was closed: the chain of '{anchor.bench}' counts {anchor.records} records on "
            f"{anchor.at[:10]} and names another last one; {checked.lines} whole lines are here",
        )
        for anchor in said
        if anchor.last != last
    ]


def _named_files(path: Path, checked: Checked) -> list[Finding]:
    """Check the files beside the journal that its records name with their SHA-256."""
    found: list[Finding] = []
    for number, record in zip(checked.numbers, checked.records, strict=True):
        event = record.event
        words = ""
        if isinstance(event, Recovered) and event.sha256:
            words = _file_words(path, event.set_aside, event.sha256)
        elif isinstance(event, Captured):
            words = _file_words(path, event.file, event.sha256)
        if words:
            found.append((number, one_line(words)))
    return found


def _file_words(path: Path, name: str, sha256: str) -> str:
    if not names.safe_part(name):
        return f"names '{name}', which is not a file beside the journal"
    try:
        data = disk.read_file(path.with_name(name))
    except Unreachable as error:
        return f"the file it names is missing or unreadable: {error}"
    if hashlib.sha256(data).hexdigest() != sha256:
        return f"the file it names, '{name}', was changed"
    return ""


def _renamed(path: Path, checked: Checked, sealed_name: str) -> list[Finding]:
    """Say when the file has another name than it was given; its bytes are not touched by that."""
    first = checked.records[0].event if checked.records else None
    name = first.run.rpartition("/")[2] if isinstance(first, Opened) else ""
    given = sealed_name or (f"{name}.jsonl" if name else "")
    if not given or given == path.name:
        return []
    return [(1, one_line(f"the file was named '{given}' when it was made"))]
