"""A plain client for the simulated instruments: lines out, lines back, nothing hidden."""

from __future__ import annotations

import socket
from pathlib import Path
from types import TracebackType
from typing import Self

from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.shipped import folder
from ohmward.supply import load
from ohmward.supply.model import Supply


def sheet(tag: str = "CR-07") -> Supply:
    return load(Path(folder("demo")) / f"{tag}.toml")


def still(*faults: tuple[str, str | None], seed: int = 3, tag: str = "CR-07") -> SimulatedBench:
    """Return a bench on which nothing moves unless a test moves it."""
    return SimulatedBench(sheet(tag), faults=faults, seed=seed, speed=0.0, wander=False, settling=False)


class Wire:
    def __init__(self, address: tuple[str, int]) -> None:
        self._socket = socket.create_connection(address, timeout=10)
        self._file = self._socket.makefile("rb")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._file.close()
        self._socket.close()

    def send(self, raw: bytes) -> None:
        self._socket.sendall(raw)

    def tell(self, message: str) -> None:
        self.send(message.encode("ascii") + b"\n")

    def ask(self, message: str) -> str:
        self.tell(message)
        return self.line().decode("ascii")

    def line(self) -> bytes:
        found = self._file.readline()
        assert found.endswith(b"\n"), found
        return found[:-1]

    def exactly(self, count: int) -> bytes:
        return self._file.read(count)

    def number(self, message: str) -> float:
        return float(self.ask(message))

    def error(self) -> int:
        return int(self.ask("SYST:ERR?").partition(",")[0])
