"""The whole commissioning over a pipe, and what the tool reads by itself, told line by line."""

from __future__ import annotations

import io
import os
import re
import select
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from ohmward import demo
from ohmward.bench.messages import Notice
from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.demo.by_eye import ByEye, rows_of
from ohmward.logbook import open_run, read, verify
from ohmward.logbook.events import Captured, Event, Noted, Reading, SeriesEnded
from ohmward.plain.lines import WIDTH
from ohmward.plain.opening import run_plain
from ohmward.run import LiveRun, assess_state, state
from ohmward.run.answers import play
from ohmward.run.state import Phase
from ohmward.shipped import folder
from ohmward.supply import load
from ohmward.taking.hands import Hands, PersonsHands
from ohmward.taking.rehearsing import RehearsalHands
from support.plain import held, typed_lines, words

RAILS = ("+15", "-15", "+48", "24")
OHMWARD = [sys.executable, "-m", "ohmward.cli"]


def events(path: Path) -> list[Event]:
    return [record.event for record in read(path)]


def test_the_whole_commissioning_of_cr_07_over_a_pipe(tmp_path: Path) -> None:
    rows = rows_of("healthy")
    lines = typed_lines(demo.begin(tmp_path / "scratch", tool="test"), rows)
    assert not [line for line in lines if line.startswith("jump")]  # the tool leads all the way
    shelf = folder("demo")
    done = subprocess.run(
        [*OHMWARD, "start", str(shelf / "CR-07.toml"), "--rehearsal", "--plain", "--meters",
         str(shelf / "meters.toml"), "--logbook", str(tmp_path / "log")],
        input="".join(f"{line}\n" for line in lines), capture_output=True, text=True, check=True, timeout=280,
    )  # fmt: skip
    (path,) = (tmp_path / "log" / "runs").rglob("*.jsonl")
    result = state(read(path))
    assert result.phase is Phase.CLOSED
    assert result.violations == ()
    assert assess_state(result).verdict == "pass"
    assert verify(path).intact
    items = result.by_key
    told = {(row.step, row.subject): row.value for row in rows if row.value}
    told = {key: value for key, value in told.items() if key in items and items[key].read is not None}
    taken = {(e.step, e.subject): e.value.raw for e in events(path) if isinstance(e, Reading)}
    assert taken == told
    assert len(taken) > 150

    first, *rest = done.stdout.splitlines()
    assert first == str(path)  # what `start` prints is data; what follows is the sitting
    assert max(len(line) for line in rest) <= WIDTH
    assert all(line.isprintable() for line in rest)
    said = words("\n".join(rest))
    assert "Verdict: PASS." in said
    assert "Not " not in re.sub(r"Not yet|Not more|Not through|Not a |Not in|Not [a-z]+er", "", said)


# what the tool reads, over the simulated bench


@pytest.fixture
def bench() -> Iterator[SimulatedBench]:
    with SimulatedBench(
        load(folder("demo") / "CR-07.toml"), seed=demo.SPECIMEN, speed=1.0, mains_v=demo.MAINS_V, visa=True
    ) as running:
        yield running


def at_step(logbook: Path, bench: SimulatedBench, step: str) -> Path:
    """Return a rehearsal of CR-07 that has come up to a step."""
    path = demo.begin(logbook, tool="test", bench=bench)
    rows = rows_of("healthy")
    until = next(n for n, row in enumerate(rows) if row.step.split(".")[0] == step)
    with LiveRun(open_run(path)) as live:
        play(live, rows[:until], "answers")
    return path


def typed(
    logbook: Path, path: Path, bench: SimulatedBench, *lines: str, hands: Hands | None = None,
    resumed: bool = True,
) -> str:  # fmt: skip
    puts = RehearsalHands(bench)
    with demo.meters_of(logbook, hands or puts) as meters:
        return held(logbook, path, *lines, resumed=resumed, meters=meters, rehearsal=ByEye(puts))


def loads_off(bench: SimulatedBench) -> bool:
    return all(bench.unit.load_a(rail) == 0.0 for rail in RAILS)


def test_a_sweep_runs_by_itself_and_its_points_are_said(tmp_path: Path, bench: SimulatedBench) -> None:
    path = at_step(tmp_path, bench, "load-points")
    said = words(typed(tmp_path, path, bench, "yes", "by itself", "yes", "points"))
    assert "6 load points" in said
    assert "No meter is free for it" in said  # the reservoir: there is one multimeter
    assert "6 of 6 points" in said
    assert "12 readings recorded, 0 of them failed." in said
    readings = [e for e in events(path) if isinstance(e, Reading) and e.step == "load-points.output"]
    assert [each.subject for each in readings] == [f"+15 @ {share} %" for share in (0, 10, 25, 50, 75, 100)]
    assert all(each.immediate is not None and each.count >= 2 for each in readings)
    assert loads_off(bench)


