"""Which moves the gates would let through now: what is offered, by whatever shows it."""

from __future__ import annotations

from ohmward.desk.gate import WORDS, admitted
from ohmward.desk.place import to_do
from ohmward.logbook.events import Begun, Overridden, Skipped
from ohmward.procedure.model import Item
from ohmward.run.insulation import other_v
from ohmward.run.state import Phase, RunState
from ohmward.run.timers import timer
from ohmward.run.unchanged import as_before


def allowed_moves(state: RunState, item: Item | None) -> list[str]:
    """Return the moves beside the entry itself that make sense now, by their names in `moves.MOVES`."""
    names = ["note"] if state.phase is not Phase.CLOSED else []
    if item is not None:
        if admitted(state, Overridden(step=item.step, subject=item.subject, reason=WORDS)):
            names.append("override")
        if admitted(state, Skipped(step=item.step, subject=item.subject, reason=WORDS)):
            names.append("skip")
        if (item.key in state.entries or item.key in state.captures) and state.phase is not Phase.CLOSED:
            names.append("amend")
        if as_before(state, item):
            names.insert(0, "as before")
    if state.phase is Phase.DEAD:
        names += ["case", "repair"]
    return names


def to_begin(state: RunState, item: Item) -> bool:
    """Return whether what has to be held for a time could be begun now, and is not."""
    found = timer(state, item) if item.spec.wait_from == "begun" else None
    begun = Begun(step=item.step, subject=item.subject)
    return found is not None and found.began is None and to_do(state, item) and admitted(state, begun)


def meter_to_choose(state: RunState, item: Item) -> bool:
    """Return whether there is a meter, or a test voltage, to be chosen for the entry shown."""
    return item.read is not None and (bool(state.meters) or other_v(state, item) is not None)
