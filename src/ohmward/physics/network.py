"""Who loads whom: the current each rail takes from its reservoir, and the resistance it sees behind it.

Rectifiers on one transformer share its primary resistance; those on one winding share that too. All
their current pulses sit on the crest of the mains, so a rail sees a shared resistance multiplied by the
ratio of all the current in it to its own. A slender pulse on top of a broad one meets the broad one's
peak, hence the ratio of peaks where they differ. Exact for equal rails; how near for unequal ones is
measured against a circuit simulation in the tests.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ohmward.physics.design import Design, RailDesign
from ohmward.physics.heat import copper

Array = npt.NDArray[np.float64]

OPEN_LOAD_A = 1e-6
"""Least current that a rectifier is computed at [A]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """Loads on the rails [A], mains [V] and room [°C]; `wanted` are the rails to be computed."""

    mains_v: float
    ambient_c: float
    loads: Mapping[str, float]
    wanted: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Operating:
    """Where a unit stands in one scenario: what its resistances depend on."""

    copper_c: Mapping[str, Array]
    """Mean temperature of each transformer's windings [°C], shape (rows,)."""
    pulse: Mapping[str, float]
    """Peak over mean current of each rail's rectifier, where known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """One rail in one scenario, ready for the rectifier; arrays of shape (rows,)."""

    rail: RailDesign
    wanted: bool
    open_v: Array
    """No-load RMS of the secondary, of the first half in centre-tap [V]."""
    second_v: Array
    """In the second half-cycle: the other half's, or less where a diode drops more than its fellows [V]."""
    load_a: Array
    """At the output terminals [A]."""
    raw_a: Array
    """From the reservoir [A]."""
    shared_ohm: Array
    """Primary resistance as this rail sees it [Ω]; nought where it is not wanted."""
    own_ohm: Array
    """Winding resistance as this rail sees it [Ω]; nought where it is not wanted."""

    @property
    def source_ohm(self) -> Array:
        """Whole series resistance of the secondary circuit [Ω]."""
        return self.shared_ohm + self.own_ohm + self.rail.ac_ohm


def pairs(design: Design, scenario: Scenario, at: Operating) -> list[Pair]:
    """Return every rail of the design in one scenario, in the design's order."""
    mains = scenario.mains_v * design.mains_factor * design.condition.mains_factor
    open_v, load, raw = {}, {}, {}
    nothing = np.zeros(design.rows)
    ratios = {name: ratio(design, rail) for name, rail in design.rails.items()}
    for name, rail in design.rails.items():
        open_v[name] = mains * ratios[name]
        load[name] = scenario.loads.get(name, 0.0) * rail.load_factor
        raw[name] = _raw_a(rail, open_v[name], load[name])
    drawn = {name: ratios[name] * raw[name] for name in raw}
    return [
        Pair(
            rail=rail,
            wanted=name in scenario.wanted,
            open_v=open_v[name] * first,
            second_v=np.maximum(open_v[name] * second - rail.half_drop_v / np.sqrt(2), 0.05 * open_v[name]),
            load_a=load[name],
            raw_a=raw[name],
            shared_ohm=_primary_drop(design, rail, drawn, at) * (ratios[name] / raw[name])
            if name in scenario.wanted
            else nothing,
            own_ohm=_winding_seen(design, rail, raw, at) if name in scenario.wanted else nothing,
        )
        for name, rail in design.rails.items()
        for first, second in [_halves(design, rail)]
    ]


def ratio(design: Design, rail: RailDesign) -> Array:
    """Return no-load secondary over mains voltage; the mean of two halves from separate windings."""
    ratios = [design.winding(source).ratio[source] for source in rail.windings]
    return np.asarray(sum(ratios) * (rail.turns / len(ratios)))


def _halves(design: Design, rail: RailDesign) -> tuple[Array | float, Array | float]:
    """Return each half's voltage over the mean of both: 1 unless they come from separate windings."""
    if len(rail.windings) < 2:
        return 1.0, 1.0
    first, second = (design.winding(source).ratio[source] for source in rail.windings[:2])
    mean = (first + second) / 2
    return first / mean, second / mean


def meeting(one: RailDesign, other: RailDesign) -> float:
    """Return the share of `other`'s current pulses that meet those of `one` on the primary.

    A half-wave rail conducts in one half-cycle only, with twice the current for the same mean; two of
    opposite sign never meet.
    """
    if "half-wave" not in {one.kind, other.kind}:
        return 1.0
    if one.kind == other.kind:
        return 1.0 if one.sign == other.sign else 0.0
    return 0.5 if one.kind == "half-wave" else 1.0


def meeting_in_winding(one: RailDesign, other: RailDesign) -> float:
    """Return the same share in a winding: the halves of a centre tap feed rails of opposite sign in turn."""
    if one.kind == other.kind == "centre-tap":
        return 1.0 if one.sign == other.sign else 0.0
    return meeting(one, other)


def _raw_a(rail: RailDesign, open_v: Array, load_a: Array) -> Array:
    """Return the current out of the reservoir: load, regulator, bleeder and leakage."""
    # A few per cent off in the voltage is a few per cent of a bleeder's few milliampere.
    volts = np.maximum(np.sqrt(2) * 0.95 * open_v - 1.3, 0.0)
    regulator = rail.regulator
    quiescent: Array | float = 0.0
    if regulator is not None:
        load_a = np.minimum(load_a, regulator.limit_a)
        quiescent = regulator.quiescent_a
    drawn = load_a + quiescent + rail.leakage_a + volts / rail.bleeder_ohm + volts / rail.leak_ohm
    return np.asarray(np.maximum(drawn, OPEN_LOAD_A))


def _beside(at: Operating, one: RailDesign, other: RailDesign) -> float:
    """Return the height of `other`'s pulses where `one` conducts, over what it would be at the same shape.

    Rails on the same winding see the same terminals and are driven towards the same shape.
    """
    mine, its = at.pulse.get(one.name), at.pulse.get(other.name)
    if set(one.windings) & set(other.windings):
        return 1.0
    return 1.0 if mine is None or its is None or not its < mine else its / mine


def _primary_drop(design: Design, rail: RailDesign, drawn: Mapping[str, Array], at: Operating) -> Array:
    """Return the drop in the primary at the crest [V]; `drawn` are currents as they appear in it [A]."""
    transformer = design.winding(rail.windings[0])
    through: Array = sum(
        (
            drawn[name] * (meeting(rail, other) * _beside(at, rail, other))
            for name, other in design.rails.items()
            if other.windings[0] in transformer.ratio
        ),
        np.zeros(design.rows),
    )
    return np.asarray(copper(transformer.primary_ohm, at.copper_c[transformer.name]) * through)


def _winding_seen(design: Design, rail: RailDesign, raw: Mapping[str, Array], at: Operating) -> Array:
    seen = []
    for source in rail.windings:
        transformer = design.winding(source)
        through = sum(
            raw[name] * meeting_in_winding(rail, other)
            for name, other in design.rails.items()
            if source in other.windings
        )
        ohm = copper(transformer.secondary_ohm[source], at.copper_c[transformer.name])
        seen.append(rail.turns * ohm * through / raw[rail.name])
    return np.asarray(sum(seen) / len(seen))
