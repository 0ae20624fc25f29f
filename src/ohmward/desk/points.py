"""The points of a sweep or a soak: as a small table, and as the series that a plot draws."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from ohmward.analysis.soak_outlook import Outlook
from ohmward.desk.card import band_in
from ohmward.desk.picture import (
    Picture,
    PointTable,
    Series,
    ends,
    number_of,
    read_cell,
    series,
    siblings_of,
)
from ohmward.desk.soak_points import soak_picture, soak_table
from ohmward.physics.expectation import Expectation
from ohmward.procedure.model import Item
from ohmward.quantity import show, show_band
from ohmward.run.state import RunState
from ohmward.text import one_line

ONE_LOAD = "One load only: no curve to draw. What is expected of it stands in the table."


def has_points(item: Item) -> bool:
    """Return whether `item` is one of several points that belong together."""
    return item.kind in {"sweep", "soak"} and item.read is not None


def point_table(state: RunState, item: Item, expectation: Expectation | None) -> PointTable:
    """Return the points that belong to `item`: load points of its rail, or all sensors of the soak."""
    return soak_table(state, item) if item.kind == "soak" else _sweep_table(state, item, expectation)


def picture(
    state: RunState,
    item: Item,
    expectation: Expectation | None,
    outlooks: Mapping[str, Outlook] | None = None,
) -> Picture | None:
    """Return the plot of `item`: its rail against load, or its sensor and the room against time.

    None where a plot says nothing: fewer than two points, or nothing read and nothing expected.
    """
    if item.read is None or _alone(state, item):
        return None
    if item.kind == "soak":
        drawn = soak_picture(state, item, outlooks or {})
    else:
        drawn = _sweep_picture(state, item, expectation)
    return drawn if drawn.read or drawn.band else None


def _alone(state: RunState, item: Item) -> bool:
    """Return whether there is no curve to draw: one load, at which all rails are on or not."""
    return (item.kind == "sweep" and item.together) or len(siblings_of(state, item)) < 2


def _sweep_table(state: RunState, item: Item, expectation: Expectation | None) -> PointTable:
    siblings = siblings_of(state, item)
    rows = [
        (_load_words(other), _expected_cell(other, expectation), read_cell(state, other))
        for other in siblings
    ]
    table = PointTable(
        headings=("load", "expected", "read"), rows=tuple(rows), here=(siblings.index(item), 2)
    )
    return replace(table, no_plot=ONE_LOAD) if _alone(state, item) else table


def _load_words(item: Item) -> str:
    point = one_line(item.subject.rpartition(" @ ")[2]) or "all rails"
    return point if item.load_a is None else f"{point} = {show(item.load_a, 'A')}"


def _expected_cell(item: Item, expectation: Expectation | None) -> str:
    band = band_in(expectation, item)
    return "–" if band is None or item.read is None else show_band(band.low, band.high, item.read.unit)


def _sweep_picture(state: RunState, item: Item, expectation: Expectation | None) -> Picture:
    assert item.read is not None  # `picture` asked
    siblings = [other for other in siblings_of(state, item) if other.load_a is not None]
    bands = [(other.load_a or 0.0, band_in(expectation, other)) for other in siblings]
    known = [(load, band) for load, band in bands if band is not None]
    loads = tuple(load for load, _ in known)
    band = (
        Series(name="lowest expected", x=loads, y=tuple(band.low for _, band in known)),
        Series(name="highest expected", x=loads, y=tuple(band.high for _, band in known)),
    )
    read = [
        (other.load_a or 0.0, number) for other in siblings if (number := number_of(state, other)) is not None
    ]
    return Picture(
        x_title="load [A]",
        y_title=f"{item.read.name or item.read.quantity} [{item.read.unit}]",
        read=(series("read", read),) if read else (),
        band=band if known else (),
        limits=(),
        x_span=ends([other.load_a or 0.0 for other in siblings]),
        x_points=tuple(other.load_a or 0.0 for other in siblings),
    )
