"""The history of a supply: baseline, breaks, rehearsals kept apart, one line for each, what is due."""

from __future__ import annotations

import re
from datetime import date

import msgspec
import pytest

from ohmward.analysis.history import baseline_run, history, sheet_changes
from ohmward.analysis.history_baseline import (
    baseline_for,
    baseline_of,
    baseline_words,
    compared,
    comparison_words,
    earlier_run,
)
from ohmward.analysis.history_capacitor import reservoir_life
from ohmward.analysis.history_facts import PastRun, years_between
from ohmward.analysis.history_glance import add_months, due, glance, margin_of
from ohmward.analysis.history_scaling import design_of
from ohmward.logbook.events import Opened
from ohmward.procedure import expand, load, load_limits
from ohmward.report.history_text import history_text
from support.aged import RAIL, TAG, sheet_text
from support.drying import World, reading, years

TODAY = date(2026, 6, 1)


def healthy(seed: int = 1) -> list[PastRun]:
    return years(World(loss_per_year=0.0, other=True), seed)


def change(runs: list[PastRun], index: int, **fields: object) -> list[PastRun]:
    return [*runs[:index], msgspec.structs.replace(runs[index], **fields), *runs[index + 1 :]]


def test_the_first_good_run_is_the_baseline_unless_another_is_named() -> None:
    runs = change(healthy(), 0, verdict="fail")
    assert history(runs).baseline == runs[1].run
    assert history(list(reversed(runs))).baseline == runs[1].run
    named = history(runs, baseline=runs[3].run)
    assert (named.baseline, named.baseline_named) == (runs[3].run, True)
    with pytest.raises(ValueError, match="no run 'CR-99/x'"):
        history(runs, baseline="CR-99/x")
    with pytest.raises(ValueError, match="needs a run"):
        history([])


def test_a_run_left_open_is_read_and_never_a_baseline_where_a_good_one_is() -> None:
    runs = change(healthy(), 0, closed=False, verdict="")
    assert history(runs).baseline == runs[1].run
    assert history(runs[:1]).baseline == runs[0].run


def test_a_repair_is_a_break_and_trends_do_not_go_across() -> None:
    runs = years(World(loss_per_year=0.03), 3)
    broken = change(runs, 5, repairs=(("2024-03-01T12:00:00+01:00", "reservoir replaced"),))
    found = history(broken)
    assert [each.run for each in found.breaks] == [runs[5].run]
    assert "reservoir replaced" in found.breaks[0].why
    assert found.baseline == runs[5].run
    series = found.one("capacitance", RAIL)
    assert series is not None
    assert (len(series.points), series.trend) == (3, None)
    named = history(broken, baseline=runs[0].run)
    left = named.one("capacitance", RAIL)
    assert named.across
    assert left is not None
    assert left.points[0].value == pytest.approx(100.0)
    across = history(broken, across=True).one("capacitance", RAIL)
    assert across is not None
    assert len(across.points) == 8
    assert across.trend is not None


def test_a_changed_design_is_a_break_and_says_what_changed_words_are_none() -> None:
    renamed = sheet_text().replace('title = "Turntable-motor', 'title = "The turntable-motor')
    larger = sheet_text().replace("22000 µF", "33000 µF")
    assert renamed != sheet_text() != larger
    assert sheet_changes(sheet_text(), renamed) == ()
    assert sheet_changes(sheet_text(), larger) == ("rails.24.reservoir.capacitance_f",)
    runs = [msgspec.structs.replace(run, sheet=larger) if n > 3 else run for n, run in enumerate(healthy())]
    found = history(runs)
    assert [each.run for each in found.breaks] == [runs[4].run]
    assert "capacitance_f" in found.breaks[0].why


