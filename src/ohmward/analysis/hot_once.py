"""What is read hot once, beside a soak: a terminal or a knob, brought to the hottest room like the rest.

Limits on what a hand touches hold at the highest room temperature that the supply is rated for (IEC 61010-1
Table 19, from memory), so that a reading in a cooler room has the difference added: the rise over the room is
taken to be the same there (linear cooling, good for some tens of kelvin), as for a soak.
"""

from __future__ import annotations

from collections.abc import Iterator

from ohmward.analysis.facts import RunFacts
from ohmward.analysis.soak_result import SoakResult
from ohmward.procedure.model import ROOM, Item

TOUCHED = "temperature_c"


def room_at(facts: RunFacts, before: int | None = None) -> float | None:
    """Return the room as it was read last, before a record where one is named [°C]; None where it was not."""
    found = [
        (entry.seq, reading.judged.net)
        for item in facts.items
        if _is_room(item)
        and (entry := facts.entry(item)) is not None
        and (reading := facts.reading(item)) is not None
        and reading.judged.net is not None
    ]
    earlier = [each for each in found if before is None or each[0] < before]
    return max(earlier or found, default=(0, None))[1]


def _is_room(item: Item) -> bool:
    read = item.read
    if read is None or read.unit != "°C":
        return False
    return read.condition == "ambient_c" or item.subject.rpartition(" @ ")[0] == ROOM


def read_once(facts: RunFacts) -> Iterator[SoakResult]:
    """Yield what was read hot once and has a limit, with what it would come to in the hottest room."""
    for item in facts.items:
        read, entry, reading = item.read, facts.entry(item), facts.reading(item)
        if read is None or read.quantity != TOUCHED or item.elapsed_s is not None or item.limit is None:
            continue
        if entry is None or reading is None or reading.judged.net is None or item.limit.high is None:
            continue
        net, spread = reading.judged.net, reading.judged.uncertainty or 0.0
        room = room_at(facts, entry.seq)
        hot = None if room is None else net - room + facts.supply.ambient_max_c
        yield SoakResult(
            sensor=item.title.removesuffix(" (optional)"),
            last_c=net,
            limit_c=item.limit.high,
            at_max_ambient_c=hot,
            at_max_ambient_low_c=None if hot is None else hot - spread,
            at_max_ambient_high_c=None if hot is None else hot + spread,
            enough_data=hot is not None,
            read_once=True,
            warnings=() if hot is not None else ("the room was not read: not brought to the hottest",),
        )
