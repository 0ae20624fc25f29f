"""A request to a meter: asked by any thread, done by the meter's owner, waited for by whoever asked.

It is the part of a standard future that is wanted here. Those wake who waits through a lock, and cost more
than all else that a reading needs besides the line (`bell` says why).
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Generic, TypeVar

from ohmward.bench.attempt import Attempt
from ohmward.bench.bell import Bell, own_bell
from ohmward.bench.conversation import Conversation
from ohmward.bench.messages import Answer, MeterFailed

T = TypeVar("T")


class Request(Generic[T]):
    """What is asked, and the answer once it is there.

    Parameters
    ----------
    meter : str
        Who is asked.
    do : callable
        Speaks to the instrument.
    what : str
        In words, for the record.
    attempts : int
        How often it is tried.
    limit_s : float
        What all attempts at one reading may take by the wall clock [s].
    """

    __slots__ = (
        "_answer", "_begun", "_bells", "_done", "_failure", "_lock", "attempts", "began", "do", "failed",
        "in_a_row", "limit_s", "meter", "since", "told", "what",
    )  # fmt: skip

    def __init__(
        self, meter: str, do: Callable[[Conversation], Any], what: str, attempts: int, limit_s: float
    ) -> None:
        self.meter, self.do, self.what, self.attempts, self.limit_s = meter, do, what, attempts, limit_s
        self.began = self.since = 0.0
        """When it was begun, and when its latest reading was had: the wall clock counts from there [s]."""
        self.failed: list[Attempt] = []
        self.in_a_row = self.told = 0
        """How many attempts failed since its latest reading, and how many were told with its readings."""
        self._begun = self._done = False
        self._lock = threading.Lock()
        self._bells: list[Bell] = []
        self._answer: Answer[T] | None = None
        self._failure: MeterFailed | None = None

    # called by who asks

    def done(self) -> bool:
        """Return whether it is answered, or failed."""
        return self._done

    def wait(self, timeout: float | None = None) -> bool:
        """Wait until it is done, so long at most [s]; return whether it is."""
        if self._done:
            return True
        end = None if timeout is None else time.monotonic() + timeout
        bell = own_bell()
        self._bells.append(bell)  # before it is looked at again: who answers looks the other way round
        while not self._done and bell.wait(timeout):
            if end is not None:
                timeout = max(0.0, end - time.monotonic())
        return self._done

    def result(self, timeout: float | None = None) -> Answer[T]:
        """Wait for the answer, so long at most [s].

        Raises
        ------
        MeterFailed
            When it could not be answered, or was taken back.
        TimeoutError
            When it is not done in time.
        """
        if not self.wait(timeout):
            raise TimeoutError
        answer = self._answer
        if answer is None:
            assert self._failure is not None
            raise self._failure
        return answer

    @property
    def failure(self) -> MeterFailed | None:
        """Why it failed; None when it did not, or is not done."""
        return self._failure

    def take_back(self) -> bool:
        """Have it never begun; return False when it has been."""
        with self._lock:
            return not self._begun and self._fail("taken back before it was asked")

    # called by the owner, and by who looks after it

    def begin(self) -> bool:
        """Take it in hand; return False when it was taken back."""
        with self._lock:
            self._begun = not self._done
        self.began = self.since = time.monotonic()
        return self._begun

    def answer(self, answer: Answer[T]) -> None:
        """Answer it, unless the wall clock was quicker: then it has failed already."""
        with self._lock:
            if self._done:
                return
            self._answer = answer
            self._done = True
        for bell in self._bells:
            bell.ring()

    def fail(self, why: str) -> None:
        """Say that it failed, unless it is done."""
        with self._lock:
            self._fail(why)

    def _fail(self, why: str) -> bool:
        if self._done:
            return False
        self._failure = MeterFailed(self.meter, why, tuple(self.failed))
        self._done = True
        for bell in self._bells:
            bell.ring()
        return True


def wait_for(requests: Iterable[Request[Any]], timeout: float) -> None:
    """Wait until all are done, so long at most [s]."""
    end = time.monotonic() + timeout
    for each in requests:
        each.wait(max(0.0, end - time.monotonic()))


def as_done(requests: Iterable[Request[T]]) -> Iterator[Request[T]]:
    """Give requests as they are done."""
    left = list(requests)
    bell = own_bell()
    for each in left:
        each._bells.append(bell)
    while left:
        found = [each for each in left if each.done()]
        for each in found:
            left.remove(each)
            yield each
        if left and not found:
            bell.wait()
