"""Who leaves a run is told how to go on with it."""

from __future__ import annotations

import shlex
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmward.cli import main, screen
from ohmward.desk.who_tests import Who
from ohmward.logbook import open_run
from ohmward.logbook.events import Closed
from ohmward.run import LiveRun
from support.walked import begun


def left(monkeypatch: pytest.MonkeyPatch, logbook: Path, path: Path) -> None:
    monkeypatch.setattr(screen, "need_terminal", lambda _: None)
    monkeypatch.setattr("ohmward.tui.sitting.run_app", lambda *_, **__: 0)
    monkeypatch.setattr("ohmward.bench.leaving.install_signals", lambda: None)
    assert screen.open_screen(logbook, path, Who("bench A")) == 0


def test_the_command_said_finds_the_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = begun(tmp_path)
    left(monkeypatch, tmp_path, path)
    words = " ".join(capsys.readouterr().err.split())
    command = shlex.split(words.partition("To go on with this run: ")[2])
    assert command[:1] == ["ohmward"]
    opened: list[Path] = []

    def instead(_: Path, found: Path, __: Who) -> int:
        opened.append(found)
        return 0

    monkeypatch.setattr("ohmward.cli.commands.open_screen", instead)
    assert main(command[1:]) == 0
    assert opened == [path]


def test_of_a_closed_run_nothing_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = begun(tmp_path)
    with LiveRun(open_run(path)) as live:
        live.do(Closed(verdict="", records=live.state.last_seq + 1))
    left(monkeypatch, tmp_path, path)
    assert "To go on" not in capsys.readouterr().err


def test_a_run_opened_at_the_bench_is_named_on_leaving_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = begun(tmp_path)

    def leave(*_: object, worked_at: Callable[[Path], None], **__: object) -> int:
        worked_at(path)
        return 0

    monkeypatch.setattr(screen, "need_terminal", lambda _: None)
    monkeypatch.setattr("ohmward.tui.sitting.run_app", leave)
    monkeypatch.setattr("ohmward.bench.leaving.install_signals", lambda: None)
    assert screen.open_screen(tmp_path, None, Who("bench A")) == 0
    said = " ".join(capsys.readouterr().err.split())
    assert "Everything recorded is on disk; CR-11/" in said
    assert "To go on with this run: ohmward" in said
