"""Every key of every screen: in its table, bound, does something that exists, and stands in help.

All screens are found by themselves: one that is added is tried too.
"""

from __future__ import annotations

import importlib
import pkgutil
import re
from collections.abc import Callable, Iterator
from contextlib import AbstractAsyncContextManager
from typing import Any, cast

import pytest
from textual.binding import Binding
from textual.pilot import Pilot
from textual.widget import Widget

import ohmward.tui
from ohmward.tui.app import OhmwardApp
from ohmward.tui.dialogs import Ask, AskList, Choose, Confirm, Decide, Dialog, Tell
from ohmward.tui.frame import Frame
from ohmward.tui.help_screen import GlossaryScreen, HelpScreen
from ohmward.tui.keys import APP_KEYS, RUN, Key
from ohmward.tui.sheet_questions import SheetQuestions
from support.screens import NARROW, WIDE, press, shown

Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]
WRITTEN = {
    "escape": "Esc", "pageup": "PgUp", "pagedown": "PgDn", "up": "↑", "down": "↓", "enter": "Enter",
    "question_mark": "?", "equals_sign": "=", "slash": "/", "left": "←", "right": "→",
    "tab": "Tab", "space": "Space",
}  # fmt: skip


def all_of(kind: type) -> Iterator[type[Any]]:
    for found in pkgutil.iter_modules(ohmward.tui.__path__):
        importlib.import_module(f"ohmward.tui.{found.name}")
    todo = [kind]
    while todo:
        here = todo.pop()
        yield here
        todo += here.__subclasses__()


FRAMES: list[type[Frame]] = sorted(
    (frame for frame in all_of(Frame) if frame.KEYS and frame.__module__.startswith("ohmward.")),
    key=lambda frame: frame.__name__,
)
DIALOGS: list[type[Dialog[Any]]] = sorted(
    (each for each in all_of(Dialog) if each is not Dialog and each.__module__.startswith("ohmward.")),
    key=lambda each: each.__name__,
)


LINES = ["something to read"] * 60
OPENED: dict[str, Callable[[], Dialog[Any]]] = {
    "Ask": lambda: Ask("Asked", LINES, label="a word", value="", needed=False),
    "AskList": lambda: AskList("Asked", LINES, ["lid"]),
    "Choose": lambda: Choose("Asked", [f"n{number}" for number in range(20)], LINES, 0, ""),
    "Confirm": lambda: Confirm("Asked", LINES, "so", "not so"),
    "Decide": lambda: Decide("Asked", LINES, "so", "not so"),
    "GlossaryScreen": GlossaryScreen,
    "HelpScreen": lambda: HelpScreen("a run", RUN),
    "SheetQuestions": SheetQuestions,
    "Tell": lambda: Tell("Told", LINES),
}
"""Every dialogue that opens, by its class; the others are only what these are made of."""
BASES = {"Reading"}


def written(key: str) -> str:
    """Return how a key is written on a screen."""
    if key.startswith("ctrl+"):
        return f"Ctrl+{key[5:].upper()}"
    return WRITTEN.get(key, key.upper() if key[0] == "f" and key[1:].isdigit() else key)


def tells_of(words: str, key: str) -> bool:
    """Return whether a key is named, as a word of its own."""
    return re.search(rf"(?<!\w){re.escape(written(key))}(?!\w)", words) is not None


def bound_in(screen: type[Any]) -> dict[str, str]:
    """Return what each key does by the class's own bindings and those it inherits from ours."""
    found: dict[str, str] = {}
    for base in screen.__mro__:
        if not base.__module__.startswith("ohmward."):
            continue
        for entry in base.__dict__.get("BINDINGS", ()):
            binding = entry if isinstance(entry, Binding) else Binding(*entry)
            for key in binding.key.split(","):
                found.setdefault(key.strip(), binding.action)
    return found


def action_exists(screen: type[Any], action: str) -> bool:
    name = action.partition("(")[0]
    target: type[Any] = screen
    if "." in name:
        where, _, name = name.partition(".")
        target = OhmwardApp if where == "app" else screen
    return hasattr(target, f"action_{name}") or hasattr(target, f"_action_{name}")


def test_the_screens_are_found() -> None:
    names = {frame.__name__ for frame in FRAMES}
    assert {"RunScreen", "BenchScreen", "SupplyScreen", "AssessmentScreen"} <= names


@pytest.mark.parametrize("frame", FRAMES, ids=lambda frame: str(frame.__name__))
def test_table_and_bindings_are_the_same_and_every_action_is_there(frame: type[Frame]) -> None:
    table = {name: key for key in frame.KEYS for name in key.key.split(",")}
    assert len(table) == sum(len(key.key.split(",")) for key in frame.KEYS), "a key does two things"
    bound = bound_in(frame)
    assert set(bound) == set(table) - APP_KEYS
    for name, key in table.items():
        if name not in APP_KEYS:
            assert bound[name] == key.action
        assert action_exists(frame, key.action), f"{name}: {key.action}"


