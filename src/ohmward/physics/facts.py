"""A supply as quantities with limits: what the model computes with, whether stated or assumed."""

from __future__ import annotations

import msgspec

from ohmward.physics.spread import Spread
from ohmward.supply.model import RectifierKind


class RegulatorFacts(msgspec.Struct, frozen=True, kw_only=True):
    """A linear regulator; magnitudes."""

    set_point_v: Spread
    dropout_v: Spread
    rejection_db: Spread
    output_ohm: Spread
    quiescent_a: Spread
    noise_pp_v: Spread
    junction_kpw: Spread
    interface_kpw: Spread
    limit_a: float | None


class RailFacts(msgspec.Struct, frozen=True, kw_only=True):
    """One rail; magnitudes, `sign` apart."""

    name: str
    sign: float
    nominal_v: float
    rated_a: float
    kind: RectifierKind
    windings: tuple[str, ...]
    """Secondaries that feed it, as ``T1.a``."""
    whole_winding: bool
    """A bridge across both halves of a centre-tapped secondary."""
    forward_v: Spread
    ac_ohm: Spread
    wiring_ohm: Spread
    capacitance_f: Spread
    esr_ohm: Spread
    leakage_a: Spread
    bleeder_ohm: Spread | None
    regulator: RegulatorFacts | None
    sink_kpw: Spread | None
    sink_tau_s: Spread


class Nameplate(msgspec.Struct, frozen=True, kw_only=True):
    """A rail of which nothing but the nameplate is known: no model, only wide bands."""

    name: str
    sign: float
    nominal_v: float
    rated_a: float


class SecondaryFacts(msgspec.Struct, frozen=True, kw_only=True):
    """One secondary; of each half where centre-tapped."""

    name: str
    voltage_v: Spread
    current_a: float
    centre_tapped: bool
    ohm: Spread | None
    """Measured at 20 °C; None where the regulation tells."""


class TransformerFacts(msgspec.Struct, frozen=True, kw_only=True):
    """One transformer; resistances at 20 °C, regulation as a fraction."""

    name: str
    primary_v: float
    rating_va: float
    regulation: Spread
    primary_share: Spread
    primary_ohm: Spread | None
    secondaries: tuple[SecondaryFacts, ...]
    magnetising_va: Spread
    core_loss_w: Spread
    rise_k: Spread
    surface_share: Spread
    tau_s: Spread
    invented: bool = False
    """Not on the sheet: taken so that a rail of unknown source can be computed."""


class Facts(msgspec.Struct, frozen=True, kw_only=True):
    """A whole supply, each quantity with its limits."""

    mains_v: float
    mains_low_v: float
    mains_high_v: float
    frequency_hz: float
    rails: tuple[RailFacts, ...]
    nameplates: tuple[Nameplate, ...]
    transformers: tuple[TransformerFacts, ...]
    assumptions: tuple[str, ...]
