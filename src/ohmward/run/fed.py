"""What of a run was fed from a file of answers, and not entered by a person at the bench."""

from __future__ import annotations

from collections import Counter

from ohmward.run.state import RunState


def fed_from(state: RunState, seq: int) -> str:
    """Return the file that a record was fed from; empty where a person entered it, or a meter read it."""
    return next((file for began, file in reversed(state.sessions) if began < seq), "")


def feeding(state: RunState) -> bool:
    """Return whether what is recorded now is fed from a file."""
    return bool(fed_from(state, state.last_seq + 1))


def fed_files(state: RunState) -> tuple[tuple[str, int], ...]:
    """Return each file that entries which stand were fed from, and how many of them."""
    files = (fed_from(state, entry.seq) for entry in state.entries.values())
    return tuple(Counter(file for file in files if file).items())
