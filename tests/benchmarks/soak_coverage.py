"""How often the interval of a soak's final temperature holds the true one, where readings hang together.

Run: ``python tests/benchmarks/soak_coverage.py [soaks]`` (default 300).

Soaks of 0.7 to 4 time constants with a reading each 5 s and a scatter of 0.1 K, correlated from one reading
to the next (first-order autoregression). Printed for each correlation: the share of 90 % intervals that hold
the true value, that of intervals which take the points as independent, and the median half-width of both.
Of 300 soaks each, correlation 0: 91 % (90 as independent); 0.9: 93 % (64); 0.98: 94 % (31); 0.99: 91 % (24);
0.995: 88 % (17).
"""

# ruff: noqa: T201 a script that prints
from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from analysis.test_hanging import RISE_K, ROOM_C, TAU_S, autoregression
from ohmward.analysis.dense import thinned, widened
from ohmward.analysis.soak import fit_rise
from ohmward.analysis.soaks import MOST

LEVEL = 0.9


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    for r in (0.0, 0.9, 0.98, 0.99, 0.995):
        rng = np.random.default_rng(0)
        hits, halves, untold = np.zeros(2), [], 0
        for _ in range(count):
            t = np.arange(0.0, rng.uniform(0.7, 4.0) * TAU_S, 5.0)
            y = ROOM_C - RISE_K * np.expm1(-t / TAU_S) + 0.1 * autoregression(rng, r, len(t))
            record = thinned(t, y, np.full(len(t), ROOM_C), most=MOST)
            fit = fit_rise(record.time_s, record.temperature_c, ambient_c=record.ambient_c)
            untold += not fit.widening.told
            interval = fit.interval("final_c", LEVEL)
            both = [widened(fit.final_c, interval, factor, 0.0) for factor in (fit.widening.factor, 1.0)]
            hits += [each.low <= ROOM_C + RISE_K <= each.high for each in both]
            halves.append([(each.high - each.low) / 2 for each in both])
        share, half = hits / count, np.median(halves, axis=0)
        print(
            f"correlation {r:5.3f}: {100 * share[0]:5.1f} % of {100 * LEVEL:.0f} % intervals "
            f"(±{half[0]:.2f} K); as independent {100 * share[1]:5.1f} % (±{half[1]:.2f} K); "
            f"said to be hardly told {100 * untold / count:.0f} %",
            flush=True,
        )


if __name__ == "__main__":
    main()
