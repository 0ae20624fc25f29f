"""Soaks that the bench sampled: against the closed form they were made from."""

from __future__ import annotations

import math
import time
from typing import Any

import numpy as np
import pytest

from ohmward.analysis.facts import RunFacts, SampledSoak
from ohmward.analysis.fits import Array
from ohmward.analysis.lag import lagged
from ohmward.analysis.soak_result import SoakResult
from ohmward.analysis.soaks import soak_results
from ohmward.bench.meters import loads
from ohmward.logbook.events import SeriesBegun, SeriesChannel, SeriesEnded, SeriesGap, SeriesRow
from ohmward.report.assessed import soaks_text
from ohmward.run import RunState
from ohmward.run.assess import facts_of
from ohmward.run.sampled import _soak
from ohmward.run.series import Series
from ohmward.supply.model import Mains, Rail, Supply
from support.journals import opened

ROOM_C, RISE_K, TAU_S = 22.0, 45.0, 1200.0


def body(t: Array, room: Array, start_c: float = ROOM_C) -> Array:
    """Closed form: a lag behind the room, and the rise over it."""
    fall = np.exp(-t / TAU_S)
    return np.asarray(lagged(t, room, TAU_S) + start_c * fall + RISE_K * (1.0 - fall))


def sampled_soak(t: Array, sensor: Array, room: Array | None, **more: Any) -> SampledSoak:
    channels = ("heat sink +15",) if room is None else ("heat sink +15", "room air")
    return SampledSoak(
        step="soak",
        channels=channels,
        units=("°C",) * len(channels),
        meters=("thermocouple",) * len(channels),
        uncertainties=more.pop("uncertainties", (None,) * len(channels)),
        time_s=t,
        values=np.column_stack([sensor] if room is None else [sensor, room]),
        **more,
    )


SHEET = """
tag = "CR-07"
title = "Mixing-console supply (simulated)"
protection_class = "I"
[mains]
voltage = "230 V"
frequency = "50 Hz"
[[rail]]
name = "+15"
nominal = "15 V"
rated_current = "1.2 A"
"""


def plain_supply() -> Supply:
    return Supply(
        tag="CR-07",
        title="Mixing-console supply (simulated)",
        protection_class="I",
        mains=Mains(voltage_v=230.0, frequency_hz=50.0),
        ambient_max_c=40.0,
        rails=(Rail(name="+15", nominal_v=15.0, rated_current_a=1.2),),
    )


def results(*series: SampledSoak, rule: str = "CTL 335") -> tuple[SoakResult, ...]:
    facts = RunFacts(
        run="2025-11-25-01-commissioning",
        tag="CR-07",
        simulated=True,
        supply=plain_supply(),
        items=(),
        entries={},
        series=series,
    )
    return soak_results(facts, rule)


def test_samples_are_fitted_with_a_moving_room() -> None:
    t = np.arange(0.0, 5400.0, 2.0)
    room = ROOM_C + 3.0 * t / 5400.0
    (found,) = results(sampled_soak(t, body(t, room), room))
    assert found.sensor == "heat sink +15"
    assert found.samples == len(t)
    assert found.final_c == pytest.approx(room[-1] + RISE_K, abs=0.05)
    assert found.time_constant_s == pytest.approx(TAU_S, rel=0.005)
    assert found.at_max_ambient_c == pytest.approx(40.0 + RISE_K, abs=0.05)
    assert found.enough_data
    # by the rise over the room: the room's own 2 K an hour are not the supply's
    change = RISE_K * (math.exp(-1800.0 / TAU_S) - math.exp(-5400.0 / TAU_S))
    assert found.stabilised is (change <= 2.0)
    assert found.rule.startswith("at most 2 K in 1 h")


def test_the_thermometer_is_in_the_interval() -> None:
    t = np.arange(0.0, 7200.0, 5.0)
    room = np.full(len(t), ROOM_C)
    (plain,) = results(sampled_soak(t, body(t, room), room))
    (honest,) = results(sampled_soak(t, body(t, room), room, uncertainties=(2.5, 2.5)))
    assert plain.final_uncertainty_k is not None
    assert plain.final_uncertainty_k < 0.1
    assert honest.final_uncertainty_k == pytest.approx(2.5, abs=0.05)


def test_a_room_that_was_not_sampled_is_said() -> None:
    t = np.arange(0.0, 7200.0, 5.0)
    (found,) = results(sampled_soak(t, body(t, np.full(len(t), ROOM_C)), None))
    assert any("room was not recorded" in said for said in found.warnings)
    assert found.final_c == pytest.approx(ROOM_C + RISE_K, abs=0.05)


