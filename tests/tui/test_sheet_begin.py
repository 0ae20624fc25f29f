"""Beginning a sheet: questions, an empty form, a copy under another tag, a file from elsewhere."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from ohmward.supply import load, loads
from support.screens import NARROW, WIDE, press, settled, shown, typed
from support.sheet_forms import CR_07, change, form, until

Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]
ANSWERS = {
    "Tag:": "CR-02",
    "What it is": "Second-hand supply",
    "How many mains transformers": "1",
    "Voltage at rated load": "9 V",
    "Name, as +15": "+5",
    "Nominal voltage": "5 V",
    "Rated current": "3 A",
    "Reservoir capacitance": "4700 µF",
    "Is it regulated": "yes",
}
"""What is answered where the prompt says so; everything else is Enter alone."""


@pytest.fixture
def sheet(logbook: Path) -> Path:
    path = logbook / "supplies" / "CR-07.toml"
    path.write_text(CR_07.replace('title = "Mixing', 'serial = "17"\ntitle = "Mixing'), encoding="utf-8")
    return path


@pytest.mark.parametrize("size", [NARROW, WIDE])
async def test_a_supply_is_copied_under_a_tag_of_its_own(
    open_app: Open, sheet: Path, size: tuple[int, int]
) -> None:
    before = sheet.read_bytes()
    async with open_app(size, path=None) as pilot:
        await press(pilot, "enter", "c")
        await typed(pilot, "CR-07")
        assert "is the tag of CR-07.toml already" in await until(pilot, "Each supply has its own")
        await typed(pilot, "CR-12")
        assert "new, not saved yet" in await until(pilot, "A copy of CR-07")
        await press(pilot, "ctrl+s")
        await until(pilot, "Saved as CR-12.toml")
        await press(pilot, "escape")
        await until(pilot, "1 Design sheet")
    copied = load(sheet.with_name("CR-12.toml"))
    assert (copied.tag, copied.serial) == ("CR-12", "")
    assert copied.rails == load(sheet).rails
    assert "# up to 77 V stands here" in sheet.with_name("CR-12.toml").read_text(encoding="utf-8")
    assert sheet.read_bytes() == before


async def to_the_menu(pilot: Pilot[None], chosen: int) -> None:
    await press(pilot, "a")
    await until(pilot, "how does its design sheet begin")
    await press(pilot, *["down"] * chosen, "enter")


async def test_a_sheet_is_brought_in_byte_for_byte(open_app: Open, logbook: Path, tmp_path: Path) -> None:
    elsewhere = tmp_path / "from elsewhere"
    elsewhere.mkdir()
    text = "# my remark\n" + CR_07.replace('tag = "CR-07"', 'tag = "CR-11"  # on the lid')
    (elsewhere / "sheet.toml").write_text(text, encoding="utf-8")
    async with open_app(path=None) as pilot:
        await to_the_menu(pilot, 2)
        await typed(pilot, str(elsewhere / "nothing.toml"))
        await until(pilot, "cannot be read")
        await typed(pilot, str(elsewhere / "sheet.toml"))
        await until(pilot, "Brought in from sheet.toml")
        assert not (logbook / "supplies" / "CR-11.toml").exists()
        await press(pilot, "ctrl+s")
        await until(pilot, "Saved as CR-11.toml")
        await press(pilot, "escape")
        await until(pilot, "Supplies")
        await until(pilot, "CR-11")
        await to_the_menu(pilot, 2)
        await typed(pilot, f"'{elsewhere / 'sheet.toml'}'")
        await until(pilot, "in the logbook already: CR-11.toml")
        await press(pilot, "escape")
    assert (logbook / "supplies" / "CR-11.toml").read_text(encoding="utf-8") == text


async def test_a_sheet_with_mistakes_is_mended_before_it_is_kept(
    open_app: Open, logbook: Path, tmp_path: Path
) -> None:
    (tmp_path / "broken.toml").write_text(CR_07.replace('"230 V"', '"230"'), encoding="utf-8")
    (tmp_path / "no-toml.toml").write_text("tag = \n", encoding="utf-8")
    async with open_app(path=None) as pilot:
        await to_the_menu(pilot, 2)
        await typed(pilot, str(tmp_path / "no-toml.toml"))
        await until(pilot, "not TOML")
        await typed(pilot, str(tmp_path / "broken.toml"))
        await until(pilot, "have to be mended first")
        row = form(pilot)._row
        assert row is not None
        assert row.place == ("mains", "voltage")  # the first mistake
        await change(pilot, ("mains", "voltage"), "230 V")
        await press(pilot, "ctrl+s")
        assert "CR-07.toml" in await until(pilot, "There is a sheet with this tag already")
        await press(pilot, "n")
        await change(pilot, ("tag",), "CR-09")
        await press(pilot, "ctrl+s")
        await until(pilot, "Saved as CR-09.toml")
    assert load(logbook / "supplies" / "CR-09.toml").tag == "CR-09"


async def test_a_new_supply_is_described_by_answering_questions(open_app: Open, logbook: Path) -> None:
    async with open_app(path=None) as pilot:
        await to_the_menu(pilot, 0)
        assert "needed" in await until(pilot, "Only what says 'needed' has to be known")
        await press(pilot, "enter")
        assert "This is needed" in await until(pilot, "✗")
        await typed(pilot, "?")
        told = await until(pilot, "what is written on the supply itself")
        assert "✗" not in told
        assert "Tag:" in told  # it is asked still, and nothing stands there to be wiped first
        assert pilot.app.screen.query_one(Input).value == ""
        await press(pilot, "x", "home", "?")
        await until(pilot, "what is written on the supply itself")
        assert pilot.app.screen.query_one(Input).value == "x"
        await press(pilot, "enter", "escape")
        await press(pilot, "backspace")
        for _ in range(80):
            if "new, not saved yet" in shown(pilot):
                break
            asked = pilot.app.screen.query_one("#dialog-label").render()
            answer = next((said for prompt, said in ANSWERS.items() if prompt in str(asked)), "")
            await typed(pilot, answer)
        await until(pilot, "CR-02: Second-hand supply – new, not saved yet")
        assert "That was the last question" in shown(pilot)
        await press(pilot, "ctrl+s")
        await until(pilot, "Saved as CR-02.toml")
    supply = load(logbook / "supplies" / "CR-02.toml")
    assert supply.rails[0].sources == ("T1.a",)
    assert supply.rails[0].reservoir is not None
    assert supply.rails[0].regulator is not None
    assert supply.transformers[0].secondaries[0].voltage_v == 9.0


async def test_a_wrong_answer_is_told_while_it_is_typed_and_esc_goes_all_the_way_back(open_app: Open) -> None:
    async with open_app(path=None) as pilot:
        await to_the_menu(pilot, 0)
        for answer in ("CR-02", "A supply", "", "", ""):
            await typed(pilot, answer)
        assert "limit set" in shown(pilot).lower()
        await typed(pilot, "iec")
        await typed(pilot, "")
        await typed(pilot, "230", "left")
        assert "✗" not in shown(pilot)  # a bare number is in the unit asked for
        await typed(pilot, " µF", "left")
        assert "✗" in shown(pilot)
        await press(pilot, *["escape"] * 8)
        await until(pilot, "Supplies")


async def test_an_empty_form_is_filled_in_from_arrow_to_arrow(open_app: Open, logbook: Path) -> None:
    async with open_app(path=None) as pilot:
        await to_the_menu(pilot, 1)
        text = await until(pilot, "a new supply – new, not saved yet")
        assert "tag is needed, such as CR-07" in text
        await press(pilot, "ctrl+s")
        await until(pilot, "Not saved: the sheet cannot be read")
        await press(pilot, "enter", "enter")
        await typed(pilot, "CR-03", "down")
        await typed(pilot, "Lamp supply", "enter")
        await change(pilot, ("rail", 0, "name"), "12", "down")
        await typed(pilot, "12 V", "down")
        await typed(pilot, "1 A", "enter")
        await until(pilot, "CR-03: Lamp supply")
        await press(pilot, "ctrl+s")
        await until(pilot, "Saved as CR-03.toml")
    assert load(logbook / "supplies" / "CR-03.toml").rails[0].rated_current_a == 1.0


async def test_a_first_supply_in_a_logbook_that_is_not_there_yet(open_app: Open, logbook: Path) -> None:
    (logbook / "supplies" / "CR-07.toml").unlink()
    (logbook / "supplies").rmdir()
    async with open_app(path=None) as pilot:
        await to_the_menu(pilot, 1)
        await until(pilot, "a new supply")
        for place, text in (
            (("tag",), "../x/[red]CR"),
            (("title",), "x"),
            (("rail", 0, "name"), "5"),
            (("rail", 0, "nominal"), "5 V"),
            (("rail", 0, "rated_current"), "1 A"),
        ):
            await change(pilot, place, text)
        await press(pilot, "ctrl+s")
        await until(pilot, "Saved as")
        await settled(pilot)
    saved = list((logbook / "supplies").glob("*.toml"))
    assert len(saved) == 1
    assert loads(saved[0].read_text(encoding="utf-8")).tag == "../x/[red]CR"
