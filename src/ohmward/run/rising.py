"""Whether the temperatures of a soak still rise over the room, by what was read: said where a check asks it.

A check whose step names a soak under ``settles`` passes against these figures only in words, and the record
keeps what they were.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ohmward.errors import Refused
from ohmward.logbook.events import Reading
from ohmward.procedure.model import ROOM, Item
from ohmward.quantity import show
from ohmward.run.blockers import describe
from ohmward.run.state import RunState, Standing

WINDOW_S = 1800.0
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
        return self.by_k > MOST_K + 1e-9


def gained(state: RunState, item: Item) -> tuple[Gained, ...]:
    """Return what each sensor gained by the end of the soak that `item` asks about; those that tell it."""
    if not item.spec.settles:
        return ()
    read = dict(_read(state, item.spec.settles))
    room = read.get(ROOM)
    found = []
    for sensor, points in read.items():
        if sensor == ROOM:
            continue
        ends = _ends(points, room)
        if ends is not None:
            found.append(Gained(sensor=sensor, by_k=ends[1] - ends[0]))
    return tuple(found)


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


def _read(state: RunState, step: str) -> Iterator[tuple[str, _Points]]:
    """Yield each sensor's temperatures: what was sampled where it was, else the readings point by point."""
    series = state.series.get(step)
    sampled: set[str] = set()
    if series is not None and series.batches:
        rows = series.rows
        for column, channel in enumerate(series.begun.channels):
            points = {row.at_s: value for row in rows if (value := row.values[column]) is not None}
            if channel.unit == "°C" and points:
                sampled.add(channel.name)
                yield channel.name, points
    by_sensor: dict[str, _Points] = {}
    for item in state.items:
        entry = state.entries.get(item.key)
        if item.spec.id != step or item.elapsed_s is None or entry is None:
            continue
        event, sensor = entry.event, item.subject.rpartition(" @ ")[0]
        counts = isinstance(event, Reading) and state.standing(item) is not Standing.STALE
        if counts and isinstance(event, Reading) and event.judged.net is not None and sensor not in sampled:
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
