"""Writing a design sheet: what is written is read back as the same, and comments stay."""

from __future__ import annotations

import tomllib

import msgspec
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ohmward.shipped import folder
from ohmward.supply import dumps, findings, loads, table, to_json, update
from ohmward.supply.model import Fuse, Supply, Targets
from support.sheets import supplies

SLOW = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
BARE = """
tag = "X"
title = "x"
protection_class = "I"
mains = { voltage = "230 V", frequency = "50 Hz" }
rail = [{ name = "+5", nominal = "5 V", rated_current = "3 A" }]
"""
CR_07 = (folder("demo") / "CR-07.toml").read_text(encoding="utf-8")


@SLOW
@given(supplies(), st.booleans())
def test_written_and_read_back_is_the_same(supply: Supply, hints: bool) -> None:
    assert loads(dumps(supply, hints=hints)) == supply


@SLOW
@given(supplies(), supplies())
def test_a_sheet_changed_in_place_says_the_new_thing(old: Supply, new: Supply) -> None:
    assert loads(update(dumps(old), new)) == new


@SLOW
@given(supplies())
def test_any_sheet_can_be_judged_described_and_given_away_as_data(supply: Supply) -> None:
    assert all(found.text and found.basis and found.field for found in findings(supply))
    assert "\x1b" not in table(supply)
    assert msgspec.convert(to_json(supply), Supply) == supply


def test_nothing_changed_changes_no_byte() -> None:
    assert update(CR_07, loads(CR_07)) == CR_07


def test_a_change_leaves_every_other_line() -> None:
    old = loads(CR_07)
    mains = msgspec.structs.replace(old.mains, fuse=Fuse(characteristic="T", rating_a=2.0))
    new = msgspec.structs.replace(old, mains=mains, ambient_max_c=45.0)
    before, after = CR_07.splitlines(), update(CR_07, new).splitlines()
    changed = [(one, other) for one, other in zip(before, after, strict=True) if one != other]
    assert [other.split("#")[0].strip() for _, other in changed] == [
        'ambient_max = "45 °C"',
        'fuse = "T 2 A"',
    ]
    assert all(one.partition("#")[2] == other.partition("#")[2] for one, other in changed)


def test_the_same_value_in_other_words_is_left_as_it_is() -> None:
    text = CR_07.replace('rated_current = "1.2 A"', 'rated_current = "1200 mA"')
    assert update(text, loads(CR_07)) == text


def test_what_is_no_longer_known_is_taken_out() -> None:
    old = loads(CR_07)
    rails = tuple(msgspec.structs.replace(rail, heatsink=None, targets=Targets()) for rail in old.rails)
    new = msgspec.structs.replace(old, rails=rails, parts=())
    text = update(CR_07, new)
    assert loads(text) == new
    assert "heatsink =" not in text
    assert "parts =" not in text


def test_a_written_sheet_is_commented_and_its_hints_are_only_comments() -> None:
    supply = loads(CR_07)
    assert "# IEC 61140" in dumps(supply)
    assert "# hottest room" in dumps(supply)
    bare = loads(BARE)
    hinted = dumps(bare, hints=True)
    assert '# fuse = "T 1.6 A"' in hinted
    assert "# heatsink = {" in hinted
    assert loads(hinted) == bare


def test_every_hint_is_a_line_that_can_be_taken_as_it_stands() -> None:
    bare = loads(BARE)
    lines = dumps(bare, hints=True).splitlines()
    for number, line in enumerate(lines):
        if line.startswith("# ") and " = " in line and "source" not in line:
            loads("\n".join([*lines[:number], line[2:], *lines[number + 1 :]]))


def test_markup_and_escapes_in_a_tag_survive_as_text() -> None:
    tag = "[red]\x1b[31m CR \u202e"
    supply = msgspec.structs.replace(loads(CR_07), tag=tag)
    assert tomllib.loads(dumps(supply))["tag"] == tag
    assert loads(dumps(supply)).tag == tag
    assert "\x1b" not in table(supply)
