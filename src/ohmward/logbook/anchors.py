"""The chain of closed runs of a logbook: that a whole journal is missing, or was cut, shows.

``<logbook>/anchors/<bench>.chain``, JSON Lines: one line for each run closed on that computer, in the
order in which they were closed, each holding the SHA-256 of the line before and its own digest. The
digest of the last line is the *head*: printed on paper, it stands for every run closed until then.
Each computer writes only its own chain (see `place`); the others come with `merge` or by themselves
in a synchronised folder. The names and fields here are format 1 and are read for ever.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import msgspec

from ohmward.errors import Unreachable
from ohmward.logbook import disk, names
from ohmward.logbook.chain import Finding
from ohmward.logbook.clock import Clock, aware_now
from ohmward.logbook.events import Record
from ohmward.logbook.lines import ZEROS, BadLineError, line_hash, require_digest, require_instant, with_digest
from ohmward.logbook.place import bench_name, lock_here
from ohmward.text import one_line

FORMAT = 1
FOLDER = "anchors"
ENDING = ".chain"
WAIT_S = 10.0
"""How long another program on the same chain is waited for."""


class Anchor(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One closed run, as it was when it was closed."""

    format: int = FORMAT
    seq: int
    """From 0, without gaps."""
    at: str
    """When it was anchored, ISO 8601 with offset."""
    bench: str
    run: str
    """Folder and file name without ending, as it was then."""
    first: str
    """Digest of its first record: which run it is, whatever its file is called."""
    last: str
    """Digest of its last record: all of its bytes."""
    records: int
    prev: str
    """SHA-256 (hex) of the line before; 64 zeros in the first."""


class _AnchorLine(Anchor, frozen=True, kw_only=True, forbid_unknown_fields=True):
    digest: str


class _Announced(msgspec.Struct):
    format: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedRun:
    """What an anchor says of a run; fields as in `Anchor`."""

    run: str
    first: str
    last: str
    records: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Anchored:
    """An anchor and the digest of its line, which stands for all lines until then."""

    anchor: Anchor
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """The end of a chain, to be printed on paper."""

    bench: str
    runs: int
    """Count of closed runs that it stands for."""
    digest: str
    at: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """One chain as it was read."""

    path: Path
    bench: str
    """Of its file name."""
    anchors: tuple[Anchored, ...]
    problems: tuple[Finding, ...]
    lines: int
    torn: bool
    """Bytes follow the last line end: a write was cut off; nothing of it was acknowledged."""
    last_hash: str
    """For the next line's `prev`; empty when the last line is bad."""
    newer: str = ""
    """In words, when a newer tool wrote it."""

    @property
    def head(self) -> Head | None:
        """The end of the chain; None while it is empty."""
        if not self.anchors:
            return None
        last = self.anchors[-1]
        return Head(bench=self.bench, runs=len(self.anchors), digest=last.digest, at=last.anchor.at)


class Known:
    """The chains of a logbook, and what they say of each run."""

    def __init__(self, chains: Sequence[Chain] = ()) -> None:
        self.chains = tuple(chains)
        self._by_first: dict[str, list[tuple[Chain, Anchor]]] = {}
        for chain in self.chains:
            for each in chain.anchors:
                self._by_first.setdefault(each.anchor.first, []).append((chain, each.anchor))

    def of(self, first: str) -> tuple[Anchor, ...]:
        """Return what is said of the run whose first record has this digest."""
        return tuple(anchor for _, anchor in self._by_first.get(first, ()))

    def head(self, first: str) -> Head | None:
        """Return the head of a chain that anchors the run; None where none does."""
        for chain, _ in self._by_first.get(first, ()):
            return chain.head
        return None


_LINE = msgspec.json.Decoder(_AnchorLine)
_ANNOUNCED = msgspec.json.Decoder(_Announced)
_MEND = "Keep that file as it is, under another name, and look into it; a new chain then begins"


def logbook_of(path: Path) -> Path | None:
    """Return the logbook that a journal lies in (``<logbook>/runs/<folder>/<file>``), None elsewhere."""
    runs = Path(os.path.abspath(path)).parent.parent
    return runs.parent if runs.name.casefold() == "runs" else None


def run_name(path: Path) -> str:
    """Return how a journal is called in its logbook: folder and file name without ending."""
    return f"{path.parent.name}/{path.name.removesuffix(names.JOURNAL)}"


def chain_path(logbook: Path, bench: str) -> Path:
    """Return where the chain of a computer is."""
    return logbook / FOLDER / f"{bench}{ENDING}"


def known(logbook: Path | None) -> Known:
    """Read every chain of a logbook; none where none was begun, or for a journal outside of one.

    Raises
    ------
    Unreachable
        When the folder or one of them is there and cannot be read.
    """
    if logbook is None:
        return Known()
    folder = logbook / FOLDER
    try:
        found = sorted(name for name in os.listdir(folder) if _is_chain(name))
    except FileNotFoundError:
        return Known()
    except (OSError, ValueError) as error:
        raise disk.unreachable(folder, "cannot be listed", error) from error
    return Known([read_chain(folder / name) for name in found])


def _is_chain(name: str) -> bool:
    return name.endswith(ENDING) and not name.startswith(".")


def read_chain(path: Path) -> Chain:
    """Read one chain; raises Unreachable when it cannot be read."""
    return check_chain(path, disk.read_file(path))


