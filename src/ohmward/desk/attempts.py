"""An entry that is made again: which attempt it is, and what stood there before, side by side."""

from __future__ import annotations

from ohmward.desk.readings import judged_text
from ohmward.desk.words import ANSWERS, VERDICTS
from ohmward.logbook.events import Answered, Reading, Skipped
from ohmward.procedure.model import Item
from ohmward.run.state import RunState
from ohmward.text import one_line


def attempt_words(state: RunState, item: Item) -> str:
    """Return which attempt stands at `item`, and what the one before it was; empty where it is the first."""
    before = _before(state, item)
    if not before or item.key not in state.entries:
        return ""
    return f"Attempt {len(before) + 1}; before it: {said_before(before[-1], item)}."


def next_attempt_words(state: RunState, item: Item) -> str:
    """Return which attempt is about to be made, and what stands there now; empty where it is the first."""
    entry = state.entries.get(item.key)
    if entry is None:
        return ""
    return f"attempt {len(_before(state, item)) + 2}; before it: {said_before(entry.event, item)}"


def said_before(event: Answered | Reading | Skipped, item: Item) -> str:
    """Return what an entry was: value as judged, and verdict."""
    if isinstance(event, Skipped):
        return f"left out: {one_line(event.reason)}"
    if isinstance(event, Answered):
        note = f" ({one_line(event.note)})" if event.note else ""
        return f"{ANSWERS[event.answer].word}{note}"
    judged = event.judged
    verdict = "PAST ITS STOP LIMIT" if judged.past_stop else VERDICTS[judged.verdict].word
    return f"{judged_text(event, item)}, {verdict}"


def _before(state: RunState, item: Item) -> list[Answered | Reading | Skipped]:
    """Return the entries that others took the place of, the latest last; amendments are no attempts."""
    return [
        event
        for _, event, why in state.superseded
        if (event.step, event.subject) == item.key and not why.startswith("amended")
    ]
