"""Driving the terminal UI in tests: keys pressed, workers waited for, the screen read as text."""

from __future__ import annotations

from pathlib import Path

from textual.events import Key
from textual.pilot import Pilot
from textual.screen import ModalScreen

from ohmward.logbook import read
from ohmward.logbook.events import Event
from ohmward.procedure.model import Item
from ohmward.run.state import RunState
from ohmward.tui.run_screen import RunScreen

NARROW, WIDE = (80, 24), (140, 45)
COMPUTING = {"expectation", "meter", "assessment", "look", "history", "meters", "causes"}
"""Groups of the workers that compute or wait for meters, and come to an end by themselves."""


class Bench:
    """Stands in for the meters of the short procedure."""

    def reading_for(self, state: RunState, item: Item) -> str | None:
        del state
        values = {"plug": "pass", "lead-null": "0.20", "earth": "0.25", "insulation": ">200M", "mains": "231"}
        return values.get(item.step)


async def settled(pilot: Pilot[None]) -> None:
    """Wait until every message is handled and the workers that compute are done; dialogues may stay open."""
    for _ in range(500):
        await pilot.pause(0)
        await pilot.pause()  # a key starts a worker, which opens a dialogue, which mounts its parts
        computing = [w for w in pilot.app.workers if w.group in COMPUTING]
        # on a busy machine a screen may not have been drawn yet
        busy = any(worker.is_running for worker in computing) or _opening(pilot)
        if not busy and any(lines(pilot)):
            return
        await pilot.pause(0.02)
    raise AssertionError("the workers did not end")


def _opening(pilot: Pilot[None]) -> bool:
    """Return whether a screen is on its way: asked for, and neither a dialogue nor its run is there yet."""
    asked = any(worker.group == "open" and worker.is_running for worker in pilot.app.workers)
    there = isinstance(pilot.app.screen, ModalScreen) or getattr(pilot.app, "has_run", False)
    return asked and not there


async def press(pilot: Pilot[None], *keys: str) -> None:
    """Press keys, each when the one before has had its effect."""
    for key in keys:
        _send(pilot, key)
        await settled(pilot)


async def typed(pilot: Pilot[None], text: str, then: str = "enter") -> None:
    """Type text as a person does, and end it with a key."""
    for char in text:
        _send(pilot, char)
    await pilot.pause(0)
    await press(pilot, then)


def _send(pilot: Pilot[None], key: str) -> None:
    pilot.app.post_message(Key(key, key if len(key) == 1 else None))


def events(path: Path) -> list[Event]:
    return [record.event for record in read(path)]


def kinds(path: Path) -> list[str]:
    return [type(event).__name__ for event in events(path)]


def lines(pilot: Pilot[None]) -> list[str]:
    """Return the screen as lines of text, as a terminal would hold them."""
    screen = pilot.app.screen
    return ["".join(segment.text for segment in strip) for strip in screen._compositor.render_strips()]


def shown(pilot: Pilot[None]) -> str:
    return "\n".join(lines(pilot))


def run_screen(pilot: Pilot[None]) -> RunScreen:
    return next(screen for screen in pilot.app.screen_stack if isinstance(screen, RunScreen))
