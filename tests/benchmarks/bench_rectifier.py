"""Speed of the rectifier's steady state as ratios against ngspice, measured in one run.

    python tests/benchmarks/bench_rectifier.py

Prints designs per second of a batch of 10,000 and of ngspice, their ratio, and the time of one design
alone; ends with code 1 where the ratio is below 10,000 or one design takes more than 5 ms. All in processor
time, runs of the two alternating and medians compared, so that other work on the machine counts little.

Why no compiler: numba 0.68 takes 0.30 s to import and 0.66 s to compile six lines of the inner loop, which
then run three times as fast as NumPy does them. At some 8 µs a design to be gained, a third of a million
designs would have to be wanted in one process before it paid (measured beside a batch of 12 µs a design).
"""

# ruff: noqa: T201 a script that prints
from __future__ import annotations

import os
import resource
import subprocess
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any

# One thread, as ngspice has; to be set before numpy is imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

import numpy as np  # noqa: E402

from ohmward.physics.rectifier import Diode, steady_state  # noqa: E402
from physics.ngspice import Design, available, once, settle  # noqa: E402

BATCH = 10_000
ROUNDS = 9
NEEDED = 10_000
SINGLE_MS = 5.0


def batch() -> dict[str, Any]:
    """Bridges of 6 to 55 V, 50 mA to 6 A, 5 to 100 % load, from a fixed seed."""
    rng = np.random.default_rng(2026)

    def between(low: float, high: float) -> Any:
        return np.exp(rng.uniform(np.log(low), np.log(high), BATCH))

    volts, amperes = between(6, 55), between(0.05, 6)
    hertz = rng.choice([50.0, 60.0], BATCH)
    return {
        "source_rms_v": volts,
        "frequency_hz": hertz,
        "source_ohm": between(0.03, 0.15) * volts / amperes,
        "capacitance_f": amperes / (2 * hertz * 1.41 * volts * between(0.02, 0.2)),
        "esr_ohm": between(1e-3, 0.02) * volts / amperes,
        "diode": Diode(
            saturation_a=between(1e-11, 1e-6),
            emission=rng.uniform(1.0, 2.0, BATCH),
            bulk_ohm=between(1e-3, 0.05),
        ),
        "load_a": amperes * rng.uniform(0.05, 1.0, BATCH),
    }


def spent() -> float:
    """Return the processor time of this process and of those it has waited for [s]."""
    both = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(usage.ru_utime + usage.ru_stime for usage in both)


def seconds(call: Callable[[], object]) -> float:
    """Return the processor time of one call and of the processes it waits for [s]."""
    start = spent()
    call()
    return spent() - start


def for_ngspice(designs: dict[str, Any], at: int) -> Design:
    """Return one design of the batch."""
    diode = designs["diode"]
    plain: dict[str, Any] = {name: float(values[at]) for name, values in designs.items() if name != "diode"}
    return Design(
        kind="bridge",
        saturation_a=float(diode.saturation_a[at]),
        emission=float(diode.emission[at]),
        bulk_ohm=float(diode.bulk_ohm[at]),
        **plain,
    )


def single_ms(load: dict[str, float]) -> float:
    """Return the median time of one design, warm [ms]."""

    def some(times: int = 20) -> None:
        for _ in range(times):
            steady_state(
                kind="bridge",
                source_rms_v=18.0,
                frequency_hz=50.0,
                source_ohm=0.4,
                capacitance_f=4.7e-3,
                esr_ohm=0.05,
                diode=Diode(saturation_a=1e-9, emission=1.75, bulk_ohm=0.02),
                **load,
            )

    some(1)
    return 1e3 * median(seconds(some) / 20 for _ in range(9))


def cold_s() -> tuple[float, float]:
    """Return time of a fresh process that imports the module, and that computes one design besides [s]."""
    code = "from ohmward.physics.rectifier import Diode, steady_state\n"
    call = (
        "steady_state(kind='bridge', source_rms_v=18.0, frequency_hz=50.0, source_ohm=0.4, "
        "capacitance_f=4.7e-3, diode=Diode(saturation_a=1e-9), load_a=1.0)\n"
    )
    environment = os.environ | {"PYTHONPATH": str(ROOT / "src")}

    def fresh(text: str) -> float:
        command = [sys.executable, "-c", text]
        return median(seconds(lambda: subprocess.run(command, check=True, env=environment)) for _ in range(5))

    return fresh(code), fresh(code + call)


def main() -> int:
    designs = batch()
    resistive = {key: value for key, value in designs.items() if key != "load_a"}
    resistive["load_ohm"] = 1.2 * designs["source_rms_v"] / designs["load_a"]
    ours, others, settled, quick = [], [], [], []
    steady_state(kind="bridge", **designs)
    for at in range(ROUNDS):
        ours.append(seconds(lambda: steady_state(kind="bridge", **designs)))
        others.append(seconds(lambda: steady_state(kind="bridge", **resistive)))
        if available():
            one = for_ngspice(designs, at)
            settled.append(seconds(partial(settle, one)))
            quick.append(seconds(partial(once, one, cycles=40, step_s=20e-6)))
    each, each_resistive = median(ours) / BATCH, median(others) / BATCH
    print(f"batch of {BATCH:,}, constant current  {1e6 * each:8.2f} µs a design  {1 / each:10,.0f} designs/s")
    print(f"batch of {BATCH:,}, resistance        {1e6 * each_resistive:8.2f} µs a design")
    singles = [single_ms(load) for load in ({"load_a": 1.0}, {"load_ohm": 22.0}, {"load_w": 20.0})]
    print("one design alone, warm             " + ", ".join(f"{ms:.2f}" for ms in singles) + " ms (A, Ω, W)")
    imported, computed = cold_s()
    print(f"fresh process: import {imported:.2f} s, import and one design {computed:.2f} s")
    passed = max(singles) < SINGLE_MS
    if not settled:
        print("ngspice is not installed (Debian: apt-get install ngspice): no ratio")
        return 1
    for what, times in (("settled, 10 µs steps", settled), ("40 cycles, 20 µs steps", quick)):
        ratio = median(times) / each
        print(f"ngspice, {what:24s} {median(times):8.3f} s a design   ratio {ratio:10,.0f}")
        passed &= ratio >= NEEDED
    print("passed" if passed else f"NOT passed: ratio {NEEDED:,}, one design {SINGLE_MS} ms")
    return 0 if passed else 1


if __name__ == "__main__":
    sys.exit(main())
