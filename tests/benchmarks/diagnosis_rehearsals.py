"""What the assessment names when each fault of the library is rehearsed on the demo sheet, without a person.

Run: ``python tests/benchmarks/diagnosis_rehearsals.py [fault ...]`` (default all, one after the other).

Each is what ``ohmward demo --auto --fault NAME`` plays, in the first place that it can sit in, on the unit
that passes when sound. Printed: place of the fault among the causes, what is named up to it (the first three
at least) with its probability, and why the run stopped before its end. A fault that a gate stops before power
is told by dead tests and checks alone; so it must be.

Of 38 faults 33 are first and four second (shorted turns behind a shorted diode, halves in antiphase, a
punctured washer, a surge suppressor). Four pass every limit and expected band: joints at rectifier and output
and a sense lead are told by all readings together; dropout is not.
"""

# ruff: noqa: T201 a script that prints
from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from ohmward.demo import bench_of
from ohmward.demo.playing import play_live
from ohmward.physics.faults import FAULTS, subjects
from ohmward.run.assess import assess_run


def rehearsed(name: str) -> str:
    """Return a line on one fault."""
    bench = bench_of([name])
    subject = subjects(name, bench.supply)[0]
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        path, why = play_live(Path(folder), bench, tool="benchmark")
        causes = assess_run(path).causes
    spent = time.perf_counter() - began
    words = f"{name:24s} {subject:4s} {spent:5.1f} s  "
    places = [n for n, c in enumerate(causes, 1) if c.fault == name and c.names(name, subject)]
    place = places[0] if places else 0
    listed = ", ".join(f"{c.fault}({c.subject}) {c.probability:.2f}" for c in causes[: max(place, 3)])
    return f"{words}place {place or '-'}: {listed or 'no cause asked for'}  [{why}]"


def main() -> None:
    for name in sys.argv[1:] or FAULTS:
        print(rehearsed(name), flush=True)


if __name__ == "__main__":
    main()
