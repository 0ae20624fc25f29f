"""How long a logbook of thousands of runs takes to look over: from the journals, and from the index.

    python tests/benchmarks/history.py [--supplies 1000] [--runs 8] [--records N] [--folder DIR]

The reference is reading every byte of the same journals and decoding every line once, in one process, in
the same run. `--records` pads each run with samples of a soak to so many records. Everything is simulated.
"""

# ruff: noqa: T201 a script that prints
from __future__ import annotations

import argparse
import hashlib
import os
import random
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import msgspec

sys.path.insert(0, str(Path(__file__).parents[1]))

from ohmward.logbook import read
from ohmward.logbook.events import (
    Closed,
    Event,
    SeriesBegun,
    SeriesChannel,
    SeriesEnded,
    SeriesRow,
    SeriesRows,
)
from ohmward.logbook.lines import ZEROS, Seal, decode, encode, encode_seal, line_hash
from ohmward.run.history_index import fleet, runs_of
from support import aged

AGEING = 10
"""One supply in so many ages."""


def timed(action: Callable[[], object]) -> float:
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


def worked(action: Callable[[], object]) -> float:
    """Return processor time of this process: what another program does at the time counts less."""
    start = time.process_time()
    action()
    return time.process_time() - start


def generate(folder: Path, supplies: int, runs: int, records: int) -> int:
    """Write the logbook; return how many records it has."""
    with tempfile.TemporaryDirectory() as scratch:
        sound = [aged.without(visit, left=1.0, insulation=">200M") for visit in aged.VISITS]
        kinds = [
            [read(path) for path in aged.write(Path(scratch) / name, visits[:runs], simulated=False)]
            for name, visits in (("ages", aged.VISITS), ("sound", sound))
        ]
        stems = [path.stem for path in sorted((Path(scratch) / "ages" / "runs" / aged.TAG).glob("*.jsonl"))]
    count = 0
    for number in range(supplies):
        tag = f"CR-{1000 + number}"
        place = folder / "runs" / tag
        place.mkdir(parents=True)
        for run, stem in zip(kinds[0 if number % AGEING == 0 else 1], stems, strict=True):
            count += _write(
                place / f"{stem}.jsonl", [record.event for record in run], run[0].at, tag, records
            )
    return count


def _write(path: Path, events: list[Event], at: str, tag: str, records: int) -> int:
    from datetime import datetime, timedelta

    opened = events[0]
    sheet = opened.sheet.replace(f'"{aged.TAG}"', f'"{tag}"')  # type: ignore[union-attr]
    events = [msgspec.structs.replace(opened, tag=tag, run=f"{tag}/{path.stem}", sheet=sheet), *events[1:-1]]
    events += _padding(records - len(events) - 1)
    events.append(Closed(verdict="pass", summary=(), records=len(events)))
    began, prev, lines = datetime.fromisoformat(at), ZEROS, []
    for seq, event in enumerate(events):
        line, record = _encoded(seq, began + timedelta(seconds=7 * seq), event, prev)
        lines.append(line)
        prev = line_hash(line)
    path.write_bytes(b"\n".join(lines) + b"\n")
    record = decode(lines[-1])
    seal = Seal(run=path.name, records=len(lines), last=record.digest, at=record.at)
    path.with_suffix(".seal").write_bytes(encode_seal(seal))
    return len(lines)


_BODIES: dict[int, bytes] = {}


def _encoded(seq: int, at: object, event: Event, prev: str) -> tuple[bytes, None]:
    """Return a line as `encode` writes it; bodies met before are not encoded again."""
    key = id(event)
    if key not in _BODIES:
        line, _ = encode(seq=seq, at=at, elapsed_s=0.0, event=event, prev=prev)  # type: ignore[arg-type]
        if seq:
            _BODIES[key] = line[line.index(b'"kind"') : line.index(b'"prev"')]
            _KEPT.append(event)
        return line, None
    start = b'{"seq":%d,"at":"%s","elapsed_s":0.0,%b"prev":"%s"' % (
        seq, at.isoformat(timespec="milliseconds").encode(), _BODIES[key], prev.encode(),  # type: ignore[attr-defined]
    )  # fmt: skip
    return start + b',"digest":"' + hashlib.sha256(start).hexdigest().encode() + b'"}', None


_KEPT: list[Event] = []


