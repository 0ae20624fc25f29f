"""Which meter of a run reads an item, and what it is asked for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from ohmward.bench.meters import Meter, function_of
from ohmward.bench.profile import Measure, Profile
from ohmward.errors import Refused
from ohmward.logbook.events import Judged, Reading
from ohmward.procedure.model import ROOM, Item, Read
from ohmward.quantity import Value, show
from ohmward.run.state import RunState

PEAK = "peak to peak"
"""How a profile names a measure that is not an r.m.s. value: it reads ripple, and nothing else does."""

THERMOMETER = "thermometer"

_OHMS = ("ohms", "low ohms", "insulation")
"""What reads a resistance of no special kind, by what the instrument has."""


def can_read(state: RunState, item: Item | None) -> bool:
    """Return whether a meter of the run that the tool can reach is of the kind that an item asks for."""
    if item is None or item.read is None:
        return False
    return any(meter.resource and fits(state, item, meter) for meter in state.meters)


def fits(state: RunState, item: Item, meter: Meter) -> bool:
    """Return whether a meter is of an item's kind, and drives the current that the item asks for."""
    if item.read is None or meter.kind != item.read.meter:
        return False
    least = least_current_a(state, item)
    return least is None or (meter.test_current_a is not None and meter.test_current_a >= least)


def least_current_a(state: RunState, item: Item) -> float | None:
    """Return the least current that an item is to be measured with [A]; None where any will do.

    What the step asks for by the fuse, and no less than the basis of its limit asks.
    """
    wanted = item.read.test_current if item.read is not None else None
    if wanted is None:
        return None
    fuse = state.supply.mains.fuse if state.supply is not None else None
    by_fuse = wanted.least_a(fuse.rating_a if fuse is not None else None)
    by_limit = item.limit.test_current_a if item.limit is not None else None
    return max(by_fuse, by_limit or 0.0)


def too_weak(state: RunState, item: Item) -> str:
    """Return that no meter drives the current that an item asks for, and what to do; empty where one does."""
    least = least_current_a(state, item)
    if least is None or any(fits(state, item, meter) for meter in state.meters):
        return ""
    do = (
        "type what one outside the list shows"
        if item.required
        else "leave it out, or type what another shows"
    )
    return f"No meter here is known to give {show(least, 'A')}: {do} (test_current in meters.toml)."


def drivable(item: Item) -> bool:
    """Return whether an item is of a kind that can run by itself: a sweep, a soak, an overload.

    Not a further time of a soak: that would begin the soak again.
    """
    if item.is_further:
        return False
    return item.kind in {"sweep", "soak"} or bool(item.spec.drive)


def runs_by_itself(state: RunState, item: Item | None) -> bool:
    """Return whether an item belongs to a sweep or soak of which a meter at hand reads anything."""
    if item is None or not drivable(item):
        return False
    if item.spec.drive:
        return any(meter.resource and meter.kind == "load" for meter in state.meters)
    return any(can_read(state, other) for other in state.items if other.spec.id == item.spec.id)


def applies_voltage(state: RunState, item: Item, chosen: str = "") -> bool:
    """Return whether reading an item puts a test voltage on the unit: an insulation tester does."""
    kinds = {meter.kind for meter in state.meters if meter.name == chosen}
    read = item.read
    return "insulation" in kinds or (read is not None and "insulation" in {read.meter, read.quantity})


def probe(item: Item) -> Reading:
    """Return a reading of an item to ask the gates with, before its meter is asked."""
    unit = item.read.unit if item.read is not None else ""
    value = Value(raw="", kind="overload", unit=unit)
    return Reading(step=item.step, subject=item.subject, value=value, judged=Judged(verdict="not done"))


def proposed(state: RunState, item: Item, meters: Mapping[str, Meter], taken: Iterable[str] = ()) -> str:
    """Return the meter that would read an item; empty where there is none.

    Parameters
    ----------
    state, item
    meters : mapping
        By name: those that can be reached now; only those that the run knows count.
    taken : iterable of str
        Names of meters that are busy elsewhere.
    """
    if item.read is None:
        return ""
    busy, known = set(taken), {meter.name for meter in state.meters}
    usable = [
        meter
        for meter in meters.values()
        if meter.resource and fits(state, item, meter) and meter.name in known - busy
    ]
    placed = [meter.name for meter in usable if sits_at(meter, item)]
    if len(placed) == 1:
        return placed[0]
    names = placed or [meter.name for meter in usable if not is_fixed(meter, state.items)]
    in_use = meter_in_use(state, item)
    return in_use if in_use in names else next(iter(names), "")


