"""The tables of an assessment: what was read and answered, by row, and the result that holds them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

import msgspec

from ohmward.analysis._results import Cause as Cause  # noqa: PLC0414 part of the result
from ohmward.analysis.history_change import Change
from ohmward.analysis.rails import RailResult
from ohmward.analysis.soak_result import SoakResult
from ohmward.analysis.waveforms import WaveformResult
from ohmward.logbook.events import Reading, Verdict
from ohmward.procedure.model import Severity
from ohmward.quantity import show_borne, show_value
from ohmward.supply import Finding

if TYPE_CHECKING:
    import pandas as pd

RunVerdict = Literal["pass", "conditional pass", "conditional fail", "fail", "incomplete"]

MANY = 3
"""Attempts at one reading from which they are told together."""
FAILED: frozenset[Verdict] = frozenset({"fail", "conditional fail", "not stated: fail"})


class ReadingRow(msgspec.Struct, frozen=True, kw_only=True):
    """One reading as recorded; numbers in `unit`, SI base."""

    stage: str
    step: str
    subject: str
    title: str
    """Of the step, with the name of the read where it has several."""
    severity: Severity
    quantity: str
    raw: str
    """As typed."""
    value: float | None
    """As read; a bound's own number; None for an overload and for a reading left out."""
    unit: str
    net: float | None
    """What was judged: the value less its lead null."""
    uncertainty: float | None
    limit_low: float | None
    limit_high: float | None
    basis: str
    expected_value: float | None
    expected_low: float | None
    expected_high: float | None
    as_expected: bool | None
    probability: float | None
    verdict: Verdict
    past_stop: bool
    note: str
    meter: str
    at: str
    stale: bool
    override: str
    amended: str

    @property
    def failed(self) -> bool:
        """Out of tolerance, or past a stop limit."""
        return self.verdict in FAILED or self.past_stop


class CheckRow(msgspec.Struct, frozen=True, kw_only=True):
    """One answer as recorded."""

    stage: str
    step: str
    subject: str
    title: str
    answer: Literal["pass", "fail", "not applicable", "not done"]
    """not done: left out, with the reason in `note`."""
    severity: Severity
    note: str
    at: str
    stale: bool
    override: str
    amended: str

    @property
    def failed(self) -> bool:
        """Answered with fail."""
        return self.answer == "fail"


class OverrideRow(msgspec.Struct, frozen=True, kw_only=True):
    """A failure that was gone on with in writing: it stays one."""

    stage: str
    step: str
    subject: str
    title: str
    reason: str


class MissingRow(msgspec.Struct, frozen=True, kw_only=True):
    """A required item that is not done, or has to be done again."""

    stage: str
    step: str
    subject: str
    title: str
    again: bool
    """Done before, and stale since."""


class HistoryRow(msgspec.Struct, frozen=True, kw_only=True):
    """Something that happened on the way: an entry since replaced, a repair, a remark."""

    at: str
    kind: Literal["replaced", "repair", "note"]
    step: str = ""
    subject: str = ""
    title: str = ""
    text: str
    failed: bool = False
    """A replaced entry that was out of tolerance, or a check that failed."""
    past_stop: bool = False
    """A replaced reading past its stop limit, which halted the run."""
    passed_again: bool = False
    """A replaced check that passed, was taken again, and passes now."""
    attempt: bool = False
    """A replaced reading that was taken again: no amendment, which has words of its own, and no halt."""


