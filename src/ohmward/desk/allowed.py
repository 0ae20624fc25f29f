"""Which moves the gates would let through now: what is offered, by whatever shows it."""

from __future__ import annotations

from ohmward.desk.gate import WORDS, admitted
from ohmward.logbook.events import Overridden, Skipped
from ohmward.procedure.model import Item
from ohmward.run.state import Phase, RunState


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
    if state.phase is Phase.DEAD:
        names += ["case", "repair"]
    return names
