"""How screens look, as text: stored in ``looks/``, a screen a file, at the two sizes that count.

A look that changed on purpose is renewed with ``OHMWARD_RENEW_LOOKS=1 pytest tests/tui/test_looks.py``;
read what `git diff tests/tui/looks` shows before it is kept.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from pathlib import Path

import pytest
from textual.pilot import Pilot

from ohmward.logbook import open_run
from ohmward.run import LiveRun
from support.journals import HandClock
from support.screens import NARROW, WIDE, press, settled, shown

Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]
FOLDER = Path(__file__).parent / "looks"
RENEW = "OHMWARD_RENEW_LOOKS"
SIZES = pytest.mark.parametrize("size", [NARROW, WIDE], ids=["80x24", "140x45"])


async def compare(name: str, size: tuple[int, int], pilot: Pilot[None]) -> None:
    """Compare the screen with the one stored; blanks at the ends of lines do not count."""
    await at_rest(pilot)
    path = FOLDER / f"{name}-{size[0]}x{size[1]}.txt"
    text = "\n".join(line.rstrip() for line in shown(pilot).split("\n")) + "\n"
    if os.environ.get(RENEW):
        FOLDER.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
    assert path.exists(), f"no look stored: see how it is renewed in {__file__}"
    assert text == path.read_text(encoding="utf-8"), f"{path.name} has changed: look, and renew it"


async def at_rest(pilot: Pilot[None]) -> None:
    """Wait until the screen is painted and stays as it is, and nothing is being computed for it."""
    before, same = "", 0
    for _ in range(400):
        await settled(pilot)
        now = shown(pilot)
        same = same + 1 if now == before and now.strip() and "Being assessed" not in now else 0
        if same == 5:
            return
        before = now
        await pilot.pause(0.02)
    raise AssertionError("the screen does not come to rest")


def dead_tests(path: Path) -> None:
    """Record the dead tests of the short procedure, one of them failed and accepted."""
    with LiveRun(open_run(path, clock=HandClock())) as live:
        live.answer("plug", "", "pass")
        live.answer("label", "", "pass")
        live.answer("vents", "", "fail", "grille blocked")
        live.override("vents", "", "fan on order")
        live.read("lead-null", "", "0.20")
        live.shut_case()
        live.read("earth", "case", "0.25")


@SIZES
async def test_a_run_at_its_first_check_and_at_a_reading(open_app: Open, size: tuple[int, int]) -> None:
    async with open_app(size) as pilot:
        await compare("run-check", size, pilot)
        await press(pilot, "down", "down", "down")
        await compare("run-reading", size, pilot)


@SIZES
async def test_an_assessment_half_way(open_app: Open, run_path: Path, size: tuple[int, int]) -> None:
    dead_tests(run_path)
    async with open_app(size) as pilot:
        await press(pilot, "s")
        await compare("assessment-summary", size, pilot)
        await press(pilot, "2", "down")
        await compare("assessment-readings", size, pilot)
        await press(pilot, "8")
        await compare("assessment-limits", size, pilot)


@SIZES
async def test_help_at_a_reading_and_the_glossary(open_app: Open, size: tuple[int, int]) -> None:
    async with open_app(size) as pilot:
        await press(pilot, "down", "down", "down", "question_mark")
        await compare("help", size, pilot)
        await press(pilot, "g")
        await compare("glossary", size, pilot)
