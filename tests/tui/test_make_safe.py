"""Making safe by keys: Enter leads where the line below says, and no value is taken for another rail."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from pathlib import Path

from textual.pilot import Pilot

from ohmward.logbook.events import Reading
from support.made_safe import FIRST, SECOND, switched_off
from support.screens import events, press, run_screen, shown, typed

Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]


def readings(path: Path) -> list[tuple[str, float]]:
    taken = [each for each in events(path) if isinstance(each, Reading) and each.step == "residual"]
    return [(each.subject, each.value.si) for each in taken]


def said(pilot: Pilot[None]) -> str:
    return " ".join(shown(pilot).split())


async def test_enter_stays_at_a_residual_voltage_that_failed(open_app: Open, logbook: Path) -> None:
    path = switched_off(logbook)
    async with open_app(path=path) as pilot:
        assert run_screen(pilot).at == FIRST
        await typed(pilot, "16.5")
        assert "Most likely" not in said(pilot)
        assert "Next Residual voltage: +15. Bleed it down (100 Ω to 1 kΩ" in said(pilot)
        assert "Enter go on" not in said(pilot)
        await press(pilot, "enter")
        assert run_screen(pilot).at == FIRST
        assert "nothing is typed yet" in said(pilot)
        await typed(pilot, "4.1")  # bled, and meant for the same rail
        assert readings(path) == [("+15", 16.5), ("+15", 4.1)]
        assert "Next Residual voltage: -15" in said(pilot)
        await press(pilot, "enter")
        assert run_screen(pilot).at == SECOND


async def test_enter_goes_back_to_the_rail_that_next_names(open_app: Open, logbook: Path) -> None:
    path = switched_off(logbook)
    async with open_app(path=path) as pilot:
        await typed(pilot, "16.5")
        await press(pilot, "down")
        await typed(pilot, "-0.2")
        assert readings(path) == [("+15", 16.5), ("-15", -0.2)]
        assert "Next Residual voltage: +15" in said(pilot)
        await press(pilot, "enter")
        assert run_screen(pilot).at == FIRST
