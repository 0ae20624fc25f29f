"""Ten channels at 10 Hz for ten minutes, recorded: samples missed, lateness, journal writes.

Run: ``python tests/benchmarks/bench_soak.py [FOLDER]``. The ten instruments are small servers in a process of
their own, reached through PyVISA over loopback; the soak is planned, driven and recorded as on a bench
(`taking.long_soak`), into a journal in FOLDER (or a temporary one). First a minute in real time, then ten
simulated minutes on a clock that runs faster and faster, as long as no sample is missed; a speed is tried
again once, as the machine may have been busy. What counts as missed is the engine's own rule
(`bench.soaking`): a sample that could not be taken within half an interval of its time. The journal is
read again from the disk afterwards: each sample has to be there, and nothing written but batches of samples,
the points of the procedure, the beginning and the end.
"""

from __future__ import annotations

import gc
import multiprocessing
import statistics
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from multiprocessing.connection import Connection
from pathlib import Path

import msgspec

from ohmward.bench.clock import Clock, WallClock
from ohmward.bench.inventory import Inventory
from ohmward.bench.meters import loads
from ohmward.bench.reading import Channel, read_together
from ohmward.bench.soaking import SoakEnded
from ohmward.logbook import create_run, disk, read
from ohmward.logbook.events import Reading, SeriesBegun, SeriesEnded, SeriesRows
from ohmward.run import LiveRun
from ohmward.run.answers import parse_answers, play
from ohmward.taking.hands import PersonsHands, ToDo
from ohmward.taking.long_soak import run_soak
from ohmward.taking.soak_plan import plan_soak
from ohmward.taking.soak_record import BATCH_S

sys.path.insert(0, str(Path(__file__).parents[1]))

INTERVAL_S, MINUTES = 0.1, 10
SPEEDS = (4.0, 6.0, 8.0, 10.0, 15.0, 20.0, 30.0, 40.0)
RAILS = tuple(f"+{volts}" for volts in range(5, 12))
PLACES = (*(f"heat sink {rail}" for rail in RAILS), "room air", "transformer", "case")
CELSIUS = "+2.31E+01"
STAGE = """
[[stage]]
name = "soak"
title = "Thermal soak"
energised = true
cautions = ["Loads get hot"]
[[stage.step]]
id = "soak"
kind = "soak"
title = "Temperatures"
each = "rail"
times = ["0 min", "{minutes:g} min"]
sensors = ["room air", "transformer", "case"]
severity = "fault"
quantity = "temperature_c"
unit = "°C"
plausible = ["-5 °C", "150 °C"]
meter = "thermometer"

[[stage]]
name = "make-safe\""""
ROWS = """step,subject,value,meter,note
plug,,pass,,
label,,pass,,
vents,,pass,,
case-shut,,,,
lead-null,,0.2,,
earth,case,0.25,,
earth,front panel,0.25,,
insulation,,>200M,,
acknowledge,no-load,,,
energised,,,,
lamp,,pass,,
mains,,231,,
acknowledge,soak,,,
"""


class FastClock:
    """The wall's clock, so many times faster."""

    def __init__(self, speed: float, stop: threading.Event) -> None:
        self._speed, self._stop = speed, stop

    def now(self) -> float:
        return time.monotonic() * self._speed

    def wait(self, seconds: float) -> bool:
        if seconds > 0:
            time.sleep(seconds / self._speed)
        return self._stop.is_set()


class FastHands(PersonsHands):
    """A person who does at once what is asked, on a clock that runs faster."""

    def __init__(self, speed: float) -> None:
        super().__init__(_at_once)
        self._speed = speed

    def clock(self, stop: threading.Event) -> Clock:
        return FastClock(self._speed, stop)


