"""Readings per second through a session, against a bare PyVISA query loop on the same socket.

Run: ``python tests/benchmarks/bench_readings.py``. The instrument is a small server in a process of its own.
Prints the best of the rounds for each and its ratio; the target is 0.8.
"""

from __future__ import annotations

import multiprocessing
import sys
import time
from collections.abc import Callable
from functools import partial
from multiprocessing.connection import Connection
from pathlib import Path

from ohmward.bench.session import Session

sys.path.insert(0, str(Path(__file__).parents[1]))

COUNT = 500
ROUNDS = 20


def serve(pipe: Connection) -> None:
    from support.scpi import Server

    with Server() as server:
        pipe.send((server.visa, server.tcp))
        pipe.recv()


def rate(do: Callable[[int], object]) -> float:
    began = time.perf_counter()
    do(COUNT)
    return COUNT / (time.perf_counter() - began)


def one_by_one(session: Session, count: int) -> None:
    for _ in range(count):
        session.measure("dc volts").result(10)


def queued(session: Session, count: int) -> None:
    for each in [session.measure("dc volts") for _ in range(count)]:
        each.result(10)


def burst(session: Session, count: int) -> None:
    session.burst(count, "dc volts").result(60)


def main() -> None:
    import pyvisa

    from ohmward.bench import profile

    ours, theirs = multiprocessing.Pipe()
    process = multiprocessing.get_context("spawn").Process(target=serve, args=(theirs,), daemon=True)
    process.start()
    visa, tcp = ours.recv()
    bare = pyvisa.ResourceManager("@py").open_resource(visa, write_termination="\n", read_termination="\n")

    def plain(count: int) -> None:
        for _ in range(count):
            float(bare.query("READ?"))  # type: ignore[attr-defined]

    multimeter = profile.load("multimeter")
    sessions = {
        "VISA @py": Session("visa", visa, multimeter),
        "plain socket": Session("tcp", tcp, multimeter),
    }
    ways: dict[str, Callable[[int], object]] = {"bare PyVISA": plain}
    for name, session in sessions.items():
        session.measure("dc volts").result(10)
        ways[f"{name}, one by one"] = partial(one_by_one, session)
        ways[f"{name}, queued"] = partial(queued, session)
        ways[f"{name}, burst"] = partial(burst, session)
    found: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(ROUNDS):
        for name, way in ways.items():
            found[name].append(rate(way))
    reference = max(found["bare PyVISA"])
    for name, rates in found.items():
        best = max(rates)
        sys.stdout.write(f"{name:28s} {best:8.0f} readings/s   ratio {best / reference:.2f}\n")
    for session in sessions.values():
        session.close()
    bare.close()
    ours.send(None)
    process.join(5)


if __name__ == "__main__":
    main()
