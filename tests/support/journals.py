"""Journals for tests: a clock that is set by hand, small runs, and any event at all."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path
from typing import Any, Literal, get_args, get_origin, get_type_hints

import msgspec
from hypothesis import strategies as st

from ohmward.logbook import Journal, create_run
from ohmward.logbook.events import (
    KINDS,
    Acknowledged,
    Answered,
    Closed,
    Event,
    Judged,
    Noted,
    Opened,
    Parts,
    Reading,
)
from ohmward.quantity import Value


class HandClock:
    """Both clocks go on by `step_s` at each look at the wall; either can be set."""

    def __init__(self, step_s: float = 1.0, offset_h: float = 1.0) -> None:
        self.wall = datetime(2026, 3, 1, 10, 0, tzinfo=timezone(timedelta(hours=offset_h)))
        self.seconds = 1000.0
        self.step_s = step_s

    def now(self) -> datetime:
        self.wall += timedelta(seconds=self.step_s)
        self.seconds += self.step_s
        return self.wall

    def monotonic(self) -> float:
        return self.seconds


def opened(tag: str = "CR-07", **fields: Any) -> Opened:
    plain = Opened(
        run="",
        tag=tag,
        operator="bench A",
        simulated=True,
        tool="ohmward test",
        sheet="s",
        procedure="p",
        limits="l",
    )
    return msgspec.structs.replace(plain, **fields)


def begin(logbook: Path, *events: Event, tag: str = "CR-07", clock: HandClock | None = None) -> Journal:
    """Begin a run with `events` after its first record."""
    journal = create_run(
        logbook, tag=tag, procedure_name="commissioning", opened=opened(tag), clock=clock or HandClock()
    )
    for event in events:
        journal.append(event)
    return journal


def closing(journal: Journal, verdict: str = "pass") -> Closed:
    return Closed(verdict=verdict, summary=("All holds (simulated).",), records=len(journal.records))


def some_events() -> tuple[Event, ...]:
    value = Value(raw="12.04", number=Decimal("12.04"), unit="V", resolution=Decimal("0.01"))
    return (
        Parts(names=("case", "front panel")),
        Acknowledged(stage="no-load"),
        Answered(step="cord-sheath", answer="pass", note="sound; ohm sign Ω, line\nend, \x1b[31m"),
        Reading(step="output", subject="+15", value=value, judged=Judged(verdict="pass", net=12.04)),
        Noted(text="bench B looks on"),
    )


def lines_of(path: Path) -> list[bytes]:
    return path.read_bytes().splitlines(keepends=True)


USUAL = tuple(sorted(set(KINDS) - {"opened", "closed", "recovered", "captured"}))


def events(
    kinds: Sequence[str] = USUAL,
) -> Any:
    """Any event of the kinds, every field drawn from its type.

    Not by default the first and last record, and those that name a file beside the journal.
    """
    return st.one_of([_any(KINDS[kind]) for kind in kinds])


def _any(kind: type[msgspec.Struct]) -> Any:
    hints = get_type_hints(kind)
    return st.builds(kind, **{name: _field(hints[name]) for name in kind.__struct_fields__})


_SIMPLE: dict[object, Any] = {
    str: st.text(st.characters(codec="utf-8"), max_size=12),
    bool: st.booleans(),
    int: st.integers(0, 2**53),
    float: st.floats(allow_nan=False, allow_infinity=False),
    Decimal: st.decimals(allow_nan=False, allow_infinity=False),
}


def _field(hint: Any) -> Any:
    if hint in _SIMPLE:
        return _SIMPLE[hint]
    origin, arguments = get_origin(hint), get_args(hint)
    if origin is tuple:
        return st.lists(_field(arguments[0]), max_size=3).map(tuple)
    if isinstance(hint, type) and issubclass(hint, msgspec.Struct):
        return st.deferred(lambda: _any(hint))
    if origin is Literal:
        return st.sampled_from(arguments)
    return st.one_of([st.none() if part is type(None) else _field(part) for part in arguments])
