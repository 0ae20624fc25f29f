"""A procedure laid out for one supply: the flat list of entries it asks for, each with its address.

Addresses are ``(step, subject)``. The step is the step's id, with ``.name`` of the read where a step lists
several; the subject says what is read and, in a sweep or soak, at which point: ``+15 @ 50 %``,
``heat sink +15 @ 10 min``. They stand in journals and answers files and are read for ever.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import msgspec

from ohmward.physics.expectation import LATE_S, TRANSFORMER_KEYS, UNIT_KEYS
from ohmward.procedure.limits import resolve
from ohmward.procedure.limitset import LimitSet
from ohmward.procedure.model import ROOM, Item, Limit, Procedure, Read, Stage, Step
from ohmward.quantity import show
from ohmward.supply.model import Rail, Supply, Transformer

DEFAULT_PARTS = ("case",)
UNKNOWN_TRANSFORMER = "transformer"
ALL_RAILS = "all rails"
WHOLE = "supply"

STEADY_TIMES = 4.0
"""Time constants after which a temperature is compared with its final value: 1 - exp(-4) = 98 %."""

HOTTEST_ROOM_C = 45.0
"""Above it, what is read of the room is asked about (common practice, no source)."""

# What a sensor of a soak is judged by, where its name is one of these: (limit, expectation).
_SENSORS = {
    ROOM: ("", ""),
    "transformer": ("transformer_temperature", "surface_c"),
    "case": ("case_temperature", ""),
    "terminals": ("terminal_temperature", ""),
}
_SIGNED_KEYS = frozenset({"output_v", "reservoir_v", "reservoir_mean_v", "reservoir_valley_v"})


@dataclass(frozen=True, slots=True)
class _Subject:
    """One thing that a step is about."""

    name: str = ""
    rail: Rail | None = None
    transformer: Transformer | None = None
    about: str = ""
    sensor: bool = False


@dataclass(frozen=True, slots=True)
class _Point:
    """Where in a sweep or soak a reading is taken."""

    label: str = ""
    fraction: float | None = None
    together: bool = False
    elapsed_s: float | None = None


_Entry = tuple[Read | None, _Subject, _Point]


def expand(
    procedure: Procedure, supply: Supply, limits: LimitSet, parts: Sequence[str] = ()
) -> tuple[Item, ...]:
    """Lay out a procedure for one supply.

    Parameters
    ----------
    procedure : Procedure
        What is to be done.
    supply : Supply
        The design sheet.
    limits : LimitSet
        The limit set in force.
    parts : sequence of str
        Accessible metal parts as the person names them; else those of the sheet; else the case.

    Returns
    -------
    tuple of Item
        In the order of the file; within a step by subject, load point and read, in a soak by time
        first, its further times last. No two have the same `key`. A soak under load has every rail at its
        rated current.

    Notes
    -----
    A plausible range in volts is of the rail's own sign: for a signed voltage of a rail it is mirrored
    or cut so that a wrong sign is asked about. In a sweep the reservoir is expected at its no-load value
    at 0 % and at its mean elsewhere. A step for several rails is left out where there is one, a
    step for a fixed cord where the sheet says that the cord unplugs. The first
    reading of the room in a soak is the room that expectations are computed at from there on.
    """
    named = tuple(dict.fromkeys(parts or supply.parts or DEFAULT_PARTS))
    lookup = partial(resolve, limits=limits, supply=supply)
    return tuple(
        _item(stage, step, entry, lookup)
        for stage in procedure.stages
        for step in stage.steps
        if _applies(step, supply)
        for entry in _entries(stage, step, supply, named)
    )


def _applies(step: Step, supply: Supply) -> bool:
    """Return whether a step is asked for of a supply; what the sheet leaves open is asked for."""
    cord = supply.mains.cord
    unplugs = cord is not None and cord.detachable
    return not (step.several_rails and len(supply.rails) < 2) and not (step.fixed_cord and unplugs)


def _entries(stage: Stage, step: Step, supply: Supply, parts: tuple[str, ...]) -> Iterator[_Entry]:
    reads: tuple[Read | None, ...] = step.reads or (None,)
    subjects = list(_subjects(step, supply, parts))
    if step.times_s:
        yield from _soak(stage, step, subjects, supply)
        return
    points = [
        _Point(f"{100 * fraction:g} %", fraction=fraction, together=step.together)
        for fraction in step.load_fractions
    ] or [_Point()]
    if step.together:
        subjects = subjects if step.each else [_Subject(ALL_RAILS)]
        yield from ((read, subject, point) for point in points for subject in subjects for read in reads)
    else:
        yield from ((read, subject, point) for subject in subjects for point in points for read in reads)


def _soak(stage: Stage, step: Step, subjects: list[_Subject], supply: Supply) -> Iterator[_Entry]:
    sensors = [sensor for name in step.sensors for sensor in _sensors(name, supply)]
    bodies = subjects if step.each else ([] if sensors else [_Subject(WHOLE)])
    for time_s in (*step.times_s, *step.further_times_s):
        fraction = 1.0 if stage.energised else None
        point = _Point(_time(time_s), fraction=fraction, together=stage.energised, elapsed_s=time_s)
        for read in step.reads:
            thermal = read.unit == "°C"
            for sensor in sensors if thermal or not bodies else ():
                begins = thermal and sensor.name == ROOM and time_s == step.times_s[0]
                own = _sensed(read, sensor)
                if begins and not _room_before(stage, step):
                    own = msgspec.structs.replace(own, condition="ambient_c")
                yield own, sensor, point
            for body in bodies:
                named = replace(body, name=f"heat sink {body.name}") if thermal and body.rail else body
                yield read, named, point


def _room_before(stage: Stage, soak: Step) -> bool:
    """Return whether the room is read by a step of its own before a soak; else its first reading is that."""
    before = stage.steps[: stage.steps.index(soak)]
    return any(read.condition == "ambient_c" for step in before for read in step.reads)


def _subjects(step: Step, supply: Supply, parts: tuple[str, ...]) -> Iterator[_Subject]:
    match step.each:
        case "":
            yield _Subject(about=_only_transformer(step, supply))
        case "part":
            yield from (_Subject(name) for name in parts)
        case "rail" | "regulated-rail":
            wanted = (rail for rail in supply.rails if step.each == "rail" or rail.regulator is not None)
            yield from (_Subject(rail.name, rail=rail, about=rail.name) for rail in wanted)
        case "transformer" if not supply.transformers:
            yield _Subject(UNKNOWN_TRANSFORMER)
        case "transformer":
            for each in supply.transformers:
                yield _Subject(each.name, transformer=each, about=each.name)
        case "secondary":
            for each in supply.transformers:
                for secondary in each.secondaries:
                    source = f"{each.name}.{secondary.name}"
                    yield _Subject(source, transformer=each, about=source)


def _only_transformer(step: Step, supply: Supply) -> str:
    """Return the transformer that a step taken once is about: the only one, read at the plug."""
    wanted = any(read.expect in TRANSFORMER_KEYS for read in step.reads)
    return supply.transformers[0].name if wanted and len(supply.transformers) == 1 else ""


def _sensors(name: str, supply: Supply) -> Iterator[_Subject]:
    """Yield what a sensor watches: ``transformer`` is each transformer of the sheet."""
    if name != "transformer" or not supply.transformers:
        yield _Subject(name, sensor=True)
        return
    for each in supply.transformers:
        own = name if len(supply.transformers) == 1 else f"{name} {each.name}"
        yield _Subject(own, transformer=each, about=each.name, sensor=True)


def _sensed(read: Read, sensor: _Subject) -> Read:
    """Return a soak's read as it holds for a sensor: its limit and expectation are not the heat sink's."""
    kind = "transformer" if sensor.transformer is not None else sensor.name
    if read.unit == "°C" and kind in _SENSORS:
        limit, expect = _SENSORS[kind]
        read = msgspec.structs.replace(read, limit=limit, limit_literal=None, expect=expect)
    high = read.plausible_high
    if read.unit == "°C" and kind == ROOM and high is not None:
        return msgspec.structs.replace(read, plausible_high=min(high, HOTTEST_ROOM_C))
    return read


def _item(stage: Stage, step: Step, entry: _Entry, lookup: partial[Limit | None]) -> Item:
    read, subject, point = entry
    rail = subject.rail
    load_a = None if rail is None or point.fraction is None else point.fraction * rail.rated_current_a
    lookup = partial(lookup, rail=rail, transformer=subject.transformer, load_a=load_a)
    if read is not None:
        read = _adapted(read, subject, point)
    limit = None if read is None else _limit(read.limit, read.limit_literal, lookup)
    stop = None if read is None or not _stops(subject) else _limit(read.stop, read.stop_literal, lookup)
    return Item(
        stage=stage.name,
        step=f"{step.id}.{read.name}" if read is not None and read.name else step.id,
        subject=" @ ".join(part for part in (subject.name, point.label) if part),
        kind=step.kind,
        spec=step,
        read=read,
        energised=stage.energised,
        role=stage.role,
        rail=rail.name if rail else "",
        about="" if read is None else _about(read, subject, point),
        load_a=load_a,
        together=point.together,
        elapsed_s=point.elapsed_s,
        limit=_within_stop(limit, stop, "" if read is None else read.unit),
        stop=stop,
    )


def _stops(subject: _Subject) -> bool:
    """Return whether a subject can be too hot: the air of the room is no part of the supply."""
    return not (subject.sensor and subject.name == ROOM)


def _limit(name: str, literal: Limit | None, lookup: partial[Limit | None]) -> Limit | None:
    return lookup(name) if name else literal


def _within_stop(limit: Limit | None, stop: Limit | None, unit: str) -> Limit | None:
    """Return the limit that counts: what would allow more than the stop is cut to the stop, and says so."""
    if limit is None or stop is None:
        return limit
    low, high = limit.low, limit.high
    if low is not None and stop.low is not None:
        low = max(low, stop.low)
    if high is not None and stop.high is not None:
        high = min(high, stop.high)
    if (low, high) == (limit.low, limit.high):
        return limit
    beyond = " and ".join(
        show(ours, unit)
        for ours, now in ((limit.low, low), (limit.high, high))
        if ours is not None and ours != now
    )
    basis = f"the stop of this step, {stop.basis}; alone, {limit.basis} would allow {beyond}"
    return msgspec.structs.replace(limit, low=low, high=high, basis=basis, obtained=stop.obtained)


def _about(read: Read, subject: _Subject, point: _Point) -> str:
    """Return the name that the expectation is kept under; the whole supply's is kept under none."""
    if read.expect in UNIT_KEYS and (point.fraction is None or point.together):
        return ""
    return subject.about


