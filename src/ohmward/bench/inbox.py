"""The queue of requests of one meter: put by any thread, taken by its owner alone."""

from __future__ import annotations

import queue
from collections import deque
from typing import Generic, TypeVar

from ohmward.bench.bell import Bell

T = TypeVar("T")


class Inbox(Generic[T]):
    """Requests in order; `ready` is called before the first is taken."""

    def __init__(self) -> None:
        self._waiting = False
        self._held: deque[T] = deque()
        self._bell: Bell | None = None

    def ready(self) -> None:
        """Have a bell, once.

        Raises
        ------
        OSError
            When this process has too many files open.
        """
        if self._bell is None:
            self._bell = Bell()

    def put(self, each: T) -> None:
        """Add a request; never waits, so that a signal handler may call it."""
        self._held.append(each)
        if self._waiting and self._bell is not None:
            self._bell.ring()

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
            if not self._bell.wait(timeout):
                raise queue.Empty
        finally:
            self._waiting = False
