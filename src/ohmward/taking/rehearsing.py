"""The hands of a rehearsal: the simulated bench puts its own probes, and its time is moved on."""

from __future__ import annotations

import threading
import time

from ohmward.bench.clock import Clock
from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.bench.simulated.clock import BenchClock
from ohmward.bench.simulated.probing import Hands as SimulatedHands
from ohmward.procedure.model import Item
from ohmward.run.mains_on import MAINS_ON
from ohmward.run.state import RunState
from ohmward.taking.hands import ToDo


class RehearsalClock:
    """The time of a simulated bench: what would be waited for is moved on at once.

    Parameters
    ----------
    clock : BenchClock
    stop : Event
        Ends every wait.
    pace_s : float
        Real time that each wait takes, so that a person can follow [s].
    """

    def __init__(self, clock: BenchClock, stop: threading.Event, pace_s: float = 0.0) -> None:
        self._clock, self._stop, self._pace_s = clock, stop, pace_s

    def now(self) -> float:
        """Seconds of bench time."""
        return self._clock.now_s()

    def wait(self, seconds: float) -> bool:
        """Move the bench's time on; return True when it was ended early because the work is to stop."""
        if seconds > 0:
            if self._pace_s > 0:
                time.sleep(min(self._pace_s, seconds))
            self._clock.skip(seconds)
        return self._stop.is_set()


class RehearsalHands:
    """Hands at the simulated bench; see `ohmward.taking.hands.Hands`.

    Parameters
    ----------
    bench : SimulatedBench
        Started.
    pace_s : float
        As for `RehearsalClock`.
    """

    def __init__(self, bench: SimulatedBench, *, pace_s: float = 0.0) -> None:
        self.bench, self._pace_s = bench, pace_s
        self.simulated = SimulatedHands(bench)
        self._mended_seq = -1

    @property
    def puts_probes(self) -> bool:
        """The bench does it at once."""
        return True

    def put(self, state: RunState, item: Item, meter: str) -> None:
        """Bring the unit to where an item is read, and put the probe there."""
        self.follow(state, item)
        self.simulated.put(item, meter)

    def follow(self, state: RunState, item: Item) -> None:
        """Bring the unit to where an item is read; a repair on record has mended every fault."""
        self.mend(state)
        self.simulated.follow(item, energised=state.phase in MAINS_ON, case_open=state.case_open)

    def ready(self, state: RunState, wanted: ToDo) -> bool:
        """Do what is to be done."""
        self.mend(state)
        for meter, item in wanted.places:
            rails = {rail.name for rail in self.bench.supply.rails}
            keep = rails if item.together else {item.rail}
            self.simulated.stand_by(item, case_open=state.case_open, keep=keep)
            self.simulated.put(item, meter)
        for rail, amps in wanted.loads.items():
            self.simulated.set_load(rail, amps)
        return True

    def clock(self, stop: threading.Event) -> Clock:
        """Return the bench's time."""
        return RehearsalClock(self.bench.clock, stop, self._pace_s)

    def mend(self, state: RunState) -> None:
        """Mend every fault of the unit when a repair is on record since it was last looked at."""
        if state.repaired_seq > self._mended_seq:
            self._mended_seq = state.repaired_seq
            self.bench.unit.mend()
