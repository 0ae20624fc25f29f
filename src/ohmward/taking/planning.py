"""A load sweep as it will be driven: which points, which loads, which meter reads what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from ohmward.bench.inventory import Inventory
from ohmward.bench.reading import Channel, Stop
from ohmward.bench.sweep import Point
from ohmward.errors import Refused
from ohmward.procedure.model import Item
from ohmward.run.gates import describe
from ohmward.run.state import RunState
from ohmward.taking.choosing import measure_of, proposed, require_known
from ohmward.taking.guards import NO_GUARDS, Guards, guards_for
from ohmward.taking.loads import load_of

DWELL_S, FULL_DWELL_S, HOT_DWELL_S = 60.0, 300.0, 10.0
"""From the reading at once to the settled one: at part load, at rated current, and after a soak, when all
is warm already (common practice, no source)."""
DRAWN = "current drawn by the load"
OVER = 1.2
"""A load that draws so many times the largest current of the sweep is not under control: it ends (common
practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reader:
    """One item of a load point, and the meter that reads it."""

    item: Item
    meter: str
    channel: Channel


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadPoint:
    """One load point with all that is read at it."""

    point: Point
    loads: Mapping[str, float]
    """Current of each rail [A]; rails left out carry none."""
    readers: tuple[Reader, ...]
    stops: tuple[Stop, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSweep:
    """A sweep as it will be driven."""

    title: str
    points: tuple[LoadPoint, ...]
    loads: Mapping[str, str]
    """Electronic load of each rail that has one."""
    by_hand: tuple[str, ...]
    """Rails whose load a person sets."""
    left: tuple[Item, ...]
    """Items that no meter at hand reads: typed afterwards."""
    guards: Guards = NO_GUARDS
    """Temperatures watched at every point."""

    @property
    def stops(self) -> tuple[Stop, ...]:
        """Stop limits of all points, of the current where a load reads it, and of what is watched."""
        most = max((amps for each in self.points for amps in each.loads.values()), default=0.0)
        drawn = (Stop(channel=DRAWN, high=OVER * most),) if self.loads and most > 0 else ()
        return (*(stop for each in self.points for stop in each.stops), *drawn, *self.guards.stops)

    @property
    def takes_s(self) -> float:
        """What the dwells come to [s]."""
        return sum(each.point.dwell_s or 0.0 for each in self.points)


def plan_sweep(
    state: RunState, item: Item, inventory: Inventory, *, dwell_s: float | None = None
) -> PlannedSweep:
    """Plan the sweep that an item belongs to: its rail's load points, or all rails where they load together.

    Points that hold already are left out; where all do, they are taken again. Where all that the run has to
    have is read, what `item` reads comes first: so one meter reads in a second sweep what no meter was free
    for in the first.

    Parameters
    ----------
    state : RunState
    item : Item
        One of its items.
    inventory : Inventory
    dwell_s : float, optional
        Instead of the usual dwells.

    Raises
    ------
    Refused
        When it is no sweep, or no meter at hand reads any of its items, or a meter is not the one that
        the run knows.
    InputError
        When a meter's entry or profile cannot be used.
    """
    if item.kind != "sweep" or state.supply is None:
        raise Refused("sweep", [f"{describe(item)} is not a load sweep"], "Take it as a single reading")
    rated = {rail.name: rail.rated_current_a for rail in state.supply.rails}
    rails = rated if item.together else {item.rail: rated[item.rail]}
    loads = {r: name for r in rails if (name := load_of(state, r, inventory.meters.values()))}
    for name in loads.values():
        inventory.driven(name)  # refuses now what cannot be
    planned: list[LoadPoint] = []
    left: list[Item] = []
    points, first = _points(state, item)
    for (rail, amps), items in points.items():
        readers = _readers(state, items, inventory, first)
        read = {reader.item.key for reader in readers}
        left += [each for each in items if each.key not in read and not state.settled(each)]
        if not readers:
            continue
        wanted = dict(rated) if item.together else {rail: amps} if amps > 0 else {}
        usual = _dwell_s(state, item, full=amps >= 0.99 * rated[rail])
        dwell = usual if dwell_s is None else dwell_s
        planned.append(_load_point(readers, wanted, dwell, loads.get(rail), inventory))
    if not planned:
        raise Refused(
            "meter",
            ["no meter at hand reads any of these points by itself"],
            "Type the readings, or add a resource to a meter in meters.toml",
        )
    guards = guards_for(state, rails, inventory, [r.meter for each in planned for r in each.readers])
    watched = tuple(each.channel for each in guards.sensors)
    planned = [
        replace(each, point=replace(each.point, channels=(*each.point.channels, *watched)))
        for each in planned
    ]
    title = item.spec.title if item.together else f"{item.spec.title}, {item.rail}"
    by_hand = tuple(rail for rail in rails if rail not in loads)
    return PlannedSweep(
        title=title, points=tuple(planned), loads=loads, by_hand=by_hand, left=tuple(left), guards=guards
    )


def _points(state: RunState, item: Item) -> tuple[dict[tuple[str, float], list[Item]], str]:
    """Return the items of each point still open, else of all, by rail and current; and what is read first."""
    family = [
        each
        for each in state.items
        if each.spec.id == item.spec.id and each.read and (item.together or each.rail == item.rail)
    ]
    found: dict[tuple[str, float], list[Item]] = {}
    for each in family:
        found.setdefault((each.rail, each.load_a or 0.0), []).append(each)
    # A point is open when something that the run has to have is: then all of it is read together again.
    still = {key: items for key, items in found.items() if any(_to_do(state, one) for one in items)}
    if still:
        return still, ""
    first = _quantity(item)
    same = {
        key: items
        for key, items in found.items()
        if any(_quantity(one) == first and not state.settled(one) for one in items)
    }
    return same or found, first


def _quantity(item: Item) -> str:
    return item.read.quantity if item.read is not None else ""


def _to_do(state: RunState, item: Item) -> bool:
    return item.required and not state.settled(item)


def _dwell_s(state: RunState, item: Item, *, full: bool) -> float:
    if any(each.kind == "soak" and each.stage == item.stage for each in state.items):
        return HOT_DWELL_S
    return FULL_DWELL_S if full else DWELL_S


def _readers(state: RunState, items: Sequence[Item], inventory: Inventory, first: str) -> list[Reader]:
    """Return a meter for each item of a point, each in one place only; `first`, then what is required."""
    taken: list[str] = []
    found: dict[tuple[str, str], Reader] = {}
    for each in sorted(items, key=lambda one: (_quantity(one) != first, not one.required)):
        name = proposed(state, each, inventory.meters, taken)
        if not name or each.read is None:
            continue
        require_known(state, name, inventory.meters)
        measure = measure_of(inventory.session(name).profile, each.read)
        channel = inventory.channel(name, measure.name, called=f"{each.step} {each.subject}")
        found[each.key] = Reader(item=each, meter=name, channel=channel)
        taken.append(name)
    return [found[each.key] for each in items if each.key in found]


def _load_point(
    readers: Sequence[Reader], wanted: Mapping[str, float], dwell_s: float, load: str | None,
    inventory: Inventory,
) -> LoadPoint:  # fmt: skip
    channels = [reader.channel for reader in readers]
    stops = [
        Stop(channel=reader.channel.name, low=reader.item.stop.low, high=reader.item.stop.high)
        for reader in readers
        if reader.item.stop is not None
    ]
    if load is not None and wanted:
        channels += _drawn(load, inventory)
    point = Point(
        label=readers[0].item.subject, current_a=max(wanted.values(), default=0.0), channels=tuple(channels),
        dwell_s=dwell_s,
    )  # fmt: skip
    return LoadPoint(point=point, loads=wanted, readers=tuple(readers), stops=tuple(stops))


def _drawn(load: str, inventory: Inventory) -> list[Channel]:
    """Return the load's own ammeter, where its profile has one."""
    measures = inventory.session(load).profile.measures
    return [inventory.channel(load, m.name, called=DRAWN) for m in measures if m.function == "dc amps"][:1]
