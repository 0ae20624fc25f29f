"""A design sheet being edited: its TOML text, changed field by field; comments and layout stay.

A `SheetForm` holds any text that is TOML, readable as a sheet or not: what is wrong is in `mistakes`,
all at once. What a change makes of the text is compared with what it was meant to say before it is
taken, so that no odd layout is ever garbled.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Callable, Iterable, MutableMapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from ohmward.errors import InputError, Mistake
from ohmward.supply.editing_fields import Field, Part, Place, completed, key_at, parts_of, value_of
from ohmward.supply.finding import Finding
from ohmward.supply.model import Supply
from ohmward.supply.schema import FORMAT, TABLES
from ohmward.supply.sheet import loads

if TYPE_CHECKING:
    from tomlkit.items import InlineTable

_BLANK = f"""\
# Design sheet of a supply for ohmward, format {FORMAT}. Every value in quotes, with its unit.
# What is not known is left out; each further fact sharpens what is expected.
format = {FORMAT}
protection_class = "I"
ambient_max = "40 °C"
limit_set = "iec"
parts = ["case"]

[mains]
voltage = "230 V"
frequency = "50 Hz"

[[rail]]
"""
_RAIL_HEADER = re.compile(r"(?m)^(?:[ \t]*#.*\n)*[ \t]*\[\[\s*rail\s*\]\]")
_Holder = MutableMapping[Any, Any]
_TABLES_OF_THEIR_OWN = frozenset({"mains"})


def blank() -> str:
    """Return the text of a sheet with nothing filled in but what is usual."""
    return _BLANK


@dataclass(frozen=True)
class _Read:
    """What a text says, worked out once."""

    text: str
    data: dict[str, Any]

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        return parts_of(self.data)

    @cached_property
    def checked(self) -> tuple[Supply | None, tuple[Mistake, ...]]:
        try:
            return loads(self.text, ""), ()
        except InputError as error:
            return None, error.mistakes


class SheetForm:
    """The text of a sheet and what may be changed in it.

    Parameters
    ----------
    text : str
        Of a sheet; it need not be readable as one, but has to be TOML.

    Raises
    ------
    InputError
        When it is not TOML; then only an editor helps.
    """

    def __init__(self, text: str) -> None:
        self._now = _read(text)
        self._document: Any = None
        self._emptied: tuple[Place, str] | None = None
        """The field just emptied, and the text before: filled in again, it keeps its line and comment."""

    @property
    def text(self) -> str:
        """The sheet as it would be saved."""
        return self._now.text

    @property
    def supply(self) -> Supply | None:
        """What the sheet means; None while it has mistakes."""
        return self._now.checked[0]

    @property
    def mistakes(self) -> tuple[Mistake, ...]:
        """Everything that is wrong with it; no file is named in them."""
        return self._now.checked[1]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What the sheet gives away; none while it has mistakes."""
        from ohmward.supply.design import findings

        return findings(self.supply) if self.supply is not None else ()

    @property
    def parts(self) -> tuple[Part, ...]:
        """Every part that it has or might have, with its fields."""
        return self._now.parts

    def part(self, place: Place) -> Part:
        """Return the part at a place; KeyError where there is none."""
        for part in self.parts:
            if part.place == place:
                return part
        raise KeyError(place)

    def field(self, place: Place) -> Field:
        """Return the field at a place; KeyError where there is none."""
        for field in self.part(place[:-1]).fields:
            if field.place == place:
                return field
        raise KeyError(place)

    def set(self, place: Place, text: str) -> None:
        """Fill in a field: wrong values too, which `mistakes` then names. Empty takes it out.

        Raises
        ------
        InputError
            When the layout of the sheet is one that cannot be changed here; nothing was changed.
        """
        if text == self.field(place).text:
            return
        value = value_of(key_at(place), text)
        if self._emptied is not None and self._emptied[0] == place:
            self._take(self._emptied[1])
            if text == self.field(place).text:
                return
        emptied = (place, self.text) if value is None else None
        wanted = copy.deepcopy(self._now.data)
        _put(wanted, place, value)
        self._change(place, wanted, lambda document: _write(document, place, value))
        self._emptied = emptied

    def completed(self, place: Place, text: str) -> str:
        """Return what is typed in a field with the unit that a number alone can only mean there."""
        return completed(key_at(place), text)

    def add_part(self, place: Place) -> None:
        """Add a part that is left out, such as a regulator, with nothing filled in; raises as `set` does."""
        only = {key.name: key.choices[0] for key in TABLES[key_at(place).part].keys if len(key.choices) == 1}
        wanted = copy.deepcopy(self._now.data)
        _put(wanted, place, dict(only))
        self._change(place, wanted, lambda document: _write(document, place, dict(only)))

    def add_rail(self) -> Place:
        """Add a rail with nothing filled in and return its place; raises as `set` does."""
        return self._add_block("rail", "[[rail]]\n", {})

    def add_transformer(self) -> Place:
        """Add a transformer with one secondary and return its place; raises as `set` does."""
        name = _free([f"T{number}" for number in range(1, 100)], self._now.data.get("transformer"))
        block = f'[[transformer]]\nname = "{name}"\nsecondaries = [{{ name = "a" }}]\n'
        return self._add_block("transformer", block, {"name": name, "secondaries": [{"name": "a"}]})

    def add_secondary(self, transformer: Place) -> Place:
        """Add a secondary to a transformer and return its place; raises as `set` does."""
        place = (*transformer, "secondaries")
        wanted = copy.deepcopy(self._now.data)
        holder = _at(wanted, transformer)
        there = holder.setdefault("secondaries", [])
        entry = {"name": _free("abcdefghijklmnopqrstuvwxyz", there)}
        there.append(entry)
        self._change(place, wanted, lambda document: _append(document, place, dict(entry)), structure=True)
        return (*place, len(there) - 1)

    def remove(self, place: Place) -> None:
        """Take a part out with all that stands in it; raises as `set` does."""
        wanted = copy.deepcopy(self._now.data)
        _take_out(wanted, place)
        self._change(place, wanted, lambda document: _take_out_of_text(document, place), structure=True)

    # --- how a change is made -----------------------------------------------------------------------

    def _add_block(self, name: str, block: str, entry: dict[str, Any]) -> Place:
        wanted = copy.deepcopy(self._now.data)
        there = wanted.setdefault(name, [])
        if not isinstance(there, list):
            raise _not_here((name,))
        there.append(entry)
        place = (name, len(there) - 1)
        text = self.text
        texts = [f"{text.rstrip()}\n\n{block}"]
        header = _RAIL_HEADER.search(text)
        if name == "transformer" and header is not None:
            texts.insert(0, f"{text[: header.start()]}{block}\n{text[header.start() :]}")
        for each in texts:
            if _says(each, wanted):
                self._take(each)
                return place
        # not in blocks: a list in brackets
        self._change(place, wanted, lambda document: _append(document, (name,), entry), structure=True)
        return place

    def _change(
        self,
        place: Place,
        wanted: dict[str, Any],
        change: Callable[[_Holder], None],
        *,
        structure: bool = False,
    ) -> None:
        """Make a change to the parsed text; take it only if the text then says what is wanted."""
        import tomlkit

        if self._document is None:
            self._document = tomlkit.parse(self.text)
        try:
            change(self._document)
            text = tomlkit.dumps(self._document)
        except Exception as error:  # the library's own defects are of many kinds
            self._document = None
            raise _not_here(place) from error
        if not (_says(text, wanted) or _says(text, _without_empty(wanted, place[:-1]))):
            self._document = None
            raise _not_here(place)
        self._now, self._emptied = _read(text), None
        if structure:
            self._document = None

    def _take(self, text: str) -> None:
        self._now, self._emptied, self._document = _read(text), None, None


