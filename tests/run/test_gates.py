"""The five gates: what is refused, what is named, and what no sequence of events can bring about.

Source of the laws: the product's own design (its five gates); common practice, no source.
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.errors import Refused
from ohmward.logbook.events import (
    Acknowledged,
    Amended,
    Answered,
    CaseOpened,
    CaseShut,
    Closed,
    Energised,
    Event,
    Noted,
    Overridden,
    Parts,
    Reading,
    Repaired,
    Skipped,
    SwitchedOff,
)
from ohmward.run.gates import admit, energise_blockers, halt_reasons
from ohmward.run.guidance import guidance
from ohmward.run.state import Phase, RunState, Standing, advance, state
from support import bench as b
from support.oracle import Oracle

VISUAL: list[Event] = [b.passed("plug"), b.passed("label"), b.passed("vents"), CaseShut()]
EARTH: list[Event] = [
    b.reading("lead-null"),
    b.reading("earth", "case"),
    b.reading("earth", "front panel"),
]
DEAD: list[Event] = [*VISUAL, *EARTH, b.reading("insulation")]
LIVE: list[Event] = [*DEAD, Acknowledged(stage="no-load"), Energised()]
NO_LOAD: list[Event] = [b.passed("lamp"), b.reading("mains", number="230"), b.reading("output", "+15", "15")]
SAFE: list[Event] = [SwitchedOff(), b.passed("unplugged"), b.reading("residual", "+15", "0")]


def run_of(*events: Event) -> RunState:
    result = b.folded(b.opened(), *events)
    assert result.violations == ()
    return result


def refusal(result: RunState, event: Event) -> Refused:
    with pytest.raises(Refused) as caught:
        admit(result, event)
    return caught.value


def test_a_whole_run_in_order_ends_dead_and_closes() -> None:
    sweep = [b.reading("load-points.output", f"+15 @ {share} %", "15") for share in (0, 50, 100)]
    done = run_of(*LIVE, *NO_LOAD, Acknowledged(stage="loaded"), *sweep, *SAFE)
    assert done.phase is Phase.DEAD
    assert run_of(*LIVE, *NO_LOAD, *SAFE, Closed(verdict="-", records=0)).phase is Phase.CLOSED


@pytest.mark.parametrize("missing", range(len(DEAD)))
def test_mains_is_refused_while_any_required_dead_step_is_missing(missing: int) -> None:
    kept = DEAD[:missing] + DEAD[missing + 1 :]
    result = b.folded(b.opened(), *kept, Acknowledged(stage="no-load"))
    assert refusal(result, Energised()).gate == "cannot-energise"


def test_a_failed_improvement_never_blocks() -> None:
    events = [b.failed("label") if event == b.passed("label") else event for event in DEAD]
    assert run_of(*events, Acknowledged(stage="no-load"), Energised()).phase is Phase.LIVE


def test_a_failed_danger_blocks_and_cannot_be_overridden_amended_away_or_withdrawn() -> None:
    events = [b.failed("plug") if event == b.passed("plug") else event for event in DEAD]
    result = run_of(*events, Acknowledged(stage="no-load"))
    assert "Plug sound: failed (danger)" in energise_blockers(result)
    assert refusal(result, Energised()).gate == "cannot-energise"
    assert refusal(result, Overridden(step="plug", reason="it will do")).gate == "danger"
    seq = result.entries["plug", ""].seq
    assert refusal(result, Amended(seq=seq, reason="typo", answer=b.passed("plug"))).gate == "danger"
    assert refusal(result, Amended(seq=seq, reason="typo")).gate == "danger"
    assert refusal(result, Skipped(step="plug", reason="no")).gate == "danger"
    assert refusal(result, b.passed("plug")).gate == "mend"
    mended = advance(result, b.record(99, b.passed("plug", note="new plug fitted")))
    assert energise_blockers(mended) == ()


def test_a_failed_danger_is_not_set_aside_and_a_failed_fault_is_not_left_out() -> None:
    result = run_of(b.failed("plug"), b.failed("vents"))
    aside = Answered(step="plug", answer="not applicable", note="x")
    assert refusal(result, aside).gate == "danger"
    assert refusal(result, Skipped(step="vents", reason="no time")).gate == "failed"


def test_a_check_that_always_applies_or_guards_hands_is_never_set_aside() -> None:
    text = b.PROCEDURE.replace('title = "Plug sound"', 'title = "Plug sound"\nalways = true')
    aside = Answered(step="plug", answer="not applicable", note="detachable cord")
    assert refusal(b.folded(b.opened(text)), aside).gate == "danger"
    assert run_of(aside).standing(run_of(aside).item("plug")) is Standing.NOT_APPLICABLE
    off = run_of(*LIVE, SwitchedOff())
    assert refusal(off, Answered(step="unplugged", answer="not applicable", note="x")).gate == "danger"


@pytest.mark.parametrize("how", ["taken again", "amended"])
def test_readings_that_subtract_the_lead_null_are_due_again_when_it_changes(how: str) -> None:
    result = run_of(*VISUAL, *EARTH)
    seq = result.entries["lead-null", ""].seq
    event: Event = b.reading("lead-null", number="0.3")
    if how == "amended":
        event = Amended(seq=seq, reason="misread", reading=b.reading("lead-null", number="0.3"))
    after = advance(result, b.record(99, event))
    assert after.standing(after.item("earth", "case")) is Standing.STALE


def test_a_residual_voltage_amended_upward_shuts_the_way_to_the_case_again() -> None:
    dead = run_of(*LIVE, *SAFE)
    seq = dead.entries["residual", "+15"].seq
    worse = Amended(seq=seq, reason="misread", reading=b.reading("residual", "+15", "40", verdict="fail"))
    after = advance(dead, b.record(99, worse))
    assert after.phase is Phase.OFF
    assert refusal(after, CaseOpened()).gate == "phase"


def test_what_a_later_entry_took_the_place_of_is_kept() -> None:
    result = run_of(
        b.failed("plug", note="pin bent"), b.passed("plug", note="new plug"), Repaired(what="new plug")
    )
    assert [(event.step, why) for _, event, why in result.superseded] == [("plug", "taken again")]
    assert [event.what for _, event in result.repairs] == ["new plug"]


def test_a_failed_fault_blocks_until_it_is_overridden_in_writing() -> None:
    events = [b.failed("vents") if event == b.passed("vents") else event for event in DEAD]
    result = run_of(*events, Acknowledged(stage="no-load"))
    assert refusal(result, Energised()).gate == "cannot-energise"
    assert refusal(result, Overridden(step="vents", reason=" ")).gate == "reason"
    overridden = advance(result, b.record(99, Overridden(step="vents", reason="open bench only")))
    assert energise_blockers(overridden) == ()
    again = advance(overridden, b.record(100, b.failed("vents")))
    assert "Vents clear: failed" in energise_blockers(again)


@pytest.mark.parametrize("event", [CaseOpened(reason="clip on"), Repaired(what="new fuse-holder")])
def test_opening_or_a_repair_makes_the_dead_tests_stale(event: Event) -> None:
    result = run_of(*DEAD, event)
    stale = {key[0] for key, item in result.by_key.items() if result.standing(item) is Standing.STALE}
    assert {"lead-null", "earth", "insulation"} <= stale
    assert ("plug" in stale) is isinstance(event, Repaired)
    assert any("not proven" in reason for reason in energise_blockers(result))


def test_stale_never_in_the_file_does_not_keep_a_dead_test_alive() -> None:
    text = b.PROCEDURE.replace('stale = "opening"', 'stale = "never"')
    result = b.folded(b.opened(text), *DEAD, CaseOpened())
    assert result.standing(result.item("earth", "case")) is Standing.STALE


def test_mains_is_refused_with_the_case_open_even_where_no_test_asks_for_it_shut() -> None:
    text = b.PROCEDURE.replace('enclosure = "shut"\n', "")
    tests = [event for event in DEAD if not isinstance(event, CaseShut)]
    result = b.folded(b.opened(text), *tests, Acknowledged(stage="no-load"))
    assert energise_blockers(result) == ("the case is open",)
    assert refusal(result, Energised()).gate == "cannot-energise"


def test_a_repair_makes_a_failed_danger_due_again_whatever_the_file_says_of_staleness() -> None:
    text = b.PROCEDURE.replace('title = "Lamp goes dark"', 'title = "Lamp goes dark"\nstale = "never"')
    failed = b.folded(b.opened(text), *LIVE, b.failed("lamp"), *SAFE)
    assert failed.standing(failed.item("lamp")) is Standing.FAILED
    mended = advance(failed, b.record(99, Repaired(what="bridge replaced")))
    assert mended.standing(mended.item("lamp")) is Standing.STALE


def test_no_insulation_voltage_before_the_earth_is_proven() -> None:
    assert refusal(run_of(*VISUAL), b.reading("insulation")).gate == "earth-first"


def test_dead_tests_count_only_with_the_case_shut() -> None:
    assert refusal(run_of(b.reading("lead-null")), b.reading("earth", "case")).gate == "case"


def test_an_energised_step_needs_mains_and_the_acknowledged_cautions() -> None:
    assert refusal(run_of(*DEAD), b.passed("lamp")).gate == "not-live"
    assert refusal(run_of(*DEAD), Energised()).gate == "cannot-energise"
    first_load = b.reading("load-points.output", "+15 @ 0 %")
    assert refusal(run_of(*LIVE, *NO_LOAD), first_load).gate == "caution"


def test_stages_come_in_order_and_dangers_first() -> None:
    assert refusal(run_of(*LIVE), b.reading("output", "+15", "15")).gate == "order"
    early = run_of(*LIVE, b.passed("lamp"), Acknowledged(stage="loaded"))
    assert refusal(early, b.reading("load-points.output", "+15 @ 0 %")).gate == "order"


@pytest.mark.parametrize(
    "event", [b.failed("lamp"), b.reading("output", "+15", "40", verdict="fail", stop=True)]
)
def test_a_danger_or_a_stop_limit_halts_and_only_switching_off_is_left(event: Event) -> None:
    before = [*LIVE] if event == b.failed("lamp") else [*LIVE, *NO_LOAD[:2]]
    halted = run_of(*before, event)
    assert halted.phase is Phase.HALTED
    assert halt_reasons(halted)
    for other in (b.passed("lamp", note="now"), Energised(), CaseOpened(), Acknowledged(stage="loaded")):
        assert refusal(halted, other).gate == "phase"
    dead = run_of(*before, event, *SAFE)
    assert dead.phase is Phase.DEAD
    way_on = guidance(dead)
    assert way_on.move == "mend"
    assert way_on.item is not None
    assert "repair" in way_on.text
    step, subject = (event.step, event.subject) if isinstance(event, Answered | Reading) else ("", "")
    assert refusal(dead, Overridden(step=step, subject=subject, reason="it will do")).gate == "danger"
    assert refusal(dead, Energised()).gate == "cannot-energise"
    again: list[Event] = [
        Repaired(what="bridge replaced"),
        b.passed("plug"),
        b.passed("label"),
        b.passed("vents"),
    ]
    assert (
        run_of(
            *before,
            event,
            *SAFE,
            *again,
            *EARTH,
            b.reading("insulation"),
            Acknowledged(stage="no-load"),
            Energised(),
        ).phase
        is Phase.LIVE
    )


def test_the_case_is_opened_only_after_switch_off_and_a_measured_residual_voltage() -> None:
    live = run_of(*LIVE)
    assert refusal(live, CaseOpened()).gate == "phase"
    off = run_of(*LIVE, SwitchedOff(), b.passed("unplugged"))
    assert refusal(off, CaseOpened()).gate == "phase"
    charged = run_of(
        *LIVE, SwitchedOff(), b.passed("unplugged"), b.reading("residual", "+15", "30", verdict="fail")
    )
    assert charged.phase is Phase.OFF
    assert refusal(charged, CaseOpened()).gate == "phase"
    assert refusal(charged, Energised()).gate == "phase"
    assert run_of(*LIVE, *SAFE, CaseOpened()).case_open


def test_residual_voltage_of_an_earlier_switch_off_does_not_count() -> None:
    again = run_of(*LIVE, *SAFE, Energised(), SwitchedOff())
    assert again.phase is Phase.OFF


def test_amending_a_dead_reading_to_a_failure_while_live_halts() -> None:
    live = run_of(*LIVE)
    seq = live.entries["earth", "case"].seq
    bad = Amended(seq=seq, reason="read 9, not 1", reading=b.reading("earth", "case", "9", verdict="fail"))
    assert advance(live, b.record(99, bad)).phase is Phase.HALTED


def test_an_unknown_step_or_subject_is_named_with_what_there_is() -> None:
    result = run_of()
    assert "no step 'plugs'" in str(refusal(result, b.passed("plugs")))
    assert "case, front panel" in str(refusal(run_of(CaseShut()), b.reading("earth", "lid")))


def test_a_part_with_results_stays_in_the_list() -> None:
    result = run_of(*VISUAL, *EARTH)
    assert refusal(result, Parts(names=("lid",))).gate == "parts"
    more = advance(result, b.record(99, Parts(names=("case", "front panel", "lid"))))
    assert more.standing(more.item("earth", "lid")) is Standing.NOT_DONE


def test_a_journal_that_breaks_a_gate_is_named_and_the_record_ignored() -> None:
    result = b.folded(b.opened(), Energised(), b.passed("plug"))
    assert result.phase is Phase.DEAD
    assert [seq for seq, _ in result.violations] == [1]
    assert result.standing(result.item("plug")) is Standing.PASSED


CHECKS = ["plug", "label", "vents", "lamp", "unplugged"]
READINGS = [
    ("lead-null", ""),
    ("earth", "case"),
    ("earth", "front panel"),
    ("insulation", ""),
    ("mains", ""),
    ("output", "+15"),
    ("residual", "+15"),
    ("load-points.output", "+15 @ 0 %"),
    ("load-points.output", "+15 @ 50 %"),
    ("load-points.output", "+15 @ 100 %"),
]
verdicts = st.sampled_from(
    ["pass", "pass", "pass", "fail", "conditional fail", "undecided", "not stated: pass"]
)
readings = st.builds(
    lambda at, verdict, stop: b.reading(*at, verdict=verdict, stop=stop),
    st.sampled_from(READINGS),
    verdicts,
    st.sampled_from([False] * 9 + [True]),
)
answers = st.builds(
    lambda step, ok, note: (b.passed if ok else b.failed)(step, note=note),
    st.sampled_from(CHECKS),
    st.sampled_from([True, True, True, False]),
    st.sampled_from(["", "mended"]),
)
moves: st.SearchStrategy[Event] = st.one_of(
    readings,
    readings,
    answers,
    answers,
    st.sampled_from(
        [
            CaseOpened(),
            CaseShut(),
            Energised(),
            Energised(),
            SwitchedOff(),
            Repaired(what="x"),
            Noted(text="x"),
            Acknowledged(stage="no-load"),
            Acknowledged(stage="loaded"),
        ]
    ),
    st.builds(lambda step: Overridden(step=step, reason="x"), st.sampled_from(CHECKS)),
    st.builds(lambda at: Overridden(step=at[0], subject=at[1], reason="x"), st.sampled_from(READINGS)),
    st.builds(lambda at: Skipped(step=at[0], subject=at[1], reason="x"), st.sampled_from(READINGS)),
    st.builds(lambda step: Skipped(step=step, reason="x"), st.sampled_from(CHECKS)),
    st.builds(lambda seq, event: Amended(seq=seq, reason="x", reading=event), st.integers(0, 40), readings),
    st.builds(lambda seq, event: Amended(seq=seq, reason="x", answer=event), st.integers(0, 40), answers),
    st.builds(lambda seq: Amended(seq=seq, reason="x"), st.integers(0, 40)),
)
starts = st.sampled_from([[], VISUAL, DEAD, LIVE, [*LIVE, *NO_LOAD], [*LIVE, *NO_LOAD, *SAFE]])


@settings(max_examples=400, deadline=None)
@given(starts, st.lists(moves, max_size=40))
def test_no_sequence_of_events_records_an_energised_step_past_an_open_danger_or_unproven_earth(
    start: list[Event], events: list[Event]
) -> None:
    oracle = Oracle()
    current = b.folded(b.opened())
    for seq, event in enumerate([*start, *events], start=1):
        try:
            admit(current, event)
        except Refused:
            after = advance(current, b.record(seq, event))
            assert after.phase is current.phase  # an illegal event changes nothing
            assert after.entries == current.entries
            continue
        if isinstance(event, Answered | Reading) and current.item(event.step, event.subject).energised:
            assert oracle.live
            assert oracle.may_be_live() == ""
        if isinstance(event, Energised):
            assert oracle.may_be_live() == ""
        if isinstance(event, CaseOpened):
            assert not oracle.live
        oracle.take(seq, event)
        current = advance(current, b.record(seq, event))
        assert current.violations == ()
        assert current.phase in set(Phase)
        if current.phase is Phase.LIVE:
            assert oracle.live
            assert oracle.may_be_live() == ""


@settings(max_examples=100, deadline=None)
@given(st.lists(moves, max_size=30), st.integers(0, 60))
def test_folding_a_prefix_and_then_the_rest_equals_folding_all(events: list[Event], cut: int) -> None:
    records = [b.record(seq, event) for seq, event in enumerate([b.opened(), *LIVE, *events])]
    result = state(records[:cut])
    for each in records[cut:]:
        result = advance(result, each)
    assert result == state(records)


def test_what_cannot_be_told_is_read_again_and_is_not_called_failed() -> None:
    done: list[Event] = [
        b.passed("plug"),
        b.passed("label"),
        b.passed("vents"),
        CaseShut(),
        b.reading("lead-null"),
    ]
    told = guidance(b.folded(b.opened(), *done, b.reading("earth", "case", verdict="undecided")))
    assert (told.move, told.item and told.item.key) == ("mend", ("earth", "case"))
    assert "read it again" in told.text
    assert "failed" not in told.text
    failed = guidance(b.folded(b.opened(), *done, b.reading("earth", "case", verdict="fail")))
    assert "failed: mend it and do it again" in failed.text
