"""A closed run whose readings point to a fault is never shown as simply passed: bench and due say it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import msgspec

from ohmward.analysis.history_glance import Glance, due
from ohmward.desk.bench_rows import state_of
from ohmward.logbook.events import Closed
from ohmward.run import guidance
from ohmward.run.state import Phase, RunState

TITLE = "The reservoir has dried out (-15)"
PASSED = Glance(
    tag="CR-07", last_at="2026-03-01T10:00:00+01:00", last_procedure="commissioning",
    last_verdict="conditional pass", good_at="2026-03-01T10:00:00+01:00", good_run="CR-07/x",
)  # fmt: skip


def test_a_likely_fault_makes_it_due_at_once_and_is_its_state() -> None:
    likely = msgspec.structs.replace(PASSED, likely_fault=TITLE)
    today = date(2026, 3, 2)
    when, plain = due(likely, today), due(PASSED, today)
    word = state_of(PASSED, plain, in_hand=False).word
    assert (plain.reason, word) == ("interval", "pass with conditions")
    assert when.reason == "likely fault"
    assert when.procedure == "after-repair"
    assert TITLE in when.words
    assert state_of(likely, when, in_hand=False).word == "fault likely"


def test_a_run_closed_before_that_was_kept_reads_as_it_did() -> None:
    old = msgspec.json.decode(b'{"verdict":"pass","records":7}', type=Closed)
    assert old.likely_fault == ""


def test_where_a_closed_run_is_looked_at_what_it_came_to_is_said_with_it() -> None:
    closed = replace(RunState(), phase=Phase.CLOSED, closed=Closed(verdict="pass", records=3))
    assert guidance(closed).text == "The run is closed: PASS. Nothing can be added to it."
    fault = Closed(verdict="conditional pass", records=3, likely_fault=TITLE)
    assert guidance(replace(closed, closed=fault)).text == (
        f"The run is closed: FAULT LIKELY – {TITLE}. Nothing can be added to it."
    )
