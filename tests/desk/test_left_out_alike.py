"""What one reason leaves out at many places is asked for once; what guards a person never goes along."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.logbook import read
from ohmward.logbook.events import Skipped
from support.plain import held, words
from support.walked import CR_11, begun, walked

STEP = "load-points.mains"
TWO_RAILS = f"""{CR_11}
[[rail]]
name = "aux"
nominal = "12 V"
rated_current = "1 A"
"""


@pytest.mark.parametrize(("answer", "rails"), [("1", 0), ("2", 1), ("3", 2)])
def test_one_reason_leaves_out_the_rest_of_a_step_where_that_is_wanted(
    tmp_path: Path, answer: str, rails: int
) -> None:
    path = begun(tmp_path, TWO_RAILS)
    with walked(path, lambda item: item.step == STEP) as live:
        places = [item for item in live.state.items if item.step == STEP]
        at = next(place for place, item in enumerate(live.state.items, 1) if item.step == STEP)
    said = words(held(tmp_path, path, f"jump {at}", "skip no meter to spare", answer))
    assert f"all of 'Load points, mains' still to do: {len(places) - 1} more" in said
    left = [each.event for each in read(path) if isinstance(each.event, Skipped) and each.event.step == STEP]
    assert {each.reason for each in left} == {"no meter to spare"}
    wanted = {0: 1, 1: len(places) // 2, 2: len(places)}[rails]
    assert len(left) == wanted
    if rails == 1:
        assert all(each.subject.startswith(places[0].rail) for each in left)


def test_what_guards_a_person_is_left_out_by_its_own_words(tmp_path: Path) -> None:
    from ohmward.run.together import alike

    path = begun(tmp_path)
    with walked(path, lambda item: item.spec.severity == "danger" and not item.required) as live:
        dangers = [item for item in live.state.items if item.spec.severity == "danger"]
        assert dangers
        assert not any(each.spec.severity == "danger" for item in dangers for each in alike(live.state, item))
