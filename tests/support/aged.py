"""Years of one supply, played into a logbook through the gates (simulated, marked as rehearsals or not).

CR-11, a 24 V, 6 A unregulated supply whose reservoir dries out: readings from the product's own physics at
the mains, the room and the capacitance of each day, with an error of each meter that stays with it. Sample
data, never expected values of a test but for what was put in: the capacitance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from pathlib import Path

import make_samples as samples
from ohmward import __version__
from ohmward.logbook import open_run
from ohmward.physics import expect
from ohmward.physics.condition import Condition, RailCondition, Unit
from ohmward.physics.expectation import Expectation
from ohmward.procedure import expand, load, load_limits
from ohmward.procedure.model import Item
from ohmward.run import LiveRun
from ohmward.run.answers import Row, play
from ohmward.run.start import start
from ohmward.shipped import folder
from ohmward.supply import loads as load_sheet

TAG, RAIL = "CR-11", "24"
LIFE = (1.0, 0.985, 0.96, 0.935, 0.905, 0.88, 0.85, 0.82)
"""Capacitance left at the first run and at each retest, a year apart."""
FIRST_YEAR = 2019


@dataclass(frozen=True)
class Visit:
    """One run, and what the day was like."""

    year: int
    left: float
    mains_v: float
    room_c: float
    scope: str
    multimeter: str
    procedure: str = "retest"
    insulation: str = ">200M"
    earth_extra_ohm: float = 0.0


@dataclass(frozen=True)
class Bench:
    """Meters with the error that each keeps, as a share of the reading."""

    errors: dict[str, float] = field(default_factory=dict)

    def text(self, visit: Visit) -> str:
        return METERS.format(
            scope=visit.scope, scope_cal=f"{visit.year}-01-12", multimeter=visit.multimeter,
            multimeter_cal=f"{visit.year}-01-12",
        )  # fmt: skip


METERS = """# Meters of a simulated bench; accuracies are those of ordinary instruments, not of any make.
[[meter]]
name = "multimeter"
serial = "{multimeter}"
calibrated = {multimeter_cal}
[[meter.accuracy]]
function = "dc volts"
range = "60 V"
resolution = "10 mV"
accuracy = "0.5 % + 2"
[[meter.accuracy]]
function = "ac volts"
range = "600 V"
resolution = "100 mV"
accuracy = "0.7 % + 3"
[[meter.accuracy]]
function = "ohms"
range = "600 Ω"
resolution = "100 mΩ"
accuracy = "0.5 % + 2"
[[meter]]
name = "scope"
kind = "oscilloscope"
serial = "{scope}"
calibrated = {scope_cal}
[[meter.accuracy]]
function = "dc volts"
range = "10 V"
resolution = "1 mV"
accuracy = "3 % + 2"
[[meter]]
name = "mains-meter"
kind = "power"
[[meter.accuracy]]
function = "ac volts"
range = "300 V"
resolution = "100 mV"
accuracy = "0.5 % + 2"
[[meter.accuracy]]
function = "ac amps"
range = "10 A"
resolution = "1 mA"
accuracy = "1 % + 3"
[[meter]]
name = "low-ohm"
kind = "low-ohm"
[[meter.accuracy]]
function = "low ohms"
range = "2 Ω"
resolution = "1 mΩ"
accuracy = "2 % + 2"
[[meter]]
name = "insulation"
kind = "insulation"
[[meter.accuracy]]
function = "insulation"
range = "200 MΩ"
resolution = "100 kΩ"
accuracy = "3 % + 2"
[[meter]]
name = "thermometer"
kind = "thermometer"
[[meter.accuracy]]
function = "temperature"
range = "200 °C"
resolution = "0.1 °C"
accuracy = "0.5 % + 8"
"""

VISITS = tuple(
    Visit(
        year=FIRST_YEAR + n,
        left=left,
        mains_v=mains,
        room_c=room,
        scope="S-0207" if n < 4 else "S-0391",
        multimeter="M-0113" if n < 5 else "M-0145",
        procedure="retest" if n else "commissioning",
        insulation=insulation,
    )
    for n, (left, mains, room, insulation) in enumerate(
        zip(
            LIFE,
            (230.6, 236.1, 227.9, 233.2, 238.4, 229.3, 234.8, 226.7),
            (21.0, 24.5, 19.0, 26.0, 22.0, 18.5, 25.0, 23.0),
            (">200M", ">200M", "190M", "151M", "170M", "182M", "128M", "133M"),
            strict=True,
        )
    )
)
BENCH = Bench({"S-0207": 0.011, "S-0391": -0.014, "M-0113": 0.0012, "M-0145": -0.0016})


def sheet_text() -> str:
    return (folder("demo") / f"{TAG}.toml").read_text(encoding="utf-8")


def expectation_on(visit: Visit, sheet: str = "") -> Expectation:
    supply = load_sheet(sheet or sheet_text(), TAG)
    condition = Condition(rails={RAIL: RailCondition(capacitance_factor=visit.left)})
    return expect(
        Unit(sheet=supply, condition=condition),
        mains_v=visit.mains_v,
        ambient_c=visit.room_c,
        load_points=(0.1, 0.25, 0.5, 0.75, 1.0),
        draws=16,
    )


def rows(visit: Visit, bench: Bench = BENCH, sheet: str = "") -> tuple[Row, ...]:
    """Return the answers of one visit."""
    supply = load_sheet(sheet or sheet_text(), TAG)
    items = expand(load(visit.procedure), supply, load_limits(supply.limit_set), supply.parts)
    fixed = {
        item.key: f"{visit.room_c}" if item.read.condition == "ambient_c" else f"{visit.mains_v}"
        for item in items
        if item.read is not None and item.read.condition
    }
    for item in items:
        if item.read is not None and item.read.quantity == "insulation":
            fixed[item.key] = visit.insulation
    story = samples.Story(f"{TAG} {visit.year}", readings=fixed, lean={RAIL: 0.0})
    made = samples.answers(supply, items, expectation_on(visit, sheet), story)
    by_key = {item.key: item for item in items}
    shifted = (_as_read(row, by_key.get((row[0], row[1])), visit, bench) for row in made)
    return tuple(
        Row(line=number, step=step, subject=subject, value=value, meter=meter, note=note)
        for number, (step, subject, value, meter, note) in enumerate(shifted, start=2)
    )


def _as_read(row: samples.Row, item: Item | None, visit: Visit, bench: Bench) -> samples.Row:
    """Return a row as this visit's meter shows it: with the error it keeps, and the room of the day."""
    step, subject, value, meter, note = row
    if item is None or item.read is None or not value or item.read.condition:
        return row
    if item.read.quantity == "temperature_c":
        moved = float(value) + visit.room_c - samples.ROOM_C
        return step, subject, f"{moved:.1f}", meter, note
    serial = {"scope": visit.scope, "multimeter": visit.multimeter}.get(meter, "")
    error = bench.errors.get(serial, 0.0)
    if error and item.read.unit == "V" and item.read.expect and not value.startswith((">", "<")):
        value = samples.figures(float(value) * (1.0 + error))
    return step, subject, value, meter, note


