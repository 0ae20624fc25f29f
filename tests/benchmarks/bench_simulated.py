"""Ten channels at 10 Hz for ten simulated minutes from the simulated bench over sockets: any sample missed?

    python tests/benchmarks/bench_simulated.py [--speed 4] [--minutes 10]

Ten meters, one connection each, are asked in turn every tenth of a second of bench time. A sample is missed
when its question is not answered before the next one is due. Prints the count, how late samples were, and
the rate against a bare loop of ``*OPC?`` on one of the same sockets, timed in the same run.
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
    """Return samples taken, samples missed, and how late each round of ten was done [bench s]."""
    taken = missed = 0
    late: list[float] = []
    rounds = round(minutes * 60 / INTERVAL_S)
    start = bench.clock.now_s() + 1.0
    for number in range(rounds):
        due = start + number * INTERVAL_S
        while (ahead := due - bench.clock.now_s()) > 0:
            time.sleep(ahead / bench.clock.speed)
        for name, line in lines.items():
            answer = line.ask(QUESTIONS[name])
            in_time = bench.clock.now_s() < due + INTERVAL_S
            taken += bool(answer) and in_time
            missed += not (answer and in_time)
        late.append(bench.clock.now_s() - due)
    return taken, missed, late


def main() -> None:
    """Sample and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--speed", type=float, default=4.0)
    parser.add_argument("--minutes", type=float, default=10.0)
    options = parser.parse_args()
    supply = load(folder("demo") / "CR-07.toml")
    with SimulatedBench(supply, seed=3, speed=options.speed) as bench:
        lines = {name: Line(bench.addresses[name]) for name in QUESTIONS}
        lines["multimeter"].tell('PROB:AT "rail 24 reservoir";:CONF:VOLT:DC')
        bench.unit.switch_on()
        for rail in supply.rails:
            lines[f"load {rail.name}"].tell(f"CURR {rail.rated_current_a};:INP ON")
        bare = bare_rate(lines["insulation"])
        began = time.perf_counter()
        taken, missed, late = sample(bench, lines, options.minutes)
        rate = taken / (time.perf_counter() - began)
        late.sort()
        for line in lines.values():
            line.file.close()
            line.socket.close()
    print(
        f"{taken} samples of 10 channels at {1 / INTERVAL_S:g} Hz, {missed} missed, speed {options.speed:g}"
    )
    print(
        f"round of ten done after {late[len(late) // 2]:.4f} s in the median, {late[-1]:.4f} s at worst, "
        f"of {INTERVAL_S} s bench time"
    )
    print(f"{rate:.0f} samples/s asked for; bare *OPC? loop {bare:.0f}/s, ratio {rate / bare:.2f}")


if __name__ == "__main__":
    main()
