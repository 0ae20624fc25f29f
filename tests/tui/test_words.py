"""Words, keys, clocks, places and points: plain functions, tried without a terminal."""

from __future__ import annotations

import dataclasses
from datetime import datetime, timedelta, timezone
from itertools import pairwise

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.desk.card import card, next_words, outcome
from ohmward.desk.clocks import clock_line
from ohmward.desk.picture import marked, thinned
from ohmward.desk.place import first_of, next_after, start_of, stepped
from ohmward.desk.points import picture, point_table
from ohmward.desk.readings import value_text
from ohmward.desk.trouble import FILE, write_down
from ohmward.desk.typed import figures, read_as
from ohmward.desk.words import SEVERITIES, STANDINGS, VERDICTS, clock_words, phase_sign
from ohmward.logbook.events import Acknowledged, CaseShut, Energised, Event, Noted, SwitchedOff
from ohmward.physics.expectation import Band
from ohmward.procedure.model import Item
from ohmward.quantity import parse
from ohmward.run import guidance
from ohmward.run.state import Phase, RunState, Standing
from ohmward.tui.frame import ALWAYS, fitted
from ohmward.tui.keys import ASSESSMENT, BENCH, RUN, SUPPLY, Key
from ohmward.tui.run_keys import run_hints
from ohmward.tui.run_widgets import fitted_line
from support import bench as b

CET = timezone(timedelta(hours=1))
LIVE: list[Event] = [
    b.passed("plug"), b.passed("label"), b.passed("vents"), CaseShut(), b.reading("lead-null"),
    b.reading("earth", "case"), b.reading("earth", "front panel"), b.reading("insulation"),
    Acknowledged(stage="no-load"), Energised(),
]  # fmt: skip


def run_of(*events: Event) -> RunState:
    result = b.folded(b.opened(), *events)
    assert result.violations == ()
    return result


def item_of(state: RunState, step: str, subject: str = "") -> Item:
    return state.item(step, subject)


def test_every_verdict_standing_severity_and_phase_has_a_mark_and_a_word() -> None:
    from typing import get_args

    from ohmward.logbook.events import Verdict
    from ohmward.procedure.model import Severity

    assert set(VERDICTS) == set(get_args(Verdict))
    assert set(STANDINGS) == set(Standing)
    assert set(SEVERITIES) == set(get_args(Severity))
    assert all(
        sign.mark and sign.word for table in (VERDICTS, STANDINGS, SEVERITIES) for sign in table.values()
    )
    assert len({phase_sign(RunState(phase=phase)).word for phase in Phase}) == len(Phase)


@pytest.mark.parametrize("keys", [RUN, BENCH, SUPPLY, ASSESSMENT])
def test_no_key_of_a_screen_does_two_things(keys: tuple[Key, ...]) -> None:
    pressed = [name for key in keys for name in key.key.split(",")]
    assert len(pressed) == len(set(pressed))


def test_no_letter_command_begins_a_value() -> None:
    from ohmward.tui.run_widgets import ValueInput

    letters = {key.key for key in RUN if len(key.key) == 1}
    assert not letters & ValueInput.STARTS


@given(
    st.lists(st.sampled_from(RUN), max_size=25), st.integers(min_value=56, max_value=200), st.integers(1, 3)
)
def test_hints_never_run_over_the_edge_and_the_ways_to_help_and_out_are_always_there(
    keys: list[Key], width: int, rows: int
) -> None:
    last = [key for key in RUN if key.action in ALWAYS]
    laid = fitted([key for key in keys if key not in last], last, width, rows)
    assert len(laid) == rows
    assert all(len("   ".join(f"{key.shown} {key.hint}" for key in line)) <= width for line in laid)
    assert [key for line in laid for key in line][-2:] == last