def interrupted(first_s: float, off_s: float, again_s: float) -> SampledSoak:
    """Loads on, off for a while, on again; a tenth of a degree of scatter."""
    rng = np.random.default_rng(3)
    before = np.arange(0.0, first_s, 5.0)
    after = np.arange(0.0, again_s, 5.0)
    hot = float(body(before, np.full(len(before), ROOM_C))[-1])
    cooled = ROOM_C + (hot - ROOM_C) * math.exp(-off_s / TAU_S)
    t = np.concatenate([before, first_s + off_s + after])
    y = np.concatenate(
        [body(before, np.full(len(before), ROOM_C)), body(after, np.full(len(after), ROOM_C), cooled)]
    )
    resumed = first_s + off_s
    return sampled_soak(
        t,
        y + rng.normal(0.0, 0.1, len(t)),
        np.full(len(t), ROOM_C),
        resumed_s=(resumed,),
        gaps=(("", first_s, resumed, "the soak was interrupted"),),
    )


def test_after_an_interruption_what_follows_is_fitted_and_said() -> None:
    (found,) = results(interrupted(2400.0, 900.0, 4800.0))
    assert found.final_c == pytest.approx(ROOM_C + RISE_K, abs=0.3)
    assert found.time_constant_s == pytest.approx(TAU_S, rel=0.05)
    assert found.warnings[0] == "the soak was interrupted: the forecast is from what follows minute 55 alone"


def test_with_too_little_after_it_what_came_before_is_fitted_and_said() -> None:
    (found,) = results(interrupted(4800.0, 900.0, 120.0))
    assert found.final_c == pytest.approx(ROOM_C + RISE_K, abs=0.3)
    assert "what came before" in found.warnings[0]
    # the rule looks at an unbroken stretch only, and that is said
    assert found.stabilised is None
    assert found.warnings[-1].startswith(
        "whether it is stable is not told: the record is shorter than the 60 min"
    )


def test_where_it_is_told_whether_it_is_stable_nothing_is_said_of_that() -> None:
    t = np.arange(0.0, 7200.0, 5.0)
    room = np.full(len(t), ROOM_C)
    (found,) = results(sampled_soak(t, body(t, room), room))
    assert found.stabilised is not None
    assert not any("is not told" in each for each in found.warnings)


def test_channels_of_another_unit_and_dead_ones_are_left_out() -> None:
    t = np.arange(0.0, 3600.0, 5.0)
    soak = SampledSoak(
        step="soak",
        channels=("output +15", "case"),
        units=("V", "°C"),
        meters=("m", "t"),
        uncertainties=(None, None),
        time_s=t,
        values=np.column_stack([np.full(len(t), 15.0), np.full(len(t), np.nan)]),
    )
    assert results(soak) == ()


def test_a_second_body_is_fitted_by_its_later_half() -> None:
    t = np.arange(0.0, 14400.0, 5.0)
    y = ROOM_C - 30.0 * np.expm1(-t / 500.0) - 15.0 * np.expm1(-t / 4000.0)
    (found,) = results(sampled_soak(t, y, np.full(len(t), ROOM_C)))
    assert found.final_c == pytest.approx(ROOM_C + 45.0, abs=0.5)
    assert any("later half" in said for said in found.warnings)


def test_intervals_cover_where_neighbouring_samples_hang_together() -> None:
    # 100 soaks of 0.7 to 4 time constants, scatter correlated over some 50 s, a tenth of a degree shown;
    # 95 % are meant: below 88 of 100 would happen by chance in 1 of 300
    from scipy.signal import lfilter

    rng = np.random.default_rng(11)
    hits = 0
    for _ in range(100):
        t = np.arange(0.0, rng.uniform(0.7, 4.0) * TAU_S, 5.0)
        room = ROOM_C + rng.normal(0.0, 0.3) * t / 3600.0
        scatter = lfilter([1.0], [1.0, -0.9], rng.normal(0.0, 0.05, len(t) + 200))[200:]
        (found,) = results(sampled_soak(t, np.round(body(t, room) + scatter, 1), room))
        assert found.final_c is not None
        half = math.inf if found.final_uncertainty_k is None else found.final_uncertainty_k
        hits += abs(found.final_c - room[-1] - RISE_K) <= half
    assert hits >= 88


