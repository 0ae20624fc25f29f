"""A soak as it will be driven: what is sampled by which meter, how often, for how long, under which loads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ohmward.bench.inventory import Inventory
from ohmward.bench.reading import Channel, Stop
from ohmward.errors import InputError, Mistake, Refused
from ohmward.logbook.events import SeriesChannel
from ohmward.procedure.model import Item, Limit
from ohmward.quantity import show
from ohmward.run.gates import describe
from ohmward.run.series import Series
from ohmward.run.state import RunState
from ohmward.taking.choosing import measure_of, proposed, require_known
from ohmward.taking.loads import load_of

INTERVAL_S = 10.0
SHORTEST_S, LONGEST_S = 0.1, 600.0
LONGEST_SOAK_S = 7 * 24 * 3600.0
MAINS = "mains"
"""What the channel of the mains voltage is called."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """One channel of a soak; the items are its points in the procedure, by time, none for the mains."""

    name: str
    meter: str
    channel: Channel
    items: tuple[Item, ...] = ()

    @property
    def stop(self) -> Limit | None:
        """Stop limit of its points."""
        return next((item.stop for item in self.items if item.stop is not None), None)


def stops_of(sensors: Sequence[Sensor]) -> tuple[Stop, ...]:
    """Return the stop limits of sensors that have any, by channel; units of the channels."""
    return tuple(
        Stop(channel=each.name, low=each.stop.low, high=each.stop.high)
        for each in sensors
        if each.stop is not None
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSoak:
    """A soak as it will be driven."""

    step: str
    title: str
    sensors: tuple[Sensor, ...]
    interval_s: float
    duration_s: float
    loads: Mapping[str, str]
    """Electronic load of each rail that has one."""
    currents: Mapping[str, float]
    """Rated current of each rail [A]."""
    left: tuple[str, ...]
    """Sensors that no meter at hand reads: typed at their times."""
    resumes: Series | None = None
    """The series that it goes on with."""

    @property
    def by_hand(self) -> tuple[str, ...]:
        """Rails whose load a person sets."""
        return tuple(rail for rail in self.currents if rail not in self.loads)

    @property
    def stops(self) -> tuple[Stop, ...]:
        """Stop limits by channel."""
        return stops_of(self.sensors)

    def unit_of(self, name: str) -> str:
        """Return the unit that a channel is read in."""
        sensor = next(each for each in self.sensors if each.name == name)
        return sensor.channel.session.profile.measure(sensor.channel.measure).unit

    @property
    def recorded(self) -> tuple[SeriesChannel, ...]:
        """The channels as the journal names them."""
        return tuple(
            SeriesChannel(
                name=each.name,
                meter=each.meter,
                function=each.channel.function,
                unit=self.unit_of(each.name),
                identity=each.channel.meter.idn if each.channel.meter is not None else "",
            )
            for each in self.sensors
        )

    @property
    def load_words(self) -> tuple[str, ...]:
        """Each rail's load, a line each."""
        return tuple(
            f"{rail}: {show(amps, 'A')} by " + (f"'{self.loads[rail]}'" if rail in self.loads else "hand")
            for rail, amps in self.currents.items()
        )


