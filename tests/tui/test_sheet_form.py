"""The form of a design sheet, driven by keys: live readings, mistakes told, nothing lost or overwritten."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from pathlib import Path

import pytest
from textual.pilot import Pilot

from ohmward.supply import load
from support.screens import NARROW, WIDE, press, settled, shown, typed
from support.sheet_forms import CAPACITANCE, CR_07, change, entry, form, go, opened, until, wipe

Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]


@pytest.fixture
def sheet(logbook: Path) -> Path:
    path = logbook / "supplies" / "CR-07.toml"
    path.write_text(CR_07, encoding="utf-8")
    return path


@pytest.mark.parametrize("size", [NARROW, WIDE])
async def test_the_reservoir_changed_moves_the_ripple(
    open_app: Open, sheet: Path, size: tuple[int, int]
) -> None:
    async with open_app(size, path=None) as pilot:
        await opened(pilot)
        await go(pilot, CAPACITANCE)
        assert "6800 µF" in shown(pilot)
        assert "→" not in shown(pilot).replace("→─", "")
        await change(pilot, CAPACITANCE, "4700 µF")
        text = shown(pilot)
        assert "CHANGED, not saved" in text
        assert "● " in text
        # CR-07 by hand: ripple goes as 1/C, so it rises by about 6800/4700 = 1.45
        line = next(line for line in text.splitlines() if "ripple p-p at reservoir, all hot" in line)
        before, after = line.split(" V → ")[0].split()[-1], line.split(" V → ")[1].split()[0]
        assert float(after) / float(before) == pytest.approx(6800 / 4700, rel=0.05)
        assert sheet.read_text(encoding="utf-8") == CR_07
        await press(pilot, "ctrl+s")
        assert "as saved" in await until(pilot, "Saved as CR-07.toml")
    assert sheet.read_text(encoding="utf-8") == CR_07.replace("6800 µF", "4700 µF", 1)


async def test_while_it_is_typed_the_readings_follow(open_app: Open, sheet: Path) -> None:
    async with open_app(path=None) as pilot:
        await opened(pilot)
        await go(pilot, CAPACITANCE)
        await press(
            pilot, "enter", "end", *["left"] * 7, "delete", "3"
        )  # all is marked: a letter would replace it
        assert form(pilot)._before is not None
        assert form(pilot)._form.field(CAPACITANCE).text == "3800 µF"
        await until(pilot, "1.17 V → 2.0")  # about 6800/3800 of it
        await press(pilot, "escape")
        assert form(pilot)._form.text == CR_07
        assert "as saved" in shown(pilot)


async def test_a_wrong_value_is_told_with_its_mend_kept_and_never_saved(open_app: Open, sheet: Path) -> None:
    async with open_app(path=None) as pilot:
        await opened(pilot)
        await change(pilot, CAPACITANCE, "4700")
        text = shown(pilot)
        assert "✗ rail +15, reservoir: capacitance is '4700': it has no unit" in text
        assert "now it cannot be read" in text
        assert "1.17 V" in text  # the last good reading stays
        await change(pilot, ("rail", 0, "source"), "T9.x")
        await press(pilot, "ctrl+s")
        text = await until(pilot, "Not saved: the sheet cannot be read")
        assert "there is no such secondary. There are:" in text
        assert "it has no unit" in text
        assert sheet.read_text(encoding="utf-8") == CR_07
        await press(pilot, "enter", "u", "u")
        assert form(pilot)._form.text == CR_07


async def test_enter_takes_the_value_and_goes_down_but_stays_at_one_that_will_not_do(
    open_app: Open, sheet: Path
) -> None:
    async with open_app(path=None) as pilot:
        await opened(pilot)
        await change(pilot, ("rail", 0, "nominal"), "12")
        assert form(pilot)._form.field(("rail", 0, "nominal")).text == "12 V"
        assert form(pilot)._row is not None
        assert form(pilot)._row.place == ("rail", 0, "rated_current")  # type: ignore[union-attr]
        await press(pilot, "enter")  # and so on down, with nothing but Enter
        await wipe(pilot)
        await typed(pilot, "1.1", "end")
        assert "1.1 A" in shown(pilot)  # shown with its unit while it is typed
        await press(pilot, "enter")
        assert form(pilot)._form.field(("rail", 0, "rated_current")).text == "1.1 A"
        await change(pilot, CAPACITANCE, "4700")
        assert form(pilot)._row.place == CAPACITANCE  # type: ignore[union-attr]
        await until(pilot, 'Write "4700 µF" if µF is meant')


async def test_mistakes_that_have_no_room_are_a_key_away_while_typing_too(
    open_app: Open, sheet: Path
) -> None:
    async with open_app(path=None) as pilot:
        await opened(pilot)
        for place in (CAPACITANCE, ("rail", 0, "reservoir", "esr"), ("mains", "cord", "length")):
            await change(pilot, place, "4700")
        assert "… and 2 more: w shows all of them" in shown(pilot)
        await press(pilot, "enter")
        assert "… and 2 more: F4 shows all of them" in shown(pilot)
        await press(pilot, "f4")
        text = await until(pilot, "What is wrong, and what was found")
        for words in ("capacitance is '4700'", "esr is '4700'", "length is '4700'"):
            assert words in text.casefold()


async def test_arrows_go_from_field_to_field_while_typing(open_app: Open, sheet: Path) -> None:
    async with open_app(path=None) as pilot:
        await opened(pilot)
        await go(pilot, ("rail", 0, "rated_current"))
        await press(pilot, "enter")
        await wipe(pilot)
        await typed(pilot, "1.1 A", "down")
        assert form(pilot)._before is not None
        assert entry(pilot).value == "T1.a"
        await press(pilot, "up")
        assert entry(pilot).value == "1.1 A"
        await press(pilot, "tab")
        assert form(pilot)._before is None
        await press(pilot, "u")
    assert sheet.read_text(encoding="utf-8") == CR_07


async def test_leaving_with_changes_asks_and_nothing_is_lost_by_one_key(open_app: Open, sheet: Path) -> None:
    async with open_app(path=None) as pilot:
        await opened(pilot)
        await change(pilot, CAPACITANCE, "4700 µF")
        await press(pilot, "escape")
        text = shown(pilot)
        assert "changes that are not saved" in text
        assert "capacitance: 6800 µF → 4700 µF" in text
        await press(pilot, "escape")
        assert form(pilot).unsaved
        await press(pilot, "ctrl+q")
        assert "changes that are not saved" in await until(pilot, "changes that are not saved")
        await press(pilot, "enter")
        assert form(pilot).unsaved
        assert pilot.app.is_running
        await press(pilot, "escape", "down", "enter")
        await until(pilot, "1 Design sheet")
        assert "4700 µF" in shown(pilot) or "4700 µF" in sheet.read_text(encoding="utf-8")
    assert "4700 µF" in sheet.read_text(encoding="utf-8")


async def test_leaving_without_saving_leaves_the_sheet_as_it_was(open_app: Open, sheet: Path) -> None:
    async with open_app(path=None) as pilot:
        await opened(pilot)
        await change(pilot, CAPACITANCE, "4700 µF")
        await press(pilot, "escape", "down", "down", "enter")
        await until(pilot, "1 Design sheet")
    assert sheet.read_text(encoding="utf-8") == CR_07


async def test_a_sheet_changed_on_the_disk_meanwhile_is_not_overwritten_unasked(
    open_app: Open, sheet: Path
) -> None:
    async with open_app(path=None) as pilot:
        await opened(pilot)
        await change(pilot, CAPACITANCE, "4700 µF")
        theirs = CR_07.replace('fuse = "T 1.6 A H"', 'fuse = "T 2 A H"')
        sheet.write_text(theirs, encoding="utf-8")
        await press(pilot, "ctrl+s")
        text = await until(pilot, "The sheet on the disk is another one")
        assert "fuse: T 1.6 A H → T 2 A H" in text
        await press(pilot, "n")
        assert sheet.read_text(encoding="utf-8") == theirs
        await press(pilot, "ctrl+s")
        await until(pilot, "The sheet on the disk is another one")
        await press(pilot, "y")
        await until(pilot, "Saved as CR-07.toml")
    assert sheet.read_text(encoding="utf-8") == CR_07.replace("6800 µF", "4700 µF", 1)


async def test_a_sheet_that_cannot_be_written_is_told_and_the_form_stays(
    open_app: Open, sheet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    async with open_app(path=None) as pilot:
        await opened(pilot)
        await change(pilot, CAPACITANCE, "4700 µF")
        monkeypatch.setattr("ohmward.supply.files._write", full)
        await press(pilot, "ctrl+s")
        await until(pilot, "No space left")
        await press(pilot, "enter")
        assert form(pilot).unsaved
        monkeypatch.undo()
        await press(pilot, "ctrl+s")
        await until(pilot, "Saved as CR-07.toml")
    assert "4700 µF" in sheet.read_text(encoding="utf-8")


async def test_runs_keep_their_own_sheet_and_a_changed_tag_is_spoken_of(
    open_app: Open, sheet: Path, run_path: Path
) -> None:
    kept = run_path.read_bytes()
    async with open_app(path=None) as pilot:
        await opened(pilot)
        await change(pilot, CAPACITANCE, "4700 µF")
        await press(pilot, "ctrl+s")
        text = await until(pilot, "Saved as CR-07.toml")
        assert "The run made on it keeps the sheet it was begun with" in text
        await change(pilot, ("tag",), "CR-08")
        await press(pilot, "ctrl+s")
        await until(pilot, "The tag changes from CR-07 to CR-08")
        await press(pilot, "y")
        await until(pilot, "Saved as CR-07.toml")
    assert load(sheet).tag == "CR-08"
    assert kept == run_path.read_bytes()


async def test_parts_are_added_and_taken_out(open_app: Open, sheet: Path) -> None:
    async with open_app(path=None) as pilot:
        await opened(pilot)
        await press(pilot, "a", "enter")
        assert "rail 5: name is needed, such as +15" in shown(pilot)
        await change(pilot, ("rail", 4, "name"), "+5", "down")
        await press(pilot, "escape")
        await press(pilot, "d")
        assert "Take out rail +5?" in shown(pilot)
        await press(pilot, "y")
        assert form(pilot)._form.text.strip() == CR_07.strip()
        await go(pilot, ("rail", 3, "regulator"))
        await press(pilot, "enter")
        assert form(pilot)._form.field(("rail", 3, "regulator", "kind")).text == "linear"
        await press(pilot, "u", "w")
        assert "no cause for concern" in shown(pilot)
        await press(pilot, "enter", "v")
        assert "Nothing differs" in shown(pilot) or "laid out" in shown(pilot)
        await press(pilot, "enter", "g")
        assert "Go to" in shown(pilot)
        await typed(pilot, "rail +48, res")
        assert form(pilot)._row is not None
        assert form(pilot)._row.place[:3] == ("rail", 2, "reservoir")  # type: ignore[union-attr]


async def test_a_choice_is_taken_from_a_list(open_app: Open, sheet: Path) -> None:
    async with open_app(path=None) as pilot:
        await opened(pilot)
        await go(pilot, ("rail", 0, "rectifier", "kind"))
        await press(pilot, "enter", "down", "down", "enter")
        assert form(pilot)._form.field(("rail", 0, "rectifier", "kind")).text == "half-wave"
        await go(pilot, ("transformer", 0, "core"))
        await press(pilot, "enter", "down", "down", "enter")
        assert form(pilot)._form.field(("transformer", 0, "core")).text == ""


async def test_a_limit_set_is_one_of_those_shipped_or_a_file_of_ones_own(open_app: Open, sheet: Path) -> None:
    async with open_app(path=None) as pilot:
        await opened(pilot)
        await go(pilot, ("limit_set",))
        await press(pilot, "enter")
        assert "au-nz" in await until(pilot, "a file of your own: type its path")
        await press(pilot, "home", "down", "enter")
        assert form(pilot)._form.field(("limit_set",)).text == "uk"
        await press(pilot, "enter", "end", "enter")
        await typed(pilot, "own.toml")
        assert form(pilot)._form.field(("limit_set",)).text == "own.toml"


async def test_nothing_is_typed_into_a_terminal_too_small_to_read(open_app: Open, sheet: Path) -> None:
    async with open_app(path=None) as pilot:
        await opened(pilot)
        await go(pilot, CAPACITANCE)
        await press(pilot, "enter")
        await pilot.resize_terminal(40, 10)
        await settled(pilot)
        await press(pilot, "9", "enter")
        assert form(pilot)._form.text == CR_07
        await pilot.resize_terminal(*NARROW)
        await settled(pilot)
        assert "capacitance" in shown(pilot)


async def test_what_stands_in_a_sheet_is_shown_and_never_obeyed(open_app: Open, sheet: Path) -> None:
    hostile = "[red]CR[/] \\u001b[31m [click=app.quit]y[/] \\u202eabc [/nope]"
    sheet.write_text(CR_07.replace('"+15"', f'"{hostile}"').replace("(simulated example)", hostile), "utf-8")
    async with open_app(path=None) as pilot:
        await opened(pilot)
        seen = [shown(pilot)]
        await press(pilot, "g")
        seen.append(shown(pilot))
        await press(pilot, "escape")
        await change(pilot, ("rail", 0, "name"), "[b]x")
        seen.append(shown(pilot))
        await press(pilot, "v")
        seen.append(await until(pilot, "[b]x"))
        await press(pilot, "escape")
        await go(pilot, ("title",))
        await press(pilot, "enter")
        assert entry(pilot).value.startswith('"Mixing-console supply [red]CR[/] \\u001b[31m')
        await press(pilot, "escape", "u", "escape", "4")
        seen.append(shown(pilot))
    assert any("[red]CR[/]" in text for text in seen)
    for text in seen:
        assert not {char for char in text if char != "\n" and (ord(char) < 32 or char in "\x7f\u202e")}


async def test_without_colour_the_marks_say_it(open_app: Open, sheet: Path) -> None:
    async with open_app(path=None, no_color=True) as pilot:
        await opened(pilot)
        await change(pilot, CAPACITANCE, "4700")
        assert "✗    capacitance" in shown(pilot)
        await change(pilot, CAPACITANCE, "4700 µF")
        assert "●    capacitance" in shown(pilot)
