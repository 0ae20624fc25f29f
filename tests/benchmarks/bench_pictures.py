"""How long the pictures of a run take: each kind, and all of them against one bare matplotlib figure.

Run: ``python tests/benchmarks/bench_pictures.py``. Printed: seconds for each kind (drawing, and writing as
SVG), and the whole as a multiple of one bare figure of 170 x 100 mm with two panels and one line each, made
and written in the same process. Reading and assessing the run is told apart from drawing it.
"""

from __future__ import annotations

import io
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from ohmward.logbook import read
from ohmward.report.plots import KINDS, Material, NothingToShow, every, material, rendered
from ohmward.run import state
from support.pictured import FAULTY, ROOT, captured, renewed, sampled_soak


def timed(work: Callable[[], object], repeats: int = 3) -> float:
    """Return the median time of some runs [s]."""
    found = []
    for _ in range(repeats):
        begun = time.perf_counter()
        work()
        found.append(time.perf_counter() - begun)
    return statistics.median(found)


def bare() -> None:
    """Make and write one plain figure."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(170 / 25.4, 100 / 25.4), layout="constrained")
    for axes in figure.subplots(1, 2):
        axes.plot(range(10), range(10))
        axes.set_xlabel("load [A]")
        axes.set_ylabel("output [V]")
    figure.savefig(io.BytesIO(), format="svg")


def with_everything() -> Material:
    path = ROOT / "sample_logs" / "runs" / "CR-07" / f"{FAULTY}-commissioning.jsonl"
    begun = time.perf_counter()
    found = material(state(read(path)), path.parent)
    print(f"read and assessed in {time.perf_counter() - begun:.2f} s")  # noqa: T201
    unit = found.facts.supply
    waves = (captured(unit, "+15"), captured(unit, "24", fault="open-diode"))
    return renewed(found, series=(sampled_soak(gap=True),), captures=waves)


def main() -> None:
    begun = time.perf_counter()
    bare()
    print(f"matplotlib loaded and a first bare figure in {time.perf_counter() - begun:.2f} s")  # noqa: T201
    one = timed(bare)
    run = with_everything()
    total = 0.0
    for kind in KINDS:
        begun = time.perf_counter()
        several = kind.draw(run, "", "full")
        drawn = time.perf_counter() - begun
        begun = time.perf_counter()
        size = sum(len(rendered(each.figure, "svg")) for each in several)
        written = time.perf_counter() - begun
        total += drawn + written
        print(  # noqa: T201
            f"{kind.name:10} {len(several)} of {drawn:.2f} s, written in {written:.2f} s, {size / 1e3:.0f} kB"
        )
    again = timed(lambda: [s for _, s in every(run) if not isinstance(s, NothingToShow)], 1)
    print(f"all {total:.2f} s the first time, drawn again in {again:.2f} s")  # noqa: T201
    print(f"one bare figure {one:.3f} s: all of them take {total / one:.0f} times as long")  # noqa: T201


if __name__ == "__main__":
    main()
