"""How often the true fault is named: a study over simulated supplies, with a calibration plot.

Run: ``python tests/benchmarks/diagnosis.py [count] [plot.png]`` (default 300 faulty, 300 healthy).

Each supply is a design of its own (one to three rails, plain and regulated, one or two transformers), one
unit drawn from its sheet's tolerances, at most one fault of random kind, place and size, and meters with
errors of their own. Sizes are drawn continuously, from a quarter below the least to a quarter above the most
of those that the hypotheses are made for (taps only come in steps). The unit has been warm for up to an hour
before each reading, and the mains wanders about what was read, which the diagnosis is not told.
`tests/analysis/test_diagnose.py` runs a part of it.

A fault counts as one that shows when it moves some reading of its own unit by more than twice the combined
standard uncertainty of that reading against the sheet: the meter's and the tolerances' together. The same is
also counted with the meter's uncertainty alone, which asks for more. A fault that moves no reading at all
(a bad thermal contact, where only the junction knows) is called healthy, and counts as wrong in the plot
`diagnosis.png`. That plot is of one run with the defaults: of 243 faults that show 95.9 % first, 99.6 % in
the first three; of 276 by the meter alone 90.6 and 98.2 %; 99.7 % of the healthy called healthy.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import msgspec
import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).parents[1]))

from ohmward.analysis._observations import DEAD_KEYS, CheckAnswer, Observation
from ohmward.analysis._predictions import Bench
from ohmward.analysis._readings import COLD, reading
from ohmward.analysis._results import Diagnosis
from ohmward.analysis.diagnose import diagnose
from ohmward.physics.condition import Unit
from ohmward.physics.design import build
from ohmward.physics.fault import Fault
from ohmward.physics.faults import FAULTS, apply, subjects
from ohmward.physics.network import Scenario
from ohmward.physics.solve import settle
from ohmward.supply.model import (
    HeatSink,
    Mains,
    Rail,
    Rectifier,
    Regulator,
    Reservoir,
    Secondary,
    Supply,
    Transformer,
)

Array = npt.NDArray[np.float64]
FRACTIONS = (0.1, 0.25, 0.5, 0.75, 1.0)
SOAK_S = 3600.0
ACCURACY = {"V": 0.005, "ripple": 0.03, "A": 0.01, "Ω": 0.005, "°C": 0.0}
"""Half-width of a meter's own error, as a share of the reading."""
DIGIT = {"V": 0.01, "ripple": 0.0005, "A": 0.001, "Ω": 0.01, "°C": 0.1}
KELVIN = 1.0
"""Half-width of a thermometer's error [K]."""
EARTH_DECADES, INSULATION_OHM, INSULATION_DECADES = 0.17, 400e6, 0.35
"""Of sound units: earth about 60 mΩ, insulation about 400 MΩ (common practice, no source)."""
BEYOND = 1.25
"""Sizes are drawn this factor beyond the least and the most that the hypotheses are made for."""
MOST_BEFORE_S, WANDER = 3600.0, 0.0015
"""Longest time that a unit was warm before a reading [s]; the mains about what was read, as a share."""
SHEET_ONLY = {"bleeder-unlisted"}
"""What is wrong with a sheet and not with a unit: here every sheet is true."""
MODELLED = [f for f in FAULTS.values() if f.change is not None and f.name not in SHEET_ONLY]


@dataclass(frozen=True, kw_only=True)
class Case:
    """One supply on the bench."""

    supply: Supply
    fault: str
    subject: str
    size: float
    observations: tuple[Observation, ...]
    answers: tuple[CheckAnswer, ...]
    shows: bool
    moved: float
    """Largest shift of a reading by the fault, in combined standard uncertainties of meter and tolerances."""
    metered: float
    """The same in standard uncertainties of the meter alone."""


