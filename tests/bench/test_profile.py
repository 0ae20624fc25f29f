"""Profiles: those shipped are sound, a person's own comes first, every mistake is told at once."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.bench import profile
from ohmward.bench.commands import filled
from ohmward.bench.conversation import Conversation
from ohmward.bench.meters import FUNCTIONS
from ohmward.bench.reply import NoReading, ReplyError
from ohmward.bench.transport import Buffered, NoAnswer
from ohmward.errors import InputError
from ohmward.shipped import folder, names


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


ODD = (
    '""', '"x"', "-1", "0", "1e400", "nan", "true", "[]", '[""]', '["{value}"]', '["{channel"]', '"{}"',
    '"{volts}"', "{}", "{ a = 1 }", "1979-05-27", "07:32:00", '"\\u0000"', '"Ω?"', '"1e999 s"', '"-1 s"',
    '"0 s"', '"nan V"', "[[1]]", '"{value!r}"', "9" * 30, '"1"', '" ',
)  # fmt: skip
"""What may stand behind a key by mistake."""


@st.composite
def spoilt(draw: st.DrawFn) -> str:
    """Return the text of a shipped profile with a few lines lost, doubled, moved or written wrongly."""
    path = folder("profiles") / f"{draw(st.sampled_from(names('profiles')))}.toml"
    lines = path.read_text(encoding="utf-8").split("\n")
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, len(lines) - 1))
        match draw(st.integers(0, 4)):
            case 0:
                lines[at] = ""
            case 1:
                lines.insert(at, draw(st.sampled_from(lines)))
            case 2:
                key, between, _ = lines[at].partition("=")
                lines[at] = f"{key}= {draw(st.sampled_from(ODD))}" if between else lines[at]
            case 3:
                key, between, value = lines[at].partition("=")
                lines[at] = f"{draw(st.sampled_from(KEYS))} ={value}" if between else lines[at]
            case _:
                spot = draw(st.integers(0, len(lines[at])))
                lines[at] = lines[at][:spot] + draw(st.characters()) + lines[at][spot + 1 :]
    return "\n".join(lines)


KEYS = (
    "ask",
    "tell",
    "unit",
    "form",
    "place",
    "scale",
    "volts",
    "on",
    "confirm",
    "settling",
    "error",
    "kind",
)


@settings(max_examples=1500, deadline=None)
@given(spoilt())
def test_a_spoilt_profile_is_refused_or_can_be_asked(text: str) -> None:
    try:
        found = profile.loads(text, "p.toml")
    except InputError:
        return
    commands = [each for what in found.measures for each in (*what.prepare, what.ask)]
    commands += [each for what in found.settings for each in (what.tell, what.confirm)]
    commands += [] if found.output is None else [*found.output.on, *found.output.off, found.output.confirm]
    for each in (*commands, *found.opening, *found.leaving):
        line = filled(each, "1", value=1.0, volts=500.0)
        assert "{" not in line
        assert line.isascii()
        assert line.isprintable()  # one line on the wire, whatever was written
    for what in found.measures:
        assert what.unit == FUNCTIONS[what.function]
        assert 0 < what.timeout_s < 1e6
        assert 0 <= what.settling_s < 1e6
        assert 0 < abs(what.scale) < float("inf")
    assert not found.settings or found.output is not None  # what drives can be switched off


class Scripted(Buffered):
    """An instrument that gives its readings as it is told, and answers all else as it should."""

    where, backend = "scripted", "none"

    def __init__(self) -> None:
        super().__init__()
        self.reading = b""
        self._mark = b"0"

    def open(self) -> None:
        self._held.clear()

    def close(self) -> None:
        self._held.clear()

    def write(self, line: str) -> None:
        answers = []
        for part in line.removeprefix(":").split(";"):
            word = part.lstrip(":")
            if word.startswith("*ESE "):
                self._mark = word.removeprefix("*ESE ").encode()
            elif word == "*ESE?":
                answers.append(self._mark)
            elif word == "*IDN?":
                answers.append(b"Maker,Model,1,1")
            elif word.startswith("SYST:ERR"):
                answers.append(b'0,"No error"')
            elif word.endswith("?") or "? " in word:
                answers.append(self.reading)
        if answers:
            self._held += b";".join(answers) + b"\n"

    def _receive(self, timeout_s: float) -> bytes:
        return b""


ASKED = tuple((name, what) for name in names("profiles") for what in profile.load(name).measures)
REPLIES = st.one_of(
    st.binary(max_size=40),
    st.from_regex(rb"[+-]?[0-9]{0,4}\.?[0-9]{0,4}([eE][+-]?[0-9]{1,2})?[ \r;,]?", fullmatch=True),
    st.from_regex(rb"([+-]?[0-9]\.[0-9]{1,5}E[+-][0-9]{2},?){1,8}", fullmatch=True),
    st.sampled_from([b"9.9E37", b"-9.9E37", b"9.91E37", b"+9.90000000E+37\r", b'0,"No error"', b"1;2"]),
)


@settings(max_examples=3000, deadline=None)
@given(st.sampled_from(ASKED), st.integers(0, 3), REPLIES, st.booleans())
def test_whatever_a_profile_is_answered_is_its_value_or_a_named_error(
    asked: tuple[str, profile.Measure], place: int, reply: bytes, stamps: bool
) -> None:
    name, what = asked
    if place:  # no shipped profile has these, and a person's own may
        what = msgspec.structs.replace(what, form="numbers", place=place, scale=1e-3)
    wire = Scripted()
    how = msgspec.structs.replace(profile.load(name), stamps=stamps, timeout_s=0.01)
    quick = msgspec.structs.replace(what, settling_s=0.0, timeout_s=0.01)
    conversation = Conversation(wire, how, wait=lambda _: None)
    conversation.open()
    wire.reading = reply
    try:
        found = conversation.measure(quick, "1", 1e9, 500.0)
    except (ReplyError, NoReading, NoAnswer):
        return
    written = reply.decode("ascii").strip(" \r")  # what is no plain text is no reading
    part = written if what.form == "number" else written.split(",")[what.place - 1]
    if found.kind == "exact":
        assert found.si == pytest.approx(float(part) * what.scale, rel=1e-12)
    else:
        assert abs(float(part)) > 9.8e37
        assert found.kind == ("above" if float(part) > 0 else "overload")