def test_what_a_bleeder_may_burn_breaks_no_reading() -> None:
    rated = sheet_text().replace(', bleeder = "', ', bleeder_rating = "5 W", bleeder = "')
    assert sheet_changes(sheet_text(), rated) == ("rails.24.reservoir.bleeder_rating_w",)
    across = reading("bleeder", RAIL, "resistance", 2200.0, 0.0, unit="Ω", rail=RAIL)
    runs = [
        msgspec.structs.replace(run, sheet=rated if n > 3 else run.sheet, readings=(*run.readings, across))
        for n, run in enumerate(healthy())
    ]
    bleeder = history(runs).one("bleeder", RAIL)
    assert bleeder is not None
    assert [each.run for each in bleeder.points] == [run.run for run in runs]


def test_a_bleeder_put_on_the_sheet_breaks_its_own_reading_and_no_other() -> None:
    fitted = sheet_text()
    bare = re.sub(r', bleeder = "[^"]*"', "", fitted)
    assert sheet_changes(bare, fitted) == ("rails.24.reservoir.bleeder_ohm",)
    across = reading("bleeder", RAIL, "resistance", 2200.0, 0.0, unit="Ω", rail=RAIL)
    runs = [
        msgspec.structs.replace(run, sheet=fitted if n > 3 else bare, readings=(*run.readings, across))
        for n, run in enumerate(healthy())
    ]
    found = history(runs)
    assert [(each.run, each.whole) for each in found.breaks] == [(runs[4].run, False)]
    assert not found.broken
    assert found.baseline == runs[0].run
    left, bleeder = found.one("capacitance", RAIL), found.one("bleeder", RAIL)
    assert left is not None
    assert len(left.points) == 8
    assert bleeder is not None
    assert [each.run for each in bleeder.points] == [run.run for run in runs[4:]]
    assert bleeder.change is not None
    assert bleeder.change.then_run == runs[4].run
    text = history_text(found)
    assert ": design sheet changed: rails.24.reservoir.bleeder_ohm; only what that bears on" in text
    assert "BREAK" not in text
    mended = history(change(runs, 4, repairs=(("2023-03-01T12:00:00+01:00", "x"),)))
    assert mended.broken


def test_the_baseline_of_a_new_run_is_that_of_the_history() -> None:
    runs = healthy()
    mended = change(runs, 3, repairs=(("2022-03-01T12:00:00+01:00", "x"),))
    for each in (runs, change(runs, 0, verdict="fail"), mended, change(mended, 3, closed=False), runs[:1]):
        found = baseline_run(list(reversed(each)))
        assert found is not None
        assert found.run == history(each).baseline
    assert baseline_run([]) is None


def test_rehearsals_and_real_runs_are_never_in_one_trend() -> None:
    real, rehearsed = healthy(), [
        msgspec.structs.replace(run, simulated=True, run=f"{run.run}-r") for run in healthy(2)
    ]  # fmt: skip
    mixed = history([*real, *rehearsed])
    assert (mixed.simulated, mixed.rehearsals, len(mixed.runs)) == (False, 8, 8)
    assert not any(point.run.endswith("-r") for series in mixed.series for point in series.points)
    only = history(rehearsed)
    assert (only.simulated, only.rehearsals, len(only.runs)) == (True, 0, 8)
    assert glance([*real, *rehearsed]).simulated is False


def test_a_damaged_run_is_listed_and_not_used() -> None:
    runs = change(healthy(), 4, problem="line 7: changed", readings=())
    found = history(runs)
    assert found.runs[4].problem == "line 7: changed"
    assert all(point.run != runs[4].run for series in found.series for point in series.points)
    assert glance(runs).damaged == 1


def test_points_carry_what_they_were_read_with_and_make_a_tidy_table() -> None:
    found = history(healthy())
    series = found.one("load-points.output", f"{RAIL} @ 100 %")
    assert series is not None
    assert series.points[0].how == "at 230 V mains"
    assert series.points[-1].years == pytest.approx(7.0, abs=0.02)
    frame = found.frame()
    assert len(frame) == sum(len(each.points) for each in found.series)
    assert {"step", "subject", "unit", "at", "value", "own", "meter"} <= set(frame.columns)


