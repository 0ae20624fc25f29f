"""The readings of a run that tell of its rails: each with its load, and the mains of the moment."""

from __future__ import annotations

import msgspec

from ohmward.analysis.facts import RunFacts
from ohmward.logbook.events import Reading
from ohmward.procedure.model import Item
from ohmward.supply.model import Rail

CURRENT_QUANTITIES = frozenset({"load_a", "load_current_a", "output_a", "current_a"})
"""Quantities of a load point that tell the current really drawn."""


class Point(msgspec.Struct, frozen=True, kw_only=True):
    """One reading of a rail that is a plain number."""

    item: Item
    reading: Reading
    value: float
    """Net of any null, signed, in the unit of the reading."""
    load_a: float | None
    """Magnitude; None for a reading outside a sweep, taken without load."""
    mains_v: float | None
    """Mains voltage last read before it; None where none was."""

    @property
    def loaded_a(self) -> float:
        """Load current, 0 without load."""
        return self.load_a or 0.0


def taken_s(item: Item, reading: Reading) -> float:
    """Return when a reading of a soak was taken, from the soak's beginning [s].

    By the clock where it was timed: a person is seldom there to the second. Else the time of its entry.
    """
    return (item.elapsed_s or 0.0) if reading.after_s is None else reading.after_s


def points(facts: RunFacts, rail: Rail, key: str) -> list[Point]:
    """Return the readings of one quantity of a rail that count, in the order of the procedure.

    `key` is what the reading is compared with (`Read.expect`) or its quantity. Soak readings and those
    of the making safe are left out.
    """
    found = []
    mains = Mains(facts)
    for place, item in enumerate(facts.items):
        entry, reading = facts.entry(item), facts.reading(item)
        if (
            item.read is None
            or entry is None
            or reading is None
            or reading.value.kind != "exact"
            or reading.judged.net is None
        ):
            continue
        if (
            item.rail == rail.name
            and item.elapsed_s is None
            and item.role == ""
            and key in (item.read.expect, item.read.quantity)
        ):
            load = None if item.load_a is None else drawn(facts, item)
            found.append(
                Point(
                    item=item,
                    reading=reading,
                    value=reading.judged.net,
                    load_a=load,
                    mains_v=mains.before(entry.seq, place),
                )
            )
    return found


class Mains:
    """The mains readings of a run."""

    def __init__(self, facts: RunFacts) -> None:
        self._known = [
            ((entry.seq, place), reading.judged.net)
            for place, item in enumerate(facts.items)
            if item.read is not None
            and item.read.condition == "mains_v"
            and (entry := facts.entry(item)) is not None
            and (reading := facts.reading(item)) is not None
            and reading.value.kind == "exact"
            and reading.judged.net is not None
        ]

    def before(self, seq: int, place: int) -> float | None:
        """Return the mains read last before a reading of a record, at a place among the items; None for none.

        By the order they were taken in: what no meter reads by itself comes long after the sweep.
        """
        before = [each for each in self._known if each[0] <= (seq, place)]
        return max(before)[1] if before else None


def drawn(facts: RunFacts, item: Item) -> float:
    """Current of a load point [A]: as read there, else as the procedure asks."""
    for other in facts.items:
        same = other.spec.id == item.spec.id and other.subject == item.subject
        if same and other.read is not None and other.read.quantity in CURRENT_QUANTITIES:
            reading = facts.reading(other)
            if reading is not None and reading.judged.net is not None:
                return abs(reading.judged.net)
    return abs(item.load_a or 0.0)
