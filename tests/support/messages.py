"""Instruments on loopback that mark the end of a message: HiSLIP (IVI-6.1) and VXI-11 (TCP/IP, rev. 1.0).

Only what a client needs to open, write, read and close; message numbers are from the published tables,
from memory. Behind the wire is the same `Instrument` as behind a raw socket, and the same faults: 'slow' and
'late' answer after the client gave up, 'half' and 'swallow' never end, 'die' and 'reset' cut.
"""

from __future__ import annotations

import socket
import struct
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Self

from support.scpi import Instrument

FAULTS = ("slow", "late", "half", "die", "reset", "garbage", "swallow", "wrong idn", "errors", "restart")
"""Of `support.scpi.FAULTS`: those that make sense where a message has an end."""


class Listening:
    """A port of loopback with a thread for each connection."""

    def __init__(
        self, instrument: Instrument | None = None, *, fault: Callable[[str], str] | None = None
    ) -> None:
        self.instrument = instrument or Instrument()
        self.fault = fault or (lambda _: "")
        self.slow_s = 0.25
        self.connections = 0
        self._stop = threading.Event()
        self._open: set[socket.socket] = set()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self.drop()

    def drop(self) -> None:
        """Cut every connection."""
        for wire in list(self._open):
            with suppress(OSError):
                wire.shutdown(socket.SHUT_RDWR)

    def _accept(self) -> None:
        while not self._stop.is_set():
            try:
                wire, _ = self._listener.accept()
            except OSError:
                return
            wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self.connections += 1
            self._open.add(wire)
            threading.Thread(target=self._keep, args=(wire,), daemon=True).start()

    def _keep(self, wire: socket.socket) -> None:
        with suppress(OSError), wire:
            self.serve(wire)
        self._open.discard(wire)

    def serve(self, wire: socket.socket) -> None:
        """Speak on one connection until it ends."""
        raise NotImplementedError

    def answer(self, line: str, wire: socket.socket) -> tuple[bytes | None, str]:
        """Return the reply to a line and the fault that befalls it; raises where the line is cut."""
        fault = self.fault(line) if "?" in line else ""
        if fault == "errors":
            self.instrument.errors.extend(['-350,"Queue overflow"'] * 40)
        reply = self.instrument.answer(line)
        if reply is None:
            return None, ""
        if fault == "wrong idn" and "*IDN?" in line:
            reply = "Somebody,Else,0002,9.9"
        if fault == "restart":
            self.drop()
        if fault in {"restart", "die", "reset"}:
            if fault == "reset":
                wire.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            raise ConnectionError
        if fault == "garbage":
            reply = "\xff\x00\x9b" + reply
        return reply.encode("latin-1") + b"\n", fault


def exactly(wire: socket.socket, count: int) -> bytes:
    """Return so many bytes."""
    found = b""
    while len(found) < count:
        came = wire.recv(count - len(found))
        if not came:
            raise ConnectionError
        found += came
    return found


