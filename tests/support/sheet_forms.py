"""Driving the form of a design sheet: the cursor put on a field, a value typed over what stands there."""

from __future__ import annotations

from textual.events import Key
from textual.pilot import Pilot
from textual.widgets import Input

from ohmward.shipped import folder
from ohmward.tui.sheet_screen import SheetScreen
from support.screens import press, settled, shown, typed

CR_07 = (folder("demo") / "CR-07.toml").read_text(encoding="utf-8")
CAPACITANCE = ("rail", 0, "reservoir", "capacitance")


def form(pilot: Pilot[None]) -> SheetScreen:
    return next(screen for screen in pilot.app.screen_stack if isinstance(screen, SheetScreen))


async def go(pilot: Pilot[None], place: tuple[str | int, ...]) -> None:
    """Put the cursor of the form on a row."""
    screen = form(pilot)
    at = next(number for number, row in enumerate(screen._rows) if row.place == place)
    screen._table.move_cursor(row=at)
    await settled(pilot)


def entry(pilot: Pilot[None]) -> Input:
    return form(pilot).query_one("#sheet-entry", Input)


async def wipe(pilot: Pilot[None]) -> None:
    """Wipe what stands in the entry, as a person does who holds Backspace down."""
    for _ in entry(pilot).value:
        pilot.app.post_message(Key("backspace", None))
    await pilot.pause(0)


async def change(pilot: Pilot[None], place: tuple[str | int, ...], text: str, then: str = "enter") -> None:
    """Put the cursor on a field, and type over what stands there."""
    await go(pilot, place)
    await press(pilot, "enter")
    await wipe(pilot)
    await typed(pilot, text, then)


async def until(pilot: Pilot[None], words: str) -> str:
    """Wait until the screen says something, however its lines are broken, and return all that it says."""
    for _ in range(150):
        await settled(pilot)
        if words in (text := " ".join(shown(pilot).replace("┃", " ").split())):
            return text
        await pilot.pause(0.02)
    raise AssertionError(f"never said: {words}\n{shown(pilot)}")


async def opened(pilot: Pilot[None]) -> None:
    """Open the form of the first supply, and wait for what to expect."""
    await press(pilot, "enter", "e")
    await until(pilot, "230 V mains")
