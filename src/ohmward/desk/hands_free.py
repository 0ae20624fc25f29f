"""Which readings may be taken as soon as the probe has settled, with both hands at the probes."""

from __future__ import annotations

from ohmward.desk.gate import admitted
from ohmward.desk.place import to_do
from ohmward.procedure.model import Item
from ohmward.run.state import RunState
from ohmward.taking.choosing import applies_voltage, can_read, probe


def takes_itself(state: RunState, item: Item, chosen: str) -> bool:
    """Return whether a reading may be taken without a key.

    Never where a test voltage is applied, nor under load (a sweep or soak runs by itself), nor what may be
    left out. `chosen` is the meter that the person said is in use.
    """
    return (
        can_read(state, item)
        and item.required
        and item.kind not in {"sweep", "soak"}
        and to_do(state, item)
        and not applies_voltage(state, item, chosen)
        and admitted(state, probe(item))
    )
