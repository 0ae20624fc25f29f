"""What insulation is tested at: the limit set's voltage, or its alternative where a person chose that."""

from __future__ import annotations

from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.run.state import RunState


def test_voltage(state: RunState, item: Item) -> float | None:
    """Return the test voltage for an item [V], None where it is not one of insulation.

    What its step names, else what the run tests at; never more than that.
    """
    read = item.read
    if read is None or "insulation" not in {read.meter, read.quantity} or state.limits is None:
        return None
    most = chosen_v(state)
    return most if read.test_voltage_v is None else min(read.test_voltage_v, most)


def chosen_v(state: RunState) -> float:
    """Return the voltage that the run tests insulation at [V]; the run has its limit set."""
    assert state.limits is not None  # it came with the first record
    return state.limits.insulation_test_v if state.test_voltage is None else state.test_voltage.volts


def voltages(state: RunState) -> tuple[float, ...]:
    """Return what the limit set lets insulation be tested at [V], its own voltage first."""
    if state.limits is None:
        return ()
    test = state.limits.insulation_test
    return (test.voltage_v,) if test.alternative_v is None else (test.voltage_v, test.alternative_v)


def other_v(state: RunState, item: Item) -> float | None:
    """Return the voltage that an item could be tested at instead [V]; None where there is no choice."""
    now = test_voltage(state, item)
    rest = [volts for volts in voltages(state) if volts != chosen_v(state)]
    return None if now is None or not rest else rest[0]


def voltage_note(state: RunState, item: Item) -> str:
    """Return what a reading's note says of a test voltage that is not the limit set's own; else nothing."""
    now = test_voltage(state, item)
    chosen = state.test_voltage
    if now is None or chosen is None or chosen.volts == voltages(state)[0]:
        return ""
    return f"tested at {show(now, 'V')}: {chosen.reason}"
