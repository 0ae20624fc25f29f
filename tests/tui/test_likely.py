"""What a surprise most likely means is said where it was read, as the summary has it, and holds up no key."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from textual.pilot import Pilot

from ohmward.desk.likely import WEIGHING, likely_words
from ohmward.run import assess_state
from ohmward.tui import weighing
from ohmward.tui.app import OhmwardApp
from support.journals import HandClock
from support.screens import NARROW, WIDE, press, run_screen, settled, shown, typed
from support.walked import begun, sound_value, walked

OUTPUT = "output-no-load"
DRIED = "16.5 V"
"""Far below the 30 V or so that this sheet gives without load, as with half of the winding left out."""


@pytest.fixture
def at_output(tmp_path: Path) -> Path:
    path = begun(tmp_path)
    with walked(path, lambda item: item.step == OUTPUT):
        return path


async def opened(pilot: Pilot[None]) -> None:
    await settled(pilot)
    await press(pilot, "y")


async def told(pilot: Pilot[None]) -> str:
    """Wait until it is weighed; return the screen on one line."""
    for _ in range(200):
        await settled(pilot)
        text = " ".join(shown(pilot).replace("│", " ").split())
        if WEIGHING not in text:
            return text
        await pilot.pause(0.05)
    raise AssertionError("it is weighed for ever")


@pytest.mark.parametrize("size", [NARROW, WIDE])
async def test_an_unexpected_reading_says_what_it_most_likely_means(
    tmp_path: Path, at_output: Path, size: tuple[int, int]
) -> None:
    app = OhmwardApp(tmp_path, run_path=at_output, clock=HandClock(step_s=0.0))
    async with app.run_test(size=size) as pilot:
        await opened(pilot)
        await typed(pilot, DRIED)
        text = await told(pilot)
        state = run_screen(pilot).live.state
        said = next(line for line in assess_state(state).summary if line.startswith("Most likely"))
        first = said.partition(" By: ")[0]
        assert "UNEXPECTED" in text
        assert f"{first} s says how to tell." in text
    app.let_go()


async def test_a_key_is_taken_while_it_is_weighed(
    tmp_path: Path, at_output: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    go = threading.Event()

    def slowly(*arguments: object) -> str:
        assert go.wait(20)
        return likely_words(*arguments)  # type: ignore[arg-type]

    monkeypatch.setattr(weighing, "likely_words", slowly)
    monkeypatch.setattr("support.screens.COMPUTING", {"expectation"})
    app = OhmwardApp(tmp_path, run_path=at_output, clock=HandClock(step_s=0.0))
    async with app.run_test(size=NARROW) as pilot:
        await opened(pilot)
        await typed(pilot, DRIED)
        before = run_screen(pilot).at
        await pilot.pause(2 * weighing.QUIET_S)
        await press(pilot, "down")
        assert run_screen(pilot).at != before
        await press(pilot, "up")
        assert WEIGHING in " ".join(shown(pilot).split())
        go.set()
        assert "Most likely (" in await told(pilot)
    app.let_go()


async def test_nothing_is_weighed_while_keys_come(
    tmp_path: Path, at_output: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(weighing, "QUIET_S", 600.0)
    monkeypatch.setattr("support.screens.COMPUTING", {"expectation"})
    begun_at: list[int] = []
    put_off: list[int] = []
    later = weighing.Weighing._later

    def counted(screen: weighing.Weighing) -> None:
        put_off.append(1)
        later(screen)

    def weighed(*_: object) -> str:
        begun_at.append(1)
        return ""

    monkeypatch.setattr(weighing, "likely_words", weighed)
    monkeypatch.setattr(weighing.Weighing, "_later", counted)
    app = OhmwardApp(tmp_path, run_path=at_output, clock=HandClock(step_s=0.0))
    async with app.run_test(size=NARROW) as pilot:
        await opened(pilot)
        await typed(pilot, DRIED)
        for key in ("down", "up"):
            before = len(put_off)
            await press(pilot, key)
            assert len(put_off) > before
        assert not begun_at
        monkeypatch.setattr(weighing, "QUIET_S", 0.01)
        await press(pilot, "down")
        for _ in range(100):
            await pilot.pause(0.05)
            if begun_at:
                break
        assert begun_at
    app.let_go()


async def test_a_reading_as_expected_asks_for_no_cause(tmp_path: Path, at_output: Path) -> None:
    app = OhmwardApp(tmp_path, run_path=at_output, clock=HandClock(step_s=0.0))
    async with app.run_test(size=NARROW) as pilot:
        await opened(pilot)
        item = run_screen(pilot).item
        assert item is not None
        await typed(pilot, sound_value(run_screen(pilot).live.state, item))
        assert "AS EXPECTED" in shown(pilot)
        assert "Most likely" not in shown(pilot)
    app.let_go()
