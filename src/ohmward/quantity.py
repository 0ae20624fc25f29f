"""Values and units: reading what a person types, writing what a person reads.

(contract stub; helper fills this in)
"""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

import msgspec


class Value(msgspec.Struct, frozen=True, kw_only=True):
    """A typed or read value.

    `number` is in the base unit `unit` (V, A, Ω, F, s, Hz, °C …); None for an overload.
    """

    raw: str
    kind: Literal["exact", "above", "below", "overload"] = "exact"
    number: Decimal | None = None
    unit: str
    resolution: Decimal | None = None
    """Weight of the last typed digit, in the base unit."""

    @property
    def si(self) -> float:
        """The number in the base unit; the bound itself for a bound; inf for an overload."""
        return float("inf") if self.number is None else float(self.number)
