"""Profiles: those shipped are sound, a person's own comes first, every mistake is told at once."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.bench import profile
from ohmward.errors import InputError
from ohmward.shipped import names


def test_the_classes_of_instrument_that_ship() -> None:
    kinds = {profile.load(name).kind for name in names("profiles")}
    assert kinds == {
        "multimeter", "load", "source", "oscilloscope", "thermometer", "power", "insulation", "low-ohm",
    }  # fmt: skip


@pytest.mark.parametrize("name", names("profiles"))
def test_each_is_named_as_its_file_and_can_be_asked(name: str) -> None:
    found = profile.load(name)
    assert found.name == name
    assert found.measures or found.capture
    if found.settings:  # whatever can be set to drive current can be switched off, and seen to be
        assert found.output is not None
        assert found.output.confirm
        assert "OFF" in found.output.off[0]


def test_a_persons_own_profile_comes_first(tmp_path: Path) -> None:
    text = 'format = 1\nname = "load"\nkind = "load"\ntitle = "Mine"\n'
    (tmp_path / "load.toml").write_text(text, encoding="utf-8")
    assert profile.load("load", tmp_path).title == "Mine"
    assert profile.load("source", tmp_path).name == "source"


@pytest.mark.parametrize("name", ["lod", "", "../profiles/load", "a\x00b"])
def test_no_such_profile(name: str) -> None:
    with pytest.raises(InputError, match="no profile has that name"):
        profile.load(name)


def test_every_mistake_is_told_at_once() -> None:
    text = """
format = 2
name = "My Load"
kind = "teapot"
timeout = "0 s"
colour = "red"
opening = ["*CLS\\n*RST"]
[[measure]]
function = "dc volt"
ask = "READ"
[[measure]]
name = "amps"
function = "dc amps"
ask = "READ{x}?"
place = "0"
[[set]]
name = "current"
unit = "A"
tell = "CURR"
"""
    with pytest.raises(InputError) as caught:
        profile.loads(text, "p.toml")
    fields = {mistake.field for mistake in caught.value.mistakes}
    assert fields == {
        "format", "name", "kind", "title", "timeout", "colour", "opening", "measure[1].function",
        "measure[1].ask", "measure[amps].ask", "measure[amps].place", "set[current].tell", "output",
    }  # fmt: skip
    assert all(mistake.where == "p.toml" and mistake.mend for mistake in caught.value.mistakes)


def test_two_of_one_name_are_refused() -> None:
    row = '[[measure]]\nname = "v"\nfunction = "dc volts"\nask = "READ?"\n'
    with pytest.raises(InputError, match="two have the name 'v'"):
        profile.loads(f'format = 1\nname = "m"\nkind = "multimeter"\ntitle = "M"\n{row}{row}')


def test_what_it_cannot_do_is_said_with_what_it_can() -> None:
    load = profile.load("load")
    with pytest.raises(InputError, match="Did you mean 'voltage'"):
        load.measure("voltages")
    with pytest.raises(InputError, match="nothing it can set"):
        profile.load("power").setting("current")


@given(st.text(max_size=200))
def test_any_text_is_a_profile_or_an_input_error(text: str) -> None:
    with pytest.raises(InputError) as caught:  # chance never writes a format, a name, a kind and a title
        profile.loads(text)
    assert caught.value.mistakes
