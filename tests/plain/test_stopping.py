"""What runs line by line is stopped by a line: Enter at a terminal, the word stop from a pipe."""

from __future__ import annotations

import io
import os
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from ohmward import demo
from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.demo.by_eye import ByEye, rows_of
from ohmward.logbook import open_run, read
from ohmward.logbook.events import Reading, SwitchedOff
from ohmward.plain.lines import Lines
from ohmward.plain.opening import run_plain
from ohmward.run import LiveRun, state
from ohmward.run.answers import play
from ohmward.run.state import Phase
from ohmward.taking.hands import PersonsHands
from ohmward.taking.rehearsing import RehearsalHands
from support.journals import HandClock
from support.plain import held, words

pty = pytest.importorskip("pty")


@pytest.fixture
def bench() -> Iterator[SimulatedBench]:
    with demo.bench_of() as made:
        yield made


def at_step(logbook: Path, bench: SimulatedBench, step: str) -> Path:
    path = demo.begin(logbook, tool="test", bench=bench)
    rows = rows_of("healthy")
    first = next(n for n, row in enumerate(rows) if row.step.partition(".")[0] == step)
    with LiveRun(open_run(path)) as live:
        play(live, rows[:first], "story")
    return path


class Terminal:
    """A person at a terminal, who types when something is so."""

    def __init__(self) -> None:
        self._master, slave = pty.openpty()
        self.into = os.fdopen(slave, encoding="utf-8")

    def type(self, line: str) -> None:
        os.write(self._master, f"{line}\n".encode())

    def close(self) -> None:
        self.into.close()
        os.close(self._master)


@pytest.fixture
def terminal() -> Iterator[Terminal]:
    made = Terminal()
    yield made
    made.close()


def wait_for(so: Callable[[], bool], limit_s: float = 20.0) -> None:
    end = time.monotonic() + limit_s
    while not so():
        assert time.monotonic() < end
        time.sleep(0.01)


def test_a_line_at_a_terminal_stops_and_nothing_typed_does_not(terminal: Terminal) -> None:
    lines = Lines(terminal.into, io.StringIO())
    assert lines.stop_typed() is None
    terminal.type("")
    wait_for(lambda: lines.stop_typed() == "")
    assert lines.stop_typed() is None


def test_only_the_word_stops_what_a_pipe_feeds_and_its_next_line_is_kept() -> None:
    reading, writing = os.pipe()
    with os.fdopen(reading, encoding="utf-8") as into, os.fdopen(writing, "w", encoding="utf-8") as pipe:
        lines = Lines(into, io.StringIO())
        pipe.write("Stop\n")
        pipe.flush()
        assert lines.stop_typed() == "stop"
        pipe.write("15.02\n")
        pipe.flush()
        assert lines.stop_typed() is None
        assert lines.stop_typed() is None
        assert lines.ask() == "15.02"


def test_what_cannot_be_looked_at_stops_nothing() -> None:
    assert Lines(io.StringIO("stop\n"), io.StringIO()).stop_typed() is None


@pytest.mark.parametrize(("typed", "phase"), [("", Phase.LIVE), ("stop", Phase.LIVE), ("off", Phase.OFF)])
def test_a_sweep_ends_with_the_loads_off_when_a_line_is_typed(
    typed: str, phase: Phase, tmp_path: Path, bench: SimulatedBench, terminal: Terminal
) -> None:
    path = at_step(tmp_path, bench, "load-points")
    hands = RehearsalHands(bench, pace_s=0.05)
    said = io.StringIO()

    def person() -> None:
        for line in ("yes", "by itself", "yes"):
            terminal.type(line)
        wait_for(lambda: bench.unit.load_a("+15") > 0.3)
        terminal.type(typed)
        wait_for(lambda: "over." in said.getvalue())
        if typed == "off":
            terminal.type("yes")
            wait_for(lambda: any(isinstance(r.event, SwitchedOff) for r in read(path)))
        terminal.type("quit")
        terminal.type("yes")

    fingers = threading.Thread(target=person, daemon=True)
    fingers.start()
    with demo.meters_of(tmp_path, hands) as meters:
        code = run_plain(
            tmp_path, path, resumed=True, clock=HandClock(step_s=0.0), into=terminal.into, out=said,
            meters=meters, rehearsal=ByEye(hands),
        )  # fmt: skip
    fingers.join(20)
    assert code == 0
    assert not fingers.is_alive()
    assert "Stopping: the loads go off." in said.getvalue()
    assert bench.unit.load_a("+15") == 0
    assert state(read(path)).phase is phase
    readings = [r.event for r in read(path) if isinstance(r.event, Reading)]
    taken = [each.subject for each in readings if each.step == "load-points.output"]
    assert "+15 @ 100 %" not in taken


def hands_free(logbook: Path, path: Path, bench: SimulatedBench, *lines: str, person: bool = False) -> str:
    puts = RehearsalHands(bench)
    with demo.meters_of(logbook, PersonsHands() if person else puts) as meters:
        return words(held(logbook, path, *lines, resumed=True, meters=meters, rehearsal=ByEye(puts)))


def test_hands_free_takes_reading_after_reading_until_one_is_for_the_person(
    tmp_path: Path, bench: SimulatedBench
) -> None:
    path = at_step(tmp_path, bench, "output-no-load")
    before = len(read(path))
    said = hands_free(tmp_path, path, bench, "yes", "hands free")
    taken = [r.event for r in read(path)[before:] if isinstance(r.event, Reading)]
    assert [each.step for each in taken] == ["output-no-load"] * 4  # a rail each; idling is for the person
    assert all(each.replies for each in taken)
    assert said.count("It is taken when it has settled.") == len(taken)
    assert "Hands free ends: a check is yours to answer." in said


def test_hands_free_takes_no_test_voltage_and_nothing_under_load(
    tmp_path: Path, bench: SimulatedBench
) -> None:
    for step, why in (
        ("insulation", "no test voltage is put on unasked"),
        ("load-points", "under load nothing is taken unasked"),
    ):
        path = at_step(tmp_path / step, bench, step)
        before = [r.event for r in read(path) if isinstance(r.event, Reading)]
        answer = ["yes"] if step == "load-points" else []
        said = hands_free(tmp_path / step, path, bench, *answer, "hands free")
        assert f"Hands free ends: {why}." in said
        assert [r.event for r in read(path) if isinstance(r.event, Reading)] == before


@pytest.mark.parametrize("step", ["charge-left", "fuse-out-open", "residual"])
def test_hands_free_never_takes_what_leads_in_the_air_would_read_too(
    step: str, tmp_path: Path, bench: SimulatedBench
) -> None:
    """A supply is not shown to be dead, or a switch to be open, by a probe that nobody has put anywhere."""
    path = at_step(tmp_path, bench, step)
    before = len([r for r in read(path) if isinstance(r.event, Reading)])
    said = hands_free(tmp_path, path, bench, "hands free", person=True)
    assert "Hands free ends: open leads would read the same: it is taken by you." in said
    assert len([r for r in read(path) if isinstance(r.event, Reading)]) == before


def test_without_meters_there_is_no_hands_free(tmp_path: Path, bench: SimulatedBench) -> None:
    path = at_step(tmp_path, bench, "lead-null")
    assert "add a resource in meters.toml" in words(held(tmp_path, path, "hands free"))
