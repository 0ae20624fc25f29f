"""What wakes a thread that waits for another: a byte in a pipe, or an event counter of the system.

A lock or a condition wakes who waits while the waking thread still holds the interpreter, so that each waits
for the other in turn. A byte is written and waited for without it: a request that is asked and answered so
costs two changes of thread, through locks five.
"""

from __future__ import annotations

import os
import queue
import select
import sys
import threading
import weakref
from collections.abc import Callable
from functools import partial

if sys.platform == "win32":  # its pipes cannot be waited for with a limit

    class Bell:
        """Rung by any thread, heard by one."""

        def __init__(self) -> None:
            self._rings: queue.SimpleQueue[None] = queue.SimpleQueue()

        def ring(self) -> None:
            """Wake who waits, or who waits next; never waits, so that a signal handler may call it."""
            self._rings.put(None)

        def wait(self, timeout: float | None = None) -> bool:
            """Wait until it is rung; return whether it was in time [s]."""
            try:
                self._rings.get(timeout=timeout)
            except queue.Empty:
                return False
            return True

else:

    class Bell:
        """Rung by any thread, heard by one.

        Raises
        ------
        OSError
            When this process has too many files open.
        """

        def __init__(self) -> None:
            if hasattr(os, "eventfd"):  # Linux: half the work of a pipe
                hear = pull = os.eventfd(0)
                self._hear: Callable[[], object] = partial(os.eventfd_read, hear)
                self._pull: Callable[[], object] = partial(os.eventfd_write, pull, 1)
            else:
                hear, pull = os.pipe()
                os.set_blocking(pull, False)
                self._hear, self._pull = partial(os.read, hear, 64), partial(os.write, pull, b".")
            # it is rung to the very end
            weakref.finalize(self, _closed, {hear, pull}).atexit = False
            self._heard = select.poll()
            self._heard.register(hear, select.POLLIN)

        def ring(self) -> None:
            """Wake who waits, or who waits next; never waits, so that a signal handler may call it."""
            try:  # noqa: SIM105 a third of the time of `suppress`
                self._pull()
            except BlockingIOError:  # it has not been heard yet
                pass

        def wait(self, timeout: float | None = None) -> bool:
            """Wait until it is rung; return whether it was in time [s]."""
            if timeout is not None and not self._heard.poll(1000 * timeout):
                return False
            self._hear()
            return True

    def _closed(ends: set[int]) -> None:
        for each in ends:
            os.close(each)


class _Own(threading.local):
    bell: Bell | None = None


_own = _Own()


def own_bell() -> Bell:
    """Return the bell of the calling thread, for whatever it waits for.

    It may have been rung for something that was waited for before: who waits looks again.

    Raises
    ------
    OSError
        When this process has too many files open.
    """
    bell = _own.bell
    if bell is None:
        bell = _own.bell = Bell()
    return bell