def _read(text: str) -> _Read:
    try:
        return _Read(text, tomllib.loads(text))
    except (tomllib.TOMLDecodeError, RecursionError):
        loads(text, "")  # says what is wrong with it
        raise  # not reached: what is no TOML is no sheet


def _says(text: str, wanted: dict[str, Any]) -> bool:
    try:
        return tomllib.loads(text) == wanted
    except (tomllib.TOMLDecodeError, RecursionError):
        return False


def _without_empty(data: dict[str, Any], place: Place) -> dict[str, Any]:
    """Return the data without a part that has nothing in it: one of dotted keys goes with its last key."""
    if not place or _at(data, place) != {}:
        return data
    data = copy.deepcopy(data)
    del _at(data, place[:-1])[place[-1]]
    return data


def _not_here(place: Place) -> InputError:
    field = ".".join(str(step + 1) if isinstance(step, int) else step for step in place)
    why, mend = "the way the file is laid out, this cannot be changed here", "Change it in a text editor"
    return InputError([Mistake(where="", field=field, value="", why=why, mend=mend)])


def _free(names: Iterable[str], there: object) -> str:
    taken = (
        {entry.get("name") for entry in there if isinstance(entry, dict)} if isinstance(there, list) else ()
    )
    return next(name for name in names if name not in taken)


