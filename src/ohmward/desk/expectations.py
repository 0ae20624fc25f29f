"""What to expect of a design sheet by itself, before there is a run."""

from __future__ import annotations

from ohmward.physics.expectation import Expectation
from ohmward.run.expected import ROOM_C
from ohmward.supply.model import Supply


def of_sheet(supply: Supply) -> Expectation:
    """Return what to expect at nominal mains and usual room temperature; raises as `physics.expect` does."""
    from ohmward.physics import expect

    return expect(supply, ambient_c=ROOM_C)
