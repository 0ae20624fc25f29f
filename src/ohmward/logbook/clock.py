"""Time, passed in: what a journal asks of a clock, and the system's own."""

from __future__ import annotations

import sys
import time
from datetime import UTC, datetime
from typing import Protocol

from ohmward.errors import Refused


class Clock(Protocol):
    """What a journal asks of a clock."""

    def now(self) -> datetime:
        """Return the wall time, aware, with the local offset in which the person works."""
        ...

    def monotonic(self) -> float:
        """Return seconds that never run back and know nothing of the wall clock [s]."""
        ...


class SystemClock:
    """The computer's own clock."""

    def now(self) -> datetime:
        """Return the wall time with the local offset."""
        return datetime.now(UTC).astimezone()

    def monotonic(self) -> float:
        """Return seconds since start-up [s]; on Linux those asleep count too.

        A monotonic clock that stops in sleep would make a closed lid look like a changed clock.
        """
        if sys.platform == "linux":
            return time.clock_gettime(time.CLOCK_BOOTTIME)
        return time.monotonic()


def aware_now(clock: Clock) -> datetime:
    """Return the clock's wall time.

    Raises
    ------
    Refused
        When it comes without an offset: a naive time says nothing once the log has travelled.
    """
    now = clock.now()
    if now.utcoffset() is None:
        raise Refused(
            "naive-time", ["the clock gave a time without its offset from UTC"], "Pass an aware clock"
        )
    return now
