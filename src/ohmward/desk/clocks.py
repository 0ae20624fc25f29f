"""The clocks a person waits by: since switch-off, and since the soak began. Time comes in as an argument."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from math import ceil

from ohmward.desk.words import clock_words
from ohmward.logbook.events import Record, SwitchedOff
from ohmward.procedure.model import Item
from ohmward.run.charge import discharge_wait_s
from ohmward.run.state import Phase, RunState
from ohmward.run.timers import Timer, elapsed_s, timer


def clock_line(
    state: RunState, records: Sequence[Record], item: Item | None, now: datetime, *, apart: str = ""
) -> str:
    """Return the clock that matters now, in words; empty when none does.

    `apart` is said in place of how long it has run by the wall, where nothing recorded goes by that.
    """
    wait = discharge_wait_s(state) if state.phase is Phase.OFF else None
    if state.phase is Phase.OFF and (wait is None or not apart):
        return _discharge_clock(state, records, now)
    if apart:
        return _apart(timer(state, item) if item is not None else None, apart, wait)
    if item is not None and item.kind == "soak":
        return _soak_clock(state, item, now)
    found = None if item is None else timer(state, item)
    return "" if found is None else _timer_clock(found, now)


def _apart(found: Timer | None, apart: str, wait: float | None) -> str:
    lasts, what = (found.of_s, found.since) if found is not None and wait is None else (wait, "")
    if lasts is None:
        return ""
    words = {"soak": "soak, due at", "begun": "hold"}.get(what, "wait")
    begun = what == "begun" and found is not None and found.began is not None
    return f"{words} {clock_words(ceil(lasts))}{' begun' if begun else ''}: {apart}"


def _timer_clock(found: Timer, now: datetime) -> str:
    lasts = "" if found.of_s is None else clock_words(ceil(found.of_s))
    after_s = elapsed_s(found, now)
    if after_s is None:
        return f"hold {lasts}: not begun" if found.since == "begun" else f"wait {lasts}"
    over = found.of_s is not None and after_s >= found.of_s
    what = "held" if found.since == "begun" else "waited"
    of = f" of {lasts}" if lasts else ""
    return f"{what} {clock_words(after_s)}{of}" + (": over" if over else "")


def _discharge_clock(state: RunState, records: Sequence[Record], now: datetime) -> str:
    off = next((record for record in reversed(records) if isinstance(record.event, SwitchedOff)), None)
    if off is None:
        return ""
    waited = f"off {clock_words(_since(off.at, now))}"
    wait = discharge_wait_s(state)
    return f"{waited}, measure" if wait is None else f"{waited}, wait {clock_words(ceil(wait))}"


def _soak_clock(state: RunState, item: Item, now: datetime) -> str:
    starts = [
        entry.at
        for key, entry in state.entries.items()
        if (other := state.by_key.get(key)) is not None
        and other.kind == "soak"
        and other.elapsed_s == 0
        and other.spec.id == item.spec.id
    ]
    if not starts:
        return "soak starts at the first reading"
    due = f", due at {clock_words(item.elapsed_s)}" if item.elapsed_s else ""
    return f"soak {clock_words(_since(min(starts), now))}{due}"


def _since(at: str, now: datetime) -> float:
    try:
        return (now - datetime.fromisoformat(at)).total_seconds()
    except (ValueError, TypeError):  # a stamp that is none, or one without its offset
        return 0.0
