"""The run as a whole: what it begins with and carries along, each sitting, its end."""

from __future__ import annotations

from datetime import date
from typing import Literal

from ohmward.logbook.events.body import Body

FORMAT = 1


class Transcribed(Body, frozen=True, kw_only=True):
    """The run was not recorded at the bench: it is older results, copied from paper."""

    date: str
    """ISO date on which the paper says that they were taken: the date the run counts for."""
    by: str
    """Who typed them."""
    source: str
    """What they were copied from, in words."""

    def __post_init__(self) -> None:
        if date.fromisoformat(self.date).isoformat() != self.date:
            raise ValueError(f"'{self.date}' is not a date such as 2019-05-03")


class Earlier(Body, frozen=True, kw_only=True):
    """A reading of an earlier run, as that run has it; SI base units."""

    step: str
    subject: str = ""
    quantity: str
    unit: str
    kind: Literal["exact", "above", "below", "overload"] = "exact"
    net: float | None = None
    """Less its lead null; a bound's own number; None for an overload."""
    own: float = 0.0
    """Standard uncertainty of this reading alone: last digit and spread."""
    common: float | None = None
    """Standard uncertainty by the accuracy of its meter; None where not stated."""
    limit_low: float | None = None
    limit_high: float | None = None
    meter: str = ""
    serial: str = ""
    calibrated: str = ""
    """ISO date on which that meter was calibrated."""
    rail: str = ""
    load_a: float | None = None
    mains_v: float | None = None
    mains_u: float = 0.0
    ambient_c: float | None = None
    room_c: float | None = None
    elapsed_s: float | None = None
    at: str = ""
    note: str = ""


class Baseline(Body, frozen=True, kw_only=True):
    """The earlier run that this one is compared with, carried along so that the log needs nothing else."""

    run: str
    at: str
    """When it counts for, ISO 8601 with offset."""
    procedure: str = ""
    last: str = ""
    """Digest of its last record: which journal it was, and that it is still that one."""
    sheet: str = ""
    """Its design sheet, TOML as written; empty where it is this run's own."""
    values: tuple[Earlier, ...] = ()


class Opened(Body, frozen=True, kw_only=True):
    """First record: all that is needed to read the run without the tool."""

    format: int = FORMAT
    run: str
    tag: str
    operator: str
    simulated: bool
    tool: str
    sheet: str
    """Design sheet, TOML as written."""
    procedure: str
    """Procedure, TOML as written."""
    limits: str
    """Limit set, TOML as written."""
    meters: str = ""
    """Meters with accuracy and calibration dates, TOML as written."""
    purpose: str = ""
    """Who asked for this run and why."""
    transcribed: Transcribed | None = None
    """Set where the run was copied from paper: it proves nothing about how the supply is now."""
    baseline: Baseline | None = None
    """What is compared with; nothing is judged by it."""


class Resumed(Body, frozen=True, kw_only=True):
    """A new session on the same run."""

    operator: str
    tool: str
    fed: str = ""
    """Name of the file of answers that what follows is fed from; empty where a person sits at the bench."""


class Recovered(Body, frozen=True, kw_only=True):
    """A torn last line was set aside when the journal was opened again."""

    torn_bytes: int
    set_aside: str
    """Name of the file beside the journal that holds them."""
    sha256: str = ""
    """SHA-256 (hex) of that file."""


class Closed(Body, frozen=True, kw_only=True):
    """Last record: the summary as shown, for a reader without the tool."""

    verdict: str
    summary: tuple[str, ...] = ()
    records: int
    """Count of records before this one."""
    likely_fault: str = ""
    """What the readings most likely point to; empty where to no fault. Verdicts alone do not say it."""