def test_margins_by_hand() -> None:
    upper = reading("ripple", "", "x", 2.4, 0.01, limits=(None, 3.0))
    lower = reading("insulation", "", "x", 2e6, 0.01, limits=(1e6, None))
    both = reading("output", "", "x", 24.5, 0.01, limits=(22.0, 26.0))
    assert margin_of(upper) == pytest.approx((20.0, 3.0))
    assert margin_of(lower) == pytest.approx((100.0, 1e6))
    assert margin_of(both) == pytest.approx((75.0, 26.0))  # 1.5 V of a half band of 2 V
    assert margin_of(msgspec.structs.replace(upper, net=3.3)) == pytest.approx((-10.0, 3.0))
    assert margin_of(reading("x", "", "x", 1.0, 0.01)) is None
    assert margin_of(msgspec.structs.replace(upper, kind="above")) is None


@pytest.mark.parametrize(
    ("fields", "reason", "procedure"),
    [
        ({}, "interval", "retest"),
        ({"closed": False, "verdict": ""}, "not finished", "retest"),
        ({"verdict": "fail"}, "failed", "after-repair"),
        ({"verdict": "incomplete"}, "failed", "retest"),
        ({"repairs": (("2026-03-01T12:00:00+01:00", "switch replaced"),)}, "repaired", "after-repair"),
    ],
)
def test_what_is_due_follows_from_what_happened(
    fields: dict[str, object], reason: str, procedure: str
) -> None:
    found = due(glance(change(healthy(), 7, **fields)), TODAY)
    assert (found.reason, found.procedure) == (reason, procedure)
    assert found.words


def test_a_repair_asks_for_its_own_procedure_until_one_that_covers_it_has_passed() -> None:
    runs = change(healthy(), 5, repairs=(("2024-03-01T12:00:00+01:00", "switch replaced"),))
    assert due(glance(runs), TODAY).procedure == "after-repair"
    covered = change(runs, 6, procedure="after-repair")
    assert due(glance(covered), TODAY).procedure == "retest"


def test_intervals_count_from_the_last_pass_and_forecasts_come_sooner() -> None:
    steady = due(glance(healthy()), TODAY)
    assert steady.on == "2027-03-01"
    assert steady.overdue_days < 0
    assert due(glance(healthy()), TODAY, interval_months=3).on == "2026-06-01"
    old = years(World(loss_per_year=0.028), 5)
    assert glance(old).ageing
    soon = due(glance(old), TODAY)
    assert soon.reason == "forecast"
    assert soon.on < steady.on
    assert "may reach" in soon.words


def test_a_paper_run_is_history_and_no_proof_that_it_passed() -> None:
    runs = [msgspec.structs.replace(run, transcribed=True) for run in healthy()]
    assert history(runs).runs[0].transcribed
    assert due(glance(runs), TODAY).reason == "never tested"


def test_after_two_years_without_a_test_it_may_have_been_stored() -> None:
    assert due(glance(healthy()[:4]), TODAY).procedure == "long-storage"


@pytest.mark.parametrize(
    ("day", "months", "expected"),
    [
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2025, 8, 31), 1, date(2025, 9, 30)),
        (date(2025, 12, 15), 13, date(2027, 1, 15)),
    ],
)
def test_months_are_added_by_the_calendar(day: date, months: int, expected: date) -> None:
    assert add_months(day, months) == expected


def test_the_life_of_a_reservoir_by_the_10_k_rule() -> None:
    # 1000 h at 85 °C are 16 000 h at 45 °C (printed example of the rule); here 10 K above a room of 35 °C
    soaked = reading(
        "soak", "case @ 30 min", "temperature_c", 30.0, 0.005, unit="°C", room_c=20.0, elapsed_s=1800.0
    )
    run = PastRun(run="x", tag=TAG, at="2026-03-01T10:00:00+01:00", sheet=sheet_text(), readings=(soaked,))
    supply = design_of(sheet_text())
    found = reservoir_life(run, supply, supply.rail(RAIL), rated_h=1000.0)
    assert found is not None
    assert (found.temperature_c, found.hours) == (45.0, 16000.0)
    assert found.notes  # below 60 °C the rule is not exact
    assert (
        reservoir_life(PastRun(run="x", tag=TAG, at="", sheet=""), supply, supply.rail(RAIL), rated_h=1e3)
        is None
    )


