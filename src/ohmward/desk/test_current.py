"""Where no list says what current a meter drives to earth: the question for it."""

from __future__ import annotations

from dataclasses import dataclass

from ohmward.desk.asking import Desk
from ohmward.desk.card import title
from ohmward.desk.gate import enterable
from ohmward.desk.typed import reason
from ohmward.procedure.model import Item
from ohmward.quantity import QuantityError, parse, show
from ohmward.run.state import RunState
from ohmward.run.test_current import EARTH, current_listed, wants_current
from ohmward.text import one_line

LABEL = "Test current, such as 10 mA; Enter alone: not known"
_NOT_LISTED = "It is read with a meter that is not in the list, so nothing says what current it drives."
_NO_CURRENT = "The list of meters does not say what current '{}' drives (test_current in meters.toml)."
# from memory: what ohms ranges of hand-held multimeters drive through a short
_USUAL = "Its manual does. A multimeter on its ohms range: about 1 mA, often less."

_LESS = "A meter that gives less still finds a broken earth; the report says what it was read with."


@dataclass(frozen=True, slots=True)
class Told:
    """What the person said of a test current [A]; None where it is not known, or not asked for."""

    amperes: float | None = None


async def told_current(desk: Desk, item: Item, text: str, meter: str) -> Told | None:
    """Ask, where no list says it, with what current a value typed for `item` was read; None on going back."""
    state = desk.live.state
    if current_listed(state, meter) is not None or not wants_current(state, item):
        return Told()
    return await _current(desk, item, meter) if _holds(desk, item, text, meter) else Told()


def _holds(desk: Desk, item: Item, text: str, meter: str) -> bool:
    """Return whether a value would be taken and hold; what does not is recorded before anything is asked."""
    if not enterable(desk.live.state, item):
        return False
    event = desk.live.judged_reading(*item.key, text, meter=meter, confirmed=True, timed=False)
    return event.judged.verdict.endswith("pass")


async def _current(desk: Desk, item: Item, meter: str) -> Told | None:
    """Ask what current a meter drives [A]; None when the person goes back."""
    why = _NO_CURRENT.format(one_line(meter)) if meter else _NOT_LISTED
    lines = [why, _USUAL, *_asked(desk.live.state)]
    while True:
        text = await desk.ask(title(item), lines, label=LABEL)
        if text is None or not text.strip():
            return None if text is None else Told(None)
        try:
            value = parse(text, "A")
        except QuantityError as error:
            lines = [reason(error)]
            continue
        if value.kind == "exact" and value.si > 0:
            return Told(value.si)
        lines = ["A current above zero, such as 10 mA or 0.2 A."]


def _asked(state: RunState) -> list[str]:
    """Return what the limit of the earth's continuity asks for; nothing where it asks for no current."""
    items = (each for each in state.by_key.values() if each.read is not None and each.read.limit == EARTH)
    limit = next((each.limit for each in items if each.limit is not None), None)
    least = None if limit is None else limit.test_current_a
    return [] if least is None else [f"The limit asks for {show(least, 'A')} or more. {_LESS}"]