class Hislip(Listening):
    """HiSLIP 1.0 without overlap: one session a synchronous channel."""

    HEADER = struct.Struct("!2sBBIQ")
    (INITIALIZE, INITIALIZED, DATA, DATA_END, MAX_SIZE, MAX_SIZE_IS, ASYNC, ASYNC_OK, STATUS, STATUS_IS) = (
        0, 1, 6, 7, 15, 16, 17, 18, 21, 22,
    )  # fmt: skip

    @property
    def visa(self) -> str:
        return f"TCPIP::127.0.0.1::hislip0,{self.port}::INSTR"

    def serve(self, wire: socket.socket) -> None:
        held = b""
        while True:
            _, kind, _, parameter, length = self.HEADER.unpack(exactly(wire, self.HEADER.size))
            payload = exactly(wire, length)
            if kind == self.INITIALIZE:
                self._send(wire, self.INITIALIZED, (1 << 24) | self.connections)
            elif kind == self.ASYNC:
                self._send(wire, self.ASYNC_OK)
            elif kind == self.MAX_SIZE:
                self._send(wire, self.MAX_SIZE_IS, payload=struct.pack("!Q", 1 << 20))
            elif kind == self.STATUS:
                self._send(wire, self.STATUS_IS)
            elif kind in {self.DATA, self.DATA_END}:
                held += payload
                if kind == self.DATA_END:
                    line, held = held.decode("latin-1").strip(), b""
                    self._reply(wire, line, parameter)

    def _reply(self, wire: socket.socket, line: str, number: int) -> None:
        reply, fault = self.answer(line, wire)
        if reply is None or fault == "swallow":
            return
        if fault in {"slow", "late"}:
            time.sleep(self.slow_s * (1 if fault == "slow" else 2))
        if fault == "half":
            self._send(wire, self.DATA, number, reply[: len(reply) // 2])
            return
        middle = len(reply) // 2  # in two messages, as long answers come
        self._send(wire, self.DATA, number, reply[:middle])
        self._send(wire, self.DATA_END, number, reply[middle:])

    def _send(self, wire: socket.socket, kind: int, parameter: int = 0, payload: bytes = b"") -> None:
        wire.sendall(self.HEADER.pack(b"HS", kind, 0, parameter, len(payload)) + payload)


class Vxi11(Listening):
    """The core channel of VXI-11 over ONC RPC (RFC 5531), with no portmapper: the client knows the port."""

    CREATE, WRITE, READ, DESTROY = 10, 11, 12, 23
    END, TIMED_OUT = 4, 15
    LARGEST = 1 << 16

    @property
    def visa(self) -> str:
        return f"TCPIP::127.0.0.1,{self.port}::inst0::INSTR"

    def serve(self, wire: socket.socket) -> None:
        held, output, cut = b"", b"", False
        ready = 0.0
        while True:
            call = self._record(wire)
            number, procedure = struct.unpack("!I", call[:4])[0], struct.unpack("!I", call[20:24])[0]
            body = call[40:]  # two empty credentials
            if procedure == self.CREATE:
                result = struct.pack("!iiII", 0, 1, 0, self.LARGEST)
            elif procedure == self.WRITE:
                size = struct.unpack("!I", body[16:20])[0]
                held += body[20 : 20 + size]
                if struct.unpack("!I", body[12:16])[0] & 8:  # the end of the message
                    line, held = held.decode("latin-1").strip(), b""
                    reply, fault = self.answer(line, wire)
                    if reply is not None and fault != "swallow":
                        waits = {"slow": self.slow_s, "late": 2 * self.slow_s}.get(fault, 0.0)
                        ready, cut = time.monotonic() + waits, fault == "half"
                        output += reply[: len(reply) // 2] if cut else reply
                result = struct.pack("!iI", 0, size)
            elif procedure == self.READ:
                wanted, patience = struct.unpack("!II", body[4:12])
                output, result = self._read(output, wanted, patience / 1e3, ready, cut=cut)
            else:
                result = struct.pack("!i", 0)
            self._answer(wire, number, result)
            if procedure == self.DESTROY:
                return

    def _read(
        self, output: bytes, wanted: int, patience_s: float, ready: float, *, cut: bool
    ) -> tuple[bytes, bytes]:
        waits = ready - time.monotonic()
        if not output or waits > patience_s:
            time.sleep(max(0.0, patience_s))
            return output, struct.pack("!iiI", self.TIMED_OUT, 0, 0)
        time.sleep(max(0.0, waits))
        part, left = output[:wanted], output[wanted:]
        reason = 0 if left or cut else self.END
        return left, struct.pack("!iiI", 0, reason, len(part)) + part + bytes(-len(part) % 4)

    def _record(self, wire: socket.socket) -> bytes:
        found, last = b"", False
        while not last:
            head = struct.unpack("!I", exactly(wire, 4))[0]
            last = bool(head & 0x80000000)
            found += exactly(wire, head & 0x7FFFFFFF)
        return found

    def _answer(self, wire: socket.socket, number: int, result: bytes) -> None:
        # accepted, no credential, executed
        whole = struct.pack("!6I", number, 1, 0, 0, 0, 0) + result
        wire.sendall(struct.pack("!I", 0x80000000 | len(whole)) + whole)
