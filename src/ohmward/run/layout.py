"""A procedure laid out for the supply of a run, and what kind of test an item of it is."""

from __future__ import annotations

from ohmward.procedure import LimitSet, expand
from ohmward.procedure.model import Item, Procedure
from ohmward.supply.model import Supply


def laid_out(
    procedure: Procedure, supply: Supply, limits: LimitSet, parts: tuple[str, ...]
) -> tuple[Item, ...]:
    """Return the items of a run; where there is no protective earth, without what proves it."""
    items = expand(procedure, supply, limits, parts)
    if supply.protection_class != "I":
        items = tuple(item for item in items if not item.spec.proves_earth)
    return items


def is_dead_test(item: Item) -> bool:
    """Return whether `item` is a dead test in the sense of gate 3 (not an inspection, not a condition)."""
    if item.energised or item.role:
        return False
    if item.read is not None and item.read.condition:
        return False
    return item.read is not None or item.spec.enclosure == "shut" or item.spec.proves_earth
