"""Which keys a design sheet has: one table for reading, writing, asking and describing.

Bounds are those of a bench supply with a mains transformer, drawn wide: what lies outside is a slip
of the unit or the prefix, not a design.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from ohmward.supply.model import (
    Cord,
    HeatSink,
    Mains,
    Rail,
    Rectifier,
    Regulator,
    Reservoir,
    Secondary,
    Sheet,
    Supply,
    Targets,
    Transformer,
)

FORMAT = 1
"""Format of the sheet that is written; every earlier one is read."""

Form = Literal["text", "flag", "format", "value", "texts", "fuse", "band", "sources", "part", "parts"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of the sheet and what may stand there."""

    name: str
    fields: tuple[str, ...]
    """Fields of the model that it fills: two for a band."""
    form: Form = "text"
    required: bool = False
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    """For a value: bounds in its unit, both ends inside."""
    sign_free: bool = False
    """For a value: the bounds are of its magnitude."""
    choices: tuple[str, ...] = ()
    known: tuple[str, ...] = ()
    """For a text: the names that may stand there; what is none of them is the path of a file."""
    part: str = ""
    """For a part or parts: its table in `TABLES`."""
    says: str = ""
    """Comment beside it in a sheet that is written."""
    example: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One part of the sheet."""

    kind: type[Sheet]
    title: str
    """What the part is called in words."""
    keys: tuple[Key, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of its keys, in order."""
        return tuple(key.name for key in self.keys)


def _value(name: str, field: str, unit: str, low: float, high: float, example: str, says: str = "",  # noqa: PLR0917
           *, required: bool = False, sign_free: bool = False) -> Key:  # fmt: skip
    return Key(name=name, fields=(field,), form="value", unit=unit, low=low, high=high, example=example,
               says=says, required=required, sign_free=sign_free)  # fmt: skip


def _text(name: str, *, required: bool = False, choices: tuple[str, ...] = (), says: str = "",
          example: str = "", known: tuple[str, ...] = ()) -> Key:  # fmt: skip
    return Key(name=name, fields=(name,), required=required, choices=choices, known=known, says=says,
               example=example or (choices[0] if choices else ""))  # fmt: skip


def _part(name: str, part: str, *, required: bool = False) -> Key:
    return Key(name=name, fields=(name,), form="part", part=part, required=required)


_FUSE = Key(name="fuse", fields=("fuse",), form="fuse", example="T 1.6 A",
            says="IEC 60127: characteristic, rating, and H or L for breaking capacity")  # fmt: skip

LIMIT_SETS = ("iec", "uk", "eu", "au-nz")
"""The limit sets that are shipped, by name."""

