"""The state of a finished run, read fast: for the histories of thousands of runs.

The same as `state.state` for every journal that the gates let through (held by tests); a journal written
past the gates is believed here as it stands, so nothing that guards a person may be built on it. What a
run's sheet, procedure and limit set come to is kept for the runs that share them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache

from ohmward.logbook.events import (
    Amended,
    Answered,
    CaseOpened,
    Closed,
    Energised,
    Opened,
    Overridden,
    Parts,
    Reading,
    Record,
    Repaired,
    Skipped,
)
from ohmward.run.state import Entry, Key, Phase, RunState, apply


def bulk_state(records: Iterable[Record]) -> RunState:  # noqa: PLR0912 one branch an event kind
    """Fold `records` without asking the gates; keeps what a history needs and no more.

    Raises
    ------
    InputError
        When the sheet, procedure or limit set of the run does not read.
    ValueError
        When there is no first record.
    """
    begun: RunState | None = None
    closed: Closed | None = None
    parts: tuple[str, ...] | None = None
    entries: dict[Key, Entry] = {}
    repairs: list[tuple[str, Repaired]] = []
    opened_seq = repaired_seq = energised_seq = last_seq = -1
    for record in records:
        event, last_seq = record.event, record.seq
        match event:
            case Reading() | Answered() | Skipped():
                entries[event.step, event.subject] = Entry(record.seq, record.at, event)
            case Amended():
                _amend(entries, event, record)
            case Overridden():
                key = (event.step, event.subject)
                if key in entries:
                    entries[key] = replace(entries[key], override=event)
            case Opened():
                begun = _begun(event.sheet, event.procedure, event.limits, event.meters)
                begun = replace(begun, opened=event)
            case Parts():
                parts = event.names
            case CaseOpened():
                opened_seq = record.seq
            case Repaired():
                repaired_seq = record.seq
                repairs.append((record.at, event))
            case Energised():
                energised_seq = record.seq
            case Closed():
                closed = event
    if begun is None:
        raise ValueError("a run without its first record")
    if parts is not None and parts != begun.parts:
        begun = _parted(begun, parts)
    open_phase = Phase.DEAD if begun.opened is None or begun.opened.transcribed is None else Phase.PAPER
    return replace(
        begun,
        phase=open_phase if closed is None else Phase.CLOSED,
        closed=closed,
        entries={key: entry for key, entry in entries.items() if key in begun.by_key},
        repairs=tuple(repairs),
        opened_seq=opened_seq,
        repaired_seq=repaired_seq,
        energised_seq=energised_seq,
        last_seq=last_seq,
    )


def _amend(entries: dict[Key, Entry], event: Amended, record: Record) -> None:
    for key, entry in entries.items():
        if entry.seq == event.seq:
            instead = event.answer or event.reading
            if instead is None:
                del entries[key]
            else:
                entries[key] = Entry(
                    entry.seq, record.at, instead, amended=event.reason, amended_seq=record.seq
                )
            return


@lru_cache(maxsize=64)
def _begun(sheet: str, procedure: str, limits: str, meters: str) -> RunState:
    opened = Opened(
        run="", tag="", operator="", simulated=False, tool="", sheet=sheet, procedure=procedure,
        limits=limits, meters=meters,
    )  # fmt: skip
    return apply(RunState(), _record(opened))


def _record(event: Opened | Parts) -> Record:
    return Record(seq=0, at="", elapsed_s=0.0, event=event, prev="", digest="")


def _parted(begun: RunState, parts: tuple[str, ...]) -> RunState:
    opened = begun.opened
    assert opened is not None
    found = _with_parts(opened.sheet, opened.procedure, opened.limits, opened.meters, parts)
    return replace(begun, parts=found.parts, items=found.items, by_key=found.by_key)


@lru_cache(maxsize=64)
def _with_parts(sheet: str, procedure: str, limits: str, meters: str, parts: tuple[str, ...]) -> RunState:
    return apply(_begun(sheet, procedure, limits, meters), _record(Parts(names=parts)))
