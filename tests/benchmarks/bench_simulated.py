"""Ten channels at 10 Hz for ten simulated minutes from the simulated bench over sockets: any sample missed?

    python tests/benchmarks/bench_simulated.py [--minutes 10]

Ten meters, one connection each, are asked in turn every tenth of a second of bench time. The bench clock is
moved on by hand from one round to the next, so that nothing waits; a round that takes longer than a tenth
of a *real* second counts as missed, as it would on a bench in real time. Prints the count, how long rounds
took, how many times real time that is, and the rate against a bare loop of ``*OPC?`` on one of the same
sockets, timed in the same run.
"""

# ruff: noqa: T201 a script that prints
from __future__ import annotations

import argparse
import socket
import time

from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.shipped import folder
from ohmward.supply import load

INTERVAL_S = 0.1
QUESTIONS = {
    "multimeter": "READ?",
    "mains-meter": "MEAS:VOLT:AC?",
    "load +15": "MEAS:VOLT?",
    "load -15": "MEAS:VOLT?",
    "load +48": "MEAS:VOLT?",
    "load 24": "MEAS:VOLT?",
    "thermometer": "MEAS:TEMP? (@105)",
    "low-ohm": "PROB:AT?",
    "scope": "SENS:SWE:TINT?",
    "insulation": "PROB:AT?",
}


class Line:
    """One connection: a question, a line back."""

    def __init__(self, address: tuple[str, int]) -> None:
        self.socket = socket.create_connection(address, timeout=10)
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.file = self.socket.makefile("rb")

    def tell(self, message: str) -> None:
        self.socket.sendall(message.encode() + b"\n")

    def ask(self, question: str) -> bytes:
        self.tell(question)
        return self.file.readline()


def bare_rate(line: Line, count: int = 5000) -> float:
    """Return answers a second of the least that an instrument can be asked."""
    began = time.perf_counter()
    for _ in range(count):
        line.ask("*OPC?")
    return count / (time.perf_counter() - began)


def sample(bench: SimulatedBench, lines: dict[str, Line], minutes: float) -> tuple[int, int, list[float]]:
    """Return samples taken, samples missed, and how long each round of ten took [real s]."""
    taken = missed = 0
    took: list[float] = []
    for _ in range(round(minutes * 60 / INTERVAL_S)):
        bench.clock.skip(INTERVAL_S)
        began = time.perf_counter()
        answers = [line.ask(QUESTIONS[name]) for name, line in lines.items()]
        took.append(time.perf_counter() - began)
        good = sum(answer.endswith(b"\n") for answer in answers) if took[-1] <= INTERVAL_S else 0
        taken += good
        missed += len(lines) - good
    return taken, missed, took


def main() -> None:
    """Sample and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0)
    options = parser.parse_args()
    supply = load(folder("demo") / "CR-07.toml")
    with SimulatedBench(supply, seed=3, speed=0.0) as bench:
        lines = {name: Line(bench.addresses[name]) for name in QUESTIONS}
        lines["multimeter"].tell('PROB:AT "rail 24 reservoir";:CONF:VOLT:DC')
        bench.unit.switch_on()
        for rail in supply.rails:
            lines[f"load {rail.name}"].tell(f"CURR {rail.rated_current_a};:INP ON")
        bare = bare_rate(lines["insulation"])
        busy = time.process_time()
        taken, missed, took = sample(bench, lines, options.minutes)
        for line in lines.values():
            line.file.close()
            line.socket.close()
    whole, ordered, busy = sum(took), sorted(took), time.process_time() - busy
    print(f"{taken} samples of ten channels at {1 / INTERVAL_S:g} Hz, {missed} missed")
    print(f"a round of ten took {ordered[len(took) // 2]:.5f} s in the median, {ordered[-1]:.5f} s at worst")
    print(f"{options.minutes * 60 / whole:.0f} times real time, {busy:.1f} s of processor time")
    print(f"{taken / whole:.0f} samples/s; bare *OPC? loop {bare:.0f}/s, ratio {taken / whole / bare:.2f}")


if __name__ == "__main__":
    main()
