"""Text from outside made fit to set: nothing in it acts, and nothing of it is lost without a word."""

from __future__ import annotations

import unicodedata
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]
from hypothesis import given
from hypothesis import strategies as st

from ohmward.errors import InputError
from ohmward.report.document.fonts import _faces, coverage, require_fonts
from ohmward.report.document.scripts import breakable, clean, script, spelled
from support.reports import squeezed

ANY = st.text(st.characters(codec="utf-8"), max_size=40)


def dejavu(char: str) -> bool:
    return ord(char) in coverage()


@given(ANY)
def test_nothing_acts_after_cleaning(text: str) -> None:
    found = clean(text)
    marks = [char for char in found if char in "\u2067\u2068\u2069"]
    assert marks[::2] == [char for char in marks if char != "\u2069"]  # each isolate is ended
    assert len(marks) % 2 == 0
    assert "\r" not in found
    for char in found:
        assert unicodedata.category(char) not in {"Cc", "Cs", "Co", "Cn", "Zl", "Zp"} or char == "\n"
        assert unicodedata.category(char) != "Cf" or char in "\u2067\u2068\u2069\u00ad\u200c\u200d"


@given(st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E)))
def test_plain_text_is_left_as_it_is(text: str) -> None:
    assert clean(text) == text
    assert spelled(text, lambda _: False) == (text, set())


@given(ANY)
def test_every_character_is_set_or_spelled_out(text: str) -> None:
    cleaned = clean(text)
    found, scripts = spelled(cleaned, dejavu)
    lost = [char for char in cleaned if char not in found]
    assert all(f"U+{ord(char):04X}" in found for char in lost)
    assert bool(scripts) >= bool(lost)


@given(st.text(st.characters(min_codepoint=0x21, max_codepoint=0x7E), max_size=200))
def test_places_to_break_change_no_text(text: str) -> None:
    found = breakable(text)
    assert squeezed(found) == text
    assert all(len(part) < 40 for part in found.split("\u200b"))


def test_a_right_to_left_name_does_not_pull_the_figures_along() -> None:
    assert clean("read by \u05d3\u05e0\u05d4 12 V") == "read by \u2068\u05d3\u05e0\u05d4\u2069 12 V"
    whole = "\u05d1\u05d3\u05d9\u05e7\u05d4 12 V"
    assert clean(whole) == f"\u2067{whole}\u2069"


def test_controls_and_direction_marks_are_shown() -> None:
    assert clean("a\x00b\x1b[31m\u202ec") == "a\\x00b\\x1b[31m\\u202ec"
    assert clean("one\r\ntwo\u2028three") == "one\ntwo\nthree"


@pytest.mark.parametrize(
    ("text", "name"),
    [("漢", "Han"), ("か", "Hiragana"), ("देव", "Devanagari"), ("ไทย", "Thai"), ("🙂", "symbols")],
)
def test_a_script_without_a_font_is_named_with_its_codes(text: str, name: str) -> None:
    assert script(text[0]) == name
    codes = " ".join(f"U+{ord(char):04X}" for char in text)
    assert spelled(f"a {text} b", lambda char: char.isascii()) == (f"a [{name}: {codes}] b", {name})


@pytest.mark.parametrize("text", ["Ελληνικά", "Русский", "שלום", "محمد", "Հայերեն", "ქართული", "Ω µ ± ≤ √ ∞"])
def test_scripts_that_are_covered_everywhere(text: str) -> None:
    assert spelled(clean(text), dejavu)[1] == set()


def small_font(folder: Path, chars: str) -> Path:
    """A font that has a few characters more: DejaVu Sans under another name, with its A for each."""
    with TTFont(_faces()[0]) as font:
        for part in font["cmap"].tables:
            if part.isUnicode():
                part.cmap.update({ord(char): "A" for char in chars})
        for name in font["name"].names:
            if name.nameID in {1, 4, 6, 16}:
                name.string = "Bench Squares"
        path = folder / "squares.ttf"
        font.save(path)
    return path


def test_a_folder_of_fonts_adds_what_it_holds(tmp_path: Path) -> None:
    small_font(tmp_path, "漢字")
    folders = require_fonts([tmp_path])
    assert {ord("漢"), ord("字"), ord("a")} <= coverage(folders)
    assert ord("漢") not in coverage()


def test_a_folder_without_fonts_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no folder with fonts"):
        require_fonts([tmp_path])