def _adapted(read: Read, subject: _Subject, point: _Point) -> Read:
    """Return a read as it holds at one point: sign of the rail, no load or loaded, warming or steady."""
    expect = read.expect
    if point.fraction == 0.0 and expect == "reservoir_mean_v":
        expect = "reservoir_v"
    elif point.fraction and expect == "reservoir_v":
        expect = "reservoir_mean_v"
    if read.unit == "°C" and point.elapsed_s is not None and not _steady(subject, point.elapsed_s):
        late = expect == "heatsink_c" and _late(subject, point.elapsed_s)
        expect = "heatsink_late_c" if late else ""
    low, high = read.plausible_low, read.plausible_high
    if subject.rail is not None and read.expect in _SIGNED_KEYS and low is not None and high is not None:
        low, high = _own_sign(low, high, subject.rail.sign)
    return msgspec.structs.replace(read, expect=expect, plausible_low=low, plausible_high=high)


def _own_sign(low: float, high: float, sign: float) -> tuple[float, float]:
    """Return a plausible range of magnitudes for a rail of that sign; zero is plausible either way."""
    most, least = max(abs(low), abs(high)), max(low, 0.0)
    return (least, most) if sign > 0 else (-most, 0.0 - least)


def _steady(subject: _Subject, elapsed_s: float) -> bool:
    body = subject.rail.heatsink if subject.rail else subject.transformer
    time_constant_s = None if body is None else body.time_constant_s
    return time_constant_s is not None and elapsed_s >= STEADY_TIMES * time_constant_s


def _late(subject: _Subject, elapsed_s: float) -> bool:
    """Whether a heat sink of which no time constant is known is warm enough to be foretold."""
    sink = subject.rail.heatsink if subject.rail else None
    return sink is not None and sink.time_constant_s is None and elapsed_s >= LATE_S


def _time(seconds: float) -> str:
    return f"{seconds / 60:g} min" if seconds % 60 == 0 else f"{seconds:g} s"


__all__ = ["ALL_RAILS", "DEFAULT_PARTS", "STEADY_TIMES", "UNKNOWN_TRANSFORMER", "WHOLE", "expand"]