def test_a_hundred_thousand_samples_take_less_than_half_a_second() -> None:
    # 50 ms where it was written
    t = np.arange(0.0, 20_000.0, 0.2)
    room = np.full(len(t), ROOM_C)
    soak = sampled_soak(t, body(t, room) + np.random.default_rng(0).normal(0.0, 0.1, len(t)), room)
    results(soak)
    begin = time.perf_counter()
    results(soak)
    assert time.perf_counter() - begin < 0.5


def test_the_folded_series_becomes_plain_arrays() -> None:
    channels = tuple(
        SeriesChannel(name=name, meter="thermocouple", function="temperature", unit="°C")
        for name in ("heat sink +15", "room air")
    )
    begun = SeriesBegun(step="soak", channels=channels, interval_s=5.0, duration_s=3600.0)
    rows = tuple(SeriesRow(at_s=5.0 * k, values=(30.0 + k, None if k == 1 else 22.0)) for k in range(3))
    gap = SeriesGap(step="soak", from_s=12.0, to_s=60.0, why="the soak was interrupted")
    found = _soak(
        Series(
            begun=begun,
            at="2025-11-25T10:00:00+01:00",
            seq=7,
            batches=(rows[:2], rows[2:]),
            gaps=(gap,),
            resumed_s=(60.0,),
            ended=SeriesEnded(step="soak", at_s=3600.0, complete=True, why="done"),
        ),
        (),
    )
    assert found.channels == ("heat sink +15", "room air")
    assert found.time_s.tolist() == [0.0, 5.0, 10.0]
    assert found.values[:, 0].tolist() == [30.0, 31.0, 32.0]
    assert math.isnan(found.values[1, 1])
    assert found.resumed_s == (60.0,)
    assert found.gaps == (("", 12.0, 60.0, "the soak was interrupted"),)
    assert found.complete
    assert found.uncertainties == (None, None)


def test_a_run_that_was_sampled_is_assessed_by_its_samples() -> None:
    t = np.arange(0.0, 5400.0, 5.0)
    hot = body(t, np.full(len(t), ROOM_C))
    channels = tuple(
        SeriesChannel(name=name, meter="thermocouple", function="temperature", unit="°C")
        for name in ("heat sink +15", "room air")
    )
    rows = tuple(
        SeriesRow(at_s=float(at), values=(float(value), ROOM_C)) for at, value in zip(t, hot, strict=True)
    )
    series = Series(
        begun=SeriesBegun(step="soak", channels=channels, interval_s=5.0, duration_s=5400.0),
        at="2025-11-25T10:00:00+01:00",
        seq=7,
        batches=(rows,),
    )
    meters = loads(
        '[[meter]]\nname = "thermocouple"\n[[meter.accuracy]]\nfunction = "temperature"\naccuracy = "1 °C"\n'
    )
    facts = facts_of(
        RunState(
            opened=opened(run="1", sheet=SHEET), supply=plain_supply(), series={"soak": series}, meters=meters
        )
    )
    (found,) = soak_results(facts)
    assert found.samples == len(t)
    # a rectangle of 1 K either way: U = 2 / sqrt(3)
    assert found.final_uncertainty_k == pytest.approx(2.0 / math.sqrt(3.0), abs=0.01)
    assert found.final_c == pytest.approx(ROOM_C + RISE_K, abs=0.05)
    text = soaks_text((found,))
    assert "heat sink +15" in text
    assert "67.0 °C ± 1.2 K" in text
    assert "Stable: at most 2 K in 1 h" in text


def test_three_minutes_of_a_slow_body_give_no_number_and_no_false_alarm() -> None:
    """Nearly a straight line: any time constant fits, and a final value of a million degrees."""
    t = np.arange(0.0, 181.0, 15.0)
    room = np.full_like(t, ROOM_C)
    bent = 0.02 * np.sin(t / 20.0)  # what a thermometer's last digit does
    (found,) = results(sampled_soak(t, ROOM_C + 0.01 * t + bent, room))
    assert found.withheld
    assert not found.enough_data
    numbers = (found.final_c, found.final_uncertainty_k, found.time_constant_s, found.at_max_ambient_c)
    assert numbers == (None,) * 4
    assert "the record is too short for a forecast" in found.warnings[0]
    assert not any("% of the rise" in warning for warning in found.warnings)
    text = soaks_text((found,))
    assert text.count("too short to tell") == 2
    whole = np.arange(0.0, 4 * TAU_S, 60.0)
    (known,) = results(
        sampled_soak(whole, body(whole, np.full_like(whole, ROOM_C)), np.full_like(whole, ROOM_C))
    )
    assert not known.withheld
    assert known.final_c == pytest.approx(ROOM_C + RISE_K, abs=0.1)
