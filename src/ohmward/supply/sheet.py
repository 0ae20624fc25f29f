"""The design sheet as TOML: read with every mistake at once, written back with comments.

One table (`TABLES`) says which keys each part of the sheet has, in which unit, and within which bounds;
reading, writing and the list of known keys all come from it.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from ohmward.errors import InputError, Mistake
from ohmward.quantity import QuantityError, parse, show
from ohmward.supply.model import (
    Cord,
    Fuse,
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
_FUSE = re.compile(r"(?P<kind>FF|F|TT|T|M)\s*(?P<rating>[^HLE]+?)\s*(?P<breaking>[HLE])?")
_MISSING = object()


@dataclass(frozen=True, slots=True)
class Key:
    """One key of the sheet: the field it fills and what may stand there."""

    attribute: str
    unit: str | None = None
    """Unit of a value in words; None for text, a truth value or a special form."""
    required: bool = False
    positive: bool = True
    """Whether a value in words has to be above zero (otherwise zero and below may stand)."""
    zero: bool = False
    choices: tuple[str, ...] = ()
    form: str = "text"
    """text, bool, number, part, parts, texts, fuse, band, source, integer."""
    part: str = ""
    comment: str = ""


def _value(attribute: str, unit: str, comment: str = "", **more: Any) -> Key:
    return Key(attribute, unit, form="value", comment=comment, **more)


TABLES: dict[str, tuple[type[Sheet], dict[str, Key]]] = {
    "sheet": (
        Supply,
        {
            "format": Key("format", form="integer"),
            "tag": Key("tag", required=True, comment="what is written on the unit"),
            "title": Key("title", required=True),
            "protection_class": Key(
                "protection_class", required=True, choices=("I", "II", "III"), comment="IEC 61140"
            ),
            "ambient_max": _value("ambient_max_c", "°C", "hottest room it must work in", positive=False),
            "limit_set": Key("limit_set", comment="iec, uk, eu, au-nz, or a file of your own"),
            "serial": Key("serial"),
            "note": Key("note"),
            "parts": Key("parts", form="texts", comment="metal parts that a hand can touch"),
            "mains": Key("mains", form="part", part="mains", required=True),
            "transformer": Key("transformers", form="parts", part="transformer"),
            "rail": Key("rails", form="parts", part="rail", required=True),
        },
    ),
    "mains": (
        Mains,
        {
            "voltage": _value("voltage_v", "V", required=True),
            "frequency": _value("frequency_hz", "Hz", required=True),
            "band": Key("low_pct high_pct", form="band", comment="mains it must work on, about the voltage"),
            "fuse": Key("fuse", form="fuse", comment="characteristic and rating, IEC 60127"),
            "cord": Key("cord", form="part", part="cord"),
        },
    ),
    "cord": (
        Cord,
        {
            "length": _value("length_m", "m", required=True),
            "area": _value("area_mm2", "mm²", required=True),
            "detachable": Key("detachable", form="bool"),
        },
    ),
    "transformer": (
        Transformer,
        {
            "name": Key("name", required=True),
            "rating": _value("rating_va", "VA"),
            "regulation": _value("regulation_pct", "%", "(no-load - full-load) / full-load"),
            "primary_voltage": _value("primary_voltage_v", "V"),
            "primary_resistance": _value("primary_ohm", "Ω"),
            "core": Key("core", choices=("toroid", "laminated")),
            "insulation_class": Key("insulation_class", choices=("A", "E", "B", "F", "H")),
            "temperature_rise": _value("temperature_rise_k", "K"),
            "time_constant": _value("time_constant_s", "s"),
            "secondaries": Key("secondaries", form="parts", part="secondary", required=True),
        },
    ),
    "secondary": (
        Secondary,
        {
            "name": Key("name", required=True),
            "voltage": _value("voltage_v", "V", required=True),
            "current": _value("current_a", "A"),
            "resistance": _value("resistance_ohm", "Ω"),
            "centre_tapped": Key("centre_tapped", form="bool"),
        },
    ),
    "rail": (
        Rail,
        {
            "name": Key("name", required=True),
            "nominal": _value("nominal_v", "V", required=True, positive=False),
            "rated_current": _value("rated_current_a", "A", required=True),
            "source": Key("sources", form="source"),
            "rectifier": Key("rectifier", form="part", part="rectifier"),
            "reservoir": Key("reservoir", form="part", part="reservoir"),
            "regulator": Key("regulator", form="part", part="regulator"),
            "heatsink": Key("heatsink", form="part", part="heatsink"),
            "fuse": Key("fuse", form="fuse"),
            "wiring": _value("wiring_ohm", "Ω", zero=True),
            "targets": Key("targets", form="part", part="targets"),
        },
    ),
    "rectifier": (
        Rectifier,
        {
            "kind": Key("kind", required=True, choices=("bridge", "centre-tap", "half-wave")),
            "forward": _value("forward_v", "V"),
            "reverse_rating": _value("reverse_rating_v", "V"),
            "current_rating": _value("current_rating_a", "A"),
        },
    ),
    "reservoir": (
        Reservoir,
        {
            "capacitance": _value("capacitance_f", "F", required=True),
            "tolerance": Key("tolerance_low_pct tolerance_high_pct", form="band"),
            "esr": _value("esr_ohm", "Ω", zero=True),
            "voltage_rating": _value("voltage_rating_v", "V"),
            "ripple_rating": _value("ripple_rating_a", "A"),
            "temperature_max": _value("temperature_max_c", "°C"),
            "bleeder": _value("bleeder_ohm", "Ω"),
        },
    ),
    "regulator": (
        Regulator,
        {
            "kind": Key("kind", choices=("linear",)),
            "set_point": _value("set_point_v", "V", positive=False),
            "tolerance": _value("tolerance_pct", "%"),
            "dropout": _value("dropout_v", "V"),
            "ripple_rejection": _value("ripple_rejection_db", "dB"),
            "output_resistance": _value("output_ohm", "Ω", zero=True),
            "current_limit": _value("current_limit_a", "A"),
            "input_max": _value("input_max_v", "V"),
            "quiescent": _value("quiescent_a", "A", zero=True),
            "junction_to_case": _value("junction_to_case_kpw", "K/W"),
            "junction_max": _value("junction_max_c", "°C"),
        },
    ),
    "heatsink": (
        HeatSink,
        {
            "thermal_resistance": _value("thermal_resistance_kpw", "K/W", required=True),
            "interface": _value("interface_kpw", "K/W", zero=True),
            "time_constant": _value("time_constant_s", "s"),
        },
    ),
    "targets": (
        Targets,
        {
            "output_tolerance": _value("output_tolerance_pct", "%"),
            "load_regulation": _value("load_regulation_pct", "%"),
            "line_regulation": _value("line_regulation_pct", "%"),
            "ripple": _value("ripple_pp_v", "V", "peak to peak"),
            "ripple_bandwidth": _value("ripple_bandwidth_hz", "Hz"),
            "heatsink_max": _value("heatsink_max_c", "°C"),
        },
    ),
}


@dataclass
class _Reader:
    where: str
    mistakes: list[Mistake] = field(default_factory=list)

    def wrong(self, path: str, value: object, why: str, mend: str) -> Any:
        self.mistakes.append(
            Mistake(
                where=self.where,
                field=path,
                value="" if value is _MISSING else str(value),
                why=why,
                mend=mend,
            )
        )
        return _MISSING

    def part(self, name: str, data: object, path: str) -> Any:
        kind, keys = TABLES[name]
        if not isinstance(data, dict):
            return self.wrong(path, data, "not a table", f"Write {{ {', '.join(list(keys)[:3])} … }}")
        before = len(self.mistakes)
        for unknown in data.keys() - keys.keys():
            near = difflib.get_close_matches(unknown, keys, 1)
            mend = f"Did you mean '{near[0]}'?" if near else f"The keys here are: {', '.join(keys)}"
            self.wrong(_join(path, unknown), data[unknown], "unknown key", mend)
        filled: dict[str, Any] = {}
        for key, spec in keys.items():
            filled.update(self._key(key, spec, data, path))
        if len(self.mistakes) > before:
            return _MISSING
        return kind(**filled)

    def _key(self, key: str, spec: Key, data: dict[str, Any], path: str) -> dict[str, Any]:
        place = _join(path, key)
        if key not in data:
            if spec.required:
                self.wrong(place, _MISSING, "missing", _example(key, spec))
            return {}
        got = getattr(self, f"_{spec.form}")(place, data[key], spec)
        if got is _MISSING:
            return {}
        names = spec.attribute.split()
        return dict(zip(names, got, strict=True)) if len(names) > 1 else {names[0]: got}

    def _text(self, path: str, data: object, spec: Key) -> Any:
        if not isinstance(data, str):
            return self.wrong(path, data, "not text", "Put it in double quotes")
        if spec.choices and data not in spec.choices:
            return self.wrong(
                path, data, "not one of the choices", f"Write one of: {', '.join(spec.choices)}"
            )
        if spec.required and not data.strip():
            return self.wrong(path, data, "empty", "Write a name")
        return data

    def _bool(self, path: str, data: object, spec: Key) -> Any:
        return (
            data
            if isinstance(data, bool)
            else self.wrong(path, data, "not true or false", "Write true or false")
        )

    def _integer(self, path: str, data: object, spec: Key) -> Any:
        if data != FORMAT or isinstance(data, bool):
            return self.wrong(
                path, data, "a format this version does not read", f"This version reads {FORMAT}"
            )
        return data

    def _texts(self, path: str, data: object, spec: Key) -> Any:
        if not isinstance(data, list) or not all(isinstance(name, str) and name.strip() for name in data):
            return self.wrong(path, data, "not a list of names", 'Write ["case", "front panel"]')
        if len(set(data)) != len(data):
            return self.wrong(path, data, "a name stands twice", "Name each once")
        return tuple(data)

    def _value(self, path: str, data: object, spec: Key) -> Any:
        unit = spec.unit or ""
        if isinstance(data, (int, float)) and not isinstance(data, bool):
            return self.wrong(path, data, "no unit", f'Write "{data} {unit}" in quotes')
        if not isinstance(data, str):
            return self.wrong(path, data, "not a value with a unit", _example("", spec))
        try:
            value = parse(data, unit)
        except QuantityError as error:
            first = error.mistakes[0]
            return self.wrong(path, data, first.why, first.mend)
        if value.kind != "exact":
            return self.wrong(path, data, "a bound or an overload, not a value", _example("", spec))
        if unit and re.fullmatch(r"[-+−]?[0-9.]+(e[-+]?[0-9]+)?", data.strip(), re.IGNORECASE):
            return self.wrong(path, data, "no unit", f'Write "{data.strip()} {unit}"')
        number = value.si
        if spec.positive and (number < 0 or (number == 0 and not spec.zero)):
            return self.wrong(path, data, "has to be above zero", "Correct the value")
        return number

    def _fuse(self, path: str, data: object, spec: Key) -> Any:
        match = _FUSE.fullmatch(data.strip()) if isinstance(data, str) else None
        if match is None:
            return self.wrong(path, data, "not a fuse", 'Write characteristic and rating: "T 1.6 A"')
        rating = self._value(path, match["rating"], Key("rating_a", "A", form="value"))
        if rating is _MISSING:
            return rating
        return Fuse(characteristic=match["kind"], rating_a=rating, breaking=match["breaking"])  # type: ignore[arg-type]

    def _band(self, path: str, data: object, spec: Key) -> Any:
        pieces = re.findall(r"([-+−]?)\s*([0-9.]+)\s*%", data) if isinstance(data, str) else []
        rest = re.sub(r"([-+−±]|\+-)?\s*[0-9.]+\s*%", "", data).strip() if isinstance(data, str) else "x"
        numbers = [-float(number) if sign in "-−" and sign else float(number) for sign, number in pieces]
        if len(numbers) == 1 and not rest:
            numbers = [-abs(numbers[0]), abs(numbers[0])]
        if len(numbers) != 2 or rest or not -100 < numbers[0] <= 0 <= numbers[1]:
            return self.wrong(path, data, "not a tolerance", 'Write "-20 % +20 %" or "10 %"')
        return numbers

    def _source(self, path: str, data: object, spec: Key) -> Any:
        names = [data] if isinstance(data, str) else data
        if (
            not isinstance(names, list)
            or not all(isinstance(name, str) for name in names)
            or not 1 <= len(names) <= 2
        ):
            return self.wrong(path, data, "not a secondary", 'Write "T1.a", or two of them for a centre-tap')
        return tuple(names)

    def _part(self, path: str, data: object, spec: Key) -> Any:
        return self.part(spec.part, data, path)

    def _parts(self, path: str, data: object, spec: Key) -> Any:
        if not isinstance(data, list) or not data:
            return self.wrong(path, data, "not a list of tables", f"Write [[{path}]] for each")
        made = []
        for number, entry in enumerate(data, start=1):
            name = entry.get("name", number) if isinstance(entry, dict) else number
            made.append(self.part(spec.part, entry, f"{path}[{name}]"))
        return _MISSING if _MISSING in made else tuple(made)


def loads(text: str, where: str = "design sheet") -> Supply:
    """Read a design sheet.

    Raises
    ------
    InputError
        With every mistake: file, field, value and mend.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            [Mistake(where=where, field="", value="", why=f"not TOML: {error}", mend="Mend that line")]
        ) from error
    reader = _Reader(where)
    supply = reader.part("sheet", data, "")
    for path, value, why, mend in _incoherent(data):
        reader.wrong(path, value, why, mend)
    if reader.mistakes:
        raise InputError(reader.mistakes)
    assert isinstance(supply, Supply)  # noqa: S101
    return supply


