"""Reading back what is being typed, before it is taken."""

from __future__ import annotations

from ohmward.desk.readings import value_text
from ohmward.errors import InputError
from ohmward.physics.expectation import Band
from ohmward.procedure.model import Item
from ohmward.quantity import QuantityError, implausible, parse
from ohmward.run.entering import parse_for
from ohmward.run.judging import plausible_range, typed_doubt
from ohmward.run.state import RunState
from ohmward.text import one_line

LONGEST = 12
"""Characters of large figures that have room beside the verdict at 80 columns."""


def read_as(
    text: str, item: Item, band: Band | None = None, state: RunState | None = None
) -> tuple[str, bool]:
    """Return what `text` is read as for `item`, or why it is not; and whether it can be taken as it is.

    `band` is what is expected, where that is known; `state` that of the run it is typed in.
    """
    assert item.read is not None  # asked for readings only
    try:
        value = parse_for(item.read, text)
    except QuantityError as error:
        return reason(error), False
    doubt = typed_doubt(state, item, value) if state is not None else None
    question = doubt or implausible(value, *plausible_range(item.read, band))
    if question is not None:
        return f"= {value_text(value)}; will be asked about", False
    return f"= {value_text(value)}", True


def figures(text: str, unit: str) -> str:
    """Return `text` for the large figures: as it is read where it can be, else as it stands."""
    try:
        shown = value_text(parse(text, unit))
    except QuantityError:
        shown = one_line(text)
    return shown if len(shown) <= LONGEST else ""


def value_in(text: str, unit: str) -> float | None:
    """Return the number that `text` is read as [unit]; None where it is none, or a bound."""
    try:
        value = parse(text, unit)
    except QuantityError:
        return None
    return value.si if value.kind == "exact" and value.number is not None else None


def reason(error: InputError) -> str:
    """Return why a typed value is not taken, and an example, without naming a file."""
    first = error.mistakes[0]
    return one_line(f"{first.why}. {first.mend}")
