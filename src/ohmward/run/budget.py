"""Where the uncertainty of one recorded reading comes from, component by component."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ohmward.errors import InputError, Mistake
from ohmward.logbook.events import Reading
from ohmward.procedure.model import Item
from ohmward.run.state import RunState

if TYPE_CHECKING:
    from ohmward.analysis.uncertainty import Combined
    from ohmward.bench.accuracy import Accuracy, Terms
    from ohmward.bench.meters import Meter

MOST_NAMED = 12
"""Subjects or steps that a refusal lists."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingBudget:
    """One reading with the budget of its uncertainty."""

    run: str
    simulated: bool
    item: Item
    reading: Reading
    combined: Combined | None
    """None where the meter's accuracy is not stated."""
    accuracy: str
    """The meter's specification that applied, as written; empty for none."""
    parts: tuple[tuple[str, float], ...] = ()
    """What the specification is made of, in words, and what each comes to at this reading [its unit]."""
    notes: tuple[str, ...] = ()


def budget_of(state: RunState, step: str, subject: str = "") -> ReadingBudget:
    """Return the budget of a reading that stands in a run, by the meters and the null recorded with it.

    Parameters
    ----------
    step : str
        Step, as 'load-points.output'; its first part will do where it is the only one.
    subject : str
        Such as '+15 @ 100 %'; may be left out where the step has one reading.

    Raises
    ------
    InputError
        When no reading, or more than one, stands there; what there is is named.
    """
    item = _item(state, step, subject)
    reading = state.entries[item.key].event
    assert isinstance(reading, Reading)
    assert item.read is not None
    from ohmward.analysis.reading_budget import budget_of_reading
    from ohmward.bench.meters import function_of

    null = state.entries.get((item.read.subtract, "")) if item.read.subtract else None
    null_event = null.event if null is not None and isinstance(null.event, Reading) else None
    meter = _meter(state, reading.meter)
    combined = budget_of_reading(reading, item, null_event, state.meters)
    specification = None
    if meter is not None and reading.value.number is not None:
        function = function_of(item.read.quantity, item.read.unit)
        specification = meter.specification(reading.value.si, reading.value.unit, function)
    return ReadingBudget(
        run=state.opened.run if state.opened else "",
        simulated=state.opened is not None and state.opened.simulated,
        item=item,
        reading=reading,
        combined=combined,
        accuracy=specification.accuracy.text if specification else "",
        parts=_parts(specification.accuracy, reading.value.si) if specification else (),
        notes=tuple(_notes(reading, meter, combined)),
    )


def _parts(accuracy: Accuracy, value: float) -> tuple[tuple[str, float], ...]:
    """Return the terms of the alternative that applies, in words, with what each comes to."""
    from ohmward.quantity import show

    unit, span, step = accuracy.unit, accuracy.range_value or 0.0, accuracy.resolution or 0.0

    def terms(each: Terms) -> list[tuple[str, float]]:
        digits = "digit" if each.counts == 1.0 else "digits"
        return [
            (f"{100 * each.of_reading:g} % of {show(abs(value), unit)}", each.of_reading * abs(value)),
            (f"{100 * each.of_range:g} % of the {show(span, unit)} range", each.of_range * span),
            (f"{each.counts:g} {digits} of {show(step, unit)}", each.counts * step),
            (show(each.absolute, unit), each.absolute),
        ]

    largest = max((terms(each) for each in accuracy.alternatives), key=lambda t: sum(part for _, part in t))
    return tuple((words, part) for words, part in largest if part > 0.0)


def _meter(state: RunState, name: str) -> Meter | None:
    return next((each for each in state.meters if each.name == name), None)


def _notes(reading: Reading, meter: Meter | None, combined: Combined | None) -> list[str]:
    if combined is None:
        if not reading.meter:
            return ["no meter was named with it, so its accuracy is not stated"]
        if meter is None:
            return [f"the meter '{reading.meter}' is not among those recorded at the start of the run"]
        return [f"the accuracy of '{reading.meter}' is not stated for such a reading"]
    told = reading.judged.uncertainty
    if told is None or not math.isclose(told, combined.expanded, rel_tol=0.005):
        return [
            "the uncertainty recorded with the reading is another: it was judged with another null or meter, "
            "and stays what it was"
        ]
    return []


def _item(state: RunState, step: str, subject: str) -> Item:
    read = [item for item in state.items if isinstance(_event(state, item), Reading)]
    of_step = [item for item in read if item.step == step] or [i for i in read if i.spec.id == step]
    if not of_step:
        raise _mistake("--budget", step, "no reading stands at this step", "steps", {i.step for i in read})
    found = [item for item in of_step if not subject or item.subject == subject]
    if len(found) == 1:
        return found[0]
    places = {f"{i.step} {i.subject!r}" if i.subject else i.step for i in of_step}
    why = "no reading of it stands for this subject" if not found else "several readings stand there"
    raise _mistake("--budget", f"{step} {subject}".strip(), why, "readings", places)


def _event(state: RunState, item: Item) -> object:
    entry = state.entries.get(item.key)
    return None if entry is None else entry.event


def _mistake(field: str, value: str, why: str, what: str, there: set[str]) -> InputError:
    named = sorted(there)
    more = f" and {len(named) - MOST_NAMED} more" if len(named) > MOST_NAMED else ""
    listed = f"{', '.join(named[:MOST_NAMED])}{more}" if named else "none yet"
    mend = f"Name one of the {what} that stand in this run: {listed}"
    return InputError([Mistake(where="command line", field=field, value=value, why=why, mend=mend)])
