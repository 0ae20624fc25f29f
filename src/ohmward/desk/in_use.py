"""Which meter is in use: what the person said last, by kind of meter."""

from __future__ import annotations

from ohmward.procedure.model import Item
from ohmward.run.state import RunState
from ohmward.taking.choosing import fits, meter_in_use, sits_at

Kind = tuple[str, object]
"""Of readings that one meter is used for: the kind of meter, and the current where it takes much."""


class InUse:
    """What the person said; nothing of it is kept but by the readings taken."""

    def __init__(self) -> None:
        self._said: dict[Kind, str] = {}

    def use(self, item: Item | None, name: str) -> None:
        """Take `name` as the meter of readings of this kind."""
        if item is not None and item.read is not None:
            self._said[_kind(item)] = name

    def chosen(self, item: Item) -> str:
        """Return the meter that the person said is in use for readings of this kind; empty before that."""
        return self._said.get(_kind(item), "")

    def of(self, state: RunState, item: Item) -> str:
        """Return the meter an item is read with: the one said last, the one at its place, the one in use."""
        there = [meter.name for meter in state.meters if fits(state, item, meter) and sits_at(meter, item)]
        usual = there[0] if len(there) == 1 else meter_in_use(state, item)
        return self._said.get(_kind(item), usual)


def _kind(item: Item) -> Kind:
    return (item.read.meter, item.read.test_current) if item.read is not None else ("", None)