def design(rng: np.random.Generator) -> Supply:
    """Return a plausible sheet: sound at its rated load down to the bottom of the mains band."""
    count = int(rng.integers(1, 4))
    split = count > 1 and bool(rng.integers(0, 2))
    rails, windings = [], ([], [])  # type: ignore[var-annotated]
    for index in range(count):
        volts = float(rng.choice([5.0, 9.0, 12.0, 15.0, 24.0, 36.0, 48.0]))
        amps = round(float(np.exp(rng.uniform(np.log(0.3), np.log(3.0)))), 2)
        regulated = bool(rng.integers(0, 2))
        which = index % 2 if split else 0
        name = "abc"[len(windings[which])]
        ripple = 0.07 * volts + 0.5
        need = (volts + 2.2 + ripple / 2 + 1.8) * 1.12 if regulated else volts
        windings[which].append(
            Secondary(
                name=name,
                voltage_v=round((need + 1.8) / (1.27 if regulated else 1.2), 1),
                current_a=round(1.8 * amps, 2),
            )
        )
        rails.append(
            _rail(
                rng,
                index=index,
                volts=volts,
                amps=amps,
                source=f"T{which + 1}.{name}",
                ripple=ripple,
                regulated=regulated,
            )
        )
    transformers = tuple(
        Transformer(
            name=f"T{index + 1}",
            secondaries=tuple(each),
            rating_va=round(sum(s.voltage_v * (s.current_a or 0.0) for s in each), 0),
            regulation_pct=round(float(rng.uniform(7.0, 14.0)), 1),
        )
        for index, each in enumerate(windings)
        if each
    )
    return Supply(
        tag="S",
        title="simulated",
        protection_class="I",
        mains=Mains(voltage_v=230.0, frequency_hz=50.0),
        rails=tuple(rails),
        transformers=transformers,
    )


def _rail(
    rng: np.random.Generator,
    *,
    index: int,
    volts: float,
    amps: float,
    source: str,
    ripple: float,
    regulated: bool,
) -> Rail:
    farad = float(f"{amps / (100 * ripple) * rng.uniform(0.9, 1.4):.2g}")
    esr = float(f"{rng.uniform(0.1, 0.2) / (628 * farad):.2g}")
    return Rail(
        name=f"{'-' if index == 1 and rng.integers(0, 2) else '+'}{volts:g}{'xyz'[index]}",
        nominal_v=-volts if index == 1 and rng.integers(0, 2) else volts,
        rated_current_a=amps,
        sources=(source,),
        rectifier=Rectifier(kind="bridge", forward_v=0.9),
        reservoir=Reservoir(
            capacitance_f=farad, esr_ohm=esr, bleeder_ohm=float(f"{volts / 0.01:.2g}"), voltage_rating_v=100.0
        ),
        regulator=Regulator(
            tolerance_pct=2.0,
            dropout_v=2.2,
            ripple_rejection_db=60.0,
            output_ohm=0.015,
            current_limit_a=2 * amps,
        )
        if regulated
        else None,
        heatsink=HeatSink(
            thermal_resistance_kpw=round(35.0 / ((ripple + 6.0) * amps), 2), time_constant_s=720.0
        )
        if regulated
        else None,
        wiring_ohm=0.015,
    )


def asked(supply: Supply, mains_v: float, ambient_c: float) -> list[Observation]:
    """Return what a commissioning run reads, values to come."""
    found: list[Observation] = []

    def ask(key: str, subject: str, unit: str, **more: object) -> None:
        title = f"{key} {subject}"
        fields = {"mains_v": mains_v, "ambient_c": ambient_c, "value": 0.0, "title": title} | more
        found.append(Observation(key=key, subject=subject, unit=unit, **fields))  # type: ignore[arg-type]

    full = tuple((rail.name, rail.rated_current_a) for rail in supply.rails)
    for transformer in supply.transformers:
        ask("primary_ohm", transformer.name, "Ω")
        for secondary in transformer.secondaries:
            ask("no_load_v", f"{transformer.name}.{secondary.name}", "V")
    ask("mains_no_load_a", "", "A")
    for rail in supply.rails:
        ask("bleeder_ohm", rail.name, "Ω")
        ask("reservoir_v", rail.name, "V")
        ask("output_v", rail.name, "V")
        for share in FRACTIONS:
            loads = ((rail.name, share * rail.rated_current_a),)
            ask("output_v", rail.name, "V", loads=loads)
            ask("reservoir_v", rail.name, "V", loads=loads)
        loads = ((rail.name, rail.rated_current_a),)
        ask("reservoir_ripple_pp_v", rail.name, "V", loads=loads)
        ask("output_ripple_pp_v", rail.name, "V", loads=loads)
    ask("mains_a", "", "A", loads=full)
    for rail in supply.rails:
        ask("output_v", rail.name, "V", loads=full, elapsed_s=SOAK_S)
        ask("output_ripple_pp_v", rail.name, "V", loads=full, elapsed_s=SOAK_S)
        if rail.heatsink is not None:
            ask("heatsink_c", rail.name, "°C", loads=full, elapsed_s=SOAK_S)
    for transformer in supply.transformers:
        ask("surface_c", transformer.name, "°C", loads=full, elapsed_s=SOAK_S)
    return found


