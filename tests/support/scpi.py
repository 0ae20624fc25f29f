"""A small SCPI instrument on loopback (or a pseudo-terminal) with faults that can be switched on.

Every reading is a number never served before, with a check digit pair, and remembered with the moment and
the quantity it was served for: a test can tell a right answer from a late, halved or doubled one.
"""

from __future__ import annotations

import os
import random
import re
import socket
import struct
import threading
import time
import tty
from collections import Counter, deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Self

IDN = "Workshop,Multimeter,0001,1.0"
FAULTS = (
    "slow", "half", "tail", "die", "reset", "garbage", "two", "late two", "dribble", "swallow", "wrong idn",
    "errors", "restart", "late", "stray",
)  # fmt: skip
STRAY_S = 0.002, 0.03
"""When a stray reply comes a second time, past whatever else is answered meanwhile [s]."""


@dataclass
class Served:
    """What was served, when, and for which question."""

    at: float
    question: str


@dataclass
class Instrument:
    """The instrument behind the wire: one state, however many connections."""

    idn: str = IDN
    compound: bool = True
    """Takes several commands on one line, and *ESE."""
    served: dict[str, Served] = field(default_factory=dict)
    errors: deque[str] = field(default_factory=deque)
    asked: list[str] = field(default_factory=list)
    load_on: bool = False
    """The input of a load, or the output of a source."""
    current: float = 0.0
    volts: float = 0.0
    fixed: dict[str, str] = field(default_factory=dict)
    """Answers that are always the same, by question."""
    enable: int = 0
    configured: str = ""
    count: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def answer(self, line: str) -> str | None:
        """Return the reply to one line, None when it asks nothing."""
        with self.lock:
            self.asked.append(line)
            if not self.compound and ";" in line:
                self.errors.append('-102,"Syntax error"')
                return None
            found = [self._one(part.strip().lstrip(":")) for part in line.split(";")]
        replies = [each for each in found if each is not None]
        return ";".join(replies) if replies else None

    def _one(self, command: str) -> str | None:
        head, _, argument = command.upper().partition(" ")
        if head in self.fixed:
            return self.fixed[head]
        simple = _SIMPLE.get(head)
        if simple is not None:
            return simple(self)
        if head == "*ESE":
            self.enable = int(argument)
            return None
        if head == "CURV?":
            return "#18" + struct.pack(">2f", 1.5, -2.25).decode("latin-1")
        if re.fullmatch(r"(MEAS|READ|FETC)[A-Z:]*\?", head):
            return self.unique(f"{self.configured} {head}" if head == "READ?" else command.upper())
        self._set(head, argument)
        return None

    def _set(self, head: str, argument: str) -> None:
        if head == "*CLS":
            self.errors.clear()
        elif head == "*ESE":
            self.enable = int(argument)
        elif head in {"INP", "OUTP"}:
            self.load_on = argument in {"ON", "1"}
        elif head == "VOLT":
            self.volts = float(argument)
        elif head == "CURR":
            self.current = float(argument)
        elif head.startswith("CONF"):
            self.configured = f"{head} {argument}".strip()
        elif not head.startswith(("SENS", "FUNC", "SYST", "FORM", "INIT", "MODE", "ROUT")):
            self.errors.append('-113,"Undefined header"')

    def unique(self, question: str) -> str:
        """Serve a number that was never served before: NNNNNNN.CC with CC = 97 - N mod 97."""
        self.count += 1
        text = f"{1000000 + self.count}.{97 - (1000000 + self.count) % 97:02d}"
        self.served[text] = Served(time.monotonic(), question)
        return text


_SIMPLE: dict[str, Callable[[Instrument], str]] = {
    "*IDN?": lambda it: it.idn,
    "*OPC?": lambda it: "1",
    "*ESE?": lambda it: str(it.enable),
    "SYST:ERR?": lambda it: it.errors.popleft() if it.errors else '0,"No error"',
    "INP?": lambda it: "1" if it.load_on else "0",
    "OUTP?": lambda it: "1" if it.load_on else "0",
    "CURR?": lambda it: f"{it.current:.6E}",
    "VOLT?": lambda it: f"{it.volts:.6E}",
}


