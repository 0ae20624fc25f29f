"""The screen stays awake while meters fail: a heartbeat on the app's own loop, through faults on the wire."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from ohmward.logbook import read
from ohmward.logbook.events import Event, Noted, Reading
from ohmward.taking.at_hand import MetersAtHand
from ohmward.tui.app import OhmwardApp
from support.faulted import place
from support.journals import HandClock
from support.scpi import FAULTS, AtRandom
from support.screens import NARROW, press, run_screen, settled

BEAT_S = 0.005
LONGEST_S = 0.1
ROUNDS = 10
TRIALS = 3
"""A busy machine also keeps threads from running that the loop waits for; a meter that is waited for shows in
every trial."""
SCHEDULED = Path("/proc/thread-self/schedstat")


def kept_waiting_s() -> float:
    """Return how long this thread could have run and was not let by the system, so far [s]; 0 if unknown.

    The second number of ``schedstat`` [ns] (Linux, Documentation/scheduler/sched-stats; from memory).
    """
    try:
        return int(SCHEDULED.read_text("ascii").split()[1]) * 1e-9
    except (OSError, IndexError, ValueError):
        return 0.0


@asynccontextmanager
async def heartbeat(waits: list[float]) -> AsyncIterator[None]:
    """Note how much later than asked the loop comes back, again and again, less what the machine took."""

    async def beat() -> None:
        while True:
            asked, kept = time.perf_counter(), kept_waiting_s()
            await asyncio.sleep(BEAT_S)
            late = time.perf_counter() - asked - BEAT_S
            waits.append(late - (kept_waiting_s() - kept))

    task = asyncio.create_task(beat())
    try:
        yield
    finally:
        task.cancel()


async def go_on(logbook: Path, faults: AtRandom, waits: list[float]) -> list[Event]:
    """Take readings with one key each, as a person does; return what the journal holds then."""
    with place(logbook, "visa") as at, MetersAtHand(logbook) as meters:
        app = OhmwardApp(logbook, run_path=at.path, meters=lambda: meters, clock=HandClock(step_s=0.0))
        try:
            async with app.run_test(size=NARROW) as pilot:
                await settled(pilot)
                await press(pilot, "y")  # mains is still on
                at.proxies["multimeter"].fault = faults
                async with heartbeat(waits):
                    for turn in range(ROUNDS):
                        rail = ("+15", "+48")[turn % 2]
                        at.hand(f"rail {rail} output")
                        run_screen(pilot).go(("output", rail))
                        await press(pilot, "r", "enter")
        finally:
            app.let_go()
        if app.crash is not None:
            raise app.crash
        return [record.event for record in read(at.path)]


@pytest.mark.timeout(120)
async def test_the_screen_never_waits_for_a_meter(tmp_path: Path) -> None:
    longest: list[float] = []
    for trial in range(TRIALS):
        faults, waits = AtRandom(11 + trial, 0.15, FAULTS), list[float]()
        events = await go_on(tmp_path / str(trial), faults, waits)
        taken = [each for each in events if isinstance(each, Reading) and each.replies]
        notes = [each for each in events if isinstance(each, Noted) and "attempt failed" in each.text]
        assert faults.counts.total() >= ROUNDS / 2
        assert len(taken) >= ROUNDS / 2
        assert notes
        longest.append(max(waits))
        if longest[-1] < LONGEST_S:
            return
    pytest.fail(f"the loop was held up for {', '.join(f'{each * 1e3:.0f} ms' for each in longest)}")
