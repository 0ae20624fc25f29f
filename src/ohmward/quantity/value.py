"""A value as it was typed or read, and the refusal of what is none."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

import msgspec

from ohmward.errors import InputError, Mistake

Kind = Literal["exact", "above", "below", "overload"]


class Value(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """A typed or read value.

    `number` is in the base unit `unit` (V, A, Ω, F, s, Hz, °C …); None for an overload.
    """

    raw: str
    kind: Kind = "exact"
    number: Decimal | None = None
    unit: str
    resolution: Decimal | None = None
    """Weight of the last typed digit, in the base unit."""

    @property
    def si(self) -> float:
        """The number in the base unit; the bound itself for a bound; inf for an overload."""
        return float("inf") if self.number is None else float(self.number)


class QuantityError(InputError):
    """An entry that is not a value of the wanted unit; one mistake, with reason and example."""

    def __init__(self, raw: str, why: str, mend: str) -> None:
        super().__init__([Mistake(where="entry", field="", value=raw, why=why, mend=mend)])
