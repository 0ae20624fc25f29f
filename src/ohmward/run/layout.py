"""A procedure laid out for the supply of a run."""

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
