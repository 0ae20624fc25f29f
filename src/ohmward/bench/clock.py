"""Time as the runners see it: passed in, so that a rehearsal runs faster than the wall's."""

from __future__ import annotations

import threading
import time
from typing import Protocol


class Clock(Protocol):
    """Time as the runners see it; a rehearsal's runs faster than the wall's."""

    def now(self) -> float:
        """Seconds since some moment, never going back."""

    def wait(self, seconds: float) -> bool:
        """Wait; return True when it was ended early because the work is to stop."""


class WallClock:
    """The wall's own time; `stop` ends every wait."""

    def __init__(self, stop: threading.Event | None = None) -> None:
        self.stop = stop or threading.Event()

    def now(self) -> float:
        """Seconds of the monotonic clock."""
        return time.monotonic()

    def wait(self, seconds: float) -> bool:
        """Wait; return True when it was ended early because the work is to stop."""
        return self.stop.is_set() if seconds <= 0 else self.stop.wait(seconds)
