"""A whole logbook checked: every journal, the chains of closed runs, and what they say of each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from ohmward.errors import Refused, Unreachable
from ohmward.logbook import anchors, disk, files
from ohmward.logbook.anchors import Chain, Head
from ohmward.logbook.clock import Clock, SystemClock
from ohmward.logbook.runs import Logbook, RunEntry
from ohmward.logbook.verify import Verification, verify
from ohmward.text import one_line

SHORTEST_NOTED = 8
"""So many figures of a digest, at least, to look for it: fewer may be there by chance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """Something found, and where."""

    where: str
    """A run's name, or the path of a file in the logbook."""
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WholeVerification:
    """What checking a logbook found."""

    folder: Path
    runs: tuple[Verification, ...]
    """Of every journal that reads, copies left out; the latest first."""
    unread: tuple[Remark, ...]
    """Journals and chains that cannot be read, or that a newer tool wrote."""
    problems: tuple[Remark, ...]
    """What no single journal shows: a missing run, a broken chain, a digest that is nowhere."""
    notices: tuple[Remark, ...]
    """Not damage, but worth knowing."""
    heads: tuple[Head, ...]
    """The end of each chain."""
    rehearsals: frozenset[Path] = frozenset()
    """Journals of those runs that are rehearsals."""
    noted: str = ""
    """Where a digest noted on paper was found, in words; empty where none was asked for or found."""

    @property
    def damaged(self) -> tuple[Verification, ...]:
        """The journals with a problem of their own."""
        return tuple(each for each in self.runs if not each.intact)

    @property
    def intact(self) -> bool:
        """Nothing is missing, cut, changed or unread; notices do not count."""
        return not (self.damaged or self.unread or self.problems)


def verify_all(folder: Path, *, noted: str = "") -> WholeVerification:
    """Check a logbook from end to end.

    Parameters
    ----------
    folder : Path
        The logbook.
    noted : str
        A digest noted on paper (a head, or the last digest of a run), or its first figures: it must
        still be found.

    Raises
    ------
    Unreachable
        When there is no such folder, or it cannot be listed.
    """
    if not folder.is_dir():  # else a logbook that went away would be called intact
        raise Unreachable(f"{disk.shown(folder)}: there is no such folder")
    entries = Logbook(folder).everything()
    known = anchors.known(folder)
    runs: list[Verification] = []
    unread: list[Remark] = [
        Remark(where=_in(folder, chain.path), text=chain.newer) for chain in known.chains if chain.newer
    ]
    copies = [each for each in entries if each.copy_of]
    for each in entries:
        if each.copy_of:
            continue
        try:
            runs.append(verify(each.path, known))
        except Unreachable as error:
            unread.append(Remark(where=each.name, text=str(error)))
    found = _noted_at(known.chains, runs, noted) if noted else ""
    problems = [*_chain_problems(folder, known.chains), *_missing(folder, known.chains, entries)]
    if noted and not found:
        problems.append(Remark(where=noted, text=_NOWHERE))
    return WholeVerification(
        folder=folder,
        runs=tuple(runs),
        unread=tuple(unread),
        problems=tuple(problems),
        notices=(
            *_chain_notices(folder, known.chains),
            *(Remark(where=each.name, text=copy_words(each)) for each in copies),
            *_run_notices(runs),
        ),
        heads=tuple(chain.head for chain in known.chains if chain.head is not None),
        rehearsals=frozenset(each.path for each in entries if each.simulated),
        noted=found,
    )


_NOWHERE = (
    "this digest stands nowhere in the logbook: a line that was there when it was noted was changed or cut, "
    "or it was noted of another logbook, or copied wrong"
)


def anchor_all(folder: Path, clock: Clock | None = None) -> tuple[str, ...]:
    """Add every closed, intact run that no chain names to this computer's chain; return their names.

    Raises
    ------
    Unreachable
        When the chain cannot be written.
    """
    clock = clock or SystemClock()
    known = anchors.known(folder)
    done: list[str] = []
    for each in reversed(Logbook(folder).runs()):  # the oldest first
        if not each.closed or each.problem or known.of(each.first_digest):
            continue
        if verify(each.path, known).intact:
            closed = anchors.ClosedRun(
                run=each.name, first=each.first_digest, last=each.last_digest, records=each.records
            )
            anchors.add(folder, closed, clock)
            done.append(each.name)
    return tuple(done)


