"""A reading drawn between its limits."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.desk.bar import LEAST_WIDTH, Bar

NUMBER = st.floats(-1e9, 1e9, allow_nan=False, allow_subnormal=False).map(lambda x: round(x, 6))


def test_a_reading_between_its_limits_stands_between_them() -> None:
    line = Bar(low=14.4, high=15.6, band=(14.9, 15.1), value=15.0).text(60)
    assert line.index("│") < line.index("▒") < line.index("●") < line.rindex("│")


@pytest.mark.parametrize(("value", "mark"), [(16.9, "▶"), (-3.0, "◀")])
def test_a_reading_far_beyond_stands_at_the_end_with_another_mark(value: float, mark: str) -> None:
    line = Bar(low=14.4, high=15.6, value=value).text(60)
    assert mark in line
    assert "●" not in line


def test_insulation_is_drawn_by_decades() -> None:
    line = Bar(low=1e6, value=2e8).text(60)
    assert line.index("│") < line.index("●")


def test_nothing_is_drawn_without_a_limit_or_a_band_or_room() -> None:
    assert Bar(value=3.0).text(60) == ""
    assert Bar(low=1.0, value=3.0).text(LEAST_WIDTH - 1) == ""


@given(st.lists(NUMBER, min_size=2, max_size=2, unique=True), NUMBER, st.integers(LEAST_WIDTH, 200))
def test_where_the_mark_stands_says_what_the_judgement_says(
    limits: list[float], value: float, width: int
) -> None:
    """Order on the line is order of values, to within a column; the line is exactly as wide as asked."""
    low, high = sorted(limits)
    line = Bar(low=low, high=high, value=value).text(width)
    assert len(line) == width
    assert sum(line.count(mark) for mark in "●◀▶") == 1
    at = max(line.find(mark) for mark in "●◀▶")
    bars = [place for place, cell in enumerate(line) if cell == "│"]
    if value > high:
        assert all(at >= bar for bar in bars)
    elif value < low:
        assert all(at <= bar for bar in bars)
    elif len(bars) == 2:
        assert bars[0] <= at <= bars[1]


@given(NUMBER, NUMBER, st.integers(LEAST_WIDTH, 120))
def test_one_sided_limits_keep_the_order_too(high: float, value: float, width: int) -> None:
    line = Bar(high=high, value=value).text(width)
    assert len(line) == width
    at = max(line.find(mark) for mark in "●◀▶")
    assert at >= 0
    bar = line.find("│")
    if bar >= 0:
        assert (at >= bar) if value > high else (at <= bar)