def opened_with(earlier: PastRun, sheet: str) -> Opened:
    supply = design_of(sheet)
    keys = [item.key for item in expand(load("retest"), supply, load_limits("iec"), supply.parts)]
    return Opened(
        run="x", tag=TAG, operator="bench A", simulated=True, tool="t", sheet=sheet, procedure="", limits="",
        baseline=baseline_of(earlier, sheet, keys),
    )  # fmt: skip


def test_a_baseline_is_carried_whole_and_shown_beside_its_entry() -> None:
    earlier = healthy()[0]
    opened = opened_with(earlier, sheet_text())
    assert opened.baseline is not None
    assert opened.baseline.sheet == ""
    back = earlier_run(opened)
    assert back is not None
    supply = design_of(sheet_text())
    items = {item.key: item for item in expand(load("retest"), supply, load_limits("iec"), supply.parts)}
    item = items["ripple.output", f"{RAIL} @ 100 %"]
    shown = baseline_for(back, item)
    original = earlier.reading(item.key)
    assert shown is not None
    assert original is not None
    assert (shown.net, shown.own, shown.common) == (original.net, original.own, original.common)
    assert baseline_for(None, item) is None
    assert baseline_for(back, items["plug-body", ""]) is None
    words = baseline_words(back, msgspec.structs.replace(shown, note="at \x1b[31mTP3\nleft"))
    assert "2019" in words
    assert "scope S-0" in words
    assert "mains" in words
    assert "\x1b" not in words
    assert "\n" not in words


def test_the_comparison_with_what_is_carried_is_that_of_the_two_runs() -> None:
    runs = years(World(loss_per_year=0.03), 4)
    back = earlier_run(opened_with(runs[0], sheet_text()))
    assert back is not None
    found = compared(runs[-1], back)
    whole = history([runs[0], runs[-1]])
    assert [(each.key, each.verdict) for each in found] == [
        (each.change.key, each.change.verdict)
        for each in whole.series
        if each.change and each.key != ("output-no-load", "")
    ]
    lines = list(comparison_words(back, found))
    assert lines[0].startswith("Since 2019-03-01")
    assert any("capacitance" in line for line in lines)
    # a clock set wrong, and nothing read yet, change nothing and lose nothing
    wrong = msgspec.structs.replace(runs[-1], at="2001-01-01T00:00:00+00:00")
    assert [each.verdict for each in compared(wrong, back)] == [each.verdict for each in found]
    assert compared(msgspec.structs.replace(runs[-1], readings=()), back) == ()
    assert "Nothing to compare" in next(comparison_words(back, ()))


def test_years_are_counted_across_offsets() -> None:
    assert years_between("2020-01-01T00:00:00+00:00", "2020-01-01T01:00:00+01:00") == 0.0


def test_of_temperatures_the_margin_is_that_in_the_hottest_room() -> None:
    """52 °C in a room of 23 °C comes to 64 °C in one of 35 °C (the sheet's): past 55 °C, not 5 % short."""
    plain = reading("hot-terminals", "", "temperature_c", 52.0, 0.5, unit="°C", limits=(None, 55.0))
    case = reading("soak", "case @ 60 min", "temperature_c", 31.1, 0.5, unit="°C", limits=(None, 65.0))
    rows = (
        msgspec.structs.replace(plain, room_c=23.0),
        msgspec.structs.replace(case, room_c=23.0, elapsed_s=3600.0),
    )
    run = PastRun(
        run=f"{TAG}/1", tag=TAG, at="2026-03-01T10:00:00+01:00", sheet=sheet_text(), readings=rows,
        closed=True, verdict="pass", procedure="commissioning",
    )  # fmt: skip
    found = glance([run])
    assert found.margin_what.startswith(plain.title)
    assert "in the hottest room" in found.margin_what
    assert found.margin_value == pytest.approx(64.0)
    assert found.margin_pct == pytest.approx(100.0 * (55.0 - 64.0) / 55.0)
