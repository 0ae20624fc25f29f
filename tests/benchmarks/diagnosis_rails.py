"""What finding the cause costs as rails are added: time, memory, and hypotheses computed in full.

Run: ``python tests/benchmarks/diagnosis_rails.py [rails ...]`` (default 1 3 6 12 40).

Supplies of so many equal rails, five on a transformer, and for the most of them also all on one: sound, with
one fault, and with outputs that no fault can make. Processor time, best of two, against the bounds that were
set: 3 s for three rails, 6 s for six, 15 s for forty. Each size is a process of its own, for its memory.
On two busy cores: three rails 0.6 to 1.7 s, six 1.0 to 2.5 s, forty 3.0 to 5.4 s and 138 MB; forty on one
transformer, which nobody builds, 4.9 to 11.1 s, the last where no fault fits.
"""

# ruff: noqa: T201 a script that prints
from __future__ import annotations

import resource
import subprocess
import sys
import time
from pathlib import Path

import msgspec
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks import diagnosis as study
from ohmward.analysis._observations import Observation
from ohmward.analysis._predictions import Bench
from ohmward.analysis.diagnose import diagnose
from ohmward.physics.condition import Unit
from ohmward.physics.faults import apply
from ohmward.supply.model import Secondary, Supply
from support.supplies import rail, supply, transformer

WITHIN_S = {3: 3.0, 6: 6.0, 40: 15.0}
ON_ONE = 5
KINDS = ("healthy", "open-diode", "reservoir-open", "odd")
Counts = dict[str, int]


def equal_rails(count: int, *, on_one: int = ON_ONE) -> Supply:
    """Return a supply with so many equal regulated rails, so many of them on a transformer."""
    transformers = tuple(
        transformer(
            f"T{number}",
            secondaries=tuple(Secondary(name=f"s{n}", voltage_v=18.0, current_a=0.5) for n in range(on_one)),
            rating_va=20.0 * on_one,
        )
        for number in range(-(-count // on_one))
    )
    rails = tuple(
        rail(f"+{n}", 15.0, rated_current_a=0.2, sources=(f"T{n // on_one}.s{n % on_one}",))
        for n in range(count)
    )
    return supply(rails=rails, transformers=transformers)


def read(sheet: Supply, kind: str) -> list[Observation]:
    """Return the readings of a simulated unit: ``healthy``, ``odd``, or with a fault in its first rail."""
    unit = Unit(sheet=sheet)
    if kind not in ("healthy", "odd"):
        unit = apply(kind, unit, sheet.rails[0].name)
    seen = study.asked(sheet, 231.0, 22.0)
    found = study.shown(np.random.default_rng(1), seen, study.true_readings(unit, seen, 1))
    if kind != "odd":
        return found
    return [
        msgspec.structs.replace(each, value=each.value * (1.35 if each.key == "output_v" and n % 2 else 1.0))
        for n, each in enumerate(found)
    ]


def counted(counts: Counts) -> None:
    """Count from now on what is simulated: hypotheses over their tolerances, and nominal units."""
    predict, nominals = Bench.predict, Bench._nominals

    def counting_predict(self: Bench, hypothesis):  # type: ignore[no-untyped-def]
        counts["in full"] = counts.get("in full", 0) + 1
        return predict(self, hypothesis)

    def counting_nominals(self: Bench, units):  # type: ignore[no-untyped-def]
        counts["nominal"] = counts.get("nominal", 0) + len(units)
        return nominals(self, units)

    Bench.predict = counting_predict  # type: ignore[method-assign]
    Bench._nominals = counting_nominals  # type: ignore[method-assign]


def one(count: int, on_one: int) -> None:
    """Print the figures of one size."""
    sheet = equal_rails(count, on_one=on_one)
    counts: Counts = {}
    counted(counts)
    for kind in KINDS:
        seen = read(sheet, kind)
        spent = []
        for _ in range(2):
            counts.clear()
            began = time.process_time()
            found = diagnose(sheet, seen)
            spent.append(time.process_time() - began)
        bound = (
            f" (bound {WITHIN_S[count]:g} s, {min(spent) / WITHIN_S[count]:.2f} of it)"
            if count in WITHIN_S
            else ""
        )
        print(
            f"{count:3d} rails, {min(on_one, count)} on a transformer, {len(seen):4d} readings, {kind:14s} "
            f"{min(spent):6.2f} s{bound}; {counts['in full']} in full, {counts['nominal']} nominal; "
            f"first {found.causes[0].fault} {found.causes[0].subject} {found.causes[0].probability:.2f}"
        )
        for words in found.left_out:
            print(f"      {words}")
    print(f"    {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB at most", flush=True)


def main() -> None:
    given = [int(text) for text in sys.argv[1:]]
    if len(given) == 2 and given[1] < 0:
        one(given[0], -given[1])
        return
    counts = given or [1, 3, 6, 12, 40]
    for count, on_one in [*((count, ON_ONE) for count in counts), (max(counts), max(counts))]:
        subprocess.run([sys.executable, __file__, str(count), str(-on_one)], check=True)


if __name__ == "__main__":
    main()