def check_chain(path: Path, data: bytes) -> Chain:
    """Check every line of a chain: its digest, its fields, and that it follows the line before."""
    bench = path.name.removesuffix(ENDING)
    lines = data.split(b"\n")
    torn = bool(lines.pop())
    newer = _newer(lines)
    if newer:
        return Chain(
            path=path, bench=bench, anchors=(), problems=(), lines=len(lines), torn=torn, last_hash="",
            newer=newer,
        )  # fmt: skip
    found: list[Anchored] = []
    problems: list[Finding] = []
    before: str = ZEROS
    seq = 0
    for number, line in enumerate(lines, start=1):
        try:
            each = decode(line)
        except BadLineError as bad:
            problems.append((number, one_line(str(bad))))
            before, seq = "", -1
            continue
        words = _follows(each.anchor, seq, before)
        if words:
            problems.append((number, words))
        found.append(each)
        before, seq = line_hash(line), each.anchor.seq + 1
    return Chain(
        path=path,
        bench=bench,
        anchors=tuple(found),
        problems=tuple(problems),
        lines=len(lines),
        torn=torn,
        last_hash=before,
    )


def _follows(anchor: Anchor, seq: int, before: str) -> str:
    if seq < 0:
        return ""  # the line before is named already
    if anchor.seq != seq:
        return f"anchor {anchor.seq} stands where {seq} belongs: lines are missing, doubled or moved"
    return (
        "" if anchor.prev == before else "does not follow from the line before: one of the two was replaced"
    )


def _newer(lines: Sequence[bytes]) -> str:
    if not lines:
        return ""
    try:
        require_digest(lines[0])
        announced = _ANNOUNCED.decode(lines[0]).format
    except (BadLineError, ValueError, RecursionError):
        return ""
    if announced <= FORMAT:
        return ""
    return (
        f"a chain of format {announced}; this version reads up to format {FORMAT}. Read it with a later one"
    )


def decode(line: bytes) -> Anchored:
    """Return the anchor of a line (without line end); raises BadLineError when it is not as written."""
    require_digest(line)
    try:
        parsed = _LINE.decode(line)
    except (ValueError, RecursionError) as error:
        raise BadLineError(f"not an anchor: {error}") from error
    require_instant(parsed.at)
    fields = {name: getattr(parsed, name) for name in Anchor.__struct_fields__}
    return Anchored(anchor=Anchor(**fields), digest=parsed.digest)


def encode(anchor: Anchor) -> bytes:
    """Return the line of an anchor, with its line end."""
    return with_digest(anchor) + b"\n"


def closed_run(path: Path, records: Sequence[Record]) -> ClosedRun:
    """Return what an anchor says of a journal with these records, the closing one last."""
    first, last = records[0], records[-1]
    return ClosedRun(run=run_name(path), first=first.digest, last=last.digest, records=last.seq + 1)


def add(logbook: Path, closed: ClosedRun, clock: Clock, bench: str = "") -> Head:
    """Anchor a closed run in this computer's chain; it is on the disk when this returns.

    A run that stands there already, the same to the last record, is not written again.

    Parameters
    ----------
    logbook : Path
    closed : ClosedRun
    clock : Clock
    bench : str
        Whose chain; this computer's when empty.

    Returns
    -------
    Head
        The end of the chain now.

    Raises
    ------
    Unreachable
        When the chain cannot be read or written, or is damaged; it is then as it was.
    Refused
        When another program holds it for longer than `WAIT_S`.
    """
    bench = bench or bench_name()
    path = chain_path(logbook, bench)
    try:
        disk.make_folders(path.parent)
        descriptor, new = disk.open_or_create(path)
        try:
            with lock_here(descriptor, path, WAIT_S):
                if new:
                    disk.sync_folder(path.parent)
                return _added(descriptor, path, closed, clock)
        finally:
            os.close(descriptor)
    except OSError as error:
        raise disk.unreachable(path, "the run cannot be anchored", error) from error


def _added(descriptor: int, path: Path, closed: ClosedRun, clock: Clock) -> Head:
    data = disk.read_open(descriptor, path)
    whole = data[: data.rfind(b"\n") + 1]
    chain = check_chain(path, whole)
    if chain.newer:
        raise Unreachable(f"{disk.shown(path)}: {chain.newer}")
    if chain.problems:
        number, words = chain.problems[0]
        raise Unreachable(f"{disk.shown(path)}: line {number}: {words}. {_MEND}")
    same = (closed.first, closed.last)
    if chain.head is not None and any(
        (each.anchor.first, each.anchor.last) == same for each in chain.anchors
    ):
        return chain.head
    if len(whole) < len(data):
        disk.cut(descriptor, len(whole))  # never acknowledged: the run it was about is found by `verify`
    anchor = Anchor(
        seq=len(chain.anchors),
        at=aware_now(clock).isoformat(timespec="milliseconds"),
        bench=chain.bench,
        run=closed.run,
        first=closed.first,
        last=closed.last,
        records=closed.records,
        prev=chain.last_hash,
    )
    line = encode(anchor)
    try:
        disk.append(descriptor, line)
    except OSError:
        disk.cut_quietly(descriptor, len(whole))
        raise
    return Head(bench=chain.bench, runs=anchor.seq + 1, digest=decode(line[:-1]).digest, at=anchor.at)


def heads(logbook: Path) -> tuple[Head, ...]:
    """Return the head of every chain of a logbook; raises Unreachable as `known` does."""
    return tuple(chain.head for chain in known(logbook).chains if chain.head is not None)
