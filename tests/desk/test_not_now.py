"""Why something cannot be done now: the gates' own words, and silence exactly where it can be done."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from ohmward.desk.allowed import allowed_moves
from ohmward.desk.assessment_rows import override_cells
from ohmward.desk.card import entry_sign
from ohmward.desk.gate import WORDS, admitted
from ohmward.desk.help_rows import screen_help, step_help
from ohmward.desk.mains import dead_words
from ohmward.desk.moves import MOVES
from ohmward.desk.not_now import NO_METER, why_not, why_not_driven
from ohmward.desk.place import next_driven
from ohmward.logbook.events import Acknowledged, CaseShut, Energised, Event, Overridden, Repaired
from ohmward.run import assess_state
from ohmward.run.gates import way_on
from ohmward.run.guidance import guidance
from ohmward.run.state import RunState
from ohmward.tui.keys import RUN
from support import bench as b
from support.walked import begun, walked

LIVE: list[Event] = [
    b.passed("plug"), b.passed("label"), b.passed("vents"), CaseShut(), b.reading("lead-null"),
    b.reading("earth", "case"), b.reading("earth", "front panel"), b.reading("insulation"),
    Acknowledged(stage="no-load"), Energised(),
]  # fmt: skip
STATES = {"new": [], "shut": LIVE[:4], "live": LIVE, "halted": [*LIVE, b.failed("lamp")]}


def state_of(name: str) -> RunState:
    return b.folded(b.opened(), *STATES[name])


def reason(state: RunState, step: str, action: str, *, subject: str = "", meter: bool = True) -> str:
    return why_not(state, state.item(step, subject), action, meter=meter, by_itself=meter)


@pytest.mark.parametrize("name", STATES)
def test_what_is_offered_as_a_move_is_never_said_to_be_impossible(name: str) -> None:
    state = state_of(name)
    for item in state.items:
        for move in allowed_moves(state, item):
            assert why_not(state, item, f"move('{move}')", meter=False, by_itself=False) == ""


@pytest.mark.parametrize("name", STATES)
def test_every_action_of_the_run_screen_has_an_answer_at_every_entry(name: str) -> None:
    state = state_of(name)
    for item in (None, *state.items):
        for key in RUN:
            words = why_not(state, item, key.action, meter=False, by_itself=False)
            assert "\n" not in words
            assert words == "" or words.endswith((".", ")")) or words[-1].isalnum()


def test_mains_is_refused_with_what_is_still_to_be_done_and_allowed_once_it_is() -> None:
    assert "Plug sound" in reason(state_of("new"), "plug", "move('energise')")
    ready = b.folded(b.opened(), *LIVE[:-1])
    assert reason(ready, "lamp", "move('energise')") == ""
    assert "not on" in reason(ready, "lamp", "move('off')")
    assert reason(state_of("live"), "lamp", "move('off')") == ""
    assert reason(state_of("halted"), "lamp", "move('off')") == ""


def test_a_danger_is_never_overridden_and_a_fault_is() -> None:
    danger = b.folded(b.opened(), b.failed("plug"))
    assert reason(danger, "plug", "move('override')")
    fault = b.folded(b.opened(), b.failed("vents"))
    assert reason(fault, "vents", "move('override')") == ""


def test_readings_and_checks_are_told_apart() -> None:
    state = state_of("shut")
    assert "reading" in reason(state, "lead-null", "answer('pass')")
    assert "not a reading" in reason(state, "plug", "meter_reading")
    assert reason(state, "lead-null", "meter_reading") == ""
    assert reason(state, "lead-null", "meter_reading", meter=False) == NO_METER
    assert "sweep" in reason(state, "lead-null", "turn_page")
    assert reason(state, "load-points.output", "turn_page", subject="+15 @ 0 %") == ""


def test_a_repair_is_possible_where_the_gates_say_so() -> None:
    for name in STATES:
        state = state_of(name)
        possible = reason(state, "plug", "move('repair')") == ""
        assert possible is admitted(state, Repaired(what=WORDS))


def test_every_move_is_known() -> None:
    state = state_of("live")
    for move in MOVES:
        why_not(state, state.items[0], f"move('{move}')", meter=False, by_itself=False)


def test_help_begins_with_the_step_then_its_stage_then_the_words_in_it() -> None:
    state = state_of("live")
    headings = [part.heading for part in step_help(state, state.item("insulation", ""))]
    assert headings[0] == "This step: Insulation"
    assert "Words used here" in headings
    assert headings[-1] == "What this screen is for"
    lamp = step_help(state, state.item("lamp", ""))
    stage = next(part for part in lamp if part.heading.startswith("This stage"))
    assert "‼ Mains is live inside the case" in stage.lines
    assert any("local codes" in line for line in stage.lines)
    words = next(part for part in step_help(state, state.item("insulation", "")) if part.heading[0] == "W")
    assert any(line.startswith("insulation resistance: ") for line in words.lines)
    assert step_help(state, None) == screen_help("a run")
    assert screen_help("nothing known") == ()


def test_what_does_not_run_by_itself_says_where_the_next_is_that_does() -> None:
    live = state_of("live")
    said = why_not_driven(live, live.item("plug"))
    following = next_driven(live, live.item("plug"))
    assert following is not None
    assert following.kind in {"sweep", "soak"}
    assert f"the next is '{following.spec.title}' (" in said
    assert live.stage(following.stage).title in said
    assert why_not_driven(live, following) == ""


def test_a_failed_reading_is_gone_on_with_and_stays_failed_where_a_check_is_overridden() -> None:
    over = b.reading("output", "+15")
    failed = msgspec.structs.replace(over, judged=msgspec.structs.replace(over.judged, verdict="fail"))
    live = b.folded(b.opened(), *LIVE, b.passed("lamp"), b.reading("mains"), failed)
    item = live.by_key["output", "+15"]
    assert guidance(live).text.endswith("take it again, or go on although it failed, in writing.")
    gone = b.folded(
        b.opened(), *LIVE, b.passed("lamp"), failed,
        Overridden(step="output", subject="+15", reason="going on to find the cause"),
    )  # fmt: skip
    assert str(entry_sign(gone, item)) == "✗ failed, gone on with in writing"
    mark, about, why = override_cells(assess_state(gone))[0]
    assert (mark, about) == ("✗", "Output, no load: +15")
    assert why == "failed, gone on with in writing: going on to find the cause"
    assert way_on(item) == "go on although it failed, in writing"
    checked = b.folded(b.opened(), b.failed("vents"), Overridden(step="vents", reason="fan on order"))
    vents = checked.by_key["vents", ""]
    assert str(entry_sign(checked, vents)) == "! overridden"
    assert override_cells(assess_state(checked))[0] == ("!", "Vents clear", "overridden: fan on order")
    assert way_on(vents) == "override it in writing"


def test_before_mains_a_failed_reading_that_was_gone_on_with_is_counted_as_failed(tmp_path: Path) -> None:
    with walked(begun(tmp_path), lambda item: item.step == "line-core") as live:
        live.read("line-core", "", "4")
        live.override("line-core", "", "the holder is worn; a new one comes")
        (said,) = [line for line in dead_words(live.state) if "gone on with" in line]
        assert "1 failed, gone on with in writing" in said
        assert "overridden" not in said
