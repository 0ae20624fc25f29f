"""Waveforms: from a digitising instrument, or from the CSV file that an oscilloscope saved."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from ohmward.bench.attempt import Attempt
from ohmward.bench.conversation import Block
from ohmward.bench.inventory import Inventory
from ohmward.bench.messages import MeterFailed
from ohmward.bench.waveform import Waveform
from ohmward.errors import InputError, Mistake, Unreachable
from ohmward.quantity import QuantityError, parse
from ohmward.text import visible

_UNEVEN = 0.01
"""Steps in time may differ by this share: oscilloscopes round the time column."""
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_UNIT = re.compile(r"[(\[]\s*([^)\]]+?)\s*[)\]]|\bin\s+(\S+)\s*$")
_TIME_WORDS = ("time", "second", "sec", "t", "s", "ms", "us", "µs", "ns")
_MOST_BYTES = 200_000_000
_WAIT_S = 600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Digitised:
    """A waveform that an instrument handed over."""

    waveform: Waveform
    meter: str
    identity: str
    """What the instrument called itself."""
    failed: tuple[Attempt, ...] = ()


def take(inventory: Inventory, name: str) -> Digitised:
    """Take one waveform; waits for it, so not to be called where a screen is drawn.

    Parameters
    ----------
    inventory : Inventory
    name : str
        Meter, as in the meters file.

    Raises
    ------
    InputError
        When there is no such meter, or it hands over no waveforms.
    MeterFailed
        When it cannot be had.
    """
    session = inventory.session(name)
    try:
        answer = session.capture(inventory.meters[name].channel).result(_WAIT_S)
    except TimeoutError as error:
        raise MeterFailed(name, f"no waveform within {_WAIT_S:g} s") from error
    source = f"{name}, {answer.identity}"
    return Digitised(
        waveform=from_block(answer.result, source), meter=name, identity=answer.identity, failed=answer.failed
    )


def from_block(block: Block, source: str) -> Waveform:
    """Return what a digitising instrument handed over."""
    return Waveform(values=block.values, unit=block.unit, interval_s=block.interval_s, source=source)


def from_csv(
    path: Path | str,
    *,
    column: str | int | None = None,
    time_column: str | int | None = None,
    scale: float = 1.0,
    interval_s: float | None = None,
    unit: str = "V",
) -> Waveform:
    """Read a CSV file of an oscilloscope.

    Separators (comma, semicolon, tab), decimal commas, lines of text above the numbers, and a unit in the
    heading or in the line below it (``Time (ms)``, ``CH1 [mV]``) are found out.

    Parameters
    ----------
    path : Path or str
    column, time_column : str or int, optional
        Heading, or place from 1. Left out: time is the column that rises in equal steps, and the values
        the only other column; where there are several, one has to be chosen.
    scale : float
        What the values are multiplied by, besides the unit of their heading (10 for a ×10 probe).
    interval_s : float, optional
        Time between two samples [s], where the file has no time column.
    unit : str
        V or A.

    Raises
    ------
    Unreachable
        When the file cannot be read.
    InputError
        When it is not clear what is what.
    """
    table = _table(Path(path))
    times = _time_column(table, time_column, has_interval=interval_s is not None)
    values = _value_column(table, column, times)
    factor = scale * _factor(table.units[values], unit)
    numbers = tuple(factor * row[values] for row in table.rows)
    if times is None:
        assert interval_s is not None  # _time_column saw to it
        step, start = interval_s, 0.0
    else:
        in_s = _factor(table.units[times], "s")
        step, start = _step(table, times, in_s)
    name = table.names[values] or f"column {values + 1}"
    return Waveform(
        values=numbers, unit=unit, interval_s=step, start_s=start, source=f"{Path(path).name}, {name}"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    where: str
    names: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[float, ...], ...]

    def wrong(self, field: str, why: str, mend: str, value: str = "") -> InputError:
        return InputError([Mistake(where=self.where, field=field, value=value, why=why, mend=mend)])


def _table(path: Path) -> _Table:
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise Unreachable(f"{visible(str(path))}: larger than {_MOST_BYTES // 1_000_000} MB")
        data = path.read_bytes()
    except OSError as error:
        raise Unreachable(f"{visible(str(path))}: cannot be read ({error.strerror})") from error
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    lines = [line for line in text.splitlines() if line.strip()]
    separator = _separator(lines)
    comma = separator != ","
    cells = [[each.strip() for each in line.split(separator)] for line in lines]
    numeric = [[_value(each, comma=comma) for each in _trimmed(row)] for row in cells]
    width, first, last = _longest(numeric)
    empty = _Table(where=path.name, names=(), units=(), rows=())
    if last - first < 2:
        raise empty.wrong("", "no table of numbers is found in it", "Save it as CSV with one sample a line")
    if last != len(numeric):
        cut = lines[last][:40]
        raise empty.wrong(f"line {last + 1}", "numbers stop in the middle of the file", "Mend or cut it", cut)
    rows = tuple(tuple(each for each in row if each is not None) for row in numeric[first:last])
    names, units = _headings(cells[:first], width)
    return _Table(where=path.name, names=names, units=units, rows=rows)


def _trimmed(row: list[str]) -> list[str]:
    return row[:-1] if len(row) > 1 and not row[-1] else row


def _value(text: str, *, comma: bool) -> float | None:
    plain = text.replace(",", ".") if comma and text.count(",") == 1 and "." not in text else text
    return float(plain) if _NUMBER.fullmatch(plain) else None


def _separator(lines: list[str]) -> str:
    """Return what parts the columns, judged from the last lines, which are numbers."""
    tail = lines[-min(20, max(2, len(lines) // 2)) :]
    for each in ("\t", ";"):
        if tail and all(each in line for line in tail):
            return each
    return "," if tail and all("," in line for line in tail) else ";"


def _longest(numeric: list[list[float | None]]) -> tuple[int, int, int]:
    """Return width, first and end of the longest run of rows of numbers of one width."""
    best = (0, 0, 0)
    first = 0
    for index in range(len(numeric) + 1):
        row = numeric[index] if index < len(numeric) else []
        whole = bool(row) and None not in row
        if not whole or (index > first and len(row) != len(numeric[first])):
            if index - first > best[2] - best[1]:
                best = (len(numeric[first]), first, index)
            first = index if whole else index + 1
    return best


def _headings(above: list[list[str]], width: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return names and units from the lines right above the numbers."""
    fitting = [_trimmed(row) for row in above if len(_trimmed(row)) == width]
    names, units = [""] * width, [""] * width
    if len(fitting) >= 2 and all(_bare_unit(each) for each in fitting[-1]):
        units, fitting = [each.strip("()[] ") for each in fitting[-1]], fitting[:-1]
    if fitting:
        names = [each.strip('" ') for each in fitting[-1]]
        for place, name in enumerate(names):
            found = _UNIT.search(name)
            if found and not units[place]:
                units[place] = (found[1] or found[2]).strip()
    return tuple(names), tuple(units)


