"""One supply on one line: how it stood at its last run, what ages, and when it is due.

Computed from the runs and kept in the index beside the logbook; nothing in it depends on today, so that what
is due is asked of it each time anew (`due`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from typing import Literal

import msgspec

from ohmward.analysis.history import history
from ohmward.analysis.history_facts import PastReading, PastRun
from ohmward.analysis.history_results import History
from ohmward.analysis.history_scaling import design_of, scaled
from ohmward.analysis.outcomes import outcome_said

INTERVAL_MONTHS = 12
"""Retest once a year: common practice for a workshop; no law sets it (TRADE: HSE sets no fixed interval)."""
FORECAST_SHARE = 0.5
"""Half of the time to the earliest date at which a limit may be reached; common practice, no source."""
SOONEST_DAYS = 30
STORED_YEARS = 2.0
"""Not tested for longer than this: it may have stood unused; common practice (storage over a year)."""

WHOLE = frozenset({"commissioning", "retest", "after-repair", "long-storage"})


class Aged(msgspec.Struct, frozen=True, kw_only=True, array_like=True):
    """One reading that says the supply ages."""

    what: str
    now: float
    then: float
    unit: str
    at: str
    """When it reaches its limit, ISO date; empty where that is open."""
    low: str
    high: str
    goal: str


class Glance(msgspec.Struct, frozen=True, kw_only=True, array_like=True):
    """One supply at a glance."""

    tag: str
    title: str = ""
    simulated: bool = False
    runs: int = 0
    damaged: int = 0
    first_at: str = ""
    last_at: str = ""
    last_run: str = ""
    last_procedure: str = ""
    last_verdict: str = ""
    """'not closed' where the last run is still open."""
    likely_fault: str = ""
    """What the readings of the last run most likely point to, where it is closed."""
    good_at: str = ""
    """When it last passed a whole procedure."""
    good_run: str = ""
    margin_pct: float | None = None
    """Distance of the worst reading of the last measured run from its limit, in per cent of the limit; below
    zero where it is past it."""
    margin_what: str = ""
    margin_value: float | None = None
    margin_limit: float | None = None
    margin_unit: str = ""
    ageing: tuple[Aged, ...] = ()
    changed: int = 0
    """Readings that differ from the baseline by more than the meters allow, for the worse."""
    mended: str = ""
    """What was repaired after the last whole test passed; empty for nothing."""
    rehearsals: int = 0


Reason = Literal[
    "never tested", "not finished", "failed", "likely fault", "repaired", "forecast", "interval", "damaged"
]  # fmt: skip


class Due(msgspec.Struct, frozen=True, kw_only=True):
    """What is to be done with one supply, and when."""

    tag: str
    on: str
    """ISO date."""
    overdue_days: int
    """Negative while there is time."""
    procedure: str
    reason: Reason
    words: str
    simulated: bool = False

    @property
    def at_once(self) -> bool:
        """Whether it is due now whatever the day: it is not to be used before it is tested."""
        return self.reason in {"failed", "likely fault", "not finished", "never tested", "repaired"}


def glance(runs: Sequence[PastRun]) -> Glance:
    """Return one supply on one line; raises ValueError without a run."""
    told = history(runs, quick=True)
    ordered = sorted(
        (run for run in runs if run.simulated == told.simulated), key=lambda run: (run.when, run.run)
    )
    sound = [run for run in ordered if not run.problem]
    last = sound[-1] if sound else ordered[-1]
    good = [run for run in sound if run.good and not run.transcribed and run.procedure in WHOLE]
    measured = next((run for run in reversed(sound) if run.readings), None)
    margin = _worst_margin(measured) if measured else None
    found = Glance(
        tag=told.tag,
        title=told.title,
        simulated=told.simulated,
        runs=len(ordered),
        damaged=len(ordered) - len(sound),
        first_at=ordered[0].at,
        last_at=last.at,
        last_run=last.run,
        last_procedure=last.procedure,
        last_verdict=last.verdict if last.closed else "not closed",
        likely_fault=last.likely_fault,
        good_at=good[-1].at if good else "",
        good_run=good[-1].run if good else "",
        ageing=tuple(_aged(told)),
        changed=sum(
            each.change is not None and each.change.verdict == "changed" and each.change.worse
            for each in told.series
        ),
        mended=_mended(sound),
        rehearsals=told.rehearsals,
    )
    if margin is None:
        return found
    pct, reading, limit = margin
    return msgspec.structs.replace(
        found,
        margin_pct=pct,
        margin_what=(f"{reading.title} ({reading.subject})" if reading.subject else reading.title)
        + (", in the hottest room" if _is_hot(reading) else ""),
        margin_value=reading.net,
        margin_limit=limit,
        margin_unit=reading.unit,
    )


def margin_of(reading: PastReading) -> tuple[float, float] | None:
    """Return the distance to the nearer limit in per cent of that limit, and the limit; None without one.

    With both sides given, in per cent of half the band.
    """
    value, low, high = reading.net, reading.limit_low, reading.limit_high
    if value is None or (low is None and high is None):
        return None
    if low is not None and high is not None and reading.kind == "exact":
        half = (high - low) / 2.0
        near = min(((value - low), low), ((high - value), high), key=lambda pair: pair[0])
        return (100.0 * near[0] / half, near[1]) if half > 0.0 else None
    limit, room = (high, (high or 0.0) - value) if high is not None else (low, value - (low or 0.0))
    if (
        not limit
        or (reading.kind == "above" and high is not None)
        or (reading.kind == "below" and low is not None)
    ):
        return None
    return 100.0 * room / abs(limit), limit


def _worst_margin(run: PastRun) -> tuple[float, PastReading, float] | None:
    carried = (_in_hottest_room(reading, run) for reading in run.readings)
    found = [
        (margin[0], reading, margin[1])
        for reading in carried
        if reading.severity != "improvement" and (margin := margin_of(reading)) is not None
    ]
    return min(found, key=lambda each: each[0], default=None)


def _is_hot(reading: PastReading) -> bool:
    return reading.quantity == "temperature_c"


def _in_hottest_room(reading: PastReading, run: PastRun) -> PastReading:
    """Return a temperature as it would be in the hottest room allowed; anything else as it is."""
    if not _is_hot(reading) or reading.kind != "exact" or reading.net is None:
        return reading
    made = scaled(reading, run, design_of(run.sheet))
    return msgspec.structs.replace(reading, net=made.value)


def _aged(told: History) -> Iterator[Aged]:
    for series in told.ageing:
        crossing = min(series.forecasts, key=lambda each: each.in_years if each.in_years is not None else 1e9)
        yield Aged(
            what=f"{series.title} ({series.subject})" if series.subject else series.title,
            now=series.points[-1].value,
            then=series.points[0].value,
            unit=series.unit,
            at=crossing.at,
            low=crossing.low,
            high=crossing.high,
            goal=crossing.what,
        )


def _mended(sound: Sequence[PastRun]) -> str:
    """Return what was repaired and not yet followed by a test that covers a repair.

    A retest leaves the inside alone: a repair in it, or in a run that did not pass, asks for 'after-repair'.
    """
    open_repair = ""
    for run in sound:
        if run.repairs:
            open_repair = "; ".join(what for _, what in run.repairs)
        if run.good and not run.transcribed and run.procedure in WHOLE - {"retest"}:
            open_repair = ""
    return open_repair


_TOLD_TOO = frozenset({"forecast", "repaired", "failed", "likely fault"})
"""Reasons that are told where another counts first."""


def due(found: Glance, today: date, *, interval_months: int = INTERVAL_MONTHS) -> Due:
    """Return what a supply is due for, by what happened, by forecast or by interval: the soonest counts."""
    reasons = sorted(
        _reasons(found, today, interval_months), key=lambda each: (each[0], each[1] == "interval")
    )
    on, reason, procedure, words = reasons[0]
    others = [each[3] for each in reasons[1:] if each[1] in _TOLD_TOO]
    return Due(
        tag=found.tag,
        on=on.isoformat(),
        overdue_days=(today - on).days,
        procedure=procedure,
        reason=reason,
        words="; ".join((words, *others)),
        simulated=found.simulated,
    )


_Reasons = Iterator[tuple[date, Reason, str, str]]


def _reasons(found: Glance, today: date, months: int) -> _Reasons:
    last = date.fromisoformat(found.last_at[:10])
    if found.mended:
        yield last, "repaired", "after-repair", f"repaired since it was last tested whole: {found.mended}"
    if found.last_verdict == "not closed":
        yield last, "not finished", found.last_procedure, "its last run was never closed"
    elif found.last_verdict in {"fail", "conditional fail", "incomplete"}:
        mend = "mend what failed, then test it" if "fail" in found.last_verdict else "finish the test"
        procedure = "after-repair" if "fail" in found.last_verdict else found.last_procedure
        yield (
            last,
            "failed",
            procedure,
            f"its last run ended with '{outcome_said(found.last_verdict)}': {mend}",
        )
    elif found.likely_fault:
        words = f"its readings most likely mean: {found.likely_fault}; find and mend it, then test it"
        yield last, "likely fault", "after-repair", words
    if not found.good_at:
        yield last, "never tested", "commissioning", "no whole test of it has passed yet"
        return
    good = date.fromisoformat(found.good_at[:10])
    regular = add_months(good, months)
    stored = (today - good).days > STORED_YEARS * 365.25
    if stored:
        words = f"last passed on {good}; if it stood unused, 'long-storage', else 'retest'"
        yield regular, "interval", "long-storage", words
    else:
        yield regular, "interval", "retest", f"{months} months after it passed on {good}"
    for each in found.ageing:
        soonest = each.low or each.at
        if soonest:
            ahead = (date.fromisoformat(soonest) - last).days
            on = last + timedelta(days=max(SOONEST_DAYS, int(FORECAST_SHARE * ahead)))
            yield on, "forecast", "retest", f"{each.what} may reach {each.goal} from {soonest} on"


def add_months(day: date, months: int) -> date:
    """Return the same day so many months later; the last of the month where that has no such day."""
    years, month = divmod(day.month - 1 + months, 12)
    for last in (day.day, 30, 29, 28):
        try:
            return date(day.year + years, month + 1, last)
        except ValueError:
            continue
    raise AssertionError("every month has 28 days")
