"""Hands: who puts a probe where it belongs and sets a load that the tool cannot, and whose time passes."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from ohmward.bench.clock import Clock, WallClock
from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.run.state import RunState
from ohmward.supply.model import Supply
from ohmward.supply.resistor import load_resistor


@dataclass(frozen=True, slots=True, kw_only=True)
class ToDo:
    """What has to be done by hand before the tool goes on."""

    heading: str
    places: tuple[tuple[str, Item], ...] = ()
    """Meters that have to be put to another place: name, and the item they read there."""
    loads: Mapping[str, float] = field(default_factory=dict)
    """Loads that have to be set by hand: rail, and current [A]; 0 takes it off."""
    lines: tuple[str, ...] = ()
    supply: Supply | None = None
    """Whose loads they are; None where what a load comes to in ohms cannot be said."""

    @property
    def words(self) -> tuple[str, ...]:
        """All of it, a line each."""
        put = [f"Put '{meter}' on {place_words(item)}." for meter, item in self.places]
        loads = [_load_words(self.supply, rail, amps) for rail, amps in self.loads.items()]
        return (*put, *loads, *self.lines)


class Hands(Protocol):
    """Who does what the tool cannot; asked on the thread of the work, and may take their time."""

    @property
    def puts_probes(self) -> bool:
        """Whether `put` itself brings the probe to its place; a person lifts it and sets it down."""

    def put(self, state: RunState, item: Item, meter: str) -> None:
        """Put a meter where an item is read, before a single reading of it."""

    def ready(self, state: RunState, wanted: ToDo) -> bool:
        """Have something done before a sweep or a soak goes on; False when it is given up."""

    def clock(self, stop: threading.Event) -> Clock:
        """Return the time that passes for what is measured; `stop` ends every wait."""


class PersonsHands:
    """A person at the bench: before a single reading they have put the probe where the screen says.

    Parameters
    ----------
    ask : callable, optional
        Shows what is to be done, and returns whether it was; without one nothing that needs hands is done.
    """

    def __init__(self, ask: Callable[[ToDo], bool] | None = None) -> None:
        self.ask = ask

    @property
    def puts_probes(self) -> bool:
        """A person does, in their own time."""
        return False

    def put(self, state: RunState, item: Item, meter: str) -> None:
        """Nothing: the screen has said where, and the person pressed the key."""

    def ready(self, state: RunState, wanted: ToDo) -> bool:
        """Ask the person."""
        return self.ask is not None and self.ask(wanted)

    def clock(self, stop: threading.Event) -> Clock:
        """Return the wall's time."""
        return WallClock(stop)


def place_words(item: Item) -> str:
    """Return where an item is read, in words."""
    read = item.read
    what = read.name if read is not None and read.name else item.spec.title.lower()
    subject = item.rail or item.subject
    if read is not None and read.condition == "mains_v":
        return "the mains"
    if item.kind == "soak":
        return item.subject.rpartition(" @ ")[0] or item.subject
    return f"the {what} of {subject}" if subject else what


def meters_words(names: Sequence[str]) -> str:
    """Return names in quotes, as a list."""
    return ", ".join(f"'{name}'" for name in names)


def _load_words(supply: Supply | None, rail: str, amps: float) -> str:
    if amps <= 0:
        return f"Take the load off {rail}."
    found = None if supply is None else load_resistor(supply.rail(rail), amps)
    resistor = "" if found is None else f" ({found.words})"
    return f"Set the load of {rail} to {show(amps, 'A')}{resistor}, and switch it on."
