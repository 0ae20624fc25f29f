"""Steps left out together with another: recorded with the reason, and due again when it is taken after all.

Source of the laws: the product's own design (nothing recorded is altered, what is left out is said).
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.errors import Refused
from ohmward.logbook import create_run, read
from ohmward.logbook.events import Amended, Event, Reading, Record, Repaired, Skipped
from ohmward.run import AskAgain
from ohmward.run.assess import assess_state
from ohmward.run.bulk import bulk_state
from ohmward.run.gates import admit
from ohmward.run.state import RunState, Standing, advance, state
from ohmward.run.together import left_out_with
from support import bench as b
from support.journals import HandClock
from support.plain import held
from support.walked import begun, walk, walked

TOGETHER = """
[[stage.step]]
id = "low"
kind = "reading"
title = "Mains lowered"
required = false
quantity = "mains_v"
unit = "V"
[[stage.step]]
id = "low-output"
kind = "reading"
title = "Output, mains low"
each = "part"
left_out_with = "low"
quantity = "output_v"
unit = "V"
"""
# in a dead stage, where nothing else stands in the way of any order of events
PROCEDURE = b.PROCEDURE.replace('\n[[stage]]\nname = "earth"', f'{TOGETHER}\n[[stage]]\nname = "earth"', 1)
LEAD = ("low", "")
OTHERS = [("low-output", "case"), ("low-output", "front panel")]
NO_VARIAC = "no variable transformer here"


class Bench:
    """A run without a file, in which leaving a step out is recorded as `LiveRun.skip` does."""

    def __init__(self) -> None:
        self.records = [b.record(0, b.opened(PROCEDURE))]
        self.state = state(self.records)

    def do(self, event: Event) -> None:
        admit(self.state, event)
        self.records.append(b.record(len(self.records), event))
        self.state = advance(self.state, self.records[-1])

    def skip(self, key: tuple[str, str]) -> None:
        left = Skipped(step=key[0], subject=key[1], reason=NO_VARIAC)
        self.do(left)
        for event in left_out_with(self.state, left):
            self.do(event)

    def standing(self, key: tuple[str, str]) -> Standing:
        return self.state.standing(self.state.item(*key))


def test_both_are_left_out_and_the_record_names_the_step() -> None:
    bench = Bench()
    bench.skip(LEAD)
    assert [bench.standing(key) for key in [LEAD, *OTHERS]] == [Standing.SKIPPED] * 3
    for key in OTHERS:
        event = bench.state.entries[key].event
        assert isinstance(event, Skipped)
        assert event.left_out_with == "low"
        assert event.reason == f"left out with 'Mains lowered': {NO_VARIAC}"


def test_what_was_read_already_stays() -> None:
    bench = Bench()
    bench.do(b.reading(*OTHERS[0], "15"))
    bench.skip(LEAD)
    assert bench.standing(OTHERS[0]) is Standing.PASSED
    assert bench.standing(OTHERS[1]) is Standing.SKIPPED


@pytest.mark.parametrize("how", ["taken", "amended", "withdrawn"])
def test_a_step_taken_after_all_opens_what_went_with_it(how: str) -> None:
    bench = Bench()
    bench.skip(LEAD)
    seq = bench.state.entries[LEAD].seq
    instead = b.reading(*LEAD, "207")
    event: Event = instead if how == "taken" else Amended(seq=seq, reason="a variac was found")
    if how == "amended":
        event = Amended(seq=seq, reason="a variac was found", reading=instead)
    bench.do(event)
    assert [bench.standing(key) for key in OTHERS] == [Standing.NOT_DONE] * 2
    gone = [old.reason for _, old, why in bench.state.superseded if why == "due after all"]  # type: ignore[union-attr]
    assert gone == [f"left out with 'Mains lowered': {NO_VARIAC}"] * 2


def test_one_left_out_for_itself_stays_left_out() -> None:
    bench = Bench()
    bench.skip(OTHERS[0])
    bench.skip(LEAD)
    bench.do(b.reading(*LEAD, "207"))
    assert bench.standing(OTHERS[0]) is Standing.SKIPPED
    assert bench.standing(OTHERS[1]) is Standing.NOT_DONE


@pytest.mark.parametrize("step", ["plug", "vents", "low-output"])
def test_nothing_goes_with_a_step_that_its_file_does_not_name_or_that_is_not_left_out(
    step: str,
) -> None:
    bench = Bench()
    subject = "case" if step == "low-output" else ""
    with pytest.raises(Refused) as caught:
        bench.do(Skipped(step=step, subject=subject, reason="x", left_out_with="low"))
    assert caught.value.gate == ("danger" if step == "plug" else "together")


keys = st.sampled_from([LEAD, *OTHERS])
acts = st.one_of(
    st.tuples(st.just("skip"), keys),
    st.tuples(st.just("skip"), st.just(LEAD)),
    st.tuples(st.just("read"), keys),
    st.tuples(st.just("withdraw"), keys),
    st.tuples(st.just("amend"), keys),
    st.tuples(st.just("repair"), st.just(LEAD)),
)


def record_of(bench: Bench, act: str, key: tuple[str, str]) -> Event | None:
    entry = bench.state.entries.get(key)
    if act == "repair":
        return Repaired(what="x")
    if act == "read":
        return b.reading(*key, "15")
    if entry is None:
        return None
    return Amended(seq=entry.seq, reason="x", reading=b.reading(*key, "15") if act == "amend" else None)


@settings(max_examples=300, deadline=None)
@given(st.lists(acts, max_size=25))
def test_in_any_order_none_stays_left_out_with_a_step_that_is_not_and_none_is_asked_for_with_one_that_is(
    done: list[tuple[str, tuple[str, str]]],
) -> None:
    bench = Bench()
    own: dict[tuple[str, str], str] = {}  # what a person said of each by itself, told apart from the fold
    for act, key in done:
        if act == "skip":
            bench.skip(key)
            own[key] = "skip"
        else:
            event = record_of(bench, act, key)
            if event is None:
                continue
            bench.do(event)
            if act == "withdraw":
                own.pop(key, None)
            elif act != "repair":
                own[key] = "read"
        _holds(bench, own, just_left_out=(act, key) == ("skip", LEAD))
    _same(bulk_state(bench.records), bench.state)
    assert state(bench.records) == bench.state
    assert bench.state.violations == ()


def _holds(bench: Bench, own: dict[tuple[str, str], str], *, just_left_out: bool) -> None:
    for key in OTHERS:
        entry = bench.state.entries.get(key)
        along = entry is not None and isinstance(entry.event, Skipped) and bool(entry.event.left_out_with)
        if along:
            assert own.get(LEAD) == "skip"
        elif key not in own:
            assert entry is None
        if just_left_out:
            assert bench.standing(key) in {Standing.SKIPPED, Standing.PASSED}


def _same(fast: RunState, careful: RunState) -> None:
    assert fast.entries == careful.entries
    assert all(fast.standing(item) is careful.standing(item) for item in careful.items)


def test_someone_without_a_variable_transformer_says_so_once_and_the_log_says_it_of_each(
    tmp_path: Path,
) -> None:
    with walked(begun(tmp_path), lambda item: item.step == "low-mains") as live:
        live.skip("low-mains", "", NO_VARIAC)
        left = [item for item in live.state.items if item.spec.id == "low-mains-outputs"]
        assert left
        assert {live.state.standing(item) for item in left} == {Standing.SKIPPED}
        rows = [row for row in assess_state(live.state).readings if row.step.startswith("low-mains-outputs")]
        assert {row.verdict for row in rows} == {"not done"}
        assert all(NO_VARIAC in row.note and "Mains lowered" in row.note for row in rows)
        assert len(rows) == len(left)
        written = _left_out(read(live.journal.path))
        assert written == {item.key for item in left}
        live.withdraw(live.state.entries["low-mains", ""].seq, "borrowed one")
        assert {live.state.standing(item) for item in left} == {Standing.NOT_DONE}
        walk(live, lambda item: item.step == "low-mains")
        with pytest.raises(AskAgain, match="231 V; this step wants mains lowered to about 207 V"):
            live.read("low-mains", "", "231 V")
        live.read("low-mains", "", "231 V", confirmed=True)
        said = live.state.entries["low-mains", ""].event
        assert isinstance(said, Reading)
        assert said.confirmed
        assert "mains lowered to about 207 V" in said.note
        live.read("low-mains", "", "207 V")
        walk(live, lambda item: item.spec.id == "low-mains-outputs")


def test_line_by_line_what_goes_with_it_is_named_before_the_reason_is_given(tmp_path: Path) -> None:
    with create_run(
        tmp_path, tag="CR-07", procedure_name="short", opened=b.opened(PROCEDURE), clock=HandClock()
    ) as journal:
        path = journal.path
    said = held(tmp_path, path, "jump Mains lowered", "skip", NO_VARIAC, "quit")
    for key in OTHERS:
        assert said.index(f"Output, mains low: {key[1]}") < said.index("Reason?")
    left = [record.event for record in read(path) if isinstance(record.event, Skipped)]
    assert [(event.step, event.subject) for event in left] == [LEAD, *OTHERS]


def _left_out(records: Sequence[Record]) -> set[tuple[str, str]]:
    return {
        (each.event.step, each.event.subject)
        for each in records
        if isinstance(each.event, Skipped) and each.event.left_out_with == "low-mains"
    }
