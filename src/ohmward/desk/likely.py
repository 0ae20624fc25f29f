"""What a reading that failed or surprised most likely means, said where it was read."""

from __future__ import annotations

from pathlib import Path

from ohmward.logbook.events import Reading
from ohmward.procedure.model import Item
from ohmward.run.assess import causes_of
from ohmward.run.state import RunState, Standing

WEIGHING = "Most likely: being weighed by all readings so far …"


def asks_why(state: RunState, item: Item | None) -> bool:
    """Return whether the reading that stands at `item` failed, or is not what the design predicts."""
    entry = state.entries.get(item.key) if item is not None else None
    if item is None or entry is None or not isinstance(entry.event, Reading):
        return False
    standing = state.standing(item)
    if standing is Standing.STALE:
        return False
    return standing is Standing.FAILED or entry.event.judged.as_expected is False


def likely_words(state: RunState, folder: Path | None, how: str) -> str:
    """Return the likeliest cause of what stands in a run, in a line as its summary says it.

    It takes up to a second and more: not for the thread that shows. `how` says how more is told; empty
    where nothing can be said.
    """
    from ohmward.analysis.summary import likeliest_words

    found = causes_of(state, folder)
    return f"{likeliest_words(found[0])} {how}" if found else ""
