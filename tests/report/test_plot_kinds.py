"""What each kind of picture draws, against numbers known without it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, cast

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.analysis.facts import CapturedWave
from ohmward.analysis.history_change import changes
from ohmward.analysis.history_facts import PastRun
from ohmward.analysis.history_scaling import design_of
from ohmward.analysis.uncertainty import combine, rectangular
from ohmward.report.plots import Compared, Material, NothingToShow, Picture, Width, pictures
from ohmward.report.plots.budget import budget
from ohmward.report.plots.positions import FARTHEST, position, spot_of
from ohmward.report.plots.style import MOST_MM, cut, named, pages_of, plain, scale_of, wide_mm, wrapped
from ohmward.run.history import past_run
from support.pictured import (
    FAULTY,
    HEALTHY,
    INTERRUPTED,
    ROOT,
    captured,
    many,
    renewed,
    sample,
    sampled_soak,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.lines import Line2D
    from matplotlib.patches import Rectangle
    from matplotlib.text import Text
    from numpy.typing import NDArray

WIDTHS: tuple[Width, ...] = ("full", "column")
finite = st.floats(-1e6, 1e6)
sizes = st.floats(1e-3, 1e6)


@given(value=finite, middle=finite, half=sizes)
def test_a_reading_lies_between_minus_one_and_one_when_it_is_within_its_limits(
    value: float, middle: float, half: float
) -> None:
    low, high = middle - half, middle + half
    at = position(value, low, high)
    if at is not None and not math.isclose(abs(at), 1.0, rel_tol=1e-6):
        assert (-1.0 < at < 1.0) == (low < value < high)


@given(value=finite, limit=st.one_of(sizes, sizes.map(lambda size: -size)))
def test_one_limit_is_at_its_edge_and_what_is_past_it_beyond(value: float, limit: float) -> None:
    most, least = position(value, None, limit), position(value, limit, None)
    assert most is not None
    assert least is not None
    assert most >= 0.0 >= least
    if not math.isclose(value, limit, rel_tol=1e-6):
        assert (most > 1.0) == (value > limit)
        assert (least < -1.0) == (value < limit)


def test_positions_known_by_hand() -> None:
    assert position(15.0, 14.4, 15.6) == pytest.approx(0.0)
    assert position(15.3, 14.4, 15.6) == pytest.approx(0.5)
    assert position(-15.3, -15.6, -14.4) == pytest.approx(-0.5)
    assert position(0.05, None, 0.2) == pytest.approx(0.25)
    assert position(4e6, 1e6, None) == pytest.approx(-0.25)
    assert position(0.0, 1e6, None) == pytest.approx(-10 * FARTHEST)
    assert position(-3.0, None, 80.0) == 0.0
    assert position(7.0, -5.0, None) == 0.0
    assert position(1.0, None, None) is None


def texts(picture: Picture) -> list[str]:
    from matplotlib.text import Text

    return [each.get_text() for each in cast("list[Text]", picture.figure.findobj(Text))]


def xs(line: Line2D) -> NDArray[np.float64]:
    return np.asarray(line.get_xdata(), dtype=float)


def ys(line: Line2D) -> NDArray[np.float64]:
    return np.asarray(line.get_ydata(), dtype=float)


def bars(axes: Axes) -> list[Rectangle]:
    return [patch for patch in cast("list[Rectangle]", axes.patches) if patch.get_fill()]


def panel(picture: Picture, title: str) -> Axes:
    (found,) = [axes for axes in picture.figure.axes if axes.get_title(loc="left") == title]
    return found


def test_the_overview_of_a_faulty_run_names_what_fails_and_what_is_not_done() -> None:
    (picture,) = pictures(sample(FAULTY), "overview")
    said = texts(picture)
    failed = [row for row in sample(FAULTY).assessment.readings if row.failed]
    assert failed
    assert sum(text.startswith("FAIL") for text in said) == len({(r.step, r.subject) for r in failed})
    (unfinished, *_) = pictures(sample("2026-03-04-01"), "overview")
    assert "NOT DONE" in texts(unfinished)


def test_a_reading_near_zero_is_not_near_a_limit_of_zero() -> None:
    """A lead null of 12 mΩ, limits 0 to 1 Ω: as far from its limit as can be."""
    row = next(row for row in sample(HEALTHY).assessment.readings if row.step == "lead-null")
    spot = spot_of(msgspec.structs.replace(row, net=0.012, limit_low=0.0, limit_high=1.0, uncertainty=0.003))
    assert spot is not None
    assert spot.at == pytest.approx(0.012)
    assert 0.0 <= spot.low <= spot.at <= spot.high < 0.02


def test_a_soak_is_drawn_with_a_hole_where_nothing_was_sampled() -> None:
    run = renewed(sample(HEALTHY), series=(sampled_soak(gap=True),))
    (picture,) = pictures(run, "soak:heat sink +15")
    (axes,) = picture.figure.axes
    line = next(each for each in axes.lines if len(xs(each)) > 100)
    x, y = xs(line), ys(line)
    within = y[(x > 900 / 60) & (x <= 1300 / 60)]
    assert np.isnan(within[0]), "the line is broken in the hole"
    assert np.isfinite(y[x < 900 / 60]).all()
    assert any(patch.get_hatch() for patch in axes.patches), "and the hole is shown"


def test_a_long_soak_is_thinned_and_keeps_its_extremes() -> None:
    soak = sampled_soak(minutes=600)
    values = soak.values.copy()
    values[1234, 0] = 70.0
    run = renewed(sample(HEALTHY), series=(msgspec.structs.replace(soak, values=values),))
    (picture,) = pictures(run, "soak:heat sink +15")
    (axes,) = picture.figure.axes
    line = max(axes.lines, key=lambda each: len(xs(each)))
    assert len(xs(line)) < 1000
    assert np.nanmax(ys(line)) == 70.0
    assert axes.get_xlabel() == "time under load [h]"


@pytest.mark.parametrize("series", [(), (sampled_soak(),), (sampled_soak(resumed=True),)])
def test_the_curve_of_a_soak_goes_to_the_forecast_of_the_assessment(series: tuple[object, ...]) -> None:
    run = renewed(sample(HEALTHY), series=series)
    (result,) = [each for each in run.assessment.soaks if each.sensor == "heat sink +15"]
    (picture,) = pictures(run, "soak:heat sink +15")
    (axes,) = picture.figure.axes
    curve = next(each for each in axes.lines if each.get_linestyle() == "-.")
    y = ys(curve)
    assert result.final_c is not None
    assert y[-1] == pytest.approx(result.final_c, abs=1.0)
    assert y[-1] <= result.final_c + 0.05
    assert f"{result.final_c:.1f} °C" in picture.words


def test_a_soak_too_short_to_tell_is_drawn_by_its_samples_alone() -> None:
    soak = sampled_soak(minutes=3)
    run = renewed(sample(HEALTHY), series=(soak,))
    (result,) = [each for each in run.assessment.soaks if each.sensor == "heat sink +15"]
    assert result.withheld
    (picture,) = pictures(run, "soak:heat sink +15")
    (axes,) = picture.figure.axes
    assert not any(each.get_linestyle() == "-." for each in axes.lines)
    low, high = axes.get_ylim()
    assert -50.0 < low < high < 150.0
    assert "where it settles: too short to tell" in picture.words


def tone(frequency_hz: float, amplitude_v: float, *, mains_hz: float = 50.0) -> CapturedWave:
    """A sine of known size on 10 V with one of 2f on it, 10 kS/s, 20 cycles."""
    time = np.arange(4000) / 10e3
    wave = 10.0 + amplitude_v * np.sin(2 * np.pi * frequency_hz * time)
    wave += 0.2 * np.sin(2 * np.pi * 2 * mains_hz * time)
    return CapturedWave(
        step="waveform", subject="+15", rail="+15", point="output", load_a=None, samples=wave,
        interval_s=1e-4, unit="V", source="made by hand", file="x.csv",
    )  # fmt: skip


def test_components_of_a_known_waveform_have_their_known_size() -> None:
    run = renewed(sample(HEALTHY), captures=(tone(50.0, 0.3),))
    (picture,) = pictures(run, "waveform")
    left, right = picture.figure.axes
    once = next(each for each in left.lines if each.get_linestyle() == "--")
    twice = next(each for each in left.lines if each.get_linestyle() == "-.")
    assert np.max(ys(once)) == pytest.approx(300.0, rel=2e-3)  # mV
    assert np.max(ys(twice)) == pytest.approx(200.0, rel=2e-3)
    heights = [bar.get_height() for bar in bars(right)]
    assert heights[0] == pytest.approx(300.0, rel=2e-3)
    assert heights[1] == pytest.approx(200.0, rel=2e-3)
    assert max(heights[2:]) < 1.0


def test_a_missing_half_cycle_shows_as_the_first_harmonic() -> None:
    unit = sample(HEALTHY).facts.supply
    run = renewed(sample(HEALTHY), captures=(captured(unit, "24"), captured(unit, "+15", fault="open-diode")))
    (picture,) = pictures(run, "waveform")
    sound, faulty = picture.figure.axes[1], picture.figure.axes[3]
    assert bars(sound)[0].get_height() < 0.01 * bars(sound)[1].get_height()
    assert bars(faulty)[0].get_height() > bars(faulty)[1].get_height()


def test_a_capture_too_short_to_analyse_is_drawn_and_says_so() -> None:
    short = msgspec.structs.replace(tone(50.0, 0.3), samples=tone(50.0, 0.3).samples[:150])
    (picture,) = pictures(renewed(sample(HEALTHY), captures=(short,)), "waveform")
    assert "not analysed" in picture.words
    assert any("shorter than two mains periods" in text.replace("\n", " ") for text in texts(picture))


def test_a_waveform_made_stale_by_a_repair_is_not_drawn() -> None:
    stale = msgspec.structs.replace(tone(50.0, 0.3), stale=True)
    with pytest.raises(NothingToShow, match="no waveform"):
        pictures(renewed(sample(HEALTHY), captures=(stale,)), "waveform")


def past(name: str) -> PastRun:
    return past_run(ROOT / "sample_logs" / "runs" / "CR-07" / f"{name}-commissioning.jsonl")


def compared(then: PastRun, now: PastRun) -> Compared:
    return Compared(now, then, changes(now, then, design_of(now.sheet), design_of(then.sheet)))


def test_a_fault_is_what_moved_most_between_two_runs() -> None:
    after = sample(FAULTY)
    (picture,) = pictures(after, "compare", compared=compared(past(HEALTHY), past(FAULTY)))
    rows = [
        text for text in texts(picture) if ": " in text and "→" not in text and not text.startswith("CR-07")
    ]
    assert all("24" in row for row in rows[:4])
    assert "1.483 V → 3.373 V" in picture.words
    with pytest.raises(NothingToShow, match="--with"):
        pictures(after, "compare")


def test_two_runs_without_a_reading_in_common_have_nothing_to_compare() -> None:
    nothing = msgspec.structs.replace(past(HEALTHY), readings=())
    with pytest.raises(NothingToShow, match="stands in both"):
        pictures(sample(FAULTY), "compare", compared=compared(nothing, past(FAULTY)))


def test_a_comparison_draws_as_changed_what_is_told_as_changed_and_says_how_each_run_ended() -> None:
    found = compared(past(HEALTHY), past(FAULTY))
    (picture,) = pictures(sample(FAULTY), "compare", compared=found)
    limited = {each.key for each in found.now.readings if each.limit_low is not None or each.limit_high}
    changed = sum(each.verdict == "changed" and each.key in limited for each in found.changes)
    assert f"{changed} changed by more than the meters allow" in picture.words
    said = " ".join(texts(picture)).replace("\n", " ")
    assert "Before: run CR-07/2026-03-02-01-commissioning: PASS." in said
    assert "After: run CR-07/2026-03-03-01-commissioning: FAIL." in said
    unclosed = compared(past(INTERRUPTED), past(FAULTY))
    said = " ".join(texts(pictures(sample(FAULTY), "compare", compared=unclosed)[0]))
    assert "NOT CLOSED, no verdict" in said.replace("\n", " ")


def test_the_budget_of_a_reading_is_that_of_its_judgement() -> None:
    run = sample(HEALTHY)
    (row,) = [r for r in run.assessment.readings if (r.step, r.subject) == ("earth", "case")]
    picture = budget(run, "earth/case")
    (axes,) = picture.figure.axes
    widths = [bar.get_width() for bar in bars(axes)]
    parts, whole, expanded = widths[:-2], widths[-2], widths[-1]
    assert row.uncertainty is not None
    assert expanded == pytest.approx(row.uncertainty * 1e3)  # mΩ
    assert whole == pytest.approx(math.hypot(*parts))
    assert expanded == pytest.approx(2.0 * whole)
    assert len(parts) == 2, "the meter and the lead null"


def test_shares_of_a_budget_add_up() -> None:
    rows = combine([rectangular(0.3, "a"), rectangular(0.4, "b")], dominant=False).budget()
    assert sum(row.share_pct for row in rows) == pytest.approx(100.0)
    (picture,) = pictures(sample(HEALTHY), "budget")
    (axes,) = picture.figure.axes
    ends: dict[float, float] = {}
    for patch in bars(axes):
        ends[patch.get_y()] = max(ends.get(patch.get_y(), 0.0), patch.get_x() + patch.get_width())
    assert list(ends.values()) == sorted(ends.values(), reverse=True), "the least sure first"


def test_a_budget_of_nothing_says_what_to_do() -> None:
    with pytest.raises(NothingToShow, match=r"meters\.toml"):
        budget(Material(facts=sample(HEALTHY).facts, assessment=sample(HEALTHY).assessment))
    with pytest.raises(NothingToShow, match="no reading 'earth/roof'"):
        budget(sample(HEALTHY), "earth/roof")


def test_causes_are_drawn_by_their_chance() -> None:
    run = sample(FAULTY)
    first = run.assessment.causes[0]
    shared = tuple(
        msgspec.structs.replace(first, probability=p, fault=f) for p, f in ((0.6, "a"), (0.3, "b"))
    )
    both = Material(facts=run.facts, assessment=msgspec.structs.replace(run.assessment, causes=shared))
    (picture,) = pictures(both, "causes")
    assert {"60 %", "30 %"} <= set(texts(picture))
    assert "All else together: 10 %." in " ".join(texts(picture)).replace("\n", " ")
    frame, one, _, two = [bar.get_width() for bar in cast("list[Rectangle]", picture.figure.axes[0].patches)]
    assert one / frame == pytest.approx(0.6)
    assert two / frame == pytest.approx(0.3)
    (certain,) = pictures(run, "causes")
    assert "> 99 %" in texts(certain), "no reading makes a cause certain"


def test_headroom_at_low_mains_is_less_and_what_drops_out_is_hatched() -> None:
    (picture,) = pictures(sample(HEALTHY), "headroom")
    axes = panel(picture, "Rail +15")
    curve = next(each for each in axes.lines if len(xs(each)) > 5)
    y = ys(curve)
    assert (np.diff(y) > 0.0).all()
    assert any(collection.get_hatch() for collection in axes.collections)
    titles = [each.get_title(loc="left") for each in picture.figure.axes]
    assert "Rail 24" not in titles, "it has no regulator to drop out"


def test_a_supply_of_forty_rails_fills_pages_that_print() -> None:
    run, drawn = many(), dict[str, list[Picture]]()
    for kind, fewest in (("overview", 4), ("voltage", 8), ("ripple", 4), ("safety", 2)):
        found = drawn[kind] = pictures(run, kind)
        assert len(found) >= fewest
        assert [each.name for each in found] == [f"{kind}-{n}" for n in range(1, len(found) + 1)]
        assert all(each.figure.get_figheight() * 25.4 <= MOST_MM + 1.0 for each in found)
    shown = " ".join(each.words for each in drawn["voltage"])
    assert all(f"Rail {each.name}:" in shown for each in run.rails)


@given(text=st.text(max_size=200), width=st.sampled_from(WIDTHS))
def test_lines_fit_and_no_letter_is_lost(text: str, width: Width) -> None:
    lines = wrapped(text, width)
    assert "".join("".join(lines).split()) == "".join(plain(text).split())
    assert all(wide_mm(line) <= {"full": 166.0, "column": 78.0}[width] + 1e-6 for line in lines)


@given(title=st.text(max_size=60), subject=st.text(max_size=60), most=st.integers(12, 60))
def test_a_name_is_cut_to_its_room(title: str, subject: str, most: int) -> None:
    assert len(named(title, subject, most)) <= most + 1
    assert len(cut(title, most)) <= most
    assert wide_mm(cut(title, 30.0, wide_mm)) <= 30.0


def test_a_cut_name_keeps_what_it_is_of_and_which_reading() -> None:
    name = named("Outputs and ripple, hot, ripple", "+15", 26)
    assert name.endswith("ripple: +15")
    assert "…" in name


@given(count=st.integers(0, 400), most=st.integers(1, 60))
def test_pages_hold_everything_once_and_none_too_much(count: int, most: int) -> None:
    pages = pages_of(count, most)
    assert [n for page in pages for n in range(count)[page]] == list(range(count))
    assert all(len(range(count)[page]) <= most for page in pages)


@pytest.mark.parametrize(
    ("largest", "unit"), [(15.0, "V"), (0.15, "mV"), (2e-5, "µV"), (2e3, "kV"), (0.0, "V"), (1e-9, "V")]
)
def test_an_axis_is_written_in_a_unit_that_fits(largest: float, unit: str) -> None:
    assert scale_of(largest, "V")[1] == unit
