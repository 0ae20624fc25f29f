"""Mains brought to an end of its band: whether a reading is of what its step aims at."""

from __future__ import annotations

from ohmward.procedure.model import Item
from ohmward.quantity import Value, show
from ohmward.run.state import RunState

NEAR = 0.03
"""How far mains may be from what is aimed at, as a share of its nominal voltage.

By hand a variable transformer is set to the volt, mains itself moves by a per cent or two while it is read,
and a meter of mains adds one: common practice, no source. Where the end of the band is nearer to the nominal
voltage than twice that, half of the way is what counts, so that mains left as it was is always asked about.
"""


def aimed_v(state: RunState, item: Item) -> float | None:
    """Return what mains is brought to at the step of `item` [V]; None where it is taken as it is."""
    if item.read is None or not item.read.aim or state.supply is None:
        return None
    mains = state.supply.mains
    return mains.low_v if item.read.aim == "mains-low" else mains.high_v


def aim_note(state: RunState, item: Item, value: Value) -> str:
    """Return what the step wants of mains, where a value is far from it; else nothing."""
    aimed = aimed_v(state, item)
    if aimed is None or state.supply is None or value.kind != "exact":
        return ""
    nominal = state.supply.mains.voltage_v
    half_way = 0.5 * abs(aimed - nominal) or nominal
    if abs(value.si - aimed) <= min(NEAR * nominal, half_way):
        return ""
    assert item.read is not None  # `aimed_v` says so
    moved = "lowered" if item.read.aim == "mains-low" else "raised"
    return f"this step wants mains {moved} to about {show(aimed, 'V')}"


def aim_doubt(state: RunState, item: Item, value: Value) -> str | None:
    """Return what is asked of a value far from what its step aims at; None where nothing is.

    Nothing is asked where the reading guards a person: it is recorded at once.
    """
    words = "" if item.spec.severity == "danger" else aim_note(state, item, value)
    return f"{show(value.si, value.unit)}; {words}. Is it so?" if words else None
