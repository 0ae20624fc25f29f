"""Why something cannot be done in a run now, in the words of the gates themselves."""

from __future__ import annotations

import re
from collections.abc import Callable

from ohmward.desk.gate import WORDS
from ohmward.desk.mending import why_none_as_before
from ohmward.desk.place import next_driven
from ohmward.desk.points import has_points
from ohmward.errors import OhmwardError, Refused
from ohmward.logbook.events import (
    Answered,
    Begun,
    CaseOpened,
    CaseShut,
    Closed,
    Energised,
    Event,
    Noted,
    Overridden,
    Repaired,
    Skipped,
    SwitchedOff,
)
from ohmward.procedure.model import Item
from ohmward.run.capturing import require
from ohmward.run.gates import admit
from ohmward.run.mains_on import MAINS_ON
from ohmward.run.state import Phase, RunState
from ohmward.run.unchanged import as_before
from ohmward.taking.choosing import drivable, too_weak
from ohmward.text import one_line

NO_ENTRY = "No entry is shown."
NO_METER = "No meter that can be reached reads this: type the value, or list the meter in meters.toml."
_CALL = re.compile(r"(?P<name>\w+)(?:\('?(?P<argument>[^')]*)'?\))?")


def why_not(state: RunState, item: Item | None, action: str, *, meter: bool, by_itself: bool) -> str:
    """Return why an action of the run screen would do nothing now; empty where it would do something.

    Parameters
    ----------
    action : str
        As in the key map: ``answer('pass')``, ``move('off')``.
    meter, by_itself : bool
        A meter at hand reads the entry shown, or something of its sweep or soak.
    """
    found = _CALL.fullmatch(action)
    name, argument = (found["name"], found["argument"] or "") if found is not None else ("", "")
    asks = name in {"meter_reading", "hands_free"}
    weak = too_weak(state, item) if item is not None and asks else ""
    read = weak or ("" if meter or not asks else NO_METER)
    asked: dict[str, Callable[[], str]] = {
        "answer": lambda: why_not_answer(state, item, argument),
        "move": lambda: why_not_move(state, item, argument),
        "meter_reading": lambda: why_not_read(state, item) or read,
        "hands_free": lambda: why_not_read(state, item) or read,
        "by_itself": lambda: why_not_driven(state, item) or ("" if by_itself else NO_METER),
        "turn_page": lambda: why_not_points(item),
        "waveform": lambda: why_not_waveform(state, item),
    }
    return asked[name]() if name in asked else ""


def why_not_waveform(state: RunState, item: Item | None) -> str:
    """Return why no waveform can be taken of the entry shown; empty where one can."""
    if item is None:
        return NO_ENTRY
    try:
        require(state, item.step, item.subject)
    except OhmwardError as error:
        return one_line(str(error))
    return ""


def why_not_answer(state: RunState, item: Item | None, answer: str) -> str:
    """Return why the entry shown cannot be answered so; empty where it can."""
    if item is None:
        return NO_ENTRY
    if item.is_waveform:
        return "This asks for a waveform: y takes it."
    if item.read is not None:
        return "This is a reading: type its value."
    given = Answered(step=item.step, subject=item.subject, answer=answer, note=WORDS)  # type: ignore[arg-type]
    return _refused(state, given)


def why_not_read(state: RunState, item: Item | None) -> str:
    """Return why no reading can be taken at the entry shown; empty where one can."""
    if item is None:
        return NO_ENTRY
    if state.phase is Phase.CLOSED:
        return "The run is closed: nothing can be entered."
    return "" if item.read is not None else "This is not a reading: it is answered with p, f or n."


def why_not_driven(state: RunState, item: Item | None) -> str:
    """Return why the entry shown does not run by itself, and where the next is; empty where it does."""
    if item is not None and drivable(item):
        return ""
    following = next_driven(state, item)
    words = "Only a load sweep, a soak or an overload runs by itself"
    if following is None:
        return f"{words}; none is left to do."
    stage = one_line(state.stage(following.stage).title)
    return f"{words}; the next is '{one_line(following.spec.title)}' ({stage})."


def why_not_points(item: Item | None) -> str:
    """Return why there are no points and no plot of the entry shown; empty where there are."""
    points = item is not None and has_points(item)
    return "" if points else "Only a load sweep or a soak has points and a plot."


def why_not_move(state: RunState, item: Item | None, name: str) -> str:
    """Return why a move of `moves.MOVES` would be refused now; empty where it would not."""
    if name == "off" and state.phase not in MAINS_ON:
        return "Mains is not on: there is nothing to switch off."
    if name == "meter":
        return why_not_read(state, item)
    if item is None and name in {"begin", "skip", "override", "amend", "as before"}:
        return NO_ENTRY
    if name == "amend" and item is not None and item.key not in {**state.entries, **state.captures}:
        return "Nothing is recorded at this entry yet: there is nothing to amend."
    if name == "as before":
        return "" if item is not None and as_before(state, item) else why_none_as_before(state, item)
    event = _event(state, item, name)
    return _refused(state, event) if event is not None else ""


def _event(state: RunState, item: Item | None, name: str) -> Event | None:
    """Return what a move would record, with words still to be given; None where that is not known before."""
    step, subject = item.key if item is not None else ("", "")
    events: dict[str, Event] = {
        "begin": Begun(step=step, subject=subject),
        "energise": Energised(),
        "off": SwitchedOff(),
        "repair": Repaired(what=WORDS),
        "case": CaseShut() if state.case_open else CaseOpened(),
        "note": Noted(text=WORDS),
        "close": Closed(verdict="", records=state.last_seq + 1),
        "skip": Skipped(step=step, subject=subject, reason=WORDS),
        "override": Overridden(step=step, subject=subject, reason=WORDS),
    }
    return events.get(name)


def _refused(state: RunState, event: Event) -> str:
    try:
        admit(state, event)
    except Refused as refusal:
        return one_line(f"{'; '.join(refusal.reasons)}. {refusal.mend}")
    return ""
