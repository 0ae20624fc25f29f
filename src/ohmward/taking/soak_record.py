"""What a running soak leaves in the journal: samples in batches, points as readings, gaps, and its end."""

from __future__ import annotations

import time

import msgspec

from ohmward.bench.meters import is_simulated
from ohmward.bench.settled import Sample, Settle, Settled, Settling
from ohmward.bench.soaking import Gap, Row, SoakEnded
from ohmward.errors import Refused
from ohmward.logbook.events import SeriesEnded, SeriesGap, SeriesRow, SeriesRows
from ohmward.procedure.model import Item
from ohmward.quantity import show_value
from ohmward.run.live import LiveRun
from ohmward.run.state import RunState
from ohmward.taking.soak_plan import PlannedSoak, Sensor

BATCH_S = 1.0
"""Samples that come faster than this go to the journal together, about this often by the wall's time [s]."""
LATE_S = 60.0
"""A point whose time went by this long ago is left out: what is read now is another temperature."""


class SoakRecord:
    """The journal's side of a soak in hand.

    Parameters
    ----------
    live : LiveRun
    planned : PlannedSoak
    """

    def __init__(self, live: LiveRun, planned: PlannedSoak) -> None:
        self._live, self._planned = live, planned
        self._pending = {each.name: _to_take(live.state, each, planned) for each in planned.sensors}
        self._missed: list[Item] = []
        self._past: dict[str, tuple[Sample, float]] = {}
        """Samples past a stop limit: recorded as readings once the loads are off, as they halt the run."""
        self._rows: list[SeriesRow] = []
        self._written = time.monotonic()

    def row(self, row: Row) -> tuple[Item, ...]:
        """Take a sample; return the points that were recorded with it."""
        samples = [row.samples.get(each.name) for each in self._planned.sensors]
        for sensor, sample in zip(self._planned.sensors, samples, strict=True):
            if sample is not None:
                require_real(self._live.state, sensor)
        self._rows.append(
            SeriesRow(
                at_s=row.at_s,
                values=tuple(number_of(sample) for sample in samples),
                replies=tuple("" if sample is None else sample.value.raw for sample in samples),
            )
        )
        for sensor, sample in zip(self._planned.sensors, samples, strict=True):
            if sample is not None and sample.failed:
                self._live.attempts_failed(self._planned.step, "", sensor.meter, sample.failed)
        if self._planned.interval_s >= BATCH_S or time.monotonic() - self._written >= BATCH_S:
            self.flush()
        taken = []
        for sensor, sample in zip(self._planned.sensors, samples, strict=True):
            taken += self._points(sensor, sample, row)
        return tuple(taken)

    def gap(self, gap: Gap) -> None:
        """Take a gap."""
        self.flush()
        self._live.do(
            SeriesGap(
                step=self._planned.step, channel=gap.channel, from_s=gap.from_s, to_s=gap.to_s, why=gap.why,
                interrupted=gap.interrupted,
            )
        )  # fmt: skip

    def flush(self) -> None:
        """Write the samples that wait; they are on the disk when this returns."""
        if self._rows:
            self._live.do(SeriesRows(step=self._planned.step, rows=tuple(self._rows)))
            self._rows.clear()
        self._written = time.monotonic()

    def last(self, ended: SoakEnded | None) -> None:
        """Record what waits, what was past a stop, and what was missed in a soak that is complete."""
        self.flush()
        for sensor in self._planned.sensors:
            if sensor.name in self._past:
                self._record_past(sensor, *self._past[sensor.name])
        if ended is not None and ended.complete:
            gone = [i for pending in self._pending.values() for i in pending if _due_s(i) <= ended.at_s]
            for item in (*self._missed, *gone):
                self._leave_out(item)

    def end(self, ended: SoakEnded | None, why: str, at_s: float, *, off: bool) -> None:
        """Record that the soak is over."""
        self._live.do(
            SeriesEnded(
                step=self._planned.step, at_s=at_s, complete=ended is not None and ended.complete, why=why,
                missed=ended.missed if ended is not None else 0, load_off=off,
            )
        )  # fmt: skip

    def _points(self, sensor: Sensor, sample: Sample | None, row: Row) -> list[Item]:
        """Record the points of the procedure whose time has come."""
        if sample is not None and any(
            s.channel == sensor.name and s.passed(sample.value) for s in self._planned.stops
        ):
            self._past[sensor.name] = (sample, row.at_s)
            return []
        pending, taken = self._pending[sensor.name], []
        while pending and _due_s(pending[0]) <= row.due_s + 1e-6:
            late_s = row.due_s - _due_s(pending[0])
            if late_s > max(LATE_S, 2 * self._planned.interval_s):
                self._missed.append(pending.pop(0))
            elif sample is None:
                break
            else:
                item = pending.pop(0)
                late = late_s >= self._planned.interval_s
                self._measure(sensor, item, sample, f"read at {row.at_s / 60:.1f} min" if late else "")
                taken.append(item)
        return taken

    def _leave_out(self, item: Item) -> None:
        """Leave out a point whose time went by; where the gates do not take that, a note says so."""
        reason = "its time went by in a gap of the record"
        try:
            self._live.skip(item.step, item.subject, reason)
        except Refused:
            self._live.note(f"not read: {reason}", item.step, item.subject)

    def _record_past(self, sensor: Sensor, sample: Sample, at_s: float) -> None:
        """Record a reading past its stop limit at the next point of its sensor: it halts the run."""
        coming = self._pending[sensor.name] or list(sensor.items[-1:])
        if coming:
            self._measure(sensor, coming[0], sample, f"read at {at_s / 60:.1f} min: past its stop limit")

    def _measure(self, sensor: Sensor, item: Item, sample: Sample, note: str = "") -> None:
        try:
            self._live.measure(
                item.step, item.subject, _settled(sensor, sample), meter=sensor.meter,
                identity=sensor.channel.session.identity, function=sensor.channel.function, note=note,
                unattended=True,
            )  # fmt: skip
        except Refused as refusal:
            # mains went off in between: what was read is not lost
            words = "; ".join(each for each in (note, f"not taken: {refusal}") if each)
            self._live.note(f"read {show_value(sample.value)}; {words}", item.step, item.subject)


