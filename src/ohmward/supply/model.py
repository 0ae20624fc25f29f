"""What the unit under test is: the design sheet as immutable data in SI units.

Units are in the names: `_v` volt, `_a` ampere, `_ohm` ohm, `_f` farad, `_s` second, `_hz` hertz,
`_c` degree Celsius, `_k` kelvin (a difference), `_kpw` kelvin per watt, `_va` volt-ampere, `_pct`
per cent, `_db` decibel, `_m` metre, `_mm2` square millimetre. Voltages of a secondary are RMS at
rated load. A fact that the sheet leaves out is None; `physics` says what it then assumes.
"""

from __future__ import annotations

from typing import Literal

import msgspec

RectifierKind = Literal["bridge", "centre-tap", "half-wave"]
ProtectionClass = Literal["I", "II", "III"]


class Sheet(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Base of every part of the design sheet."""


class Fuse(Sheet, frozen=True, kw_only=True):
    """Fuse-link to IEC 60127: characteristic F, T, FF, M or TT, and rated current [A]."""

    characteristic: str
    rating_a: float
    breaking: Literal["H", "L", "E"] | None = None


class Cord(Sheet, frozen=True, kw_only=True):
    """Mains cord; copper class 5 of IEC 60228 assumed for its resistance."""

    length_m: float | None = None
    area_mm2: float | None = None
    detachable: bool = False

    @property
    def size(self) -> tuple[float, float] | None:
        """Length [m] and area of a core [mm²]; None where they are not both known."""
        return None if self.length_m is None or self.area_mm2 is None else (self.length_m, self.area_mm2)


class Mains(Sheet, frozen=True, kw_only=True):
    """What the supply is fed with, and what stands between."""

    voltage_v: float
    frequency_hz: float
    low_pct: float = -10.0
    high_pct: float = 10.0
    """Band the unit must work in, about `voltage_v` (IEC 60038: 230 V +-10 %)."""
    fuse: Fuse | None = None
    cord: Cord | None = None

    @property
    def low_v(self) -> float:
        """Bottom of the band [V]."""
        return self.voltage_v * (1.0 + self.low_pct / 100.0)

    @property
    def high_v(self) -> float:
        """Top of the band [V]."""
        return self.voltage_v * (1.0 + self.high_pct / 100.0)


class Secondary(Sheet, frozen=True, kw_only=True):
    """One secondary winding; for a centre-tapped one the values are of each half."""

    name: str
    voltage_v: float
    current_a: float | None = None
    resistance_ohm: float | None = None
    centre_tapped: bool = False


class Transformer(Sheet, frozen=True, kw_only=True):
    """One mains transformer and its secondaries."""

    name: str
    secondaries: tuple[Secondary, ...]
    primary_voltage_v: float | None = None
    """Rated primary voltage; None means the mains voltage of the sheet."""
    rating_va: float | None = None
    regulation_pct: float | None = None
    """(no-load - full-load) / full-load x 100, the makers' convention."""
    primary_ohm: float | None = None
    core: Literal["toroid", "laminated"] | None = None
    insulation_class: Literal["A", "E", "B", "F", "H"] | None = None
    temperature_rise_k: float | None = None
    time_constant_s: float | None = None


class Rectifier(Sheet, frozen=True, kw_only=True):
    """The diodes between secondary and reservoir."""

    kind: RectifierKind
    forward_v: float | None = None
    """Drop of one diode at the rail's rated current."""
    reverse_rating_v: float | None = None
    current_rating_a: float | None = None


class Reservoir(Sheet, frozen=True, kw_only=True):
    """The capacitor behind the rectifier, with its bleeder resistor."""

    capacitance_f: float
    tolerance_low_pct: float = -20.0
    tolerance_high_pct: float = 20.0
    esr_ohm: float | None = None
    voltage_rating_v: float | None = None
    ripple_rating_a: float | None = None
    temperature_max_c: float | None = None
    bleeder_ohm: float | None = None
    bleeder_rating_w: float | None = None
    """What the bleeder may burn [W]."""


class Regulator(Sheet, frozen=True, kw_only=True):
    """A linear regulator behind the reservoir."""

    kind: Literal["linear"] = "linear"
    set_point_v: float | None = None
    """Magnitude and sign as the rail's; None means the rail's nominal voltage."""
    tolerance_pct: float | None = None
    dropout_v: float | None = None
    ripple_rejection_db: float | None = None
    output_ohm: float | None = None
    current_limit_a: float | None = None
    input_max_v: float | None = None
    quiescent_a: float | None = None
    junction_to_case_kpw: float | None = None
    junction_max_c: float | None = None


class HeatSink(Sheet, frozen=True, kw_only=True):
    """What the regulator's pass device is mounted on."""

    thermal_resistance_kpw: float
    interface_kpw: float | None = None
    time_constant_s: float | None = None


class Targets(Sheet, frozen=True, kw_only=True):
    """What the rail has to meet; each is a limit in the assessment."""

    output_tolerance_pct: float | None = None
    load_regulation_pct: float | None = None
    line_regulation_pct: float | None = None
    ripple_pp_v: float | None = None
    ripple_bandwidth_hz: float | None = None
    heatsink_max_c: float | None = None


class Rail(Sheet, frozen=True, kw_only=True):
    """One output and all that feeds it."""

    name: str
    nominal_v: float
    """Signed: a negative rail has a negative nominal voltage."""
    rated_current_a: float
    """Magnitude."""
    sources: tuple[str, ...] = ()
    """Secondaries as ``T1.a``; two of them for the halves of a centre-tap rectifier."""
    rectifier: Rectifier | None = None
    reservoir: Reservoir | None = None
    regulator: Regulator | None = None
    heatsink: HeatSink | None = None
    fuse: Fuse | None = None
    wiring_ohm: float | None = None
    """Wiring and connectors between reservoir (or regulator) and output terminals, both ways."""
    targets: Targets = Targets()

    @property
    def sign(self) -> float:
        """+1.0 for a positive rail, -1.0 for a negative one."""
        return -1.0 if self.nominal_v < 0 else 1.0

    @property
    def set_point_v(self) -> float | None:
        """Signed regulated set point [V], None for an unregulated rail."""
        if self.regulator is None:
            return None
        if self.regulator.set_point_v is None:
            return self.nominal_v
        return self.sign * abs(self.regulator.set_point_v)


class Supply(Sheet, frozen=True, kw_only=True):
    """A whole design sheet (format 1)."""

    format: int = 1
    tag: str
    title: str
    protection_class: ProtectionClass
    mains: Mains
    rails: tuple[Rail, ...]
    transformers: tuple[Transformer, ...] = ()
    ambient_max_c: float = 40.0
    limit_set: str = "iec"
    parts: tuple[str, ...] = ()
    """Accessible metal parts whose earth continuity is measured, each by a person's own name."""
    serial: str = ""
    note: str = ""

    def rail(self, name: str) -> Rail:
        """Return the rail called `name`; KeyError when there is none."""
        for rail in self.rails:
            if rail.name == name:
                return rail
        raise KeyError(f"no rail called {name!r}")

    def secondary(self, source: str) -> tuple[Transformer, Secondary]:
        """Return transformer and secondary of a source such as ``T1.a``; KeyError when missing."""
        for transformer in self.transformers:
            for secondary in transformer.secondaries:
                if f"{transformer.name}.{secondary.name}" == source:
                    return transformer, secondary
        raise KeyError(f"no secondary called {source!r}")
