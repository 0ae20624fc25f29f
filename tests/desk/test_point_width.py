"""A wide table of points: every figure stays in it, within the columns there are."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from ohmward.desk.picture import PointTable
from ohmward.desk.point_width import BELOW, UNMARKED, fitted

CELL = st.sampled_from(["·", "21.4 –", "29.6 ✓", "104.2 ✗", "31.7 ?"])


def width(table: PointTable) -> int:
    columns = zip(table.headings, *table.rows, strict=True)
    return sum(max(len(line) for cell in column for line in cell.split("\n")) + 1 for column in columns)


@given(
    cells=st.integers(1, 14).flatmap(
        lambda count: st.lists(st.lists(CELL, min_size=count, max_size=count), min_size=1, max_size=8)
    ),
    room=st.integers(20, 140),
    unmark=st.booleans(),
    data=st.data(),
)
def test_no_figure_is_lost_and_none_is_out_of_sight(
    cells: list[list[str]], room: int, unmark: bool, data: st.DataObject
) -> None:
    count = len(cells[0])
    table = PointTable(
        headings=("at\n[°C]", *(f"heat\nsink\n{n}" for n in range(count))),
        rows=tuple((f"{10 * n} min", *row) for n, row in enumerate(cells)),
        here=(data.draw(st.integers(0, len(cells) - 1)), data.draw(st.integers(1, count))),
    )
    found = fitted(table, room, unmark=unmark)
    assert width(found) <= room
    figures = sorted(cell.split()[0] for row in cells for cell in row)
    kept = [row for number, row in enumerate(found.rows) if number not in found.heads]
    assert sorted(cell.split()[0] for row in kept for cell in row[1:] if cell) == figures
    assert (BELOW in found.remark) == bool(found.heads)
    row, column = found.here
    assert found.rows[row][column].split()[0] == table.rows[table.here[0]][table.here[1]].split()[0]
    assert found.rows[row][0] == table.rows[table.here[0]][0]
    for mark in "✗?":  # what asks for something is never left off
        before = sum(mark in cell for each in cells for cell in each)
        assert sum(mark in cell for each in kept for cell in each) == before
    if not unmark:
        assert UNMARKED not in found.remark
