"""The index beside a logbook: what its journals come to, so that they need not be read each time.

A cache and nothing more. ``<logbook>/index/<computer>/<supply>.cache`` holds, for each journal of one
supply's folder, its size and times as the file system had them, and what `run.history` made of it. A journal
that looks otherwise now is read again; a file that is damaged, of another version, or missing is made anew;
deleting the folder loses nothing. Nothing that guards a person reads it: gates, starting and verifying a run
go to the journals.

Safe with any number of programs at once without a lock: a file is written beside and moved into place whole,
and whichever comes last is as good as the other. Each computer has files of its own, so that a synchronised
folder has nothing to quarrel about. An edit that keeps size and all times of a journal is not noticed here;
`verify` notices it.
"""

from __future__ import annotations

import contextlib
import gc
import hashlib
import os
import secrets
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import msgspec

from ohmward import __version__
from ohmward.analysis.history_facts import PastRun
from ohmward.analysis.history_glance import Glance, glance
from ohmward.errors import OhmwardError, Unreachable
from ohmward.logbook import Logbook, names
from ohmward.logbook.place import bench_name
from ohmward.logbook.runs import copies_in
from ohmward.run.history import past_run

FOLDER = "index"
ENDING = ".cache"
VERSION = f"4 of {__version__}"
"""Of what is kept and of how it is made: the number is raised with every change of either."""
_MAGIC = b"ohmward index\n"
_HASH = hashlib.sha256
_HASH_BYTES = 32
_LINE, _MOST_BYTES = 64, 1 << 28
"""No line of the frame is longer, no supply's index larger: what is, was not written here."""
RACY_NS = 3_000_000_000
"""A journal changed this shortly before it was looked at is read again: some file systems count in 2 s."""
_OLD_DRAFT_S = 3600.0
"""A draft older than this was left by a program that was stopped."""
POOL_FROM = 200
"""Journals to be read anew from which more than one process is worth its start."""
_NOTE = """Signature: 8a477f597d28d172789f06886806bc55
# A cache of ohmward: made from the journals, and made again when it is missing. It may be deleted.
"""  # the first line is that of the Cache Directory Tagging Specification (from memory)


class Stamp(msgspec.Struct, frozen=True, array_like=True):
    """How the file system has a journal and its seal: size and times of change."""

    size: int
    changed_ns: int
    status_ns: int
    seal_size: int = -1
    seal_changed_ns: int = -1


class _Head(msgspec.Struct, frozen=True, array_like=True):
    version: str
    seen_ns: int
    """When the journals were looked at."""
    stamps: dict[str, Stamp]
    glances: tuple[Glance, ...]


class _Body(msgspec.Struct, frozen=True, array_like=True):
    sheets: tuple[str, ...]
    """Design sheets, each once; a run's `sheet` is the number of its own."""
    runs: dict[str, PastRun]


_HEAD = msgspec.msgpack.Decoder(_Head)
_BODY = msgspec.msgpack.Decoder(_Body)


@dataclass(frozen=True, kw_only=True)
class Fleet:
    """Every supply of a logbook at a glance."""

    glances: tuple[Glance, ...]
    read: int
    """Journals that were read now; the others were as the index has them."""
    journals: int
    shortcomings: tuple[str, ...] = ()
    """What could not be done, in words."""


@dataclass(frozen=True, kw_only=True)
class _Shelf:
    """One supply's folder as it is now."""

    folder: Path
    stamps: dict[str, Stamp]
    seen_ns: int


def runs_of(logbook: Path, tag: str, *, use_index: bool = True) -> tuple[PastRun, ...]:
    """Return the runs of one supply.

    Raises
    ------
    Unreachable
        When the logbook has none of that tag, or cannot be listed.
    """
    folder = logbook / "runs" / names.safe(tag)
    if not os.path.isdir(folder):
        folder = Logbook(logbook).find(tag).parent  # by another name, or with a hint at what there is
    place = _place(logbook) if use_index else None
    runs = _supply(_shelf(folder), place).runs
    return tuple(run for run in runs if run.tag == tag) or runs