def write(
    logbook: Path,
    visits: Sequence[Visit] = VISITS,
    *,
    simulated: bool = True,
    bench: Bench = BENCH,
    sheets: dict[int, str] | None = None,
) -> list[Path]:
    """Play visits into `logbook`; return the journals. `sheets` gives another sheet from a year on."""
    shelf = logbook / "supplies"
    shelf.mkdir(parents=True, exist_ok=True)
    path = shelf / f"{TAG}.toml"
    paths = []
    text = sheet_text()
    for visit in visits:
        text = (sheets or {}).get(visit.year, text)
        path.write_text(text, encoding="utf-8")
        meters = logbook / "meters.toml"
        meters.write_text(bench.text(visit), encoding="utf-8")
        clock = samples.Clock(
            datetime(visit.year, 3, 4 + visit.year % 7, 9, 30, tzinfo=timezone(timedelta(hours=1)))
        )
        made = start(
            logbook, path, operator="bench A" if visit.year % 3 else "bench B", tool=f"ohmward {__version__}",
            procedure=visit.procedure, simulated=simulated, clock=clock, purpose="simulated years of CR-11",
        )  # fmt: skip
        with LiveRun(open_run(made, clock=clock)) as live:
            play(live, rows(visit, bench, text), f"{TAG} {visit.year}")
        paths.append(made)
    return paths


def without(visit: Visit, **changes: object) -> Visit:
    """Return a visit with other conditions."""
    from dataclasses import replace

    return replace(visit, **changes)  # type: ignore[arg-type]
