"""Rows, filters and pictures of an assessment, and where a ± comes from: plain functions of sample runs.

The samples are runs of the simulated supply; what is expected here is counted in the journal itself, or
is an identity that must hold whatever the numbers are.
"""

from __future__ import annotations

import dataclasses
import math
from functools import cache
from pathlib import Path

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.analysis.cause_words import percent
from ohmward.analysis.rows import Cause, HistoryRow, MissingRow, ReadingRow
from ohmward.analysis.summary import summary
from ohmward.desk import assessment_parts as parts
from ohmward.desk import assessment_pictures as pictures
from ohmward.desk.assessment_filter import KINDS, Filter, Place, filter_words, listed, places
from ohmward.desk.assessment_rows import (
    missing_lines,
    name_of,
    override_cells,
    reading_cells,
    reading_lines,
    row_cells,
    short_name,
    value_of,
)
from ohmward.desk.budget_rows import budget_told
from ohmward.logbook import read
from ohmward.report.document.blocks import Fields
from ohmward.report.document.documents import full, repair
from ohmward.report.document.words import load_words
from ohmward.report.plots import Material, material
from ohmward.report.text import assessment_text
from ohmward.run import state
from ohmward.run.state import RunState
from support.reports import FAULTY, HEALTHY, INTERRUPTED, RUNS, source

WAVES = sorted(RUNS.glob("*-commissioning.jsonl"))[-1]  # made on the day the samples were


@cache
def run_of(path: Path) -> tuple[RunState, Material]:
    folded = state(read(path))
    return folded, material(folded, path.parent)


def test_filters_split_the_readings_by_what_they_are() -> None:
    folded, found = run_of(FAULTY)
    result = found.assessment
    everything = listed(result, folded, Filter())
    assert everything == list(result.readings)
    failed = listed(result, folded, Filter(kind="failed"))
    assert failed
    assert all(row.failed for row in failed if isinstance(row, ReadingRow))
    assert len(failed) == sum(row.failed for row in result.readings)
    odd = listed(result, folded, Filter(kind="unexpected"))
    assert len(odd) == sum(row.as_expected is False for row in result.readings)
    assert len(listed(result, folded, Filter(kind="gone on with"))) == sum(
        bool(row.override) for row in result.readings
    )


def test_not_done_lists_what_is_missing_in_the_order_of_the_procedure() -> None:
    folded, found = run_of(INTERRUPTED)
    rows = listed(found.assessment, folded, Filter(kind="not done"))
    missing = {(row.step, row.subject) for row in found.assessment.missing}
    assert missing
    assert missing <= {(row.step, row.subject) for row in rows}
    assert len(rows) == len({(row.step, row.subject) for row in rows})
    order = [item.key for item in folded.items]
    at = [order.index((row.step, row.subject)) for row in rows]
    assert at == sorted(at)
    first = next(row for row in rows if isinstance(row, MissingRow))
    assert row_cells(first)[3] in {"NOT DONE", "STALE"}
    assert missing_lines(first)[0] == name_of(first.title, first.subject)


def test_a_stage_and_a_rail_are_places_and_words_narrow_what_is_left() -> None:
    folded, found = run_of(FAULTY)
    names = dict(places(folded))
    assert next(iter(names)) == "everywhere"
    rail = names["rail 24"]
    rows = listed(found.assessment, folded, Filter(place=rail))
    assert rows
    assert {folded.by_key[row.step, row.subject].rail for row in rows} == {"24"}
    stage = next(place for place in names.values() if place.stage)
    assert {row.stage for row in listed(found.assessment, folded, Filter(place=stage))} <= {stage.stage}
    ripple = listed(found.assessment, folded, Filter(place=rail, words="RIPPLE fail"))
    assert ripple
    assert all("ripple" in name_of(row.title, row.subject).lower() for row in ripple)
    words = filter_words(Filter(kind="failed", place=rail, words="x"), folded, 3, 9)
    assert words == "Listed: failed, rail 24, with 'x' – 3 of 9"


@given(st.sampled_from(KINDS), st.text(max_size=8), st.booleans())
def test_no_filter_lists_what_is_not_there_or_anything_twice(kind: str, words: str, railed: bool) -> None:
    folded, found = run_of(FAULTY)
    place = Place(rail="24") if railed else Place()
    rows = listed(found.assessment, folded, Filter(kind=kind, place=place, words=words))  # type: ignore[arg-type]
    keys = [(row.step, row.subject) for row in rows]
    assert len(keys) == len(set(keys))
    known = {*found.assessment.readings, *found.assessment.missing}
    assert set(rows) <= known


def test_what_a_remark_is_stands_once_in_its_row() -> None:
    result = run_of(HEALTHY)[1].assessment
    told = HistoryRow(at="2026-03-02T10:00:00+01:00", kind="note", text="a fan in the room")
    mended = msgspec.structs.replace(told, kind="repair", title="Earth continuity", subject="lid")
    rows = override_cells(msgspec.structs.replace(result, history=(told, mended)))
    assert rows[-2] == ("·", "note", "2026-03-02 10:00: a fan in the room")
    assert rows[-1] == ("·", "Earth continuity: lid", "2026-03-02 10:00, repair: a fan in the room")


