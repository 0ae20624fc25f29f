"""Where a person is in the list of entries, and where they go from there."""

from __future__ import annotations

from collections.abc import Sequence

from ohmward.logbook.events import Opened, Record, Recovered, Resumed
from ohmward.procedure.model import Item
from ohmward.run import guidance
from ohmward.run.charge import waits_for_reading
from ohmward.run.mains_on import MAINS_ON
from ohmward.run.state import Key, Phase, RunState, Standing
from ohmward.taking.choosing import drivable

_TO_DO = frozenset({Standing.NOT_DONE, Standing.STALE})


def start_of(state: RunState) -> Item | None:
    """Return the item to show when a run is opened: the next one to do, else the first."""
    following = guidance(state)
    if following.item is not None:
        return following.item
    if following.stage:
        return first_of(state, following.stage)
    return state.items[0] if state.items else None


def to_do(state: RunState, item: Item | None) -> bool:
    """Return whether `item` is still to be done, or to be done again, and mains is as it needs it."""
    if item is None or state.standing(item) not in _TO_DO:
        return False
    return item.energised is (state.phase in MAINS_ON)


def first_of(state: RunState, stage: str) -> Item | None:
    """Return the first open item of a stage, else its first."""
    items = [item for item in state.items if item.stage == stage]
    return next((item for item in items if state.standing(item) in _TO_DO), items[0] if items else None)


def stepped(state: RunState, key: Key | None, by: int) -> Item | None:
    """Return the item `by` places on from `key`, stopping at the ends."""
    if not state.items:
        return None
    at = index_of(state, key)
    return state.items[min(max(at + by, 0), len(state.items) - 1)]


def next_after(state: RunState, key: Key | None) -> Item | None:
    """Return what is still to do after `key` in its stage, else the item the guidance names, if any.

    In making safe it is the one that the guidance names, always: a reading that failed is not left behind for
    that of another rail.
    """
    following = guidance(state)
    if following.move != "item" or following.item is None:
        return None
    if state.phase is Phase.OFF:
        return following.item
    at = index_of(state, key)
    here = state.items[at] if key is not None else None
    later = state.items[at + 1 :] if here is not None and here.stage == following.stage else ()
    return next(
        (
            item
            for item in later
            if item.stage == following.stage
            and state.standing(item) in _TO_DO
            and not waits_for_reading(state, item)
        ),
        following.item,
    )


def next_driven(state: RunState, here: Item | None) -> Item | None:
    """Return the next entry still to do that runs by itself, from `here` round to it; None without one."""
    at = index_of(state, here.key if here is not None else None)
    around = (*state.items[at:], *state.items[:at])
    return next((item for item in around if drivable(item) and not state.settled(item)), None)


def index_of(state: RunState, key: Key | None) -> int:
    """Return the place of `key` in the list; 0 where it has none."""
    return next((number for number, item in enumerate(state.items) if item.key == key), 0)


def operator_of(records: Sequence[Record]) -> str:
    """Return who works on the run in this session."""
    sessions = (record.event for record in reversed(records) if isinstance(record.event, (Opened, Resumed)))
    return next((event.operator for event in sessions), "")


def last_worked(records: Sequence[Record]) -> str:
    """Return when the last record before this session was made; empty where there is none."""
    before = (record for record in reversed(records) if not isinstance(record.event, (Resumed, Recovered)))
    return next((record.at for record in before), "")
