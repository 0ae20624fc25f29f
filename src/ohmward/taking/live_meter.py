"""One meter read over and over, to see what it shows: nothing of it is recorded.

It waits for the meter, so it is called in a thread.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from ohmward.bench.clock import Clock, WallClock
from ohmward.bench.inventory import Inventory
from ohmward.bench.settled import Settled, Settling
from ohmward.bench.survey import how_settled
from ohmward.quantity import Value

SEVERAL = 20
"""So many of the last readings tell how far they spread."""
LEAST_S = 0.1
"""Two readings are told no closer together than this: an eye follows no more."""


@dataclass(frozen=True, kw_only=True)
class Lately:
    """What a meter shows, and its last readings together."""

    meter: str
    function: str
    value: Value
    several: Settled
    low: Value
    high: Value
    """The lowest and the highest of the last readings."""
    number: int
    """How many readings there have been."""
    identity: str


def follow(
    inventory: Inventory,
    name: str,
    function: str,
    *,
    stop: threading.Event,
    heard: Callable[[Lately], None],
    clock: Clock | None = None,
) -> None:
    """Read a meter until `stop` is set.

    Parameters
    ----------
    inventory : Inventory
    name : str
        Meter, as in the meters file.
    function : str
        Measure of its profile or function of a meter; the profile's first when empty.
    stop : Event
    heard : callable
        Called with each reading, on this thread.
    clock : Clock, optional

    Raises
    ------
    InputError
        When it does not measure that, or would put a test voltage on what it is clipped to.
    MeterFailed
        When a reading cannot be had.
    """
    channel = inventory.channel(name, function)
    meter, clock = inventory.meters[name], clock or WallClock(stop)
    measure = channel.session.profile.measure(function)
    settling = Settling(how_settled(meter, measure.unit, measure.function, SEVERAL))
    last: deque[Value] = deque(maxlen=SEVERAL)
    number = 0
    while not stop.is_set():
        began = clock.now()
        sample = channel.read(clock)
        if stop.is_set():
            return
        number += 1
        settling.add(sample)
        if last and last[-1].kind != sample.value.kind:
            last.clear()
        last.append(sample.value)
        heard(
            Lately(
                meter=name, function=measure.function, value=sample.value, number=number,
                several=settling.result(meter, measure.function, name),
                low=min(last, key=_size), high=max(last, key=_size), identity=channel.session.identity,
            )
        )  # fmt: skip
        clock.wait(max(LEAST_S - (clock.now() - began), 0.0))


def _size(value: Value) -> float:
    return float("inf") if value.number is None else value.si
