"""What every reading ought to be: the model at the loads of the procedures, with bands and margins."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import msgspec
import numpy as np
import numpy.typing as npt

from ohmward.physics import nameplate
from ohmward.physics.condition import Unit, as_unit
from ohmward.physics.design import Design, RailDesign, build
from ohmward.physics.discharge import time_to
from ohmward.physics.expectation import LATE_S, Band, Expectation, LoadedPoint, RailExpectation
from ohmward.physics.heat import copper
from ohmward.physics.margins import margins as margins_of
from ohmward.physics.network import Scenario
from ohmward.physics.problems import ROOM_C, possible
from ohmward.physics.solve import State, settle
from ohmward.physics.spread import bands
from ohmward.supply.model import Supply

Array = npt.NDArray[np.float64]

LOAD_POINT_S = 600.0
"""Load points are taken to be read ten minutes after switch-on from cold [s]."""
SOAKED_S = np.inf
COLLAPSED = 0.05
"""A rail under this share of its no-load peak is called collapsed."""


def expect(
    supply: Supply | Unit,
    *,
    mains_v: float | None = None,
    ambient_c: float = 25.0,
    load_points: Sequence[float] = (0.1, 0.25, 0.5, 0.75, 1.0),
    seed: int = 0,
    draws: int = 2000,
    margins: bool = True,
) -> Expectation:
    """Return what every reading ought to be, with 95 % bands over the tolerances of the sheet.

    Parameters
    ----------
    supply : Supply or Unit
        The design sheet, or a sheet with a condition (`physics.faults.apply`).
    mains_v : float, optional
        Mains voltage of the moment [V], taken with ±1 %. None takes the sheet's, and spreads the
        bands over the whole of its mains band.
    ambient_c : float
        Room temperature [°C].
    load_points : sequence of float
        Fractions of each rail's rated current, each rail alone, ten minutes after switch-on.
    seed : int
        Of the Monte Carlo; the same seed gives the same bands.
    draws : int
        Number of draws; 0 gives values alone, as bands of no width, several times faster.
    margins : bool
        False leaves out each rail's notes, which cost more than its values do without draws.

    Returns
    -------
    Expectation
        What cannot be computed is left out of it and named in ``problems``.
    """
    # Absurd values may overflow on the way; what is not a number is left out and said below.
    with np.errstate(all="ignore"):
        return _expect(
            as_unit(supply), mains_v, ambient_c, tuple(load_points), _Sampling(seed, draws, margins)
        )


def at_full_load(
    supply: Supply, mains_v: Sequence[float], *, ambient_c: float = 25.0, seed: int = 0, draws: int = 2000
) -> list[dict[str, dict[str, Band]]]:
    """Return what `expect` calls ``together``, of each rail, at each of several mains voltages [V].

    All voltages are solved at once over the same draws, and nothing but this is computed. Parameters as of
    `expect`; conditions under which it computes nothing give no rails.
    """
    with np.errstate(all="ignore"):
        sheet, _ = _computable(supply, min(mains_v), ambient_c)
        unit = as_unit(sheet)
        design = build(unit, rng=np.random.default_rng(seed), draws=draws, mains_known=True)
        nominal = build(unit, rng=np.random.default_rng(seed), draws=0)
        rated = {name: rail.rated_a for name, rail in design.rails.items()}
        scenarios = [
            Scenario(mains_v=each, ambient_c=ambient_c, loads=rated, wanted=frozenset(rated))
            for each in mains_v
        ]
        states = settle(nominal, design, scenarios, [SOAKED_S] * len(scenarios))
        return [{name: loaded_values(rail, state) for name, rail in design.rails.items()} for state in states]


@dataclass(frozen=True, slots=True)
class _Sampling:
    seed: int
    draws: int
    margins: bool


def _expect(
    unit: Unit, mains_v: float | None, ambient_c: float, load_points: Sequence[float], how: _Sampling
) -> Expectation:
    mains = unit.sheet.mains.voltage_v if mains_v is None else mains_v
    sheet, problems = _computable(unit.sheet, mains, ambient_c)
    unit = msgspec.structs.replace(unit, sheet=sheet)
    rng = np.random.default_rng(how.seed)
    design = build(unit, rng=rng, draws=how.draws, mains_known=mains_v is not None)
    nominal = build(unit, rng=rng, draws=0)
    idle, full, points = _states(nominal, design, mains, ambient_c, load_points)
    words, extremes = margins_of(sheet, nominal, ambient_c) if design.rails and how.margins else ({}, None)
    modelled = {
        name: _rail(rail, idle, full, points[name], words.get(name, ()))
        for name, rail in design.rails.items()
    }
    for name, rail in design.rails.items():
        problems += _collapses(rail, idle, full) or _gaps(name, modelled[name])
    bare = {rail.name: nameplate.expected(rail, load_points) for rail in design.facts.nameplates}
    return Expectation(
        mains_v=mains,
        ambient_c=ambient_c,
        rails={rail.name: (modelled | bare)[rail.name] for rail in sheet.rails},
        secondaries=_secondaries(design, mains, ambient_c),
        transformers=_transformers(design, full, mains, ambient_c),
        unit=_whole(design, idle, full, mains),
        assumptions=(*_conditions(mains_v, design), *_merged(design.facts.assumptions)),
        problems=tuple(problems),
        extremes=extremes,
    )


def _gaps(name: str, found: RailExpectation) -> list[str]:
    """Say which of the readings that every rail has could not be computed."""
    missing = [f"{key} unloaded" for key in ("output_v", "reservoir_v") if key not in found.no_load]
    missing += [key for key in ("output_v", "reservoir_mean_v", "secondary_v") if key not in found.together]
    return (
        [f"{name}: no number comes of {', '.join(missing)}; a value on the sheet is absurd"]
        if missing
        else []
    )


def _computable(sheet: Supply, mains_v: float, ambient_c: float) -> tuple[Supply, list[str]]:
    """Return the part of the sheet that can be computed at these conditions, and what stands in the way."""
    sheet, problems = possible(sheet)
    wrong = []
    if not (np.isfinite(mains_v) and mains_v > 0):
        wrong.append(f"mains of {mains_v:g} V: nothing can be computed")
    if not ROOM_C[0] <= ambient_c <= ROOM_C[1]:
        wrong.append(f"a room of {ambient_c:g} °C: nothing can be computed")
    if wrong:
        sheet = msgspec.structs.replace(sheet, rails=(), transformers=())
    return sheet, problems + wrong


def _states(
    nominal: Design, design: Design, mains_v: float, ambient_c: float, load_points: Sequence[float]
) -> tuple[State, State, dict[str, list[State]]]:
    """Return the unit without load, with all rails at rated current, and each rail alone at its points."""
    every = frozenset(design.rails)
    rated = {name: rail.rated_a for name, rail in design.rails.items()}
    loads = [({}, every), (rated, every)]
    loads += [({name: point * rated[name]}, frozenset({name})) for name in rated for point in load_points]
    scenarios = [
        Scenario(mains_v=mains_v, ambient_c=ambient_c, loads=load, wanted=wanted) for load, wanted in loads
    ]
    elapsed = [SOAKED_S if load is rated else LOAD_POINT_S for load, _ in loads]
    idle, full, *alone = settle(nominal, design, scenarios, elapsed)
    count = len(load_points)
    return idle, full, {name: alone[i * count : (i + 1) * count] for i, name in enumerate(rated)}


def _banded(values: Mapping[str, Array | None]) -> dict[str, Band]:
    """Return the bands of all that is known and finite."""
    known = {key: value for key, value in values.items() if value is not None}
    if not known:
        return {}
    found = bands(np.stack(list(known.values())))
    return {key: band for key, band in zip(known, found, strict=True) if band is not None}


def _rail(
    rail: RailDesign, idle: State, full: State, points: Sequence[State], notes: Sequence[str]
) -> RailExpectation:
    unloaded = idle.rails[rail.name]
    conductance = 1 / rail.bleeder_ohm + 1 / rail.leak_ohm
    bleeder = 1 / conductance if conductance[0] > 0 else None
    standing = unloaded.reservoir.mean_v
    return RailExpectation(
        no_load=_banded(
            {
                "output_v": rail.sign * unloaded.output_v,
                "reservoir_v": rail.sign * standing,
                "reservoir_ripple_pp_v": unloaded.reservoir.ripple_pp_v,
                "output_ripple_pp_v": unloaded.output_ripple_pp_v,
                "bleeder_ohm": bleeder,
            }
        ),
        loaded=tuple(
            LoadedPoint(load_a=state.scenario.loads[rail.name], values=loaded_values(rail, state))
            for state in points
        ),
        together=loaded_values(rail, full),
        heatsink_late_c=_late(rail, full),
        discharge_s=None
        if bleeder is None
        else _banded({"discharge_s": time_to(standing, bleeder, rail.capacitance_f)}).get("discharge_s"),
        notes=tuple(notes),
    )


def loaded_values(rail: RailDesign, state: State) -> dict[str, Band]:
    """Return the bands of a loaded rail by the keys of `RAIL_LOADED_KEYS`; empty where it has collapsed."""
    found = state.rails[rail.name]
    if _collapsed(rail, state):
        return {}
    raw = found.reservoir
    return _banded(
        {
            "output_v": rail.sign * found.output_v,
            "reservoir_mean_v": rail.sign * raw.mean_v,
            "reservoir_valley_v": rail.sign * raw.valley_v,
            "reservoir_ripple_pp_v": raw.ripple_pp_v,
            "output_ripple_pp_v": found.output_ripple_pp_v,
            "secondary_v": state.secondary_v(rail),
            "secondary_rms_a": found.secondary_rms_a,
            "dissipation_w": found.dissipation_w,
            "headroom_v": found.headroom_v,
            "heatsink_c": state.sink_c(rail),
            "junction_c": state.junction_c(rail),
        }
    )


def _late(rail: RailDesign, full: State) -> Band | None:
    """Return the band of a heat sink of which no time constant is stated, from `LATE_S` of a soak on.

    What is left of its rise then is anything from nothing (it was warm before, or it is long after) to what a
    cold one lacks at that time.
    """
    final = full.sink_c(rail)
    if final is None or _collapsed(rail, full):
        return None
    share = np.random.default_rng(0).uniform(size=len(final))
    share[0] = 0.0
    lacking = share * np.exp(-LATE_S / rail.sink_tau_s)
    settled, warming = bands(np.stack([final, final - lacking * (final - full.air_c)]))
    if settled is None or warming is None:
        return None
    return Band(value=settled.value, low=warming.low, high=settled.high)


def _collapsed(rail: RailDesign, state: State) -> bool:
    raw = state.rails[rail.name].reservoir
    return not (bool(raw.converged[0]) and raw.mean_v[0] > COLLAPSED * raw.piv_v[0])


def _collapses(rail: RailDesign, idle: State, full: State) -> list[str]:
    """Return what is impossible about a rail, in words."""
    rated = f"its rated {rail.rated_a:g} A"
    if _collapsed(rail, idle):
        return [f"{rail.name}: the secondary is too low to charge the reservoir through the rectifier"]
    if _collapsed(rail, full):
        return [f"{rail.name}: collapses under {rated}; transformer or reservoir is far too small"]
    found = []
    lost = 100 * float(np.mean(~full.rails[rail.name].reservoir.converged))
    if lost > 0:
        found.append(f"collapses under {rated} in {lost:.1f} % of the units that its tolerances allow")
    short = idle.rails[rail.name].headroom_v
    if short is not None and short[0] < 0:
        lacking = f"{-short[0]:.1f} V short of set point and dropout"
        found.append(f"the secondary is too low: even unloaded the reservoir stands {lacking}")
    if rail.regulator is not None and rail.rated_a > rail.regulator.limit_a:
        found.append(f"the regulator limits at {rail.regulator.limit_a:g} A, under {rated}")
    return [f"{rail.name}: {word}" for word in found]


def _secondaries(design: Design, mains_v: float, ambient_c: float) -> dict[str, dict[str, Band]]:
    volts = mains_v * design.mains_factor * design.condition.mains_factor
    room = ambient_c + design.ambient_offset_k
    return {
        source: _banded({"no_load_v": volts * ratio, "winding_ohm": copper(t.secondary_ohm[source], room)})
        for t in design.transformers.values()
        if not t.invented
        for source, ratio in t.ratio.items()
    }


def _transformers(
    design: Design, full: State, mains_v: float, ambient_c: float
) -> dict[str, dict[str, Band]]:
    room = ambient_c + design.ambient_offset_k
    return {
        name: _banded(
            {
                "primary_ohm": copper(t.primary_ohm, room),
                "magnetising_a": full.transformers[name].magnetising_a,
                "surface_c": full.transformers[name].final_surface_c,
            }
        )
        for name, t in design.transformers.items()
        if not t.invented
    }


def _whole(design: Design, idle: State, full: State, mains_v: float) -> dict[str, Band]:
    found: dict[str, Band] = {}
    if design.transformers:
        found = _banded(
            {
                "mains_no_load_a": idle.mains_a,
                "mains_a": full.mains_a,
                "input_va": full.mains_a * full.mains_v,
            }
        )
    if design.facts.nameplates:
        more = nameplate.mains_a(design.facts.nameplates, mains_v)
        base = found.get("mains_a", Band(value=0.0, low=0.0, high=0.0))
        total = Band(value=base.value + more.value, low=base.low + more.low, high=base.high + more.high)
        found |= {"mains_a": total, "input_va": _scaled(total, mains_v)}
    return found


def _scaled(band: Band, factor: float) -> Band:
    return Band(value=factor * band.value, low=factor * band.low, high=factor * band.high)


def _conditions(mains_v: float | None, design: Design) -> tuple[str, ...]:
    facts = design.facts
    mains = (
        f"mains not read: bands cover {facts.mains_low_v:.0f} to {facts.mains_high_v:.0f} V"
        if mains_v is None
        else "mains as stated, within 1 %"
    )
    return (
        f"{mains}; its crest up to 2.5 % flatter than a sine",
        "loads of constant current, set within 1 %; load points ten minutes after switch-on from cold, all "
        "rails together and temperatures at the end of a soak",
        "room temperature within 1 K around every heat sink and transformer; a closed case adds to it",
        "20 mΩ (5 to 60) of wiring and fuse before each rectifier, 0.1 mA (0.02 to 1) of leakage and "
        "meter on an unloaded reservoir, 1 mV (0.3 to 4) of noise at 20 MHz on a regulated output",
        "what the sheet states without a tolerance: regulation within 10 %, secondary voltage 2 %, measured "
        "windings 3 %, bleeder 5 %, ESR 30 %, dropout 10 %, ripple rejection 6 dB, thermal resistances 10 to "
        "25 %",
    )


def _merged(words: Sequence[str]) -> list[str]:
    """Return the same words with those that only differ in the name they begin with joined."""
    names: dict[str, list[str]] = {}
    for word in words:
        name, said = word.split(": ", 1)
        names.setdefault(said, []).append(name)
    return [f"{', '.join(who)}: {said}" for said, who in names.items()]
