"""The program taken away in the middle: killed, hung up, stopped by Ctrl-Z; in a terminal of its own.

The loads have to be off, what was acknowledged on the disk, and the run gone on with where it stood.
"""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from ohmward.bench.left_on import recover
from ohmward.desk.deliberate import PAUSE_S
from ohmward.logbook import open_run, read, verify
from ohmward.logbook.events import Reading, Resumed, SeriesBegun, SeriesEnded, SeriesGap, SeriesRows
from ohmward.run import LiveRun
from ohmward.run import state as fold
from ohmward.run.state import Phase
from ohmward.taking.at_hand import MetersAtHand
from ohmward.tui.app import OhmwardApp
from support.screens import NARROW, events, press, run_screen, settled, shown
from support.taking import TO_SOAK, Job, job
from support.terminal import DOWN, ENTER, Terminal

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are of Unix")
OHMWARD = [sys.executable, "-m", "ohmward.cli"]
CTRL_U, CTRL_Z = "\x15", "\x1a"


@contextmanager
def at_soak(logbook: Path) -> Iterator[tuple[Job, Path, Terminal]]:
    """Have the program at a run that has come to its soak, mains said to be on; nobody else has the run."""
    with job(logbook, TO_SOAK) as it:
        path = it.live.journal.path
        it.live.close_file()
        with Terminal([*OHMWARD, "--logbook", str(logbook), "resume", str(path)]) as terminal:
            terminal.answer("It is still on", "y", 60.0)
            terminal.answer("Load points", "j")
            terminal.answer("Go to", "room air @ 0")
            terminal.quiet(0.5)
            terminal.type(ENTER)
            terminal.until(lambda shown: " Temperatures: room air @ 0" in shown and "Go to" not in shown)
            yield it, path, terminal


def soaking(terminal: Terminal, it: Job, path: Path) -> None:
    """Begin the soak by keys, a sample a second, and wait for some samples."""
    terminal.answer("run by itself", "i")
    terminal.answer("Sample more or less often", DOWN + ENTER)
    for label, value in (("Sample every", "1 s"), ("For", "6 min")):
        terminal.answer(f"┃ {label}", CTRL_U)
        terminal.quiet()
        terminal.type(value + ENTER)
    terminal.answer("Every 1 s", ENTER)
    while not samples(path):
        if "y  Done" in terminal.shown:
            terminal.type("y")
        terminal.quiet(0.2, 1.0)
    until(terminal, lambda: samples(path) >= 4)
    assert it.load_a == pytest.approx(1.2, rel=0.01)


def samples(path: Path) -> int:
    return sum(len(event.rows) for event in events(path) if isinstance(event, SeriesRows))


def until(terminal: Terminal, met: Callable[[], bool], seconds: float = 60.0) -> None:
    ends = time.monotonic() + seconds
    while not met():
        assert time.monotonic() < ends, terminal.shown
        terminal.read(0.1)


async def test_a_soak_whose_program_was_killed_is_told_and_gone_on_with_by_keys(tmp_path: Path) -> None:
    with at_soak(tmp_path) as (it, path, terminal):
        soaking(terminal, it, path)
        terminal.process.send_signal(signal.SIGKILL)
        terminal.process.wait(10)
        assert it.load_a == pytest.approx(1.2, rel=0.01)  # nobody could switch it off
        told = samples(path)
        with MetersAtHand(tmp_path, hands=it.hands) as meters:
            recover(tmp_path)
            assert it.load_a == 0.0
            app = OhmwardApp(tmp_path, run_path=path, meters=lambda: meters)
            async with app.run_test(size=NARROW) as pilot:
                await settled(pilot)
                assert "Is it?" in shown(pilot)
                await press(pilot, "y")
                assert "Cut short: Temperatures" in shown(pilot)
                await press(pilot, "enter", "i")
                assert "Go on with it: the gap is shown" in shown(pilot)
                await press(pilot, "enter")
                for _ in range(3000):
                    if run_screen(pilot).going is None:
                        break
                    await pilot.pause(0.02)
                await settled(pilot)
                assert run_screen(pilot).live.state.violations == ()
            app.let_go()
        assert app.crash is None
        assert it.load_a == 0.0
    recorded = events(path)
    begun = [event.resumed for event in recorded if isinstance(event, SeriesBegun)]
    gaps = [event for event in recorded if isinstance(event, SeriesGap)]
    (ended,) = [event for event in recorded if isinstance(event, SeriesEnded)]
    assert begun == [False, True]
    assert gaps
    assert gaps[0].interrupted
    assert ended.complete
    assert ended.load_off
    assert samples(path) > told
    assert sum(isinstance(event, Resumed) for event in recorded) >= 2
    assert verify(path).intact
    assert len([event for event in recorded if isinstance(event, Reading) and event.step == "soak"]) == 6


def test_a_soak_is_not_put_aside_and_when_the_line_breaks_the_loads_go_off_and_its_end_is_on_the_disk(
    tmp_path: Path,
) -> None:
    with at_soak(tmp_path) as (it, path, terminal):
        soaking(terminal, it, path)
        terminal.type(CTRL_Z)  # nobody would watch the loads
        terminal.until("not put aside")
        told = samples(path)
        until(terminal, lambda: samples(path) > told)
        told = samples(path)
        terminal.hang_up()
        terminal.process.wait(60)
        assert it.load_a == 0.0
    (ended,) = [event for event in events(path) if isinstance(event, SeriesEnded)]
    assert not ended.complete
    assert ended.why == "the terminal was lost"
    assert ended.load_off
    assert samples(path) >= told
    assert verify(path).intact
    with LiveRun(open_run(path)) as live:  # nobody holds it any more
        assert live.state.phase is Phase.LIVE
        assert live.state.violations == ()


def test_put_aside_by_ctrl_z_it_comes_back_as_it_was_and_when_the_line_breaks_the_run_is_gone_on_with(
    tmp_path: Path,
) -> None:
    with at_soak(tmp_path) as (_, path, terminal):
        before = len(events(path))
        terminal.type("23")
        terminal.until("= 23 °C")
        terminal.type(CTRL_Z)
        stopped(terminal)
        os.killpg(terminal.process.pid, signal.SIGCONT)
        terminal.until("= 23 °C")
        terminal.resize(140, 45)
        terminal.until("7 Make safe")
        terminal.resize(80, 24)
        terminal.until("= 23 °C")
        terminal.type("\x1b")
        terminal.until(lambda shown: "= 23 °C" not in shown)
        assert len(events(path)) == before
        terminal.answer("x SWITCH OFF", "x")
        terminal.answer("It is off and unplugged", "y")
        terminal.until("OFF – charge not yet measured")
        until(terminal, lambda: fold(read(path)).phase is Phase.OFF)
        terminal.hang_up()
        terminal.process.wait(60)
        with Terminal([*OHMWARD, "--logbook", str(tmp_path), "resume", str(path)]) as again:
            again.until("OFF – charge not yet measured", 60.0)
            again.until("Unplugged, plug in sight")
            time.sleep(PAUSE_S)  # a danger is answered on purpose
            again.type("p")
            again.until("Residual voltage: +15")
    assert [type(event).__name__ for event in events(path)][-3:] == ["SwitchedOff", "Resumed", "Answered"]
    assert verify(path).intact


def stopped(terminal: Terminal) -> None:
    """Wait until the program is stopped."""
    for _ in range(100):
        stat = Path(f"/proc/{terminal.process.pid}/stat").read_text(encoding="utf-8")
        if stat.rpartition(")")[2].split()[0] == "T":
            return
        terminal.read(0.05)
    raise AssertionError("it was not stopped")
