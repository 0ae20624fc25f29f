"""The queue of requests of one meter: put by any thread, taken by its owner alone.

A lock or a condition wakes the owner while the waking thread still holds the interpreter, so that each
waits for the other in turn, with six changes of thread for one request. A byte through a pipe is written
and waited for without the interpreter, and costs two.
"""

from __future__ import annotations

import os
import queue
import select
import sys
import weakref
from collections import deque
from contextlib import suppress
from typing import Generic, TypeVar

T = TypeVar("T")

if sys.platform == "win32":  # its pipes cannot be waited for with a limit

    class Inbox(queue.SimpleQueue[T]):
        """Requests in order."""

        def ready(self) -> None:
            """Do nothing: there is no bell."""

else:

    class Inbox(Generic[T]):
        """Requests in order; `ready` is called before the first is taken."""

        def __init__(self) -> None:
            self._waiting = False
            self._held: deque[T] = deque()
            self._bell: tuple[int, int] | None = None

        def ready(self) -> None:
            """Open the bell, once.

            Raises
            ------
            OSError
                When this process has too many files open.
            """
            if self._bell is None:
                self._bell = ends = os.pipe()
                weakref.finalize(self, _closed, ends).atexit = False  # it is rung to the very end
                os.set_blocking(ends[1], False)

        def put(self, each: T) -> None:
            """Add a request; never waits, so that a signal handler may call it."""
            self._held.append(each)
            if self._waiting and self._bell is not None:
                with suppress(BlockingIOError):  # it has not been heard yet
                    os.write(self._bell[1], b".")

        def empty(self) -> bool:
            """Return whether nothing waits."""
            return not self._held

        def get(self, timeout: float | None = None) -> T:
            """Take the first request, waiting for one.

            Raises
            ------
            queue.Empty
                When none came in time [s].
            """
            while not self._held:
                self._wait(timeout)
            return self._held.popleft()

        def _wait(self, timeout: float | None) -> None:
            assert self._bell is not None
            self._waiting = True
            try:
                if self._held:  # put before it was known that this waits
                    return
                if timeout is not None and not _rung(self._bell[0], timeout):
                    raise queue.Empty
                os.read(self._bell[0], 64)
            finally:
                self._waiting = False

    def _rung(bell: int, timeout: float) -> bool:
        heard = select.poll()
        heard.register(bell, select.POLLIN)
        return bool(heard.poll(1000 * timeout))

    def _closed(ends: tuple[int, int]) -> None:
        for each in ends:
            os.close(each)
