"""Which limits the listed meters cannot decide: known from their accuracy, before anything is read.

Load regulation is none of them: a difference read with one meter, whose gain and zero both readings share.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from ohmward.analysis.uncertainty import combine, rectangular
from ohmward.analysis.wording import limit_words, titled
from ohmward.bench.meters import Meter, function_of
from ohmward.procedure.model import Item, Limit
from ohmward.quantity import show
from ohmward.taking.choosing import stands_in
from ohmward.text import one_line, plural

SHARE = 1.0 / 3.0
"""Of what a limit allows, the expanded uncertainty that leaves room to pass (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Undecided:
    """A limit that a listed meter cannot decide: with it nothing could pass outright."""

    meter: str
    words: str


def undecided(items: Iterable[Item], meters: Sequence[Meter]) -> list[Undecided]:
    """Return what the meters of a list cannot decide, those of one meter and limit together.

    Only of what has to be read, and of meters whose accuracy is stated for it; of one that only stands in for
    another kind where none of that kind can. By ILAC-G8 with a guard band of U nothing is left to pass where
    U is as wide as what an upper limit allows, or as half of what two limits do.

    Parameters
    ----------
    items : iterable of Item
        With the limits that are in force.
    meters : sequence of Meter
    """
    places: dict[tuple[str, str], dict[str, list[str]]] = {}
    for item in items:
        for meter, why in _undecided(item, meters) if item.required else ():
            places.setdefault((meter, why), {}).setdefault(item.title, []).append(item.subject)
    return [
        Undecided(meter=meter, words=one_line(f"{_where(found)}: {why}"))
        for (meter, why), found in places.items()
    ]


def _undecided(item: Item, meters: Sequence[Meter]) -> Iterator[tuple[str, str]]:
    """Yield each meter that would read an item and cannot decide it, and why."""
    room = None if item.limit is None else _room(item.limit)
    if item.read is None or item.limit is None or room is None:
        return
    at, allowed = room
    found = [(each, _expanded(item, each, at)) for each in meters if _would_read(item, each)]
    able = [each.name for each, wide in found if wide is not None and wide < allowed]
    unit = item.read.unit
    asked = limit_words(item.limit.low, item.limit.high, unit)
    for meter, wide in found:
        if wide is None or wide < allowed or (able and meter.kind != item.read.meter):
            continue
        half = meter.half_width(at, unit, function_of(item.read.quantity, unit))
        good = show(half, unit, uncertainty=half or None) if half is not None else ""
        # the accuracy that leaves U = SHARE of the room, with as many readings in it as here
        enough = (half or 0.0) * SHARE * allowed / wide
        do = (
            f"'{able[0]}' can"
            if able
            else f"what would do is one good to ±{show(enough, unit, uncertainty=enough or None)}"
        )
        yield (
            meter.name,
            f"'{meter.name}' is good to ±{good} there, and cannot decide its limit, {asked}: nothing "
            f"could pass it outright; {do}",
        )


def _room(limit: Limit) -> tuple[float, float] | None:
    """Return the value a limit is decided at, and the U from which nothing passes outright; None for none."""
    if limit.low is not None and limit.high is not None:
        return max(abs(limit.low), abs(limit.high)), (limit.high - limit.low) / 2.0
    return (limit.high, limit.high) if limit.high is not None and limit.high > 0.0 else None


def _expanded(item: Item, meter: Meter, at: float) -> float | None:
    """Return U of a reading at a value by a meter, its lead null taken off; None where not stated."""
    assert item.read is not None
    unit = item.read.unit
    half = meter.half_width(at, unit, function_of(item.read.quantity, unit))
    if half is None or not math.isfinite(half):
        return None
    parts = [rectangular(half, "accuracy of the meter")]
    if item.read.subtract:
        parts.append(rectangular(half, "accuracy of the lead null"))
    return combine(parts, dominant=False).expanded


def _would_read(item: Item, meter: Meter) -> bool:
    return item.read is not None and (meter.kind == item.read.meter or stands_in(item, meter))


def _where(found: Mapping[str, Sequence[str]]) -> str:
    """Return the first step with what it reads there, and how many more there are."""
    title, subjects = next(iter(found.items()))
    named = list(dict.fromkeys(subject for subject in subjects if subject))
    more = f" and {plural(len(found) - 1, 'step')} more" if len(found) > 1 else ""
    return f"{titled(title, ', '.join(named))}{more}"
