"""How long something has to last before it is read or answered, and since when: from the records alone.

A hold begins when the person says so, an idle time when mains comes on, the discharge when it goes off, the
times of a soak at its first reading. The clock is passed in by whoever sits at the bench; where none is,
nothing is timed and nothing is said of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from ohmward.errors import Refused
from ohmward.logbook.events import Answered, Reading, Skipped
from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.run.blockers import describe
from ohmward.run.charge import discharge_wait_s
from ohmward.run.fed import fed_from
from ohmward.run.taken import Stamp

if TYPE_CHECKING:
    from ohmward.run.state import Entry, RunState

Elapsed = Callable[["RunState", Item], float | None]
"""How long the timer of an item has run [s]; None where it has none, or it has not begun."""
SLACK_S = 1.0
"""What is short by less is not: clocks are read in whole seconds."""
SAID = {
    "begun": "since it was begun",
    "energised": "since mains came on",
    "switched-off": "since mains went off",
    "soak": "since the soak began",
    "step": "since the step that it is waited from",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Timer:
    """The timer of an item."""

    of_s: float | None
    """How long it has to last [s]; None where that cannot be computed."""
    since: str
    """A key of `SAID`."""
    began: Stamp | None
    """The record that it runs from; None where it has not begun."""
    step: str = ""
    """Title of the step that it is waited from, where it is one."""

    @property
    def said(self) -> str:
        """Since when it runs, in words."""
        return f"since '{self.step}' was recorded" if self.step else SAID[self.since]


def timer(state: RunState, item: Item) -> Timer | None:
    """Return the timer of an item; None where it has none."""
    spec = item.spec
    if item.kind == "soak" and item.energised and item.elapsed_s:
        return Timer(of_s=item.elapsed_s, since="soak", began=_soak_began(state, item))
    match spec.wait_from:
        case "begun":
            return Timer(of_s=spec.wait_s, since="begun", began=_begun(state, item))
        case "energised":
            return Timer(of_s=spec.wait_s, since="energised", began=state.mains.get("energised"))
        case "switched-off":
            of_s = spec.wait_s or discharge_wait_s(state)
            return Timer(of_s=of_s, since="switched-off", began=state.mains.get("switched-off"))
        case "":
            return None
    return _from_step(state, item)


def _from_step(state: RunState, item: Item) -> Timer:
    """Return the timer of what is waited for from a step; from mains on, where it was off in between."""
    key = (item.spec.wait_from, "")
    entry, first = state.entries.get(key), state.by_key.get(key)
    if entry is not None and entry.seq < state.energised_seq:
        return Timer(of_s=item.spec.wait_s, since="energised", began=state.mains.get("energised"))
    began = Stamp(entry.seq, entry.at) if entry is not None else None
    title = describe(first) if first is not None else ""
    return Timer(of_s=item.spec.wait_s, since="step", began=began, step=title)


def elapsed_s(found: Timer, now: datetime) -> float | None:
    """Return how long a timer has run by the clock of the records [s]; None where it has not begun."""
    if found.began is None:
        return None
    try:
        return max(0.0, (now - datetime.fromisoformat(found.began.at)).total_seconds())
    except (ValueError, TypeError):  # a stamp that is none, or one without its offset
        return None


def short_words(found: Timer | None, after_s: float | None) -> str:
    """Return that a timer has not run out, in words; empty where it has, or nothing is known of it."""
    of = _short_of(found, after_s)
    return f"only {of} have passed {found.said}" if found is not None and of else ""


def early_question(state: RunState, item: Item, after_s: float | None) -> str:
    """Return what is asked before a reading is taken ahead of its time, or held for a time nobody took."""
    found = timer(state, item)
    short = short_words(found, after_s)
    if short:
        return f"{short[:1].upper()}{short[1:]}. Take it now? The record says so."
    if found is not None and found.since == "begun" and after_s is None and not state.simulated:
        lasts = show(found.of_s or 0.0, "s", decimals=0)
        asked = "Was it held so long? If not, 'begin' (o) times it."
        return f"It is held for {lasts}, and nobody timed that. {asked}"
    return ""


def require_time(state: RunState, item: Item, after_s: float | None) -> None:
    """Refuse that a check passes before its time without words.

    Raises
    ------
    Refused
    """
    short = short_words(timer(state, item), after_s)
    if short:
        raise Refused("reason", [f"{describe(item)}: {short}"], "Wait; or say why it holds before its time")


def require_held(state: RunState, item: Item, now_s: float | None) -> None:
    """Refuse that a check passes without words where the reading that it speaks of was held for too short.

    Raises
    ------
    Refused
    """
    short = short_hold(state, item, now_s)
    if short:
        mend = "Hold it for its whole time and read it again; or say why it holds all the same"
        raise Refused("reason", [f"{describe(item)}: {short}"], mend)


def held_item(state: RunState, item: Item) -> Item | None:
    """Return the held reading that a check speaks of; None of any other item."""
    return state.by_key.get((item.spec.held_reading, "")) if item.spec.held_reading else None


def short_hold(state: RunState, item: Item, now_s: float | None = None) -> str:
    """Return for how much of its time the reading that a check speaks of was held; empty where for all of it.

    `now_s` is how long a hold has run that is not read yet [s]. Empty too where nobody timed it.
    """
    held = held_item(state, item)
    found = None if held is None else timer(state, held)
    if held is None or found is None:
        return ""
    after_s = now_s if found.began is not None else _held_s(state, held)
    of = _short_of(found, after_s)
    return f"by the clock '{describe(held)}' was held for {of}" if of else ""


def _held_s(state: RunState, held: Item) -> float | None:
    """Return how long the reading that counts was held [s]; None where none does, or nobody timed it."""
    entry = state.entries.get(held.key)
    if entry is None or entry.seq < state.stale_before(held) or not isinstance(entry.event, Reading):
        return None
    return entry.event.after_s


def after_words(state: RunState, item: Item, event: Answered | Reading) -> str:
    """Return when something was taken by its timer, where that was before its time; else nothing."""
    of = _short_of(timer(state, item), event.after_s)
    return f"taken after {of}" if of else ""


def untimed_words(state: RunState, item: Item, entry: Entry) -> str:
    """Return that an entry that takes its time was fed from a file and timed by nobody here; else nothing.

    A rehearsal has no time of its own: nothing is missing where it was not timed.
    """
    event, file = entry.event, fed_from(state, entry.seq)
    if not file or state.simulated or isinstance(event, Skipped) or event.after_s is not None:
        return ""
    found = timer(state, item)
    return f"not timed here: fed from '{file}'" if found is not None and found.of_s else ""


def time_words(state: RunState, item: Item, entry: Entry) -> str:
    """Return what is to be said of the time that an entry took; empty where nothing is."""
    if isinstance(entry.event, Skipped):
        return ""
    return after_words(state, item, entry.event) or untimed_words(state, item, entry)


def waited_out(state: RunState, item: Item, after_s: float | None) -> float | None:
    """Return how long a timer has run where it has run out; None where it has not, or there is none [s]."""
    return None if short_words(timer(state, item), after_s) else after_s


def early_words(state: RunState, items: Iterable[Item]) -> list[str]:
    """Return what stands at some items though it was not held or waited for as long as asked, a line each."""
    lines = []
    for item in items:
        entry = state.entries.get(item.key)
        if entry is not None:
            words = time_words(state, item, entry)
            lines += [f"{describe(item)}: {words}"] if words else []
    return lines


def _short_of(found: Timer | None, after_s: float | None) -> str:
    """Return of how much how much has passed, where a timer has not run out; else nothing."""
    if found is None or found.of_s is None or after_s is None or after_s > found.of_s - SLACK_S:
        return ""
    return of_words(after_s, found.of_s)


def of_words(after_s: float, of_s: float) -> str:
    """Return so much of so much, such as '12 s of 60 s'."""
    return f"{show(int(after_s), 's', decimals=0)} of {show(of_s, 's', decimals=0)}"


def _begun(state: RunState, item: Item) -> Stamp | None:
    """Return when a hold was begun; one that a reading was taken of, or that went stale, is over."""
    began, entry = state.begun.get(item.key), state.entries.get(item.key)
    if began is None or began.seq < state.stale_before(item):
        return None
    return None if entry is not None and entry.seq > began.seq else began


def _soak_began(state: RunState, item: Item) -> Stamp | None:
    """Return the first reading at the beginning of a soak, since mains came on."""
    found = [
        Stamp(entry.seq, entry.at)
        for key, entry in state.entries.items()
        if key[0] == item.step
        and entry.seq > state.energised_seq
        and isinstance(entry.event, Reading)
        and (other := state.by_key.get(key)) is not None
        and other.elapsed_s == 0
    ]
    return min(found, key=lambda each: each.seq, default=None)
