"""Time on the simulated bench: wall-clock time, run faster, moved on by hand, or both."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable


class BenchClock:
    """Seconds of bench time since the bench was made.

    Parameters
    ----------
    speed : float
        Bench seconds for each real second; 0 for a clock that moves by hand only.
    monotonic : callable
        Real time [s]; given by tests.
    """

    def __init__(self, speed: float = 1.0, monotonic: Callable[[], float] = time.monotonic) -> None:
        if not 0 <= speed <= MOST_SPEED:
            raise ValueError(f"a speed of {speed:g}: it has to lie between 0 and {MOST_SPEED:g}")
        self.speed = speed
        self._monotonic = monotonic
        self._start = monotonic()
        self._skipped = 0.0
        self._lock = threading.Lock()

    def now_s(self) -> float:
        """Return bench time [s]."""
        with self._lock:
            return self._skipped + self.speed * (self._monotonic() - self._start)

    def skip(self, seconds: float) -> None:
        """Move the clock on by `seconds` [s] of bench time at once."""
        if not seconds >= 0:
            raise ValueError("time does not run backwards")
        with self._lock:
            self._skipped += seconds


MOST_SPEED = 1e4