def test_switching_off_is_the_first_hint_when_halted_and_among_the_first_when_live() -> None:
    live = run_of(*LIVE)
    halted = run_of(*LIVE, b.failed("lamp"))
    assert halted.phase is Phase.HALTED
    first = run_hints(halted, item_of(halted, "lamp"), guidance(halted), typing=False, meter=False)[0]
    assert first.hint == "SWITCH OFF"
    hints = run_hints(live, item_of(live, "lamp"), guidance(live), typing=False, meter=False)
    assert "SWITCH OFF" in [key.hint for key in hints[:4]]
    typing = run_hints(live, item_of(live, "mains"), guidance(live), typing=True, meter=False)
    assert "Ctrl+O" in [key.shown for key in typing]


def test_an_override_is_offered_for_a_failed_fault_and_not_for_a_danger() -> None:
    fault, danger = run_of(b.failed("vents")), run_of(b.failed("plug"))
    offered = [
        [key.hint for key in run_hints(s, item_of(s, step), guidance(s), typing=False, meter=False)]
        for s, step in ((fault, "vents"), (danger, "plug"))
    ]
    assert "override" in offered[0]
    assert "override" not in offered[1]


@pytest.mark.parametrize(
    ("text", "unit", "shown"),
    [("12.040", "V", "12.040 V"), ("85m", "V", "85 mV"), (">200M", "Ω", "> 200 MΩ"), ("OL", "Ω", "OL"),
     ("4k70", "Ω", "4.70 kΩ"), ("-15.02", "V", "-15.02 V"), ("21.5", "°C", "21.5 °C")],
)  # fmt: skip
def test_a_taken_value_is_read_back_to_the_digits_typed(text: str, unit: str, shown: str) -> None:
    assert value_text(parse(text, unit)) == shown
    assert figures(text, unit) == shown


def test_typing_is_read_back_with_its_reason_when_it_is_no_value() -> None:
    null = item_of(run_of(), "lead-null")
    assert read_as("0.2", null) == ("= 0.2 Ω", True)
    words, good = read_as("1,2", null)
    assert not good
    assert "point" in words  # a comma is refused with the point that is meant
    words, good = read_as("200k", null)
    assert not good
    assert "asked about" in words


def test_a_card_says_what_to_do_why_and_by_which_limit() -> None:
    state = run_of(b.passed("plug"), Noted(text="\x1b[31mred\nnote", step="earth", subject="case"))
    shown = card(state, item_of(state, "earth", "case"), None, pending=False, meter="low-ohm A")
    assert shown.title == "Earth continuity: case"
    # 0.1 Ω and 2 m of 0.75 mm² at 26.0 Ω/km (IEC 60228 class 5, 20 °C): 0.152 Ω.
    assert shown.limit.startswith("at most 0.152 Ω")
    assert "danger" in shown.severity.word
    assert shown.meter == "any: low-ohm A"
    assert "\x1b" not in shown.notes[0]
    assert "\n" not in shown.notes[0]
    check = card(state, item_of(state, "plug"), None, pending=False, meter="")
    assert (check.expected, check.limit, check.meter) == ("", "", "")


def test_an_outcome_keeps_verdict_and_prediction_apart() -> None:
    import msgspec

    state = run_of(b.passed("plug"), b.passed("label"), b.passed("vents"), CaseShut(), b.reading("lead-null"))
    item = item_of(state, "lead-null")
    entry = state.entries[item.key]
    judged = msgspec.structs.replace(entry.event.judged, as_expected=False, note="why")  # type: ignore[union-attr]
    from dataclasses import replace

    odd = replace(entry, event=msgspec.structs.replace(entry.event, judged=judged))
    shown = outcome(replace(state, entries={item.key: odd}), item)
    assert shown is not None
    assert shown.sign.word == "PASS"
    assert shown.predicted is not None
    assert shown.predicted.word == "UNEXPECTED"
    assert "why" in shown.words
    assert outcome(state, item_of(state, "insulation")) is None


