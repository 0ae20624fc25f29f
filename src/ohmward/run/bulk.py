"""The state of a finished run, read fast: for the histories of thousands of runs.

The same as `state.state` for every journal that the gates let through (held by tests); a journal written
past the gates is believed here as it stands, so nothing that guards a person may be built on it. What a
run's sheet, procedure and limit set come to is kept for the runs that share them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache

from ohmward.bench.meters import Meter
from ohmward.bench.meters import loads as load_meters
from ohmward.logbook.events import (
    Amended,
    Answered,
    Captured,
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
from ohmward.procedure import LimitSet, loads, loads_limits
from ohmward.procedure.model import Item, Procedure
from ohmward.run.layout import laid_out
from ohmward.run.rising import asked_for
from ohmward.run.state import Entry, Key, Phase, RunState
from ohmward.run.taken import Taken, without_capture
from ohmward.run.together import reopened
from ohmward.supply import loads as load_sheet
from ohmward.supply.model import Supply

_TELLING = frozenset(
    {Reading, Answered, Skipped, Amended, Overridden, Opened, Parts, CaseOpened, Repaired, Energised, Closed}
    | {Captured}
)


def bulk_state(records: Iterable[Record]) -> RunState:  # noqa: PLR0912 one branch an event kind
    """Fold `records` without asking the gates; keeps what a history needs and no more.

    Raises
    ------
    InputError
        When the sheet, procedure or limit set of the run does not read.
    ValueError
        When there is no first record.
    """
    opened: Opened | None = None
    closed: Closed | None = None
    parts: tuple[str, ...] | None = None
    entries: dict[Key, Entry] = {}
    captures: dict[Key, tuple[Taken, ...]] = {}
    repairs: list[tuple[str, Repaired]] = []
    together = False
    opened_seq = repaired_seq = energised_seq = last_seq = -1
    for record in records:
        event, last_seq = record.event, record.seq
        if type(event) not in _TELLING:
            continue
        match event:
            case Reading() | Answered() | Skipped():
                entries[event.step, event.subject] = Entry(record.seq, record.at, event)
                together = together or (isinstance(event, Skipped) and bool(event.left_out_with))
                _reopen(entries, together=together)
            case Amended():
                _amend(entries, event, record)
                _reopen(entries, together=together)
                captures, _ = without_capture(captures, event.seq)
            case Overridden():
                key = (event.step, event.subject)
                if key in entries:
                    entries[key] = replace(entries[key], override=event)
            case Captured():
                key = (event.step, event.subject)
                captures[key] = (*captures.get(key, ()), Taken(record.seq, record.at, event))
            case Opened():
                opened = event
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
    if opened is None:
        raise ValueError("a run without its first record")
    supply = _supply(opened.sheet)
    named = supply.parts if parts is None else parts
    items, by_key = _items(opened.procedure, opened.sheet, opened.limits, named)
    open_phase = Phase.DEAD if opened.transcribed is None else Phase.PAPER
    made = RunState(
        opened=opened,
        supply=supply,
        procedure=_procedure(opened.procedure),
        limits=_limits(opened.limits),
        meters=_meters(opened.meters) if opened.meters else (),
        items=items,
        by_key=by_key,
        parts=named,
        phase=open_phase if closed is None else Phase.CLOSED,
        closed=closed,
        entries={key: entry for key, entry in entries.items() if key in by_key},
        captures=captures,
        repairs=tuple(repairs),
        opened_seq=opened_seq,
        repaired_seq=repaired_seq,
        energised_seq=energised_seq,
        last_seq=last_seq,
    )
    return replace(made, items=asked_for(made))


def _reopen(entries: dict[Key, Entry], *, together: bool) -> None:
    """Take out what was left out with a step that is left out no more; nothing to look for in most runs."""
    for key in reopened(entries) if together else ():
        del entries[key]


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


@lru_cache(maxsize=16)
def _supply(sheet: str) -> Supply:
    return load_sheet(sheet, "design sheet")


@lru_cache(maxsize=16)
def _procedure(text: str) -> Procedure:
    return loads(text, "procedure")


@lru_cache(maxsize=16)
def _limits(text: str) -> LimitSet:
    return loads_limits(text, "limit set")


@lru_cache(maxsize=64)
def _meters(text: str) -> tuple[Meter, ...]:
    return load_meters(text, "meters")


@lru_cache(maxsize=32)
def _items(
    procedure: str, sheet: str, limits: str, parts: tuple[str, ...]
) -> tuple[tuple[Item, ...], dict[Key, Item]]:
    items = laid_out(_procedure(procedure), _supply(sheet), _limits(limits), parts)
    return items, {item.key: item for item in items}
