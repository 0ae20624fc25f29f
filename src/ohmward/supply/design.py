"""Findings on the design itself, from plain closed-form relations on the sheet."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal

import msgspec

from ohmward.quantity import show
from ohmward.supply.model import Rail, Supply


class Finding(msgspec.Struct, frozen=True, kw_only=True):
    """Something about the design that a person should know before plugging in."""

    field: str
    severity: Literal["danger", "fault", "improvement"]
    text: str
    basis: str


def findings(supply: Supply) -> tuple[Finding, ...]:
    """Return every finding on a design, in the order of the sheet."""
    return tuple(finding for rail in supply.rails for finding in _rail_findings(supply, rail))


def highest_peak_v(supply: Supply, rail: Rail) -> float | None:
    """Return the highest no-load peak [V] that a rail's reservoir can see, before the diode drops.

    √2 · U₂ · (1 + regulation) · (1 + upper mains band), U₂ the rated secondary voltage (RMS).
    """
    if not rail.sources:
        return None
    transformer, secondary = supply.secondary(rail.sources[0])
    no_load = secondary.voltage_v * (1.0 + (transformer.regulation_pct or 0.0) / 100.0)
    return math.sqrt(2.0) * no_load * (1.0 + supply.mains.high_pct / 100.0)


def _rail_findings(supply: Supply, rail: Rail) -> Iterator[Finding]:
    peak = highest_peak_v(supply, rail)
    high_v = supply.mains.voltage_v * (1.0 + supply.mains.high_pct / 100.0)
    reservoir = rail.reservoir
    if reservoir and peak and reservoir.voltage_rating_v and peak > reservoir.voltage_rating_v:
        yield Finding(
            field=f"rail[{rail.name}].reservoir.voltage_rating",
            severity="fault",
            text=f"reservoir rated {show(reservoir.voltage_rating_v, 'V')} will see {show(round(peak, 1), 'V')} "
            f"at {show(high_v, 'V')} mains",
            basis="√2 × no-load secondary at high mains",
        )
