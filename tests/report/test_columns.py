"""Widths of the columns of a table: what has to be read at a glance is not broken where there is room."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.report.document.blocks import Column, Group, Row, Table, in_common
from ohmward.report.document.closing import together
from ohmward.report.document.columns import PAD, ROOM, fitted

EM = 47  # of a figure, in hundredths: tabular figures of the text face, by its metrics


def table(heads: list[str], rows: list[list[str]], shares: list[float]) -> Table:
    return Table(
        caption="",
        columns=tuple(Column(head=head, share=share) for head, share in zip(heads, shares, strict=True)),
        groups=(Group(rows=tuple(Row(cells=tuple(cells)) for cells in rows)),),
    )


def test_short_columns_get_what_they_need_and_prose_the_rest() -> None:
    made = fitted(table(["step", "value"], [["word " * 100, "15.080 V ± 39 mV"]] * 5, [1.0, 1.0]))
    prose, value = (column.share for column in made.columns)
    assert value >= len("15.080 V ± 39 mV") * EM
    assert value < 0.25 * ROOM
    assert prose > 0.8 * (ROOM - value)


def test_figures_are_kept_whole_rather_than_words() -> None:
    words, figures = (
        "well within its limit and so on and on and on",
        "1234 mV ± 12 mV at 1.2 A of 230 V, 5678 Hz",
    )
    rows = [[figures, figures, words, words]] * 4
    made = fitted(table(["a", "b", "c", "d"], rows, [1.0] * 4))
    assert all(column.share >= len(figures) * 40 for column in made.columns[:2])


CELL = st.text("abc 1\n漢", max_size=60)


@given(st.integers(1, 9).flatmap(lambda n: st.lists(st.lists(CELL, min_size=n, max_size=n), max_size=5)))
def test_every_column_has_some_width_and_all_of_them_fill_the_room(rows: list[list[str]]) -> None:
    count = len(rows[0]) if rows else 2
    made = fitted(table(["head"] * count, rows, [1.0] * count))
    shares = [column.share for column in made.columns]
    assert min(shares) >= PAD
    assert sum(shares) == pytest.approx(max(ROOM, sum(shares)), abs=0.06 * count)


def test_what_every_row_is_told_is_told_once() -> None:
    rows = [Row(cells=("a",), note="same\nown"), Row(cells=("b",), note="same")]
    left, common = in_common(rows)
    assert common == ("same",)
    assert [row.note for row in left] == ["own", ""]
    assert in_common(rows[:1]) == (rows[:1], ())


def test_points_of_one_thing_are_named_together() -> None:
    assert together(["+15 @ 0 %", "+15 @ 25 %", "-15 @ 0 %"]) == "+15 @ 0, 25 %; -15 @ 0 %"
    assert together(["room air @ 0 min", "case @ 0 min", "room air @ 5 min"]) == (
        "room air @ 0, 5 min; case @ 0 min"
    )
    assert together(["case", "lid"]) == "case, lid"
    assert together([""]) == ""
