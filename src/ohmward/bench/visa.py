"""Instruments through PyVISA: the pure-Python library by default, an installed one by choice.

The only module that imports pyvisa, and only when a transport is opened. What PyVISA-py 0.8.1 does that
has to be kept from biting, all measured: a refused port opens without an error; a dead peer looks like a
slow one and takes a whole core meanwhile; a byte now and then puts the timeout off for ever; late bytes
answer the next question. So on its serial ports we wait for bytes ourselves, on the file descriptor, and
only then let it read as many as are there; into its sockets we put them and from there take them ourselves:
its own buffer stays empty, and an instrument that takes nothing in cannot hold us for ever, as it would
there. That needs two private names; `_underneath` says what happens without them, and a test fails
when they go away.
"""

from __future__ import annotations

import os
import select
import socket
import threading
import time
from typing import TYPE_CHECKING, Any

from ohmward.bench.leaving import leave_first
from ohmward.bench.transport import (
    OPEN_TIMEOUT_S,
    Buffered,
    ConnectionLost,
    NoAnswer,
    PartMissing,
    bad_resource,
    make_prompt,
    received,
)
from ohmward.errors import InputError
from ohmward.text import one_line

if TYPE_CHECKING:
    from collections.abc import Callable

    import pyvisa

QUIET_S = 0.05
"""A serial line has to be silent for so long before it is asked anything [s]."""
_SETTLE_S = 2.0
_CHUNK = 1 << 16
_SERIAL_POLL_S = 0.1

_REMEDIES = {
    "USB": "USB instruments need the packages pyusb and libusb-package (pip install pyusb libusb-package),"
    " and on Linux a udev rule that lets you open the device",
    "GPIB": "GPIB instruments need gpib-ctypes and the driver of the adapter",
    "ASRL": "Serial instruments need pyserial (pip install pyserial); on Linux be in the group dialout",
    "TCPIP": "VXI-11 and HiSLIP are built in; see that the resource names the right kind",
}

_lock = threading.Lock()
_managers: dict[str, Any] = {}


def manager(visa: str = "@py") -> pyvisa.ResourceManager:
    """Return the one resource manager of this process for a VISA library; closed at exit only.

    Raises
    ------
    PartMissing
        When PyVISA or that library is not installed.
    """
    with _lock:
        if visa not in _managers or _closed(_managers[visa]):
            _managers[visa] = _made(visa)
        found: pyvisa.ResourceManager = _managers[visa]
        return found


def _closed(made: Any) -> bool:
    """Return whether other code in this process closed it: PyVISA shares one among all its callers."""
    import pyvisa

    try:
        return made.session is None
    except pyvisa.errors.InvalidSession:
        return True


def _made(visa: str) -> Any:
    try:
        import pyvisa
    except ImportError as error:
        raise PartMissing(
            "PyVISA is not installed. Install it with 'pip install pyvisa pyvisa-py pyserial', or give the"
            " resource as tcp://host:port, which needs nothing more"
        ) from error
    try:
        made = pyvisa.ResourceManager(visa)
    except (OSError, ValueError, ImportError, pyvisa.errors.LibraryError) as error:
        why = one_line(str(error)).rstrip(": ")
        raise PartMissing(
            f"the VISA library '{visa}' cannot be loaded ({why}). Install the VISA library of an instrument"
            " maker, or give the path of one as visa = …; or leave visa = … out for the pure-Python one"
            " (pip install pyvisa-py)"
        ) from error
    # made.close is registered for the end of the process by PyVISA itself; the instruments go first
    leave_first()
    return made