def test_a_soak_runs_by_itself_to_its_end(tmp_path: Path, bench: SimulatedBench) -> None:
    path = at_step(tmp_path, bench, "soak")
    said = words(typed(tmp_path, path, bench, "yes", "i", "2", "60 s", "back", "2", "60", "60 min", "1"))
    (ended,) = [e for e in events(path) if isinstance(e, SeriesEnded)]
    assert ended.complete
    assert ended.load_off
    assert loads_off(bench)
    assert "readings recorded, 0 of them failed." in said


def test_hands_are_asked_for_and_saying_no_ends_it(tmp_path: Path, bench: SimulatedBench) -> None:
    path = at_step(tmp_path, bench, "load-points")
    said = words(typed(tmp_path, path, bench, "yes", "i", "yes", "no", hands=PersonsHands()))
    assert "Put 'multimeter' on" in said
    assert "stopped by the person" in said
    assert not [e for e in events(path) if isinstance(e, Reading) and e.step == "load-points.output"]
    assert loads_off(bench)


@pytest.mark.parametrize("leave", [["off", "yes"], []])
def test_making_safe_or_leaving_at_a_question_of_a_sweep_takes_the_loads_off_first(
    tmp_path: Path, bench: SimulatedBench, leave: list[str]
) -> None:
    path = at_step(tmp_path, bench, "load-points")
    said = words(typed(tmp_path, path, bench, "yes", "i", "yes", *leave, hands=PersonsHands()))
    assert "Load points, +15: over." in said
    assert loads_off(bench)
    assert state(read(path)).phase is (Phase.OFF if leave else Phase.LIVE)
    assert ("MAINS IS ON by the records." in said) == (not leave)


def test_a_reading_is_taken_from_the_meter_and_only_when_it_is_said_to_be(
    tmp_path: Path, bench: SimulatedBench
) -> None:
    path = at_step(tmp_path, bench, "lead-null")
    said = words(typed(tmp_path, path, bench, "read", "no", "read", "hm", "read", "yes"))
    assert said.count("'low-ohm' reads") == 3
    (reading,) = [e for e in events(path) if isinstance(e, Reading) and e.step == "lead-null"]
    assert reading.replies
    assert reading.meter == "low-ohm"


def test_a_high_current_bond_is_not_read_by_a_meter_that_cannot_give_the_current(
    tmp_path: Path, bench: SimulatedBench
) -> None:
    path = at_step(tmp_path, bench, "earth-bond")
    said = words(typed(tmp_path, path, bench, "jump high current", "read"))
    assert "No meter here is known to give 10 A: leave it out" in said
    assert not [e for e in events(path) if isinstance(e, Reading) and e.step == "earth-bond"]


def test_no_test_voltage_is_applied_before_the_person_says_so(tmp_path: Path, bench: SimulatedBench) -> None:
    path = at_step(tmp_path, bench, "insulation")
    said = words(typed(tmp_path, path, bench, "read", "no", "read", "yes", ""))
    assert said.count("Hands off the leads and the unit.") == 2
    assert said.count("'insulation' reads") == 1
    assert len([e for e in events(path) if isinstance(e, Reading) and e.step == "insulation"]) == 1


def test_a_waveform_is_taken_from_an_instrument(tmp_path: Path, bench: SimulatedBench) -> None:
    path = at_step(tmp_path, bench, "waveform")
    said = words(typed(tmp_path, path, bench, "yes", "y", "1"))
    taken = [e for e in events(path) if isinstance(e, Captured)]
    assert len(taken) == 1
    assert taken[0].meter == "scope"
    assert "5000 samples" in said


def test_a_rehearsal_shows_a_check_by_the_same_word(tmp_path: Path, bench: SimulatedBench) -> None:
    path = demo.begin(tmp_path, tool="test", bench=bench)
    said = typed(tmp_path, path, bench, "read", "jump cord sheath", "r", resumed=False)
    assert said.count("The rehearsal shows pass.") == 2
    assert said.count("Recorded: PASS.") == 2


