"""Make the rehearsal answers of CR-07 and the logs in sample_logs/ (all marked as rehearsals).

    python tests/make_samples.py

Readings come from the product's own physics with a seeded error of ordinary meters; they are sample
data, never expected values of a test.
"""

from __future__ import annotations

import csv
import math
import os
import random
import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path

import msgspec

from ohmward import __version__
from ohmward.demo import TAG, begin, bench_of
from ohmward.demo.apart import METERS as SIMULATED_METERS
from ohmward.demo.playing import play_live
from ohmward.logbook import open_run
from ohmward.logbook.place import VARIABLE
from ohmward.physics import expect
from ohmward.physics.condition import Unit
from ohmward.physics.expectation import Expectation
from ohmward.physics.faults import apply
from ohmward.physics.transformer import usual_time_constant_s
from ohmward.procedure import expand, load, load_limits
from ohmward.procedure.model import ROOM, Item
from ohmward.quantity import parse, within
from ohmward.run import LiveRun
from ohmward.run.answers import COLUMNS, parse_answers, play
from ohmward.shipped import folder
from ohmward.supply import load as load_sheet
from ohmward.supply.model import Supply

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests"))
MAINS_V, ROOM_C = 231.4, 21.5
REPEATS_K = 0.05
"""How well a taped-down thermocouple repeats itself, as a standard deviation [K] (no source)."""
Row = tuple[str, str, str, str, str]

METERS = {
    "low-ohm": "low-ohm",
    "insulation": "insulation",
    "thermometer": "thermometer",
    "oscilloscope": "scope",
    "power": "mains-meter",
}
FIXED = {  # readings that no expectation covers, by step
    "lead-null": "0.212",
    "charge-left": "0.031",
    "humidity": "48",
    "insulation": ">200M",
    "insulation-mains-output": ">200M",
    "case-voltage-limited": "0.4",
    "case-voltage": "0.6",
    "hot-terminals": "38",
}
BY_QUANTITY = {"resistance": ">40M", "insulation": ">200M", "mains_v": f"{MAINS_V}", "ambient_c": f"{ROOM_C}"}
LEFT_OUT = {  # optional steps that this bench has no means for
    "earth-bond": "no high-current tester here",
    "earth-current": "no leakage meter here",
    "variac-climb": "series lamp used",
    "hot-primary": "not measured",
    "hot-earth": "not repeated hot",
    "hot-insulation": "not repeated hot",
    "low-mains": "no variac of this size here",
    "high-mains": "no variac of this size here",
    "current-limit": "not tried",
    "waveform": "this oscilloscope saves no samples",
    "mains-together": "same as before",
    "load-points.mains": "steady",
}


class Clock:
    """A bench clock that moves half a minute a record."""

    def __init__(self, start: datetime) -> None:
        self.start, self.ticks = start, 0

    def now(self) -> datetime:
        self.ticks += 1
        return self.start + timedelta(seconds=31 * self.ticks)

    def monotonic(self) -> float:
        return 31.0 * self.ticks


def answers(supply: Supply, items: tuple[Item, ...], expectation: Expectation, story: Story) -> Iterator[Row]:
    """Yield the rows of one story."""
    noise = random.Random(f"{story.name} bench A")
    yield ("parts", "", "; ".join(supply.parts), "", "")
    shut = live = False
    soaked: dict[str, float] = {}
    acknowledged: set[str] = set()
    for item in items:
        if item.spec.enclosure == "shut" and not shut and not item.energised and not item.role:
            yield ("case-shut", "", "", "", "test leads brought out")
            shut = True
        if item.energised and item.stage not in acknowledged:
            yield ("acknowledge", item.stage, "", "", "")
            acknowledged.add(item.stage)
        if item.energised and not live:
            yield ("energised", "", "", "", "")
            live = True
        if item.role and live:
            yield ("switched-off", "", "", "", "plug out and in sight")
            live = False
        if item.is_further and not still_rises(soaked, item):
            continue
        for row in rows_of(supply, item, expectation, story, noise):
            if item.kind == "soak" and row[0] == item.step:
                soaked[item.subject] = float(row[2])
            yield row
    yield ("close", "", "", "", "")


def still_rises(soaked: dict[str, float], item: Item) -> bool:
    """Return whether a sensor gained over 1 K on the room in the half hour before a further time."""
    last_s = max(t for t in (*item.spec.times_s, *item.spec.further_times_s) if t < (item.elapsed_s or 0.0))
    now, before = f" @ {last_s / 60:g} min", f" @ {last_s / 60 - 30:g} min"
    gained = {
        subject.removesuffix(now): value - soaked[subject.removesuffix(now) + before]
        for subject, value in soaked.items()
        if subject.endswith(now)
    }
    room = gained.pop(ROOM, 0.0)
    return any(gain - room > 1.0 + 1e-9 for gain in gained.values())