def true_readings(
    unit: Unit, seen: Sequence[Observation], seed: int, *, before_s: float = 900.0, wander: float = 0.0
) -> Array:
    """Return the readings of one drawn unit, by the model at its own temperatures.

    Parameters
    ----------
    before_s : float
        How long it was loaded before the loads of each reading began [s].
    wander : float
        Standard deviation of the mains about what was read, from scenario to scenario, as a share.
    """
    made = build(unit, rng=np.random.default_rng(seed), draws=1)
    nominal = build(unit, rng=np.random.default_rng(seed), draws=0)
    keys = list({each.scenario: None for each in seen if each.key not in COLD})
    moved = 1.0 + wander * np.random.default_rng([seed, 1]).normal(size=len(keys))
    scenarios = [
        Scenario(mains_v=key[1] * factor, ambient_c=key[2], loads=dict(key[0]), wanted=frozenset(made.rails))
        for key, factor in zip(keys, moved, strict=True)
    ]
    times = [key[3] + before_s for key in keys]
    states = dict(zip(keys, settle(nominal, made, scenarios, times), strict=True))
    rows = [
        np.broadcast_to(
            reading(made, None if each.key in COLD else states[each.scenario], each, before_s), (2,)
        )[1]
        for each in seen
    ]
    return np.asarray(np.nan_to_num(np.array(rows, dtype=float), nan=0.0))


def shown(rng: np.random.Generator, seen: Sequence[Observation], true: Array) -> list[Observation]:
    """Return what the meters show, with what is known of their errors."""
    gain = {group: rng.uniform(-1.0, 1.0) for group in ACCURACY}
    found = []
    for each, value in zip(seen, true, strict=True):
        share, digit = ACCURACY[each.group], DIGIT[each.group]
        shared = KELVIN if each.group == "°C" else share * value
        shift = gain[each.group] * shared + rng.uniform(-1.0, 1.0) * digit
        u_own, u_shared = digit / np.sqrt(3), shared / np.sqrt(3)
        found.append(
            msgspec.structs.replace(
                each, value=max(value + shift, 0.0), own=float(u_own), shared=float(u_shared)
            )
        )
    return found


def dead(rng: np.random.Generator, unit: Unit) -> list[Observation]:
    """Return earth, insulation and isolation readings; a 200 MΩ meter."""
    condition = unit.condition
    earth = float(10 ** rng.normal(np.log10(0.06), EARTH_DECADES)) + condition.earth_extra_ohm
    found = [
        Observation(
            key="earth_ohm",
            value=min(earth, 1e4),
            unit="Ω",
            title="earth",
            bound="above" if earth > 1e4 else "exact",
        )
    ]
    for key, wrong in (
        ("insulation_ohm", condition.insulation_ohm),
        ("isolation_ohm", condition.isolation_ohm),
    ):
        usual = float(10 ** rng.normal(np.log10(INSULATION_OHM), INSULATION_DECADES))
        ohm = usual if wrong is None else 1 / (1 / usual + 1 / wrong)
        bound = "above" if ohm > 200e6 else "exact"
        found.append(Observation(key=key, value=min(ohm, 200e6), unit="Ω", title=key, bound=bound))  # type: ignore[arg-type]
    return found


