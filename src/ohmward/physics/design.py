"""A unit as arrays: the nominal design in row 0, possible units of the same sheet in the others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ohmward.physics import transformer as tr
from ohmward.physics.assume import AMBIENT_K, BULK_V, CREST, EMISSION, LOAD_PCT, READING_PCT, facts
from ohmward.physics.assume_transformer import hot_factor
from ohmward.physics.condition import Condition, RegulatorState, Unit
from ohmward.physics.facts import Facts, RailFacts, RegulatorFacts, TransformerFacts
from ohmward.physics.spread import Draw, Spread, exactly, within
from ohmward.supply.model import RectifierKind

Array = npt.NDArray[np.float64]

THERMAL_VOLTAGE_V = 1.380649e-23 * 300.15 / 1.602176634e-19
"""kT/q at 300.15 K [V] (SI constants)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RegulatorDesign:
    """A regulator; arrays of shape (rows,)."""

    set_point_v: Array
    dropout_v: Array
    rejection_db: Array
    output_ohm: Array
    quiescent_a: Array
    noise_pp_v: Array
    junction_kpw: Array
    interface_kpw: Array
    limit_a: float
    state: RegulatorState
    light_load_rise_v: float
    light_load_a: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RailDesign:
    """A rail; arrays of shape (rows,), magnitudes."""

    name: str
    sign: float
    rated_a: float
    kind: RectifierKind
    windings: tuple[str, ...]
    turns: float
    """2 for a bridge across the whole of a centre-tapped winding, else 1."""
    saturation_a: Array
    bulk_ohm: Array
    ac_ohm: Array
    wiring_ohm: Array
    capacitance_f: Array
    esr_ohm: Array
    leakage_a: Array
    leak_ohm: float
    bleeder_ohm: Array
    """Infinite without one."""
    load_factor: Array
    open_half: bool
    half_drop_v: float
    regulator: RegulatorDesign | None
    sink_kpw: Array | None
    sink_tau_s: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class TransformerDesign:
    """A transformer; arrays of shape (rows,); resistances at 20 °C; dicts by secondary (``T1.a``)."""

    name: str
    invented: bool
    primary_v: float
    rating_va: float
    primary_ohm: Array
    secondary_ohm: dict[str, Array]
    ratio: dict[str, Array]
    centre_tapped: dict[str, bool]
    magnetising_va: Array
    core_loss_w: Array
    extra_loss_w: float
    thermal_kpw: Array
    surface_share: Array
    tau_s: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A whole unit."""

    facts: Facts
    condition: Condition
    rows: int
    frequency_hz: float
    mains_factor: Array
    """Mains over the mains stated: reading and wander, or the whole band when nothing is stated."""
    crest: Array
    ambient_offset_k: Array
    rails: dict[str, RailDesign]
    transformers: dict[str, TransformerDesign]

    def winding(self, source: str) -> TransformerDesign:
        """Return the transformer that a secondary (``T1.a``) belongs to."""
        for transformer in self.transformers.values():
            if source in transformer.ratio:
                return transformer
        raise KeyError(f"no secondary called {source!r}")


def build(unit: Unit, *, rng: np.random.Generator, draws: int, mains_known: bool = True) -> Design:
    """Return the unit as arrays of 1 + `draws` rows.

    Parameters
    ----------
    unit : Unit
        Sheet and condition; the condition changes the drawn parts and takes no random numbers, so
        that a fault and the sound unit share their draws.
    rng : numpy.random.Generator
    draws : int
    mains_known : bool
        False spreads the mains over the sheet's whole band.
    """
    known = facts(unit.sheet)
    draw = Draw(rng, draws)
    mains = known.mains_v
    factor = within(1.0, READING_PCT)
    if not mains_known and mains > 0:
        factor = Spread(value=1.0, low=known.mains_low_v / mains, high=known.mains_high_v / mains)
    return Design(
        facts=known,
        condition=unit.condition,
        rows=draw.rows,
        frequency_hz=known.frequency_hz,
        mains_factor=draw(factor),
        crest=draw(CREST),
        ambient_offset_k=draw(within(1.0, 100 * AMBIENT_K)) - 1.0,
        rails={rail.name: _rail(rail, unit.condition, draw) for rail in known.rails},
        transformers={t.name: _transformer(t, unit.condition, draw) for t in known.transformers},
    )


def _rail(rail: RailFacts, condition: Condition, draw: Draw) -> RailDesign:
    wrong = condition.rail(rail.name)
    slope = EMISSION * THERMAL_VOLTAGE_V
    rated = max(rail.rated_a, 1e-6)
    forward, bleeder = draw(rail.forward_v), draw(rail.bleeder_ohm or exactly(1.0))
    capacitance = draw(rail.capacitance_f) * wrong.capacitance_factor
    return RailDesign(
        name=rail.name,
        sign=rail.sign,
        rated_a=rail.rated_a,
        kind=rail.kind,
        windings=rail.windings,
        turns=2.0 if rail.whole_winding else 1.0,
        saturation_a=rated * np.exp(-(forward - BULK_V) / slope),
        bulk_ohm=np.full(draw.rows, BULK_V / rated),
        ac_ohm=draw(rail.ac_ohm) + wrong.ac_extra_ohm,
        wiring_ohm=draw(rail.wiring_ohm) + wrong.output_extra_ohm,
        capacitance_f=capacitance,
        esr_ohm=draw(rail.esr_ohm) + wrong.esr_extra_ohm,
        leakage_a=draw(rail.leakage_a),
        leak_ohm=np.inf if wrong.leak_ohm is None else wrong.leak_ohm,
        bleeder_ohm=np.full(draw.rows, np.inf)
        if wrong.bleeder_missing or rail.bleeder_ohm is None
        else bleeder,
        load_factor=draw(within(1.0, LOAD_PCT)) * (0.0 if wrong.load_missing else 1.0),
        open_half=wrong.open_half,
        half_drop_v=wrong.half_drop_v,
        regulator=None if rail.regulator is None else _regulator(rail.name, rail.regulator, condition, draw),
        sink_kpw=None if rail.sink_kpw is None else draw(rail.sink_kpw) * wrong.sink_factor,
        sink_tau_s=draw(rail.sink_tau_s),
    )


def _regulator(name: str, known: RegulatorFacts, condition: Condition, draw: Draw) -> RegulatorDesign:
    wrong = condition.rail(name)
    return RegulatorDesign(
        set_point_v=draw(known.set_point_v) * wrong.set_point_factor,
        dropout_v=draw(known.dropout_v) + wrong.dropout_extra_v,
        rejection_db=draw(known.rejection_db),
        output_ohm=draw(known.output_ohm),
        quiescent_a=draw(known.quiescent_a),
        noise_pp_v=draw(known.noise_pp_v),
        junction_kpw=draw(known.junction_kpw),
        interface_kpw=draw(known.interface_kpw) + wrong.interface_extra_kpw,
        limit_a=np.inf if known.limit_a is None else known.limit_a,
        state=wrong.regulator,
        light_load_rise_v=wrong.light_load_rise_v,
        light_load_a=wrong.light_load_a,
    )


def _transformer(known: TransformerFacts, condition: Condition, draw: Draw) -> TransformerDesign:
    wrong = condition.transformer(known.name)
    regulation, share = draw(known.regulation), draw(known.primary_share)
    primary = None if known.primary_ohm is None else draw(known.primary_ohm)
    volts = [draw(secondary.voltage_v) for secondary in known.secondaries]
    ohms = [None if secondary.ohm is None else draw(secondary.ohm) for secondary in known.secondaries]
    wound = tr.windings(
        regulation=regulation,
        primary_share=share,
        primary_v=known.primary_v,
        rating_va=known.rating_va,
        voltage_v=volts,
        current_a=[secondary.current_a for secondary in known.secondaries],
        hot_factor=hot_factor(known.rise_k.value),
        primary_ohm=primary,
        secondary_ohm=ohms,
    )
    names = [f"{known.name}.{secondary.name}" for secondary in known.secondaries]
    core_loss, rise = draw(known.core_loss_w), draw(known.rise_k)
    return TransformerDesign(
        name=known.name,
        invented=known.invented,
        primary_v=known.primary_v,
        rating_va=known.rating_va,
        primary_ohm=wound.primary_ohm * wrong.resistance_factor,
        secondary_ohm={
            name: ohm * wrong.resistance_factor for name, ohm in zip(names, wound.secondary_ohm, strict=True)
        },
        ratio={name: ratio * wrong.ratio_factor for name, ratio in zip(names, wound.ratio, strict=True)},
        centre_tapped={
            name: secondary.centre_tapped for name, secondary in zip(names, known.secondaries, strict=True)
        },
        magnetising_va=draw(known.magnetising_va) * wrong.magnetising_factor,
        core_loss_w=core_loss,
        extra_loss_w=wrong.extra_loss_w,
        # The rated rise is reached with the rated copper loss and the core loss together.
        thermal_kpw=wrong.thermal_factor * rise / (regulation * known.rating_va + core_loss),
        surface_share=draw(known.surface_share),
        tau_s=draw(known.tau_s),
    )
