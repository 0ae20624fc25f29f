"""Nothing under our control stays on: normal end, exception, signal, lost connection.

A process that ends in order leaves through `leave_all`. For one that does not, `left_on` writes down what is
switched on; whether there is such a thing is asked here, before anything is loaded that could switch it off.
"""

from __future__ import annotations

import atexit
import signal
import sys
import threading
import time
import weakref
from collections.abc import Iterable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any, Protocol

from ohmward.text import one_line

FOLDER = "switched-on"
"""Folder of a logbook with a file for each instrument that is switched on."""
LEAVE_LIMIT_S = 10.0
_TOLD = {"SIGTERM": "the program was told to end", "SIGHUP": "the terminal was lost"}


def anything_written(logbook: Path) -> bool:
    """Return whether an instrument may be switched on, or have been left so."""
    return (logbook / FOLDER).is_dir()


class Leaver(Protocol):
    """What can be left: a session."""

    name: str

    def begin_leaving(self) -> None:
        """Ask for it; only sets and puts, so that a signal handler may call it."""

    @property
    def left(self) -> Future[bool]:
        """Done when it has left; False when it may still be on."""


_leavers: weakref.WeakSet[Any] = weakref.WeakSet()
_stops: weakref.WeakSet[threading.Event] = weakref.WeakSet()
_previous: dict[int, Any] = {}
_installed = threading.Event()
_told: dict[int, float] = {}
"""The signals that came, and when each first did [s, monotonic]."""


def look_after(leaver: Leaver) -> None:
    """Have a session left when the process ends."""
    if not _installed.is_set():
        _installed.set()
        atexit.register(_at_exit)
    _leavers.add(leaver)


def leave_first() -> None:
    """Have the instruments left before anything else that was registered for the end so far.

    PyVISA closes every session at exit; what is registered last is called first.
    """
    atexit.unregister(_at_exit)
    atexit.register(_at_exit)


def install_signals() -> None:
    """Leave in order on SIGTERM and SIGHUP; to be called once, from the main thread.

    Ctrl-C needs no hook: it unwinds the main thread, and the end of the process leaves.
    """
    for name in _TOLD:
        number = getattr(signal, name, None)
        if number is not None and number not in _previous:
            _previous[number] = signal.signal(number, _on_signal)


@contextmanager
def stopped_on_leaving(stop: threading.Event) -> Iterator[None]:
    """Have `stop` set when the process is told to end: who works under it then puts that in order."""
    _stops.add(stop)
    try:
        yield
    finally:
        _stops.discard(stop)


def told_to_end() -> str:
    """Return by what the process was told to end, in words; empty when it was not."""
    return next((_TOLD[signal.Signals(number).name] for number in _told), "")


def leave_all(limit_s: float = LEAVE_LIMIT_S) -> tuple[str, ...]:
    """Leave every instrument; return the names of those that may still be on."""
    leavers: Iterable[Leaver] = list(_leavers)
    for each in leavers:
        each.begin_leaving()
    deadline = time.monotonic() + limit_s
    on = []
    for each in leavers:
        try:
            off = each.left.result(max(0.0, deadline - time.monotonic()))
        except TimeoutError:
            off = False
        if not off:
            on.append(each.name)
    return tuple(on)


def _at_exit() -> None:
    for name in leave_all():
        sys.stderr.write(
            f"ohmward: '{one_line(name)}' MAY STILL BE ON: it cannot be reached. Switch it off by hand;"
            " the next start will try again.\n"
        )


def _woken(number: int, frame: FrameType | None) -> None:
    """Do nothing: what is on its way out is not to be gone on with."""


def _on_signal(number: int, frame: FrameType | None) -> None:
    if sys.platform != "win32":
        # a terminal that goes away sends it too, and a screen that draws itself anew would break into this
        signal.signal(signal.SIGCONT, _woken)
    now = time.monotonic()
    already = any(now - at < LEAVE_LIMIT_S for at in _told.values())
    _told.setdefault(number, now)
    for stop in list(_stops):
        if not stop.is_set():
            stop.set()
    for each in list(_leavers):
        each.begin_leaving()
    previous = _previous.get(number)
    if callable(previous):
        previous(number, frame)
        return
    if already:
        return  # what is being put in order is not broken off
    raise SystemExit(128 + number)
