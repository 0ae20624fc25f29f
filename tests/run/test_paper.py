"""A run copied from paper: it holds what the paper says, and leads to no energised step whatever comes."""

from __future__ import annotations

import msgspec
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
    Opened,
    Overridden,
    Parts,
    Repaired,
    SeriesBegun,
    SeriesChannel,
    Skipped,
    SwitchedOff,
    Transcribed,
)
from ohmward.run.answering import answered
from ohmward.run.gates import admit, energise_blockers
from ohmward.run.guidance import guidance
from ohmward.run.state import Phase, Standing, advance, state
from support import bench as b

ALL_GOOD: list[Event] = [
    b.passed("plug"), b.passed("label"), b.passed("vents"), b.reading("lead-null"),
    b.reading("earth", "case"), b.reading("earth", "front panel"), b.reading("insulation"),
]  # fmt: skip


def paper(**changes: str) -> Opened:
    copied = Transcribed(date="2019-05-03", by="bench B", source="blue folder")
    return msgspec.structs.replace(b.opened(), transcribed=msgspec.structs.replace(copied, **changes))


def test_paper_takes_what_a_paper_says_without_the_gates_of_a_bench() -> None:
    live = b.reading("load-points.output", "+15 @ 100 %", "15")
    end = b.reading("residual", "+15", "0")
    result = b.folded(paper(), Repaired(what="reservoir replaced"), live, *ALL_GOOD, end, Noted(text="x"))
    assert result.violations == ()
    assert result.standing(result.item("load-points.output", "+15 @ 100 %")) is Standing.PASSED
    assert result.phase is Phase.PAPER
    assert guidance(result).move == "close"
    assert advance(result, b.record(50, Closed(verdict="incomplete", records=50))).phase is Phase.CLOSED


@pytest.mark.parametrize(
    "event",
    [
        Energised(), Acknowledged(stage="no-load"), CaseOpened(), CaseShut(), SwitchedOff(),
        Skipped(step="insulation", reason="not on paper"), Overridden(step="vents", reason="so be it"),
        SeriesBegun(
            step="soak", channels=(SeriesChannel(name="a", meter="m", function="f", unit="V"),),
            interval_s=1, duration_s=9,
        ),
    ],
)  # fmt: skip
def test_what_happens_at_a_bench_is_refused_on_paper(event: Event) -> None:
    result = b.folded(paper(), *ALL_GOOD)
    with pytest.raises(Refused, match=r"copied from paper.*Start a new run at the bench"):
        admit(result, event)
    after = advance(result, b.record(50, event))  # a journal written by something else
    assert (after.phase, len(after.violations)) == (Phase.PAPER, 1)


def test_a_paper_on_which_every_dead_test_passed_is_no_proof_for_mains() -> None:
    result = b.folded(paper(), *ALL_GOOD)
    assert energise_blockers(result)[0].startswith("the run is copied from paper")


def test_a_failed_danger_of_the_paper_is_not_amended_away() -> None:
    result = b.folded(paper(), b.failed("plug"))
    with pytest.raises(Refused, match="danger"):
        admit(result, Amended(seq=1, reason="typed wrong", answer=b.passed("plug")))
    with pytest.raises(Refused, match="what was mended"):
        admit(result, b.passed("plug"))


ANYTHING = st.sampled_from(
    [
        *ALL_GOOD, Energised(), SwitchedOff(), CaseOpened(), CaseShut(), Acknowledged(stage="no-load"),
        Acknowledged(stage="loaded"), Repaired(what="x"), Parts(names=("case", "front panel")),
        Skipped(step="insulation", reason="x"), Overridden(step="vents", reason="x"), b.failed("plug"),
        b.passed("plug", note="new"), b.reading("output", "+15", "15"), b.reading("residual", "+15", "0"),
        Amended(seq=1, reason="x"), Answered(step="vents", answer="not applicable"), Noted(text="x"),
        b.opened(),
    ]
)  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(st.lists(ANYTHING, max_size=40))
def test_no_sequence_of_records_makes_a_run_copied_from_paper_live(events: list[Event]) -> None:
    records = [b.record(seq, event) for seq, event in enumerate([paper(), *ALL_GOOD, *events])]
    result = state(records)
    assert result.phase is Phase.PAPER
    assert result.energised_seq == -1
    assert energise_blockers(result)


@settings(max_examples=100, deadline=None)
@given(st.lists(ANYTHING, max_size=20))
def test_what_a_paper_says_counts_for_nothing_in_a_run_at_the_bench(events: list[Event]) -> None:
    """The fold knows one journal: a second first record, of paper or not, is refused in it."""
    result = b.folded(b.opened(), paper(), *events)
    assert result.violations[0][0] == 1
    assert result.phase is not Phase.PAPER


@pytest.mark.parametrize("date", ["", "20190503", "3.5.2019", "2019-13-01", "2019-W18-5", "yesterday"])
def test_a_date_that_is_none_is_refused_when_built_and_when_read(date: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        paper(date=date)
    whole = msgspec.json.encode(paper()).replace(b"2019-05-03", date.encode())
    with pytest.raises(msgspec.ValidationError):
        msgspec.json.decode(whole, type=Opened)


def test_what_a_paper_says_was_waited_for_is_taken_in_the_order_of_the_paper() -> None:
    timed = b.PROCEDURE.replace('id = "unplugged"\n', 'id = "unplugged"\nwait_from = "switched-off"\n')
    opened = msgspec.structs.replace(paper(), procedure=timed)
    result = b.folded(opened)  # its sheet gives no bleeder, and nothing is read yet
    assert answered(result, ("unplugged", ""), "pass", "", None).answer == "pass"
    with pytest.raises(Refused):
        answered(
            b.folded(msgspec.structs.replace(opened, transcribed=None)), ("unplugged", ""), "pass", "", None
        )