def dumps(supply: Supply) -> str:
    """Write a design sheet as commented TOML that `loads` reads back as the same supply."""
    import tomlkit

    document = tomlkit.document()
    document.add(
        tomlkit.comment("Design sheet. Every value carries its unit; leave out what you do not know.")
    )
    _fill(document, "sheet", supply)
    return tomlkit.dumps(document)


def to_json(supply: Supply) -> dict[str, Any]:
    """Return the sheet as plain data, SI units, names as in the model."""
    import msgspec

    plain: dict[str, Any] = msgspec.to_builtins(supply)
    return plain


def _fill(table: Any, name: str, part: Sheet, *, inline: bool = False) -> None:
    kind, keys = TABLES[name]
    defaults = {info.name: info.default for info in _fields(kind)}
    for key, spec in keys.items():
        names = spec.attribute.split()
        values = [getattr(part, attribute) for attribute in names]
        if not spec.required and values == [defaults.get(attribute) for attribute in names]:
            continue
        written = _toml_value(spec, values)
        if written is None:
            continue
        table.add(key, written)
        if spec.comment and not inline and spec.form not in {"part", "parts"}:
            table[key].comment(spec.comment)


def _toml_value(spec: Key, values: list[Any]) -> Any:
    import tomlkit

    value = values[0]
    if value is None or value == ():
        return None
    if spec.form == "value":
        return _in_words(value, spec.unit or "")
    if spec.form == "fuse":
        return " ".join(filter(None, [value.characteristic, _in_words(value.rating_a, "A"), value.breaking]))
    if spec.form == "band":
        return f"{values[0]:g} % +{values[1]:g} %" if values[0] else f"-0 % +{values[1]:g} %"
    if spec.form == "source":
        return value[0] if len(value) == 1 else list(value)
    if spec.form == "texts":
        return list(value)
    if spec.form == "part":
        inline = spec.part != "mains"
        table = tomlkit.inline_table() if inline else tomlkit.table()
        _fill(table, spec.part, value, inline=inline)
        return table
    if spec.form == "parts":
        return _toml_parts(spec, value)
    return value


