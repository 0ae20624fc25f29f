"""The looks: contrast computed, sixteen colours exact, and only our own to choose from."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from pathlib import Path

import pytest
from rich.color import Color as RichColor
from rich.color import ColorSystem
from textual.color import Color
from textual.pilot import Pilot
from textual.theme import Theme

from ohmward.tui.app import OhmwardApp
from ohmward.tui.themes import (
    DARK,
    DARK_16,
    ENVIRONMENT,
    LIGHT,
    LIGHT_16,
    THEMES,
    WORDS,
    first_theme,
    other_theme,
)
from support.journals import HandClock
from support.screens import press, settled, shown

Open = Callable[..., AbstractAsyncContextManager[Pilot[None]]]
LEAST = 4.5
"""WCAG 2.2, success criterion 1.4.3: contrast of text with what is behind it."""
GROUNDS = ("background", "surface", "panel")
SIXTEEN = [  # the Linux console's own palette (drivers/tty/vt/vt.c: default_red, default_grn, default_blu)
    "#000000", "#aa0000", "#00aa00", "#aa5500", "#0000aa", "#aa00aa", "#00aaaa", "#aaaaaa",
    "#555555", "#ff5555", "#55ff55", "#ffff55", "#5555ff", "#ff55ff", "#55ffff", "#ffffff",
]  # fmt: skip


def luminance(color: Color) -> float:
    """Relative luminance, WCAG 2.2."""

    def linear(value: int) -> float:
        share = value / 255.0
        return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4

    return 0.2126 * linear(color.r) + 0.7152 * linear(color.g) + 0.0722 * linear(color.b)


def contrast(one: Color, other: Color) -> float:
    """Contrast ratio, WCAG 2.2: from 1 to 21."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def ink(theme: Theme, name: str) -> Color:
    return Color.parse(getattr(theme, name, None) or theme.variables[name])


def test_contrast_is_computed_as_the_standard_has_it() -> None:
    # Black on white is 21:1 (WCAG 2.2, definition of contrast ratio); #767676 on white is the well-known
    # lightest grey that passes, 4.54:1 (from memory).
    assert contrast(Color.parse("#000000"), Color.parse("#ffffff")) == pytest.approx(21.0)
    assert contrast(Color.parse("#767676"), Color.parse("#ffffff")) == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("theme", THEMES, ids=lambda theme: str(theme.name))
def test_all_text_stands_out_from_what_is_behind_it(theme: Theme) -> None:
    for ground in GROUNDS:
        behind = ink(theme, ground)
        text = ink(theme, "foreground")
        assert contrast(text, behind) >= LEAST
        assert contrast(behind.blend(text, 0.75), behind) >= LEAST, f"quiet text on {ground}"
        assert contrast(ink(theme, "accent"), behind) >= LEAST
    for name in ("success", "warning", "error", "primary", "secondary"):  # verdicts: never on a panel
        for ground in ("background", "surface"):
            assert contrast(ink(theme, name), ink(theme, ground)) >= LEAST, f"{name} on {ground}"
    for name in ("accent", "warning", "success"):  # cursor, banner, status: the ground's colour on them
        assert contrast(ink(theme, "background"), ink(theme, name)) >= LEAST, f"background on {name}"
    assert contrast(ink(theme, "edge"), ink(theme, "background")) >= 3.0  # 1.4.11: what is not text
    assert contrast(ink(theme, "on-live"), ink(theme, "live")) >= LEAST
    for number in range(5):
        assert contrast(ink(theme, f"plot-{number}"), ink(theme, "background")) >= LEAST


@pytest.mark.parametrize("theme", [DARK_16, LIGHT_16], ids=lambda theme: str(theme.name))
def test_sixteen_colours_are_those_of_the_console_and_survive_rounding(theme: Theme) -> None:
    names = (*GROUNDS, "foreground", "accent", "success", "warning", "error", "primary", "secondary")
    for value in (*(getattr(theme, name) for name in names), *theme.variables.values()):
        assert value in SIXTEEN
        assert on_console(value) == value


