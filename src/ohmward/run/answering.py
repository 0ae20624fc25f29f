"""An answer to a check as it is recorded: with how long it was waited for, and what readings say of it."""

from __future__ import annotations

from ohmward.errors import Refused
from ohmward.logbook.events import Answered
from ohmward.run.charge import require_reading
from ohmward.run.gates import admit
from ohmward.run.rising import require_settled, rising_words
from ohmward.run.state import Key, Phase, RunState
from ohmward.run.timers import require_held, require_time, short_hold


def answered(
    state: RunState, key: Key, answer: str, note: str, after_s: float | None, *, held_s: float | None = None
) -> Answered:
    """Return the answer to be recorded.

    `after_s` is by the timer of its own, `held_s` by that of the held reading that it speaks of [s].

    Raises
    ------
    Refused
        When it is no answer; and when, without words, one that has to last for a time passes before it, one
        that speaks of a held reading passes where that was held for less, or one that says that a soak has
        settled is not failed against its readings; and when a discharge that no time can be told for passes
        before the residual voltage is read.
    """
    if answer not in {"pass", "fail", "not applicable"}:
        raise Refused("answer", [f"'{answer}' is not an answer"], "Give pass, fail or not applicable")
    step, subject = key
    item = state.by_key.get(key)
    event = Answered(
        step=step, subject=subject, answer=answer, note=note, after_s=after_s,  # type: ignore[arg-type]
        against=against(state, key, answer, held_s),
    )  # fmt: skip
    if state.phase is Phase.PAPER:
        return event  # it was answered long ago, and in no order that the tool knows of
    if item is not None and answer != "fail" and not note.strip():
        admit(state, event)
        if answer == "pass":
            require_time(state, item, after_s)
            require_held(state, item, held_s)
        require_settled(state, item)
    if item is not None and answer == "pass":
        admit(state, event)
        require_reading(state, item)
    return event


def against(state: RunState, key: Key, answer: str, held_s: float | None = None) -> str:
    """Return what the readings say against an answer that does not fail; empty where they say nothing."""
    item = state.by_key.get(key)
    if item is None or answer == "fail":
        return ""
    return rising_words(state, item) or (short_hold(state, item, held_s) if answer == "pass" else "")
