"""The keys that stand on the bar of a run where they work, and the mark of a card that goes on below."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual.pilot import Pilot

from ohmward.desk.by_itself import NO_METER
from ohmward.desk.card import title
from ohmward.tui.app import OhmwardApp
from ohmward.tui.frame import Hints
from ohmward.tui.run_widgets import ItemCard
from support.journals import HandClock
from support.screens import NARROW, WIDE, press, run_screen, settled, shown, typed
from support.walked import begun, walked


def bar(pilot: Pilot[None]) -> list[str]:
    return [key.shown for key in pilot.app.screen.query_one(Hints).keys]


def opened(logbook: Path, path: Path) -> OhmwardApp:
    return OhmwardApp(logbook, run_path=path, clock=HandClock(step_s=0.0))


async def test_a_hold_is_begun_and_a_voltage_chosen_by_keys_on_the_bar(tmp_path: Path) -> None:
    path = begun(tmp_path)
    with walked(path, lambda item: item.step == "insulation"):
        pass
    app = opened(tmp_path, path)
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        assert {"o", "t"} <= set(bar(pilot))
        await press(pilot, "o")
        assert "o" not in bar(pilot)  # it is begun
        assert "t" in bar(pilot)
    app.let_go()


async def test_a_card_that_goes_on_below_says_so_and_how_to_get_there(tmp_path: Path) -> None:
    path = begun(tmp_path)
    with walked(path, lambda item: item.step == "load-points.output"):
        pass
    app = opened(tmp_path, path)
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        await press(pilot, "y", "down")  # the reservoir: how it is reached makes the card long
        await typed(pilot, "29.5")
        assert "▼ more below: PgDn" in shown(pilot)
        assert "PgDn" in bar(pilot)
        for _ in range(4):
            await press(pilot, "pagedown")
        assert "more below" not in shown(pilot)
        assert "If it fails" in shown(pilot) or "Fails" in shown(pilot)
        assert "PgUp" in bar(pilot)
        assert "PgDn" not in bar(pilot)
        await press(pilot, "down")  # another card begins at its top
        assert "PgUp" not in bar(pilot)
    app.let_go()


async def test_hands_free_is_not_said_where_no_meter_can_be_reached(tmp_path: Path) -> None:
    path = begun(tmp_path)
    with walked(path, lambda item: item.step == "lead-null"):
        pass
    from ohmward.taking.at_hand import MetersAtHand

    with MetersAtHand(tmp_path) as meters:
        app = OhmwardApp(tmp_path, run_path=path, meters=lambda: meters, clock=HandClock(step_s=0.0))
        async with app.run_test(size=NARROW) as pilot:
            await settled(pilot)
            assert "r" not in bar(pilot)
            await press(pilot, "h")
            assert not run_screen(pilot).hands_free
            assert "HANDS FREE" not in shown(pilot)
            assert NO_METER in " ".join(shown(pilot).split())
        app.let_go()


@pytest.mark.parametrize("value", ["30.0", "24.0"])
async def test_no_sign_of_a_verdict_is_broken_over_two_lines(tmp_path: Path, value: str) -> None:
    path = begun(tmp_path)
    with walked(path, lambda item: item.step == "output-no-load"):
        pass
    app = opened(tmp_path, path)
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        await press(pilot, "y")
        await typed(pilot, value)
        lines = shown(pilot).split("\n")
        assert any(
            line.strip().endswith(("= AS EXPECTED", "! UNEXPECTED", "AS EXPECTED within its uncertainty"))
            for line in lines
        )
    app.let_go()


async def test_every_column_of_a_soak_is_in_sight_on_a_small_terminal(tmp_path: Path) -> None:
    from ohmward.shipped import folder

    path = begun(tmp_path, (folder("demo") / "CR-07.toml").read_text(encoding="utf-8"))
    with walked(path, lambda item: item.step == "soak" and item.elapsed_s == 600.0):
        pass
    app = opened(tmp_path, path)
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        await press(pilot, "y", "l")
        head = " ".join(" ".join(shown(pilot).split("\n")[4:8]).split())
        for name in ("room air", "T1", "T2", "case", "+15", "-15", "+48"):
            assert name in head
    app.let_go()


async def test_every_column_of_a_soak_is_in_sight_beside_the_card(tmp_path: Path) -> None:
    from ohmward.shipped import folder

    path = begun(tmp_path, (folder("demo") / "CR-07.toml").read_text(encoding="utf-8"))
    with walked(path, lambda item: item.step == "soak" and item.elapsed_s == 600.0):
        pass
    app = opened(tmp_path, path)
    async with app.run_test(size=WIDE) as pilot:
        await settled(pilot)
        await press(pilot, "y")
        right = [line.rpartition("│")[2].strip() for line in shown(pilot).split("\n")]
        first = next(number for number, line in enumerate(right) if line.startswith("0 min"))
        head = " ".join(" ".join(right[first - 3 : first]).split())
        for name in ("room air", "T1", "T2", "case", "+15", "-15", "+48"):
            assert name in head
    app.let_go()


async def test_enter_goes_where_next_says_and_next_says_nothing_of_an_entry_in_hand(tmp_path: Path) -> None:
    path = begun(tmp_path)
    with walked(path, lambda item: item.key == ("load-points.output", "24 @ 50 %")):
        pass
    app = opened(tmp_path, path)
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        await press(pilot, "y", *["down"] * 6)  # to 100 %, over what is still open
        assert run_screen(pilot).at == ("load-points.output", "24 @ 100 %")
        assert "Next  " not in shown(pilot)
        await typed(pilot, "24.2")
        said = next(line for line in shown(pilot).split("\n") if "Next  " in line)
        await press(pilot, "enter")
        item = run_screen(pilot).item
        assert item is not None
        assert said.split("Next  ")[1].strip() == title(item)
    app.let_go()


async def test_what_is_done_again_shows_what_stood_before_while_it_is_typed(tmp_path: Path) -> None:
    path = begun(tmp_path)
    with walked(path, lambda item: item.step == "earth"):
        pass
    app = opened(tmp_path, path)
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        await typed(pilot, "0.95")  # 0.75 Ω less the leads
        assert "FAIL" in shown(pilot)
        await press(pilot, "enter", "enter")  # to be mended: do it again
        assert "attempt 2; before it: 0.75 Ω, FAIL" in " ".join(shown(pilot).split())
        await press(pilot, "0", ".", "2", "3")
        for words in ("as attempt 2", "0.75 Ω", "= 0.23 Ω"):  # beside the large figures
            assert words in shown(pilot)
        await press(pilot, "enter")
        for words in ("PASS", "Attempt 2", "0.75 Ω"):
            assert words in shown(pilot)
    app.let_go()


async def test_a_card_that_is_being_taken_away_marks_nothing(tmp_path: Path) -> None:
    path = begun(tmp_path)
    app = opened(tmp_path, path)
    async with app.run_test(size=NARROW) as pilot:
        await settled(pilot)
        shown_card = run_screen(pilot).query_one(ItemCard)
        await shown_card.query("#card-more").remove()
        shown_card.scrolled = not shown_card.scrolled  # so that it has something to mark
        shown_card.on_resize()
        await settled(pilot)
    app.let_go()
    assert app.crash is None