def on_console(value: str) -> str:
    """What a console of sixteen colours shows for a colour."""
    number = RichColor.parse(value).downgrade(ColorSystem.STANDARD).number
    assert number is not None
    return SIXTEEN[number]


def test_light_and_dark_turn_into_each_other_and_keep_their_colours() -> None:
    assert {other_theme(theme.name) for theme in THEMES} == {theme.name for theme in THEMES}
    assert all(other_theme(other_theme(theme.name)) == theme.name for theme in THEMES)
    assert other_theme(DARK_16.name) == LIGHT_16.name
    assert first_theme("light", sixteen=False) == LIGHT.name
    assert first_theme(" LIGHT ", sixteen=True) == LIGHT_16.name
    assert first_theme("", sixteen=False) == first_theme("mauve", sixteen=False) == DARK.name
    assert set(WORDS) == {theme.name for theme in THEMES}


async def test_a_key_turns_the_look_and_no_other_look_can_be_chosen(
    open_app: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(ENVIRONMENT, "light")
    async with open_app() as pilot:
        assert "light" in pilot.app.theme
        assert set(pilot.app.available_themes) == set(WORDS)
        before = shown(pilot)
        await press(pilot, "ctrl+t")
        assert "dark" in pilot.app.theme
        assert shown(pilot) == before  # every meaning is in the words
        await press(pilot, "ctrl+t")
        assert "light" in pilot.app.theme


async def test_a_plain_console_gets_sixteen_colours(open_app: Open, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("COLORTERM", raising=False)
    monkeypatch.setenv("TERM", "linux")
    async with open_app() as pilot:
        assert pilot.app.theme == DARK_16.name
        letters = 0
        for strip in pilot.app.screen._compositor.render_strips():
            for text, style, _ in strip:
                if style is None or not any(char.isalnum() for char in text):
                    continue
                fore, back = (
                    on_console(color.get_truecolor().hex) if color is not None else None
                    for color in (style.color, style.bgcolor)
                )
                assert fore is not None
                assert back is not None
                letters += len(text)
                assert contrast(Color.parse(fore), Color.parse(back)) >= LEAST, text
        assert letters > 300


def test_style_sheets_name_no_colour_of_their_own(tmp_path: Path) -> None:
    import re

    import ohmward.tui

    for sheet in Path(ohmward.tui.__file__).parent.glob("*.tcss"):
        assert not re.findall(r"(?:color|background)[^;]*#[0-9a-fA-F]{3,8}", sheet.read_text()), sheet.name


async def test_the_look_turned_to_is_that_of_the_next_sitting_and_the_environment_comes_first(
    logbook: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv(ENVIRONMENT, raising=False)
    kept = tmp_path / "settings" / "look"

    async def begins(turned: bool = False) -> str:
        app = OhmwardApp(logbook, clock=HandClock(step_s=0.0), look_file=kept)
        async with app.run_test(size=(80, 24)) as pilot:
            await settled(pilot)
            look = "dark" if app.current_theme.dark else "light"
            if turned:
                await press(pilot, "ctrl+t")
                await press(pilot, "ctrl+t")
                await press(pilot, "ctrl+t")
        return look

    assert await begins(turned=True) == "dark"  # nothing is kept yet
    assert await begins() == "light"
    monkeypatch.setenv(ENVIRONMENT, "dark")
    assert await begins() == "dark"
    monkeypatch.delenv(ENVIRONMENT)
    kept.write_bytes(b"\xff\x1b[2J" * 1000)  # not ours
    assert await begins() == "dark"


async def test_a_look_that_cannot_be_kept_is_told_and_worn_for_now(logbook: Path, tmp_path: Path) -> None:
    in_the_way = tmp_path / "settings"
    in_the_way.write_text("a file", encoding="utf-8")
    app = OhmwardApp(logbook, clock=HandClock(step_s=0.0), look_file=in_the_way / "look")
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        await press(pilot, "ctrl+t")
        assert "Only for now" in shown(pilot)
        assert "light" in app.theme
