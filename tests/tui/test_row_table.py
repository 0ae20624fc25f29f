"""Tables fit between the edges: what has no room is cut with a sign, or left out; nothing is past an edge."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from ohmward.tui.row_table import GAP, fitted

CELLS = st.text(st.characters(codec="utf-8", exclude_categories=["C"]), max_size=60)


@st.composite
def tables(draw: st.DrawFn) -> tuple[list[str], list[list[str]]]:
    width = draw(st.integers(1, 7))
    headings = draw(st.lists(CELLS, min_size=width, max_size=width))
    rows = draw(st.lists(st.lists(CELLS, min_size=width, max_size=width), max_size=6))
    return headings, rows


@given(tables(), st.integers(1, 160), st.integers(1, 30), st.sets(st.integers(0, 6)))
def test_columns_fit_and_none_is_cut_that_need_not_be(
    table: tuple[list[str], list[list[str]]], room: int, least: int, soft: set[int]
) -> None:
    headings, rows = table
    natural = [max(cell_len(cells[n].rstrip()) for cells in (headings, *rows)) for n in range(len(headings))]
    widths = fitted(headings, rows, room, least, soft)
    floor = [min(w, least) if n in soft or not soft else w for n, w in enumerate(natural)]
    assert 1 <= len(widths) <= len(natural)
    assert all(floor[n] <= width <= natural[n] for n, width in enumerate(widths))
    if len(widths) > 1:
        assert sum(widths) + GAP * len(widths) <= room
    if sum(natural) + GAP * len(natural) <= room:
        assert widths == natural
    elif len(widths) < len(natural):  # one column more would not have fitted
        more = len(widths) + 1
        assert sum(floor[:more]) + GAP * more > room


def test_where_the_room_is_not_known_nothing_is_cut() -> None:
    assert fitted(["a", "long heading"], [["x" * 50, ""]], 0) == [50, 12]
