"""A bystander with a notebook: what they know of a run by the short procedure, apart from the code."""

from __future__ import annotations

from collections.abc import Iterable

from ohmward.logbook.events import (
    Amended,
    Answered,
    CaseOpened,
    Energised,
    Event,
    Overridden,
    Parts,
    Reading,
    Record,
    Skipped,
)
from ohmward.run.state import Phase, RunState, advance


class Oracle:
    """What a bystander with a notebook knows, told apart from the code under test."""

    def __init__(self) -> None:
        self.result: dict[tuple[str, str], tuple[int, str]] = {}
        self.override: set[tuple[str, str]] = set()
        self.at: dict[int, tuple[str, str]] = {}
        self.opening = self.repair = -1
        self.shut = self.live = False
        self.parts: tuple[str, ...] = ("case", "front panel")

    def holds(self, key: tuple[str, str], since: int) -> bool:
        seq, word = self.result.get(key, (-2, ""))
        return seq >= since and word in {"good", "set aside"}

    def take(self, seq: int, event: Event) -> None:
        kind = type(event).__name__
        if isinstance(event, Answered | Reading | Skipped):
            key = (event.step, event.subject)
            self.result[key] = (seq, _word(event))
            self.at[seq] = key
            self.override.discard(key)
        elif isinstance(event, Amended):
            key = self.at[event.seq]
            if self.result.get(key, (-1, ""))[0] == event.seq:
                instead = event.answer or event.reading
                self.override.discard(key)
                if instead is None:
                    del self.result[key]
                else:
                    self.result[key] = (event.seq, _word(instead))
        elif isinstance(event, Overridden):
            self.override.add((event.step, event.subject))
            seq_, _ = self.result[event.step, event.subject]
            self.result[event.step, event.subject] = (seq_, "set aside")
        elif isinstance(event, Parts):
            self.parts = event.names
        elif kind == "CaseOpened":
            self.opening, self.shut = seq, False
        elif kind == "CaseShut":
            self.shut = True
        elif kind == "Repaired":
            self.repair = seq
        elif kind == "Energised":
            self.live = True
        elif kind == "SwitchedOff":
            self.live = False

    def may_be_live(self) -> str:
        last = max(self.opening, self.repair)
        if not self.shut:
            return "case open"
        for key in [("earth", part) for part in self.parts]:
            if not self.holds(key, last) or self.result[key][1] != "good":
                return f"earth {key}"
        for key, since in {
            ("lead-null", ""): last,
            ("insulation", ""): last,
            ("plug", ""): self.repair,
            ("vents", ""): self.repair,
        }.items():
            if not self.holds(key, since):
                return f"dead {key}"
        for key, (seq, word) in self.result.items():
            if key[0] in {"plug", "earth", "insulation", "lamp"} and word == "bad" and seq >= self.repair:
                return f"danger {key}"
        return ""


def _word(event: object) -> str:
    answer = getattr(event, "answer", None)
    judged = getattr(event, "judged", None)
    if judged is not None:
        good = judged.verdict in {"pass", "conditional pass", "not stated: pass"} and not judged.past_stop
        return "good" if good else "bad"
    if answer is not None:
        return {"pass": "good", "fail": "bad"}.get(answer, "set aside")
    return "set aside"


def lawful(records: Iterable[Record]) -> RunState:
    """Fold records beside the notebook; each law of the gates has to hold after each of them."""
    oracle, state = Oracle(), RunState()
    for record in records:
        event = record.event
        if isinstance(event, Answered | Reading) and state.item(event.step, event.subject).energised:
            assert oracle.live, record
            assert oracle.may_be_live() == "", record
        if isinstance(event, Energised):
            assert oracle.may_be_live() == "", record
        if isinstance(event, CaseOpened):
            assert not oracle.live, record
        oracle.take(record.seq, event)
        state = advance(state, record)
        assert state.violations == (), record
        if state.phase is Phase.LIVE:
            assert oracle.live, record
            assert oracle.may_be_live() == "", record
    return state
