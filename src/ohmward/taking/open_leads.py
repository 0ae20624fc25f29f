"""What a meter shows whose leads are on nothing: no volts, no amperes, no end of ohms.

Readings that are taken unasked must not be taken from a probe that hangs in the air. Where what it shows
would pass, as of a residual voltage or of an isolation, a person takes the reading.
"""

from __future__ import annotations

from ohmward.procedure.model import Item
from ohmward.quantity import Value

SHARE = 0.05
"""Of the smallest value that may pass: what is less counts as nothing (common practice, no source)."""


def would_pass(item: Item) -> bool:
    """Return whether what open leads show would pass, or be recorded without a question."""
    low, high = _range(item)
    if item.read is None or item.read.unit not in {"V", "A", "Ω"}:
        return False
    if item.read.unit == "Ω":
        return high is None
    return (low is None or low <= 0.0) and (high is None or high >= 0.0)


def shows(item: Item, value: Value) -> bool:
    """Return whether a reading of an item is what open leads show; never where that would pass."""
    if item.read is None or would_pass(item):
        return False
    if item.read.unit == "Ω":
        return value.kind in {"above", "overload"}
    if item.read.unit not in {"V", "A"} or value.number is None:
        return False
    least = min(abs(each) for each in _range(item) if each is not None)
    return abs(value.si) <= SHARE * least


def _range(item: Item) -> tuple[float | None, float | None]:
    """Return the range that a reading has to lie in: its limit, or what is plausible where it has none."""
    if item.limit is not None:
        return item.limit.low, item.limit.high
    return (None, None) if item.read is None else (item.read.plausible_low, item.read.plausible_high)
