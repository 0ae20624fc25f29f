"""How long the whole expectation of CR-07 takes: 2,000 draws, five load points, four rails and all together.

    python tests/benchmarks/bench_expect.py

Bound: 1.5 s, in processor time, so that other work on the machine counts as little as may be. Beside it
the same with every draw solved exactly instead of from fitted surfaces, and how far the bands of the two
lie apart: the surfaces must buy time, not width.
"""

# ruff: noqa: T201 a script that prints
from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from unittest.mock import patch

from ohmward.physics import expect
from ohmward.physics.expectation import Band, Expectation
from ohmward.shipped import folder
from ohmward.supply import load
from ohmward.supply.model import Supply

BOUND_S = 1.5
WIDTH = 0.01
"""Largest difference of a band's ends, over its width."""


def best(supply: Supply, draws: int, times: int = 3) -> tuple[float, float, Expectation]:
    """Return least wall-clock and processor time [s] of several runs, and the result."""
    walls, spent = [], []
    for _ in range(times):
        wall, process = time.perf_counter(), time.process_time()
        found = expect(supply, mains_v=230.0, draws=draws)
        walls.append(time.perf_counter() - wall)
        spent.append(time.process_time() - process)
    return min(walls), min(spent), found


def bands(found: Expectation) -> Iterator[Band]:
    """Yield every band of the rails and of the unit."""
    for rail in found.rails.values():
        for values in (rail.no_load, rail.together, *(point.values for point in rail.loaded)):
            yield from values.values()
    yield from found.unit.values()


def apart(one: Expectation, other: Expectation) -> float:
    """Return the largest difference between the ends of two sets of bands, over their widths."""
    return max(
        max(abs(a.low - b.low), abs(a.high - b.high)) / max(b.high - b.low, 1e-9)
        for a, b in zip(bands(one), bands(other), strict=True)
    )


def main() -> int:
    supply = load(folder("demo") / "CR-07.toml")
    expect(supply, draws=0)
    wall, spent, found = best(supply, 2000)
    print(f"CR-07, 2,000 draws: {wall:.2f} s, {spent:.2f} s of processor; bound {BOUND_S} s")
    bare_wall, bare_spent, _ = best(supply, 0)
    print(f"CR-07, no draws: {bare_wall:.2f} s, {bare_spent:.2f} s of processor")

    with patch("ohmward.physics.rails.fit", return_value=None):
        exact_wall, exact_spent, exact = best(supply, 2000, times=1)
    difference = apart(found, exact)
    print(f"every draw exact: {exact_wall:.2f} s, {exact_spent:.2f} s of processor")
    print(f"bands of the two apart by {100 * difference:.2f} % of their width")
    return 0 if spent < BOUND_S and difference < WIDTH else 1


if __name__ == "__main__":
    sys.exit(main())
