"""Ten channels at 10 Hz for ten minutes of a clock that runs ten times faster: samples missed, lateness.

Run: ``python tests/benchmarks/bench_soak.py [minutes] [speed]``. The ten instruments are small servers in a
process of their own. Without the journal; the target is that none is missed.
"""

from __future__ import annotations

import multiprocessing
import sys
import time
from multiprocessing.connection import Connection
from pathlib import Path

from ohmward.bench import profile, soaking
from ohmward.bench.reading import Channel
from ohmward.bench.session import Session

sys.path.insert(0, str(Path(__file__).parents[1]))

CHANNELS = 10


class FastClock:
    """The wall's clock, so many times faster."""

    def __init__(self, speed: float) -> None:
        self._speed = speed

    def now(self) -> float:
        return time.monotonic() * self._speed

    def wait(self, seconds: float) -> bool:
        time.sleep(max(0.0, seconds) / self._speed)
        return False


def serve(pipe: Connection) -> None:
    from support.scpi import Server

    servers = [Server() for _ in range(CHANNELS)]
    pipe.send([each.visa for each in servers])
    pipe.recv()


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    speed = float(sys.argv[2]) if len(sys.argv) > 2 else 10.0
    ours, theirs = multiprocessing.Pipe()
    process = multiprocessing.get_context("spawn").Process(target=serve, args=(theirs,), daemon=True)
    process.start()
    sessions = [
        Session(f"m{place}", resource, profile.load("multimeter"))
        for place, resource in enumerate(ours.recv())
    ]
    for each in sessions:
        each.measure("dc volts").result(10)
    channels = tuple(Channel(name=each.name, session=each, measure="dc volts") for each in sessions)
    late: list[float] = []
    taken = 0

    def heard(news: soaking.SoakNews) -> None:
        nonlocal taken
        if isinstance(news, soaking.Row):
            late.append(news.at_s - news.due_s)
            taken += len(news.samples)

    plan = soaking.SoakPlan(channels=channels, interval_s=0.1, duration_s=60.0 * minutes)
    began = time.perf_counter()
    ended = soaking.run(plan, FastClock(speed), heard)
    late.sort()
    spent = time.perf_counter() - began
    middle, worst = late[len(late) // 2] * 1e3, late[-1] * 1e3
    sys.stdout.write(f"{taken} samples in {spent:.1f} s, missed {ended.missed} (interval 100 ms)\n")
    sys.stdout.write(f"late by the fast clock: median {middle:.1f} ms, worst {worst:.1f} ms\n")
    for each in sessions:
        each.close()
    ours.send(None)
    process.join(5)


if __name__ == "__main__":
    main()