def copy_words(copy: RunEntry) -> str:
    """Return what a copy of a journal holds that the journal beside it does not."""
    original = copy.path.with_name(copy.copy_of)
    start = f"a copy of '{copy.copy_of}' beside it, left by a program that copies or synchronises folders"
    try:
        one, other = disk.read_file(copy.path), disk.read_file(original)
    except Unreachable as error:
        return one_line(f"{start}: {error}")
    if one == other:
        return one_line(f"{start}; the two are the same")
    if other.startswith(one):
        return one_line(f"{start}; it holds nothing that the other does not")
    if one.startswith(other):
        more = one[len(other) :].count(b"\n")
        return one_line(f"{start}; it goes on with {more} records that the other does not have: keep it")
    ours, theirs = one.split(b"\n"), other.split(b"\n")
    line = next(n for n, pair in enumerate(zip(ours, theirs, strict=False), start=1) if pair[0] != pair[1])
    return one_line(
        f"{start}; the two parted at line {line}: two computers recorded in one run. Keep both; go on in "
        f"'{copy.copy_of}', and note in it what the copy says"
    )


def _chain_problems(folder: Path, known: Sequence[Chain]) -> Iterator[Remark]:
    for chain in known:
        for number, words in chain.problems:
            yield Remark(where=_in(folder, chain.path), text=f"line {number}: {words}")
    said: dict[str, tuple[str, str]] = {}
    for chain in known:
        for each in chain.anchors:
            last, bench = said.setdefault(each.anchor.first, (each.anchor.last, chain.bench))
            if last != each.anchor.last:
                text = f"the chains of '{bench}' and '{chain.bench}' name different last records of it"
                yield Remark(where=each.anchor.run, text=text)


def _missing(folder: Path, known: Sequence[Chain], entries: Sequence[RunEntry]) -> Iterator[Remark]:
    here = {each.first_digest for each in entries}
    told: set[str] = set()
    for chain in known:
        for number, each in enumerate(chain.anchors, start=1):
            anchor = each.anchor
            if anchor.first in here or anchor.first in told:
                continue
            told.add(anchor.first)
            place = [entry for entry in entries if entry.name == anchor.run]
            there = "it no longer reads, or another run stands in its place" if place else "it is missing"
            yield Remark(
                where=anchor.run,
                text=f"closed with {anchor.records} records and anchored on {anchor.at[:10]} "
                f"({_in(folder, chain.path)}, line {number}): {there}",
            )


def _chain_notices(folder: Path, known: Sequence[Chain]) -> Iterator[Remark]:
    for chain in known:
        where = _in(folder, chain.path)
        if chain.torn:
            yield Remark(
                where=where, text="bytes follow its last line end: a write was cut off, or is under way"
            )
        names = {each.anchor.bench for each in chain.anchors} - {chain.bench}
        if names:
            yield Remark(where=where, text=f"holds the chain of '{min(names)}': a copy, or renamed")


def _run_notices(runs: Sequence[Verification]) -> Iterator[Remark]:
    seen: dict[str, str] = {}
    for run in runs:
        name = anchors.run_name(run.path)
        for number, words in run.notices:
            yield Remark(where=name, text=f"line {number}: {words}")
        if run.closed and run.intact and not run.anchored:
            yield Remark(where=name, text=_UNANCHORED)
        if run.first_digest:
            other = seen.setdefault(run.first_digest, name)
            if other != name:
                yield Remark(where=name, text=f"the same run as '{other}'")


_UNANCHORED = (
    "closed, but no chain names it: closed by an earlier version, or the tool was stopped while it closed "
    "the run, or the chain was cut. 'ohmward anchor' adds it"
)


def _noted_at(known: Sequence[Chain], runs: Sequence[Verification], noted: str) -> str:
    """Return where a noted digest stands; raises Refused when it is none."""
    wanted = "".join(noted.split()).lower()
    if len(wanted) < SHORTEST_NOTED or set(wanted) - set("0123456789abcdef"):
        raise Refused(
            "digest",
            [f"'{noted}' is not a digest"],
            f"Give its figures (0 to 9, a to f), at least the first {SHORTEST_NOTED} of them",
        )
    for chain in known:
        for number, each in enumerate(chain.anchors, start=1):
            if each.digest.startswith(wanted):
                return (
                    f"line {number} of the chain of '{chain.bench}', of {each.anchor.at[:10]}: the chain "
                    f"until then, of {number} closed runs, is as it was"
                )
    for run in runs:
        for record in files.read(run.path) if run.intact else ():
            if record.digest.startswith(wanted):
                name = anchors.run_name(run.path)
                return f"record {record.seq} of {name}: every record until then is as it was"
    return ""


def _in(folder: Path, path: Path) -> str:
    return path.relative_to(folder).as_posix()
