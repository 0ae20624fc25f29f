"""Temperatures watched while loads are swept: what a soak guards with a stop limit is guarded here too.

Sensors and limits are those of the run's soak, so that one file says how hot a part may get.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import msgspec

from ohmward.bench.inventory import Inventory
from ohmward.bench.reading import Stop
from ohmward.bench.settled import Sample, Settle, Settling
from ohmward.errors import Refused
from ohmward.procedure.model import Item
from ohmward.quantity import show_value
from ohmward.run.live import LiveRun
from ohmward.run.state import RunState
from ohmward.taking.soak_plan import Sensor, sensor_for, sensor_of, stops_of

SINK = "heat sink "
AS_IT_COMES = Settle(count=2, relative=1e6)
"""A temperature on its way up never settles; it is read to be watched, and is not waited for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guards:
    """The temperatures watched through a sweep."""

    sensors: tuple[Sensor, ...] = ()
    left: tuple[str, ...] = ()
    """Places with a stop limit that no thermometer at hand reads."""

    @property
    def stops(self) -> tuple[Stop, ...]:
        """Their stop limits, by channel [°C]."""
        return stops_of(self.sensors)

    @property
    def names(self) -> frozenset[str]:
        """Their channels."""
        return frozenset(each.name for each in self.sensors)

    def sensor(self, name: str) -> Sensor:
        """Return the sensor of a channel."""
        return next(each for each in self.sensors if each.name == name)


NO_GUARDS = Guards()


def guards_for(state: RunState, rails: Collection[str], inventory: Inventory, taken: Sequence[str]) -> Guards:
    """Return what guards a sweep that loads some rails: their heat sinks first, then the rest of the soak's.

    Parameters
    ----------
    state : RunState
    rails : collection of str
        Rails that will carry load; a heat sink of another rail stays as cool as it was, and is left out.
    inventory : Inventory
    taken : sequence of str
        Meters that read something else meanwhile.

    Raises
    ------
    Refused, InputError
        When a thermometer is not the one that the run knows, or its entry cannot be used.
    """
    busy, found, left = list(taken), [], []
    for name, items in sorted(_guarded(state, rails).items(), key=lambda each: not each[0].startswith(SINK)):
        sensor = sensor_for(state, name, items, inventory, busy)
        if sensor is None:
            left.append(name)
        else:
            found.append(sensor)
            busy.append(sensor.meter)
    return Guards(sensors=tuple(found), left=tuple(left))


def _guarded(state: RunState, rails: Collection[str]) -> dict[str, list[Item]]:
    """Return the soak's points by sensor, of those that have a stop limit and get warm in the sweep."""
    found: dict[str, list[Item]] = {}
    for item in state.items:
        if item.kind != "soak" or item.read is None or item.read.unit != "°C" or item.stop is None:
            continue
        name = sensor_of(item)
        if not item.rail or item.rail in rails:
            found.setdefault(name, []).append(item)
    return found


def point_of(state: RunState, sensor: Sensor) -> Item:
    """Return the point of the soak that a temperature past its stop is recorded at: it halts the run."""
    return next((each for each in sensor.items if not state.settled(each)), sensor.items[-1])


def record_hot(live: LiveRun, sensor: Sensor, sample: Sample, where: str) -> None:
    """Record a temperature past its stop limit, which halts the run; where the gates refuse, a note."""
    settling = Settling(AS_IT_COMES)
    settling.add(sample)
    found = settling.result(sensor.channel.meter, sensor.channel.function)
    settled = msgspec.structs.replace(found, settled=True)
    item = point_of(live.state, sensor)
    try:
        live.measure(
            item.step, item.subject, settled, meter=sensor.meter, identity=sensor.channel.session.identity,
            function=sensor.channel.function, note=f"read in '{where}'", unattended=True,
        )  # fmt: skip
    except Refused as refusal:
        words = f"read {show_value(sample.value)} in '{where}'; not taken: {refusal}"
        live.note(words, item.step, item.subject)
