"""Who starts a run of a supply that has one in hand is told of it, and may go on with that one."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

from ohmward.cli import main
from ohmward.desk.who_tests import Who
from ohmward.logbook import open_run
from ohmward.logbook.events import Closed
from ohmward.run import LiveRun
from support.walked import CR_11, begun, walk


@pytest.fixture
def started(tmp_path: Path) -> Path:
    """A logbook with a run of CR-11 that has come to its earth; return its journal."""
    path = begun(tmp_path)
    with LiveRun(open_run(path)) as live:
        walk(live, lambda item: item.spec.id == "earth")
    return path


def runs(logbook: Path) -> list[Path]:
    return sorted(logbook.rglob("*.jsonl"))


def command(logbook: Path, *more: str) -> list[str]:
    sheet = logbook / "again.toml"
    sheet.write_text(CR_11, encoding="utf-8")
    return ["--logbook", str(logbook), "start", str(sheet), "--operator", "bench A", *more]


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Path, bool]]:
    """What was opened at a terminal, and whether line by line."""
    found: list[tuple[Path, bool]] = []

    def screen(_: Path, path: Path, __: Who) -> int:
        found.append((path, False))
        return 0

    def lines(_: Path, path: Path, __: Who, **___: object) -> int:
        found.append((path, True))
        return 0

    monkeypatch.setattr("ohmward.cli.commands.open_screen", screen)
    monkeypatch.setattr("ohmward.cli.commands._lines", lines)
    for place in ("commands", "in_hand"):
        monkeypatch.setattr(f"ohmward.cli.{place}.has_terminal", lambda: True)
    return found


def typed(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    rest = iter(lines)
    monkeypatch.setattr("builtins.input", lambda _: next(rest))


@pytest.mark.parametrize("how", ["--no-screen", "--plain"])
def test_without_a_person_it_is_told_with_date_stage_and_command_and_another_is_begun(
    started: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    how: str,
) -> None:
    monkeypatch.setattr("ohmward.cli.commands._lines", lambda *_, **__: 0)
    assert main(command(tmp_path, how)) == 0
    said = " ".join(capsys.readouterr().err.split())
    assert "1 run of CR-11 in hand; another is begun beside it." in said
    assert f"commissioning, begun {started.name[:10]}, at 'Earth and dead tests'" in said
    assert len(runs(tmp_path)) == 2
    words = shlex.split(said.partition("To go on with it instead: ")[2])
    assert words[0] == "ohmward"
    gone_on: list[Path] = []

    def opens(_: Path, path: Path, *__: object, **___: object) -> int:
        gone_on.append(path)
        return 0

    for name in ("open_screen", "_lines"):
        monkeypatch.setattr(f"ohmward.cli.commands.{name}", opens)
    until = words.index("resume") + (3 if how == "--plain" else 2)
    assert main(words[1:until]) == 0
    assert gone_on == [started]


@pytest.mark.parametrize("how", [(), ("--plain",)])
def test_at_a_terminal_it_is_asked_and_gone_on_with(
    started: Path,
    tmp_path: Path,
    opened: list[tuple[Path, bool]],
    monkeypatch: pytest.MonkeyPatch,
    how: tuple[str, ...],
) -> None:
    typed(monkeypatch, "7", "1")
    assert main(command(tmp_path, *how)) == 0
    assert opened == [(started, bool(how))]
    assert runs(tmp_path) == [started]


def test_another_is_begun_where_that_is_chosen_and_none_on_enter_alone(
    started: Path, tmp_path: Path, opened: list[tuple[Path, bool]], monkeypatch: pytest.MonkeyPatch
) -> None:
    typed(monkeypatch, "")
    assert main(command(tmp_path)) == 0
    assert opened == []
    assert runs(tmp_path) == [started]
    typed(monkeypatch, "2")
    assert main(command(tmp_path)) == 0
    (new,) = [path for path in runs(tmp_path) if path != started]
    assert opened == [(new, False)]


def test_of_a_closed_run_or_a_rehearsal_nothing_is_said(
    started: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(command(tmp_path, "--no-screen", "--rehearsal")) == 0
    assert "in hand" not in capsys.readouterr().err
    with LiveRun(open_run(started)) as live:
        live.do(Closed(verdict="", records=live.state.last_seq + 1))
    assert main(command(tmp_path, "--no-screen")) == 0
    assert "in hand" not in capsys.readouterr().err