def _bare_unit(text: str) -> bool:
    bare = text.strip("()[] ")
    return any(_known(bare, unit) is not None for unit in ("s", "V", "A"))


def _known(text: str, unit: str) -> float | None:
    words = {"second": "s", "seconds": "s", "volt": "V", "volts": "V", "amp": "A", "ampere": "A"}
    try:
        found = parse(f"1 {words.get(text.lower(), text)}", unit)
    except QuantityError:
        return None
    return found.si if text else None


def _factor(text: str, unit: str) -> float:
    """Return what a column's unit stands for in `unit`; 1 where the heading names none that fits."""
    return _known(text, unit) or 1.0


def _place(table: _Table, wanted: str | int, field: str) -> int:
    if isinstance(wanted, int):
        if 1 <= wanted <= len(table.rows[0]):
            return wanted - 1
    else:
        found = [place for place, name in enumerate(table.names) if name.lower() == wanted.lower()]
        if len(found) == 1:
            return found[0]
    raise table.wrong(field, "there is no such column", _choices(table), str(wanted))


def _choices(table: _Table) -> str:
    names = ", ".join(f"{place} '{name}'" for place, name in enumerate(table.names, 1))
    return f"Choose one of: {names}"


def _time_column(table: _Table, wanted: str | int | None, *, has_interval: bool) -> int | None:
    if wanted is not None:
        return _place(table, wanted, "time column")
    even = [place for place in range(len(table.rows[0])) if _even(table, place) and not _counts(table, place)]
    named = [place for place in even if _looks_like_time(table, place)]
    found = named or (even if len(table.rows[0]) > 1 else [])
    if len(found) == 1:
        return found[0]
    if found:
        raise table.wrong("time column", "several columns rise in equal steps", _choices(table))
    if has_interval:
        return None
    raise table.wrong("time column", "no column is a time that rises in equal steps", "Give the interval")


def _counts(table: _Table, place: int) -> bool:
    """Return whether a column only numbers the samples: 0, 1, 2 … without a unit."""
    first, second = table.rows[0][place], table.rows[1][place]
    return not table.units[place] and first in {0.0, 1.0} and second == first + 1 and _even(table, place)


def _looks_like_time(table: _Table, place: int) -> bool:
    words = re.split(r"[\s(\[_]+", table.names[place].lower())
    return any(each in _TIME_WORDS for each in words) or _known(table.units[place], "s") is not None


def _even(table: _Table, place: int) -> bool:
    column = [row[place] for row in table.rows]
    step = (column[-1] - column[0]) / (len(column) - 1)
    return step > 0 and all(
        abs(later - earlier - step) <= _UNEVEN * step + _rounding(column)
        for earlier, later in pairwise(column)
    )


def _rounding(column: list[float]) -> float:
    """Return the room that times rounded to about seven figures need."""
    return 2e-6 * max(abs(column[0]), abs(column[-1]))


def _step(table: _Table, place: int, in_s: float) -> tuple[float, float]:
    if not _even(table, place):
        raise table.wrong(
            "time column", "it does not rise in equal steps", _choices(table), table.names[place]
        )
    first, last = table.rows[0][place], table.rows[-1][place]
    return in_s * (last - first) / (len(table.rows) - 1), in_s * first


def _value_column(table: _Table, wanted: str | int | None, times: int | None) -> int:
    if wanted is not None:
        return _place(table, wanted, "column")
    others = [place for place in range(len(table.rows[0])) if place != times and not _counts(table, place)]
    if len(others) == 1:
        return others[0]
    raise table.wrong("column", "it has several columns of values", _choices(table))
