"""The tables of a history: plain data, SI base units (capacitance left in per cent)."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from ohmward.analysis.history_capacitor import ReservoirLife
from ohmward.analysis.history_change import Change
from ohmward.procedure.model import Severity

if TYPE_CHECKING:
    import pandas as pd


class RunLine(msgspec.Struct, frozen=True, kw_only=True):
    """One run, as a history lists it."""

    run: str
    at: str
    procedure: str
    verdict: str
    """As the journal keeps it."""
    operator: str
    readings: int
    likely_fault: str = ""
    """What its readings most likely meant, though it passed; empty for nothing."""
    transcribed: bool = False
    repairs: tuple[str, ...] = ()
    problem: str = ""


class Break(msgspec.Struct, frozen=True, kw_only=True):
    """Where the supply became another one."""

    run: str
    """The first run after it."""
    at: str
    why: str
    fields: tuple[str, ...] = ()
    """Of the design sheet, that changed."""
    whole: bool = True
    """False: the changed fields bear on a few readings only, and the others go on across it."""


class Point(msgspec.Struct, frozen=True, kw_only=True):
    """One reading of a series."""

    run: str
    at: str
    years: float
    """Since the baseline run."""
    read: float | None
    """As judged then, not scaled."""
    value: float
    """Scaled, where `how` says so."""
    own: float
    common: float | None
    limit_low: float | None = None
    limit_high: float | None = None
    meter: str = ""
    calibrated: str = ""
    mains_v: float | None = None
    ambient_c: float | None = None
    how: str = ""
    doubt: str = ""
    transcribed: bool = False


class Trend(msgspec.Struct, frozen=True, kw_only=True):
    """A robust line: Theil-Sen with its interval, Mann-Kendall."""

    readings: int
    slope_per_year: float
    slope_low: float
    slope_high: float
    level: float
    intercept: float
    """At the baseline run."""
    s: int
    tau: float
    p: float
    significant: bool
    scatter: float
    """Standard deviation of what the meters do not account for."""


class Forecast(msgspec.Struct, frozen=True, kw_only=True):
    """When a limit is reached, if it goes on so."""

    what: str
    limit: float
    at: str
    """ISO date; empty where it is more than a century off."""
    low: str
    """Ends of the interval, level as of the trend; empty where open."""
    high: str
    in_years: float | None
    """After the latest reading."""
    supported: bool
    """The readings show a trend at all (Mann-Kendall)."""


class Series(msgspec.Struct, frozen=True, kw_only=True):
    """One reading over the runs."""

    step: str
    subject: str
    title: str
    quantity: str
    unit: str
    rail: str
    severity: Severity
    points: tuple[Point, ...]
    bounded: tuple[tuple[str, str], ...] = ()
    """Runs in which it was only a bound, and which; these are not in the trend."""
    change: Change | None = None
    trend: Trend | None = None
    """None with fewer than four readings."""
    forecasts: tuple[Forecast, ...] = ()
    ageing: bool = False

    @property
    def key(self) -> tuple[str, str]:
        """Address of the reading."""
        return (self.step, self.subject)


class History(msgspec.Struct, frozen=True, kw_only=True):
    """The history of one supply."""

    tag: str
    title: str
    simulated: bool
    """All its runs are rehearsals."""
    runs: tuple[RunLine, ...]
    rehearsals: int
    """Rehearsals left out, because there are runs of the real supply."""
    breaks: tuple[Break, ...]
    across: bool
    baseline: str
    baseline_named: bool
    series: tuple[Series, ...]
    lives: tuple[ReservoirLife, ...]
    end_of_life: str
    """What counts as the end of a reservoir's life, and by whom."""

    @property
    def broken(self) -> bool:
        """Whether it became another supply, and not only its sheet in a field that bears on little."""
        return any(each.whole for each in self.breaks)

    @property
    def ageing(self) -> tuple[Series, ...]:
        """The series that say it ages."""
        return tuple(each for each in self.series if each.ageing)

    def one(self, step: str, subject: str = "") -> Series | None:
        """Return the series at an address, None where there is none."""
        return next((each for each in self.series if each.key == (step, subject)), None)

    def frame(self) -> pd.DataFrame:
        """Return every point as a tidy table, for a notebook: one row a reading."""
        import pandas as pd

        heads = ("step", "subject", "title", "quantity", "unit", "rail")
        rows = [
            {**{name: getattr(series, name) for name in heads}, **msgspec.structs.asdict(point)}
            for series in self.series
            for point in series.points
        ]
        return pd.DataFrame(rows, columns=[*heads, *Point.__struct_fields__])
