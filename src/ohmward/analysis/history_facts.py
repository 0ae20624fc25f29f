"""What the history of a supply is drawn from: its runs, each brought down to plain data.

The run layer fills these from journals (`ohmward.run.history`); they are also what the index beside a
logbook holds, so every field is data and nothing here is computed from another.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import NamedTuple

import msgspec

from ohmward.logbook.events import Verdict
from ohmward.procedure.model import Severity
from ohmward.quantity.value import Kind
from ohmward.supply.model import Supply

YEAR_S = 365.25 * 86400.0

LEFT_OUT = frozenset({"mains_v", "ambient_c", "humidity_pct", "residual_v"})
"""Quantities that tell of the moment or of the waiting, and not of the supply."""


class PastReading(msgspec.Struct, frozen=True, kw_only=True, array_like=True):
    """One reading of a run that still counts at its end; SI base units."""

    step: str
    subject: str
    title: str
    quantity: str
    unit: str
    severity: Severity = "fault"
    kind: Kind = "exact"
    """A bound (``>200 MΩ``) has its own number in `net`."""
    net: float | None = None
    """Less the lead null; None for an overload on a range not known."""
    own: float = 0.0
    """Standard uncertainty of this reading alone: last digit and spread."""
    common: float | None = None
    """Standard uncertainty shared with other readings of the same meter; None where not stated."""
    limit_low: float | None = None
    limit_high: float | None = None
    verdict: Verdict = "not applicable"
    meter: str = ""
    serial: str = ""
    calibrated: str = ""
    """Of the meter, as far as the run's list tells."""
    rail: str = ""
    load_a: float | None = None
    """Magnitude: as read at the point, else as the procedure asks."""
    together: bool = False
    elapsed_s: float | None = None
    mains_v: float | None = None
    """Mains last read before it; None where none was."""
    mains_u: float = 0.0
    """Standard uncertainty of that mains reading [V]."""
    ambient_c: float | None = None
    room_c: float | None = None
    """In a soak: room air read at the same time."""
    at: str = ""
    note: str = ""
    """The person's own words: where and how it was read."""

    @property
    def key(self) -> tuple[str, str]:
        """Address of the reading, the same in every run that measures the same thing."""
        return (self.step, self.subject)

    @property
    def instrument(self) -> str:
        """Which meter took it, calibrated again or not; empty where none is named."""
        return f"{self.meter} {self.serial}".strip()


class PastRun(msgspec.Struct, frozen=True, kw_only=True, array_like=True):
    """One run of a supply."""

    run: str
    """Folder and file name without ending."""
    tag: str
    at: str
    """When it counts for, ISO 8601 with offset: its beginning, or the date on the paper it is copied from."""
    procedure: str = ""
    simulated: bool = False
    transcribed: bool = False
    """Copied from paper, not recorded at the bench."""
    closed: bool = False
    verdict: str = ""
    """Of a closed run."""
    likely_fault: str = ""
    """What the readings of a closed run most likely point to; empty where to no fault."""
    energised: bool = False
    """Mains was on at least once."""
    operator: str = ""
    sheet: str = ""
    """Design sheet, TOML as the run has it."""
    parts: tuple[str, ...] = ()
    repairs: tuple[tuple[str, str], ...] = ()
    """When, and what was mended or changed."""
    half_missing: tuple[str, ...] = ()
    """Rails whose ripple was found at mains frequency: it tells of a diode, and not of the reservoir."""
    readings: tuple[PastReading, ...] = ()
    last: str = ""
    """Digest of its last record."""
    records: int = 0
    problem: str = ""
    """What is wrong with the journal; then it has no readings here."""

    @property
    def good(self) -> bool:
        """Whether it was closed and passed, if only with conditions."""
        return self.closed and self.verdict in {"pass", "conditional pass"}

    @property
    def when(self) -> datetime:
        """The moment it counts for, in UTC."""
        return instant(self.at)

    def reading(self, key: tuple[str, str]) -> PastReading | None:
        """Return the reading at an address, None where the run has none."""
        return next((each for each in self.readings if each.key == key), None)


class Taken(NamedTuple):
    """A reading with the run it was taken in, and that run's design sheet as it is read."""

    reading: PastReading
    run: PastRun
    supply: Supply


def instant(at: str) -> datetime:
    """Return an ISO time with offset as a time in UTC."""
    return datetime.fromisoformat(at).astimezone(UTC)


def years_between(first: str, second: str) -> float:
    """Return the time from one ISO time to another [years of 365.25 days]."""
    return (instant(second) - instant(first)).total_seconds() / YEAR_S
