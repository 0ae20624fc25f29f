"""Instruments on TCP sockets of the loopback interface, and nowhere else.

A message ends at its line feed (a carriage return before it is taken off), a reply with one: the raw-socket
habit of instruments on a LAN. Whoever connects is served by a thread of its own; one instrument obeys one
message at a time, whoever sends it.
"""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from types import TracebackType
from typing import Self

from ohmward.bench.simulated.scpi import Instrument

LOOPBACK = "127.0.0.1"
LONGEST = 65_536
"""Bytes of one message; a longer one is dropped whole with -363."""


class Server:
    """One instrument on one port; constructing opens nothing.

    Parameters
    ----------
    instrument : Instrument
    port : int
        0 takes one that is free.
    slow_s : float
        Real seconds that each reply is held back.
    """

    def __init__(self, instrument: Instrument, *, port: int = 0, slow_s: float = 0.0) -> None:
        self.instrument = instrument
        self.slow_s = slow_s
        self._port = port
        self._socket: socket.socket | None = None
        self._clients: set[socket.socket] = set()
        self._threads: list[threading.Thread] = []
        self._lock = threading.Lock()
        self.turn = threading.Lock()
        """Held while the instrument obeys, and by a hand that changes something on it."""

    @property
    def address(self) -> tuple[str, int]:
        """Host and port that it listens on.

        Raises
        ------
        RuntimeError
            When it is not started.
        """
        if self._socket is None:
            raise RuntimeError("the server is not started")
        host, port = self._socket.getsockname()[:2]
        return str(host), int(port)

    @property
    def resource(self) -> str:
        """Resource name of a raw socket, as VISA writes it."""
        host, port = self.address
        return f"TCPIP::{host}::{port}::SOCKET"

    def start(self) -> None:
        """Listen."""
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((LOOPBACK, self._port))
            listening.listen()
        except OSError:
            listening.close()
            raise
        self._socket = listening
        self._begin(self._accept, listening)

    def stop(self) -> None:
        """Stop listening, hang up on everyone, wait for the threads."""
        listening, self._socket = self._socket, None
        with self._lock:
            leaving = [*self._clients, *([listening] if listening else [])]
            threads, self._threads = self._threads, []
        for each in leaving:
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
        for thread in threads:
            thread.join(timeout=5)
        if listening is not None:
            listening.close()

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def _begin(self, work: object, argument: socket.socket) -> None:
        thread = threading.Thread(target=work, args=(argument,), daemon=True)  # type: ignore[arg-type]
        with self._lock:
            self._threads = [each for each in self._threads if each.is_alive()]
            self._threads.append(thread)
        thread.start()

    def _accept(self, listening: socket.socket) -> None:
        while self._socket is listening:
            try:
                client, _ = listening.accept()
            except OSError:
                return
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            with self._lock:
                self._clients.add(client)
            self._begin(self._serve, client)

    def _serve(self, client: socket.socket) -> None:
        try:
            with client:
                self._converse(client)
        except OSError:
            pass  # the client hung up, or the server is stopping: either way nobody is left to tell
        finally:
            with self._lock:
                self._clients.discard(client)

    def _converse(self, client: socket.socket) -> None:
        waiting, dropping = bytearray(), False
        while chunk := client.recv(65_536):
            waiting += chunk
            while (end := waiting.find(b"\n")) >= 0:
                line = bytes(waiting[:end])
                del waiting[: end + 1]
                if dropping or len(line) > LONGEST:
                    dropping = False
                    self._overrun()
                    continue
                reply = self._obey(line)
                if reply is not None:
                    client.sendall(reply + b"\n")
            if len(waiting) > LONGEST:
                waiting.clear()
                dropping = True

    def _overrun(self) -> None:
        with self.turn:
            self.instrument.status.error(-363)

    def _obey(self, line: bytes) -> bytes | None:
        with self.turn:
            reply = self.instrument.obey(line.decode("latin-1").removesuffix("\r"))
        if reply is not None and self.slow_s > 0:
            time.sleep(self.slow_s)
        return reply
