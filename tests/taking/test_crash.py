"""A process killed in mid-soak: the load off at the next start, and the soak gone on with, its gap shown."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from ohmward.bench.left_on import recover
from ohmward.bench.soaking import SoakEnded
from ohmward.logbook import open_run, verify
from ohmward.logbook.clock import SystemClock
from ohmward.logbook.events import Noted, Reading, SeriesBegun, SeriesGap, Skipped
from ohmward.run import LiveRun
from ohmward.taking.long_soak import SoakStep
from support.taking import RAIL, TO_SOAK, Job, job

CHILD = """
import sys, threading
from pathlib import Path
from ohmward.logbook import open_run
from ohmward.run import LiveRun
from ohmward.taking.at_hand import MetersAtHand
from ohmward.taking.hands import PersonsHands
from ohmward.taking.long_soak import run_soak
from ohmward.taking.soak_plan import plan_soak

def heard(step):
    print(step.at_s if step.words == "sampling" else step.words, flush=True)

live = LiveRun(open_run(Path(sys.argv[2])))
with MetersAtHand(Path(sys.argv[1]), hands=PersonsHands(lambda _: True)) as meters:
    with meters.inventory() as inventory:
        item = next(each for each in live.state.items if each.spec.id == "soak")
        planned = plan_soak(live.state, item, inventory, interval_s=1.0, duration_s=float(sys.argv[3]))
        run_soak(live, planned, inventory, meters.hands, stop=threading.Event(), heard=heard)
"""
"""A soak by the wall's clock, as at a bench."""

DURATION_S = 660.0


class Killed(BaseException):
    """Nothing of ours is done any more but to switch the load off."""


class Later(SystemClock):
    """The time so many seconds after now."""

    def __init__(self, seconds: float) -> None:
        self._later = timedelta(seconds=seconds)

    def now(self) -> datetime:
        return super().now() + self._later


@contextmanager
def killed(logbook: Path) -> Iterator[tuple[Job, Path, list[float]]]:
    """Have a soak killed after a few samples; give the bench, the journal and the times it had told."""
    with job(logbook, TO_SOAK) as it:
        path = it.live.journal.path
        it.live.close_file()
        child = subprocess.Popen(
            [sys.executable, "-c", CHILD, str(logbook), str(path), str(DURATION_S)],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        told: list[float] = []
        assert child.stdout is not None
        with child.stdout:
            for line in child.stdout:
                told.append(float(line))
                if len(told) == 4:
                    break
            child.kill()
            child.wait(timeout=20)
        assert it.load_a == pytest.approx(1.2, rel=0.01)  # nobody could switch it off
        yield it, path, told


def test_after_a_kill_the_load_is_switched_off_and_the_soak_gone_on_with(tmp_path: Path) -> None:
    with killed(tmp_path) as (it, path, told):
        (left,) = recover(tmp_path)
        assert (left.meter, left.off) == (f"load {RAIL}", True)
        assert it.load_a == 0
        with LiveRun(open_run(path, clock=Later(400.0))) as it.live:
            before = it.live.state.series["soak"]
            assert len(before.rows) >= len(told)  # what was told is on the disk
            assert before.ended is None
            last_s = before.last_s
            assert last_s is not None
            ended = it.soak()
            assert isinstance(ended, SoakEnded)
            assert ended.complete
            assert it.load_a == 0
            series = it.live.state.series["soak"]
            begun = it.events(SeriesBegun)
            gap = it.events(SeriesGap)[0]
            skipped = {(e.subject, e.reason) for e in it.events(Skipped) if isinstance(e, Skipped)}
            subjects = [e.subject for e in it.events(Reading) if isinstance(e, Reading) and e.step == "soak"]
            assert it.live.state.violations == ()
    assert [isinstance(each, SeriesBegun) and each.resumed for each in begun] == [False, True]
    assert isinstance(gap, SeriesGap)
    assert gap.interrupted
    assert gap.channel == ""
    assert gap.from_s == last_s
    assert gap.to_s == pytest.approx(last_s + 400, abs=10)
    assert series.resumed_s == (gap.to_s,)
    times = [row.at_s for row in series.rows]
    assert times == sorted(times)
    assert not any(last_s < at < gap.to_s - 1 for at in times)
    sensors = ("room air", "transformer", "heat sink +15")
    assert skipped == {(f"{each} @ 5 min", "its time went by in a gap of the record") for each in sensors}
    assert sorted(subjects) == sorted(f"{each} @ {at} min" for each in sensors for at in (0, 10))
    assert verify(path).intact


def test_one_that_was_away_for_longer_than_it_had_left_begins_again(tmp_path: Path) -> None:
    def heard(step: SoakStep) -> None:
        if step.at_s >= 3.0:
            raise Killed

    with job(tmp_path, TO_SOAK) as it:
        with pytest.raises(Killed):
            it.soak(heard, interval_s=1.0, duration_s=DURATION_S)
        it.live.close_file()
        with LiveRun(open_run(it.live.journal.path, clock=Later(700.0))) as it.live:
            assert it.live.state.series["soak"].ended is None
            ended = it.soak()
            assert isinstance(ended, SoakEnded)
            assert ended.complete
            begun = it.events(SeriesBegun)
            assert [isinstance(each, SeriesBegun) and each.resumed for each in begun] == [False, False]
            assert any(isinstance(e, Noted) and "begins again" in e.text for e in it.events(Noted))
            series = it.live.state.series["soak"]
            assert series.gaps == ()
            assert len(series.rows) == 1 + DURATION_S
            assert it.events(Skipped) == []
