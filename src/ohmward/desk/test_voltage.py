"""The conversation in which another test voltage for insulation is chosen, and why."""

from __future__ import annotations

from ohmward.desk.asking import Desk
from ohmward.desk.gate import WORDS, may
from ohmward.logbook.events import TestVoltage
from ohmward.quantity import show
from ohmward.run.insulation import chosen_v, voltages
from ohmward.text import one_line


def voltage_option(volts: float) -> str:
    """Return how the other voltage [V] is offered."""
    return f"test voltage: {show(volts, 'V')} instead, and why"


async def choose_voltage(desk: Desk) -> bool:
    """Have insulation tested at the other voltage of the limit set from now on; the reason is recorded."""
    state = desk.live.state
    now = chosen_v(state)
    other = next((volts for volts in voltages(state) if volts != now), None)
    if other is None:
        await desk.tell("Test voltage", [f"The limit set tests at {show(now, 'V')} and names no other."])
        return False
    if not await may(desk, TestVoltage(volts=other, reason=WORDS)):
        return False
    test = state.limits.insulation_test if state.limits is not None else None
    told = [test.basis, test.advice] if test is not None else []
    lines = [
        f"Insulation is tested at {show(now, 'V')} now; from here on at {show(other, 'V')}.",
        *(one_line(words) for words in told if words),
        "The limit stays. Every reading at it says so, with the reason. Set the tester to it.",
    ]
    reason = await desk.ask(
        f"Test voltage: {show(other, 'V')}", lines, label="What on this supply asks for it", needed=True
    )
    if reason is None:
        return False
    done = await desk.record(lambda _: desk.live.choose_test_voltage(other, reason))
    if done:
        desk.say(f"insulation is tested at {show(other, 'V')} from here on.")
    return done