def rows_of(
    supply: Supply, item: Item, expectation: Expectation, story: Story, noise: random.Random
) -> Iterator[Row]:
    """Yield the row of an item, with the override that a fault of the story asks for."""
    base = item.step.partition(".")[0]
    if item.spec.left_out_with in LEFT_OUT:
        return  # it went with the step before
    if not item.required and (reason := LEFT_OUT.get(item.step) or LEFT_OUT.get(base)):
        yield (item.step, item.subject, "", "", reason)
        return
    if item.read is None:
        if item.key in story.mended:
            found, done = story.mended[item.key]
            yield (item.step, item.subject, "fail", "", found)
            yield (item.step, item.subject, "pass", "", done)
            return
        verdict, note = story.checks.get(item.key, ("pass", ""))
        yield (item.step, item.subject, verdict, "", note)
        failed = verdict == "fail"
    else:
        text = reading(supply, item, expectation, story, noise)
        yield (item.step, item.subject, text, METERS.get(item.read.meter, "multimeter"), "")
        failed = outside(text, item)
    if failed and item.spec.severity == "fault":
        yield ("override", target(item), "", "", "known fault; measured on to find its size")


def target(item: Item) -> str:
    """Return the address of an item as an action row names it."""
    return f"{item.step} / {item.subject}" if item.subject else item.step


def outside(text: str, item: Item) -> bool:
    """Return whether a reading is certain to miss its limit."""
    if item.limit is None or item.read is None:
        return False
    value = parse(text.removesuffix("!"), item.read.unit)
    if item.read.subtract and value.number is not None:
        value = msgspec.structs.replace(value, number=value.number - Decimal(FIXED["lead-null"]))
    return within(value, item.limit.low, item.limit.high) is False


def reading(  # noqa: PLR0911 one return a way to know it
    supply: Supply, item: Item, expectation: Expectation, story: Story, noise: random.Random
) -> str:
    """Return what the meter of a story shows."""
    assert item.read is not None
    if item.key in story.readings:
        return story.readings[item.key]
    if item.step in FIXED:
        return FIXED[item.step]
    if item.spec.proves_earth:
        return f"{0.212 + noise.uniform(0.052, 0.078):.3f}"
    if item.step == "line-core":
        return f"{0.212 + noise.uniform(0.047, 0.051):.3f}"
    if item.step == "primary-resistance":
        return f"{1 / sum(1 / bands['primary_ohm'].value for bands in expectation.transformers.values()):.1f}"
    if item.step == "output-short":
        return ">40M"
    if item.read.quantity == "temperature_c":
        return f"{temperature(supply, item, expectation) + noise.gauss(0, REPEATS_K):.1f}"
    if item.read.quantity == "residual_v":
        return f"{noise.uniform(0.02, 0.4):.3f}"
    band = expectation.band(item.read.expect, item.about, load_a=item.load_a, together=item.together)
    if item.read.expect and band is not None:
        value = band.value + story.lean.get(item.about, 0.15) * (band.high - band.value)
        return figures(value * (1 + noise.gauss(0, 2e-4)))
    return BY_QUANTITY.get(item.read.quantity, "0")


def figures(value: float) -> str:
    """Return a number with four figures, as a 6000-count meter would show it."""
    digits = 3 - math.floor(math.log10(abs(value))) if value else 3
    return f"{value:.{max(min(digits, 5), 0)}f}"


def temperature(supply: Supply, item: Item, expectation: Expectation) -> float:
    """Return a soak temperature: an exponential rise over the room, the heat model's where it has one."""
    sensor = item.subject.split(" @ ")[0]
    elapsed = 3600.0 if item.elapsed_s is None else item.elapsed_s
    if sensor == ROOM:
        return ROOM_C + 1.2 * (1 - math.exp(-elapsed / 1500))
    final, tau = 38.0, 1800.0  # a panel of the case, of which there is no model
    for rail in supply.rails:
        if sensor == f"heat sink {rail.name}" and rail.heatsink is not None:
            final = expected(expectation, "heatsink_c", rail.name)
            tau = rail.heatsink.time_constant_s or 720.0
    for transformer in supply.transformers:
        if sensor in {"transformer", f"transformer {transformer.name}"}:
            final = expected(expectation, "surface_c", transformer.name)
            usual = usual_time_constant_s(transformer.rating_va or 100.0).value
            tau = transformer.time_constant_s or usual
    return ROOM_C + (final - ROOM_C) * (1 - math.exp(-elapsed / tau))


