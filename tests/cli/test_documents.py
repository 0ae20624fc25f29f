"""Report and label as a person calls them: files whole or not at all, nothing overwritten unasked."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from ohmward.cli import main
from support.reports import FAULTY, HEALTHY, INTERRUPTED


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LC_ALL", "en_GB.UTF-8")


def test_a_report_is_named_after_its_run_and_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["report", str(INTERRUPTED), "--no-pictures"]) == 0
    told = capsys.readouterr()
    name = told.out.strip()
    assert name == "CR-07-2026-03-04-01-commissioning-full.pdf"
    assert Path(name).read_bytes().startswith(b"%PDF-")
    assert "REHEARSAL" in told.err
    assert os.listdir() == [name]


@pytest.mark.parametrize(
    ("arguments", "name", "start"),
    [
        (["report", str(INTERRUPTED), "--form", "short", "-o", "s.html"], "s.html", b"<!DOCTYPE html>"),
        (["report", str(INTERRUPTED), "--form", "repair", "-o", "r.PDF"], "r.PDF", b"%PDF-"),
        (["label", str(INTERRUPTED), "-o", "l.png"], "l.png", b"\x89PNG"),
        (["label", str(INTERRUPTED), "--size", "4x2in", "-o", "l.pdf"], "l.pdf", b"%PDF-"),
    ],
)
def test_kind_by_the_ending_and_no_file_overwritten_unasked(
    arguments: list[str], name: str, start: bytes, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 0
    made = Path(name).read_bytes()
    assert made.startswith(start)
    Path(name).write_bytes(b"mine")
    assert main(arguments) == 2
    assert "--force" in capsys.readouterr().err
    assert Path(name).read_bytes() == b"mine"
    assert main([*arguments, "--force"]) == 0
    assert Path(name).read_bytes() == made
    assert os.listdir() == [name]


def test_as_data(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["report", str(FAULTY), "--form", "short", "-o", "s.pdf", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["outcome"] == "fail"
    assert told["simulated"] is True
    assert told["next_due"] is None
    assert told["bytes"] == Path("s.pdf").stat().st_size
    assert len(told["digest"]) == 64
    assert main(["label", str(HEALTHY), "-o", "l.pdf", "--json", "--due", "2026-12-01"]) == 0
    assert json.loads(capsys.readouterr().out)["next_due"] == "2026-12-01"


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["report", str(FAULTY), "-o", "x.doc"], "End the name in .pdf or .html"),
        (["label", str(FAULTY), "-o", "x.html"], "End the name in .pdf or .png"),
        (["label", str(FAULTY), "--size", "2x2"], "common stock"),
        (["label", str(INTERRUPTED), "--due", "2027-01-01"], "does not show a unit that may be used"),
        (["label", str(INTERRUPTED), "--due", "soon"], "Write it as 2027-03-01, or none"),
        (["report", str(FAULTY), "--locale", "tlh"], "Shipped: en"),
        (["report", str(FAULTY), "--fonts", "nowhere"], "no folder with fonts"),
    ],
)
def test_mistakes_are_told_with_their_mend(
    arguments: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 2
    assert told in capsys.readouterr().err
    assert os.listdir() == []


def test_a_folder_that_is_not_there_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["report", str(INTERRUPTED), "--form", "short", "-o", "no/such/place.pdf"]) == 3
    assert "cannot be written" in capsys.readouterr().err


def test_a_damaged_journal_is_not_printed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    copy = tmp_path / "2026-03-02-01-commissioning.jsonl"
    copy.write_bytes(HEALTHY.read_bytes().replace(b'"answer":"pass"', b'"answer":"fail"', 1))
    assert main(["report", str(copy), "--form", "short"]) == 1
    assert "line" in capsys.readouterr().err
    assert os.listdir() == [copy.name]


def test_us_letter_in_the_united_states(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LC_ALL", "en_US.UTF-8")
    assert main(["report", str(INTERRUPTED), "--form", "short", "-o", "s.html"]) == 0
    page = Path("s.html").read_text(encoding="utf-8")
    assert "size: letter" in page
    assert "March 4, 2026" in page
