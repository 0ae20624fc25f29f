"""What does not fit together in a sheet whose single values may all be right."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from ohmward.errors import Sort
from ohmward.supply.schema import own_name


class Wrong(NamedTuple):
    """What does not fit, as a mistake in the making."""

    path: str
    value: object
    """None where it is missing."""
    why: str
    mend: str
    sort: Sort = ""


_Data = dict[str, Any]


def incoherent(data: _Data) -> Iterator[Wrong]:
    """Yield what does not fit together; works on data that may be wrong in other ways too."""
    transformers, rails = _tables(data, "transformer"), _tables(data, "rail")
    yield from _names(list(transformers.values()), "transformer", ".")
    yield from _names(list(rails.values()), "rail", "@")
    for place, transformer in transformers.items():
        path = f"transformer[{own_name(transformer, place)}].secondaries"
        yield from _names(list(_tables(transformer, "secondaries").values()), path, ".")
    yield from _parts(data.get("parts"))
    tapped = {
        f"{transformer['name']}.{secondary['name']}": secondary.get("centre_tapped") is True
        for transformer in transformers.values()
        for secondary in _tables(transformer, "secondaries").values()
        if transformer.get("name") and secondary.get("name")
    }
    for place, rail in rails.items():
        path = f"rail[{own_name(rail, place)}]"
        yield from _sources(rail, f"{path}.source", tapped)
        yield from _set_point(rail, f"{path}.regulator.set_point")


def _tables(data: _Data, key: str) -> dict[int, _Data]:
    """Return the tables of a list by their place in it."""
    entries = data.get(key)
    if not isinstance(entries, list):
        return {}
    return {place: entry for place, entry in enumerate(entries) if isinstance(entry, dict)}


def _names(tables: list[_Data], path: str, forbidden: str) -> Iterator[Wrong]:
    names = [table["name"].strip() for table in tables if isinstance(table.get("name"), str)]
    yield from _twice(names, path)
    for name in dict.fromkeys(names):
        if forbidden in name:
            yield Wrong(
                f"{path}[{name}].name", name, f"a name here has no '{forbidden}'", "Choose another sign"
            )


def _twice(names: list[str], path: str) -> Iterator[Wrong]:
    for name in dict.fromkeys(names):
        if names.count(name) > 1:
            yield Wrong(path, name, "the name stands more than once", "Give each its own name", "twice")


def _parts(parts: object) -> Iterator[Wrong]:
    if not isinstance(parts, list):
        return
    names = [part.strip() for part in parts if isinstance(part, str)]
    yield from _twice(names, "parts")
    for name in names:
        if "@" in name:
            yield Wrong("parts", name, "a name here has no '@'", "Choose another sign")


def _sources(rail: _Data, path: str, tapped: dict[str, bool]) -> Iterator[Wrong]:
    source = rail.get("source", [])
    names = [
        name.strip() for name in (source if isinstance(source, list) else [source]) if isinstance(name, str)
    ]
    for name in names:
        if name not in tapped:
            mend = f"There are: {', '.join(tapped)}" if tapped else "Add the transformer that has it"
            yield Wrong(path, name, "there is no such secondary", mend)
    rectifier = rail.get("rectifier")
    kind = rectifier.get("kind") if isinstance(rectifier, dict) else None
    if len(names) == 2 and names[0] == names[1]:
        mend = "Name its two halves, or set centre_tapped = true"
        yield Wrong(path, source, "both halves are the same winding", mend, "untapped")
    elif kind == "centre-tap" and len(names) == 1 and tapped.get(names[0]) is False:
        mend = "Set centre_tapped = true on it, or name its two halves"
        yield Wrong(path, source, "a centre-tap rectifier on a winding without a tap", mend, "untapped")
    elif kind in ("bridge", "half-wave") and len(names) == 2:
        yield Wrong(path, source, f"a {kind} rectifier takes one winding", "Name one secondary")


def _set_point(rail: _Data, path: str) -> Iterator[Wrong]:
    regulator, nominal = rail.get("regulator"), rail.get("nominal")
    set_point = regulator.get("set_point") if isinstance(regulator, dict) else None
    if (
        isinstance(set_point, str)
        and isinstance(nominal, str)
        and _negative(set_point)
        and not _negative(nominal)
    ):
        yield Wrong(path, set_point, "its sign is not that of the rail", "Give both the same sign")


def _negative(text: str) -> bool:
    return text.strip().startswith(("-", "\u2212"))
