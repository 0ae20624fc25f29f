"""Lines out: wrapped, without a control character, spelled where a terminal lacks the sign."""

from __future__ import annotations

import io
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.plain.lines import WIDTH, Left, Lines
from support.plain import words


def said(*texts: str, encoding: str = "utf-8") -> str:
    raw = io.BytesIO()
    out = io.TextIOWrapper(raw, encoding=encoding, newline="\n")
    Lines(io.StringIO(), out).say(*texts)
    out.flush()
    return raw.getvalue().decode(encoding)


@given(st.lists(st.text(), max_size=4), st.sampled_from(["utf-8", "ascii", "latin-1", "cp437"]))
def test_whatever_is_said_stays_in_the_line_and_controls_nothing(texts: list[str], encoding: str) -> None:
    text = said(*texts, encoding=encoding)
    assert all(len(line) <= WIDTH for line in text.split("\n"))
    assert all(char == "\n" or char.isprintable() for char in text)
    assert text == "" or text.endswith("\n")


def test_signs_that_a_terminal_lacks_are_spelled() -> None:
    text = said("0.2 Ω, 5 µV, 40 °C, 0.75 mm², ±1 %, ≤ 3", encoding="ascii")
    assert text == "0.2 ohm, 5 uV, 40 deg C, 0.75 mm2, +/-1 %, <= 3\n"
    assert said("0.2 Ω") == "0.2 Ω\n"


def test_marks_before_words_that_say_the_same_are_left_out() -> None:
    assert said("• the case is open") == "the case is open\n"
    assert said("✓ Visual inspection: 3 passed") == "Visual inspection: 3 passed\n"
    assert said("-15 V") == "-15 V\n"


def test_the_end_of_input_is_told_apart_from_an_empty_line() -> None:
    lines = Lines(io.StringIO("\n 15.02 \n"), io.StringIO())
    assert [lines.ask(), lines.ask()] == ["", "15.02"]
    with pytest.raises(Left):
        lines.ask()


def test_a_real_pipe_into_start_loads_no_screen_and_says_only_lines(tmp_path: Path) -> None:
    from ohmward.shipped import folder

    sheet = folder("demo") / "CR-07.toml"
    code = (
        "import sys\nfrom ohmward.cli import main\n"
        f"code = main(['start', {str(sheet)!r}, '--rehearsal', '--plain', '--logbook', {str(tmp_path)!r}])\n"
        "assert code == 0, code\n"
        "sys.stderr.write(repr(sorted({'textual', 'textual_plot', 'matplotlib'} & set(sys.modules))))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], input="help\nwhere\np\nlist\n", capture_output=True, text=True,
        check=True, timeout=120,
    )  # fmt: skip
    assert done.stderr.endswith("[]")
    assert "\x1b" not in done.stdout
    assert "Recorded: PASS." in done.stdout
    assert "resume CR-07/" in words(done.stdout)
