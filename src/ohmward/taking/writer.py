"""Writing beside the sampling: one thread, in order, so that a slow disk makes no sample late."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor

from ohmward.errors import Unreachable

MOST_WAITING = 1000
"""Jobs that may wait for the disk; more means that it takes nothing any more."""


class Writer:
    """Does what it is handed, one after another, on a thread of its own.

    Nothing is done after a job that failed: its error is raised where the next one is handed over, and
    by `finish`.

    Parameters
    ----------
    beside : bool
        False: each is done at once, where it is handed over.
    """

    def __init__(self, *, beside: bool) -> None:
        self._beside = beside
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="record")
        self._waiting: deque[Future[None]] = deque()
        self._error: BaseException | None = None
        self._told = False

    def hand(self, job: Callable[[], None]) -> None:
        """Have a job done after those before it.

        Raises
        ------
        Exception
            What an earlier job raised; what this one does, where it is done at once.
        Unreachable
            When so much is waiting that the disk must have stopped.
        """
        if not self._beside:
            job()
            return
        while self._waiting and self._waiting[0].done():
            self._waiting.popleft()
        self._raise()
        if len(self._waiting) >= MOST_WAITING:
            raise Unreachable("the journal takes the samples no longer: its disk does not answer")
        self._waiting.append(self._pool.submit(self._do, job))

    def finish(self) -> None:
        """Wait until all is done; raises what failed, unless it was raised before."""
        self._pool.shutdown(wait=True)
        self._raise()

    def _do(self, job: Callable[[], None]) -> None:
        if self._error is None:
            try:
                job()
            except BaseException as error:  # noqa: BLE001 raised on the thread that hands over
                self._error = error

    def _raise(self) -> None:
        if self._error is not None and not self._told:
            self._told = True
            raise self._error
