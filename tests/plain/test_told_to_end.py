"""A sweep under load in a program that is told to end, left by Ctrl-C, or killed: the load goes off."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from ohmward.bench.leaving import FOLDER
from ohmward.logbook import read, verify
from ohmward.logbook.events import Noted
from support.taking import TO_LOADED, Job, job

if sys.platform == "win32":
    pytest.skip("pseudo-terminals are of Unix", allow_module_level=True)

import signal
import time

from support.terminal import ENTER, Terminal

SIZE = 80, 60
CTRL_C = "\x03"
NO_LOAD = "load-points.output,+15 @ 0 %,15.0,,\n"


def program(logbook: Path, path: Path) -> Terminal:
    argv = [sys.executable, "-m", "ohmward.cli", "--logbook", str(logbook), "resume", str(path), "--plain"]
    return Terminal(argv, size=SIZE)


@contextmanager
def under_load(logbook: Path) -> Iterator[tuple[Job, Path, Terminal]]:
    """Have the program in a sweep, by meters that PyVISA reads, with its load on."""
    with job(logbook, TO_LOADED + NO_LOAD) as it:
        path = it.live.journal.path
        it.live.close_file()
        it.bench.probe("multimeter", "rail +15 output")
        with program(logbook, path) as terminal:
            terminal.answer("It is still on", f"yes{ENTER}", 60.0)
            terminal.answer("Type the value", f"by itself{ENTER}")
            terminal.answer("yes: Begin", f"yes{ENTER}")
            terminal.answer("yes: Done", f"yes{ENTER}")
            until(terminal, lambda: it.load_a > 0.5)
            yield it, path, terminal


def until(terminal: Terminal, met: Callable[[], bool], seconds: float = 30.0) -> None:
    ends = time.monotonic() + seconds
    while not met():
        assert time.monotonic() < ends, terminal.shown
        terminal.read(0.02)


def noted(path: Path) -> list[str]:
    return [each.event.text for each in read(path) if isinstance(each.event, Noted)]


@pytest.mark.parametrize(
    ("number", "why"),
    [(signal.SIGTERM, "the program was told to end"), (signal.SIGHUP, "the terminal was lost")],
)
def test_told_to_end_it_has_the_load_off_and_says_so_in_the_journal(
    number: signal.Signals, why: str, tmp_path: Path
) -> None:
    with under_load(tmp_path) as (it, path, terminal):
        terminal.process.send_signal(number)
        assert terminal.wait() == 128 + number
        assert it.load_a == 0.0
    assert noted(path)[-1] == f"Load points, +15: ended: {why}."
    assert not any("stopped by the person" in each for each in noted(path))
    assert list((tmp_path / FOLDER).iterdir()) == []
    assert verify(path).intact


def test_ctrl_c_stops_the_sweep_with_the_load_off_and_the_next_one_leaves(tmp_path: Path) -> None:
    with under_load(tmp_path) as (it, path, terminal):
        terminal.type(CTRL_C)
        until(terminal, lambda: it.load_a == 0.0)
        terminal.until("stopped by the person")
        terminal.answer("Type the value", CTRL_C)
        terminal.wait()
    assert noted(path)[-1] == "Load points, +15: ended: stopped by the person."
    assert verify(path).intact


def test_after_a_kill_the_next_start_switches_the_load_off_first_and_says_so(tmp_path: Path) -> None:
    with under_load(tmp_path) as (it, path, terminal):
        terminal.process.kill()
        terminal.process.wait(10)
        assert it.load_a == pytest.approx(0.6, rel=0.01)  # nobody could
        assert len(list((tmp_path / FOLDER).iterdir())) == 1
        with program(tmp_path, path) as again:
            again.until("It is still on", 60.0)
            assert "load +15: left on since" in again.shown
            assert it.load_a == 0.0
    assert verify(path).intact