def _at_once(_: ToDo) -> bool:
    return True


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a soak came to."""

    ended: SoakEnded
    samples: int
    """Read again from the disk."""
    late_s: list[float]
    """How late each row was, by the fast clock, in order of size."""
    kinds: Counter[str]
    gap_s: float
    """The shortest real time between two writes to the disk while samples came, points left out."""
    spent_s: float
    write_s: float
    """The longest that a write to the disk took: it is made on the thread that samples."""
    row_s: float
    """Real time that reading all channels together takes, when nothing else is done (median)."""


def serve(pipe: Connection) -> None:
    from support.scpi import Instrument, Server

    servers = [Server(Instrument(fixed={"MEAS:TEMP?": CELSIUS})) for _ in PLACES]
    pipe.send([each.visa for each in servers])
    pipe.recv()


def begin(folder: Path, resources: list[str], minutes: float) -> LiveRun:
    """Begin a run, and bring it to its soak."""
    from support import bench as b

    rails = "".join(
        f'\n[[rail]]\nname = "{rail}"\nnominal = "{rail[1:]} V"\nrated_current = "0.1 A"\nsource = "T1.a"\n'
        for rail in RAILS
    )
    sheet = b.SHEET.partition("[[rail]]")[0] + (
        '[[transformer]]\nname = "T1"\nrating = "80 VA"\nsecondaries = [{ name = "a", voltage = "18 V" }]\n'
    ) + rails  # fmt: skip
    before, _, after = b.PROCEDURE.partition('[[stage]]\nname = "loaded"')
    procedure = before + STAGE.format(minutes=minutes) + after.partition('[[stage]]\nname = "make-safe"')[2]
    meters = "".join(
        f'[[meter]]\nname = "sensor {place}"\nkind = "thermometer"\nprofile = "thermometer"\n'
        f'resource = "{resource}"\n'
        '[[meter.accuracy]]\nfunction = "temperature"\nrange = "200 °C"\naccuracy = "1.0 °C"\n'
        for place, resource in zip(PLACES, resources, strict=True)
    )
    opened = msgspec.structs.replace(b.opened(procedure, sheet), meters=meters, simulated=True)
    live = LiveRun(create_run(folder, tag="CR-07", procedure_name="soak", opened=opened))
    outputs = "".join(f"output,{rail},{rail[1:]},,\n" for rail in RAILS)
    play(live, parse_answers(ROWS.replace("acknowledge,soak", outputs + "acknowledge,soak"), "rows"), "rows")
    return live


def soak(folder: Path, resources: list[str], minutes: float, speed: float) -> Found:
    """Have one soak planned, driven and recorded; look at the journal."""
    late: list[float] = []
    written: list[float] = []
    writes: list[float] = []
    inner = disk.append

    def append(descriptor: int, data: bytes) -> None:
        began = time.monotonic()
        inner(descriptor, data)
        writes.append(time.monotonic() - began)
        if b'"kind":"series-rows"' in data:
            written.append(began)

    with begin(folder, resources, minutes) as live:
        with Inventory(loads(live.state.opened.meters if live.state.opened else "")) as inventory:
            item = next(each for each in live.state.items if each.kind == "soak")
            planned = plan_soak(live.state, item, inventory, interval_s=INTERVAL_S)
            assert len(planned.sensors) == len(PLACES)
            row_s = _row_s(tuple(each.channel for each in planned.sensors))
            began = time.perf_counter()
            disk.append = append
            gc.freeze()
            try:
                ended = run_soak(
                    live, planned, inventory, FastHands(speed), stop=threading.Event(), heard=lambda _: None
                )
            finally:
                disk.append = inner
            spent_s = time.perf_counter() - began
        path = live.journal.path
    events = [record.event for record in read(path)]
    first = next(n for n, event in enumerate(events) if isinstance(event, SeriesBegun))
    kinds = Counter(type(event).__name__ for event in events[first:])
    rows = [row for event in events if isinstance(event, SeriesRows) for row in event.rows]
    late = sorted(row.at_s - INTERVAL_S * round(row.at_s / INTERVAL_S) for row in rows)
    # the last batch is what is left at the end, however soon that is
    gaps = [after - before for before, after in pairwise(written[:-1])]
    assert isinstance(events[-1], SeriesEnded)
    wanted = {kind.__name__ for kind in (SeriesBegun, SeriesRows, SeriesEnded, Reading)}
    assert ended.missed or set(kinds) == wanted, kinds
    return Found(
        ended=ended, samples=sum(sum(value is not None for value in row.values) for row in rows),
        late_s=late, kinds=kinds, gap_s=min(gaps, default=0.0), spent_s=spent_s, row_s=row_s,
        write_s=max(writes),
    )  # fmt: skip


def _row_s(channels: tuple[Channel, ...]) -> float:
    """Return what reading them together takes [s]; it also opens them."""
    spent: list[float] = []
    for _ in range(200):
        began = time.perf_counter()
        _, failed = read_together(channels, WallClock())
        spent.append(time.perf_counter() - began)
        assert not failed
    return statistics.median(spent)


def said(found: Found, minutes: float, speed: float) -> str:
    due = len(PLACES) * (round(60 * minutes / INTERVAL_S) + 1)
    worst = max(found.late_s[-1], -found.late_s[0]) * 1e3
    return (
        f"{speed:4.0f} times: {found.samples} of {due} samples on the disk in {found.spent_s:.1f} s, missed"
        f" {found.ended.missed}; at most {worst:.0f} ms off their time ({worst / speed:.2f} ms real), a row"
        f" by itself takes {found.row_s * 1e3:.2f} ms, the longest write"
        f" {found.write_s * 1e3:.0f} ms; {dict(found.kinds)};"
        f" batches at least {found.gap_s:.2f} s apart (rule: {BATCH_S:g} s)\n"
    )


def main(folder: Path) -> None:
    ours, theirs = multiprocessing.Pipe()
    process = multiprocessing.get_context("spawn").Process(target=serve, args=(theirs,), daemon=True)
    process.start()
    resources = ours.recv()
    sys.stdout.write(f"{len(PLACES)} channels, interval {INTERVAL_S * 1e3:g} ms\n")
    sys.stdout.write(said(soak(folder, resources, 1.0, 1.0), 1.0, 1.0))
    fastest = 0.0
    for speed in SPEEDS:
        for _ in range(2):
            found = soak(folder, resources, MINUTES, speed)
            sys.stdout.write(said(found, MINUTES, speed))
            sys.stdout.flush()
            if found.ended.missed == 0:
                fastest = speed
                break
        if fastest != speed:
            break
    sys.stdout.write(f"fastest without a missed sample: {fastest:g} times\n")
    ours.send(None)
    process.join(5)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory(dir=sys.argv[1] if len(sys.argv) > 1 else None) as name:
        main(Path(name))