def _toml_parts(spec: Key, value: tuple[Sheet, ...]) -> Any:
    import tomlkit

    inline = spec.part == "secondary"
    items: Any = tomlkit.array() if inline else tomlkit.aot()
    for part in value:
        table = tomlkit.inline_table() if inline else tomlkit.table()
        _fill(table, spec.part, part, inline=inline)
        items.append(table)
    return items


def _in_words(value: float, unit: str) -> str:
    from decimal import Decimal

    shown = show(value, unit)
    if parse(shown, unit).si == value:
        return shown
    return f"{Decimal(repr(value)):f} {unit}"


def _fields(kind: type[Sheet]) -> Any:
    import msgspec

    return msgspec.structs.fields(kind)


def _incoherent(data: dict[str, Any]) -> Iterator[tuple[str, object, str, str]]:
    """Yield what does not fit together: names used twice, sources that are not there."""
    transformers = _tables(data, "transformer")
    tapped: dict[str, bool] = {}
    for transformer in transformers:
        for secondary in _tables(transformer, "secondaries"):
            source = f"{transformer.get('name')}.{secondary.get('name')}"
            if source in tapped:
                yield (
                    f"transformer[{transformer.get('name')}].secondaries",
                    source,
                    "the name stands twice",
                    "Rename one",
                )
            tapped[source] = secondary.get("centre_tapped") is True
    rails = _tables(data, "rail")
    for what, named in (("transformer", transformers), ("rail", rails)):
        names = [entry.get("name") for entry in named]
        for name in {name for name in names if names.count(name) > 1}:
            yield what, name, "the name stands twice", "Rename one"
    for rail in rails:
        yield from _rail_incoherent(rail, tapped)


