"""Readings, answers and soak samples as tidy rows for other programs: one row a reading, columns documented.

Every row is taken from the journal as it was recorded; nothing is judged again, and the gates are not
asked again (`assess` names a record that they would not have let through). Numbers are in the SI base
unit of the row's `unit` column, suffixes of column names say the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from ohmward.logbook import read
from ohmward.logbook.dates import date_of
from ohmward.logbook.events import Amended, Answered, Closed, Opened, Reading, Record, Skipped
from ohmward.run.state import RunState
from ohmward.run.test_current import current_of
from ohmward.text import visible

if TYPE_CHECKING:
    from ohmward.procedure.model import Item
    from ohmward.quantity import Value
    from ohmward.run.series import Series

Kind = Literal["text", "number", "count", "yes or no", "date", "time"]
Row = dict[str, object]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of an export."""

    name: str
    kind: Kind
    says: str


_RUN = (
    Column("run", "text", "folder and file name of the journal"),
    Column("tag", "text", "the supply"),
    Column("date", "date", "when it was taken: that on the paper for a run copied from paper"),
    Column("recorded_at", "time", "when it was written down, with the offset of where that was"),
    Column("procedure", "text", "name of the procedure"),
    Column("operator", "text", "who measured"),
    Column("rehearsal", "yes or no", "readings of a simulated bench, not of a real supply"),
    Column("transcribed", "yes or no", "copied from paper"),
    Column("transcribed_by", "text", "who typed it"),
    Column("transcribed_from", "text", "what it was copied from"),
    Column("run_verdict", "text", "of the whole run; empty while it is open"),
)
READINGS = (
    *_RUN,
    Column("kind", "text", "reading or check"),
    Column("stage", "text", "stage of the procedure"),
    Column("step", "text", "step of the procedure"),
    Column("subject", "text", "what it is about: rail, load point, metal part"),
    Column("title", "text", "of the step"),
    Column("severity", "text", "danger, fault or improvement: how bad a failure is"),
    Column("quantity", "text", "what was read"),
    Column("unit", "text", "of every number of the row but probability, coverage and count"),
    Column("value", "number", "as read; of a bound the bound itself; empty for an overload"),
    Column("bound", "text", "above or below where the value is a bound; overload"),
    Column("typed", "text", "as it was typed or as the meter gave it"),
    Column("net", "number", "what was judged: the value less its lead null"),
    Column("uncertainty", "number", "expanded uncertainty of net; empty where it is not stated"),
    Column("coverage", "number", "coverage factor of the uncertainty"),
    Column("limit_low", "number", ""),
    Column("limit_high", "number", ""),
    Column("basis", "text", "where the limit comes from"),
    Column("expected", "number", "what the design predicts"),
    Column("expected_low", "number", ""),
    Column("expected_high", "number", ""),
    Column("as_expected", "yes or no", "within what the design predicts"),
    Column("probability", "number", "that the true value is within the limit"),
    Column("verdict", "text", "as it was shown when it was taken; the answer of a check"),
    Column("past_stop", "yes or no", "past its stop limit"),
    Column("standing", "text", "how it stands at the end: passed, failed, stale, overridden, replaced ..."),
    Column("override", "text", "why a failure was gone on with"),
    Column("amended", "text", "why it was amended, or what took its place"),
    Column("note", "text", ""),
    Column("meter", "text", "as the run calls it"),
    Column("meter_serial", "text", ""),
    Column("calibration_due", "date", "of the meter"),
    Column("count", "count", "readings that the value is the mean of"),
    Column("standard_deviation", "number", "of those readings"),
    Column("immediate", "number", "at a load point: as soon as the load was on"),
    Column("drawn_a", "number", "at a load point: the current that the load itself read [A]"),
    Column("test_v", "number", "of insulation: the voltage that it was tested at [V]"),
    Column(
        "test_current_a",
        "number",
        "of a resistance: what it was measured with, by the list of meters, else as told [A]; empty where "
        "neither says",
    ),
    Column("confirmed", "yes or no", "outside of the plausible range, and said to be so"),
    Column("record", "count", "number of the record in the journal; empty for one that was replaced"),
)
SERIES = (
    *_RUN,
    Column("step", "text", "the soak"),
    Column("begun_at", "time", "when the series began"),
    Column("at_s", "number", "from the start of the series [s]"),
    Column("channel", "text", "the sensor or place"),
    Column("unit", "text", "of value"),
    Column("value", "number", "empty where the channel gave no number"),
    Column("reply", "text", "as the meter gave it"),
    Column("meter", "text", ""),
    Column("identity", "text", "what the instrument called itself"),
    Column("function", "text", "what it measured"),
)


def reading_rows(path: Path, *, checks: bool = False, replaced: bool = False) -> Iterator[Row]:
    """Yield one row for each reading of a run, in the order of its procedure.

    Parameters
    ----------
    path : Path
        The journal.
    checks : bool
        The answers to checks too.
    replaced : bool
        Also what was taken again or amended since, marked so by its `standing`.

    Raises
    ------
    Unreachable, Damaged
        When the journal cannot be read, or is not as the tool wrote it.
    """
    from ohmward.run.bulk import bulk_state

    records = read(path)
    current = bulk_state(records)
    start = _run_cells(path, records)
    for item in current.items:
        entry = current.entries.get(item.key)
        if entry is None or isinstance(entry.event, Skipped) or not (checks or item.read is not None):
            continue
        yield {
            **start(entry.at),
            **_entry_cells(current, item, entry.event),
            "standing": current.standing(item).value,
            "override": entry.override.reason if entry.override else "",
            "amended": entry.amended,
            "record": entry.seq,
        }
    for at, event, why in _superseded(records) if replaced else ():
        about = current.by_key.get((event.step, event.subject))
        if about is None or isinstance(event, Skipped) or not (checks or about.read is not None):
            continue
        yield {
            **start(at),
            **_entry_cells(current, about, event),
            "standing": "replaced",
            "override": "",
            "amended": why,
            "record": None,
        }


