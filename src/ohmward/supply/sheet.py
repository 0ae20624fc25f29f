"""Design sheet from TOML: every mistake at once, with file, field, value and mend."""

from __future__ import annotations

import re
from collections.abc import Callable
from difflib import get_close_matches
from typing import Any, cast

import msgspec

from ohmward.errors import InputError, Mistake, Sort
from ohmward.fields import parse_toml, shown
from ohmward.quantity import QuantityError, parse, show, states_unit
from ohmward.supply.coherence import incoherent
from ohmward.supply.model import Fuse, Sheet, Supply
from ohmward.supply.schema import CHARACTERISTICS, FORMAT, TABLES, Breaking, Form, Key, Table, own_name

_LONGEST = {"note": 4000}
_LINE = 200
_FUSES = (
    re.compile(r"(?P<kind>FF|TT|F|T|M)\s*(?P<rating>.+?)\s*(?P<breaking>[HLE])?"),
    re.compile(r"(?P<rating>.*?[0-9].*?)\s*(?P<kind>FF|TT|F|T|M)\s*(?P<breaking>[HLE])?"),
)
"""A fuse as it is marked, ``T 400 mA L``, or as it is spoken of, ``400 mA T``."""
_FUSE_WORDS = (
    (re.compile(r"\b(?:slow(?:[- ]?blow)?|time[- ]?(?:lag|delay)|anti[- ]?surge)\b", re.IGNORECASE), "T"),
    (re.compile(r"\b(?:fast(?:[- ]?blow)?|quick(?:[- ]?(?:acting|blow))?)\b", re.IGNORECASE), "F"),
)
"""Letters of IEC 60127-1 for the words that are in use."""
_FUSE_RATING = Key(name="fuse", fields=("rating_a",), form="value", unit="A", low=1e-3, high=100,
                   example="1.6 A")  # fmt: skip
_PAIR = re.compile(r"([-+])\s*([^-+\s%/]+)\s*%?\s*(?:to|/|\.\.)?\s*([-+])\s*([^-+\s%/]+)\s*%")


def loads(text: str, where: str = "design sheet") -> Supply:
    """Read a design sheet from its TOML text.

    Parameters
    ----------
    text : str
        The sheet.
    where : str
        What it is called in messages: the file's path.

    Raises
    ------
    InputError
        With every mistake: file, field, value and mend.
    """
    return from_data(parse_toml(text, where), where)


def from_data(data: dict[str, Any], where: str = "design sheet") -> Supply:
    """Read a design sheet from the data that its TOML stands for; raises as `loads`."""
    reader = _Reader(where)
    supply = reader.table("sheet", data, "")
    for each in incoherent(data):
        reader.wrong(each.path, each.value, each.why, each.mend, each.sort)
    if reader.mistakes:
        raise InputError(reader.mistakes)
    return cast(Supply, supply)


def read_value(key: Key, value: object, where: str, path: str) -> Any:
    """Return what one key of the sheet means; raises as `loads`."""
    reader = _Reader(where)
    got = reader.forms[key.form](path, value, key)
    if reader.mistakes:
        raise InputError(reader.mistakes)
    return got


def same_value(key: Key, old: object, new: object) -> bool:
    """Return whether two ways of writing a key's value mean the same, as ``1200 mA`` and ``1.2 A``."""
    try:
        return bool(read_value(key, old, "", "") == read_value(key, new, "", ""))
    except InputError:
        return False