class Assessment(msgspec.Struct, frozen=True, kw_only=True):
    """The result of one run."""

    run: str
    tag: str
    simulated: bool
    verdict: RunVerdict
    readings: tuple[ReadingRow, ...]
    checks: tuple[CheckRow, ...]
    rails: dict[str, RailResult]
    soaks: tuple[SoakResult, ...]
    overrides: tuple[OverrideRow, ...]
    missing: tuple[MissingRow, ...]
    findings: tuple[Finding, ...]
    history: tuple[HistoryRow, ...] = ()
    """What the present entries do not show, in order of time."""
    waveforms: tuple[WaveformResult, ...] = ()
    """What each waveform that counts shows; none where the run was assessed without its files."""
    waveform_problems: tuple[str, ...] = ()
    """Waveforms that could not be used, and why, in words."""
    causes: tuple[Cause, ...] = ()
    """What is most likely wrong, the likeliest first; empty where nothing asked for a cause."""
    causes_left_out: tuple[str, ...] = ()
    """What was not looked into for causes so that it takes seconds and not minutes, in words."""
    comparison: tuple[Change, ...] = ()
    """Each reading beside that of the run it carries along; judges nothing."""
    summary: tuple[str, ...] = ()

    @property
    def rail_verdicts(self) -> tuple[Verdict, ...]:
        """Verdicts on what only several readings of a rail can tell."""
        return tuple(
            verdict
            for rail in self.rails.values()
            for verdict in (rail.load_regulation_verdict, rail.line_regulation_verdict)
        )

    @property
    def failed(self) -> bool:
        """Whether anything that counts is out of tolerance, gone on with in writing or not."""
        rows: list[ReadingRow | CheckRow] = [*self.readings, *self.checks]
        rail_fails = (verdict in FAILED for verdict in self.rail_verdicts)
        return any(row.failed and not row.stale and row.severity != "improvement" for row in rows) or any(
            rail_fails
        )

    @property
    def likely_fault(self) -> Cause | None:
        """The likeliest fault, where some fault is likelier than none; None where none is."""
        sound = sum(cause.probability for cause in self.causes if cause.harmless)
        faults = [cause for cause in self.causes if not cause.harmless]
        return faults[0] if faults and sound < 0.5 else None

    @property
    def on_the_way(self) -> tuple[HistoryRow, ...]:
        """The history with what is alike in one line, in the place of the last of it.

        That is the checks that passed and passed again, and many attempts at one reading: `attempts`.
        """
        again = [row for row in self.history if row.passed_again]
        together = [*([again] if len(again) > 1 else []), *_attempts(self.history)]
        if not together:
            return self.history
        told = [_passed_again(rows) if rows is again else _tried(rows) for rows in together]
        gone = {id(row) for rows in together for row in rows}
        kept = [row for row in self.history if id(row) not in gone]
        return tuple(sorted((*kept, *told), key=lambda row: row.at))

    @property
    def attempts(self) -> tuple[HistoryRow, ...]:
        """Every attempt of those that `on_the_way` tells together."""
        return tuple(row for rows in _attempts(self.history) for row in rows)

    @property
    def too_hot(self) -> tuple[SoakResult, ...]:
        """What may pass its limit in the hottest room allowed, what would do so first."""
        found = (soak for soak in self.soaks if soak.too_hot_in_the_hottest_room)
        return tuple(sorted(found, key=lambda soak: not (soak.beyond_in_the_hottest_room or (0.0, False))[1]))

    def frames(self) -> dict[str, pd.DataFrame]:
        """Return the results as tidy tables, for a notebook: readings, checks, rails and so on."""
        import pandas as pd

        rails = [{"rail": name, **msgspec.structs.asdict(rail)} for name, rail in self.rails.items()]
        tables: dict[str, tuple[type[msgspec.Struct], list[dict[str, object]]]] = {
            "readings": (ReadingRow, [msgspec.structs.asdict(row) for row in self.readings]),
            "checks": (CheckRow, [msgspec.structs.asdict(row) for row in self.checks]),
            "overrides": (OverrideRow, [msgspec.structs.asdict(row) for row in self.overrides]),
            "missing": (MissingRow, [msgspec.structs.asdict(row) for row in self.missing]),
            "rails": (RailResult, rails),
            "soaks": (SoakResult, [msgspec.structs.asdict(row) for row in self.soaks]),
            "waveforms": (WaveformResult, [msgspec.structs.asdict(row) for row in self.waveforms]),
            "causes": (Cause, [msgspec.structs.asdict(row) for row in self.causes]),
            "comparison": (Change, [msgspec.structs.asdict(row) for row in self.comparison]),
            "history": (HistoryRow, [msgspec.structs.asdict(row) for row in self.history]),
            "findings": (Finding, [msgspec.structs.asdict(row) for row in self.findings]),
        }
        return {
            name: pd.DataFrame(
                rows, columns=[*(("rail",) if name == "rails" else ()), *kind.__struct_fields__]
            )
            for name, (kind, rows) in tables.items()
        }


def _attempts(history: Sequence[HistoryRow]) -> list[list[HistoryRow]]:
    """Return the attempts at each reading that was taken again so often that they are told together."""
    found: dict[tuple[str, str], list[HistoryRow]] = {}
    for row in history:
        if row.attempt:
            found.setdefault((row.step, row.subject), []).append(row)
    return [rows for rows in found.values() if len(rows) >= MANY]


def _tried(rows: Sequence[HistoryRow]) -> HistoryRow:
    failed = sum(row.failed for row in rows)
    how = f"{failed} failed" if failed else "none failed"
    return msgspec.structs.replace(
        rows[-1],
        failed=failed > 0,
        text=f"read {len(rows)} times before what stands now, {how}; the last of them {rows[-1].text}",
    )


def _passed_again(rows: Sequence[HistoryRow]) -> HistoryRow:
    return msgspec.structs.replace(
        rows[-1],
        step="",
        subject="",
        title=f"{len(rows)} entries",
        text="checks that passed, were taken again, and passed again",
    )


def as_read(event: Reading) -> str:
    """Return a reading as a person reads it: as typed, or what the meter showed in place of its raw reply.

    Of a reply no figures are shown that its uncertainty does not bear.
    """
    value, u = event.value, event.judged.uncertainty
    if not event.replies:
        return value.raw
    if value.kind == "exact" and value.number is not None and u:
        return show_borne(value.si, value.unit, step=value.resolution, uncertainty=u)
    return show_value(value)
