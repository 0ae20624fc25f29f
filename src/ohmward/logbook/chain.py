"""The chain of a journal, checked line by line: pure, bytes in, findings out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from ohmward.logbook.events import Closed, Opened, Record
from ohmward.logbook.lines import ZEROS, BadLineError, Seal, decode_hashed, newer_format
from ohmward.text import one_line

Finding = tuple[int, str]
"""Line number (from 1), and words about it."""

_DRIFT_S = 2.0
_DRIFT_SHARE = 1e-3
"""Wall and monotonic clock may part by this much before it is called a changed clock; time servers
slew by at most 500 ppm (from memory: the customary limit of the kernel's clock discipline)."""


_ENDS = (Opened, Closed)
_NO_SEAL = (
    "the run is closed, but its seal file is missing: removed, not copied with it, or the tool was stopped "
    "while it closed the run"
)
_TORN = "a write was cut off, or is under way. Going on with the run sets them aside"


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What the bytes of a journal hold."""

    records: tuple[Record, ...]
    """The records that read; all of them when there are no problems."""
    numbers: tuple[int, ...]
    """The line number of each."""
    problems: tuple[Finding, ...]
    lines: int
    """Count of whole lines."""
    torn: bytes
    """What stands after the last line end."""
    last_hash: str
    """SHA-256 of the last whole line, for the next one's `prev`; empty when that line is bad."""
    newer: str
    """In words, when a newer tool wrote it; then nothing else is checked."""

    @property
    def last(self) -> Record | None:
        """The record of the last whole line, None when that does not read."""
        return self.records[-1] if self.records and self.last_hash else None

    @property
    def closed(self) -> bool:
        """Whether the last whole line is the closing record."""
        return self.last is not None and isinstance(self.last.event, Closed)


def check(data: bytes) -> Checked:
    """Check every whole line of a journal: its own digest, its body, and that it follows the line before."""
    lines = data.split(b"\n")
    torn = lines.pop()
    newer = newer_format(lines[0]) if lines else ""
    if newer:
        return Checked(
            records=(), numbers=(), problems=(), lines=len(lines), torn=torn, last_hash="", newer=newer
        )
    records: list[Record] = []
    numbers: list[int] = []
    problems: list[Finding] = []
    before: Record | None = None
    last_hash = ZEROS
    for number, line in enumerate(lines, start=1):
        try:
            record, hashed = decode_hashed(line)
        except BadLineError as bad:
            problems.append((number, one_line(str(bad))))
            before, last_hash = None, ""
            continue
        # One comparison settles nearly every line; the words are for the others.
        event = record.event
        if before is None or not (
            record.seq == before.seq + 1
            and record.prev == last_hash
            and event.__class__ not in _ENDS
            and before.event.__class__ is not Closed
        ):
            words = _follows(record, number, before, last_hash, records)
            if words:
                problems.append((number, words))
        records.append(record)
        numbers.append(number)
        before, last_hash = record, hashed
    checked = Checked(
        records=tuple(records),
        numbers=tuple(numbers),
        problems=tuple(problems),
        lines=len(lines),
        torn=torn,
        last_hash=last_hash if lines else "",
        newer="",
    )
    if torn and checked.closed:
        after = (len(lines) + 1, "bytes after the closing record")
        return replace(checked, problems=(*checked.problems, after))
    return checked


def seal_problems(checked: Checked, seal: Seal | None) -> tuple[Finding, ...]:
    """Return how a journal and its seal disagree: a cut tail, or lines added after the end."""
    at = checked.lines + 1 if checked.torn else max(checked.lines, 1)
    if seal is None:
        return ((at, _NO_SEAL),) if checked.closed else ()
    if checked.lines < seal.records:
        return (
            (at, f"cut short: the seal counts {seal.records} records, {checked.lines} whole lines are here"),
        )
    if checked.last is None or checked.last.digest != seal.last:
        return (
            (at, f"not the last record that the seal names: it counts {seal.records}, of another digest"),
        )
    return ()


def torn_problem(checked: Checked) -> tuple[Finding, ...]:
    """Return the words on a last line without its line end, if there is one."""
    if not checked.torn or checked.closed:
        return ()
    return ((checked.lines + 1, f"torn: {len(checked.torn)} bytes without a line end; {_TORN}"),)


def clock_notices(checked: Checked) -> tuple[Finding, ...]:
    """Return where the wall clock ran back, or jumped against the monotonic clock.

    Such a journal is not damaged; its times are in doubt. `elapsed_s` starts again from zero with the
    first record of each session (see `Journal`), so it is compared within a session only.
    """
    found: list[Finding] = []
    old: Record | None = None
    old_at = 0.0
    for number, new in zip(checked.numbers, checked.records, strict=True):
        at = datetime.fromisoformat(new.at).timestamp()
        if old is not None:
            words = _clock_words(at - old_at, new.elapsed_s, old.elapsed_s)
            if words:
                found.append((number, words))
        old, old_at = new, at
    return tuple(found)


def _clock_words(passed: float, new_s: float, old_s: float) -> str:
    if new_s > 0:
        really = new_s - old_s
        if really < 0:
            return f"the monotonic clock ran back by {-really:.1f} s within a session"
        if abs(passed - really) > _DRIFT_S + _DRIFT_SHARE * really:
            way = "ahead (or the computer slept)" if passed > really else "back"
            return f"the clock was set {way} by {abs(passed - really):.0f} s since the line before"
    elif passed < -_DRIFT_S:
        return f"the clock stood {-passed:.0f} s earlier than at the line before (set back between sessions)"
    return ""


def _follows(
    record: Record, number: int, before: Record | None, last_hash: str, records: Sequence[Record]
) -> str:
    """Return why this record does not belong where it stands; empty when it does."""
    if number > 1 and before is None:
        return ""  # the line before is named already; what it was cannot be known
    expected = before.seq + 1 if before else 0
    if record.seq != expected:
        return _misplaced(record.seq, expected, {each.seq for each in records})
    if record.prev != last_hash:
        return "does not follow from the line before: one of the two was replaced"
    return _out_of_turn(record, before)


def _misplaced(seq: int, expected: int, seen: set[int]) -> str:
    if seq in seen:
        return f"record {seq} again: this line was copied or moved here"
    if seq > expected:
        return f"record {seq} stands where {expected} belongs: {seq - expected} missing or moved"
    return f"record {seq} stands where {expected} belongs: out of order"


def _out_of_turn(record: Record, before: Record | None) -> str:
    first = before is None
    if first != isinstance(record.event, Opened):
        return (
            "a journal begins with its 'opened' record" if first else "'opened' once more: a journal has one"
        )
    if before is not None and isinstance(before.event, Closed):
        return "a record after the closing one"
    if isinstance(record.event, Closed) and record.event.records != record.seq:
        return f"the closing record counts {record.event.records} records before it; there are {record.seq}"
    return ""
