"""What the sheet alone says of a resistance through the cord: the core, as `ohmward check` prints it."""

from __future__ import annotations

from ohmward.procedure.limits import cord_left_out
from ohmward.procedure.model import Item
from ohmward.run.state import RunState
from ohmward.supply.describing import core_words

_CORES = {"earth_continuity": "earth core", "cord_core": "line core"}
"""Which core a limit is of."""
NO_CORD = "not computed: the sheet does not give the length and area of the cord"
_CONTACT = "what joints and the probe's contact add, no sheet tells"


def through_cord_words(state: RunState, item: Item) -> str:
    """Return what a reading through the cord is made up of; empty for a reading of something else.

    A range is not claimed: of the joints nothing is known but what the limit allows them.
    """
    core = _CORES.get(item.read.limit) if item.read is not None else None
    if item.read is None or core is None or state.supply is None or state.limits is None:
        return ""
    cord = state.supply.mains.cord
    leads = "" if item.read.subtract else "; test leads too, unless the meter has four wires"
    if core == "earth core" and cord is not None and cord_left_out(state.limits, state.supply):
        return f"no cord in it, from the inlet: {_CONTACT}{leads}"
    if cord is None or cord.size is None:
        return NO_CORD
    return f"{core_words(*cord.size, core)}; {_CONTACT}{leads}"
