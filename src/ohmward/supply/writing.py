"""Design sheet to TOML: new with comments, or into a text whose comments stay as they are."""

from __future__ import annotations

from collections.abc import Iterator, MutableMapping
from typing import TYPE_CHECKING, Any, cast

import msgspec

from ohmward.quantity import show_exact
from ohmward.supply.model import Fuse, Sheet, Supply
from ohmward.supply.schema import FORMAT, TABLES, Key
from ohmward.supply.sheet import same_value

if TYPE_CHECKING:
    from tomlkit.items import AoT, Array

_HEAD = (
    f"Design sheet of a supply for ohmward, format {FORMAT}. Every value in quotes, with its unit.",
    "What is not known is left out; each further fact sharpens what is expected.",
)
_MORE = "more, where it is known (the values are examples):"
_BLOCKS = ("mains", "transformer", "rail")
"""Parts written as tables of their own; all others stand in braces on one line."""
_Container = MutableMapping[str, Any]


def dumps(supply: Supply, *, hints: bool = False) -> str:
    """Return a design sheet as commented TOML, which `loads` reads back as the same supply.

    Parameters
    ----------
    supply : Supply
        What to write.
    hints : bool
        Whether to list, as comments, what could be said besides.
    """
    import tomlkit

    document = tomlkit.document()
    for line in _HEAD:
        document.add(tomlkit.comment(line))
    _fill(cast(_Container, document), "sheet", supply, hints=hints)
    return tomlkit.dumps(document).rstrip() + "\n"


def update(text: str, supply: Supply) -> str:
    """Return the TOML `text` of a sheet changed to say `supply`; order, comments and equal values stay.

    Parameters
    ----------
    text : str
        A sheet that `loads` reads.
    supply : Supply
        What it is to say.
    """
    import tomlkit

    document = tomlkit.parse(text)
    _merge(cast(_Container, document), "sheet", supply)
    return tomlkit.dumps(document)


def _pairs(name: str, part: Sheet) -> Iterator[tuple[Key, list[Any], bool]]:
    """Yield each key of a part with its values, and whether they are what leaving it out means."""
    table = TABLES[name]
    defaults = {info.name: info.default for info in msgspec.structs.fields(table.kind)}
    for key in table.keys:
        values = [getattr(part, field) for field in key.fields]
        yield key, values, values == [defaults[field] for field in key.fields]


def _says_something(key: Key, values: list[Any], silent: bool) -> bool:
    """Return whether a new sheet says it: also a default that means something, such as a limit set."""
    return not silent or (key.form != "part" and values[0] not in (None, "", (), False))


def _fill(table: _Container, name: str, part: Sheet, *, hints: bool = False) -> None:
    """Write a part into an empty table."""
    import tomlkit

    silent = []
    for key, values, default in _pairs(name, part):
        if not _says_something(key, values, default):
            silent.append(key)
            continue
        if name == "sheet" and key.name == "mains" and hints:
            _hint(table, silent)
        table[key.name] = _item(key, values, hints=hints)
        if key.says and key.form not in ("part", "parts"):
            table[key.name].comment(key.says)
    if hints and name in _BLOCKS:
        _hint(table, silent)
        cast(Any, table).add(tomlkit.nl())


def _hint(table: _Container, silent: list[Key]) -> None:
    """Add a comment for each key that could be said besides."""
    import tomlkit

    lines = []
    for key in silent:
        if key.form == "part":
            lines.append(f"{key.name} = {_braces(key)}")
        elif key.example:
            quoted = key.example if key.form in ("texts", "flag") else f'"{key.example}"'
            lines.append(f"{key.name} = {quoted}")
    for line in [_MORE, *lines] if lines else []:
        cast(Any, table).add(tomlkit.comment(line))


def _braces(key: Key) -> str:
    said = [f'{inner.name} = "{inner.example}"' for inner in TABLES[key.part].keys if inner.form == "value"]
    kind = [f'kind = "{inner.example}"' for inner in TABLES[key.part].keys if inner.name == "kind"]
    return f"{{ {', '.join(kind + said)} }}"


def _item(key: Key, values: list[Any], *, hints: bool = False) -> Any:
    """Return the TOML item of a key."""
    import tomlkit

    value = values[0]
    match key.form:
        case "part":
            table = tomlkit.table() if key.part in _BLOCKS else tomlkit.inline_table()
            _fill(table, key.part, value, hints=hints)
            return table
        case "parts":
            return _items(key, value, hints=hints)
        case "sources":
            return tomlkit.item(value[0] if len(value) == 1 else list(value))
        case _:
            return tomlkit.item(_scalar(key, values))


def _scalar(key: Key, values: list[Any]) -> Any:
    value = values[0]
    match key.form:
        case "value":
            return show_exact(value, key.unit)
        case "fuse":
            return fuse_words(value)
        case "band":
            return f"-{show_exact(abs(value), '%')} +{show_exact(values[1], '%')}"
        case "texts":
            return list(value)
        case "sources":
            return value[0] if len(value) == 1 else list(value)
        case _:
            return value


def fuse_words(fuse: Fuse) -> str:
    """Return a fuse-link as it is written on it: ``T 1.6 A H``."""
    rating = f"{fuse.characteristic} {show_exact(fuse.rating_a, 'A')}"
    return f"{rating} {fuse.breaking}" if fuse.breaking else rating


def _items(key: Key, parts: tuple[Sheet, ...], *, hints: bool = False) -> AoT | Array:
    import tomlkit

    if key.part in _BLOCKS:
        blocks = tomlkit.aot()
        for part in parts:
            block = tomlkit.table()
            _fill(block, key.part, part, hints=hints)
            blocks.append(block)
        return blocks
    array = tomlkit.array()
    for part in parts:
        row = tomlkit.inline_table()
        _fill(row, key.part, part)
        array.append(row)
    return array


# --- into an existing text ------------------------------------------------------------------------


def _merge(table: _Container, name: str, part: Sheet) -> None:
    """Make a table that is there say `part`, touching only what differs."""
    for key, values, default in _pairs(name, part):
        here = table.get(key.name)
        if here is None:
            if not default:
                table[key.name] = _item(key, values)
        elif values[0] in (None, "", ()):
            del table[key.name]
        elif not _kept(key, here, values):
            table[key.name] = _item(key, values)


def _kept(key: Key, here: Any, values: list[Any]) -> bool:
    """Return whether what stands there says, or has been made to say, the values."""
    if key.form == "part":
        if not isinstance(here, MutableMapping):
            return False
        _merge(here, key.part, values[0])
        return True
    if key.form == "parts":
        return _kept_parts(key, here, values[0])
    return same_value(key, _plain(here), _scalar(key, values))


def _kept_parts(key: Key, here: Any, parts: tuple[Sheet, ...]) -> bool:
    names = [entry.get("name") for entry in here]
    if names != [getattr(part, "name", None) for part in parts]:
        return False
    for entry, part in zip(here, parts, strict=True):
        _merge(entry, key.part, part)
    return True


def _plain(item: Any) -> Any:
    return item.unwrap() if hasattr(item, "unwrap") else item
