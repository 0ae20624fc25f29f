"""How bytes reach an instrument and come back: one small protocol, and the plain socket.

Constructing a transport opens nothing. `open`, `write`, `read_line`, `read_block`, `close` are called by
one thread, the owner (`session`). Every wait has an end: `read_line` keeps its own deadline, however
slowly bytes dribble in. What a reply leaves unread is never thrown away quietly: `leftover` shows it,
so that it cannot be taken for the answer to the next question.
"""

from __future__ import annotations

import os
import socket
import struct
import time
from typing import Protocol
from urllib.parse import urlsplit

from ohmward.bench.reply import ReplyError, block_head
from ohmward.errors import InputError, Mistake, OhmwardError, Unreachable
from ohmward.text import one_line

OPEN_TIMEOUT_S = 3.0
LONGEST_LINE = 1 << 20
"""A line longer than this is no answer to anything we ask [bytes]."""
LONGEST_BLOCK = 1 << 28
SLICE_S = 0.02
"""A wait is looked at again so often: a timeout is kept that closely [s]."""
_CHUNK = 1 << 16


class NoAnswer(Unreachable):
    """The instrument did not answer in time."""


class ConnectionLost(Unreachable):
    """The connection could not be made, or is gone."""


class PartMissing(OhmwardError):
    """An optional part of the tool is not installed; the text says how to get it."""


class Transport(Protocol):
    """A line of bytes to one instrument."""

    where: str
    """The resource as the person wrote it."""
    backend: str
    """What carries the bytes, for the record."""

    def open(self) -> None:
        """Connect; discard whatever was sent before."""

    def write(self, line: str) -> None:
        """Send one line; the line feed is added."""

    def read_line(self, timeout_s: float) -> bytes:
        """Return one line without its line feed, whole or not at all."""

    def read_block(self, timeout_s: float) -> tuple[bytes, bytes]:
        """Return the payload of a definite-length block, and the rest of its line."""

    def leftover(self) -> bytes:
        """Return what has arrived and nobody asked for; empty in good order. Does not wait."""

    def close(self) -> None:
        """Let go; never raises, may be called twice."""


class Buffered:
    """Lines and blocks cut from a stream of bytes; what differs is how the next bytes are got."""

    where: str = ""
    backend: str = ""

    def __init__(self) -> None:
        self._held = bytearray()

    def _receive(self, timeout_s: float) -> bytes:
        """Return the bytes that come next, none when the time is up; raise `ConnectionLost` at the end."""
        raise NotImplementedError

    def read_line(self, timeout_s: float) -> bytes:
        """Return one line without its line feed, whole or not at all.

        Parameters
        ----------
        timeout_s : float
            Limit for the whole line by the wall clock [s].

        Raises
        ------
        NoAnswer
            When it is not whole in time.
        ConnectionLost
            When the other end is gone.
        ReplyError
            When it is longer than any answer.
        """
        deadline = time.monotonic() + timeout_s
        if not self._held:  # in good order: the line, the whole line, and nothing but the line
            came = self._receive(timeout_s)
            if came.find(b"\n") == len(came) - 1 and came:
                return came[:-1]
            self._held += came
        searched = 0
        while True:
            end = self._held.find(b"\n", searched)
            if end >= 0:
                line = bytes(self._held[:end])
                del self._held[: end + 1]
                return line
            searched = len(self._held)
            if searched > LONGEST_LINE:
                raise ReplyError(bytes(self._held), "never ends")
            self._more(deadline, timeout_s)

    def read_block(self, timeout_s: float) -> tuple[bytes, bytes]:
        """Return the payload of a definite-length block and the rest of its line; raises as `read_line`."""
        deadline = time.monotonic() + timeout_s
        while (length := block_head(bytes(self._held[:11]))) is None:
            self._more(deadline, timeout_s)
        if length > LONGEST_BLOCK:
            raise ReplyError(bytes(self._held[:11]), f"announces {length} bytes, more than is taken")
        start = 2 + int(self._held[1:2])
        while len(self._held) < start + length:
            self._more(deadline, timeout_s)
        payload = bytes(self._held[start : start + length])
        del self._held[: start + length]
        rest = self.read_line(max(0.0, deadline - time.monotonic()))
        return payload, rest

    def leftover(self) -> bytes:
        """Return what has arrived and nobody asked for; empty in good order."""
        if not self._held:
            self._held += self._receive(0.0)
        return bytes(self._held)

    def _more(self, deadline: float, timeout_s: float) -> None:
        left = deadline - time.monotonic()
        came = self._receive(max(0.0, left))
        if not came and time.monotonic() >= deadline:
            got = f"; only '{one_line(bytes(self._held[:40]).decode('latin-1'))}' came" if self._held else ""
            raise NoAnswer(f"{self.where}: no whole answer within {timeout_s:g} s{got}")
        self._held += came


