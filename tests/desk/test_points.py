"""Points of a soak stand at the time at which they were taken; one load is no curve."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from ohmward.desk.points import ONE_LOAD, picture, point_table
from ohmward.logbook.events import Event, Reading
from support.reports import HEALTHY, changed, source


def test_a_point_stands_where_the_clock_had_it_and_the_axis_where_it_was_asked_for() -> None:
    """Asked for after 5 min; taken after 15 s."""

    def early(event: Event) -> Event:
        soak = isinstance(event, Reading) and event.step == "soak" and event.subject.endswith("@ 5 min")
        return replace(event, after_s=15.0) if soak else event

    state = changed(HEALTHY, early).state
    item = next(each for each in state.items if each.key == ("soak", "case @ 5 min"))
    drawn = picture(state, item, None)
    assert drawn is not None
    case = next(line for line in drawn.read if line.name == "case")
    assert case.x[:2] == pytest.approx((0.0, 0.25))
    assert 5.0 in drawn.x_points
    assert 0.25 not in drawn.x_points


def test_all_rails_at_once_are_no_curve_and_that_is_said() -> None:
    state = source(HEALTHY).state
    item = next(each for each in state.items if each.kind == "sweep" and each.together and each.read)
    assert picture(state, item, None) is None
    assert point_table(state, item, None).no_plot == ONE_LOAD