def expected(expectation: Expectation, key: str, about: str) -> float:
    """Return what a temperature comes to with every rail at its rated current [°C]."""
    band = expectation.band(key, about, load_a=None, together=True)
    assert band is not None, (key, about)
    return band.value


@dataclass(frozen=True)
class Story:
    """What a supply is like, told as departures from the expectation of a sound one."""

    name: str
    checks: dict[tuple[str, str], tuple[str, str]] = field(default_factory=dict)
    mended: dict[tuple[str, str], tuple[str, str]] = field(default_factory=dict)
    """Dangers found and put right at once: what was found, what was done."""
    readings: dict[tuple[str, str], str] = field(default_factory=dict)
    lean: dict[str, float] = field(default_factory=dict)
    """By rail: where in the band a sound reading lies (1 at its upper edge)."""
    fault: tuple[str, str] | None = None
    """Fault of the library and the rail it sits in."""


STORIES = (
    Story("healthy", lean={"+15": 0.2, "-15": -0.1, "+48": 0.15, "24": 0.1}),
    Story(
        "faulty",
        lean={"+15": 0.2, "-15": -0.1, "+48": 0.15, "24": 0.1},
        fault=("open-diode", "24"),
        mended={
            ("plug-grip", ""): (
                "grip holds the cores, not the sheath",
                "sheath re-clamped, pulled and twisted",
            ),
        },
        checks={
            ("openings", ""): ("fail", "half of the slots are under the fitted feet"),
            ("ripple-frequency", "24"): ("fail", "50 Hz on the 24 V rail, 100 Hz on the others"),
            ("fuse-label", ""): ("fail", "no fuse value on the rear panel"),
        },
    ),
)


def expectation_of(supply: Supply, story: Story) -> Expectation:
    """Return what the story's supply shows: the physics of a sound one, or with its fault in it."""
    unit: Supply | Unit = supply
    if story.fault is not None:
        unit = apply(story.fault[0], supply, story.fault[1])
    return expect(unit, mains_v=MAINS_V, ambient_c=ROOM_C, load_points=(0.1, 0.25, 0.5, 0.75, 1.0), draws=200)


def write_answers() -> None:
    """Write the shipped answers of every story."""
    supply = load_sheet(folder("demo") / f"{TAG}.toml")
    limits = load_limits(supply.limit_set)
    items = expand(load("commissioning"), supply, limits, supply.parts)
    for story in STORIES:
        path = folder("demo") / f"{TAG}.{story.name}.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(COLUMNS)
            writer.writerow(("# Rehearsal: simulated readings, no real supply", "", "", "", ""))
            writer.writerows(answers(supply, items, expectation_of(supply, story), story))


def write_samples() -> None:
    """Play the stories into sample_logs/: healthy, faulty, and one interrupted in the loaded stage."""
    shelf = ROOT / "sample_logs"
    shutil.rmtree(shelf, ignore_errors=True)
    bench_time = timezone(timedelta(hours=1))
    for day, (story, until) in enumerate(
        (("healthy", None), ("faulty", None), ("healthy", "load-points.output"))
    ):
        clock = Clock(datetime(2026, 3, 2 + day, 9, 30, tzinfo=bench_time))
        text = (folder("demo") / f"{TAG}.{story}.csv").read_text(encoding="utf-8")
        rows = parse_answers(text, story)
        if until is not None:
            first = next(number for number, row in enumerate(rows) if row.step == until)
            rows = rows[: first + 9]
        path = begin(shelf, tool=f"ohmward {__version__}", clock=clock)
        with LiveRun(open_run(path, clock=clock)) as live:
            play(live, rows, story)
        print(path.relative_to(ROOT), len(rows), "rows")  # noqa: T201


def write_measured() -> None:
    """Play a run over the meters of the simulated bench into sample_logs/: soak samples and waveforms too."""
    shelf = ROOT / "sample_logs"
    path, why = play_live(shelf, bench_of(), tool=f"ohmward {__version__}")
    if why:
        raise SystemExit(f"{path}: {why}")
    (shelf / SIMULATED_METERS).unlink()  # its addresses mean nothing to anyone else
    print(path.relative_to(ROOT))  # noqa: T201


def write_years() -> None:
    """Play the years of CR-11 into sample_logs/: tested each year, its reservoir drying out."""
    from support import aged

    shelf = ROOT / "sample_logs"
    aged.write(shelf)
    (shelf / "meters.toml").unlink()  # each run holds its own
    shutil.rmtree(shelf / "switched-on", ignore_errors=True)


if __name__ == "__main__":
    os.environ[VARIABLE] = "bench-A"  # the chain of closed runs bears a name that stands for no computer
    write_answers()
    write_samples()
    write_measured()
    write_years()
