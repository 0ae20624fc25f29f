"""What is left in the reservoirs after mains was on: by a computed wait where there is one, and by reading.

Where the sheet gives no bleeder, no time tells anything: what is asked then is a reading, and the check that
was to wait for a time holds when the reading does.
"""

from __future__ import annotations

import math

from ohmward.errors import Refused
from ohmward.procedure.model import Item
from ohmward.quantity import show_band
from ohmward.run.blockers import describe, guards_hands
from ohmward.run.state import RunState, Standing
from ohmward.supply import discharge_seconds

BLEED = "100 Ω to 1 kΩ, wire-wound, insulated leads"


def discharge_wait_s(state: RunState) -> float | None:
    """Return the longest computed discharge time over the rails, in whole seconds [s]; None where not known.

    From the sheet's closed-form relation, so that making safe never waits for the full model.
    """
    if state.supply is None:
        return None
    times = [discharge_seconds(state.supply, rail) for rail in state.supply.rails]
    known = [time for time in times if time is not None]
    return float(math.ceil(max(known))) if known and len(known) == len(times) else None


def untimed_rails(state: RunState) -> tuple[str, ...]:
    """Return the rails whose discharge no time tells: reservoir or bleeder is not on the sheet."""
    if state.supply is None:
        return ()
    supply = state.supply
    return tuple(rail.name for rail in supply.rails if discharge_seconds(supply, rail) is None)


def waits_for_no_time(state: RunState, item: Item) -> bool:
    """Return whether `item` waits for the discharge, and no time for that can be computed."""
    spec = item.spec
    return spec.wait_from == "switched-off" and spec.wait_s is None and discharge_wait_s(state) is None


def unread(state: RunState) -> list[Item]:
    """Return the readings of what is left that have to hold before a hand goes near, and do not yet."""
    return [
        item
        for item in state.items
        if guards_hands(item) and item.read is not None and state.standing(item) is not Standing.PASSED
    ]


def waits_for_reading(state: RunState, item: Item) -> bool:
    """Return whether `item` holds only when what is left has been read: no time can be told for it."""
    return waits_for_no_time(state, item) and bool(unread(state))


def safe_words(state: RunState) -> str:
    """Return what the residual voltage has to be, such as '-5 to 5 V'; empty where nothing says."""
    limits = [item.limit for item in state.items if guards_hands(item) and item.read and item.limit]
    return show_band(limits[0].low, limits[0].high, "V") if limits else ""


def untimed_words(state: RunState) -> str:
    """Return what is done in place of waiting, where no time can be told."""
    rails = ", ".join(untimed_rails(state))
    safe = safe_words(state)
    return (
        f"No bleeder on the sheet ({rails}): no time tells. Measure each reservoir, and bleed it ({BLEED}) "
        f"until it reads {safe or 'nothing'}."
    )


def bleed_words(state: RunState, item: Item) -> str:
    """Return what is done about a reading of what is left that failed; empty of anything else."""
    failed = state.standing(item) is Standing.FAILED
    if not failed or item.read is None or item.read.quantity != "residual_v":
        return ""
    return f"bleed it down ({BLEED}, clipped on) and read it again"


def require_reading(state: RunState, item: Item) -> None:
    """Refuse that a wait passes that no time can be told for, before what is left has been read.

    Raises
    ------
    Refused
    """
    if waits_for_reading(state, item):
        left = ", ".join(describe(each) for each in unread(state))
        raise Refused(
            "charge-first",
            [f"{describe(item)}: no bleeder on the sheet, so no time can be told", f"not yet read: {left}"],
            "Measure the residual voltage of every rail first; this holds when those readings do",
        )
