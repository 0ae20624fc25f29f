"""The meters at hand: what is asked when the person wants a reading taken by the tool.

It waits for meters, so it is called in a thread; it records nothing.
"""

from __future__ import annotations

import gc
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Self

from ohmward.analysis.uncertainty import coverage_factor
from ohmward.bench.clock import Clock
from ohmward.bench.inventory import Inventory
from ohmward.bench.messages import Notice
from ohmward.bench.meters import Meter, loads
from ohmward.bench.reading import Channel
from ohmward.bench.settled import Measured
from ohmward.bench.survey import how_settled, read
from ohmward.procedure.model import Item
from ohmward.quantity import Value
from ohmward.run.insulation import test_voltage
from ohmward.run.state import RunState
from ohmward.taking import open_leads
from ohmward.taking.choosing import measure_of, proposed, require_able, require_known
from ohmward.taking.hands import Hands, PersonsHands
from ohmward.textfile import read_text

LOOK_S = 0.2
"""How often a probe is looked at that is to be lifted [s]."""
HOLD_EVERY_S = 1.0
"""How often a tester is read while it holds its voltage [s]."""
_LEFT_SHARE, _LEFT_TIMES = 0.05, 10.0


def left(now: Value, before: Value, resolution: float) -> bool:
    """Return whether a reading has left another clearly: by 5 %, or by ten times what counts as agreeing."""
    if now.kind != before.kind or now.number is None or before.number is None:
        return now.kind != before.kind
    return abs(now.si - before.si) > _LEFT_SHARE * abs(before.si) + _LEFT_TIMES * resolution


class MetersAtHand:
    """The meters of a logbook's ``meters.toml``, opened when first asked.

    Where the logbook has no such file, the list that a run was started with stands in for that run.

    Parameters
    ----------
    logbook : Path
    hands : Hands, optional
        Who puts the probes where they belong: the person, or the simulated bench itself.
    meters : str
        Name of the meters file in the logbook.
    """

    def __init__(self, logbook: Path, *, hands: Hands | None = None, meters: str = "meters.toml") -> None:
        self.logbook = logbook
        self.hands: Hands = hands or PersonsHands()
        self.notify: Callable[[Notice], None] | None = None
        """Called with what the meters have to say, on their own threads."""
        self._path = logbook / meters
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._text = ""
        self._inventory: Inventory | None = None
        self._borrowed = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def reading_for(
        self,
        state: RunState,
        item: Item,
        chosen: str = "",
        *,
        unasked: bool = False,
        lifted_from: Value | None = None,
        stop: threading.Event | None = None,
    ) -> Measured | None:
        """Take a settled reading for an item; None where no meter of the run reads such a thing by itself.

        Parameters
        ----------
        state : RunState
        item : Item
        chosen : str
            Meter that the person said is in use; else the one of the place read, or of the kind proposed.
        unasked : bool
            It is taken as soon as it has settled: what open leads show is waited out.
        lifted_from : Value, optional
            What the probe read where it was before: first the reading has to leave that, so that the place
            before is not read twice.
        stop : Event, optional
            Ends the waiting; then None is returned.

        Raises
        ------
        InputError
            When the meters file has mistakes, or the meter does not measure that.
        Refused
            When the meter is not the one that the run knows.
        Unreachable
            When file or meter cannot be reached.
        """
        if item.read is None:
            return None
        with self.inventory(state) as inventory:
            name = chosen or proposed(state, item, inventory.meters)
            if not name:
                return None
            require_known(state, name, inventory.meters)
            require_able(state, item, next(each for each in state.meters if each.name == name))
            measure = measure_of(inventory.session(name).profile, item.read)
            self.hands.put(state, item, name)
            stop = self._stop if stop is None else stop
            clock = self.hands.clock(stop)
            by_person = unasked and not self.hands.puts_probes
            if by_person and lifted_from is not None:
                channel = inventory.channel(name, measure.name)
                how = how_settled(inventory.meters[name], measure.unit, measure.function)
                while not left(channel.read(clock).value, lifted_from, how.absolute):
                    if self._stop.is_set() or clock.wait(LOOK_S):
                        return None
            volts = test_voltage(state, item)
            held_s = None
            if volts is not None and item.spec.wait_from == "begun":
                channel = inventory.channel(name, measure.name, volts=volts)
                held_s = _held(channel, clock, item.spec.wait_s or 0.0)
            found = read(inventory, name, measure.name, volts=volts, clock=clock)
            while by_person and open_leads.shows(item, found.settled.value):
                if self._stop.is_set() or clock.wait(LOOK_S):
                    return None
                found = read(inventory, name, measure.name, volts=volts, clock=clock)
            return None if stop.is_set() else replace(found, held_s=held_s)

    @property
    def path(self) -> Path:
        """The meters file; it may not be there."""
        return self._path

    def listed(self) -> tuple[Meter, ...]:
        """Return the meters as the file has them now; none is opened.

        Raises
        ------
        FileNotFoundError
            When there is no such file.
        InputError, Unreachable
            When it has mistakes, or cannot be read.
        """
        if not self._path.exists():
            raise FileNotFoundError(self._path)
        return loads(read_text(self._path), str(self._path))

    @contextmanager
    def inventory(self, state: RunState | None = None) -> Iterator[Inventory]:
        """Lend the meters as the file has them now; it is not read again while they are lent.

        Parameters
        ----------
        state : RunState, optional
            The run that they are for.

        Raises
        ------
        InputError, Unreachable
            When the meters file has mistakes, or cannot be read.
        """
        with self._lock:
            inventory = self._listed(state)
            self._borrowed += 1
        try:
            yield inventory
        finally:
            with self._lock:
                self._borrowed -= 1

    def close(self) -> tuple[str, ...]:
        """End a reading in hand and leave every meter; return the names of those that may still be on."""
        self._stop.set()
        inventory, self._inventory = self._inventory, None
        return () if inventory is None else inventory.close()

    def _listed(self, state: RunState | None) -> Inventory:
        if self._inventory is not None and self._borrowed:
            return self._inventory
        _get_ready()
        opened = None if state is None else state.opened
        if opened is not None and opened.meters and not self._path.exists():
            text, where = opened.meters, f"{opened.run}: meters"
        else:
            text, where = read_text(self._path), str(self._path)
        if self._inventory is None or text != self._text:
            meters = loads(text, where)
            if self._inventory is not None:
                self._inventory.close()
            self._inventory, self._text = Inventory(meters, self.logbook, self._heard), text
        return self._inventory

    def _heard(self, notice: Notice) -> None:
        if self.notify is not None:
            self.notify(notice)


def _held(channel: Channel, clock: Clock, for_s: float) -> float:
    """Have a tester hold its voltage by reading it again and again; return for how long [s]."""
    began = clock.now()
    while clock.now() - began < for_s:
        channel.read(clock)
        if clock.wait(min(HOLD_EVERY_S, max(0.0, for_s - (clock.now() - began)))):
            break
    return clock.now() - began


@cache
def _get_ready() -> None:
    """Load what judging repeated readings needs, half a second once: here, not where the screen is drawn.

    What is loaded by now stays for good, so the collector of garbage need not go through it again and
    again: that alone would hold the screen up for a tenth of a second each time.
    """
    coverage_factor(0.95, 4.0)
    gc.freeze()
