"""Reading TOML tables field by field, so that every mistake in a file is reported at once.

A `Fields` hands out the values of one table with their types checked; what is wrong goes on the list
that all tables of a file share, and a harmless value stands in until the list is raised.
"""

from __future__ import annotations

import datetime
import re
import tomllib
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from typing import TypeVar

from ohmward.errors import InputError, Mistake
from ohmward.quantity import parse

_MISSING = object()
_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
_Word = TypeVar("_Word", bound=str)

Table = dict[str, object]


def parse_toml(text: str, where: str) -> Table:
    """Return the top-level table of a TOML text.

    Raises
    ------
    InputError
        When it is not TOML; names line and column.
    """
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError([_syntax(error, where)]) from error


def _syntax(error: Exception, where: str) -> Mistake:
    said = str(error)
    line = re.search(r" \(at line (\d+), column (\d+)\)", said)
    why = said[: line.start()] if line else said.replace(" (at end of document)", " at the end of the file")
    place = f"{where}, line {line[1]}, column {line[2]}" if line else where
    why = f"{why[:1].lower()}{why[1:]}" or "nested too deep"
    return Mistake(where=place, field="", value="", why=f"not TOML: {why}", mend="Put that line right")


def closest(word: str, known: Iterable[str]) -> str:
    """Return the mend for a word that is none of `known`: the likely one, or all of them."""
    options = tuple(known)
    near = get_close_matches(word, options, n=1, cutoff=0.6)
    if near:
        return f"Did you mean '{near[0]}'?"
    return f"It may be {', '.join(repr(option) for option in options if option)}"


def shown(value: object) -> str:
    """Return a TOML value as it may stand in a mistake: as written, short, on one line."""
    text = value if isinstance(value, str) else str(value)
    if isinstance(value, bool):
        text = text.lower()
    line = " ".join(text.split())
    return line if len(line) <= 60 else f"{line[:57]}..."