def series_rows(path: Path) -> Iterator[Row]:
    """Yield one row for each sample of each channel of a run's soaks, in order of time.

    Raises as `reading_rows` does.
    """
    from ohmward.run.state import state

    records = read(path)
    start = _run_cells(path, records)
    for step, series in state(records).series.items():
        cells = {**start(series.last_at or series.at), "step": visible(step), "begun_at": series.at}
        yield from ({**cells, **sample} for sample in _samples(series))


def _samples(series: Series) -> Iterator[Row]:
    for row in series.rows:
        replies = row.replies or ("",) * len(row.values)
        for channel, value, reply in zip(series.begun.channels, row.values, replies, strict=True):
            yield {
                "at_s": row.at_s,
                "channel": visible(channel.name),
                "unit": channel.unit,
                "value": value,
                "reply": visible(reply),
                "meter": visible(channel.meter),
                "identity": visible(channel.identity),
                "function": channel.function,
            }


def _superseded(records: Sequence[Record]) -> Iterator[tuple[str, Answered | Reading | Skipped, str]]:
    """Yield what a later entry or an amendment took the place of: when, what, and why it went."""
    stands: dict[tuple[str, str], tuple[int, str, Answered | Reading | Skipped]] = {}
    for record in records:
        event = record.event
        if isinstance(event, Answered | Reading | Skipped):
            key = (event.step, event.subject)
            if key in stands:
                yield stands[key][1], stands[key][2], "taken again"
            stands[key] = (record.seq, record.at, event)
        elif isinstance(event, Amended):
            # None where it is of an older take, which is told already.
            about = next((key for key, (seq, _, _) in stands.items() if seq == event.seq), None)
            if about is None:
                continue
            yield stands[about][1], stands[about][2], f"amended, reason: “{event.reason}”"
            instead = event.answer or event.reading
            if instead is None:
                del stands[about]
            else:
                stands[about] = (event.seq, record.at, instead)


def _run_cells(path: Path, records: Sequence[Record]) -> Callable[[str], Row]:
    """Return what gives the cells that every row of a run has, by its time of recording."""
    from ohmward.logbook.anchors import run_name
    from ohmward.logbook.names import parts

    opened, last = records[0].event, records[-1].event
    assert isinstance(opened, Opened)  # the reader of journals refuses any other
    copied, found = opened.transcribed, parts(path.name)
    cells: Row = {
        "run": visible(run_name(path)),
        "tag": visible(opened.tag),
        "procedure": visible(found[2] if found else ""),
        "operator": visible(opened.operator),
        "rehearsal": opened.simulated,
        "transcribed": copied is not None,
        "transcribed_by": visible(copied.by) if copied else "",
        "transcribed_from": visible(copied.source) if copied else "",
        "run_verdict": last.verdict if isinstance(last, Closed) else "",
    }
    return lambda at: {**cells, "date": date_of(opened, at), "recorded_at": at}


def _entry_cells(state: RunState, item: Item, event: Answered | Reading) -> Row:
    cells: Row = {
        "kind": "check" if isinstance(event, Answered) else "reading",
        "stage": item.stage,
        "step": item.step,
        "subject": visible(item.subject),
        "title": visible(item.title),
        "severity": item.spec.severity,
        "note": visible(event.note),
    }
    if isinstance(event, Answered):
        return cells | {"verdict": event.answer}
    judged, value = event.judged, event.value
    meter = next((each for each in state.meters if each.name == event.meter), None)
    return cells | {
        "quantity": item.read.quantity if item.read else "",
        "unit": value.unit,
        "value": _number(value),
        "bound": "" if value.kind == "exact" else value.kind,
        "typed": visible(value.raw),
        "net": judged.net,
        "uncertainty": judged.uncertainty,
        "coverage": judged.coverage,
        "limit_low": judged.limit_low,
        "limit_high": judged.limit_high,
        "basis": visible(judged.basis),
        "expected": judged.expected_value,
        "expected_low": judged.expected_low,
        "expected_high": judged.expected_high,
        "as_expected": judged.as_expected,
        "probability": judged.probability,
        "verdict": judged.verdict,
        "past_stop": judged.past_stop,
        "meter": visible(event.meter),
        "meter_serial": visible(meter.serial) if meter else "",
        "calibration_due": meter.due if meter else None,
        "count": event.count,
        "standard_deviation": event.standard_deviation,
        "immediate": _number(event.immediate),
        "drawn_a": _number(event.drawn),
        "test_v": event.test_v,
        "test_current_a": _test_current_a(state, item, event),
        "confirmed": event.confirmed,
    }


def _test_current_a(state: RunState, item: Item, event: Reading) -> float | None:
    return current_of(state, event) if item.read is not None and item.read.quantity == "resistance" else None


def _number(value: Value | None) -> float | None:
    return None if value is None or value.number is None else value.si
