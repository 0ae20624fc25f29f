"""One rail from secondary to terminals: rectifier, reservoir, regulator, wiring, heat sink."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from ohmward.physics.assume import EMISSION
from ohmward.physics.design import THERMAL_VOLTAGE_V, Design, RegulatorDesign
from ohmward.physics.network import Pair
from ohmward.physics.rectifier import Diode, SteadyState, steady_state
from ohmward.physics.regulator import Regulated, regulate
from ohmward.physics.surface import CHECKED, FITTED, Surface, fit
from ohmward.supply.model import RectifierKind

Array = npt.NDArray[np.float64]

SLOPE_V = EMISSION * THERMAL_VOLTAGE_V
"""Diode voltage for each factor e of current [V]."""
PASSED_V = 0.3
"""What is left across a shorted pass device [V] (assumption)."""
OSCILLATION_PP_V = 0.5
OSCILLATION_SHARE = 0.85
OSCILLATION_A = 0.05
"""An oscillating regulator: ripple added [V], output over set point as a multimeter reads it, current it
draws for itself [A]. Signs are reliable, sizes are not (workshop experience, no source)."""
_PHASES = 128


@dataclass(frozen=True, slots=True, kw_only=True)
class Reservoir:
    """What the rectifier gives; arrays of shape (rows,), magnitudes."""

    mean_v: Array
    valley_v: Array
    peak_v: Array
    ripple_pp_v: Array
    ripple_rms_v: Array
    source_rms_a: Array
    source_peak_a: Array
    capacitor_rms_a: Array
    piv_v: Array
    fundamental_v: Array
    second_harmonic_v: Array
    converged: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class RailState:
    """One rail under load; arrays of shape (rows,), magnitudes (the rail's sign is not applied)."""

    reservoir: Reservoir
    raw_a: Array
    output_v: Array
    """At the output terminals."""
    output_ripple_pp_v: Array
    secondary_rms_a: Array
    """Of this rail in the lead from its winding; of each half in centre-tap."""
    total_rms_a: Array
    """Of both half-cycles together."""
    primary_share_a: Array
    """This rail's load current as it appears in the primary, RMS."""
    power_w: Array
    """What the ideal winding delivers."""
    bridge_w: Array
    dissipation_w: Array | None
    """In the pass device; None without a regulator, as the two below."""
    headroom_v: Array | None
    limited: npt.NDArray[np.bool_]


def rectify(design: Design, pairs: Sequence[Pair]) -> list[Reservoir]:
    """Return the reservoir of each pair, all pairs of one kind computed in one batch."""
    groups: dict[tuple[RectifierKind, bool], list[int]] = defaultdict(list)
    for index, pair in enumerate(pairs):
        bare = bool((pair.rail.capacitance_f <= 0).all())
        groups[pair.rail.kind, bare].append(index)
    found: dict[int, Reservoir] = {}
    for (kind, bare), members in groups.items():
        chosen = [pairs[index] for index in members]
        solved = _without_capacitor(kind, chosen) if bare else _batch(design, kind, chosen)
        found |= dict(zip(members, solved, strict=True))
    return [found[index] for index in range(len(pairs))]


def cycle(design: Design, pair: Pair, samples: int) -> tuple[Array, Array, Array]:
    """Return time [s], reservoir voltage [V] and rectified current [A] of row 0 over one cycle of the mains.

    NaN where the rail has no steady state, and without a reservoir, whose humps are not sampled.
    """
    result = _steady(design, pair.rail.kind, [pair], slice(1)).waveform(samples)
    return result.time_s[:, 0, 0], result.output_v[:, 0, 0], result.diode_a[:, 0, 0]


def finish(pair: Pair, raw: Reservoir, ratio: Array) -> RailState:
    """Return the whole rail from its reservoir; `ratio` is secondary over primary voltage."""
    rail = pair.rail
    total = np.square(raw.source_rms_a)
    bridge = _bridge_w(pair, raw)
    power = (
        raw.mean_v * pair.raw_a
        + total * pair.source_ohm
        + bridge
        + np.square(raw.capacitor_rms_a) * rail.esr_ohm
    )
    # The direct component of a half-wave rail, or of one with a dead half, is not transformed.
    one_sided = rail.kind == "half-wave" or rail.open_half
    alternating = np.maximum(total - np.square(pair.raw_a), 0.0) if one_sided else total
    regulated = None if rail.regulator is None else _regulated(pair, raw, rail.regulator)
    output = raw.mean_v if regulated is None else regulated.output_v
    ripple = raw.ripple_pp_v if regulated is None else regulated.ripple_pp_v
    return RailState(
        reservoir=raw,
        raw_a=pair.raw_a,
        output_v=np.maximum(output - pair.load_a * rail.wiring_ohm, 0.0),
        output_ripple_pp_v=ripple,
        secondary_rms_a=np.sqrt((0.5 if rail.kind == "centre-tap" else 1.0) * total),
        total_rms_a=raw.source_rms_a,
        primary_share_a=ratio * np.sqrt(alternating),
        power_w=power,
        bridge_w=bridge,
        dissipation_w=None if regulated is None else regulated.dissipation_w,
        headroom_v=None if regulated is None else regulated.headroom_v,
        limited=np.zeros(raw.mean_v.shape, dtype=bool) if regulated is None else regulated.limited,
    )


def _batch(design: Design, kind: RectifierKind, pairs: Sequence[Pair]) -> list[Reservoir]:
    """Return the reservoirs; with many rows most of them from a surface fitted to the first ones."""
    exact = FITTED + CHECKED
    if design.rows <= 2 * exact:
        return _exact(design, kind, pairs, slice(None))
    first = _exact(design, kind, pairs, slice(exact))
    surfaces = [_surface(design, pair, reservoir) for pair, reservoir in zip(pairs, first, strict=True)]
    awkward = [pair for pair, surface in zip(pairs, surfaces, strict=True) if surface is None]
    others = iter(_exact(design, kind, awkward, slice(exact, None)) if awkward else [])
    found = []
    for pair, reservoir, surface in zip(pairs, first, surfaces, strict=True):
        rest = next(others) if surface is None else _from_surface(design, pair, reservoir, surface)
        found.append(
            Reservoir(
                **{
                    f.name: np.concatenate([getattr(reservoir, f.name), getattr(rest, f.name)])
                    for f in _FIELDS
                }
            )
        )
    return found


def _exact(design: Design, kind: RectifierKind, pairs: Sequence[Pair], rows: slice) -> list[Reservoir]:
    result = _steady(design, kind, pairs, rows)
    return [Reservoir(**{f.name: getattr(result, f.name)[row] for f in _FIELDS}) for row in range(len(pairs))]


def _steady(design: Design, kind: RectifierKind, pairs: Sequence[Pair], rows: slice) -> SteadyState:
    def stack(values: Sequence[Array]) -> Array:
        return np.stack([value[rows] for value in values])

    return steady_state(
        kind=kind,
        source_rms_v=stack([pair.open_v * design.crest for pair in pairs]),
        second_rms_v=stack([pair.second_v * design.crest for pair in pairs]),
        frequency_hz=design.frequency_hz,
        source_ohm=stack([pair.source_ohm for pair in pairs]),
        capacitance_f=stack([pair.rail.capacitance_f for pair in pairs]),
        esr_ohm=stack([pair.rail.esr_ohm for pair in pairs]),
        diode=Diode(
            saturation_a=stack([pair.rail.saturation_a for pair in pairs]),
            emission=EMISSION,
            bulk_ohm=stack([pair.rail.bulk_ohm for pair in pairs]),
        ),
        load_a=stack([pair.raw_a for pair in pairs]),
        open_half=np.array([[pair.rail.open_half] for pair in pairs]),
    )


def _inputs(design: Design, pair: Pair) -> Array:
    """Return what varies from row to row, shape (rows, quantities); the ESR kept off zero."""
    rail = pair.rail
    return np.stack(
        [
            pair.open_v * design.crest,
            pair.second_v / pair.open_v,
            pair.source_ohm,
            rail.capacitance_f,
            rail.esr_ohm + 1e-9,
            rail.saturation_a,
            pair.raw_a,
        ],
        axis=1,
    )


def _surface(design: Design, pair: Pair, first: Reservoir) -> Surface | None:
    outputs = np.stack([getattr(first, name) for name in _SMOOTH], axis=1)
    return fit(_inputs(design, pair)[: len(outputs)], outputs) if bool(first.converged.all()) else None


def _from_surface(design: Design, pair: Pair, first: Reservoir, surface: Surface) -> Reservoir:
    rows = surface(_inputs(design, pair)[len(first.mean_v) :])
    # With both halves alike there is no component at mains frequency, and nothing to fit.
    fundamental = np.full(len(rows), float(np.median(first.fundamental_v)))
    return Reservoir(
        **dict(zip(_SMOOTH, rows.T, strict=True)),
        fundamental_v=fundamental,
        converged=np.ones(len(rows), dtype=bool),
    )


_FIELDS = fields(Reservoir)
_SMOOTH = tuple(f.name for f in _FIELDS if f.name not in {"fundamental_v", "converged"})


def _without_capacitor(kind: RectifierKind, pairs: Sequence[Pair]) -> list[Reservoir]:
    """Return the humps of the rectified sine: no reservoir, the load drawing its current all the time."""
    angle = (np.arange(_PHASES) + 0.5) * 2 * np.pi / _PHASES
    sine = np.sin(angle)
    drops = 2 if kind == "bridge" else 1
    found = []
    for pair in pairs:
        rail = pair.rail
        one_sided = kind == "half-wave" or rail.open_half
        hump = np.maximum(sine, 0.0) if one_sided else np.abs(sine)
        lost = drops * SLOPE_V * np.log1p(pair.raw_a / rail.saturation_a)
        lost = lost + pair.raw_a * (pair.source_ohm + drops * rail.bulk_ohm)
        wave = np.maximum(np.sqrt(2) * pair.open_v[:, None] * hump - lost[:, None], 0.0)
        mean, conducting = wave.mean(axis=1), (wave > 0).mean(axis=1)
        current = pair.raw_a * np.sqrt(conducting)
        found.append(
            Reservoir(
                mean_v=mean,
                valley_v=wave.min(axis=1),
                peak_v=wave.max(axis=1),
                ripple_pp_v=np.ptp(wave, axis=1),
                ripple_rms_v=wave.std(axis=1),
                source_rms_a=current,
                source_peak_a=pair.raw_a,
                capacitor_rms_a=np.zeros_like(mean),
                piv_v=np.sqrt(2) * pair.open_v * (2 if kind == "centre-tap" else 1),
                fundamental_v=np.abs((wave * np.exp(-1j * angle)).mean(axis=1)) * 2,
                second_harmonic_v=np.abs((wave * np.exp(-2j * angle)).mean(axis=1)) * 2,
                converged=np.ones(mean.shape, dtype=bool),
            )
        )
    return found


def _bridge_w(pair: Pair, raw: Reservoir) -> Array:
    """Return the heat in the rectifier [W]: charge through the logarithmic drop, and bulk resistance."""
    drops = 2.0 if pair.rail.kind == "bridge" else 1.0
    typical = np.square(raw.source_rms_a) / pair.raw_a
    log_drop = SLOPE_V * np.log1p(typical / pair.rail.saturation_a)
    return np.asarray(drops * (log_drop * pair.raw_a + pair.rail.bulk_ohm * np.square(raw.source_rms_a)))


def _regulated(pair: Pair, raw: Reservoir, regulator: RegulatorDesign) -> Regulated:
    if regulator.state == "shorted":
        output = np.maximum(raw.mean_v - PASSED_V, 0.0)
        none = np.zeros_like(output)
        return Regulated(
            output_v=output,
            ripple_pp_v=raw.ripple_pp_v,
            headroom_v=raw.valley_v - regulator.set_point_v - regulator.dropout_v,
            dissipation_w=PASSED_V * pair.load_a,
            limited=none.astype(bool),
        )
    swinging = regulator.state == "oscillating"
    light = pair.load_a < regulator.light_load_a
    sound = regulate(
        set_point_v=regulator.set_point_v * (OSCILLATION_SHARE if swinging else 1.0)
        + np.where(light, regulator.light_load_rise_v, 0.0),
        load_a=pair.load_a,
        mean_v=raw.mean_v,
        valley_v=raw.valley_v,
        peak_v=raw.peak_v,
        output_ohm=regulator.output_ohm,
        dropout_v=regulator.dropout_v,
        rejection_db=regulator.rejection_db,
        quiescent_a=regulator.quiescent_a + (OSCILLATION_A if swinging else 0.0),
        limit_a=regulator.limit_a,
    )
    noise = regulator.noise_pp_v + (OSCILLATION_PP_V if swinging else 0.0)
    return Regulated(
        output_v=sound.output_v,
        ripple_pp_v=np.where(sound.limited, 0.0, sound.ripple_pp_v + noise),
        headroom_v=sound.headroom_v,
        dissipation_w=sound.dissipation_w,
        limited=sound.limited,
    )