def _padding(count: int) -> list[Event]:
    """Return samples of a soak, in `count` records."""
    if count < 3:
        return []
    if not _SAMPLES:
        noise = random.Random(1)
        channel = SeriesChannel(name="case", meter="thermometer", function="temperature", unit="°C")
        _SAMPLES.append(SeriesBegun(step="soak", channels=(channel,), interval_s=5.0, duration_s=1800.0))
        _SAMPLES.append(SeriesEnded(step="soak", at_s=1800.0, complete=True, why="done"))
        for number in range(2000):
            rows = tuple(
                SeriesRow(at_s=5.0 * (4 * number + n), values=(noise.uniform(20, 60),), replies=("+4.1E+01",))
                for n in range(4)
            )
            _SAMPLES.append(SeriesRows(step="soak", rows=rows))
    return [_SAMPLES[0], *_SAMPLES[2:count], _SAMPLES[1]]


_SAMPLES: list[Event] = []


def reference(folder: Path) -> tuple[int, int]:
    """Read every byte and decode every line once; return bytes and lines."""
    size = lines = 0
    for path in sorted(folder.glob("runs/*/*.jsonl")):
        data = path.read_bytes()
        size += len(data)
        for line in data.splitlines():
            decode(line)
            lines += 1
    return size, lines


def listed(folder: Path) -> int:
    """Ask the file system for every journal and seal: what a warm look over cannot do without."""
    return sum(each.stat().st_size for tag in os.scandir(folder / "runs") for each in os.scandir(tag.path))


def command(folder: Path, *words: str) -> float:
    program = shutil.which("ohmward", path=str(Path(sys.executable).parent)) or "ohmward"
    return timed(
        lambda: subprocess.run(
            [program, *words, "--json", "--logbook", str(folder)], check=True, stdout=subprocess.DEVNULL
        )
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--supplies", type=int, default=1000)
    parser.add_argument("--runs", type=int, default=8)
    parser.add_argument("--records", type=int, default=0)
    parser.add_argument("--folder", type=Path)
    arguments = parser.parse_args()
    os.environ["OHMWARD_BENCH"] = "benchmark"
    folder = Path(tempfile.mkdtemp(prefix="ohmward-years-", dir=arguments.folder))
    try:
        measure(folder, arguments.supplies, arguments.runs, arguments.records)
    finally:
        shutil.rmtree(folder)


def measure(folder: Path, supplies: int, runs: int, records: int) -> None:
    made = timed(lambda: generate(folder, supplies, runs, records))
    size, lines = reference(folder)  # once before, so that both read from memory
    counted = f"{supplies} supplies, {supplies * runs} runs, {lines} records, {size / 1e6:.0f} MB"
    print(f"{counted}, made in {made:.0f} s", flush=True)
    time.sleep(4.0)  # younger journals are read again on principle
    start = time.perf_counter()
    busy = worked(lambda: reference(folder))
    once = time.perf_counter() - start
    print(f"reference: read and decoded once, one process: {once:.2f} s, of it {busy:.2f} s at work "
          f"({lines / busy:,.0f} records/s)")  # fmt: skip
    start = time.perf_counter()
    cold_busy = worked(lambda: fleet(folder, workers=1))
    cold = time.perf_counter() - start
    print(f"fleet, no index, one process: {cold:.2f} s ({cold / once:.2f} of the reference), "
          f"{cold_busy:.2f} s at work ({cold_busy / busy:.2f} of it)")  # fmt: skip
    shutil.rmtree(folder / "index")
    cold = timed(lambda: fleet(folder, workers=2))
    print(f"fleet, no index, two processes: {cold:.2f} s, {cold / once:.2f} of the reference")
    warm = min(timed(lambda: fleet(folder)) for _ in range(5))
    bare = min(timed(lambda: listed(folder)) for _ in range(5))
    index = sum(path.stat().st_size for path in (folder / "index").rglob("*.cache"))
    print(f"fleet, from the index ({index / 1e6:.0f} MB): {warm:.3f} s, {warm / once:.4f} of the reference, "
          f"{warm / bare:.1f} of asking the file system for the same files ({bare:.3f} s)")  # fmt: skip
    tag = f"CR-{1000 + supplies // 2}"
    one_cold = min(timed(lambda: runs_of(folder, tag, use_index=False)) for _ in range(3))
    one_warm = min(timed(lambda: runs_of(folder, tag)) for _ in range(3))
    print(f"one supply: {1e3 * one_cold:.1f} ms from its journals, {1e3 * one_warm:.1f} ms from the index")
    for words in (("--version",), ("history", tag), ("history", "--fleet"), ("due",)):
        extra = () if words == ("--version",) else words
        took = min(command(folder, *extra) if extra else _version() for _ in range(3))
        print(f"as a command, warm: ohmward {' '.join(words)}: {took:.2f} s")
    most = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    print(f"memory, the largest of its processes: {most / 1024:.0f} MB")


def _version() -> float:
    program = shutil.which("ohmward", path=str(Path(sys.executable).parent)) or "ohmward"
    return timed(lambda: subprocess.run([program, "--version"], check=True, stdout=subprocess.DEVNULL))


if __name__ == "__main__":
    main()
