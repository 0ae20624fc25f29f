"""What every document is made from: a run read, folded, verified and assessed once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from ohmward.analysis.assessment import Weighed
from ohmward.analysis.facts import RunFacts
from ohmward.analysis.rows import Assessment
from ohmward.logbook import Verification
from ohmward.logbook.dates import date_of
from ohmward.logbook.events import Energised, Opened, Overridden, Record, Resumed
from ohmward.run.state import RunState
from ohmward.supply.model import Supply

MONTHS_TO_NEXT = 12
"""Until the next test where nothing else is asked: the short yearly test; common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One run with all that is said of it. Nothing here depends on when or where it is printed."""

    name: str
    """File name of the journal."""
    state: RunState
    facts: RunFacts
    assessment: Assessment
    verification: Verification
    began_at: str
    last_at: str
    sessions: tuple[tuple[str, str, str], ...]
    """When, operator and tool of each session."""
    energised: int
    """How many times mains was applied."""
    accepted: dict[tuple[str, str], tuple[str, str]]
    """By step and subject: when a failure was gone on with in writing, and by whom."""
    due: date | None
    """Day on which the next test is due; None for a unit that has to be mended first."""

    @property
    def supply(self) -> Supply:
        """The unit."""
        return self.facts.supply

    @property
    def opened(self) -> Opened:
        """The first record."""
        assert self.state.opened is not None
        return self.state.opened

    @property
    def operators(self) -> tuple[str, ...]:
        """Everyone who worked on the run, in order; empty for one who gave no name."""
        return tuple(dict.fromkeys(operator for _, operator, _ in self.sessions))

    def operator_at(self, at: str) -> str:
        """Return who was at work at a moment of the run."""
        moment = datetime.fromisoformat(at)
        begun = [operator for when, operator, _ in self.sessions if datetime.fromisoformat(when) <= moment]
        return begun[-1] if begun else self.sessions[0][1]

    @property
    def outcome(self) -> str:
        """Key of the outcome in the words: the assessment's verdict, or what forbids one."""
        if not self.verification.intact or self.facts.violations:
            return "unsound"
        verdict = self.assessment.verdict
        if verdict in {"pass", "conditional pass"}:
            if self.opened.transcribed is not None:
                return "copied"
            if self.state.closed is None:
                return "open"
        return verdict.replace(" ", "_")

    @property
    def tested(self) -> date:
        """The day that the results count for."""
        return date_of(self.opened, self.last_at)


def load_source(path: Path, weigh: Callable[[RunFacts], Callable[[], Weighed]] | None = None) -> Source:
    """Read a run; `weigh` as in `assess`.

    Raises
    ------
    Unreachable, Damaged
        As `logbook.read`.
    """
    from ohmward.logbook import read, verify
    from ohmward.run import state

    records = read(path)
    return source_of(records, state(records), verify(path), path, weigh)


def source_of(
    records: tuple[Record, ...],
    folded: RunState,
    verification: Verification,
    path: Path,
    weigh: Callable[[RunFacts], Callable[[], Weighed]] | None = None,
) -> Source:
    """Assess a run that was read; its waveforms are read from beside `path`."""
    from ohmward.run.assess import assessed_alone, with_comparison

    alone, facts = assessed_alone(folded, path.parent, weigh)
    found = Source(
        name=path.name,
        state=folded,
        facts=facts,
        assessment=with_comparison(folded, alone),
        verification=verification,
        began_at=records[0].at,
        last_at=records[-1].at,
        sessions=tuple(
            (record.at, record.event.operator, record.event.tool)
            for record in records
            if isinstance(record.event, Opened | Resumed)
        ),
        energised=sum(isinstance(record.event, Energised) for record in records),
        accepted=_accepted(records),
        due=None,
    )
    usable = found.outcome in {"pass", "conditional_pass"} and found.assessment.likely_fault is None
    return replace(found, due=months_on(found.tested, MONTHS_TO_NEXT) if usable else None)


def _accepted(records: tuple[Record, ...]) -> dict[tuple[str, str], tuple[str, str]]:
    operator, found = "", {}
    for record in records:
        if isinstance(record.event, Opened | Resumed):
            operator = record.event.operator
        elif isinstance(record.event, Overridden):
            found[record.event.step, record.event.subject] = (record.at, operator)
    return found


def months_on(day: date, months: int) -> date:
    """Return the same day so many months on, or the last of that month where it has none."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    for last in range(day.day, 27, -1):
        try:
            return date(year, month + 1, last)
        except ValueError:
            continue
    return date(year, month + 1, min(day.day, 28))