def test_the_next_words_name_the_entry_only_when_it_is_another() -> None:
    state = run_of(b.passed("plug"))
    following = guidance(state)
    assert next_words(state, following, item_of(state, "label")) == ""
    assert next_words(state, following, item_of(state, "plug")) == "Next  Label legible"


def test_what_is_to_be_mended_is_named_where_it_is_not_the_entry_shown() -> None:
    state = run_of(b.failed("plug"), b.passed("label"))
    words = next_words(state, guidance(state), item_of(state, "label"))
    assert "Plug sound" in words
    assert words.count("Plug sound") == 1


def test_making_safe_is_said_in_full_once_and_then_by_the_next_rail_alone() -> None:
    off = run_of(*LIVE, SwitchedOff())
    first = guidance(off).item
    assert first is not None
    full = next_words(off, guidance(off), first)
    assert "plug out and in sight" in full
    begun = run_of(*LIVE, SwitchedOff(), b.passed(first.step))
    short = next_words(begun, guidance(begun), item_of(begun, first.step))
    assert short == "Next  Residual voltage: +15. 1 left before a hand or tool goes near."


def test_a_reading_without_a_limit_is_recorded_and_not_called_passed() -> None:
    state = run_of(*LIVE, b.passed("lamp"), b.reading("mains", "", "231", verdict="not applicable"))
    shown = outcome(state, item_of(state, "mains"))
    assert shown is not None
    assert "recorded" in shown.words[-1]
    assert "passed" not in shown.words[-1]


@pytest.mark.parametrize("room", [30, 45, 60])
@given(
    st.text(max_size=40), st.text(max_size=40), st.sampled_from(["", "off 0:05, wait 0:12", "soak 1:00:00"])
)
def test_the_header_keeps_tag_and_clock_whatever_the_names(room: int, tag: str, who: str, clock: str) -> None:
    from ohmward.text import one_line

    line = fitted_line(tag, who, "case shut", clock, room=room)
    assert line.endswith(clock)
    assert line.startswith(one_line(tag)[:5])
    assert len(line) <= max(room, 50)


def test_the_header_of_a_switched_off_supply_fits_80_columns() -> None:
    line = fitted_line("CR-07", "bench A", "case shut", "off 0:05, wait 0:12", room=80 - 33 - 4)
    assert line.startswith("CR-07 · bench A · ")
    assert line.endswith("off 0:05, wait 0:12")
    assert len(line) <= 43


def test_places_stop_at_the_ends_and_go_forward_from_where_the_person_is() -> None:
    state = run_of()
    first = state.items[0].key
    begin, before, end = start_of(state), stepped(state, first, -1), stepped(state, first, 1000)
    assert begin is not None
    assert begin.key == first
    assert before is not None
    assert before.key == first
    assert end is state.items[-1]
    done = run_of(b.passed("label"))
    onward = next_after(done, ("label", ""))
    assert onward is not None
    assert onward.step == "vents"  # not back to 'plug', which is open too
    earth = first_of(done, "earth")
    assert earth is not None
    assert earth.step == "lead-null"


def test_the_clock_counts_from_switch_off_and_says_when_no_wait_can_be_computed() -> None:
    events = [b.opened(), *LIVE, SwitchedOff()]
    records = [b.record(seq, event) for seq, event in enumerate(events)]
    state = b.folded(*events)
    now = datetime.fromisoformat(records[-1].at) + timedelta(seconds=75)
    assert clock_line(state, records, None, now) == "off 1:15, measure"
    assert clock_line(run_of(), [], None, now) == ""
    unlimited = state.items[0]
    spec = msgspec.structs.replace(unlimited.spec, wait_from="switched-off", wait_s=None)
    waits = msgspec.structs.replace(unlimited, spec=spec)
    safe = dataclasses.replace(state, phase=Phase.DEAD)
    assert clock_line(safe, records, waits, now) == "waited 1:15"