@pytest.mark.parametrize("frame", FRAMES, ids=lambda frame: str(frame.__name__))
def test_every_key_says_what_it_does_in_words_of_its_own(frame: type[Frame]) -> None:
    for key in frame.KEYS:
        assert key.shown.strip()
        assert key.hint.strip()
        assert len(key.help.split()) >= 2, key
        first = key.key.split(",")[0]
        assert written(first) in key.shown or key.shown in written(first), key
        for name in key.key.split(","):
            told = f"{key.shown} {key.help}"
            assert tells_of(told, name), f"{name} is not in '{told}'"
    assert {"help", "app.quit", "app.command_palette", "app.look"} <= {key.action for key in frame.KEYS}


def test_the_keys_of_the_app_are_bound_by_the_app_with_priority() -> None:
    bound = {binding.key: binding for binding in cast("list[Binding]", OhmwardApp.BINDINGS)}
    assert set(bound) == APP_KEYS
    assert all(binding.priority for binding in bound.values())


@pytest.mark.parametrize("dialog", DIALOGS, ids=lambda each: str(each.__name__))
def test_every_key_of_a_dialogue_stands_on_it(dialog: type[Dialog[Any]]) -> None:
    own = bound_in(dialog)
    line = dialog.KEYS_LINE
    for key, action in own.items():
        assert action_exists(dialog, action), f"{key}: {action}"
        if action in {"scroll(-1)", "scroll(1)"}:
            continue  # added to the line wherever there is something to read: the test below
        assert tells_of(line, key), f"{dialog.__name__}: {key} is not in '{line}'"


async def test_a_dialogue_with_something_to_read_names_the_keys_that_scroll(open_app: Open) -> None:
    async with open_app() as pilot:
        pilot.app.push_screen(Tell("Something", ["to read"]))
        await press(pilot, "down")
        assert "PgUp PgDn scroll" in shown(pilot)
        await press(pilot, "escape", "w")
        assert "Enter takes it · Esc goes back" in shown(pilot)


def test_nothing_else_binds_keys() -> None:
    ours = (each for each in all_of(Widget) if each.__module__.startswith("ohmward."))
    binding = {each for each in ours if each.__dict__.get("BINDINGS")}
    assert binding <= {*FRAMES, *DIALOGS, Dialog}, "keys that no table and no line tells of"


@pytest.mark.parametrize("dialog", DIALOGS, ids=lambda each: str(each.__name__))
async def test_every_key_of_a_dialogue_is_reachable_whatever_has_the_focus(
    open_app: Open, dialog: type[Dialog[Any]]
) -> None:
    if dialog.__name__ in BASES:
        return
    async with open_app() as pilot:
        pilot.app.push_screen(OPENED[dialog.__name__]())
        await press(pilot, "down")
        assert type(pilot.app.screen) is dialog
        active, focused = pilot.app.screen.active_bindings, pilot.app.focused
        for key, action in bound_in(dialog).items():
            found = active[key]
            at_focus = found.node is focused and key in {"enter", "up", "down", "pageup", "pagedown"}
            assert (found.node is pilot.app.screen and found.binding.action == action) or at_focus, key
            letter = key if len(key) == 1 else None
            assert focused is None or not focused.check_consume_key(key, letter), f"{key} is typed"


async def reachable(pilot: Pilot[None], keys: tuple[Key, ...]) -> None:
    """Each key does on the screen shown what its table says, whatever has the focus there."""
    active = pilot.app.screen.active_bindings
    for key in keys:
        for name in key.key.split(","):
            assert name in active, f"{name} does nothing"
            binding = active[name]
            by_app = name in APP_KEYS and isinstance(binding.node, OhmwardApp)
            ours = by_app or binding.binding.action.removeprefix("app.") == key.action.removeprefix("app.")
            in_focus = binding.node in pilot.app.screen.walk_children()
            elsewhere = key.help.startswith("plot: ")  # it says itself that it is for another page
            passed_on = in_focus and (
                elsewhere or name in {"enter", "up", "down", "pageup", "pagedown", "tab"}
            )
            assert ours or passed_on, f"{name}: {binding.binding.action} of {binding.node}"


@pytest.mark.parametrize("size", [NARROW, WIDE], ids=["80x24", "140x45"])
async def test_every_key_is_reachable_whatever_has_the_focus(open_app: Open, size: tuple[int, int]) -> None:
    ways = (("s",), ("escape", "b"), ("h",), ("escape", "m"), ("escape", "enter"), ("e",), ())
    async with open_app(size) as pilot:
        screens = []
        for keys in ways:
            frame = cast("Frame", pilot.app.screen)
            screens.append(frame.HEADING)
            await reachable(pilot, frame.KEYS)
            hints = " ".join(shown(pilot).split("\n")[-2:])
            assert "? help   Ctrl+Q quit" in hints, frame
            await press(pilot, *keys)
        assert screens == [
            "a run", "an assessment", "the bench", "a history", "the meters", "a supply",
            "the form of a design sheet",
        ]  # fmt: skip
        assert set(screens) == {frame.HEADING for frame in FRAMES}, "a screen was not looked at"


async def test_help_lists_every_key_of_the_screen_under_it(open_app: Open) -> None:
    async with open_app((140, 100)) as pilot:
        frame = cast("Frame", pilot.app.screen)
        await press(pilot, "question_mark")
        pilot.app.screen.query_one("#dialog-lines").styles.max_height = 90
        await press(pilot, "down")
        text = " ".join(shown(pilot).split())
        for key in frame.KEYS:
            assert f"{key.shown} {key.help}"[:60] in text, key
