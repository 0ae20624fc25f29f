"""Further times of a soak are asked for while the rise has not stopped, one after the other, and no longer.

1 K over the room in half an hour is what the step asks: common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.demo import TAG, begin
from ohmward.desk.soak_points import soak_table
from ohmward.logbook import open_run
from ohmward.plain.describe import place_lines
from ohmward.procedure.model import ROOM
from ohmward.run import LiveRun, assess_state, guidance
from ohmward.run.answers import parse_answers, play
from ohmward.run.bulk import bulk_state
from ohmward.run.rising import rising_words
from ohmward.run.state import Key, RunState
from ohmward.shipped import folder
from support.walked import begun, walk, walked

NEEDED = (0, 5, 10, 20, 30, 40, 50, 60)
FURTHER = (90, 120, 150, 180, 210, 240)
SENSORS = (ROOM, "transformer", "case")
SETTLED = ("soak-settled", "")


def readings(curves: Mapping[str, Mapping[int, float]]) -> dict[Key, str]:
    """Return what is read at each time, to a tenth of a degree."""
    return {
        ("soak", f"{name} @ {t} min"): f"{value:.1f}"
        for name, curve in curves.items()
        for t, value in curve.items()
    }


def rise(final_k: float, tau_min: float, room_c: float = 22.0) -> dict[int, float]:
    """Return a curve of one time constant."""
    return {t: round(room_c + final_k * -math.expm1(-t / tau_min), 1) for t in (*NEEDED, *FURTHER)}


def gains(curves: Mapping[str, Mapping[int, float]], at: int) -> bool:
    """Return whether a sensor gained over 1 K on the room in the half hour before a time."""
    room = curves[ROOM]
    return any(
        round(curve[at] - room[at] - curve[at - 30] + room[at - 30], 6) > 1.0
        for name, curve in curves.items()
        if name != ROOM
    )


def asked(state: RunState) -> list[int]:
    """Return the further times that the run asks for or has."""
    found = dict.fromkeys(item.elapsed_s for item in state.items if item.is_further)
    return [round(time_s / 60) for time_s in found if time_s is not None]


def soak(live: LiveRun, values: Mapping[Key, str]) -> list[Key]:
    """Read what comes next until something else than the soak does; return what was asked for."""
    order = []
    while (item := guidance(live.state).item) is not None and item.spec.id == "soak":
        order.append(item.key)
        live.read(*item.key, values[item.key], confirmed=True)
    return order


curve = st.builds(rise, st.floats(0.0, 40.0), st.floats(3.0, 120.0))
drifting = st.builds(
    lambda per_hour: {t: round(22.0 + per_hour * t / 60, 1) for t in (*NEEDED, *FURTHER)},
    st.floats(-2.0, 4.0),
)


@pytest.fixture(scope="module")
def at_the_soak(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The journal of a run whose next entry is the first of the soak."""
    path = begun(tmp_path_factory.mktemp("soak"))
    with walked(path, lambda item: item.spec.id == "soak"):
        pass
    return path


@settings(max_examples=60, deadline=None)
@given(transformer=curve, case=curve, room=drifting)
def test_a_further_time_is_asked_for_exactly_while_the_rise_has_not_stopped(
    at_the_soak: Path, transformer: dict[int, float], case: dict[int, float], room: dict[int, float]
) -> None:
    curves = {ROOM: room, "transformer": transformer, "case": case}
    with TemporaryDirectory() as place:
        path = Path(place) / "run.jsonl"
        path.write_bytes(at_the_soak.read_bytes())
        with LiveRun(open_run(path)) as live:
            order = soak(live, readings(curves))
            wanted = []
            for last, further in zip((60, *FURTHER), FURTHER, strict=False):
                if not gains(curves, last):
                    break
                wanted.append(further)
            assert order == [("soak", f"{name} @ {t} min") for t in (*NEEDED, *wanted) for name in curves]
            assert asked(live.state) == wanted
            walk(live, lambda item: item.key == SETTLED)
            stopped = not gains(curves, wanted[-1] if wanted else 60)
            assert stopped == (rising_words(live.state, live.state.item(*SETTLED)) == "")
            assert stopped or wanted == list(FURTHER)


SLOW = {ROOM: rise(0.0, 60.0), "transformer": rise(30.0, 45.0), "case": rise(12.0, 30.0)}


def test_none_is_asked_for_before_the_needed_times_are_read(tmp_path: Path) -> None:
    last = ("soak", "case @ 60 min")
    with walked(begun(tmp_path), lambda item: item.key == last, readings(SLOW)) as live:
        assert asked(live.state) == []
        live.read(*last, readings(SLOW)[last], confirmed=True)
        assert asked(live.state) == [90]
        following = guidance(live.state).item
        assert following is not None
        assert (following.key, following.required) == (("soak", f"{ROOM} @ 90 min"), False)
        rows = [row[0] for row in soak_table(live.state, following).rows]
        assert rows == [f"{t} min" for t in (*NEEDED, 90)]


def test_one_that_is_left_out_whole_is_the_last(tmp_path: Path) -> None:
    with walked(begun(tmp_path), lambda item: item.is_further, readings(SLOW)) as live:
        for name in SENSORS:
            live.skip("soak", f"{name} @ 90 min", "no more time")
        assert asked(live.state) == [90]
        walk(live, lambda item: item.key == SETTLED)
        assert rising_words(live.state, live.state.item(*SETTLED))


def test_an_amended_reading_can_take_the_need_away_and_bring_it_back(tmp_path: Path) -> None:
    with walked(begun(tmp_path), lambda item: item.is_further, readings(SLOW)) as live:
        key = ("soak", "transformer @ 60 min")
        cold = {t: value for t, value in SLOW["transformer"].items() if t in {30, 60}}
        live.read(*key, f"{cold[30] + 0.5:.1f}", confirmed=True)
        live.read("soak", "case @ 60 min", f"{SLOW['case'][30]:.1f}", confirmed=True)
        assert asked(live.state) == []
        live.read(*key, f"{cold[60]:.1f}", confirmed=True)
        assert asked(live.state) == [90]


def test_one_that_is_read_unasked_stays(tmp_path: Path) -> None:
    flat = {name: rise(0.0, 10.0) for name in SENSORS}
    with walked(begun(tmp_path), lambda item: item.spec.id == "soak-watch", readings(flat)) as live:
        assert asked(live.state) == []
        live.read("soak", "case @ 150 min", "22.1", confirmed=True)
        assert asked(live.state) == [150]


@pytest.mark.parametrize(("story", "ends"), [("healthy", "pass"), ("faulty", "fail")])
def test_the_shipped_answers_leave_no_further_time_open(tmp_path: Path, story: str, ends: str) -> None:
    path = begin(tmp_path, tool="test")
    rows = parse_answers((folder("demo") / f"{TAG}.{story}.csv").read_text(encoding="utf-8"), story)
    with LiveRun(open_run(path)) as live:
        play(live, rows, story)
        state = live.state
        assert asked(state) == [90, 120, 150]
        assert all(item.key in state.entries for item in state.items if item.is_further)
        assert assess_state(state).verdict == ends
        assert bulk_state(live.journal.records).items == state.items


def test_a_time_that_is_asked_for_no_more_can_still_be_shown(tmp_path: Path) -> None:
    with walked(begun(tmp_path), lambda item: item.kind == "soak") as live:
        gone = live.state.by_key["soak", "case @ 240 min"]
        assert gone not in live.state.items
        assert soak_table(live.state, gone).rows[-1][0] == "240 min"
        assert "No longer asked for" in place_lines(live.state, gone)[-1]
