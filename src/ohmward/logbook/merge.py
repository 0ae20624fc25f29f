"""Bringing the closed runs of another logbook here: byte for byte, and never in the place of anything.

A run is known by the digest of its first record, whatever its file is called. What is here already
is left; the same run with another end is a conflict and is refused by its hashes. No journal of
either logbook is altered; to the copy of another computer's chain the lines are added that it lacks.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from ohmward.errors import InputError, Mistake, OhmwardError, Unreachable
from ohmward.logbook import anchors, disk, drafts, files, names
from ohmward.logbook.anchors import Chain, Known
from ohmward.logbook.chain import check
from ohmward.logbook.incoming import TakenError, bring_in, sha256
from ohmward.logbook.place import lock_here
from ohmward.logbook.runs import Logbook, RunEntry
from ohmward.logbook.verify import verify

Outcome = Literal["brought", "here already", "left", "refused"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Merged:
    """What became of one run, or of one chain, of the other logbook."""

    name: str
    """As it is called there."""
    outcome: Outcome
    text: str = ""
    """Why it was left or refused, or where it went."""
    path: Path | None = None
    """Of its journal here."""
    simulated: bool = False
    """It is a rehearsal."""


def merge(logbook: Path, other: Path, *, try_only: bool = False) -> tuple[Merged, ...]:
    """Bring the closed runs of `other`, and its chains, into `logbook`.

    Interrupted, it has brought some runs whole; the same again brings the rest.

    Parameters
    ----------
    logbook, other : Path
        Two different logbooks.
    try_only : bool
        Say what would be done, and change nothing.

    Returns
    -------
    tuple of Merged
        One for each journal and chain of `other`, the oldest run first.

    Raises
    ------
    InputError
        When `other` is no logbook, or is this one.
    Unreachable
        When a folder cannot be listed, or something cannot be written.
    """
    _require_other(logbook, other)
    known = anchors.known(other)
    if not try_only:
        _make(logbook)
    result: list[Merged] = []
    here = {each.first_digest: each for each in Logbook(logbook).runs() if each.first_digest}
    for each in reversed(Logbook(other).everything()):
        found = _run(logbook, each, known, here, try_only=try_only)
        result.append(replace(found, simulated=each.simulated))
    result.extend(_chains(logbook, known.chains, try_only=try_only))
    return tuple(result)


def _make(logbook: Path) -> None:
    try:
        files.make_logbook(logbook)
    except OSError as error:
        raise disk.unreachable(logbook, "cannot be written in", error) from error


def _require_other(logbook: Path, other: Path) -> None:
    why = mend = ""
    if not os.path.isdir(other / "runs"):
        why, mend = "no logbook: it has no folder 'runs'", "Name the folder that holds 'runs'"
    elif os.path.isdir(logbook) and os.path.samefile(logbook, other):
        why, mend = "this logbook itself", "Name the folder of the other one"
    if why:
        raise InputError(
            [Mistake(where="command line", field="FOLDER", value=str(other), why=why, mend=mend)]
        )


def _run(logbook: Path, each: RunEntry, known: Known, here: dict[str, RunEntry], *, try_only: bool) -> Merged:
    if each.copy_of:
        text = f"a copy of '{each.copy_of}' beside it, left by a program that synchronises folders"
        return Merged(name=each.name, outcome="left", text=text)
    if not each.closed and not each.problem:
        return Merged(name=each.name, outcome="left", text=_OPEN)
    try:
        found = verify(each.path, known)
        if not found.intact:
            number, words = found.problems[0]
            return Merged(name=each.name, outcome="refused", text=f"damaged: line {number}: {words}")
        data, beside = _bytes_of(each)
    except OhmwardError as error:
        return Merged(name=each.name, outcome="refused", text=str(error))
    ours = here.get(each.first_digest)
    if ours is not None:
        return _compared(ours, each, beside, try_only=try_only)
    bench = next((anchor.bench for anchor in known.of(each.first_digest)), "other")
    return _brought(logbook, each, bench, data, beside, try_only=try_only)


_OPEN = "not closed: it is left where it is being made. Close it there, then merge again"


def _bytes_of(each: RunEntry) -> tuple[bytes, dict[str, bytes]]:
    """Return the journal and what lies beside it, all checked against what was just verified."""
    data = disk.read_file(each.path)
    checked = check(data)
    if checked.problems or checked.last is None or checked.last.digest != each.last_digest:
        raise Unreachable(f"{disk.shown(each.path)}: it changed while it was read. Merge again")
    beside = {name: disk.read_file(each.path.with_name(name)) for name in files.named_files(checked.records)}
    for name, digest in files.named_files(checked.records).items():
        if sha256(beside[name]) != digest:
            raise Unreachable(f"{disk.shown(each.path.with_name(name))}: it changed while it was read")
    for place in (files.seal_path(each.path), *files.signatures(each.path)):
        beside[place.name] = disk.read_file(place)
    return data, beside


def _compared(ours: RunEntry, each: RunEntry, beside: dict[str, bytes], *, try_only: bool) -> Merged:
    """The same run is here: the same to its end, or a conflict."""
    if ours.last_digest != each.last_digest:
        return Merged(
            name=each.name,
            outcome="refused",
            path=ours.path,
            text=f"conflict: {_stand(ours)} here ({ours.name}) and {_stand(each)} there, of one run. "
            "Nothing was changed; look at both, and keep both",
        )
    try:
        lost = dict(_lacking(ours.path, each.path, beside))
        for place, data in lost.items():
            if not try_only:
                drafts.place_new(place, data)
    except OSError as error:
        raise disk.unreachable(ours.path, "what lies beside it cannot be brought here", error) from error
    names_lost = ", ".join(sorted(place.name for place in lost))
    text = f"what was missing beside it was brought: {names_lost}" if lost else ""
    return Merged(name=each.name, outcome="here already", path=ours.path, text=text)


def _lacking(ours: Path, theirs: Path, beside: dict[str, bytes]) -> Iterator[tuple[Path, bytes]]:
    """Yield what lies beside their journal and not beside ours, with its place here."""
    signed = {place.name for place in files.signatures(theirs)}
    seal = files.seal_path(theirs).name
    for name, data in beside.items():
        place = files.seal_path(ours) if name == seal else ours.with_name(name)
        if name not in signed and not os.path.lexists(place):
            yield place, data
    known = [disk.read_file(place) for place in files.signatures(ours)]
    number = len(known) + 1
    for name in sorted(signed):
        if beside[name] not in known:
            yield files.signature_path(ours, number), beside[name]
            number += 1


def _stand(each: RunEntry) -> str:
    return f"{each.records} records ending in {each.last_digest[:12]}"


def _brought(
    logbook: Path, each: RunEntry, bench: str, data: bytes, beside: dict[str, bytes], *, try_only: bool
) -> Merged:
    taken = ""
    for path in _places(logbook, each, bench):
        try:
            bring_in(path, data, beside, try_only=try_only)
        except TakenError as error:
            taken = disk.shown(error.path)
            continue
        except OSError as error:
            raise disk.unreachable(path, "the run cannot be brought here", error) from error
        return Merged(name=each.name, outcome="brought", path=path, text=anchors.run_name(path))
    return Merged(name=each.name, outcome="refused", text=f"conflict: another file is in its place: {taken}")


def _places(logbook: Path, each: RunEntry, bench: str) -> Iterator[Path]:
    """Yield where a run may go: its own folder; where its names are taken there, one of its bench."""
    folder = each.path.parent.name
    if names.safe(folder) != folder:
        folder = names.safe(each.tag)
    runs = Path(os.path.abspath(logbook)) / "runs"
    yield runs / folder / each.path.name
    yield runs / names.safe(f"{folder}.{bench}") / each.path.name


def _chains(logbook: Path, theirs: tuple[Chain, ...], *, try_only: bool) -> Iterator[Merged]:
    for chain in theirs:
        name = f"{anchors.FOLDER}/{chain.path.name}"
        if chain.newer or chain.problems:
            number, words = chain.problems[0] if chain.problems else (1, chain.newer)
            yield Merged(name=name, outcome="refused", text=f"line {number}: {words}")
            continue
        if not chain.anchors or {each.anchor.bench for each in chain.anchors} != {chain.bench}:
            yield Merged(name=name, outcome="left", text="empty, or a copy of another chain")
            continue
        data = disk.read_file(chain.path)
        place = anchors.chain_path(logbook, chain.bench)
        try:
            yield _chain(place, name, data[: data.rfind(b"\n") + 1], try_only=try_only)
        except OSError as error:
            raise disk.unreachable(place, "the chain cannot be brought here", error) from error


def _chain(place: Path, name: str, theirs: bytes, *, try_only: bool) -> Merged:
    if not os.path.lexists(place):
        if not try_only:
            disk.make_folders(place.parent)
            drafts.place_new(place, theirs)
        return Merged(name=name, outcome="brought", path=place)
    descriptor = disk.open_regular(place, write=True)
    try:
        with lock_here(descriptor, place, anchors.WAIT_S):
            data = disk.read_open(descriptor, place)
            ours = data[: data.rfind(b"\n") + 1]
            if ours.startswith(theirs):
                return Merged(name=name, outcome="here already", path=place)
            if not theirs.startswith(ours):
                line = 1 + _same(ours, theirs)
                text = f"conflict: the chain here and the chain there differ from line {line} on"
                return Merged(name=name, outcome="refused", path=place, text=text)
            if not try_only:
                if len(ours) < len(data):
                    disk.cut(descriptor, len(ours))
                disk.append(descriptor, theirs[len(ours) :])
            more = theirs[len(ours) :].count(b"\n")
            return Merged(name=name, outcome="brought", path=place, text=f"{more} more lines")
    finally:
        os.close(descriptor)


def _same(ours: bytes, theirs: bytes) -> int:
    """Return the count of lines that two chains have in common from their beginning."""
    pairs = zip(ours.splitlines(), theirs.splitlines(), strict=False)
    return next((count for count, pair in enumerate(pairs) if pair[0] != pair[1]), 0)
