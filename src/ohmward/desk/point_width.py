"""A table of points made to fit: no figure of it is ever out of sight without a word."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ohmward.desk.picture import PointTable
from ohmward.desk.words import VERDICTS

UNMARKED = "No mark in the table: within its limit, or none applies"
BELOW = "More columns further down"
_PLAIN = tuple(f" {VERDICTS[verdict].mark}" for verdict in ("pass", "not applicable"))


def fitted(table: PointTable, room: int, *, unmark: bool, bar: int = 0) -> PointTable:
    """Return a table within `room` columns: as it is; else without marks that ask for nothing; else folded.

    Parameters
    ----------
    table : PointTable
    room : int
        Columns there are; each cell is followed by a blank.
    bar : int
        Columns that a scroll bar takes of a folded one.
    unmark : bool
        Marks may be left off, as there is a place to say so.
    """
    if sum(_widths(table)) <= room:
        return table
    if unmark:
        rows = tuple((row[0], *(_bare(cell) for cell in row[1:])) for row in table.rows)
        table = replace(table, rows=rows, remark=UNMARKED)
        if sum(_widths(table)) <= room:
            return table
    return _folded(table, room - bar)


def _widths(table: PointTable) -> list[int]:
    columns = zip(table.headings, *table.rows, strict=True)
    return [max(len(line) for cell in column for line in cell.split("\n")) + 1 for column in columns]


def _bare(cell: str) -> str:
    for mark in _PLAIN:
        cell = cell.removesuffix(mark)
    return cell


def _folded(table: PointTable, room: int) -> PointTable:
    """Return the columns in groups below each other, as few as fit, each group after the first column."""
    columns = range(1, len(table.headings))
    for most in range(len(columns), 1, -1):
        found = _in_groups(table, [columns[n : n + most] for n in range(0, len(columns), most)])
        if sum(_widths(found)) <= room:
            return found
    return _in_groups(table, [range(n, n + 1) for n in columns])


def _in_groups(table: PointTable, groups: Sequence[range]) -> PointTable:
    most = max(len(group) for group in groups)
    rows: list[tuple[str, ...]] = []
    heads: set[int] = set()
    here = table.here
    for number, group in enumerate(groups):
        air = [""] * (most - len(group))
        if number:
            heads.add(len(rows))
            rows.append((table.headings[0], *(table.headings[n] for n in group), *air))
        if table.here[1] in group:
            here = (len(rows) + table.here[0], group.index(table.here[1]) + 1)
        rows += [(row[0], *(row[n] for n in group), *air) for row in table.rows]
    first = (table.headings[0], *(table.headings[n] for n in groups[0]), *[""] * (most - len(groups[0])))
    remark = ". ".join(said for said in (BELOW if heads else "", table.remark) if said)
    return replace(table, headings=first, rows=tuple(rows), here=here, heads=frozenset(heads), remark=remark)
