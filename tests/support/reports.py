"""Runs for tests of documents: the sample logs, and the same with other words in them."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

from msgspec.structs import replace

from ohmward.logbook import Verification, read, verify
from ohmward.logbook.events import Event, Record
from ohmward.report.document.source import Source, source_of
from ohmward.run import state

RUNS = Path(__file__).resolve().parents[2] / "sample_logs" / "runs" / "CR-07"
HEALTHY, FAULTY, INTERRUPTED = (RUNS / f"2026-03-0{day}-01-commissioning.jsonl" for day in (2, 3, 4))


@cache
def records_of(path: Path) -> tuple[Record, ...]:
    return read(path)


@cache
def verified(path: Path) -> Verification:
    return verify(path)


@cache
def source(path: Path) -> Source:
    return source_of(records_of(path), state(records_of(path)), verified(path), path)


def changed(path: Path, change: Callable[[Event], Event | None]) -> Source:
    """The run with every event changed; None leaves its record out."""
    records = []
    for record in records_of(path):
        event = change(record.event)
        if event is not None:
            records.append(replace(record, event=event))
    return source_of(tuple(records), state(records), verified(path), path)


def squeezed(text: str) -> str:
    """Text without any space and without what only guides line breaks and direction."""
    return "".join(char for char in text if not char.isspace() and char not in "\u200b\u2067\u2068\u2069")
