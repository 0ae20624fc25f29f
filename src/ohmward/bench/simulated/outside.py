"""What the simulated unit stands in: a mains and a room that wander slowly about what they are set to."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

MAINS_WANDER_V, ROOM_WANDER_K = 0.8, 0.3
"""At most this far from the setting (mains: of 230 V, others in proportion)."""


@dataclass(slots=True, kw_only=True)
class Outside:
    """Mains and room as functions of bench time; the same seed wanders the same way."""

    seed: int
    mains_setting_v: float
    room_setting_c: float
    wander: bool = True
    _phases: list[float] = field(init=False)

    def __post_init__(self) -> None:
        draw = random.Random(f"wander {self.seed}")
        self._phases = [draw.uniform(0, 2 * math.pi) for _ in range(3)]

    def mains_v(self, at_s: float) -> float:
        """Return the mains at a time of the bench clock [V RMS]: two slow waves of 28 and 7 minutes."""
        size = MAINS_WANDER_V * self.mains_setting_v / 230.0 if self.wander else 0.0
        slow, quick = self._wave(at_s, 1700, 0), self._wave(at_s, 430, 1)
        return self.mains_setting_v + size * (0.6 * slow + 0.4 * quick)

    def room_c(self, at_s: float) -> float:
        """Return the room at a time of the bench clock [°C]: a wave of an hour and a half."""
        size = ROOM_WANDER_K if self.wander else 0.0
        return self.room_setting_c + size * self._wave(at_s, 5400, 2)

    def _wave(self, at_s: float, period_s: float, which: int) -> float:
        return math.sin(2 * math.pi * at_s / period_s + self._phases[which])