class Fields:
    """One TOML table while it is read.

    Parameters
    ----------
    table : dict
        The table.
    where : str
        File it came from.
    path : str
        Dotted path of the table in the file; empty at the top.
    mistakes : list of Mistake
        Shared by all tables of the file; added to.
    """

    def __init__(self, table: Table, where: str, path: str, mistakes: list[Mistake]) -> None:
        self.table = table
        self.where = where
        self.path = path
        self.mistakes = mistakes
        self._asked: set[str] = set()

    def miss(self, key: str, why: str, mend: str, value: object = _MISSING) -> None:
        """Add a mistake about `key` (empty: the table as a whole)."""
        found = self.table.get(key, "") if value is _MISSING else value
        field = ".".join(part for part in (self.path, key) if part)
        self.mistakes.append(Mistake(where=self.where, field=field, value=shown(found), why=why, mend=mend))

    def finish(self, *, refused: dict[str, str] | None = None) -> None:
        """Report every key that nobody asked for; `refused` says why a known one is out of place."""
        for key in self.table:
            if key in self._asked:
                continue
            if refused and key in refused:
                self.miss(key, refused[key], "Leave it out")
            else:
                self.miss(key, "this key is not known here", closest(key, sorted(self._asked)), "")

    def has(self, key: str) -> bool:
        """Return whether the key is given."""
        self._asked.add(key)
        return key in self.table

    def text(self, key: str, default: str | None = None) -> str:
        """Return a text; required (and then not empty) when there is no default."""
        value = self._get(key, default)
        if not isinstance(value, str):
            self.miss(key, f"this is {_kind(value)}, a text is wanted", f'Write {key} = "…"')
            return ""
        if default is None and not value.strip() and key in self.table:
            self.miss(key, "the text is empty", f"Fill in {key}")
        return value.strip()

    def name(self, key: str) -> str:
        """Return a required name: lower case letters, digits and single hyphens."""
        value = self.text(key)
        if value and not _NAME.fullmatch(value):
            self.miss(key, "a name is lower case letters, digits and hyphens", "Write it like 'cord-sheath'")
        return value

    def choice(self, key: str, known: Sequence[_Word], default: _Word | None = None) -> _Word:
        """Return one of the words `known`."""
        value = self.text(key, default)
        for word in known:
            if value == word:
                return word
        if isinstance(self.table.get(key), str) and value:
            self.miss(key, "this is not one of the words for it", closest(value, known))
        return known[0]

    def date(self, key: str) -> datetime.date | None:
        """Return a date, written bare or as a text; None where it is left out."""
        if not self.has(key):
            return None
        value = self.table[key]
        if isinstance(value, datetime.datetime):
            return value.date()
        if isinstance(value, datetime.date):
            return value
        try:
            return datetime.date.fromisoformat(str(value))
        except ValueError:
            self.miss(key, "this is not a date", f"Write it like {key} = 2027-03-01")
            return None

    def flag(self, key: str, default: bool | None = None) -> bool:
        """Return true or false."""
        value = self._get(key, default)
        if isinstance(value, bool):
            return value
        if value != "":
            self.miss(key, f"this is {_kind(value)}, true or false is wanted", f"Write {key} = true or false")
        return False

    def number(self, key: str, unit: str, default: float | None = None) -> float | None:
        """Return a quantity in `unit`, None where it is left out and has no default."""
        if not self.has(key):
            return default
        return self.parsed(key, self.table[key], unit)

    def numbers(self, key: str, unit: str) -> tuple[float, ...]:
        """Return a list of quantities in `unit`; empty where it is left out."""
        values = self._list(key, "quantities")
        numbers = (self.parsed(key, value, unit) for value in values)
        return tuple(number for number in numbers if number is not None)

    def interval(self, key: str, unit: str) -> tuple[float | None, float | None]:
        """Return a range given as a list of its two ends; (None, None) where it is left out."""
        if not self.has(key):
            return None, None
        before = len(self.mistakes)
        ends = self.numbers(key, unit)
        if len(self.mistakes) > before:
            return None, None
        if len(ends) != 2 or ends[0] >= ends[1]:
            example = f'{key} = ["0 {unit}", "10 {unit}"]'
            self.miss(key, "a range has two ends, the lower first", f"Write it like {example}")
            return None, None
        return ends[0], ends[1]

    def parsed(self, key: str, value: object, unit: str) -> float | None:
        """Return one quantity, or None with a mistake about `key`."""
        if not isinstance(value, str):
            self.miss(
                key,
                f"this is {_kind(value)}, a text with its unit is wanted",
                f"Write it in quotes with its unit ({unit or 'a bare number'})",
                value,
            )
            return None
        try:
            result = parse(value, unit)
        except InputError as error:
            for mistake in error.mistakes:
                self.miss(key, mistake.why, mistake.mend, value)
            return None
        if result.kind != "exact" or result.number is None:
            self.miss(key, "a plain value is wanted, not a bound or an overload", "Give the number", value)
            return None
        return float(result.number)

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of texts; empty where it is left out."""
        values = self._list(key, "texts")
        for value in values:
            if not isinstance(value, str) or not value.strip():
                self.miss(key, "each entry is a text that is not empty", "Put each in quotes", value)
        return tuple(value.strip() for value in values if isinstance(value, str) and value.strip())

    def below(self, key: str, label: str = "") -> Fields | None:
        """Return a table inside this one, None where it is left out or is no table."""
        if not self.has(key):
            return None
        value = self.table[key]
        if not isinstance(value, dict):
            self.miss(key, f"this is {_kind(value)}, a table is wanted", f"Write {key} = {{ … }}")
            return None
        return Fields(value, self.where, label or self._path_of(key), self.mistakes)

    def rows(self, key: str, label: str) -> list[Fields]:
        """Return the tables of an array; each is called by its `label` key, or by its place from 1."""
        result = []
        for place, value in enumerate(self._list(key, "tables"), 1):
            if not isinstance(value, dict):
                why = f"this is {_kind(value)}, a table is wanted"
                self.miss(key, why, f"Write [[{key}]] or {{ … }}", value)
                continue
            called = value.get(label)
            own = called if isinstance(called, str) and called else str(place)
            result.append(Fields(value, self.where, f"{self._path_of(key)}[{own}]", self.mistakes))
        return result

    def _path_of(self, key: str) -> str:
        return ".".join(part for part in (self.path, key) if part)

    def _list(self, key: str, of: str) -> list[object]:
        if not self.has(key):
            return []
        value = self.table[key]
        if not isinstance(value, list):
            self.miss(key, f"this is {_kind(value)}, a list of {of} is wanted", f"Write {key} = [ … ]")
            return []
        return value

    def _get(self, key: str, default: object | None) -> object:
        self._asked.add(key)
        if key in self.table:
            return self.table[key]
        if default is None:
            self.miss(key, "this is missing", f"Add {key}", "")
            return ""
        return default


def raise_if_any(mistakes: Sequence[Mistake]) -> None:
    """Raise what has been gathered, in the order found."""
    if mistakes:
        raise InputError(mistakes)


def _kind(value: object) -> str:
    kinds: tuple[tuple[type, str], ...] = (
        (bool, "true or false"), (str, "a text"), (int, "a number"), (float, "a number"),
        (dict, "a table"), (list, "a list"),
    )  # fmt: skip
    return next((words for kind, words in kinds if isinstance(value, kind)), "a date or time")
