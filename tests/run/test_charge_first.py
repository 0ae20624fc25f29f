"""No hand goes in before the charge left in the reservoirs is read, and below its limit."""

from __future__ import annotations

import pytest

from ohmward.errors import Refused
from ohmward.logbook.events import Answered, CaseOpened, CaseShut, Event
from ohmward.run import guidance
from ohmward.run.gates import admit
from ohmward.run.state import RunState, Standing
from support import bench as b


def state_of(*events: Event) -> RunState:
    return b.folded(b.opened(procedure=b.CHARGE_FIRST), *events)


def look_inside(state: RunState) -> None:
    admit(state, Answered(step="inside", subject="", answer="pass"))


def test_nothing_inside_is_looked_at_before_the_charge_is_read() -> None:
    with pytest.raises(Refused, match="before a hand goes in") as refused:
        look_inside(state_of())
    assert refused.value.gate == "charge-first"
    look_inside(state_of(b.reading("charge-left", "+15", "0.2")))


def test_charge_above_the_limit_is_an_open_danger_and_keeps_hands_out() -> None:
    charged = state_of(b.reading("charge-left", "+15", "38", verdict="fail"))
    assert charged.standing(charged.item("charge-left", "+15")) is Standing.FAILED
    with pytest.raises(Refused, match="before a hand goes in"):
        look_inside(charged)
    bled = state_of(
        b.reading("charge-left", "+15", "38", verdict="fail"), b.reading("charge-left", "+15", "0.1")
    )
    look_inside(bled)


def test_opened_again_it_is_read_again() -> None:
    again = state_of(b.reading("charge-left", "+15", "0.2"), CaseShut(), CaseOpened(reason="a look"))
    with pytest.raises(Refused, match="before a hand goes in"):
        look_inside(again)
    assert guidance(again).item is not None


def test_a_procedure_of_old_that_does_not_read_it_is_as_it_was() -> None:
    a, z = (b.CHARGE_FIRST.index(f'[[stage.step]]\nid = "{step}"') for step in ("charge-left", "inside"))
    old = b.CHARGE_FIRST[:a] + b.CHARGE_FIRST[z:]
    look_inside(b.folded(b.opened(procedure=old)))