def _rail_incoherent(rail: dict[str, Any], tapped: dict[str, bool]) -> Iterator[tuple[str, object, str, str]]:
    path = f"rail[{rail.get('name')}]"
    source = rail.get("source", [])
    sources = [source] if isinstance(source, str) else source if isinstance(source, list) else []
    for name in sources:
        if name not in tapped:
            known = ", ".join(tapped) or "none: add a [[transformer]]"
            yield f"{path}.source", name, "no such secondary", f"The secondaries are: {known}"
    kind = rail["rectifier"].get("kind") if isinstance(rail.get("rectifier"), dict) else None
    if kind == "centre-tap" and len(sources) == 1 and tapped.get(sources[0]) is False:
        yield (
            f"{path}.source",
            source,
            "a centre-tap rectifier on a winding without a tap",
            "Set centre_tapped = true on it, or name its two halves",
        )
    if kind in {"bridge", "half-wave"} and len(sources) > 1:
        yield f"{path}.source", source, f"a {kind} rectifier takes one winding", "Name one secondary"
    if sources and kind is None and "rectifier" not in rail:
        yield (
            f"{path}.rectifier",
            _MISSING,
            "missing, though the rail has a source",
            'Add rectifier = { kind = "bridge" }',
        )


def _tables(data: dict[str, Any], key: str) -> list[dict[str, Any]]:
    entries = data.get(key)
    return [entry for entry in entries if isinstance(entry, dict)] if isinstance(entries, list) else []


def _join(path: str, key: str) -> str:
    return f"{path}.{key}" if path else key


def _example(key: str, spec: Key) -> str:
    if spec.form == "value":
        return f"Write a value with its unit, in {spec.unit or 'plain numbers'}"
    if spec.choices:
        return f"Write one of: {', '.join(spec.choices)}"
    if spec.form == "part":
        return f"Add a [{key}] table"
    if spec.form == "parts":
        return f"Add at least one [[{key}]]"
    return f"Add {key}"
