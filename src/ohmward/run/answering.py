"""An answer to a check as it is recorded: with how long it was waited for, and what readings say of it."""

from __future__ import annotations

from ohmward.errors import Refused
from ohmward.logbook.events import Answered
from ohmward.run.charge import require_reading
from ohmward.run.gates import admit
from ohmward.run.rising import require_settled, rising_words
from ohmward.run.state import Key, Phase, RunState
from ohmward.run.timers import require_time


def answered(state: RunState, key: Key, answer: str, note: str, after_s: float | None) -> Answered:
    """Return the answer to be recorded.

    Raises
    ------
    Refused
        When it is no answer; and when one that has to last for a time passes before it, or one that says
        that a soak has settled is not failed against its readings, without words; and when a discharge
        that no time can be told for passes before the residual voltage is read.
    """
    if answer not in {"pass", "fail", "not applicable"}:
        raise Refused("answer", [f"'{answer}' is not an answer"], "Give pass, fail or not applicable")
    step, subject = key
    item = state.by_key.get(key)
    event = Answered(
        step=step, subject=subject, answer=answer, note=note, after_s=after_s,  # type: ignore[arg-type]
        against=against(state, key, answer),
    )  # fmt: skip
    if state.phase is Phase.PAPER:
        return event  # it was answered long ago, and in no order that the tool knows of
    if item is not None and answer != "fail" and not note.strip():
        admit(state, event)
        if answer == "pass":
            require_time(state, item, after_s)
        require_settled(state, item)
    if item is not None and answer == "pass":
        admit(state, event)
        require_reading(state, item)
    return event


def against(state: RunState, key: Key, answer: str) -> str:
    """Return what the readings say against an answer that does not fail; empty where they say nothing."""
    item = state.by_key.get(key)
    return "" if item is None or answer == "fail" else rising_words(state, item)
