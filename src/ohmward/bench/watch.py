"""The wall clock over all owner threads: one that hangs inside a library is given up and replaced.

Timeouts are kept by the transports; this is for what they cannot end, such as a call into an installed
VISA library or a name look-up that never returns. A thread cannot be stopped from outside, only no longer
listened to: it is a daemon, and what it brings back later is dropped.
"""

from __future__ import annotations

import threading
import time
import weakref
from typing import Any, Protocol

PERIOD_S = 0.25


class Watched(Protocol):
    """A session."""

    def overdue(self, now: float) -> bool:
        """Return whether its request in hand has outlived its limit."""

    def abandon(self) -> None:
        """Give its thread up."""


_watched: weakref.WeakSet[Any] = weakref.WeakSet()
_lock = threading.Lock()
_thread: list[threading.Thread] = []


def watch(session: Watched) -> None:
    """Watch a session for as long as it lives."""
    with _lock:
        _watched.add(session)
        if not _thread:
            _thread.append(threading.Thread(target=_run, name="bench watch", daemon=True))
            _thread[0].start()


def _run() -> None:
    while True:
        time.sleep(PERIOD_S)
        with _lock:
            sessions: list[Watched] = list(_watched)
        now = time.monotonic()
        for each in sessions:
            if each.overdue(now):
                each.abandon()