def test_what_a_meter_cries_is_said_at_once_and_noted_once(
    tmp_path: Path, bench: SimulatedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = at_step(tmp_path, bench, "load-points")
    text = "MAY STILL BE ON: no answer. Switch it off by hand; it is tried again"
    with demo.meters_of(tmp_path, RehearsalHands(bench)) as meters:
        noted = threading.Event()

        def person() -> str:
            """Type nothing until the note is on record, and then end the input."""
            assert meters.notify is not None
            for _ in range(3):  # said again at each try
                meters.notify(Notice(meter="load +15", kind="still on", text=text))
            for _ in range(200):
                if any(isinstance(e, Noted) and "load +15" in e.text for e in events(path)):
                    noted.set()
                    break
                time.sleep(0.05)
            return ""

        into = io.StringIO()
        monkeypatch.setattr(into, "readline", person)
        out = io.StringIO()
        run_plain(tmp_path, path, meters=meters, into=into, out=out)
    assert noted.is_set()
    assert words(out.getvalue()).count(f"ATTENTION: meter load +15: {text}") == 1
    assert len([e for e in events(path) if isinstance(e, Noted) and "load +15" in e.text]) == 1


# the process


class Sitting:
    """`ohmward demo --plain` in a process of its own, typed at and listened to."""

    def __init__(self, logbook: Path) -> None:
        self.process = subprocess.Popen(
            [*OHMWARD, "demo", "--plain", "--logbook", str(logbook)], stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
        self.heard = ""

    def type(self, *lines: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write("".join(f"{line}\n" for line in lines).encode())
        self.process.stdin.flush()

    def until(self, text: str, limit_s: float = 120.0) -> None:
        """Listen until something is said that was not heard before."""
        assert self.process.stdout is not None
        heard, deadline = "", time.monotonic() + limit_s
        while text not in heard:
            assert time.monotonic() < deadline, f"never said {text!r}: {heard[-2000:]}"
            if select.select([self.process.stdout], [], [], 0.2)[0]:
                heard += os.read(self.process.stdout.fileno(), 65536).decode()
        self.heard += heard

    def end(self) -> int:
        _, self.talk = self.process.communicate(timeout=60)
        return self.process.returncode


def typed_up_to(tmp_path: Path, step: str) -> list[str]:
    rows = rows_of("healthy")
    until = next(n for n, row in enumerate(rows) if row.step.split(".")[0] == step)
    return typed_lines(demo.begin(tmp_path / "scratch", tool="test"), rows[:until])


def test_ctrl_c_stops_what_runs_by_itself_and_then_leaves(tmp_path: Path) -> None:
    sitting = Sitting(tmp_path / "log")
    try:
        sitting.type(*typed_up_to(tmp_path, "load-points"), "i")
        sitting.until("Begin. no:")
        sitting.type("yes")
        sitting.until("> yes")
        time.sleep(0.5)
        sitting.process.send_signal(signal.SIGINT)
        sitting.until("Stopping: the loads go off.")
        sitting.until("Type the value in V.")
        sitting.process.send_signal(signal.SIGINT)
        sitting.until("--plain")
        assert sitting.end() == 0
    finally:
        sitting.process.kill()
        sitting.process.wait()
    (path,) = (tmp_path / "log" / "runs").rglob("*.jsonl")
    assert verify(path).intact
    assert any(isinstance(e, Noted) and "stopped by the person" in e.text for e in events(path))
    assert state(read(path)).phase is Phase.LIVE


@pytest.mark.parametrize("number", [signal.SIGHUP, signal.SIGTERM])
def test_a_line_that_hangs_up_loses_nothing(tmp_path: Path, number: signal.Signals) -> None:
    sitting = Sitting(tmp_path / "log")
    try:
        sitting.type("pass", "0.03")
        sitting.until("Entry 3 of")
        sitting.process.send_signal(number)
        assert sitting.end() != 0
    finally:
        sitting.process.kill()
        sitting.process.wait()
    (path,) = (tmp_path / "log" / "runs").rglob("*.jsonl")
    assert b"Traceback" not in sitting.talk
    assert verify(path).intact
    assert len(state(read(path)).entries) == 2


def test_a_reader_that_goes_away_ends_the_sitting_in_order(tmp_path: Path) -> None:
    sitting = Sitting(tmp_path / "log")
    try:
        sitting.type("pass")
        sitting.until("Entry 2 of")
        assert sitting.process.stdout is not None
        sitting.process.stdout.close()
        sitting.type("pass", "pass")
        assert sitting.process.stdin is not None
        sitting.process.stdin.close()
        code = sitting.process.wait(60)
        assert sitting.process.stderr is not None
        assert b"Traceback" not in sitting.process.stderr.read()
        sitting.process.stderr.close()
        assert code == 0
    finally:
        sitting.process.kill()
        sitting.process.wait()
    (path,) = (tmp_path / "log" / "runs").rglob("*.jsonl")
    assert verify(path).intact
    assert len(state(read(path)).entries) == 1  # what nobody can have heard of is not acted on
