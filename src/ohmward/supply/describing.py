"""A design sheet in words: rows of field and value, section by section."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from ohmward.quantity import show, show_exact
from ohmward.supply.copper import cord_resistance
from ohmward.supply.model import Sheet, Supply
from ohmward.supply.relations import discharge_seconds, high_mains_v, highest_peak_v
from ohmward.supply.schema import TABLES, Key
from ohmward.supply.writing import fuse_words
from ohmward.text import one_line


class Row(NamedTuple):
    """One line of the table; a heading has no value."""

    field: str
    value: str


def describe(supply: Supply) -> list[Row]:
    """Return a sheet as rows: a heading for each part, then what the sheet says of it in words.

    What is worked out from the sheet (cord resistance, highest reservoir voltage, discharge time)
    stands with the part it belongs to, marked as computed.
    """
    rows = [Row(one_line(f"{supply.tag}: {supply.title}"), "")]
    rows += _rows("sheet", supply, skip=("format", "tag", "title"))
    rows += [Row("mains", ""), *_rows("mains", supply.mains)]
    if supply.mains.cord is not None and supply.mains.cord.size is not None:
        rows.append(Row("computed", core_words(*supply.mains.cord.size)))
    for transformer in supply.transformers:
        rows += [Row(one_line(f"transformer {transformer.name}"), "")]
        rows += _rows("transformer", transformer, skip=("name",))
        for secondary in transformer.secondaries:
            said = _said("secondary", secondary, skip=("name",))
            rows.append(Row(one_line(f"secondary {secondary.name}"), said))
    for rail in supply.rails:
        rows += [Row(one_line(f"rail {rail.name}"), ""), *_rows("rail", rail, skip=("name",))]
        peak, wait = highest_peak_v(supply, rail), discharge_seconds(supply, rail)
        if peak is not None:
            at = show(high_mains_v(supply), "V")
            rows.append(
                Row("computed", f"{show(peak, 'V', decimals=1)} at the rectifier, no load, {at} mains")
            )
        if wait is not None:
            rows.append(Row("computed", f"{show(wait, 's', decimals=0)} to fall to 5 V through the bleeder"))
    return rows


def table(supply: Supply, width: int = 24) -> str:
    """Return `describe` as plain text: headings flush, fields indented, values in one column."""
    lines = []
    for row in describe(supply):
        if row.value:
            lines.append(f"  {row.field:<{width}}{row.value}")
        else:
            lines += ["", row.field] if lines else [row.field]
    return "\n".join(lines)


def core_words(length_m: float, area_mm2: float, core: str = "earth core") -> str:
    """Return what one core of a cord of a length [m] and area [mm²] may have, in words."""
    most = cord_resistance(length_m, area_mm2)
    return f"{core} at most {show(most, 'Ω')} at 20 °C (IEC 60228 class 5)"


def _rows(name: str, part: Sheet, skip: tuple[str, ...] = ()) -> Iterator[Row]:
    for key in TABLES[name].keys:
        if key.name in skip or key.form == "parts":
            continue
        values = [getattr(part, field) for field in key.fields]
        if key.form == "part":
            if key.part != "mains" and values[0] is not None:
                said = _said(key.part, values[0])
                yield from [Row(spoken(key), said)] if said else []
        elif values[0] not in (None, "", ()):
            yield Row(spoken(key), _words(key, values))


def _said(name: str, part: Sheet, skip: tuple[str, ...] = ()) -> str:
    """Return a small part in one line: '18 V, current 2.2 A'."""
    pieces, no = [], []
    for key in TABLES[name].keys:
        values = [getattr(part, field) for field in key.fields]
        if key.name in skip or values[0] in (None, "", (), False):
            no += [_words(key, values)] if key.form == "flag" else []
            continue
        words = _words(key, values)
        # the first fact of a part says what it is: 'bridge', '6800 µF'; a length and an area do so too
        plain = key.required or key.form == "flag" or key.unit in {"m", "mm²"}
        pieces.append(words if plain else f"{spoken(key)} {words}")
    return ", ".join(pieces or no)


def spoken(key: Key) -> str:
    """Return what a key is called in words."""
    return "ESR" if key.name == "esr" else key.name.replace("_", " ")


def _words(key: Key, values: list[Any]) -> str:
    value = values[0]
    match key.form:
        case "value":
            return show_exact(value, key.unit)
        case "band":
            return f"-{show_exact(abs(value), '%')} +{show_exact(values[1], '%')}"
        case "fuse":
            return fuse_words(value)
        case "texts" | "sources":
            return one_line(", ".join(value))
        case "flag":
            return spoken(key) if value else f"not {spoken(key)}"
        case _:
            return one_line(str(value))


__all__ = ["Row", "describe", "table"]
