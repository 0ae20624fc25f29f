"""Which readings are taken as soon as the probe has settled, with both hands busy, and why others not."""

from __future__ import annotations

from ohmward.desk.gate import admitted
from ohmward.desk.place import to_do
from ohmward.procedure.model import Item
from ohmward.run.state import RunState
from ohmward.taking import open_leads
from ohmward.taking.choosing import applies_voltage, can_read, drivable, probe


def reachable(state: RunState) -> bool:
    """Return whether the run lists any meter that the tool can reach: without one nothing is hands free."""
    return any(meter.resource for meter in state.meters)


def by_hand(state: RunState, item: Item, chosen: str) -> str:
    """Return why an entry is not taken hands free, in a few words; empty where it is.

    Never where a test voltage is applied, nor under load (a sweep or soak runs by itself), nor what may be
    left out, nor where a probe that hangs in the air would pass. `chosen` is the meter that the person said
    is in use.
    """
    reasons = (
        (item.is_waveform, "a waveform is yours to take"),
        (item.read is None, "a check is yours to answer"),
        (not to_do(state, item), "this is not to be done now"),
        (not can_read(state, item), "no meter at hand reads this"),
        (drivable(item), "under load nothing is taken unasked"),
        (applies_voltage(state, item, chosen), "no test voltage is put on unasked"),
        (not item.required, "this may be left out: it is taken by you or not at all"),
        (open_leads.would_pass(item), "open leads would read the same: it is taken by you"),
        (not admitted(state, probe(item)), "something else comes first"),
    )
    return next((words for so, words in reasons if so), "")