def require_real(state: RunState, sensor: Sensor) -> None:
    """Refuse a meter of the simulated bench in a run that is not a rehearsal, by what it calls itself.

    Raises
    ------
    Refused
    """
    if is_simulated(sensor.channel.session.identity) and not state.simulated:
        raise Refused(
            "simulated",
            [f"'{sensor.meter}' is a meter of the simulated bench, and this run is not a rehearsal"],
            "Sample it with real meters; to rehearse, start a run with --rehearsal",
        )


def number_of(sample: Sample | None) -> float | None:
    """Return a sample as a number [its unit]; None where it is none."""
    if sample is None or sample.value.number is None or sample.value.kind != "exact":
        return None
    return sample.value.si


def _settled(sensor: Sensor, sample: Sample) -> Settled:
    """Return one sample as a reading: settled in the sense that nothing was waited for."""
    settling = Settling(Settle())
    settling.add(sample)
    found = settling.result(sensor.channel.meter, sensor.channel.function)
    return msgspec.structs.replace(found, settled=True, failed=())


def _due_s(item: Item) -> float:
    return item.elapsed_s or 0.0


def _to_take(state: RunState, sensor: Sensor, planned: PlannedSoak) -> list[Item]:
    """Return the points of a sensor still to be recorded: all of a new soak, the rest of a cut one."""
    if planned.resumes is None:
        return list(sensor.items)
    since = planned.resumes.seq
    entries = state.entries
    return [i for i in sensor.items if i.key not in entries or entries[i.key].seq < since]
