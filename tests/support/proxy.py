"""A proxy between a meter and whoever asks it, on loopback: it passes lines on, and spoils some replies."""

from __future__ import annotations

import random
import socket
import struct
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Self

from support.scpi import STRAY_S, faulty

DOWN_S = 0.03
"""How long nobody listens when the instrument restarts [s]."""
NO_REPLY_S = 0.5
"""After so long an instrument that refused a line is taken to answer nothing [s]."""


class Proxy:
    """Listens for the meter at `upstream`; `fault` is asked before each line that asks something.

    Besides the faults of `support.scpi.FAULTS` it knows none of its own.
    """

    def __init__(self, upstream: tuple[str, int], fault: Callable[[str], str] | None = None) -> None:
        self.upstream = upstream
        self.fault = fault or (lambda _: "")
        self.slow_s = 0.25
        self.connections = 0
        self._stop = threading.Event()
        self._open: set[socket.socket] = set()
        self._lock = threading.Lock()
        self._restarting = threading.Lock()
        # bound and never listening: the port stays ours while nobody listens on it
        self._held = socket.socket()
        self._held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._held.bind(("127.0.0.1", 0))
        self.port: int = self._held.getsockname()[1]
        self._listener = socket.create_server(("127.0.0.1", self.port))
        self._listen(self._listener)

    @property
    def visa(self) -> str:
        return f"TCPIP::127.0.0.1::{self.port}::SOCKET"

    @property
    def tcp(self) -> str:
        return f"tcp://127.0.0.1:{self.port}"

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._down()
        self._held.close()

    def _listen(self, listener: socket.socket) -> None:
        threading.Thread(target=self._accept, args=(listener,), daemon=True).start()

    def _down(self) -> None:
        """Stop listening and cut every connection."""
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        with self._lock:
            wires = list(self._open)
        for wire in wires:
            with suppress(OSError):
                wire.shutdown(socket.SHUT_RDWR)

    def _restart(self) -> None:
        with self._restarting:  # one after another: a second one can be asked for before the first is down
            self._down()
            time.sleep(DOWN_S)
            if not self._stop.is_set():
                self._listener = socket.create_server(("127.0.0.1", self.port))
                self._listen(self._listener)

    def _accept(self, listener: socket.socket) -> None:
        while not self._stop.is_set():
            try:
                wire, _ = listener.accept()
            except OSError:
                return
            self.connections += 1
            threading.Thread(target=self._serve, args=(wire,), daemon=True).start()

    def _serve(self, wire: socket.socket) -> None:
        with suppress(OSError), wire, socket.create_connection(self.upstream, timeout=NO_REPLY_S) as meter:
            for each in (wire, meter):
                each.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            with self._lock:
                self._open.add(wire)
            held = b""
            while came := wire.recv(4096):
                held += came
                while b"\n" in held:
                    line, held = held.split(b"\n", 1)
                    self._pass_on(wire, meter, line)
        with self._lock:
            self._open.discard(wire)

    def _pass_on(self, wire: socket.socket, meter: socket.socket, line: bytes) -> None:
        text = line.decode("latin-1").strip()
        fault = self.fault(text) if "?" in text else ""
        if fault == "errors":
            meter.sendall(b"NO:SUCH:THING\n" * 25)
        meter.sendall(line + b"\n")
        if "?" not in text:
            return
        whole = _reply(meter)
        if whole is None:
            return
        if fault == "wrong idn" and "*IDN?" in text:
            whole = b"Somebody,Else,0002,9.9\n"
        if fault == "restart":
            threading.Thread(target=self._restart, daemon=True).start()
            raise ConnectionError
        if fault == "stray":
            again = threading.Timer(random.uniform(*STRAY_S), _send, (wire, whole))
            again.daemon = True
            again.start()
        for part in faulty(whole, fault, self.slow_s):
            if isinstance(part, float):
                time.sleep(part)
            elif part in {b"", b"RST"}:
                if part:
                    wire.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                raise ConnectionError
            else:
                wire.sendall(part)


def _reply(meter: socket.socket) -> bytes | None:
    """Return the meter's line, None when it answers nothing."""
    whole = b""
    while not whole.endswith(b"\n"):
        try:
            came = meter.recv(4096)
        except TimeoutError:
            return None
        if not came:
            raise ConnectionError
        whole += came
    return whole


def _send(wire: socket.socket, whole: bytes) -> None:
    with suppress(OSError):
        wire.sendall(whole)
