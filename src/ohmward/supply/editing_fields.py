"""What can be filled in on a design sheet: its fields as text, part by part, whatever state it is in.

Read from the plain data of the TOML, not from the model: a sheet that cannot be read yet has fields too.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from ohmward.quantity import QuantityError, parse, states_unit
from ohmward.supply.describing import spoken
from ohmward.supply.schema import TABLES, Form, Key, own_name, unit_meant

Place = tuple[str | int, ...]
"""Where something stands in the sheet: ``("rail", 0, "reservoir", "capacitance")``."""

YES, NO = "yes", "no"
_NOT_ASKED = frozenset({"format", "part", "parts"})
_SHORT = {"\n": "\\n", "\t": "\\t", '"': '\\"', "\\": "\\\\"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One value of the sheet that a person may fill in."""

    place: Place
    name: str
    """As mistakes and findings name it: ``rail[+15].reservoir.capacitance``."""
    part: Place
    """The part of the sheet that it belongs to."""
    label: str
    text: str
    """What stands there; empty where the sheet does not say."""
    kind: Form
    unit: str = ""
    example: str = ""
    choices: tuple[str, ...] = ()
    known: tuple[str, ...] = ()
    """Names that may stand there; what is none of them is the path of a file."""
    required: bool = False
    says: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part of the sheet: a transformer, a rail, its reservoir."""

    place: Place
    name: str
    """As mistakes name it; empty for the sheet as a whole."""
    title: str
    """In words: ``rail +15, reservoir``."""
    there: bool
    """Whether the sheet says anything of it."""
    optional: bool
    """Whether it may be left out or taken out."""
    fields: tuple[Field, ...]


def parts_of(data: dict[str, Any]) -> tuple[Part, ...]:
    """Return every part that a sheet has or might have, in the order of the sheet."""
    return tuple(_parts("sheet", data, (), "", "supply", optional=False))


def _parts(
    table: str, data: object, place: Place, name: str, title: str, *, optional: bool
) -> Iterator[Part]:
    """Yield one part and then those inside it."""
    known = data if isinstance(data, dict) else {}
    keys = TABLES[table].keys
    asked = [key for key in keys if key.form not in _NOT_ASKED]
    yield Part(
        place=place,
        name=name,
        title=title,
        there=isinstance(data, dict),
        optional=optional,
        fields=tuple(_field(key, known.get(key.name), place, name) for key in asked),
    )
    for key in keys:
        inside = known.get(key.name)
        here, called = (*place, key.name), f"{name}.{key.name}" if name else key.name
        if key.form == "part":
            if inside is None or isinstance(inside, dict):
                words = TABLES[key.part].title
                whole = words if table in {"sheet", "mains"} else f"{title}, {words}"
                yield from _parts(key.part, inside, here, called, whole, optional=not key.required)
        elif key.form == "parts" and isinstance(inside, list):
            for number, entry in enumerate(inside):
                if isinstance(entry, dict):
                    own = own_name(entry, number)
                    owner = "" if table == "sheet" else f"{title.removeprefix(TABLES[table].title).strip()}."
                    whole = f"{TABLES[key.part].title} {owner}{own}"
                    yield from _parts(
                        key.part, entry, (*here, number), f"{called}[{own}]", whole, optional=True
                    )


def _field(key: Key, value: object, part: Place, part_name: str) -> Field:
    return Field(
        place=(*part, key.name),
        name=f"{part_name}.{key.name}" if part_name else key.name,
        part=part,
        label=spoken(key),
        text=text_of(key, value),
        kind=key.form,
        unit=key.unit,
        example=text_of(key, _plain_example(key)),
        choices=(YES, NO) if key.form == "flag" else key.choices,
        known=key.known,
        required=key.required,
        says=key.says,
    )


def _plain_example(key: Key) -> object:
    """Return the example of a key as data; lists and flags are written as TOML there."""
    if key.form in ("texts", "flag"):
        return tomllib.loads(f"it = {key.example}")["it"]
    return key.example or None


def key_at(place: Place) -> Key:
    """Return the key of the sheet at a place; KeyError where there is none."""
    table, key = "sheet", None
    for step in place:
        if isinstance(step, int):
            continue
        key = next((each for each in TABLES[table].keys if each.name == step), None)
        if key is None:
            raise KeyError(place)
        table = key.part or table
    if key is None:
        raise KeyError(place)
    return key


# --- value to text and back -------------------------------------------------------------------------


def completed(key: Key, text: str) -> str:
    """Return what is typed with the unit that a number alone can only mean: ``15`` on a rail is ``15 V``."""
    unit, said = unit_meant(key), text.strip()
    if not unit:
        return text
    try:
        value = parse(said, unit)
    except QuantityError:
        return text
    # a prefix without its unit stays as typed: 15m may be a slip
    alone = value.kind == "exact" and said[-1:].isdigit() and not states_unit(said, unit)
    return f"{said} {unit}" if alone else text


def text_of(key: Key, value: object) -> str:
    """Return the text that stands in the form for a value of the sheet; `value_of` is its inverse."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return (YES if value else NO) if key.form == "flag" else str(value).lower()
    if isinstance(value, list) or (key.form == "sources" and isinstance(value, str)):
        return _listed(value if isinstance(value, list) else [value])
    if isinstance(value, str):
        return value if _bare(value) else quoted(value)
    return str(value)


def value_of(key: Key, text: str) -> Any:
    """Return what the sheet says where `text` stands in the form; None where it says nothing.

    A text in quotes is read as TOML: so one with line ends or control characters can be written.
    """
    said = text.strip()
    if not said:
        return None
    if key.form == "flag":
        return {YES: True, "true": True, NO: False, "false": False}.get(said.casefold(), said)
    if key.form in ("texts", "sources"):
        names = _toml(said) if said.startswith("[") else None
        listed = names if isinstance(names, list) else [each.strip() for each in said.split(",")]
        listed = [each for each in listed if each != ""]
        if key.form == "sources" and len(listed) == 1 and not isinstance(names, list):
            return listed[0]
        return listed
    if said.startswith('"'):
        unquoted = _toml(said)
        return unquoted if isinstance(unquoted, str) else said
    return said


def _listed(values: list[Any]) -> str:
    if values and all(isinstance(each, str) and _simple(each) for each in values):
        return ", ".join(values)
    return "[" + ", ".join(quoted(each) if isinstance(each, str) else str(each) for each in values) + "]"


def _simple(name: str) -> bool:
    return _bare(name) and bool(name.strip()) and "," not in name and not name.startswith("[")


def _bare(text: str) -> bool:
    """Return whether a text can stand in the form as it is: it shows, and begins as no TOML does."""
    return text.isprintable() and not text.startswith('"')


def quoted(text: str) -> str:
    """Return a text as a TOML basic string, every sign that does not show escaped."""
    return '"' + "".join(map(_escaped, text)) + '"'


def _escaped(char: str) -> str:
    if char in _SHORT:
        return _SHORT[char]
    if char.isprintable():
        return char
    return f"\\u{ord(char):04x}" if ord(char) < 0x10000 else f"\\U{ord(char):08x}"


def _toml(text: str) -> Any:
    """Return the value that a TOML text stands for, None where it is none."""
    if "\n" in text:
        return None
    try:
        data = tomllib.loads(f"it = {text}")
    except (tomllib.TOMLDecodeError, RecursionError):
        return None
    return data["it"] if len(data) == 1 else None