# --- in plain data and in the parsed text alike -----------------------------------------------------


def _at(holder: Any, place: Place) -> Any:
    for step in place:
        holder = holder[step]
    return holder


def _put(data: dict[str, Any], place: Place, value: Any) -> None:
    """Set a value in plain data, making the parts it is in; None takes it out."""
    holder: Any = data
    for step in place[:-1]:
        holder = holder.setdefault(step, {}) if isinstance(step, str) else holder[step]
    if value is None:
        holder.pop(place[-1], None)
    else:
        holder[place[-1]] = value


def _write(document: _Holder, place: Place, value: Any) -> None:
    """Do the same in the parsed text."""
    import tomlkit

    holder: Any = document
    for at, step in enumerate(place[:-1]):
        if isinstance(step, str) and step not in holder:
            own = step in _TABLES_OF_THEIR_OWN
            _insert(document, place[: at + 1], tomlkit.table() if own else tomlkit.inline_table())
        holder = holder[step]
    name = place[-1]
    if value is None:
        if name in holder:
            del holder[name]
            _tidy(document, place[:-1])
    elif name in holder:
        holder[name] = value
    else:
        _insert(document, place, _inline(value) if isinstance(value, dict) else value)


def _inline(value: dict[str, Any]) -> InlineTable:
    import tomlkit

    table = tomlkit.inline_table()
    table.update(value)
    return table


def _insert(document: _Holder, place: Place, item: Any) -> None:
    _at(document, place[:-1])[place[-1]] = item
    _tidy(document, place[:-1])


def _append(document: _Holder, place: Place, entry: dict[str, Any]) -> None:
    """Add an entry to a list of tables, written as the others are."""
    import tomlkit
    from tomlkit.items import AoT

    holder = _at(document, place[:-1])
    name = place[-1]
    if name not in holder:
        holder[name] = tomlkit.array()
    if isinstance(holder[name], AoT):
        table = tomlkit.table()
        table.update(entry)
        holder[name].append(table)
        return
    holder[name].append(_inline(entry))
    _tidy(document, (*place, len(holder[name]) - 1))


def _take_out(holder: Any, place: Place) -> Place:
    """Take a part out; a list that has none left goes too. Return the place of what it was taken from."""
    *above, last = place
    inside = _at(holder, tuple(above))
    del inside[last]
    if isinstance(last, int) and not len(inside):
        return _take_out(holder, tuple(above))
    return tuple(above)


def _take_out_of_text(document: _Holder, place: Place) -> None:
    _tidy(document, _take_out(document, place))


def _tidy(document: _Holder, place: Place) -> None:
    """Write a table in braces anew after a key came or went: its values as written, evenly spaced."""
    import tomlkit
    from tomlkit.items import InlineTable

    if not place:
        return
    table = _at(document, place)
    if not isinstance(table, InlineTable) or "\n" in table.as_string() or "#" in table.as_string():
        return
    order = {key.name: number for number, key in enumerate(TABLES[_table_at(place)].keys)}
    items = [(key, item) for key, item in table.value.body if key is not None]
    items.sort(key=lambda each: order.get(each[0].key, len(order)))
    inside = ", ".join(f"{key.as_string().strip()} = {item.as_string().strip()}" for key, item in items)
    _at(document, place[:-1])[place[-1]] = tomlkit.value(f"{{ {inside} }}" if inside else "{}")


def _table_at(place: Place) -> str:
    return key_at(tuple(step for step in place if isinstance(step, str))).part or "sheet"
