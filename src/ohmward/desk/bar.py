"""A reading drawn between its limits, with the expected band, on one line of text.

``│`` is a limit, ``▒`` the expected band, ``●`` the reading; ``◀`` and ``▶`` a reading beyond
the line's ends. No colour is needed to read it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ohmward.logbook.events import Reading
from ohmward.physics.expectation import Band
from ohmward.procedure.model import Item, Limit
from ohmward.run.state import RunState

LEAST_WIDTH = 24
_AIR = 0.15
"""Shown beyond the outermost mark, as a share of the span."""
_DECADES = 30.0
"""Limits and band that lie further apart than this ratio are drawn on a logarithmic line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """What is drawn [unit of the reading]; at least a limit or a band is there."""

    low: float | None = None
    high: float | None = None
    """The limits."""
    band: tuple[float, float] | None = None
    """The expected band."""
    value: float | None = None
    """The reading, net of any null."""

    def text(self, width: int) -> str:
        """Return the line, `width` columns wide; empty where nothing can be drawn or there is no room."""
        ends = self._ends()
        if width < LEAST_WIDTH or ends is None:
            return ""
        scale = _Scale(*ends, width=width, logarithmic=self._logarithmic())
        cells = ["·"] * width
        for place in range(width):
            inside = (self.low is None or place >= scale.at(self.low)) and (
                self.high is None or place <= scale.at(self.high)
            )
            cells[place] = "─" if inside else " "
        if self.band is not None:
            for place in range(scale.at(self.band[0]), scale.at(self.band[1]) + 1):
                cells[place] = "▒"
        for limit in (self.low, self.high):
            if limit is not None:
                cells[scale.at(limit)] = "│"
        if self.value is not None:
            place = scale.at(self.value)
            outside = self.value < ends[0] or self.value > ends[1]
            cells[place] = ("◀" if place == 0 else "▶") if outside else "●"
        return "".join(cells)

    def _known(self) -> list[float]:
        """Return what the line has to reach; a reading beyond is drawn at its end."""
        return [x for x in (self.low, self.high, *(self.band or ())) if x is not None]

    def _logarithmic(self) -> bool:
        known = self._known()
        if self.value is not None:
            known.append(self.value)
        return min(known) > 0 and max(known) / min(known) > _DECADES

    def _ends(self) -> tuple[float, float] | None:
        known = self._known()
        if not known or not all(math.isfinite(x) for x in known):
            return None
        low, high = min(known), max(known)
        if self._logarithmic():
            if self.value is not None:
                low, high = min(low, self.value), max(high, self.value)
            return low / 2, high * 2
        if self.low is None:
            low = min(low, 0.0)
        if self.high is None:
            high = max(high, 0.0, low * 2)
        air = _AIR * (high - low) or 0.1 * abs(high) or 1.0
        return low - air if self.low is not None or low < 0 else low, high + air


class _Scale:
    """From a value to its column."""

    def __init__(self, low: float, high: float, *, width: int, logarithmic: bool) -> None:
        self._logarithmic = logarithmic
        self._low, self._high, self._width = self._of(low), self._of(high), width

    def at(self, value: float) -> int:
        """Return the column of a value; the first or last where it is beyond."""
        share = (self._of(value) - self._low) / (self._high - self._low)
        return min(max(round(share * (self._width - 1)), 0), self._width - 1)

    def _of(self, value: float) -> float:
        if not self._logarithmic:
            return value
        return math.log10(value) if value > 0 else -300.0


def net_of(state: RunState, item: Item) -> float | None:
    """Return what was judged of an item [unit]: its reading less any null; None where that is no number."""
    entry = state.entries.get(item.key)
    if entry is None or not isinstance(entry.event, Reading):
        return None
    value = entry.event.value
    if value.kind in {"above", "below"} and value.number is not None:
        return value.si
    return entry.event.judged.net


def bar_of(limit: Limit | None, band: Band | None, value: float | None) -> Bar | None:
    """Return the bar of a reading; None where neither a limit nor an expected band is known."""
    if limit is None and band is None:
        return None
    return Bar(
        low=limit.low if limit is not None else None,
        high=limit.high if limit is not None else None,
        band=(band.low, band.high) if band is not None else None,
        value=value,
    )