class Server:
    """Serves an `Instrument` over TCP on loopback; `fault` is asked before each reply."""

    def __init__(
        self, instrument: Instrument | None = None, *, fault: Callable[[str], str] | None = None
    ) -> None:
        self.instrument = instrument or Instrument()
        self.fault = fault or (lambda _: "")
        self.slow_s = 0.25
        self.connections = 0
        self._stop = threading.Event()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._open: set[socket.socket] = set()
        self.port: int = self._listener.getsockname()[1]
        self._thread = threading.Thread(target=self._accept, args=(self._listener,), daemon=True)
        self._thread.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    @property
    def visa(self) -> str:
        return f"TCPIP::127.0.0.1::{self.port}::SOCKET"

    @property
    def tcp(self) -> str:
        return f"tcp://127.0.0.1:{self.port}"

    def stop(self) -> None:
        """Stop listening and drop every connection."""
        self._stop.set()
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self.drop()
        self._thread.join(2)

    def start_again(self) -> None:
        """Listen again on the same port, as after a power cut."""
        self._stop.clear()
        self._listener = socket.create_server(("127.0.0.1", self.port))
        self._thread = threading.Thread(target=self._accept, args=(self._listener,), daemon=True)
        self._thread.start()

    def drop(self) -> None:
        """Cut every connection."""
        for wire in list(self._open):
            with suppress(OSError):
                wire.shutdown(socket.SHUT_RDWR)

    def _accept(self, listener: socket.socket) -> None:
        while not self._stop.is_set():
            try:
                wire, _ = listener.accept()
            except OSError:
                return
            self.connections += 1
            wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._open.add(wire)
            threading.Thread(target=self._serve, args=(wire,), daemon=True).start()

    def _serve(self, wire: socket.socket) -> None:
        held = b""
        try:
            while came := wire.recv(4096):
                held += came
                while b"\n" in held:
                    line, held = held.split(b"\n", 1)
                    self._reply(wire, line.decode("latin-1").strip())
        except (OSError, ConnectionError):
            pass
        finally:
            self._open.discard(wire)
            wire.close()

    def _reply(self, wire: socket.socket, line: str) -> None:
        fault = self.fault(line)
        if fault == "errors":
            self.instrument.errors.extend(['-350,"Queue overflow"'] * 40)
        answer = self.instrument.answer(line)
        if answer is None:
            return
        if fault == "wrong idn" and "*IDN?" in line:
            answer = "Somebody,Else,0002,9.9"
        elif fault == "restart":
            self.drop()
            raise ConnectionError
        elif fault == "stray":
            again = threading.Timer(random.uniform(*STRAY_S), _send, (wire, answer.encode("latin-1") + b"\n"))
            again.daemon = True
            again.start()
        for part in faulty(answer.encode("latin-1") + b"\n", fault, self.slow_s):
            if isinstance(part, float):
                time.sleep(part)
            elif part == b"":
                raise ConnectionError
            elif part == b"RST":
                wire.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                raise ConnectionError
            else:
                wire.sendall(part)


def _send(wire: socket.socket, whole: bytes) -> None:
    with suppress(OSError):
        wire.sendall(whole)


def faulty(whole: bytes, fault: str, slow_s: float) -> list[bytes | float]:
    """Return what is sent (bytes), waited for (seconds), or done (b'' closes, b'RST' resets)."""
    middle = max(1, len(whole) // 2)
    plans: dict[str, list[bytes | float]] = {
        "slow": [slow_s, whole],
        "late": [slow_s * 2, whole],
        "half": [whole[:middle]],
        "tail": [whole[:middle], slow_s, whole[middle:]],
        "die": [whole[:middle], b""],
        "reset": [whole[:middle], b"RST"],
        "garbage": [b"\xff\x00\x9b" + whole],
        "two": [whole + whole],
        "late two": [whole, 0.01, whole],
        "swallow": [0.0],
        "dribble": [part for index in range(len(whole)) for part in (whole[index : index + 1], slow_s / 8)],
    }
    return plans.get(fault, [whole])


class PseudoTerminal:
    """Serves an `Instrument` at the far end of a pseudo-terminal."""

    def __init__(self, instrument: Instrument | None = None) -> None:
        self.instrument = instrument or Instrument()
        self.fault: Callable[[str], str] = lambda _: ""
        self.slow_s = 0.25
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.path = os.ttyname(self._slave)
        threading.Thread(target=self._serve, daemon=True).start()

    @property
    def visa(self) -> str:
        return f"ASRL{self.path}::INSTR"

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for end in (self._slave, self._master):
            with suppress(OSError):
                os.close(end)

    def _serve(self) -> None:
        held = b""
        with suppress(OSError):
            while came := os.read(self._master, 4096):
                held += came
                while b"\n" in held:
                    line, held = held.split(b"\n", 1)
                    text = line.decode("latin-1").strip()
                    fault = self.fault(text)
                    answer = self.instrument.answer(text)
                    if answer is None:
                        continue
                    for part in faulty(answer.encode("latin-1") + b"\n", fault, self.slow_s):
                        if isinstance(part, float):
                            time.sleep(part)
                        elif part:
                            os.write(self._master, part)


class AtRandom:
    """A source of faults for `Server`: one for that share of the lines, drawn from a seed, and counted."""

    def __init__(self, seed: int, share: float = 0.5, faults: tuple[str, ...] = FAULTS) -> None:
        self._dice = random.Random(seed)
        self._share, self._faults = share, faults
        self.counts: Counter[str] = Counter()

    def __call__(self, _: str) -> str:
        if self._dice.random() >= self._share:
            return ""
        fault = self._dice.choice(self._faults)
        self.counts[fault] += 1
        return fault
