"""What each reading of a run ought to be, at the mains voltage and room temperature of the moment."""

from __future__ import annotations

from functools import lru_cache

from ohmward.physics.expectation import Band, Expectation
from ohmward.procedure.model import Item
from ohmward.run.state import RunState

ROOM_C = 25.0
"""Taken where the room temperature has not been read."""


def expectation(state: RunState) -> Expectation | None:
    """Return the expectation at the conditions last read; None before the run is open."""
    if state.opened is None or state.supply is None:
        return None
    mains = state.condition("mains_v")
    ambient = state.condition("ambient_c")
    return _computed(
        state.opened.sheet,
        round(state.supply.mains.voltage_v if mains is None else mains, 1),
        round(ROOM_C if ambient is None else ambient, 0),
        load_fractions(state),
    )


def load_fractions(state: RunState) -> tuple[float, ...]:
    """Return the load points above zero that the procedure asks for, as fractions of rated current."""
    steps = [step for stage in state.procedure.stages for step in stage.steps] if state.procedure else []
    fractions = {fraction for step in steps for fraction in step.load_fractions if fraction > 0}
    return tuple(sorted(fractions | {1.0}))


def band_of(state: RunState, item: Item) -> Band | None:
    """Return the expected band of an item's reading, or None where nothing can be said."""
    if item.read is None or not item.read.expect:
        return None
    result = expectation(state)
    if result is None:
        return None
    return result.band(item.read.expect, item.about, load_a=item.load_a, together=item.together)


@lru_cache(maxsize=64)
def _computed(sheet: str, mains_v: float, ambient_c: float, fractions: tuple[float, ...]) -> Expectation:
    from ohmward.physics import expect
    from ohmward.supply import loads

    return expect(
        loads(sheet, "design sheet"), mains_v=mains_v, ambient_c=ambient_c, load_points=fractions, seed=1
    )
