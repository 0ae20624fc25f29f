"""What can be written in a journal: one struct a kind of record, validated when built.

The names and fields here are format 1 of the log and are read for ever: a field may be added with a
default, none may change its meaning. The journal stores `kind` beside the body.
"""

from __future__ import annotations

import msgspec

from ohmward.logbook.events.body import Body
from ohmward.logbook.events.series import (
    SeriesBegun,
    SeriesChannel,
    SeriesEnded,
    SeriesGap,
    SeriesRow,
    SeriesRows,
)
from ohmward.logbook.events.session import (
    FORMAT,
    Baseline,
    Closed,
    Earlier,
    Opened,
    Recovered,
    Resumed,
    Transcribed,
)
from ohmward.logbook.events.steps import (
    Amended,
    Answered,
    Begun,
    Captured,
    Judged,
    Noted,
    Overridden,
    Reading,
    Skipped,
    Verdict,
)
from ohmward.logbook.events.unit import (
    Acknowledged,
    CaseOpened,
    CaseShut,
    Energised,
    Parts,
    Repaired,
    SwitchedOff,
    TestVoltage,
)

Event = (
    Opened
    | Resumed
    | Recovered
    | Parts
    | Acknowledged
    | TestVoltage
    | CaseOpened
    | CaseShut
    | Repaired
    | Energised
    | SwitchedOff
    | Begun
    | Answered
    | Reading
    | Skipped
    | Overridden
    | Amended
    | Noted
    | SeriesBegun
    | SeriesRows
    | SeriesGap
    | SeriesEnded
    | Captured
    | Closed
)

KINDS: dict[str, type[Body]] = {
    "opened": Opened,
    "resumed": Resumed,
    "recovered": Recovered,
    "parts": Parts,
    "acknowledged": Acknowledged,
    "test-voltage": TestVoltage,
    "case-opened": CaseOpened,
    "case-shut": CaseShut,
    "repaired": Repaired,
    "energised": Energised,
    "switched-off": SwitchedOff,
    "begun": Begun,
    "answered": Answered,
    "reading": Reading,
    "skipped": Skipped,
    "overridden": Overridden,
    "amended": Amended,
    "noted": Noted,
    "series-begun": SeriesBegun,
    "series-rows": SeriesRows,
    "series-gap": SeriesGap,
    "series-ended": SeriesEnded,
    "captured": Captured,
    "closed": Closed,
}


class Record(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One line of a journal."""

    seq: int
    """From 0, without gaps."""
    at: str
    """ISO 8601 with the local offset in which the person worked."""
    elapsed_s: float
    """Monotonic clock since this session began [s]; against `at` it shows a changed clock."""
    event: Event
    prev: str
    """SHA-256 (hex) of the line before; 64 zeros in the first."""
    digest: str
    """SHA-256 (hex) of this line up to its own digest field."""


__all__ = [
    "FORMAT",
    "KINDS",
    "Acknowledged",
    "Amended",
    "Answered",
    "Baseline",
    "Begun",
    "Captured",
    "CaseOpened",
    "CaseShut",
    "Closed",
    "Earlier",
    "Energised",
    "Event",
    "Judged",
    "Noted",
    "Opened",
    "Overridden",
    "Parts",
    "Reading",
    "Record",
    "Recovered",
    "Repaired",
    "Resumed",
    "SeriesBegun",
    "SeriesChannel",
    "SeriesEnded",
    "SeriesGap",
    "SeriesRow",
    "SeriesRows",
    "Skipped",
    "SwitchedOff",
    "TestVoltage",
    "Transcribed",
    "Verdict",
]
