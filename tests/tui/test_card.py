"""The card of an entry on a small terminal: what differs each time stands above the fold."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.run.start import start
from ohmward.shipped import folder
from ohmward.tui.app import OhmwardApp
from support.journals import HandClock
from support.screens import NARROW, WIDE, press, settled, shown


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
