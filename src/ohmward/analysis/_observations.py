"""What a cause is inferred from: the readings of a run with the conditions they were taken under."""

from __future__ import annotations

from typing import Literal

import msgspec

LOG_KEYS = frozenset(
    {
        "reservoir_ripple_pp_v", "output_ripple_pp_v", "mains_a", "mains_no_load_a", "bleeder_ohm",
        "primary_ohm", "winding_ohm", "discharge_s",
    }
)  # fmt: skip
"""Compared by their logarithm: what spreads by factors rather than by differences."""
DEAD_KEYS = frozenset({"earth_ohm", "insulation_ohm", "isolation_ohm"})
"""Dead tests that no circuit model predicts."""


MAINS_KEYS = frozenset({"no_load_v", "secondary_v", "reservoir_v", "output_v"})
"""Voltages that go up and down with the mains; the last of a rail without regulator only."""


class Observation(msgspec.Struct, frozen=True, kw_only=True):
    """One reading; keys as in `physics.fault.READINGS` without ``no_load.`` (the loads say that)."""

    key: str
    subject: str = ""
    """Rail, secondary (``T1.a``), transformer, or empty for the unit."""
    value: float
    """Magnitude, in the unit of the reading; a temperature as it is."""
    own: float = 0.0
    """Standard uncertainty that no other reading shares: digits, noise."""
    shared: float = 0.0
    """Standard uncertainty shared with other readings of the same unit: the meter's own error."""
    loads: tuple[tuple[str, float], ...] = ()
    """Every loaded rail with its current [A]."""
    mains_v: float = 230.0
    """What it is computed at [V]; one figure for readings at nearly the same mains."""
    mains_read_v: float | None = None
    """What was read at the moment [V], where that is another."""
    ambient_c: float = 25.0
    elapsed_s: float = 600.0
    """Since these loads began, from cold [s]."""
    bound: Literal["exact", "above", "below"] = "exact"
    title: str = ""
    unit: str = "V"

    @property
    def group(self) -> str:
        """Readings of one group share the error of one meter."""
        return "ripple" if "ripple" in self.key else self.unit

    @property
    def mains_off(self) -> float:
        """The mains of the moment over what it is computed at, less one."""
        return 0.0 if self.mains_read_v is None else self.mains_read_v / self.mains_v - 1.0

    @property
    def scenario(self) -> tuple[tuple[tuple[str, float], ...], float, float, float]:
        """What the unit was doing when it was taken."""
        return (self.loads, round(self.mains_v, 1), round(self.ambient_c, 0), self.elapsed_s)


class CheckAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """One check that was answered with pass or fail."""

    step: str
    subject: str = ""
    failed: bool
    title: str = ""