def checks(rng: np.random.Generator, supply: Supply, fault: str, subject: str) -> list[CheckAnswer]:
    """Return the answers that go with the fault, one in twenty of them wrong."""
    found = []
    for rail in supply.rails:
        slip = rng.uniform() < 0.03
        wrong = fault in ("open-diode", "diode-high-drop") and subject == rail.name
        found.append(CheckAnswer(step="ripple-frequency", subject=rail.name, failed=wrong != slip))
        if rail.regulator is not None:
            slip = rng.uniform() < 0.03
            wrong = fault == "regulator-oscillating" and subject == rail.name
            found.append(CheckAnswer(step="oscillation", subject=rail.name, failed=wrong != slip))
    return found


def chosen(rng: np.random.Generator, supply: Supply) -> tuple[Fault, str, float]:
    """Return a random fault, where it sits, and its size: anything between and a little beyond its own."""
    possible = [fault for fault in MODELLED if subjects(fault, supply)]
    fault = possible[int(rng.integers(len(possible)))]
    places = subjects(fault, supply)
    return fault, places[int(rng.integers(len(places)))], some_size(rng, fault)


def some_size(rng: np.random.Generator, fault: Fault) -> float:
    """Return a size of a fault, evenly spread on a logarithmic scale."""
    size = float(rng.choice(fault.sizes or (fault.size,)))
    if not fault.size_is or "primary" in fault.size_is:
        return size
    if fault.size_is.startswith("times"):
        # how far it is from one; drifts go either way
        side = np.abs([np.log(each) for each in fault.sizes if (each > 1) == (size > 1)])
        away = np.exp(rng.uniform(np.log(side.min() / BEYOND), np.log(side.max() * BEYOND)))
        return float(np.exp(away if size > 1 else -away))
    every = fault.sizes or (fault.size,)
    return float(np.exp(rng.uniform(np.log(min(every) / BEYOND), np.log(max(every) * BEYOND))))


def case(seed: int, *, healthy: bool = False) -> Case:
    """Return one supply with its readings; the same seed gives the same."""
    rng = np.random.default_rng(seed)
    supply = design(rng)
    mains_v, ambient_c = float(rng.uniform(222.0, 240.0)), float(rng.uniform(18.0, 28.0))
    name, subject, size = "healthy", "", 1.0
    sound = unit = Unit(sheet=supply)
    if not healthy:
        fault, subject, size = chosen(rng, supply)
        name, unit = fault.name, apply(fault, sound, subject, size=size)
    seen = asked(supply, round(mains_v, 1), round(ambient_c, 0))
    before_s = float(rng.uniform(0.0, MOST_BEFORE_S))
    true = true_readings(unit, seen, seed, before_s=before_s, wander=WANDER)
    observations = shown(rng, seen, true) + dead(rng, unit)
    moved = metered = 0.0
    if not healthy:
        shift = true - true_readings(sound, seen, seed, before_s=before_s, wander=WANDER)
        moved, metered = _moved(supply, observations[: len(seen)], shift)
        if FAULTS[name].moves.keys() & DEAD_KEYS:
            moved = metered = _moved_dead(unit)
    return Case(
        supply=supply, fault=name, subject=subject, size=size, observations=tuple(observations),
        answers=tuple(checks(rng, supply, name, subject)), shows=moved > 2.0, moved=moved, metered=metered,
    )  # fmt: skip


def _moved(supply: Supply, seen: Sequence[Observation], shift: Array) -> tuple[float, float]:
    """Return the largest shift over the uncertainty of meter and tolerances, and over the meter's alone."""
    spread = Bench(supply, seen).sound[1:].std(axis=0)
    meter = np.array([np.hypot(each.own, each.shared) for each in seen])
    moved, metered = (np.abs(shift) / each for each in (np.hypot(spread, meter), meter))
    return float(moved.max()), float(metered.max())


