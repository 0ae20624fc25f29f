"""Making and writing a document, as the command line and the screens both do it."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.errors import InputError, Unreachable
from ohmward.report.document.making import ENDINGS, LONGEST_NAME, Wanted, file_name, make, taken, write
from ohmward.report.document.words import load_words
from support.reports import FAULTY, source


@pytest.mark.parametrize(
    ("form", "ending", "start"),
    [
        ("short", ".pdf", b"%PDF-"),
        ("repair", ".html", b"<!DOCTYPE html>"),
        ("label", ".png", b"\x89PNG"),
        ("label", ".pdf", b"%PDF-"),
    ],
)
def test_each_form_is_made_as_what_its_ending_says(form: str, ending: str, start: bytes) -> None:
    said: list[str] = []
    wanted = Wanted(form=form, ending=ending)  # type: ignore[arg-type]
    made = make(load_words(), source(FAULTY), wanted, tell=said.append)
    assert made.data.startswith(start)
    assert said or form == "label"


def test_a_form_that_cannot_be_made_so_is_an_error_of_the_caller() -> None:
    for form, endings in ENDINGS.items():
        wrong = ".png" if ".png" not in endings else ".html"
        with pytest.raises(ValueError, match="no "):
            make(load_words(), source(FAULTY), Wanted(form=form, ending=wrong))


def test_a_file_in_the_way_stays_unless_it_may_go(tmp_path: Path) -> None:
    path = tmp_path / "a.pdf"
    write(path, b"one")
    with pytest.raises(InputError, match="already there"):
        write(path, b"two")
    assert path.read_bytes() == b"one"
    write(path, b"two", replace=True)
    assert path.read_bytes() == b"two"
    (tmp_path / "link").symlink_to(tmp_path / "nowhere")
    assert taken(tmp_path / "link")  # a link to nothing is in the way too
    with pytest.raises(Unreachable, match="cannot be written"):
        write(tmp_path / "no" / "a.pdf", b"x")
    assert sorted(each.name for each in tmp_path.iterdir()) == ["a.pdf", "link"]


@pytest.mark.parametrize("text", ["../../etc/x", "a b/c", "..", "", "\x1b[31mrot", "ü" * 400])
def test_a_name_made_of_anything_is_one_plain_name(text: str) -> None:
    name = file_name(text)
    assert name
    assert Path(name).name == name
    assert not name.startswith(".")
    assert len(name) <= LONGEST_NAME
    assert name.isprintable()
