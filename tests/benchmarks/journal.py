"""How fast a journal takes records, against the bare disk doing the same bytes in the same run.

    python tests/benchmarks/journal.py [FOLDER]

The reference is `os.write` and `os.fsync` of the very lines the journal wrote, on the same disk.
"""

# ruff: noqa: T201 a script that prints
from __future__ import annotations

import hashlib
import json
import os
import sys
import tempfile
import time
from collections.abc import Callable
from decimal import Decimal
from functools import partial
from pathlib import Path

import msgspec

from ohmward.logbook import Logbook, create_run, open_run, read, verify
from ohmward.logbook.events import Judged, Opened, Reading
from ohmward.quantity import Value

COUNT = 2000
LONG = 100_000


def timed(action: Callable[[], object]) -> float:
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


def bare(path: Path, chunks: list[bytes]) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    for chunk in chunks:
        os.write(descriptor, chunk)
        os.fsync(descriptor)
    os.close(descriptor)


def hashed_and_decoded(path: Path, decode: Callable[[bytes], object]) -> None:
    """The least that checking a chain takes: every line hashed once, and decoded to plain data."""
    for line in path.read_bytes().split(b"\n")[:-1]:
        hashlib.sha256(line).hexdigest()
        decode(line)


def main(folder: Path) -> None:
    opened = Opened(
        run="",
        tag="CR-07",
        operator="bench A",
        simulated=True,
        tool="benchmark",
        sheet="",
        procedure="",
        limits="",
    )
    value = Value(raw="12.04", number=Decimal("12.04"), unit="V", resolution=Decimal("0.01"))
    reading = Reading(
        step="load-points.output", subject="+15 @ 50 %", value=value, judged=Judged(verdict="pass")
    )
    with create_run(folder, tag="CR-07", procedure_name="speed", opened=opened) as journal:
        each = timed(lambda: [journal.append(reading) for _ in range(COUNT)])
        chunks = journal.path.read_bytes().splitlines(keepends=True)[1:]
        floor = timed(lambda: bare(folder / "bare", chunks))
        batched = timed(lambda: [journal.append_many([reading] * 100) for _ in range(LONG // 100)])
        path = journal.path
    size = path.stat().st_size
    print(
        f"append, one sync each     {COUNT / each:10,.0f} /s   bare write and sync {COUNT / floor:,.0f} /s   "
        f"ratio {floor / each:.2f}"
    )
    print(f"append_many, 100 a sync   {LONG / batched:10,.0f} /s   line of {size // (LONG + COUNT)} bytes")
    count = LONG + COUNT
    print(f"read                      {count / timed(lambda: read(path)):10,.0f} /s   of {count:,} records")
    checking = min(timed(lambda: verify(path)) for _ in range(3))
    print(f"verify                    {count / checking:10,.0f} /s")
    for name, decode in (("json", json.loads), ("msgspec", msgspec.json.decode)):
        plain = min(timed(partial(hashed_and_decoded, path, decode)) for _ in range(3))
        rate, ratio = count / plain, plain / checking
        print(f"  SHA-256 and {name:8}    {rate:10,.0f} /s   of the same bytes: ratio {ratio:.2f}")
    print(f"open_run                  {count / timed(lambda: open_run(path).close()):10,.0f} /s")
    for number in range(300):
        create_run(folder, tag=f"CR-{number % 20}", procedure_name="list", opened=opened).close()
    print(f"list of 301 runs          {1000 * timed(lambda: Logbook(folder).runs()):10,.1f} ms")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory(dir=sys.argv[1] if len(sys.argv) > 1 else None) as name:
        main(Path(name))