@given(st.floats(min_value=0, max_value=1e6))
def test_a_clock_reads_back_to_its_seconds(seconds: float) -> None:
    parts = [int(part) for part in clock_words(seconds).split(":")]
    assert sum(part * 60**power for power, part in enumerate(reversed(parts))) == int(seconds)


def test_a_sweep_table_has_a_row_for_each_load_and_marks_the_present_one() -> None:
    loaded: list[Event] = [
        b.passed("lamp"),
        b.reading("mains"),
        b.reading("output", "+15"),
        Acknowledged(stage="loaded"),
    ]
    state = run_of(*LIVE, *loaded, b.reading("load-points.output", "+15 @ 0 %", "15"))
    item = item_of(state, "load-points.output", "+15 @ 50 %")
    table = point_table(state, item, None)
    assert table.headings == ("load", "expected", "read")
    # Rated current 1.2 A: half of it is 600 mA.
    assert [row[0] for row in table.rows] == ["0 % = 0 A", "50 % = 600 mA", "100 % = 1.2 A"]
    assert table.rows[0][2].startswith("15 V")
    assert table.here == (1, 2)
    drawn = picture(state, item, None)
    assert drawn is not None
    assert drawn.x_span == (0.0, 1.2)
    assert marked(drawn.x_points, 40) == pytest.approx([0.0, 0.6, 1.2])
    assert drawn.read[0].y == (15.0,)


@given(st.lists(st.floats(0, 1e4), min_size=2, max_size=30), st.integers(14, 120))
def test_an_axis_is_marked_at_both_ends_and_nowhere_too_close(points: list[float], columns: int) -> None:
    ticks = marked(points, columns)
    assert (ticks[0], ticks[-1]) == (min(points), max(points))
    assert set(ticks) <= set(points)
    apart = 7 * (ticks[-1] - ticks[0]) / columns
    assert all(after - before >= apart * (1 - 1e-9) for before, after in pairwise(ticks))


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=3000), st.integers(2, 60))
def test_thinning_keeps_order_and_extremes_and_bounds_the_count(y: list[float], columns: int) -> None:
    x = [float(i) for i in range(len(y))]
    few_x, few_y = thinned(x, y, columns)
    assert len(few_x) <= max(4 * columns, 4)
    assert few_x == sorted(few_x)
    assert (min(few_y), max(few_y)) == (min(y), max(y))


def test_trouble_is_one_sentence_and_its_details_go_to_a_file(tmp_path: object) -> None:
    from pathlib import Path

    folder = Path(str(tmp_path))
    sentence = write_down(folder, ValueError("odd \x1b[31mthing"), datetime(2026, 3, 1, tzinfo=CET))
    assert "\n" not in sentence
    assert "\x1b" not in sentence
    assert "ValueError" in (folder / FILE).read_text(encoding="utf-8")
    assert "could not be written down" in write_down(
        folder / "none", KeyError("x"), datetime(2026, 3, 1, tzinfo=CET)
    )


def test_a_band_is_shown_with_its_value() -> None:
    from ohmward.report.text import band_text

    assert band_text(Band(value=15.0, low=14.4, high=15.6), "V").startswith("15")


@pytest.mark.parametrize("name", ["after-repair", "commissioning", "long-storage", "retest"])
def test_every_entry_of_the_shipped_procedures_has_a_card_that_fits_80_columns(name: str) -> None:
    from ohmward.procedure import source_text
    from ohmward.shipped import folder

    sheet = (folder("demo") / "CR-07.toml").read_text(encoding="utf-8")
    state = b.folded(b.opened(procedure=source_text(name), sheet=sheet))
    assert len(state.items) > 40
    for item in state.items:
        shown = card(state, item, None, pending=False, meter="")
        assert len(shown.title) <= 76, shown.title
        assert shown.do
        assert shown.why
        assert (shown.limit != "") is (item.read is not None)