class VisaTransport(Buffered):
    """One VISA session, unopened until `open`."""

    def __init__(self, resource: str, *, visa: str = "@py", open_timeout_s: float = OPEN_TIMEOUT_S) -> None:
        super().__init__()
        self.where = resource
        self.visa = visa
        self.backend = f"VISA {visa}"
        self.open_timeout_s = open_timeout_s
        self._resource: Any = None
        self._wire: Any = None
        """The socket or serial port underneath, where we may see it."""

    def open(self) -> None:
        """Open the session.

        Raises
        ------
        ConnectionLost
            When nothing answers there.
        PartMissing
            When an optional part is not installed.
        InputError
            When the resource is not a VISA resource name.
        """
        self.close()
        import pyvisa

        made = manager(self.visa)
        milliseconds = int(self.open_timeout_s * 1000)
        try:
            found: Any = made.open_resource(self.where, open_timeout=milliseconds, timeout=milliseconds)
            self._resource = found
            found.write_termination = "\n"
            self._wire = _underneath(made, found)
            # a socket of another library has no end of message but the line feed
            ends = self._wire is None and self.where.upper().endswith("SOCKET")
            found.read_termination = "\n" if ends else None
            found.ignore_warning(pyvisa.constants.StatusCode.success_max_count_read).__enter__()
            self._prepare()
        except ValueError as error:  # how pyvisa-py says that a part is missing
            self.close()
            raise self._missing(error) from error
        except Exception as error:
            self.close()
            code = getattr(error, "error_code", None)
            if code == pyvisa.constants.StatusCode.error_invalid_resource_name:
                raise bad_resource(self.where, "it is not a VISA resource name") from error
            raise self._lost(error) from error

    def write(self, line: str) -> None:
        """Send one line; the line feed is added."""
        data = line.encode("ascii") + b"\n"
        try:
            if isinstance(self._wire, socket.socket):
                self._wire.sendall(data)
            else:
                self._resource.write_raw(data)
        except Exception as error:
            raise self._translated(error) from error

    def close(self) -> None:
        """Let go of the session."""
        found, self._resource, self._wire = self._resource, None, None
        self._held.clear()
        if found is not None:
            _quietly(found.close)

    def leftover(self) -> bytes:
        """Return what has arrived and nobody asked for; of instruments that send messages, nothing."""
        return super().leftover() if self._wire is not None else bytes(self._held)

    def _receive(self, timeout_s: float) -> bytes:
        if isinstance(self._wire, socket.socket):
            return self._from_socket(self._wire, timeout_s)
        if self._wire is not None:
            return self._from_serial(timeout_s)
        return self._message(timeout_s)

    def _from_socket(self, wire: socket.socket, timeout_s: float) -> bytes:
        try:
            came = received(wire, _CHUNK, timeout_s)
        except (OSError, ValueError) as error:
            raise self._lost(error) from error
        if came is None:
            return b""
        if not came:
            raise ConnectionLost(f"{self.where}: the instrument closed the connection")
        return came

    def _from_serial(self, timeout_s: float) -> bytes:
        deadline = time.monotonic() + timeout_s
        while True:
            there = int(self._call(lambda found: found.bytes_in_buffer))
            if there:
                break
            left = deadline - time.monotonic()
            if left <= 0:
                return b""
            try:
                select.select([self._wire], [], [], min(left, _SERIAL_POLL_S))
            except (OSError, ValueError, TypeError) as error:
                raise self._lost(error) from error
        came: bytes = self._call(lambda found: found.visalib.read(found.session, there)[0])
        return came

    def _message(self, timeout_s: float) -> bytes:
        """Return a whole message of an instrument that marks its end (VXI-11, HiSLIP, USBTMC)."""
        if timeout_s <= 0:
            return b""

        def read(found: Any) -> bytes:
            found.timeout = max(1, int(timeout_s * 1000))
            return bytes(found.read_raw(_CHUNK))

        came: bytes = self._call(read)
        # where the end of the message is marked, the line feed may be missing
        return came if came.endswith(b"\n") or self._resource.read_termination else came + b"\n"

    def _prepare(self) -> None:
        if isinstance(self._wire, socket.socket):
            # pyvisa-py 0.8.1 opens a refused port without an error; the system knows better
            refused = self._wire.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
            if refused:
                raise OSError(refused, os.strerror(refused))
            make_prompt(self._wire, self.open_timeout_s)
        elif self._wire is not None:
            self._wire.exclusive = True  # two owners of one port would read each other's answers
            self._drain_serial()
        else:
            _let_it_end(manager(self.visa), self._resource)

    def _drain_serial(self) -> None:
        """Wait until the line is silent: reopening a serial port does not discard late bytes."""
        end = time.monotonic() + _SETTLE_S
        while self._from_serial(QUIET_S):
            if time.monotonic() > end:
                raise ConnectionLost(f"{self.where}: it never stops sending")

    def _call(self, do: Callable[[Any], Any]) -> Any:
        try:
            return do(self._resource)
        except Exception as error:
            raise self._translated(error) from error

    def _translated(self, error: Exception) -> Exception:
        """Turn all that PyVISA is known to raise into one of our two errors.

        PyVISA-py lets out OSError, RuntimeError, TypeError, ValueError, struct.error, termios.error,
        SerialException and more; whatever it is, this session is not to be trusted again.
        """
        import pyvisa

        if self._resource is None:
            return ConnectionLost(f"{self.where}: not open")
        timed_out = pyvisa.constants.StatusCode.error_timeout
        if isinstance(error, pyvisa.errors.VisaIOError) and error.error_code == timed_out:
            return NoAnswer(f"{self.where}: no answer in time")
        return self._lost(error)

    def _lost(self, error: Exception) -> ConnectionLost:
        if isinstance(error, ConnectionLost):
            return error
        said = one_line(getattr(error, "strerror", None) or str(error) or type(error).__name__)
        return ConnectionLost(f"{self.where}: {said}")

    def _missing(self, error: Exception) -> PartMissing | InputError:
        kind = self.where.upper()
        remedy = next((text for key, text in _REMEDIES.items() if kind.startswith(key)), "")
        if not remedy:
            return bad_resource(self.where, one_line(str(error)) or "it is not a VISA resource name")
        return PartMissing(f"{self.where}: {one_line(str(error)).rstrip('.')}. {remedy}")


def _underneath(made: Any, found: Any) -> Any:
    """Return the socket or serial port that PyVISA-py uses, None with another library or kind.

    Private to PyVISA-py 0.8: without it a reply still ends at its line feed or not at all, but a dead
    peer is seen only when the time is up.
    """
    session = getattr(made.visalib, "sessions", {}).get(found.session)
    wire = getattr(session, "interface", None)
    if isinstance(wire, socket.socket) or (hasattr(wire, "in_waiting") and hasattr(wire, "fileno")):
        return wire
    return None


class _Ending:
    """A socket that says when the other end is gone; PyVISA-py's VXI-11 would read on, with a whole core."""

    def __init__(self, wire: socket.socket) -> None:
        self._wire = wire

    def __getattr__(self, name: str) -> Any:
        return getattr(self._wire, name)

    def recv(self, size: int) -> bytes:
        came = self._wire.recv(size)
        if not came:
            raise ConnectionResetError("the instrument closed the connection")
        return came


def _let_it_end(made: Any, found: Any) -> None:
    """Have the end of a VXI-11 link seen; private to PyVISA-py 0.8: without it the time has to be up."""
    interface = getattr(getattr(made.visalib, "sessions", {}).get(found.session), "interface", None)
    wire = getattr(interface, "sock", None)
    if interface is not None and isinstance(wire, socket.socket):
        interface.sock = _Ending(wire)


def _quietly(close: Callable[[], object]) -> None:
    """Close something that is being given up: what it says about it interests nobody."""
    try:
        close()
    except Exception:  # noqa: BLE001 see above
        return