def test_the_kinds_come_round() -> None:
    kind, seen = Filter(), []
    for _ in KINDS:
        seen.append(kind.kind)
        kind = Filter(kind=kind.next_kind())
    assert tuple(seen) == KINDS
    assert kind.kind == "all"


def test_a_reading_that_passes_and_is_unexpected_is_not_marked_as_plainly_good() -> None:
    result = run_of(FAULTY)[1].assessment
    row = next(row for row in result.readings if row.as_expected is False and row.verdict == "pass")
    cells = reading_cells(row)
    assert cells[0] == "!"
    assert cells[3] == "PASS, unexpected"
    lines = "\n".join(reading_lines(row))
    assert "✓ PASS" in lines
    assert "NOT what the design predicts" in lines
    assert f"{value_of(row)} ±" in lines


def test_a_bound_has_no_uncertainty_beside_it() -> None:
    row = next(row for row in run_of(HEALTHY)[1].assessment.readings if row.raw.startswith(">"))
    head = reading_lines(row)[1]
    assert head.startswith("> ")
    assert "±" not in head.partition(" · ")[0]


@given(st.text(max_size=60), st.text(max_size=30), st.integers(10, 60))
def test_a_name_is_cut_to_its_width(title: str, subject: str, width: int) -> None:
    assert len(short_name(title, subject, width)) <= width


def test_a_name_is_cut_in_the_title_so_that_rows_stay_apart() -> None:
    title = "All rails at full load together, reservoir"
    one = short_name(title, "24 @ 100 %", 44)
    other = short_name(title.replace("reservoir", "output"), "24 @ 100 %", 44)
    assert one != other
    assert one.endswith(": 24 @ 100 %")


def test_what_is_made_safe_comes_before_what_is_done_with_it() -> None:
    causes = run_of(FAULTY)[1].assessment.causes
    assert causes
    for cause in causes:
        leads = [lead for lead, _ in parts.cause_lines(cause)]
        if cause.make_safe:
            assert leads.index("First") < leads.index("To make sure")
        assert leads.count("Decided by") == len(cause.because)
        # its readings lie in no range of a sound unit: none of them is evidence for one
        assert cause.against == ()


def test_what_speaks_against_a_cause_is_told_wherever_the_cause_is() -> None:
    run = source(FAULTY)
    said = "Ripple frequency (24): passed"
    first, *others = run.assessment.causes
    causes = (msgspec.structs.replace(first, against=(said,)), *others)
    found = msgspec.structs.replace(run.assessment, causes=causes)
    found = msgspec.structs.replace(found, summary=summary(found, run.facts))
    told = [words for lead, words in parts.cause_lines(causes[0]) if lead == "Against it"]
    assert told == [said]
    assert any(line.startswith("Most likely") and f"Against it: {said}." in line for line in found.summary)
    assert f"against it: {said}" in " ".join(assessment_text(found).split())
    told_of = dataclasses.replace(run, assessment=found)
    assert f"Against it: {said}" in msgspec.json.encode(full(load_words(), told_of)).decode()
    fields = [
        row
        for block in repair(load_words(), told_of).blocks
        if isinstance(block, Fields)
        for row in block.rows
    ]
    assert ("Against it", said) in fields


@given(st.floats(0, 1))
def test_no_cause_is_called_certain_or_impossible(probability: float) -> None:
    words = percent(probability)
    assert words not in {"0 %", "100 %"}
    cause = Cause(fault="x", subject="", title="t", probability=probability)
    bar = parts.cause_lines(cause)[0][1].partition("  ")[0]
    assert len(bar) == parts.BAR_WIDTH


def test_the_lines_of_a_summary_are_parted_at_what_they_ask_for_and_lose_nothing() -> None:
    for path in (HEALTHY, FAULTY, INTERRUPTED):
        for line in run_of(path)[1].assessment.summary:
            lead, rest = parts.summary_parts(line)
            assert f"{lead} {rest}".split() == line.split()
    assert parts.summary_parts("Mend: Ripple: 3 V.") == ("Mend:", "Ripple: 3 V.")
    assert parts.summary_parts("Most likely (99 %): a diode.")[0] == "Most likely (99 %):"
    assert parts.summary_parts("REHEARSAL. CR-07: Fails.")[0] == ""
    assert parts.lead_style("Do not power it:") == "bad"


def test_rails_soaks_and_waveforms_have_a_row_and_lines_each() -> None:
    _, found = run_of(WAVES)
    result = found.assessment
    assert len(result.rails) == 4
    for name, rail in result.rails.items():
        assert len(parts.rail_cells(name, rail)) == len(parts.RAIL_HEADINGS)
        assert name in parts.rail_words(name, rail)[0]
    for soak in result.soaks:
        cells = parts.soak_cells(soak)
        assert len(cells) == len(parts.SOAK_HEADINGS)
        assert parts.soak_words(soak, 40.0)[0].startswith(soak.sensor)
    assert result.waveforms
    for wave in result.waveforms:
        assert len(parts.wave_cells(wave)) == len(parts.WAVE_HEADINGS)
        assert any(wave.file in line for line in parts.wave_words(wave))