def _moved_dead(unit: Unit) -> float:
    """Return the shift of the dead test that the fault moves, in decades over their usual spread."""
    earth = np.log10((0.06 + unit.condition.earth_extra_ohm) / 0.06) / EARTH_DECADES
    ohms = (unit.condition.insulation_ohm, unit.condition.isolation_ohm)
    worst = min((ohm for ohm in ohms if ohm is not None), default=np.inf)
    return float(max(min(earth, 99.0), np.log10(1 + INSULATION_OHM / worst) / INSULATION_DECADES))


def rank(found: Diagnosis, fault: str, subject: str) -> int:
    """Return the place of the true answer, from 1; 99 when it is not listed."""
    for place, cause in enumerate(found.causes, 1):
        if cause.fault == fault and cause.subject == subject:
            return place
    return 99


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    began = time.perf_counter()
    confidence: list[float] = []
    right: list[bool] = []
    ranks = []
    for seed in range(count):
        made = case(seed)
        found = diagnose(made.supply, made.observations, made.answers)
        place = rank(found, made.fault, made.subject)
        ranks.append((place, made.shows, made.metered > 2.0))
        confidence.append(found.causes[0].probability)
        right.append(place == 1)
        if place > 1 and made.shows:
            listed = ", ".join(f"{c.fault}({c.subject}) {c.probability:.2f}" for c in found.causes[:3])
            sys.stdout.write(
                f"{seed}: {made.fault}({made.subject}) {made.size:g} moved {made.moved:.1f}, "
                f"rank {place}: {listed}\n"
            )
            sys.stdout.flush()
    healthy = 0
    for seed in range(10000, 10000 + count):
        made = case(seed, healthy=True)
        found = diagnose(made.supply, made.observations, made.answers)
        healthy += found.healthy
        confidence.append(found.causes[0].probability)
        right.append(found.healthy)
        if not found.healthy:
            first = found.causes[0]
            sys.stdout.write(
                f"{seed}: healthy taken for {first.fault}({first.subject}) {first.probability:.2f}\n"
            )
    showing = [place for place, shows, _ in ranks if shows]
    metered = [place for place, _, moves in ranks if moves]
    sys.stdout.write(
        f"{count} faulty, {len(showing)} of them show\n"
        f"first: {np.mean(np.array(showing) == 1):.3f} of those that show, "
        f"{np.mean(np.array([p for p, *_ in ranks]) == 1):.3f} of all\n"
        f"in the first three: {np.mean(np.array(showing) <= 3):.3f} of those that show\n"
        f"that move a reading by twice the meter's uncertainty: {len(metered)}, "
        f"first {np.mean(np.array(metered) == 1):.3f}, in three {np.mean(np.array(metered) <= 3):.3f}\n"
        f"healthy called healthy: {healthy / count:.3f}\n"
        f"{(time.perf_counter() - began) / (2 * count):.2f} s a supply, all in\n"
    )
    if len(sys.argv) > 2:
        plot(np.array(confidence), np.array(right), Path(sys.argv[2]))


def plot(confidence: Array, right: npt.NDArray[np.bool_], path: Path) -> None:
    """Draw how often an answer given with a probability is right, with 95 % intervals."""
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt
    from scipy.stats import beta

    edges = np.array([0.0, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0001])
    figure, axes = plt.subplots(figsize=(5.5, 5.0), layout="constrained")
    for low, high in pairwise(edges):
        inside = (confidence >= low) & (confidence < high)
        n, k = int(inside.sum()), int(right[inside].sum())
        if n:
            interval = (
                beta.ppf(0.025, k, n - k + 1) if k else 0.0,
                beta.ppf(0.975, k + 1, n - k) if k < n else 1.0,
            )
            x = confidence[inside].mean()
            axes.plot([x, x], interval, color="tab:grey", lw=2)
            axes.plot(x, k / n, "o", color="tab:blue")
            axes.annotate(f" {n}", (x, k / n), fontsize=8)
    axes.plot([0, 1], [0, 1], ":", color="black")
    axes.set(xlabel="probability stated for the first answer", ylabel="share of them that is right")
    figure.savefig(path, dpi=120)


if __name__ == "__main__":
    main()
