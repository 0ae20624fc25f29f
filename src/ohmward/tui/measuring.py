"""The meters at hand: what the run screen asks when the person wants a reading taken by the tool.

It waits for meters, so it is called in a thread; it records nothing.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Self

from ohmward.bench.clock import WallClock
from ohmward.bench.inventory import Inventory
from ohmward.bench.meters import Meter, function_of, loads
from ohmward.bench.profile import Measure, Profile
from ohmward.bench.settled import Measured
from ohmward.bench.survey import read
from ohmward.errors import Refused
from ohmward.logbook.events import Judged, Reading
from ohmward.procedure.model import Item, Read
from ohmward.quantity import Value
from ohmward.run.state import RunState
from ohmward.textfile import read_text
from ohmward.tui.place import meter_in_use

PEAK = "peak to peak"
"""How a profile names a measure that is not an r.m.s. value: it reads ripple, and nothing else does."""

_OHMS = ("ohms", "low ohms", "insulation")
"""What reads a resistance of no special kind, by what the instrument has."""


class MetersAtHand:
    """The meters of a logbook's ``meters.toml``, opened when first asked.

    Parameters
    ----------
    logbook : Path
    """

    def __init__(self, logbook: Path) -> None:
        self._logbook = logbook
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._text = ""
        self._inventory: Inventory | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def reading_for(self, state: RunState, item: Item, chosen: str = "") -> Measured | None:
        """Take a settled reading for an item; None where no meter of the run reads such a thing by itself.

        Parameters
        ----------
        state : RunState
        item : Item
        chosen : str
            Meter that the person said is in use; else the one of the place read, or of the kind proposed.

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
        with self._lock:
            inventory = self._listed()
            name = chosen or _proposed(state, item, item.read, inventory)
            if not name:
                return None
            _same_as_known(state, name, inventory)
            measure = _measure(inventory.session(name).profile, item.read)
            return read(inventory, name, measure.name, clock=WallClock(self._stop))

    def close(self) -> tuple[str, ...]:
        """End a reading in hand and leave every meter; return the names of those that may still be on."""
        self._stop.set()
        inventory, self._inventory = self._inventory, None
        return () if inventory is None else inventory.close()

    def _listed(self) -> Inventory:
        """Return the meters as the file has them now."""
        path = self._logbook / "meters.toml"
        text = read_text(path)
        if self._inventory is None or text != self._text:
            meters = loads(text, str(path))
            if self._inventory is not None:
                self._inventory.close()
            self._inventory, self._text = Inventory(meters, self._logbook), text
        return self._inventory


def can_read(state: RunState, item: Item | None) -> bool:
    """Return whether a meter of the run that the tool can reach is of the kind that an item asks for."""
    if item is None or item.read is None:
        return False
    return any(meter.resource and meter.kind == item.read.meter for meter in state.meters)


def applies_voltage(state: RunState, item: Item, chosen: str = "") -> bool:
    """Return whether reading an item puts a test voltage on the unit: an insulation tester does."""
    kinds = {meter.kind for meter in state.meters if meter.name == chosen}
    read = item.read
    return "insulation" in kinds or (read is not None and "insulation" in {read.meter, read.quantity})


def probe(item: Item) -> Reading:
    """Return a reading of an item to ask the gates with, before its meter is asked."""
    unit = item.read.unit if item.read is not None else ""
    value = Value(raw="", kind="overload", unit=unit)
    return Reading(step=item.step, subject=item.subject, value=value, judged=Judged(verdict="not done"))


def _proposed(state: RunState, item: Item, wanted: Read, inventory: Inventory) -> str:
    known = {meter.name for meter in state.meters}
    usable = [
        meter
        for meter in inventory.meters.values()
        if meter.resource and meter.kind == wanted.meter and meter.name in known
    ]
    placed = [meter.name for meter in usable if _sits_at(meter, item)]
    if len(placed) == 1:
        return placed[0]
    names = [meter.name for meter in usable]
    in_use = meter_in_use(state, wanted.meter)
    return in_use if in_use in names else next(iter(names), "")


def _sits_at(meter: Meter, item: Item) -> bool:
    """Return whether a meter is named after the place that is read: 'sensor heat sink +15'."""
    return any(meter.name.lower().endswith(f" {place.lower()}") for place in _places(item))


def _places(item: Item) -> Iterator[str]:
    place = item.subject.partition(" @ ")[0]
    if place:
        yield place
    if item.read is not None and item.read.quantity == "ambient_c":
        yield "room air"


def _same_as_known(state: RunState, name: str, inventory: Inventory) -> None:
    """Refuse a meter that is another than the one the run was started with: its accuracy is judged by."""
    known = next((meter for meter in state.meters if meter.name == name), None)
    listed = inventory.meters.get(name)
    if known is None:
        why = f"this run was started without the meter '{name}'"
    elif listed is None:
        why = f"the meter '{name}' is no longer in meters.toml"
    elif (known.serial, known.idn) != (listed.serial, listed.idn):
        why = f"'{name}' in meters.toml is another instrument than the one this run was started with"
    else:
        return
    raise Refused("meter", [why], "Type the value, or start another run")


def _measure(profile: Profile, wanted: Read) -> Measure:
    """Return the measure that reads a quantity; ripple is read peak to peak and nothing else is."""
    function = function_of(wanted.quantity, wanted.unit)
    if wanted.unit == "Ω" and not function:
        known = {each.function for each in profile.measures}
        function = next((name for name in _OHMS if name in known), "ohms")
    ripple = "ripple" in wanted.quantity
    for each in profile.measures:
        fits = each.unit == wanted.unit if ripple else each.function == function
        if fits and (each.name == PEAK) == ripple:
            return each
    what = f"{wanted.unit} {PEAK}" if ripple else function or wanted.quantity
    raise Refused(
        "meter", [f"the profile '{profile.name}' does not measure {what}"], "Choose another meter with t"
    )