def test_a_sensor_that_may_get_too_hot_is_said_to_in_words() -> None:
    soak = next(row for row in run_of(WAVES)[1].assessment.soaks if row.at_max_ambient_c is not None)
    hot = msgspec.structs.replace(soak, limit_c=(soak.at_max_ambient_c or 0.0) - 1.0)
    assert parts.soak_cells(hot)[0] == "✗"
    assert any("MAY PASS ITS LIMIT" in line for line in parts.soak_words(hot, 40.0))


def test_a_rail_is_drawn_with_its_readings_its_band_and_its_limits() -> None:
    folded, found = run_of(FAULTY)
    drawn = pictures.rail_picture(folded, found.facts, "24")
    assert drawn is not None
    loads = [
        item.load_a for item in folded.items
        if item.rail == "24" and item.kind == "sweep" and not item.together
        and item.read is not None and item.read.quantity == "output_v" and item.stage == "loaded"
    ]  # fmt: skip
    assert len(drawn.read[0].x) == len(loads)
    assert len(drawn.band) == 2
    assert len(drawn.limits) == 2
    assert drawn.y_span[0] <= min(drawn.read[0].y)
    assert pictures.rail_picture(folded, found.facts, "no such rail") is None


def test_a_soak_is_drawn_beyond_its_record_to_where_it_settles() -> None:
    folded, found = run_of(WAVES)
    soak = next(row for row in found.assessment.soaks if row.enough_data and row.final_c is not None)
    drawn = pictures.soak_result_picture(folded, soak)
    assert drawn is not None
    (line,) = drawn.forecast
    assert line.x[-1] == pytest.approx(drawn.x_span[1])
    assert line.y[0] == pytest.approx(soak.last_c)
    # one exponential: the distance to the end falls by e in each time constant
    assert soak.final_c is not None
    assert soak.time_constant_s is not None
    span_min = line.x[-1] - line.x[0]
    left = (soak.final_c - soak.last_c) * math.exp(-span_min * 60.0 / soak.time_constant_s)
    assert soak.final_c - line.y[-1] == pytest.approx(left, abs=1e-6)
    short = msgspec.structs.replace(soak, enough_data=False)
    undrawn = pictures.soak_result_picture(folded, short)
    assert undrawn is not None
    assert undrawn.forecast == ()


def test_a_waveform_is_drawn_for_a_few_cycles_of_the_mains() -> None:
    _, found = run_of(WAVES)
    drawn = pictures.wave_picture(found.facts, found.assessment.waveforms[0])
    assert drawn is not None
    assert drawn.x_span[1] - drawn.x_span[0] <= 3 * 20.0 + 1e-6  # three cycles of 50 Hz, in ms
    bare = msgspec.structs.replace(found.facts, captures=())
    assert pictures.wave_picture(bare, found.assessment.waveforms[0]) is None


@pytest.mark.parametrize("width", [60, 80, 140, 250])
def test_every_line_of_bars_fits_and_shows_where_the_reading_is(width: int) -> None:
    folded, found = run_of(FAULTY)
    rows = pictures.bar_rows(listed(found.assessment, folded, Filter()), width)
    assert rows
    shared = pictures.columns(width)
    for row, cells in rows:
        assert len(cells) == len(pictures.LIMITS_HEADINGS)
        assert len(cells[1]) <= shared.name
        assert len(cells[2]) in {0, shared.bar}
        if isinstance(row, ReadingRow) and row.net is not None:
            assert sum(cells[2].count(mark) for mark in "●◀▶") == 1
    outside = next(cells for row, cells in rows if isinstance(row, ReadingRow) and row.failed)
    assert outside[0] == "✗"


def test_where_the_uncertainty_comes_from_adds_up_to_what_was_judged() -> None:
    folded, found = run_of(HEALTHY)
    row = next(row for row in found.assessment.readings if row.quantity == "output_v" and row.uncertainty)
    heading, lines = budget_told(folded, row.step, row.subject)
    assert name_of(row.title, row.subject) in heading
    shares = [int(line.rpartition(" %")[0].split()[-1]) for line in lines if "█" in line or "····" in line]
    assert abs(sum(shares) - 100) <= len(shares)
    assert any(line.startswith("Result:") and "nearest limit" in line for line in lines)


def test_a_reading_that_does_not_stand_has_no_budget_and_says_so() -> None:
    folded, _ = run_of(INTERRUPTED)
    missing = run_of(INTERRUPTED)[1].assessment.missing[0]
    heading, lines = budget_told(folded, missing.step, missing.subject)
    assert heading
    assert " stands " in lines[0]


def test_an_overrange_reading_says_that_its_uncertainty_is_of_the_end_of_the_range() -> None:
    folded, found = run_of(HEALTHY)
    bound = next(row for row in found.assessment.readings if row.raw.startswith(">") and row.meter)
    _, lines = budget_told(folded, bound.step, bound.subject)
    assert not any(line.startswith("Result:") for line in lines)
