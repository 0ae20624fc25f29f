"""Speed of the analysis against what it is bound by.

    python tests/benchmarks/analysis_speed.py

- a capture of 10 million samples: at most 1.5 times numpy.fft.rfft and minimum and maximum of it;
- a soak of 100,000 points: below 0.5 s.

Best of several in processor time, so that other work on the machine counts as little as may be.
"""

# ruff: noqa: T201 a script that prints
from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from ohmward.analysis.ripple import analyse
from ohmward.analysis.soak import fit_rise


def best(task: Callable[[], object], times: int = 5) -> float:
    """Return the least processor time [s] of several runs."""
    spent = []
    for _ in range(times):
        began = time.process_time()
        task()
        spent.append(time.process_time() - began)
    return min(spent)


def main() -> None:
    rng = np.random.default_rng(0)
    rate_hz, count = 1e6, 10_000_000
    t = np.arange(count) / rate_hz
    samples = 12.0 + 0.03 * np.sin(2 * np.pi * 100 * t) + rng.normal(0.0, 0.001, count)
    analyse(samples[:100_000], rate_hz, 50.0)
    bound = best(lambda: (np.fft.rfft(samples), samples.min(), samples.max()))
    ours = best(lambda: analyse(samples, rate_hz, 50.0))
    print(f"capture of {count:,} samples: {ours:.3f} s, {ours / bound:.2f} rfft + min/max ({bound:.3f} s)")

    t = np.linspace(0.0, 7200.0, 100_000)
    soak = 25.0 + 40.0 * -np.expm1(-t / 1500.0) + rng.normal(0.0, 0.1, t.shape)
    fit_rise(t[::1000], soak[::1000])
    print(f"soak of {len(t):,} points: {best(lambda: fit_rise(t, soak)):.3f} s")
    moving = 25.0 + t / 7200.0
    print(f"the same with a moving room: {best(lambda: fit_rise(t, soak, ambient_c=moving)):.3f} s")


if __name__ == "__main__":
    main()
