"""What may be wrong with a unit, as changes to its sound design; the default of every field is 'sound'.

The design sheet says what a unit is meant to be; a condition says how this one differs. It works on
the same drawn parts as the sound unit, so that the two differ by the fault and by nothing else.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from ohmward.supply.model import Supply

RegulatorState = Literal["sound", "shorted", "oscillating"]


class RailCondition(msgspec.Struct, frozen=True, kw_only=True):
    """One rail."""

    open_half: bool = False
    """A diode or one half-winding conducts no more: one half-cycle of the two is missing."""
    half_drop_v: float = 0.0
    """Drop added in one of the two half-cycles [V]."""
    ac_extra_ohm: float = 0.0
    """In series between secondary and rectifier [Ω]."""
    output_extra_ohm: float = 0.0
    """In series between reservoir or regulator and output terminals [Ω]."""
    capacitance_factor: float = 1.0
    """Of the reservoir; 0 when it is open."""
    esr_extra_ohm: float = 0.0
    leak_ohm: float | None = None
    """Across the reservoir [Ω]."""
    bleeder_missing: bool = False
    regulator: RegulatorState = "sound"
    set_point_factor: float = 1.0
    dropout_extra_v: float = 0.0
    light_load_rise_v: float = 0.0
    """Rise of the output while the load is below `light_load_a`: minimum load missing, or sense open [V]."""
    light_load_a: float = 0.0
    interface_extra_kpw: float = 0.0
    """Between device and heat sink [K/W]."""
    sink_factor: float = 1.0
    """Of the heat sink's thermal resistance to the air."""
    load_missing: bool = False
    """The load that the person believes connected is not."""


class TransformerCondition(msgspec.Struct, frozen=True, kw_only=True):
    """One transformer."""

    ratio_factor: float = 1.0
    """Of every secondary's no-load voltage."""
    resistance_factor: float = 1.0
    """Of every winding."""
    magnetising_factor: float = 1.0
    extra_loss_w: float = 0.0
    """Heat in shorted turns [W]."""
    thermal_factor: float = 1.0
    """Of its thermal resistance to the air."""


class Condition(msgspec.Struct, frozen=True, kw_only=True):
    """A whole unit."""

    rails: dict[str, RailCondition] = {}
    transformers: dict[str, TransformerCondition] = {}
    mains_factor: float = 1.0
    """Mains at the transformer over mains at the inlet (a wrong tap, a lamp still in series)."""
    air_rise_k: float = 0.0
    """Air inside over room: fan dead, vents blocked [K]."""
    earth_extra_ohm: float = 0.0
    """Added to the protective earth path; infinite when open [Ω]."""
    insulation_ohm: float | None = None
    """Mains to earth; None where sound [Ω]."""
    isolation_ohm: float | None = None
    """Primary to secondary; None where sound [Ω]."""

    def rail(self, name: str) -> RailCondition:
        """Return the condition of a rail, sound when nothing is said of it."""
        return self.rails.get(name, _SOUND_RAIL)

    def transformer(self, name: str) -> TransformerCondition:
        """Return the condition of a transformer, sound when nothing is said of it."""
        return self.transformers.get(name, _SOUND_TRANSFORMER)


_SOUND_RAIL = RailCondition()
_SOUND_TRANSFORMER = TransformerCondition()
SOUND = Condition()


class Unit(msgspec.Struct, frozen=True, kw_only=True):
    """A supply as it is: its design sheet and its condition."""

    sheet: Supply
    condition: Condition = SOUND


def as_unit(supply: Supply | Unit) -> Unit:
    """Return a sound unit for a plain sheet, the unit itself otherwise."""
    return supply if isinstance(supply, Unit) else Unit(sheet=supply)