def plan_soak(
    state: RunState,
    item: Item,
    inventory: Inventory,
    *,
    interval_s: float = INTERVAL_S,
    duration_s: float | None = None,
    go_on: bool = True,
) -> PlannedSoak:
    """Plan the soak that an item belongs to.

    Parameters
    ----------
    state : RunState
    item : Item
        One of its points.
    inventory : Inventory
    interval_s : float
        Between two samples; that of the series which it goes on with, where there is one.
    duration_s : float, optional
        As long as the procedure asks when left out.
    go_on : bool
        Go on with one that was cut or stopped, where there is one (`resumable`).

    Raises
    ------
    Refused
        When it is no soak, or no meter at hand reads any of its sensors, or a meter is not the one that
        the run knows.
    InputError
        When interval or duration cannot be, or a meter's entry cannot be used.
    """
    if item.kind != "soak" or state.supply is None:
        raise Refused("soak", [f"{describe(item)} is not part of a soak"], "Take it as a single reading")
    family = [
        each
        for each in state.items
        if each.spec.id == item.spec.id and each.elapsed_s is not None and not each.is_further
    ]
    resumes = resumable(state, item) if go_on else None
    if resumes is not None:
        interval_s, duration_s = resumes.begun.interval_s, resumes.begun.duration_s
    longest = max(each.elapsed_s or 0.0 for each in family)
    duration_s = longest if duration_s is None else duration_s
    _require("interval", interval_s, SHORTEST_S, LONGEST_S)
    _require("duration", duration_s, max(interval_s, 1.0), LONGEST_SOAK_S)
    sensors, left = _sensors(state, family, inventory)
    if not sensors:
        raise Refused(
            "meter",
            ["no meter at hand reads any sensor of this soak by itself"],
            "Type the readings, or name a thermometer after each place in meters.toml ('sensor room air')",
        )
    rails = {rail.name: rail.rated_current_a for rail in state.supply.rails}
    loads = {rail: name for rail in rails if (name := load_of(state, rail, inventory.meters.values()))}
    for name in loads.values():
        inventory.driven(name)  # refuses now what cannot be
    planned = PlannedSoak(
        step=item.spec.id, title=item.spec.title, sensors=sensors, interval_s=interval_s,
        duration_s=duration_s, loads=loads, currents=rails, left=left, resumes=resumes,
    )  # fmt: skip
    if resumes is not None and resumes.begun.channels != planned.recorded:
        raise Refused(
            "soak",
            ["the meters are not those that the cut soak was sampled with"],
            "Connect the same meters, or begin the soak again once the unit is cold",
        )
    return planned


def resumable(state: RunState, item: Item) -> Series | None:
    """Return the series of a soak that was cut or stopped since mains came on, None where there is none."""
    known = state.series.get(item.spec.id)
    if known is None or not known.unfinished or known.seq < state.energised_seq:
        return None
    return known


def _sensors(
    state: RunState, family: list[Item], inventory: Inventory
) -> tuple[tuple[Sensor, ...], tuple[str, ...]]:
    """Return a meter for each sensor, and the sensors without one; the mains last, where a meter is on it."""
    by_name: dict[str, list[Item]] = {}
    for each in family:
        by_name.setdefault(sensor_of(each), []).append(each)
    found: list[Sensor] = []
    left: list[str] = []
    taken: list[str] = []
    for name, items in by_name.items():
        sensor = sensor_for(state, name, items, inventory, taken)
        if sensor is None:
            left.append(name)
        else:
            found.append(sensor)
            taken.append(sensor.meter)
    mains = (i for i in state.items if i.read is not None and i.read.condition == "mains_v")
    extra = (sensor_for(state, MAINS, [each], inventory, taken) for each in mains)
    first = next((each for each in extra if each is not None), None)
    if first is not None and found:
        found.append(Sensor(name=MAINS, meter=first.meter, channel=first.channel))
    return tuple(found), tuple(left)


def sensor_for(
    state: RunState, name: str, items: Sequence[Item], inventory: Inventory, taken: Sequence[str]
) -> Sensor | None:
    """Return what reads a sensor, by the meters at hand but those taken; None where nothing does.

    `items` are its points.
    """
    first = items[0]
    meter = proposed(state, first, inventory.meters, taken)
    if not meter or first.read is None:
        return None
    require_known(state, meter, inventory.meters)
    measure = measure_of(inventory.session(meter).profile, first.read)
    ordered = tuple(sorted(items, key=lambda each: each.elapsed_s or 0.0))
    return Sensor(
        name=name, meter=meter, channel=inventory.channel(meter, measure.name, called=name), items=ordered
    )


def sensor_of(item: Item) -> str:
    """Return the sensor that a point of a soak is read by: 'heat sink +15 @ 10 min' is 'heat sink +15'."""
    return item.subject.rpartition(" @ ")[0] or item.subject


def _require(field: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise InputError(
            [
                Mistake(
                    where="soak", field=field, value=f"{value:g} s", why="it is out of reach",
                    mend=f"Give {low:g} s to {high:g} s",
                )
            ]
        )  # fmt: skip
