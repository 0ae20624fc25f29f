"""However the process ends, what was switched on goes off: at once, or at the next start."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path

import pytest

from ohmward.bench import profile
from ohmward.bench.leaving import FOLDER
from ohmward.bench.left_on import Guard, recover
from ohmward.bench.messages import MeterFailed, Notice
from ohmward.bench.session import Session
from support.scpi import Server

PROGRAM = """
import os, signal, sys, threading, time
from pathlib import Path
from ohmward.bench import profile
from ohmward.bench.leaving import install_signals
from ohmward.bench.left_on import Guard
from ohmward.bench.session import Session
resource, logbook, ending, kind = sys.argv[1:]
install_signals()
meter = Session(f"{kind} 1", resource, profile.load(kind), guard=Guard(Path(logbook)))
if kind == "source":
    meter.set("voltage", 17.0).result(10)
meter.set("current", 1.2).result(10)
meter.switch(on=True).result(10)
print("on", flush=True)
if ending == "exception":
    raise RuntimeError("a mistake in the program")
if ending == "normal":
    sys.exit(0)
time.sleep(60)
"""
SRC = Path(__file__).parents[2] / "src"
TOLD_AGAIN = """
import os, signal, threading, time
from ohmward.bench.leaving import install_signals, stopped_on_leaving, told_to_end
def kill(name):
    os.kill(os.getpid(), getattr(signal, name))
    time.sleep(0)
install_signals()
stop, other = threading.Event(), threading.Event()
try:
    with stopped_on_leaving(other):
        pass
    with stopped_on_leaving(stop):
        print(repr(told_to_end()), stop.is_set())
        kill("SIGHUP")
        print("not told")
finally:
    for name in ("SIGHUP", "SIGTERM"):
        kill(name)
    print(told_to_end(), stop.is_set(), other.is_set(), flush=True)