class SocketTransport(Buffered):
    """A plain TCP socket: no delay on small lines, a dead peer is seen at once; IPv6 too."""

    backend = "plain socket"

    def __init__(self, resource: str, *, open_timeout_s: float = OPEN_TIMEOUT_S) -> None:
        super().__init__()
        self.where = resource
        self.host, self.port = _address(resource)
        self.open_timeout_s = open_timeout_s
        self._socket: socket.socket | None = None

    def open(self) -> None:
        """Connect.

        Raises
        ------
        ConnectionLost
            When nothing listens there.
        """
        self.close()
        try:
            self._socket = socket.create_connection((self.host, self.port), timeout=self.open_timeout_s)
            self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
            make_prompt(self._socket, self.open_timeout_s)
        except OSError as error:
            self.close()
            raise ConnectionLost(
                f"{self.where}: {_words(error)}. Is it switched on, and the address right?"
            ) from error

    def write(self, line: str) -> None:
        """Send one line; the line feed is added."""
        wire = self._open_socket()
        try:
            wire.sendall(line.encode("ascii") + b"\n")
        except OSError as error:
            raise ConnectionLost(f"{self.where}: {_words(error)}") from error

    def close(self) -> None:
        """Let go of the socket."""
        wire, self._socket = self._socket, None
        self._held.clear()
        if wire is not None:
            wire.close()

    def _receive(self, timeout_s: float) -> bytes:
        wire = self._open_socket()
        try:
            came = received(wire, _CHUNK, timeout_s)
        except OSError as error:
            raise ConnectionLost(f"{self.where}: {_words(error)}") from error
        if came is None:
            return b""
        if not came:
            raise ConnectionLost(f"{self.where}: the instrument closed the connection")
        return came

    def _open_socket(self) -> socket.socket:
        if self._socket is None:
            raise ConnectionLost(f"{self.where}: not open")
        return self._socket


def transport(resource: str, *, visa: str = "@py", open_timeout_s: float = OPEN_TIMEOUT_S) -> Transport:
    """Return the transport a resource asks for, unopened.

    Parameters
    ----------
    resource : str
        ``tcp://host:port`` for a plain socket, else a VISA resource name such as
        ``TCPIP::192.168.0.7::5025::SOCKET`` or ``ASRL/dev/ttyUSB0::INSTR``.
    visa : str
        VISA library, for VISA resources: ``@py`` (pure Python), ``@ivi`` or the path of an installed one.

    Raises
    ------
    InputError
        When it is neither.
    """
    if resource.lower().startswith("tcp://"):
        return SocketTransport(resource, open_timeout_s=open_timeout_s)
    from ohmward.bench.visa import VisaTransport

    return VisaTransport(resource, visa=visa, open_timeout_s=open_timeout_s)


def make_prompt(wire: socket.socket, send_limit_s: float) -> None:
    """Make a socket send small lines at once, and give up a wait in the kernel after `SLICE_S`.

    One system call a line each way: a Python timeout would cost another two or three.
    """
    wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    wire.setblocking(True)
    for option, seconds in ((socket.SO_RCVTIMEO, SLICE_S), (socket.SO_SNDTIMEO, send_limit_s)):
        whole, part = divmod(int(seconds * 1e6), 1_000_000)
        value = struct.pack("=I", int(seconds * 1000)) if os.name == "nt" else struct.pack("@ll", whole, part)
        wire.setsockopt(socket.SOL_SOCKET, option, value)


def received(wire: socket.socket, size: int, timeout_s: float, flags: int = 0) -> bytes | None:
    """Return what a prompt socket receives, nothing at the end of the stream, None when the time is up."""
    if timeout_s <= 0:
        flags |= getattr(socket, "MSG_DONTWAIT", 0)
    deadline = time.monotonic() + timeout_s
    while True:
        try:
            return wire.recv(size, flags)
        except (BlockingIOError, TimeoutError):
            if time.monotonic() >= deadline:
                return None


def bad_resource(resource: str, why: str) -> InputError:
    """Return the refusal of a resource name, with examples."""
    return InputError(
        [
            Mistake(
                where="meters",
                field="resource",
                value=resource,
                why=why,
                mend="Write it as 'tcp://192.168.0.7:5025', 'TCPIP::192.168.0.7::5025::SOCKET' or"
                " 'ASRL/dev/ttyUSB0::INSTR'",
            )
        ]
    )


def _address(resource: str) -> tuple[str, int]:
    try:
        parts = urlsplit(resource)
        host, port = parts.hostname, parts.port
    except ValueError as error:
        raise bad_resource(resource, str(error)) from error
    if parts.scheme != "tcp" or not host or port is None or parts.path not in {"", "/"}:
        raise bad_resource(resource, "it is not an address of host and port")
    return host, port


def _words(error: Exception) -> str:
    """Return what the system said, without its number."""
    text = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return one_line(str(text)).lower()
