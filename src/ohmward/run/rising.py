"""Whether the temperatures of a soak still rise over the room, by what was read.

It is said where a check asks it, and while they rise, the further times of the soak are asked for.
A check whose step names a soak under ``settles`` passes against these figures only in words, and the record
keeps what they were.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from ohmward.errors import Refused
from ohmward.logbook.events import Reading
from ohmward.procedure.model import ROOM, Item
from ohmward.quantity import show
from ohmward.run.blockers import describe
from ohmward.run.state import RunState, Standing

WINDOW_S = 1800.0
_OPEN = frozenset({Standing.NOT_DONE, Standing.STALE})
MOST_K = 1.0
"""What a temperature that has settled gains over the room in that time at most: common practice, no source.

It is what the shipped procedures ask; `analysis.stability` has the rules of standards.
"""
BESIDE_S = 60.0
"""Samples so near to a moment are averaged for it."""

_Points = dict[float, float]
"""Temperature [°C] by time since the soak began [s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gained:
    """What one sensor gained over the room in the last half hour [K]."""

    sensor: str
    by_k: float

    @property
    def still_rises(self) -> bool:
        """Whether that is more than a settled temperature gains."""
        return _rises(self.by_k)


def gained(state: RunState, item: Item) -> tuple[Gained, ...]:
    """Return what each sensor gained by the end of the soak that `item` asks about; those that tell it."""
    if not item.spec.settles:
        return ()
    found = _gained(state, item.spec.settles, math.inf)
    return tuple(Gained(sensor=sensor, by_k=by_k) for sensor, by_k in found.items() if by_k is not None)


def asked_for(state: RunState) -> tuple[Item, ...]:
    """Return every item that is asked for as `state` stands, in the order of the procedure.

    A further time of a soak is, once all before it is done, where the readings before it do not show that
    the rise has stopped. It is not where the check that the soak has settled is done, where an earlier
    further time was left out whole, or where the soak was sampled as far as that. What was recorded is
    never left away.
    """
    further: dict[str, list[Item]] = {}
    for item in state.by_key.values():
        if item.spec.further_times_s:
            further.setdefault(item.spec.id, []).append(item)
    if not further:
        return tuple(state.by_key.values())
    wanted = {step: _wanted_s(state, step, items) for step, items in further.items()}
    return tuple(
        item
        for item in state.by_key.values()
        if not item.is_further or item.key in state.entries or item.elapsed_s == wanted[item.spec.id]
    )


def _wanted_s(state: RunState, step: str, items: list[Item]) -> float | None:
    """Return the further time of a soak that is asked for now [s]; None where none is.

    `items` are all that the soak can read.
    """
    if any(item.spec.settles == step and state.settled(item) for item in state.by_key.values()):
        return None
    by_time: dict[float, list[Standing]] = {}
    for item in items:
        by_time.setdefault(item.elapsed_s or 0.0, []).append(state.standing(item))
    series = state.series.get(step)
    sampled_s = (series.last_s if series is not None else None) or 0.0
    for time_s, standings in by_time.items():
        is_further = time_s in items[0].spec.further_times_s
        if is_further and all(each is Standing.SKIPPED for each in standings):
            return None
        if not _OPEN.isdisjoint(standings):
            wanted = is_further and sampled_s < time_s - BESIDE_S and not _stopped(state, step, time_s)
            return time_s if wanted else None
    return None


def _stopped(state: RunState, step: str, before_s: float) -> bool:
    """Return whether what was read before a time shows that the rise has stopped, or nothing was read."""
    found = _gained(state, step, before_s).values()
    return all(by_k is not None and not _rises(by_k) for by_k in found)


def _rises(by_k: float) -> bool:
    """Return whether a sensor that gained so much over the room [K] still rises."""
    return by_k > MOST_K + 1e-9


def _gained(state: RunState, step: str, before_s: float) -> dict[str, float | None]:
    """Return what each sensor gained by what was read of a soak before a time [K]; None: they do not tell."""
    read = dict(_read(state, step, before_s))
    room = read.pop(ROOM, None)
    found: dict[str, float | None] = {}
    for sensor, points in read.items():
        ends = _ends(points, room)
        found[sensor] = None if ends is None else ends[1] - ends[0]
    return found


def rising_words(state: RunState, item: Item) -> str:
    """Return that temperatures still rise, in words; empty where none is known to."""
    found = [each for each in gained(state, item) if each.still_rises]
    if not found:
        return ""
    return f"by the readings it still rises: {_list(found)} in the last {_window()}, room taken off"


def gained_words(state: RunState, item: Item) -> str:
    """Return what the readings say of a check that a soak has settled, in words; empty for any other."""
    if not item.spec.settles:
        return ""
    found = gained(state, item)
    if not found:
        return f"the readings of the soak do not reach over the last {_window()}: go on with it"
    most = show(MOST_K, "K")
    still = any(each.still_rises for each in found)
    holds = f"more than {most}: it STILL RISES" if still else f"at most {most}: it has stopped"
    return f"by the readings of the last {_window()}, room taken off: {_list(found)}; {holds}"


def require_settled(state: RunState, item: Item) -> None:
    """Refuse that a check passes against the readings without words.

    Raises
    ------
    Refused
    """
    words = rising_words(state, item)
    if words:
        raise Refused(
            "reason",
            [f"{describe(item)}: {words}"],
            "Go on with the soak; or say why it holds all the same",
        )


def _list(found: list[Gained] | tuple[Gained, ...]) -> str:
    ordered = sorted(found, key=lambda each: -each.by_k)
    return ", ".join(f"{each.sensor} {each.by_k:+.1f} K" for each in ordered)


def _window() -> str:
    return show(WINDOW_S, "s")


def _read(state: RunState, step: str, before_s: float) -> Iterator[tuple[str, _Points]]:
    """Yield each sensor's temperatures before a time: what was sampled where it was, else reading by reading.

    What was read after the last sample comes behind it.
    """
    series = state.series.get(step)
    by_sensor: dict[str, _Points] = {}
    if series is not None and series.batches:
        rows = series.rows
        for column, channel in enumerate(series.begun.channels):
            points = {
                row.at_s: value
                for row in rows
                if (value := row.values[column]) is not None and row.at_s < before_s
            }
            if channel.unit == "°C" and points:
                by_sensor[channel.name] = points
    sampled_s = {sensor: max(points) + BESIDE_S for sensor, points in by_sensor.items()}
    for item in state.by_key.values():
        entry = state.entries.get(item.key)
        if item.spec.id != step or item.elapsed_s is None or entry is None or item.elapsed_s >= before_s:
            continue
        event, sensor = entry.event, item.subject.rpartition(" @ ")[0]
        counts = isinstance(event, Reading) and state.standing(item) is not Standing.STALE
        late = item.elapsed_s > sampled_s.get(sensor, -1.0)
        if counts and isinstance(event, Reading) and event.judged.net is not None and late:
            by_sensor.setdefault(sensor, {})[item.elapsed_s] = event.judged.net
    yield from by_sensor.items()


def _ends(points: _Points, room: _Points | None) -> tuple[float, float] | None:
    """Return the rise over the room half an hour before the last reading, and at it [K]."""
    last = max(points)
    before = last - WINDOW_S
    found = []
    for at in (before, last):
        own, beside = _at(points, at), _at(room, at) if room else 0.0
        if own is None or beside is None:
            return None
        found.append(own - beside)
    return found[0], found[1]


def _at(points: _Points, at: float) -> float | None:
    """Return the temperature about a moment; between two readings by proportion; None outside of all."""
    near = [value for time_s, value in points.items() if abs(time_s - at) <= BESIDE_S]
    if near:
        return sum(near) / len(near)
    before = max((time_s for time_s in points if time_s < at), default=None)
    after = min((time_s for time_s in points if time_s > at), default=None)
    if before is None or after is None:
        return None
    share = (at - before) / (after - before)
    return points[before] + share * (points[after] - points[before])
