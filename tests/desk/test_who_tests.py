"""Who tests: asked once, kept for the next run, and only ever what a person said."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from ohmward.cli import main
from ohmward.cli import talking as cli
from ohmward.desk.who_tests import Who
from ohmward.logbook import Logbook, read
from ohmward.logbook.events import Opened, Resumed
from support import bench as b
from support.walked import begun


def test_a_name_typed_is_kept_and_one_given_for_a_sitting_is_not(tmp_path: Path) -> None:
    kept = tmp_path / "settings" / "operator"
    first = Who(file=kept)
    assert (first.known, first.name) == (False, "")
    assert first.take(" bench B\n") == ""
    assert (Who(file=kept).known, Who(file=kept).name) == (True, "bench B")
    assert Who("bench A", file=kept).name == "bench A"
    assert Who(file=kept).name == "bench B"


def test_that_no_name_is_given_is_kept_too(tmp_path: Path) -> None:
    kept = tmp_path / "operator"
    assert Who(file=kept).take("") == ""
    assert (Who(file=kept).known, Who(file=kept).name) == (True, "")
    assert "cannot be written" in Who(file=tmp_path).take("bench A")  # a folder is there


def start(tmp_path: Path, *more: str) -> str:
    """Start a run without a screen; return the name in its first record."""
    sheet = tmp_path / "CR-07.toml"
    sheet.write_text(b.SHEET, encoding="utf-8")
    logbook = tmp_path / "logbook"
    before = {run.path for run in Logbook(logbook).runs()}
    assert main(["start", str(sheet), "--no-screen", "--logbook", str(logbook), *more]) == 0
    (path,) = {run.path for run in Logbook(logbook).runs()} - before
    event = read(path)[0].event
    assert isinstance(event, Opened)
    return event.operator


def test_the_command_asks_once_where_a_person_sits_and_never_takes_the_login_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    kept = tmp_path / "settings" / "operator"
    monkeypatch.setattr("ohmward.desk.who_tests.who_file", lambda: kept)
    monkeypatch.delenv("OHMWARD_OPERATOR")
    monkeypatch.setenv("USER", "login")
    monkeypatch.setenv("LOGNAME", "login")
    assert start(tmp_path) == ""  # no terminal: nobody to ask
    assert "--operator" in capsys.readouterr().err
    assert not kept.exists()
    asked: list[str] = []

    def answer(prompt: str) -> str:
        asked.append(prompt)
        return "bench B"

    monkeypatch.setattr(cli, "has_terminal", lambda: True)
    monkeypatch.setattr("builtins.input", answer)
    assert start(tmp_path) == "bench B"
    assert start(tmp_path) == "bench B"
    assert len(asked) == 1
    assert start(tmp_path, "--operator", "bench A") == "bench A"
    assert start(tmp_path, "--operator", "") == ""
    assert start(tmp_path) == "bench B"


def test_leaving_the_question_starts_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def left(_: str) -> str:
        raise EOFError

    monkeypatch.setattr("ohmward.desk.who_tests.who_file", lambda: tmp_path / "operator")
    monkeypatch.delenv("OHMWARD_OPERATOR")
    monkeypatch.setattr(cli, "has_terminal", lambda: True)
    monkeypatch.setattr("builtins.input", left)
    sheet = tmp_path / "CR-07.toml"
    sheet.write_text(b.SHEET, encoding="utf-8")
    assert main(["start", str(sheet), "--no-screen", "--logbook", str(tmp_path / "logbook")]) != 0
    assert not (tmp_path / "logbook").exists()
    assert not (tmp_path / "operator").exists()


def test_another_may_go_on_in_a_run_and_the_record_says_from_when(tmp_path: Path) -> None:
    from ohmward.run import state
    from support.plain import held
    from support.walked import begun

    path = begun(tmp_path)
    said = held(tmp_path, path, "who bench B", "where", "who", "-", "where")
    sessions = [record.event for record in read(path) if isinstance(record.event, Resumed)]
    assert [event.operator for event in sessions] == ["bench B", ""]
    assert state(read(path)).violations == ()
    assert "tested by: bench B" in said
    assert "tested by: not given" in said


def resumed_by(path: Path) -> str:
    return [record.event.operator for record in read(path) if isinstance(record.event, Resumed)][-1]


def test_a_run_goes_on_as_its_own_latest_tester_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The name kept is of another person, who sat at this account since."""
    kept = tmp_path / "operator"
    kept.write_text("bench Z\n", encoding="utf-8")
    monkeypatch.setattr("ohmward.desk.who_tests.who_file", lambda: kept)
    monkeypatch.delenv("OHMWARD_OPERATOR")
    monkeypatch.setattr("sys.stdin", io.StringIO("who bench C\n"))
    path = begun(tmp_path)  # by bench A
    resume = ["--logbook", str(tmp_path), "resume", "CR-11", "--plain"]
    assert main(resume) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Going on as bench A, who tested in this run last; 'who NAME' names another." in said
    names = [record.event.operator for record in read(path) if isinstance(record.event, Resumed)]
    assert names == ["bench A", "bench C"]
    assert Who(file=kept).name == "bench C"  # typed: kept for the next run
    kept.write_text("bench Z\n", encoding="utf-8")
    assert main(resume) == 0
    assert resumed_by(path) == "bench C"
    assert main([*resume, "--operator", "bench D"]) == 0
    assert resumed_by(path) == "bench D"
    monkeypatch.setenv("OHMWARD_OPERATOR", "bench E")
    assert main(resume) == 0
    assert resumed_by(path) == "bench E"
    assert main([*resume, "--operator", ""]) == 0
    monkeypatch.delenv("OHMWARD_OPERATOR")
    capsys.readouterr()
    assert main(resume) == 0  # the run names none
    assert resumed_by(path) == "bench Z"
    assert "Going on as" not in capsys.readouterr().out


def test_answers_are_fed_and_waveforms_attached_as_the_latest_tester_of_the_run_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    kept = tmp_path / "operator"
    kept.write_text("bench Z\n", encoding="utf-8")
    monkeypatch.setattr("ohmward.desk.who_tests.who_file", lambda: kept)
    monkeypatch.delenv("OHMWARD_OPERATOR")
    path = begun(tmp_path)
    rows = tmp_path / "rows.csv"
    rows.write_text("step,subject,value,meter,note\n", encoding="utf-8")
    assert main(["--logbook", str(tmp_path), "record", "CR-11", str(rows)]) == 0
    assert resumed_by(path) == "bench A"
    assert "Going on as bench A" in " ".join(capsys.readouterr().err.split())


def test_who_was_named_in_this_sitting_goes_on_with_every_run_of_it(tmp_path: Path) -> None:
    kept = tmp_path / "operator"
    kept.write_text("bench Z\n", encoding="utf-8")
    sitting = Who(file=kept)
    assert sitting.going_on("bench A").name == "bench A"
    assert sitting.going_on("") is sitting
    assert sitting.name == "bench Z"  # of runs begun anew
    sitting.going_on("bench A").take("bench C")
    assert sitting.going_on("bench A").name == "bench C"
    assert Who("", file=kept).going_on("bench A").name == ""