def fleet(
    logbook: Path,
    *,
    use_index: bool = True,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> Fleet:
    """Return every supply of a logbook at a glance.

    Parameters
    ----------
    logbook : Path
    use_index : bool
        False reads every journal and leaves the index alone.
    workers : int
        Processes that read journals at once, where many are to be read.
    progress : callable, optional
        Called with how many supplies are done, and of how many.

    Raises
    ------
    Unreachable
        When the folder of runs is there and cannot be listed.
    """
    place = _place(logbook) if use_index else None
    found: list[Glance] = []
    stale: list[_Shelf] = []
    journals = 0
    for folder in _folders(logbook / "runs"):
        shelf = _shelf(folder)
        journals += len(shelf.stamps)
        head = _read_head(place, folder) if place else None
        if head is not None and _fresh(shelf, head) == set(shelf.stamps) == set(head.stamps):
            found.extend(head.glances)
        elif shelf.stamps:
            stale.append(shelf)
    if stale and place is not None:
        _clean(place)
    read, words = 0, []
    for done, (glances, count, problem) in enumerate(_made(stale, place, workers), start=1):
        found.extend(glances)
        read += count
        words += [problem] if problem else []
        if progress is not None:
            progress(done, len(stale))
    return Fleet(
        glances=tuple(sorted(found, key=lambda each: each.tag)),
        read=read,
        journals=journals,
        shortcomings=tuple(dict.fromkeys(words)),
    )


_Made = tuple[tuple[Glance, ...], int, str]


def _made(stale: list[_Shelf], place: Path | None, workers: int) -> Iterator[_Made]:
    if workers < 2 or sum(len(shelf.stamps) for shelf in stale) < POOL_FROM:
        yield from (_glances(shelf, place) for shelf in stale)
        return
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context) as pool:
        places = [place] * len(stale)
        yield from pool.map(_glances, stale, places, chunksize=max(1, len(stale) // (8 * workers)))


def _glances(shelf: _Shelf, place: Path | None) -> _Made:
    with _no_collecting():
        found = _supply(shelf, place)
        return found.glances or _glances_of(found.runs), found.read, found.problem


@contextlib.contextmanager
def _no_collecting() -> Iterator[None]:
    """Keep the garbage collector still: it would look through every record read, and find nothing."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def _glances_of(runs: tuple[PastRun, ...]) -> tuple[Glance, ...]:
    tags = dict.fromkeys(run.tag for run in runs)
    return tuple(glance([run for run in runs if run.tag == tag]) for tag in tags)


@dataclass(frozen=True, kw_only=True)
class _Supply:
    """One supply's runs, and how they were come by."""

    runs: tuple[PastRun, ...]
    glances: tuple[Glance, ...] = ()
    """Empty where they were not needed."""
    read: int = 0
    """Journals read for it."""
    problem: str = ""
    """What could not be done."""


def _supply(shelf: _Shelf, place: Path | None) -> _Supply:
    """Return the runs of a folder, from the index as far as that is fresh, and bring the index up to date."""
    kept = _read_body(place, shelf.folder) if place else None
    known: dict[str, PastRun] = {}
    if kept is not None:
        fresh = _fresh(shelf, kept[0])
        known = {name: run for name, run in kept[1].items() if name in fresh}
    by_name = {
        name: known[name] if name in known else past_run(shelf.folder / f"{name}{names.JOURNAL}")
        for name in shelf.stamps
    }
    runs, read = tuple(by_name.values()), len(by_name) - len(known)
    if place is None or (kept is not None and not read and set(kept[0].stamps) == set(shelf.stamps)):
        return _Supply(runs=runs, read=read)
    glances = _glances_of(runs)
    problem = _write(place, shelf, by_name, glances)
    return _Supply(runs=runs, glances=glances, read=read, problem=problem)


def _fresh(shelf: _Shelf, head: _Head) -> set[str]:
    """Return the journals that still are as the index saw them."""
    return {
        name
        for name, stamp in shelf.stamps.items()
        if head.stamps.get(name) == stamp
        and max(stamp.changed_ns, stamp.seal_changed_ns) < head.seen_ns - RACY_NS
    }


def _folders(runs: Path) -> list[Path]:
    try:
        with os.scandir(runs) as found:
            return sorted(Path(each.path) for each in found if each.is_dir())
    except FileNotFoundError:
        return []
    except OSError as error:
        raise Unreachable(f"{runs}: cannot be listed ({error.strerror})") from error


def _shelf(folder: Path) -> _Shelf:
    seen = time.time_ns()
    seals: dict[str, os.stat_result] = {}
    journals: dict[str, os.stat_result] = {}
    try:
        with os.scandir(folder) as found:
            for each in found:
                stem, dot, ending = each.name.rpartition(".")
                if names.is_journal(each.name):
                    journals[stem] = each.stat()
                elif dot + ending == names.SEAL:
                    seals[stem] = each.stat()
    except OSError as error:
        raise Unreachable(f"{folder}: cannot be listed ({error.strerror})") from error
    for copy in copies_in(folder, [f"{stem}{names.JOURNAL}" for stem in journals]):
        del journals[copy.removesuffix(names.JOURNAL)]
    stamps = {}
    for name in sorted(journals):
        status, seal = journals[name], seals.get(name)
        stamps[name] = Stamp(
            status.st_size,
            status.st_mtime_ns,
            status.st_ctime_ns,
            -1 if seal is None else seal.st_size,
            -1 if seal is None else seal.st_mtime_ns,
        )
    return _Shelf(folder=folder, stamps=stamps, seen_ns=seen)


def _place(logbook: Path) -> Path | None:
    try:
        return logbook / FOLDER / bench_name()
    except (OhmwardError, OSError):
        return None


def _file(place: Path, folder: Path) -> Path:
    return place / f"{folder.name}{ENDING}"


def _read_head(place: Path, folder: Path) -> _Head | None:
    """Return what an index file says at its beginning; None where it is missing, damaged or not of ours."""
    try:
        with open(_file(place, folder), "rb") as file:
            return _head(file.readline(_LINE), file.readline(_LINE), file.read)
    except (OSError, ValueError, IndexError, msgspec.DecodeError):
        return None


def _head(magic: bytes, lengths: bytes, more: Callable[[int], bytes]) -> _Head | None:
    if magic != _MAGIC:
        return None
    length = int(lengths.split()[0])
    if not 0 < length < _MOST_BYTES:
        return None
    data = more(_HASH_BYTES + length)
    if _HASH(data[_HASH_BYTES:]).digest() != data[:_HASH_BYTES]:
        return None
    head = _HEAD.decode(data[_HASH_BYTES:])
    return head if head.version == VERSION else None


def _read_body(place: Path, folder: Path) -> tuple[_Head, dict[str, PastRun]] | None:
    try:
        with open(_file(place, folder), "rb") as file:
            head = _head(file.readline(_LINE), file.readline(_LINE), file.read)
            rest = file.read(_MOST_BYTES)
        if head is None or _HASH(rest[_HASH_BYTES:]).digest() != rest[:_HASH_BYTES]:
            return None
        body = _BODY.decode(rest[_HASH_BYTES:])
        runs = {
            name: msgspec.structs.replace(run, sheet=body.sheets[int(run.sheet)] if run.sheet else "")
            for name, run in body.runs.items()
        }
    except (OSError, ValueError, IndexError, msgspec.DecodeError):
        return None
    return head, runs


def _write(place: Path, shelf: _Shelf, runs: dict[str, PastRun], glances: tuple[Glance, ...]) -> str:
    """Write one index file; return what could not be done, which costs time and nothing else."""
    sheets = tuple(dict.fromkeys(run.sheet for run in runs.values() if run.sheet))
    numbers = {text: str(number) for number, text in enumerate(sheets)}
    kept = {
        name: msgspec.structs.replace(run, sheet=numbers.get(run.sheet, "")) for name, run in runs.items()
    }
    head = msgspec.msgpack.encode(_Head(VERSION, shelf.seen_ns, shelf.stamps, glances))
    body = msgspec.msgpack.encode(_Body(sheets, kept))
    data = b"".join(
        (_MAGIC, b"%d %d\n" % (len(head), len(body)), _HASH(head).digest(), head, _HASH(body).digest(), body)
    )
    target = _file(place, shelf.folder)
    draft = target.with_name(f".{target.name}.{os.getpid()}-{secrets.token_hex(4)}.draft")
    try:
        _make_place(place)
        try:
            draft.write_bytes(data)
            draft.replace(target)
        finally:
            with contextlib.suppress(FileNotFoundError):
                draft.unlink()
    except OSError as error:
        return f"the index cannot be written ({error.strerror}): each time all journals are read"
    return ""


def _make_place(place: Path) -> None:
    if place.is_dir():
        return
    place.mkdir(parents=True, exist_ok=True)
    for name, text in (("CACHEDIR.TAG", _NOTE), (".gitignore", "*\n")):
        path = place.parent / name
        if not path.exists():
            path.write_text(text, encoding="utf-8")


def _clean(place: Path) -> None:
    """Remove what an interrupted program left half written."""
    with contextlib.suppress(OSError):
        for each in place.glob(".*.draft"):
            if time.time() - each.stat().st_mtime > _OLD_DRAFT_S:
                each.unlink(missing_ok=True)
