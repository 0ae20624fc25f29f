"""The law of a soak's record: every sample once and in order, every point once and never before its time."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from decimal import Decimal
from functools import cache
from types import SimpleNamespace
from typing import Any, cast

import msgspec
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.bench.meters import loads as load_meters
from ohmward.bench.reading import Channel
from ohmward.bench.settled import Sample
from ohmward.bench.soaking import Gap, Row, SoakEnded
from ohmward.errors import Unreachable
from ohmward.logbook import Journal
from ohmward.logbook.events import (
    Event,
    Reading,
    Record,
    SeriesBegun,
    SeriesEnded,
    SeriesGap,
    SeriesRow,
    SeriesRows,
    Skipped,
)
from ohmward.quantity import Value
from ohmward.run import LiveRun
from ohmward.run.answers import parse_answers, play
from ohmward.taking.soak_plan import PlannedSoak, Sensor, sensor_of
from ohmward.taking.soak_record import SoakRecord
from support import bench as b
from support.taking import SHEET, TO_SOAK, procedure

NAMES = ("room air", "transformer", "heat sink +15")
METERS = "".join(
    f"""
[[meter]]
name = "sensor {name}"
kind = "thermometer"
[[meter.accuracy]]
function = "temperature"
range = "200 °C"
resolution = "0.1 °C"
accuracy = "1 °C"
"""
    for name in NAMES
)
STOP_C = 100.0


class Memory:
    """A journal without a disk, which is full from the nth new record on."""

    def __init__(self, records: Sequence[Record], full_after: int | None = None) -> None:
        self.records = tuple(records)
        self._left = full_after

    def append(self, event: Event) -> Record:
        if self._left is not None:
            self._left -= 1
            if self._left < 0:
                raise Unreachable("no space left")
        record = b.record(len(self.records), event)
        self.records = (*self.records, record)
        return record


@cache
def begun(interval_s: float) -> tuple[tuple[Record, ...], PlannedSoak]:
    opened = msgspec.structs.replace(b.opened(procedure(), SHEET), meters=METERS)
    live = LiveRun(cast(Journal, Memory([b.record(0, opened)])))
    play(live, parse_answers(TO_SOAK, "rows"), "rows")
    meters = {meter.name: meter for meter in load_meters(METERS, "meters")}
    measure = SimpleNamespace(unit="°C", function="temperature")
    session = SimpleNamespace(identity="", profile=SimpleNamespace(measure=lambda _: measure))
    sensors = []
    for name in NAMES:
        items = [i for i in live.state.items if i.spec.id == "soak" and sensor_of(i) == name]
        channel = Channel(name=name, session=cast(Any, session), meter=meters[f"sensor {name}"])
        sensors.append(Sensor(name=name, meter=f"sensor {name}", channel=channel, items=tuple(items)))
    planned = PlannedSoak(
        step="soak", title="Temperatures", sensors=tuple(sensors), interval_s=interval_s, duration_s=1200.0,
        loads={}, currents={}, left=(),
    )  # fmt: skip
    live.do(
        SeriesBegun(
            step="soak", channels=planned.recorded, interval_s=interval_s, duration_s=1200.0, loads=()
        )
    )
    return live.journal.records, planned


def sample(at_s: float, number: str) -> Sample:
    value = Value(raw=number, number=Decimal(number), unit="°C", resolution=Decimal("0.001"))
    return Sample(at_s=at_s, value=value)


steps: Any = st.lists(
    st.one_of(
        # a row: how much later it is due, and which sensors gave something
        st.tuples(st.just("row"), st.floats(0.001, 0.5), st.lists(st.booleans(), min_size=3, max_size=3)),
        st.tuples(st.just("gap"), st.sampled_from(["", *NAMES]), st.just([])),
        st.tuples(st.just("off"), st.just(""), st.just([])),
    ),
    max_size=25,
)


@settings(max_examples=150, deadline=None)
@given(
    steps=steps,
    interval_s=st.sampled_from([0.1, 10.0, 60.0]),
    full_after=st.one_of(st.none(), st.integers(0, 40)),
    past=st.booleans(),
    complete=st.booleans(),
)
def test_whatever_comes_each_sample_is_there_once_and_each_point_once_and_never_early(
    steps: list[tuple[str, Any, list[bool]]],
    interval_s: float,
    full_after: int | None,
    past: bool,
    complete: bool,
) -> None:
    before, planned = begun(interval_s)
    live = LiveRun(cast(Journal, Memory(before, full_after)))
    record, handed = SoakRecord(live, planned), list[Row]()
    due_s, failed = 0.0, False
    try:
        for index, (what, detail, given_by) in enumerate(steps):
            if what == "row":
                due_s += max(1, round(detail * 1200.0 / interval_s / 3)) * interval_s if handed else 0.0
                # every number is another one, so that a reading tells which row it came from
                numbers = {name: f"{20 + place + index / 1000:.3f}" for place, name in enumerate(NAMES)}
                found = {
                    n: sample(due_s, numbers[n]) for n, given in zip(NAMES, given_by, strict=True) if given
                }
                if not found:
                    continue
                row = Row(at_s=due_s + 0.01, due_s=due_s, samples=found)
                handed.append(row)
                record.row(row)
            elif what == "gap":
                record.gap(Gap(channel=detail, from_s=due_s, to_s=due_s + interval_s, why="cut"))
                # what was sampled before a gap is on the disk before it
                assert len(_kept(live, len(before))) == len(handed)
            elif live.state.phase == "live":
                live.switch_off("someone")
        if past:
            due_s += interval_s
            row = Row(at_s=due_s + 0.01, due_s=due_s, samples={NAMES[2]: sample(due_s, "101.5")})
            handed.append(row)
            record.row(row)
        ended = SoakEnded(at_s=due_s, complete=complete and not past, why="it is over", missed=0)
        record.last(ended)
        record.end(ended, ended.why, ended.at_s, off=True)
    except Unreachable:
        failed = True
        with suppress(Unreachable):
            record.last(None)
        with suppress(Unreachable):
            record.end(None, "it was broken off", due_s, off=True)
    _check(live, planned, handed, failed=failed, before=len(before))


def _kept(live: LiveRun, before: int) -> list[SeriesRow]:
    new = [each.event for each in live.journal.records[before:]]
    return [row for each in new if isinstance(each, SeriesRows) for row in each.rows]


def _check(live: LiveRun, planned: PlannedSoak, handed: list[Row], *, failed: bool, before: int) -> None:
    new = [each.event for each in live.journal.records[before:]]
    kept = _kept(live, before)
    wanted = [
        (row.at_s, tuple(s.value.si if (s := row.samples.get(n)) is not None else None for n in NAMES))
        for row in handed
    ]
    found = [(row.at_s, row.values) for row in kept]
    assert found == wanted[: len(found)]
    if not failed:
        assert len(found) == len(wanted)
        assert sum(isinstance(each, SeriesEnded) for each in new) == 1
        assert live.state.series["soak"].ended is not None
    assert live.state.violations == ()
    points = [each for each in new if isinstance(each, Reading | Skipped)]
    assert len({each.subject for each in points}) == len(points)
    due_of = {item.subject: item.elapsed_s or 0.0 for each in planned.sensors for item in each.items}
    for point in points:
        if isinstance(point, Skipped):
            continue
        name = point.subject.rpartition(" @ ")[0]
        (row,) = (r for r in handed if name in r.samples and r.samples[name].value.si == point.value.si)
        if point.value.si > STOP_C:
            assert "past its stop limit" in point.note
            assert point.judged.past_stop
        else:
            assert row.due_s >= due_of[point.subject] - 1e-6
    assert all(each.step == "soak" for each in new if isinstance(each, SeriesGap))
