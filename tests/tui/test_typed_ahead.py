"""Keys that come faster than the screen can follow: no value comes into another entry."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from pathlib import Path

import pytest
from textual.pilot import Pilot

from ohmward.logbook.events import Noted, Reading
from support.screens import _send, events, press, run_screen, settled, shown
from support.sheet_forms import form, go, opened

Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]


async def burst(pilot: Pilot[None], *keys: str) -> None:
    """Have keys come all at once, as over a line that was held up."""
    for key in keys:
        _send(pilot, key)
    await settled(pilot)


@pytest.mark.parametrize("after", [["3"], ["enter"], ["enter", "enter"], ["1", "enter"], ["escape", "7"]])
async def test_a_value_is_what_stood_there_at_enter_and_is_taken_once(
    open_app: Open, run_path: Path, after: list[str]
) -> None:
    async with open_app() as pilot:
        await press(pilot, "p", "p", "p", "enter")
        await burst(pilot, *"0.20", "enter", *after)
        assert run_screen(pilot).typed in {"", "3", "7", "1"}
    taken = [event.value.raw for event in events(run_path) if isinstance(event, Reading)]
    assert taken[:1] == ["0.20"]
    assert set(taken) <= {"0.20", "1"}
    assert len(taken) <= 2


async def test_words_are_what_stood_there_at_enter(open_app: Open, run_path: Path) -> None:
    async with open_app() as pilot:
        await press(pilot, "w")
        await burst(pilot, *"hums", "enter", "y", "y")
        assert "hums" in shown(pilot)
    assert [event.text for event in events(run_path) if isinstance(event, Noted)] == ["hums"]


async def test_every_key_of_a_burst_counts_in_its_order_in_the_form_of_a_sheet(open_app: Open) -> None:
    title = "Bench supply for the workshop, corner 12"
    async with open_app(path=None) as pilot:
        await opened(pilot)
        await go(pilot, ("title",))
        await press(pilot, "enter")
        await burst(pilot, "home", "ctrl+k", *title, "x", "backspace", "enter")
        assert form(pilot)._form.field(("title",)).text == title


async def test_what_is_typed_behind_enter_is_no_command_of_the_form(open_app: Open) -> None:
    async with open_app(path=None) as pilot:
        await opened(pilot)
        before = [part.place for part in form(pilot)._form.parts if part.there]
        await go(pilot, ("title",))
        await burst(pilot, "enter", *"add a supply, dry", "enter")
        assert form(pilot)._form.field(("title",)).text == "add a supply, dry"
        assert [part.place for part in form(pilot)._form.parts if part.there] == before
        await go(pilot, ("protection_class",))
        await burst(pilot, "enter", *"dy")  # a list comes up: nothing is taken out behind it
        await press(pilot, "escape", "g")
        assert "Go to" in shown(pilot)
