"""The card of an entry on a small terminal: what differs each time stands above the fold."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.run.start import start
from ohmward.shipped import folder
from ohmward.tui.app import OhmwardApp
from ohmward.tui.run_widgets import ItemCard
from support.journals import HandClock
from support.screens import NARROW, WIDE, press, run_screen, settled, shown
from support.walked import begun, walked


@pytest.mark.parametrize("size", [NARROW, WIDE])
async def test_the_metal_parts_listed_are_seen_where_the_earth_of_each_is_measured(
    tmp_path: Path, size: tuple[int, int]
) -> None:
    sheet = folder("demo") / "CR-07.toml"
    path = start(tmp_path, sheet, operator="bench A", tool="test", simulated=True)
    app = OhmwardApp(tmp_path, run_path=path, clock=HandClock(step_s=0.0))
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        for _ in range(150):
            if "Earth continuity: case" in shown(pilot):
                break
            await press(pilot, "down")
        text = " ".join(shown(pilot).split())
        assert "metal parts listed: case; lid; front panel; rear panel; heat sink" in text
        assert "One missing?" in text
    app.let_go()


async def test_the_card_of_the_next_entry_of_the_same_words_opens_at_its_top(tmp_path: Path) -> None:
    path = begun(tmp_path)
    with walked(path, lambda item: item.step == "earth"):
        pass
    app = OhmwardApp(tmp_path, run_path=path, clock=HandClock(step_s=0.0))
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        shown_card = run_screen(pilot).query_one(ItemCard)
        first = run_screen(pilot).at
        await press(pilot, "pagedown")
        assert shown_card.scroll_y > 0
        await press(pilot, "down")
        assert run_screen(pilot).at != first
        assert shown_card.scroll_y == 0
    app.let_go()