TABLES: dict[str, Table] = {
    "sheet": Table(kind=Supply, title="supply", keys=(
        Key(name="format", fields=("format",), form="format"),
        _text("tag", required=True, example="CR-07", says="what is written on the supply itself"),
        _text("title", required=True, example="Mixing-console supply"),
        _text("protection_class", required=True, choices=("I", "II", "III"), says="IEC 61140"),
        _text("serial"),
        _value("ambient_max", "ambient_max_c", "°C", -20, 100, "40 °C", "hottest room it must work in"),
        _text("limit_set", example="iec", known=LIMIT_SETS,
              says=f"{', '.join(LIMIT_SETS)}, or a file of your own"),
        Key(name="parts", fields=("parts",), form="texts", example='["case lid", "front panel"]',
            says="metal that a hand can touch: earth continuity is measured to each"),
        _text("note"),
        _part("mains", "mains", required=True),
        Key(name="transformer", fields=("transformers",), form="parts", part="transformer"),
        Key(name="rail", fields=("rails",), form="parts", part="rail", required=True),
    )),
    "mains": Table(kind=Mains, title="mains", keys=(
        _value("voltage", "voltage_v", "V", 6, 1000, "230 V", required=True),
        _value("frequency", "frequency_hz", "Hz", 10, 1000, "50 Hz", required=True),
        Key(name="band", fields=("low_pct", "high_pct"), form="band", example="-10 % +10 %",
            says="mains that it must work on; IEC 60038: 230 V -10 % +10 %"),
        _FUSE,
        _part("cord", "cord"),
    )),
    "cord": Table(kind=Cord, title="cord", keys=(
        _value("length", "length_m", "m", 0.05, 200, "2 m"),
        _value("area", "area_mm2", "mm²", 0.1, 50, "0.75 mm²"),
        Key(name="detachable", fields=("detachable",), form="flag", example="false"),
    )),
    "transformer": Table(kind=Transformer, title="transformer", keys=(
        _text("name", required=True, example="T1"),
        _value("rating", "rating_va", "VA", 0.1, 1e5, "80 VA"),
        _value("regulation", "regulation_pct", "%", 0.1, 80, "11 %", "(no-load - full-load) / full-load"),
        _value("primary_voltage", "primary_voltage_v", "V", 6, 1000, "230 V",
               "where it is not that of the mains"),
        _value("primary_resistance", "primary_ohm", "Ω", 1e-3, 1e6, "29 Ω", "measured cold"),
        _text("core", choices=("toroid", "laminated")),
        _text("insulation_class", choices=("A", "E", "B", "F", "H"), says="IEC 60085"),
        _value("temperature_rise", "temperature_rise_k", "K", 1, 250, "60 K", "of the windings, rated load"),
        _value("time_constant", "time_constant_s", "s", 1, 1e6, "40 min", "of its warming up"),
        Key(name="secondaries", fields=("secondaries",), form="parts", part="secondary", required=True),
    )),
    "secondary": Table(kind=Secondary, title="secondary", keys=(
        _text("name", required=True, example="a"),
        _value("voltage", "voltage_v", "V", 0.1, 5000, "18 V", required=True),
        _value("current", "current_a", "A", 1e-3, 1000, "2.2 A"),
        _value("resistance", "resistance_ohm", "Ω", 1e-5, 1e5, "0.3 Ω"),
        Key(name="centre_tapped", fields=("centre_tapped",), form="flag", example="true"),
    )),
    "rail": Table(kind=Rail, title="rail", keys=(
        _text("name", required=True, example="+15"),
        _value("nominal", "nominal_v", "V", 0.1, 5000, "15 V", required=True, sign_free=True),
        _value("rated_current", "rated_current_a", "A", 1e-4, 1000, "1.2 A", required=True),
        Key(name="source", fields=("sources",), form="sources", example="T1.a"),
        _part("rectifier", "rectifier"),
        _part("reservoir", "reservoir"),
        _part("regulator", "regulator"),
        _part("heatsink", "heatsink"),
        _FUSE,
        _value("wiring_resistance", "wiring_ohm", "Ω", 0, 100, "20 mΩ", "to the output terminals, both ways"),
        _part("targets", "targets"),
    )),
    "rectifier": Table(kind=Rectifier, title="rectifier", keys=(
        _text("kind", required=True, choices=("bridge", "centre-tap", "half-wave")),
        _value("forward_drop", "forward_v", "V", 0.05, 10, "0.9 V"),
        _value("reverse_rating", "reverse_rating_v", "V", 1, 1e5, "200 V"),
        _value("current_rating", "current_rating_a", "A", 1e-3, 1e4, "8 A"),
    )),
    "reservoir": Table(kind=Reservoir, title="reservoir", keys=(
        _value("capacitance", "capacitance_f", "F", 1e-9, 10, "6800 µF", required=True),
        Key(name="tolerance", fields=("tolerance_low_pct", "tolerance_high_pct"), form="band",
            example="-20 % +20 %"),
        _value("esr", "esr_ohm", "Ω", 0, 1000, "35 mΩ"),
        _value("voltage_rating", "voltage_rating_v", "V", 1, 1e5, "35 V"),
        _value("ripple_rating", "ripple_rating_a", "A", 1e-3, 1000, "3 A"),
        _value("temperature_max", "temperature_max_c", "°C", 40, 200, "105 °C"),
        _value("bleeder", "bleeder_ohm", "Ω", 0.1, 1e9, "2.2 kΩ"),
        _value("bleeder_rating", "bleeder_rating_w", "W", 0.01, 1e4, "2 W"),
    )),
    "regulator": Table(kind=Regulator, title="regulator", keys=(
        _text("kind", choices=("linear",)),
        _value("set_point", "set_point_v", "V", 0.1, 5000, "15 V", sign_free=True),
        _value("tolerance", "tolerance_pct", "%", 0, 50, "4 %"),
        _value("dropout", "dropout_v", "V", 0, 50, "2.2 V"),
        _value("ripple_rejection", "ripple_rejection_db", "dB", 0, 160, "60 dB"),
        _value("output_resistance", "output_ohm", "Ω", 0, 100, "15 mΩ"),
        _value("current_limit", "current_limit_a", "A", 1e-4, 1e4, "1.8 A"),
        _value("input_max", "input_max_v", "V", 1, 1e4, "35 V"),
        _value("quiescent_current", "quiescent_a", "A", 0, 10, "6 mA"),
        _value("junction_to_case", "junction_to_case_kpw", "K/W", 0, 1000, "1.2 K/W"),
        _value("junction_max", "junction_max_c", "°C", 40, 300, "125 °C"),
    )),
    "heatsink": Table(kind=HeatSink, title="heat sink", keys=(
        _value("thermal_resistance", "thermal_resistance_kpw", "K/W", 1e-3, 1000, "2.5 K/W", required=True),
        _value("interface", "interface_kpw", "K/W", 0, 1000, "0.4 K/W"),
        _value("time_constant", "time_constant_s", "s", 1, 1e6, "12 min"),
    )),
    "targets": Table(kind=Targets, title="targets", keys=(
        _value("output_tolerance", "output_tolerance_pct", "%", 1e-3, 100, "4 %"),
        _value("load_regulation", "load_regulation_pct", "%", 1e-4, 100, "1 %"),
        _value("line_regulation", "line_regulation_pct", "%", 1e-4, 100, "0.5 %"),
        _value("ripple", "ripple_pp_v", "V", 1e-7, 1000, "5 mV"),
        _value("ripple_bandwidth", "ripple_bandwidth_hz", "Hz", 1, 1e10, "20 MHz"),
        _value("heatsink_max", "heatsink_max_c", "°C", 20, 250, "70 °C"),
    )),
}  # fmt: skip
"""Every part of the sheet by its name here; ``sheet`` is the whole."""

_PLAIN_UNITS = frozenset({"V", "A", "Ω", "Hz", "°C"})


def unit_meant(key: Key) -> str:
    """Return the unit that a number alone can only mean; empty where it could mean several.

    15 V on a rail cannot be mV. 6800 on a reservoir, or 35 as an ESR, is usually of a smaller unit,
    which the example shows.
    """
    plain = key.form == "value" and key.unit in _PLAIN_UNITS and key.example.endswith(f" {key.unit}")
    return key.unit if plain else ""


def own_name(entry: dict[str, Any], place: int) -> str:
    """Return what a message calls one of several: its name, else which one it is; `place` from nought."""
    name = entry.get("name")
    return name if isinstance(name, str) and name else str(place + 1)


CHARACTERISTICS = ("FF", "F", "M", "T", "TT")
"""Of a fuse-link, IEC 60127-1: very quick to long time-lag."""

Breaking = Literal["H", "L", "E"]
BREAKING: tuple[Breaking, ...] = ("H", "L", "E")
"""Breaking capacity of a fuse-link: high, low, enhanced."""
