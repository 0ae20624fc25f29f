"""Readings per second through a session, against a bare PyVISA query loop on the same kind of socket.

Run: ``python tests/benchmarks/bench_readings.py``. The instrument is a small server in a process of its own.
Each round runs every way once; printed are the median of the rounds and the ratio to the bare loop of the
same round, whose target is 0.8. A single reading is asked on one thread and taken on another: 'the
hand-over alone' is what two threads of this machine need for that when there is nothing else to do, and
last stands what the bare loop would reach with it.

Where the two processes run decides more than what they do: taking turns on one core they are up to twice
as fast as on a core each, where each waits for the other's core to wake. Left to itself, the system may
place the bare loop one way and ours the other, so that the ratio says nothing of either. Where the system
lets us (Linux), all is run in three ways therefore: both on one core, on a core each, and left to itself.
"""

from __future__ import annotations

import multiprocessing
import os
import statistics
import sys
import threading
import time
from collections.abc import Callable
from functools import partial
from multiprocessing.connection import Connection
from pathlib import Path

from ohmward.bench.bell import Bell
from ohmward.bench.clock import WallClock
from ohmward.bench.meters import loads
from ohmward.bench.profile import load
from ohmward.bench.reading import Channel
from ohmward.bench.session import Session
from ohmward.bench.settled import Settle

sys.path.insert(0, str(Path(__file__).parents[1]))

COUNT = 500
ROUNDS = 20
AHEAD = 10
"""Readings asked for before the first is waited for."""
METER = """
[[meter]]
name = "m"
resource = "{}"
[[meter.accuracy]]
function = "dc volts"
range = "20 V"
resolution = "1 mV"
accuracy = "±(0.05 % + 5)"
"""


def place(cores: set[int]) -> None:
    """Keep the calling thread, and the threads that it starts, to some cores; none: as it is."""
    if cores:
        os.sched_setaffinity(0, cores)


def serve(pipe: Connection, cores: set[int]) -> None:
    from support.scpi import Instrument, Server

    place(cores)
    with Server(Instrument(fixed={"READ?": "+1.5041234E+01"})) as server:
        pipe.send((server.visa, server.tcp))
        pipe.recv()


def one_by_one(session: Session, count: int) -> None:
    for _ in range(count):
        session.measure("dc volts").result(10)


def ahead(session: Session, count: int) -> None:
    for _ in range(count // AHEAD):
        for request in [session.measure("dc volts") for _ in range(AHEAD)]:
            request.result(10)


def burst(session: Session, count: int) -> None:
    session.burst(count, "dc volts").result(60)


def settled(channel: Channel, samples: int, count: int) -> None:
    """As a person has it: settled readings of so many samples each."""
    how, clock = Settle(count=samples), WallClock()
    for _ in range(max(1, count // samples)):
        found = channel.settle(how, clock)
        assert found.settled
        assert found.count == samples


def hand_over(count: int) -> None:
    """Two threads that ring each other's bell."""
    there, back = Bell(), Bell()

    def answer() -> None:
        for _ in range(count):
            there.wait()
            back.ring()

    threading.Thread(target=answer, daemon=True).start()
    for _ in range(count):
        there.ring()
        back.wait(10)


def seconds(do: Callable[[int], object]) -> float:
    """Return what one reading takes [s]."""
    began = time.perf_counter()
    do(COUNT)
    return (time.perf_counter() - began) / COUNT


def placements() -> dict[str, tuple[set[int], set[int]]]:
    """Return where the loop and the instrument run, by what is said of it."""
    cores: list[int] = sorted(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else []
    if len(cores) < 2:
        return {"left to the system": (set(cores), set(cores))}
    first, second = cores[:2]
    return {
        "both on one core": ({first}, {first}),
        "a core each": ({first}, {second}),
        "left to the system": (set(cores), set(cores)),
    }


def main() -> None:
    for words, (here, there) in placements().items():
        sys.stdout.write(f"{words}\n")
        place(here)
        compare(there)


def compare(there: set[int]) -> None:
    import pyvisa

    ours, theirs = multiprocessing.Pipe()
    process = multiprocessing.get_context("spawn").Process(target=serve, args=(theirs, there), daemon=True)
    process.start()
    visa, tcp = ours.recv()
    bare = pyvisa.ResourceManager("@py").open_resource(visa, write_termination="\n", read_termination="\n")

    def plain(count: int) -> None:
        for _ in range(count):
            float(bare.query("READ?"))  # type: ignore[attr-defined]

    ways: dict[str, Callable[[int], object]] = {"bare PyVISA": plain, "the hand-over alone": hand_over}
    sessions = []
    for name, resource in (("VISA @py", visa), ("plain socket", tcp)):
        session = Session(name, resource, load("multimeter"))
        sessions.append(session)
        session.measure("dc volts").result(10)
        (meter,) = loads(METER.format(resource))
        channel = Channel(name=name, session=session, measure="dc volts", meter=meter)
        for samples in (5, 20, 100):
            ways[f"{name}, settled of {samples}"] = partial(settled, channel, samples)
        ways[f"{name}, single"] = partial(one_by_one, session)
        ways[f"{name}, {AHEAD} asked ahead"] = partial(ahead, session)
        ways[f"{name}, burst"] = partial(burst, session)
    found: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(ROUNDS):
        for name, way in ways.items():
            found[name].append(seconds(way))
    reference = found["bare PyVISA"]
    handed_over = [
        each / (each + extra) for each, extra in zip(reference, found["the hand-over alone"], strict=True)
    ]
    for name, times in found.items():
        ratio = statistics.median(one / each for one, each in zip(reference, times, strict=True))
        rate = 1 / statistics.median(times)
        sys.stdout.write(f"  {name:28s} {rate:8.0f} /s   ratio {ratio:.2f}\n")
    sys.stdout.write(
        f"  the bare loop with the hand-over added: ratio {statistics.median(handed_over):.2f}\n"
    )
    sys.stdout.flush()
    for session in sessions:
        session.close()
    bare.close()
    ours.send(None)
    process.join(5)


if __name__ == "__main__":
    main()