class _Reader:
    """Reads tables by `TABLES`, gathering what is wrong; None stands for what could not be read."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.mistakes: list[Mistake] = []
        self.forms: dict[Form, Callable[[str, object, Key], Any]] = {
            "text": self._text, "flag": self._flag, "format": self._format, "value": self._value,
            "texts": self._texts, "fuse": self._fuse, "band": self._band, "sources": self._sources,
            "part": lambda path, data, key: self.table(key.part, data, path), "parts": self._parts,
        }  # fmt: skip

    def wrong(self, path: str, value: object, why: str, mend: str, sort: Sort = "") -> None:
        """Note a mistake; `value` is None where something is missing."""
        found = "" if value is None else shown(value)
        self.mistakes.append(
            Mistake(where=self.where, field=path, value=found, why=why, mend=mend, sort=sort)
        )

    def table(self, name: str, data: object, path: str) -> Sheet | None:
        """Return one part of the sheet."""
        table = TABLES[name]
        if not isinstance(data, dict):
            some = ", ".join(f'{key.name} = "{key.example}"' for key in table.keys if key.example)
            self.wrong(path, data, "not a table", f"Write {{ {some[:60].rsplit(',', 1)[0]}, … }}", "form")
            return None
        for unknown in data.keys() - set(table.names):
            self.wrong(
                _join(path, unknown), data[unknown], "unknown key", _unknown(table, unknown), "unknown"
            )
        before, filled = len(self.mistakes), {}
        for key in table.keys:
            if key.name in data:
                filled.update(self._filled(key, data[key.name], _join(path, key.name)))
            elif key.required:
                self.wrong(_join(path, key.name), None, "missing", _add(key), "missing")
        return None if len(self.mistakes) > before else table.kind(**filled)

    def _filled(self, key: Key, value: object, path: str) -> dict[str, Any]:
        got = self.forms[key.form](path, value, key)
        if got is None:
            return {}
        return dict(zip(key.fields, got, strict=True)) if len(key.fields) > 1 else {key.fields[0]: got}

    def _parts(self, path: str, data: object, key: Key) -> tuple[Sheet | None, ...] | None:
        if not isinstance(data, list) or not data:
            mend = (
                f"Write [[{path}]], with two brackets, for each"
                if "." not in path
                else "Write [{ … }, { … }]"
            )
            self.wrong(path, data, "not a list of tables", mend, "form")
            return None
        paths = [f"{path}[{own_name(entry if isinstance(entry, dict) else {}, place)}]"
                 for place, entry in enumerate(data)]  # fmt: skip
        return tuple(self.table(key.part, entry, each) for entry, each in zip(data, paths, strict=True))

    def _text(self, path: str, data: object, key: Key) -> str | None:
        if not isinstance(data, str):
            self.wrong(path, data, "not a text", f'Write {key.name} = "{key.example or "…"}"', "form")
            return None
        text = data.strip()
        longest = _LONGEST.get(key.name, _LINE)
        if key.choices and text not in key.choices:
            self.wrong(path, data, "not one of its choices", _choose(text, key.choices))
        elif key.required and not text:
            self.wrong(path, data or '""', "empty", f"Write a {key.name}, such as {key.example}")
        elif len(text) > longest or (key.name not in _LONGEST and "\n" in text):
            self.wrong(path, data, f"not one line of at most {longest} characters", "Make it shorter")
        else:
            return text
        return None

    def _flag(self, path: str, data: object, key: Key) -> bool | None:
        if isinstance(data, bool):
            return data
        self.wrong(
            path, data, "not true or false", f"Write {key.name} = true or false, without quotes", "form"
        )
        return None

    def _format(self, path: str, data: object, _key: Key) -> int | None:
        if isinstance(data, int) and not isinstance(data, bool) and data == FORMAT:
            return data
        self.wrong(path, data, "a format that this version does not read", f"This version reads {FORMAT}")
        return None

    def _texts(self, path: str, data: object, key: Key) -> tuple[str, ...] | None:
        if not isinstance(data, list) or not all(isinstance(text, str) and text.strip() for text in data):
            self.wrong(path, data, "not a list of names", f"Write {key.name} = {key.example}", "form")
            return None
        return tuple(text.strip() for text in data)

    def _value(self, path: str, data: object, key: Key) -> float | None:
        if isinstance(data, (int, float)) and not isinstance(data, bool):
            self.wrong(path, data, "it has no unit", f"{_with_unit(str(data), key)}, in quotes")
            return None
        if not isinstance(data, str):
            self.wrong(path, data, "not a value with its unit", f'Write {key.name} = "{key.example}"', "form")
            return None
        try:
            value = parse(data, key.unit)
        except QuantityError as error:
            self.wrong(path, data or '""', error.mistakes[0].why, error.mistakes[0].mend)
            return None
        if value.kind != "exact":
            self.wrong(
                path, data, "a bound or an overload, where a value is wanted", "Write the value itself"
            )
        elif not states_unit(data, key.unit):
            self.wrong(path, data, "it has no unit", _with_unit(data.strip(), key))
        else:
            return self._bounded(path, data, key, value.si)
        return None

    def _bounded(self, path: str, data: str, key: Key, number: float) -> float | None:
        size = abs(number) if key.sign_free else number
        if key.low <= size <= key.high:
            return number
        usual = f"{show(key.low, key.unit)} to {show(key.high, key.unit)}"
        of = "its magnitude" if key.sign_free else "it"
        self.wrong(path, data, f"not possible: {of} has to be {usual}", "Look at prefix and unit")
        return None

    def _fuse(self, path: str, data: object, key: Key) -> Fuse | None:
        text = data.strip() if isinstance(data, str) else ""
        for words, letter in _FUSE_WORDS:
            text = words.sub(letter, text)
        match = next(filter(None, (each.fullmatch(text) for each in _FUSES)), None)
        if match is None:
            known = ", ".join(CHARACTERISTICS)
            mend = f'Write {known}, then the rating, then perhaps H or L: "{key.example} H"'
            self.wrong(path, data, "not a fuse", mend)
            return None
        rating = self._value(path, match["rating"], _FUSE_RATING)
        if rating is None:
            return None
        breaking = cast(Breaking | None, match["breaking"])
        return Fuse(characteristic=match["kind"], rating_a=rating, breaking=breaking)

    def _band(self, path: str, data: object, key: Key) -> tuple[float, float] | None:
        if not isinstance(data, str):
            self.wrong(path, data, "not a tolerance", f'Write {key.name} = "{key.example}"', "form")
            return None
        text = data.strip().replace("\u2212", "-").replace("+/-", "±").replace("+-", "±")
        pair = _PAIR.fullmatch(text)
        ends = [pair[1] + pair[2], pair[3] + pair[4]] if pair else [text.removeprefix("±").strip()]
        try:
            numbers = sorted(parse(end if end.endswith("%") else f"{end} %", "%").si for end in ends)
        except QuantityError as error:
            self.wrong(path, data, error.mistakes[0].why, f'Write it like "{key.example}" or "10 %"')
            return None
        if len(numbers) == 1 and text[:1] not in "+-" and "%" in text:
            numbers = [-numbers[0], numbers[0]]
        if len(numbers) == 2 and -100 < numbers[0] <= 0 <= numbers[1] <= 1000:
            return numbers[0] + 0.0, numbers[1]
        self.wrong(
            path, data, "not a tolerance from below to above", f'Write it like "{key.example}" or "10 %"'
        )
        return None

    def _sources(self, path: str, data: object, _key: Key) -> tuple[str, ...] | None:
        names = data if isinstance(data, list) else [data]
        texts = tuple(name.strip() for name in names if isinstance(name, str) and name.strip())
        if len(names) == len(texts) and len(texts) in {1, 2}:
            return texts
        self.wrong(
            path,
            data,
            "not one secondary, or the two halves of a centre-tap",
            'Write "T1.a" or ["T1.a", "T1.b"]',
            "form",
        )
        return None


def _join(path: str, key: str) -> str:
    return f"{path}.{key}" if path else key


def _add(key: Key) -> str:
    if key.form == "parts":
        return (
            f"Add at least one [[{key.name}]]"
            if key.part != "secondary"
            else 'Add secondaries = [{ name = "a", … }]'
        )
    if key.form == "part":
        return f"Add [{key.name}]"
    return f'Add {key.name} = "{key.example}"'


def _with_unit(number: str, key: Key) -> str:
    """Return the mend for a number alone: with the unit that values here usually have."""
    unit = key.example.rpartition(" ")[2]
    return f'Write "{number} {unit}"{"" if unit == key.unit else f" if {unit} is meant"}'


def _choose(text: str, choices: tuple[str, ...]) -> str:
    near = get_close_matches(text.casefold(), choices, n=1)
    return f"Did you mean '{near[0]}'?" if near else f"Write one of {', '.join(choices)}"


def _unknown(table: Table, key: str) -> str:
    """Return the mend for an unknown key: the closest one here, or where it belongs."""
    near = get_close_matches(key.casefold(), table.names, n=1, cutoff=0.7)
    if near:
        return f"Did you mean '{near[0]}'?"
    elsewhere = [f"'{other.title}'" for other in TABLES.values() if key in other.names]
    if elsewhere:
        return f"It belongs to {' or '.join(elsewhere)}"
    return f"Known here: {', '.join(table.names)}"


def to_json(supply: Supply) -> dict[str, Any]:
    """Return a sheet as plain data, in SI units, with the names of the model."""
    return cast(dict[str, Any], msgspec.to_builtins(supply))
