"""A history as rows and as a picture, on the simulated years of CR-11 whose reservoir dries out."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import msgspec
import pytest

from ohmward.analysis.history_results import Series
from ohmward.desk import history_rows as rows
from ohmward.desk.history_look import HistoryLook, compare, journal_of, look_back
from ohmward.errors import Unreachable
from support import aged

SAMPLES = Path(__file__).parents[2] / "sample_logs"
TODAY = date(2026, 3, 10)


@pytest.fixture(scope="module")
def logbook(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("history")
    (place / "runs").symlink_to(SAMPLES / "runs")
    return place


@pytest.fixture(scope="module")
def look(logbook: Path) -> HistoryLook:
    return look_back(logbook, "CR-11", TODAY, rehearsals=False)


def named(look: HistoryLook, step: str, subject: str) -> Series:
    return next(each for each in look.found.series if each.key == (step, subject))


def test_only_rehearsals_are_shown_as_such(look: HistoryLook) -> None:
    assert look.found.simulated
    assert look.others == 0
    assert len(look.runs) == 8


def test_the_reservoir_that_dries_out_is_said_to_age_and_stands_first(look: HistoryLook) -> None:
    first = rows.quantities(look.found)[0]
    assert first.quantity == "capacitance_left"
    cells = rows.quantity_cells(first)
    assert cells[0] == "✗"
    assert cells[2].startswith("AGES: falls ")
    lines = rows.summary_lines(look)
    assert any("end of its life" in line for line in lines)
    assert any(line.startswith("Next: retest") for line in lines)
    assert any("2019-03-07-01-commissioning" in line for line in lines)


def test_a_trend_is_said_in_words_and_none_is_claimed_where_none_shows(look: HistoryLook) -> None:
    ripple = named(look, "ripple.output", "24 @ 100 %")
    assert rows.trend_words(ripple).startswith("rises ")
    earth = next(each for each in look.found.series if each.title.startswith("Earth continuity"))
    assert rows.trend_words(earth) == "no trend"
    few = msgspec.structs.replace(earth, points=earth.points[:3], trend=None)
    assert rows.trend_words(few) == "3 of 4 for a trend"
    none = msgspec.structs.replace(earth, points=(), trend=None)
    assert rows.trend_words(none) == "only bounds"


def test_the_picture_has_every_reading_by_its_meter_the_line_and_where_life_ends(look: HistoryLook) -> None:
    capacitance = rows.quantities(look.found)[0]
    picture = rows.picture_of(capacitance)
    assert picture is not None
    assert sum(len(line.x) for line in picture.read) == len(capacitance.points)
    assert not any(line.joined for line in picture.read)
    assert len({line.name for line in picture.read}) == 2  # the oscilloscope was another one from 2023 on
    assert 80.0 in picture.limits  # useful life: 20 % of the capacitance lost, CECC 30301 1.8.1
    low, high = picture.x_span
    assert low < 2019.2
    assert high > 2026.2
    (line,) = picture.forecast
    assert line.y[0] > line.y[1]
    below, above = picture.band
    assert all(a < b for a, b in zip(below.y, above.y, strict=True))
    words = rows.caption_of(capacitance, picture)
    assert "scope" in words
    assert "level line" in words


def test_a_limit_far_from_the_readings_is_said_and_not_drawn(look: HistoryLook) -> None:
    insulation = next(each for each in look.found.series if each.quantity == "insulation")
    picture = rows.picture_of(insulation)
    assert picture is not None
    assert not picture.limits
    assert "far off" in rows.caption_of(insulation, picture)


def test_one_reading_makes_no_picture(look: HistoryLook) -> None:
    first = rows.quantities(look.found)[0]
    assert rows.picture_of(msgspec.structs.replace(first, points=first.points[:1])) is None


def test_two_runs_are_compared_the_later_against_the_earlier(look: HistoryLook) -> None:
    one, other = look.runs[-1], look.runs[2]
    for both in (compare(one, other), compare(other, one)):
        assert (both.then.run, both.now.run) == (other.run, one.run)
        cells = rows.compared_cells(both)
        assert cells[0][0] == "!"
        assert len(cells) == len(both.changes)
        assert "readings in both" in " ".join(rows.compared_words(both))


def test_a_named_baseline_is_said_and_another_name_is_refused(logbook: Path, look: HistoryLook) -> None:
    name = look.runs[3].run
    found = look_back(logbook, "CR-11", TODAY, rehearsals=False, baseline=name)
    assert found.found.baseline == name
    assert any("chosen by t" in line for line in rows.summary_lines(found))
    with pytest.raises(ValueError, match="no run"):
        look_back(logbook, "CR-11", TODAY, rehearsals=False, baseline="CR-11/1999-01-01-01-retest")


def test_the_runs_say_which_is_the_baseline_and_which_is_marked(look: HistoryLook) -> None:
    base, last = look.runs[0], look.runs[-1]
    assert "baseline" in rows.run_cells(look, base, "")[-1]
    assert "marked" in rows.run_cells(look, last, last.run)[-1]
    assert "REHEARSAL" in rows.run_words(last)


def test_a_damaged_run_says_what_is_wrong_and_is_not_used(look: HistoryLook) -> None:
    broken = msgspec.structs.replace(look.runs[-1], problem="line 7 is not as it was written", readings=())
    assert "line 7" in rows.run_words(broken)
    assert "ohmward verify" in rows.run_words(broken)


def test_a_run_is_found_by_its_name_and_a_supply_without_runs_is_told_of(
    logbook: Path, look: HistoryLook
) -> None:
    assert journal_of(logbook, look.runs[0].run).is_file()
    assert "r turns there" not in " ".join(rows.summary_lines(look))
    with pytest.raises(Unreachable):
        look_back(logbook, "CR-99", TODAY, rehearsals=False)


def test_a_single_run_shows_its_readings_and_is_not_compared_with_itself(tmp_path: Path) -> None:
    (first,) = sorted((SAMPLES / "runs" / "CR-11").glob("2019-*.jsonl"))
    place = tmp_path / "runs" / "CR-11"
    place.mkdir(parents=True)
    (place / first.name).write_bytes(first.read_bytes())
    look = look_back(tmp_path, "CR-11", TODAY, rehearsals=False)
    said = " ".join(rows.summary_lines(look))
    assert "One run so far: nothing to compare" in said
    assert "Compared with" not in said
    cells = [rows.quantity_cells(each) for each in rows.quantities(look.found)]
    ripple = rows.quantity_cells(named(look, "ripple.output", "24 @ 100 %"))
    assert ripple in cells
    assert ripple[3] == ripple[5] == "–"
    assert ripple[4].endswith("V")
    assert ripple[6] == "read once"


def test_real_runs_and_rehearsals_stand_apart(tmp_path: Path) -> None:
    place = tmp_path / "runs" / "CR-11"
    place.mkdir(parents=True)
    for path in (SAMPLES / "runs" / "CR-11").glob("2025-*"):  # a rehearsal
        shutil.copy(path, place)
    aged.write(tmp_path, aged.VISITS[:2], simulated=False)
    real = look_back(tmp_path, "CR-11", TODAY, rehearsals=False)
    assert (real.found.simulated, len(real.runs), real.others) == (False, 2, 1)
    assert "1 run in rehearsal apart from them: r turns there" in " ".join(rows.summary_lines(real))
    rehearsed = look_back(tmp_path, "CR-11", TODAY, rehearsals=True)
    assert (rehearsed.found.simulated, len(rehearsed.runs), rehearsed.others) == (True, 1, 2)
    assert "Shown are REHEARSALS" in " ".join(rows.summary_lines(rehearsed))


def test_what_is_given_at_20_degrees_says_so_and_why(look: HistoryLook) -> None:
    winding = next(each for each in look.found.series if each.step == "primary-resistance")
    assert rows.quantity_cells(winding)[1].startswith("At 20 °C: ")
    said = rows.quantity_words(winding)
    assert "a warm and a cold day compare" in said
    assert "read " in said
    assert "20 °C" not in rows.quantity_cells(named(look, "ripple.output", "24 @ 100 %"))[1]