def meter_in_use(state: RunState, item: Item) -> str:
    """Return the meter that the latest reading of an item's kind was taken with, else the first that will do.

    That is one that fits, else a multimeter that stands in for it; empty for none of the list. One that is
    fixed to a place is none of them. What was chosen for a quantity holds for it, whatever the meter's kind.
    """
    if item.read is None:
        return ""
    free = [m.name for m in state.meters if fits(state, item, m) and not is_fixed(m, state.items)]
    will_do = free or [m.name for m in state.meters if stands_in(item, m)]
    chosen = {m.name for m in state.meters if not is_fixed(m, state.items)} | {""}
    latest = (-1, next(iter(will_do), ""))
    for key, entry in state.entries.items():
        other = state.by_key.get(key)
        if (
            other is not None
            and other.read is not None
            and (other.read.meter, other.read.test_current) == (item.read.meter, item.read.test_current)
            and isinstance(entry.event, Reading)
            and entry.event.meter in (chosen if other.read.quantity == item.read.quantity else free)
        ):
            latest = max(latest, (entry.seq, entry.event.meter))
    return latest[1]


def stands_in(item: Item, meter: Meter) -> bool:
    """Return whether a multimeter does in place of an item's kind of meter, as its accuracy is stated for it.

    Ohms for a low-resistance ohmmeter and AC volts for a power meter; never for insulation, nor for what is
    to be measured with a current.
    """
    read = item.read
    if read is None or meter.kind != "multimeter" or read.test_current is not None:
        return False
    stated = {each.function for each in meter.specifications}
    if read.meter == "low-ohm":
        return read.quantity == "resistance" and "ohms" in stated
    return (
        read.meter == "power" and function_of(read.quantity, read.unit) == "ac volts" and "ac volts" in stated
    )


def sits_at(meter: Meter, item: Item) -> bool:
    """Return whether a meter is named after the place that is read: 'sensor heat sink +15'."""
    return any(meter.name.lower().endswith(f" {place.lower()}") for place in _places(item))


def is_fixed(meter: Meter, items: Iterable[Item]) -> bool:
    """Return whether a thermometer is named after a place: taped down there, it reads nothing else."""
    if meter.kind != THERMOMETER:
        return False
    return meter.name.lower().startswith("sensor ") or any(sits_at(meter, item) for item in items)


def _places(item: Item) -> Iterator[str]:
    place = item.subject.partition(" @ ")[0]
    if place:
        yield place
    if place == "transformer" and item.about:  # the only one of its supply, whose name a label may carry
        yield f"transformer {item.about}"
    if item.read is not None and item.read.quantity == "ambient_c":
        yield ROOM


def require_known(state: RunState, name: str, meters: Mapping[str, Meter]) -> None:
    """Refuse a meter that is another than the one the run was started with: its accuracy is judged by.

    Raises
    ------
    Refused
    """
    known = next((meter for meter in state.meters if meter.name == name), None)
    listed = meters.get(name)
    if known is None:
        why = f"this run was started without the meter '{name}'"
    elif listed is None:
        why = f"the meter '{name}' is no longer in meters.toml"
    elif (known.serial, known.idn) != (listed.serial, listed.idn):
        why = f"'{name}' in meters.toml is another instrument than the one this run was started with"
    else:
        return
    raise Refused("meter", [why], "Type the value, list the meter as it was, or start another run")


def require_able(state: RunState, item: Item, meter: Meter) -> None:
    """Refuse a meter that is not known to drive the current that an item is to be measured with.

    Raises
    ------
    Refused
    """
    least = least_current_a(state, item)
    if least is not None and not fits(state, item, meter):
        why = f"'{meter.name}' is not known to give {show(least, 'A')}"
        mend = "Leave it out, or type what a meter that does shows; or give its test_current in meters.toml"
        raise Refused("meter", [why], mend)


def measure_of(profile: Profile, wanted: Read) -> Measure:
    """Return the measure that reads a quantity; ripple is read peak to peak and nothing else is.

    Raises
    ------
    Refused
        When the profile measures no such thing.
    """
    function = function_of(wanted.quantity, wanted.unit)
    if wanted.unit == "Ω" and not function:
        known = {each.function for each in profile.measures}
        function = next((name for name in _OHMS if name in known), "ohms")
    ripple = "ripple" in wanted.quantity
    for each in profile.measures:
        fits = each.unit == wanted.unit if ripple else each.function == function
        if fits and (each.name == PEAK) == ripple:
            return each
    what = f"{wanted.unit} {PEAK}" if ripple else function or wanted.quantity
    raise Refused(
        "meter", [f"the profile '{profile.name}' does not measure {what}"], "Choose another meter with t"
    )
