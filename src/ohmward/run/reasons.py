"""Whether a reason is one, and whether an amendment amends: the report prints both, and nobody can ask again.

Asked before something is recorded, and not by the fold: old logs stand as they are.
"""

from __future__ import annotations

import re

from ohmward.errors import Refused
from ohmward.logbook.events import Amended, Answered, Event, Overridden, Reading, Skipped
from ohmward.run.state import RunState

SAY = "Say it in words, such as 'read off the wrong range'"
_VALUE = re.compile(r"[<>]?\s*[-+]?\d[\d.,]*(e[-+]?\d+)?\s*[^\W\d_°%]{0,3}[°%]?c?", re.IGNORECASE)


def no_reason(words: str) -> str:
    """Return why words are no reason: a number, a sign, a letter; empty where they may be one."""
    said = words.strip()
    if not said or (not _VALUE.fullmatch(said) and re.search(r"[^\W\d_]{2}", said)):
        return ""
    return f"'{said}' is no reason"


def require_sense(state: RunState, event: Event) -> None:
    """Refuse a reason that says nothing, and an amendment that changes nothing.

    Raises
    ------
    Refused
    """
    if isinstance(event, Skipped | Overridden | Amended) and (why := no_reason(event.reason)):
        raise Refused("reason", [why], SAY)
    if isinstance(event, Amended) and unchanged(state, event):
        raise Refused("amend", ["what is on record says the same"], "Give what stands instead")


def unchanged(state: RunState, event: Amended) -> bool:
    """Return whether an amendment puts in place what stands there already."""
    key, old = state.history.get(event.seq, (None, None))
    entry = state.entries.get(key) if key is not None else None
    standing = entry.event if entry is not None and entry.seq == event.seq else old
    if isinstance(standing, Reading) and event.reading is not None:
        was, now = standing.value, event.reading.value
        return (was.kind, was.number, was.resolution) == (now.kind, now.number, now.resolution)
    if isinstance(standing, Answered) and event.answer is not None:
        return (standing.answer, standing.note) == (event.answer.answer, event.answer.note)
    return False