"""


def start(resource: str, logbook: Path, ending: str, kind: str = "load") -> subprocess.Popen[str]:
    process = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, resource, str(logbook), ending, kind],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": str(SRC)},
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline() == "on\n"
    return process


def wait_for_off(server: Server, limit_s: float = 5.0) -> bool:
    end = time.monotonic() + limit_s
    while server.instrument.load_on and time.monotonic() < end:
        time.sleep(0.01)
    return not server.instrument.load_on


@pytest.mark.parametrize("ending", ["normal", "exception", "SIGTERM", "SIGINT", "SIGHUP"])
@pytest.mark.parametrize(("way", "kind"), [("tcp", "load"), ("visa", "load"), ("visa", "source")])
def test_the_load_or_source_is_off_when_the_process_ends(
    way: str, kind: str, ending: str, tmp_path: Path
) -> None:
    with Server() as server:
        process = start(getattr(server, way), tmp_path, ending, kind)
        if ending.startswith("SIG"):
            assert server.instrument.load_on
            assert len(list((tmp_path / FOLDER).iterdir())) == 1
            process.send_signal(getattr(signal, ending))
        _, err = process.communicate(timeout=20)
        assert wait_for_off(server)
        assert list((tmp_path / FOLDER).iterdir()) == []
        assert "MAY STILL BE ON" not in err
        left = server.instrument.volts if kind == "source" else server.instrument.current
        assert left == 0


def test_what_is_put_in_order_is_not_broken_off_by_being_told_again() -> None:
    ended = subprocess.run(
        [sys.executable, "-c", TOLD_AGAIN], capture_output=True, text=True, timeout=20, check=False,
        env={**os.environ, "PYTHONPATH": str(SRC)},
    )  # fmt: skip
    assert ended.stdout.splitlines() == ["'' False", "the terminal was lost True False"]
    assert (ended.returncode, ended.stderr) == (128 + signal.SIGHUP, "")


@pytest.mark.parametrize("kind", ["load", "source"])
def test_after_a_kill_the_next_start_switches_it_off(kind: str, tmp_path: Path) -> None:
    with Server() as server:
        process = start(server.visa, tmp_path, "wait", kind)
        assert recover(tmp_path) == ()  # its process lives and holds the lock
        process.kill()
        process.communicate(timeout=10)
        assert server.instrument.load_on
        (found,) = recover(tmp_path)
        assert (found.meter, found.off) == (f"{kind} 1", True)
        assert not server.instrument.load_on
        assert server.instrument.volts == 0
        assert recover(tmp_path) == ()


def test_what_cannot_be_reached_is_named_and_kept(tmp_path: Path) -> None:
    with Server() as server:
        process = start(server.tcp, tmp_path, "wait")
        process.kill()
        process.communicate(timeout=10)
        server.stop()
        (found,) = recover(tmp_path, tries=2, pause_s=0.01)
        assert not found.off
        assert "MAY STILL BE ON" in found.text
        server.start_again()
        (found,) = recover(tmp_path)
        assert found.off
        assert wait_for_off(server)


def test_another_instrument_at_that_address_is_not_taken_for_it(tmp_path: Path) -> None:
    with Server() as server:
        process = start(server.tcp, tmp_path, "wait")
        process.kill()
        process.communicate(timeout=10)
        server.instrument.idn = "Somebody,Else,1,1"
        (found,) = recover(tmp_path, tries=1)
        assert not found.off
        assert "Somebody,Else" in found.text


def test_a_file_that_cannot_be_read_is_said(tmp_path: Path) -> None:
    folder = tmp_path / FOLDER
    folder.mkdir()
    (folder / "load.json").write_text("{", encoding="utf-8")
    (found,) = recover(tmp_path)
    assert (found.meter, found.off) == ("load", False)
    assert "may still be on" in found.text


def test_two_processes_do_not_share_a_load(tmp_path: Path) -> None:
    with Server() as server:
        process = start(server.tcp, tmp_path, "wait")
        session = Session("load 1", server.tcp, profile.load("load"), guard=Guard(tmp_path))
        with pytest.raises(MeterFailed, match="another ohmward"):
            session.switch(on=True).result(10)
        session.close()
        process.terminate()
        process.communicate(timeout=20)
        assert wait_for_off(server)


def test_a_load_that_will_not_switch_off_is_said_loudly_and_tried_again() -> None:
    notices: list[Notice] = []
    with Server() as server:
        session = Session("load", server.tcp, profile.load("load"), notify=notices.append)
        session.switch(on=True).result(10)
        server.instrument.fixed["INP?"] = "1"
        with pytest.raises(MeterFailed, match="it did not"):
            session.switch(on=False).result(10)
        assert session.on
        end = time.monotonic() + 5
        while not any(each.kind == "still on" for each in notices) and time.monotonic() < end:
            time.sleep(0.01)
        assert any("MAY STILL BE ON" in each.text for each in notices)
        del server.instrument.fixed["INP?"]
        while session.on and time.monotonic() < end:
            time.sleep(0.01)
        assert not session.on
        assert session.close()


def test_what_is_away_is_tried_again_less_and_less_often_and_that_is_said_each_time() -> None:
    said: list[float] = []

    def heard(notice: Notice) -> None:
        if notice.kind == "still on":
            said.append(time.monotonic())

    with Server() as server:
        session = Session("load", server.tcp, profile.load("load"), notify=heard)
        session.switch(on=True).result(10)
        server.stop()
        with pytest.raises(MeterFailed):
            session.set("current", 2.0).result(10)
        time.sleep(2.5)
        tries = list(said)
        server.start_again()
        assert session.close()
    gaps = [after - before for before, after in pairwise(tries)]
    # a refused connection takes no time: what lies between two tries is the pause
    assert 2 <= len(gaps) <= 6
    assert gaps[-1] > 2 * gaps[0]
    assert not server.instrument.load_on


@pytest.mark.parametrize("kind", ["load", "source"])
def test_one_that_is_lost_is_switched_off_when_it_is_back_without_being_asked(kind: str) -> None:
    notices: list[Notice] = []
    with Server() as server:
        session = Session(kind, server.visa, profile.load(kind), notify=notices.append)
        session.switch(on=True).result(10)
        server.stop()
        with pytest.raises(MeterFailed):
            session.set("current", 2.0).result(10)
        assert server.instrument.load_on
        assert session.on
        end = time.monotonic() + 5
        while not any(each.kind == "still on" for each in notices) and time.monotonic() < end:
            time.sleep(0.01)
        assert any("MAY STILL BE ON" in each.text for each in notices)
        server.start_again()
        assert wait_for_off(server, 10.0)
        assert session.close()


HUNG_UP = """
import os, signal
from ohmward.bench.leaving import install_signals

def drawn_anew(number, frame):
    raise RuntimeError("no running event loop")

signal.signal(signal.SIGCONT, drawn_anew)  # as a terminal UI answers it
install_signals()
both = {signal.SIGHUP, signal.SIGCONT}
signal.pthread_sigmask(signal.SIG_BLOCK, both)
for number in both:
    os.kill(os.getpid(), number)
try:
    signal.pthread_sigmask(signal.SIG_UNBLOCK, both)
finally:
    for _ in range(1000):
        pass
    print("let go")
"""


@pytest.mark.skipif(sys.platform == "win32", reason="these signals are of Unix")
def test_what_a_line_that_breaks_sends_besides_does_not_break_into_the_leaving() -> None:
    """The system sends SIGCONT after SIGHUP when a terminal goes away: POSIX, `exit`, orphaned groups."""
    done = subprocess.run([sys.executable, "-c", HUNG_UP], capture_output=True, text=True, check=False)
    assert (done.stdout, done.stderr) == ("let go\n", "")
    assert done.returncode == 128 + signal.SIGHUP
