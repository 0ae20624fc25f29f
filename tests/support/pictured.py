"""Runs to draw pictures of: the samples, a supply of many rails, a sampled soak, captured waveforms.

What is drawn from is made by the product's own physics: input of a picture, never an expected value.
"""

from __future__ import annotations

import random
from functools import cache
from pathlib import Path

import msgspec
import numpy as np

from make_samples import STORIES, reading
from ohmward.analysis.assessment import assess
from ohmward.analysis.facts import CapturedWave, Entered, RunFacts, SampledSoak
from ohmward.analysis.judgement import judge
from ohmward.bench.meters import Meter
from ohmward.bench.meters import loads as load_meters
from ohmward.logbook import read
from ohmward.logbook.events import Reading
from ohmward.physics import expect, one_cycle
from ohmward.physics.condition import Unit
from ohmward.physics.faults import apply
from ohmward.procedure import expand, load, load_limits
from ohmward.quantity import parse
from ohmward.report.plots import Material, material
from ohmward.run import state
from ohmward.shipped import folder
from ohmward.supply.model import Secondary, Supply
from support.supplies import rail, supply, transformer

ROOT = Path(__file__).resolve().parents[2]
HEALTHY, FAULTY, INTERRUPTED = "2026-03-02-01", "2026-03-03-01", "2026-03-04-01"


@cache
def sample(name: str) -> Material:
    """Return one of the sample runs of CR-07."""
    path = ROOT / "sample_logs" / "runs" / "CR-07" / f"{name}-commissioning.jsonl"
    return material(state(read(path)), path.parent)


def renewed(before: Material, **changes: object) -> Material:
    """Return a run with some of its facts changed, assessed anew."""
    facts = msgspec.structs.replace(before.facts, **changes)
    return Material(facts=facts, assessment=assess(facts), meters=before.meters)


def unread(before: Material) -> Material:
    """Return a run in which nothing was done yet."""
    return renewed(before, entries={}, expectation=None, series=(), captures=())


@cache
def meters() -> tuple[Meter, ...]:
    path = folder("demo") / "meters.toml"
    return load_meters(path.read_text(encoding="utf-8"), path.name)


@cache
def many(count: int = 40) -> Material:
    """Return a whole run of a supply with so many regulated rails, one of them with a long name."""
    names = [f"+{number + 5}" for number in range(count)]
    names[1] = "the rail of the second microphone amplifier, left"
    return run_of(of_rails(tuple(names)), without=("reservoir_v", "temperature_c"))


def of_rails(names: tuple[str, ...]) -> Supply:
    """Return a supply with regulated rails of these names, five on a transformer, and twenty metal parts."""
    each = 5
    transformers = tuple(
        transformer(
            f"T{number}",
            secondaries=tuple(Secondary(name=f"s{n}", voltage_v=18.0, current_a=0.5) for n in range(each)),
            rating_va=100.0,
        )
        for number in range(-(-len(names) // each))
    )
    return supply(
        rails=tuple(
            rail(name, 15.0, rated_current_a=0.2, sources=(f"T{number // each}.s{number % each}",))
            for number, name in enumerate(names)
        ),
        transformers=transformers,
        parts=tuple(f"part {number}" for number in range(1, 21)),
    )


def run_of(unit: Supply, *, without: tuple[str, ...] = ()) -> Material:
    """Return a rehearsal in which everything was read as the design predicts, but for some quantities."""
    limits = load_limits(unit.limit_set)
    items = expand(load("commissioning"), unit, limits, unit.parts)
    expectation = expect(unit, mains_v=231.0, ambient_c=22.0, draws=60, margins=False)
    noise = random.Random(7)
    null = parse("0.212", "Ω")
    entries = {}
    for number, item in enumerate(items):
        if item.read is None or item.read.quantity in without or item.is_further:
            continue
        if not (item.required or item.rail):
            continue
        text = reading(unit, item, expectation, STORIES[0], noise).removesuffix("!")
        value = parse(text, item.read.unit)
        judged = judge(
            value,
            read_unit=item.read.unit,
            limit=item.limit,
            band=expectation.band(item.read.expect, item.about, load_a=item.load_a, together=item.together),
            null=null if item.read.subtract else None,
            meter=meters()[0] if item.read.unit == "V" else None,
        )
        event = Reading(
            step=item.step, subject=item.subject, value=value, judged=judged, meter=meters()[0].name
        )
        entries[item.key] = Entered(event=event, seq=number, at="2026-03-05T10:00:00+01:00")
    facts = RunFacts(
        run="CR-07/2026-03-05-01-commissioning",
        tag=unit.tag,
        simulated=True,
        supply=unit,
        items=items,
        entries=entries,
        expectation=expectation,
    )
    return Material(facts=facts, assessment=assess(facts), meters=meters())


def sampled_soak(minutes: int = 60, *, gap: bool = False, resumed: bool = False) -> SampledSoak:
    """Return a heat sink and the room sampled every ten seconds, simulated; with a gap where asked."""
    noise = np.random.default_rng(3)
    time = np.arange(0.0, minutes * 60.0 + 1.0, 10.0)
    room = 22.0 + 0.6 * time / 3600.0
    body = room + 24.0 * (1.0 - np.exp(-time / 720.0)) + noise.normal(0.0, 0.12, len(time))
    gaps: tuple[tuple[str, float, float, str], ...] = ()
    if gap or resumed:
        hole = (time > 900.0) & (time < 1300.0)
        gaps = (("", 900.0, 1300.0, "the soak was interrupted" if resumed else "the thermometer was silent"),)
        time, room, body = time[~hole], room[~hole], body[~hole]
    return SampledSoak(
        step="soak",
        channels=("heat sink +15", "room air"),
        units=("°C", "°C"),
        meters=("thermometer", "thermometer"),
        uncertainties=(1.0, 1.0),
        time_s=time,
        values=np.column_stack([body, room]),
        resumed_s=(1300.0,) if resumed else (),
        gaps=gaps,
        complete=not gap,
    )


def captured(
    unit: Supply, name: str, *, fault: str = "", cycles: int = 12, rate_hz: float = 50e3
) -> CapturedWave:
    """Return a waveform of a rail's reservoir at rated load, simulated, with a little noise."""
    sheet: Supply | Unit = apply(fault, unit, name) if fault else unit
    per_cycle = int(rate_hz / unit.mains.frequency_hz)
    cycle = one_cycle(sheet, name, loads={name: unit.rail(name).rated_current_a}, samples=per_cycle)
    samples = np.tile(np.asarray(cycle.reservoir_v), cycles)
    samples = samples + np.random.default_rng(1).normal(0.0, 2e-3, len(samples))
    return CapturedWave(
        step="waveform",
        subject=f"{name} @ 100 %",
        rail=name,
        point="reservoir",
        load_a=unit.rail(name).rated_current_a,
        samples=samples,
        interval_s=1.0 / rate_hz,
        unit="V",
        source="simulated",
        file="simulated.csv",
    )


__all__ = [
    "FAULTY",
    "HEALTHY",
    "INTERRUPTED",
    "captured",
    "many",
    "of_rails",
    "renewed",
    "run_of",
    "sample",
    "sampled_soak",
    "unread",
]
