"""The bench as rows: the state of a supply in word and mark, what comes next, searching."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.analysis.history_glance import Aged, Glance
from ohmward.desk.bench_rows import (
    BenchLook,
    SheetRow,
    SupplyRow,
    counted,
    matches,
    supply_rows,
    to_do_rows,
    to_do_words,
)
from ohmward.logbook import RunEntry

TODAY = date(2026, 3, 10)


def sheet(tag: str, problem: str = "") -> SheetRow:
    return SheetRow(path=Path(f"supplies/{tag}.toml"), tag=tag, title=f"Supply {tag}", problem=problem)


def glance(tag: str, passed: str, verdict: str = "pass", *, simulated: bool = False, **more: Any) -> Glance:
    return Glance(
        tag=tag, runs=1, last_at=f"{passed}T10:00:00+01:00", last_procedure="retest", last_verdict=verdict,
        first_at=f"{passed}T10:00:00+01:00", simulated=simulated,
        good_at=f"{passed}T10:00:00+01:00" if "pass" in verdict else "", **more,
    )  # fmt: skip


def run(tag: str, day: str, *, simulated: bool = False, **more: Any) -> RunEntry:
    plain: dict[str, Any] = {
        "path": Path(f"runs/{tag}/{day}-01-retest.jsonl"), "name": f"{tag}/{day}-01-retest", "tag": tag,
        "date": day, "procedure": "retest", "operator": "bench A", "last_at": f"{day}T11:00:00+01:00",
        "records": 7, "simulated": simulated,
    }  # fmt: skip
    return RunEntry(**{**plain, **more})


def one(look: BenchLook) -> SupplyRow:
    (row,) = supply_rows(look)
    return row


def look(*glances: Glance, runs: tuple[RunEntry, ...] = (), problem: str = "") -> BenchLook:
    tags = dict.fromkeys([each.tag for each in glances] or ["CR-07"])
    return BenchLook(
        today=TODAY, sheets=tuple(sheet(tag, problem) for tag in tags), at_hand=runs, glances=glances
    )


# A year between tests: common practice, no source (the default interval of the history).
@pytest.mark.parametrize(
    ("found", "state", "following"),
    [
        (glance("CR-07", "2026-01-02"), "✓ pass", "retest 2027-01-02"),
        (glance("CR-07", "2026-01-02", "conditional pass"), "✓ pass with conditions", "retest 2027-01-02"),
        (glance("CR-07", "2026-01-02", "fail"), "✗ fail", "after-repair: now"),
        (glance("CR-07", "2026-01-02", "conditional fail"), "✗ fail", "after-repair: now"),
        (glance("CR-07", "2026-01-02", "incomplete"), "? not finished", "retest: now"),
        (glance("CR-07", "2025-03-30"), "! due", "retest 2026-03-30"),
        (glance("CR-07", "2025-03-09"), "‼ overdue", "retest, due 2026-03-09"),
        (glance("CR-07", "2025-04-20"), "✓ pass", "retest 2026-04-20"),
    ],
)
def test_every_state_has_a_word_and_a_mark(found: Glance, state: str, following: str) -> None:
    row = one(look(found))
    assert (str(row.state), row.following) == (state, following)
    assert row.cells[1] == state


def test_a_supply_without_a_run_was_never_tested_and_begins_with_commissioning() -> None:
    row = one(look())
    assert (str(row.state), row.following) == ("· never tested", "commissioning")


def test_a_run_in_hand_comes_before_what_was_found_earlier() -> None:
    row = one(look(glance("CR-07", "2024-01-02"), runs=(run("CR-07", "2026-03-09"),)))
    assert (str(row.state), row.following) == ("▸ in hand", "resume the run: r")


def test_a_rehearsal_in_hand_says_nothing_of_the_real_supply() -> None:
    row = one(look(glance("CR-07", "2026-01-02"), runs=(run("CR-07", "2026-03-09", simulated=True),)))
    assert str(row.state) == "✓ pass"


def test_what_is_known_by_rehearsals_only_is_marked_and_stands_last() -> None:
    rows = supply_rows(look(glance("CR-02", "2026-01-02", simulated=True), glance("CR-11", "2026-01-02")))
    assert [row.tag for row in rows] == ["CR-11", "CR-02"]
    assert rows[1].cells[1] == "REHEARSAL ✓ pass"
    assert "REHEARSALS only" in rows[1].words


def test_a_sheet_that_cannot_be_read_says_so_instead_of_a_state() -> None:
    row = one(look(problem="CR-07.toml: mains.voltage: missing"))
    assert row.state.word == "sheet cannot be read"
    assert "missing" in row.cells[3] or "missing" in row.words


def test_while_journals_are_read_no_state_is_claimed() -> None:
    known = BenchLook(today=TODAY, sheets=(sheet("CR-07"),), at_hand=(), complete=False)
    assert str(one(known).state) == "… being read"


def test_a_supply_whose_sheet_is_gone_is_still_listed() -> None:
    known = BenchLook(today=TODAY, sheets=(), at_hand=(), glances=(glance("CR-11", "2026-01-02"),))
    assert one(known).tag == "CR-11"
    assert "no design sheet" in one(known).words


def test_tags_are_in_the_order_a_person_counts() -> None:
    rows = supply_rows(look(*(glance(f"CR-{n}", "2026-01-02") for n in (10, 2, 1))))
    assert [row.tag for row in rows] == ["CR-1", "CR-2", "CR-10"]


def test_what_there_is_to_do_begins_with_runs_in_hand_then_damage_then_what_is_due() -> None:
    runs = (
        run("CR-02", "2026-03-08", closed=True, verdict="fail"),
        run("CR-07", "2026-03-09"),
        run("CR-01", "2026-03-07", problem="line 3 is damaged"),
    )
    aged = Aged(
        what="Reservoir capacitance left (24)", now=84.0, then=100.0, unit="%", at="2027-01-01",
        low="2026-05-01", high="", goal="the end of its life",
    )  # fmt: skip
    rows = to_do_rows(
        look(glance("CR-11", "2025-01-01"), glance("CR-12", "2026-02-20", ageing=(aged,)), runs=runs)
    )
    assert [(str(row.sign), row.tag) for row in rows] == [
        ("▸ in hand", "CR-07"),
        ("✗ damaged", "CR-01"),
        ("‼ overdue", "CR-11"),
        ("! due", "CR-12"),
        ("✗ fail", "CR-02"),
    ]
    assert "may reach the end of its life" in to_do_words(rows[3])
    assert "Enter goes on with it" in to_do_words(rows[0])


def test_what_is_due_in_more_than_a_month_is_not_to_do() -> None:
    assert to_do_rows(look(glance("CR-11", "2025-06-01"))) == ()


def test_rehearsals_are_due_last_and_are_not_counted_as_overdue() -> None:
    found = look(glance("CR-02", "2020-01-01", simulated=True), glance("CR-11", "2025-01-01"))
    rows = to_do_rows(found)
    assert [row.tag for row in rows] == ["CR-11", "CR-02"]
    assert rows[1].cells[2].startswith("REHEARSAL ")
    assert counted(supply_rows(found), rows) == "2 supplies · 1 overdue"


def test_a_run_whose_last_line_was_cut_off_says_what_opening_does() -> None:
    (row,) = to_do_rows(look(runs=(run("CR-07", "2026-03-09", torn=True),)))
    assert "sets the rest aside" in to_do_words(row)


@given(st.lists(st.text(alphabet="abcXYZ -Ω7", min_size=1, max_size=6), min_size=1, max_size=4))
def test_a_row_is_found_by_any_part_of_it_in_any_case(cells: list[str]) -> None:
    assert matches("", cells)
    for cell in cells:
        assert matches(cell.upper().lower(), cells)
        assert not matches(f"{cell}#", cells)
