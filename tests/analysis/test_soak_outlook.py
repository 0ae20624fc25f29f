"""What is said while a soak runs: against the closed form it was made from, and against false alarms."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.analysis.dense import judged, thinned
from ohmward.analysis.fits import Array
from ohmward.analysis.lag import lagged
from ohmward.analysis.soak_outlook import soak_outlook

TAU, RISE, ROOM = 1500.0, 80.0, 22.0


def soak(
    span_s: float, interval_s: float = 5.0, noise_k: float = 0.0, seed: int = 0
) -> tuple[Array, Array, Array]:
    """A body that follows T = room + rise (1 - exp(-t / tau)), the closed form."""
    t = np.arange(0.0, span_s + interval_s / 2.0, interval_s)
    rng = np.random.default_rng(seed)
    return (
        t,
        ROOM - RISE * np.expm1(-t / TAU) + rng.normal(0.0, noise_k, len(t)),
        np.full(len(t), ROOM),
    )


def test_forecast_is_that_of_the_closed_form() -> None:
    t, y, room = soak(1800.0)
    found = soak_outlook(t, y, room, limit_c=95.0, duration_s=7200.0)
    assert found is not None
    assert found.enough_data
    assert found.final_c == pytest.approx(ROOM + RISE, abs=0.05)
    assert found.time_constant_s == pytest.approx(TAU, rel=0.005)
    assert found.end_c == pytest.approx(ROOM - RISE * math.expm1(-7200.0 / TAU), abs=0.05)
    # 95 °C is reached where exp(-t / tau) = (102 - 95) / 80
    assert found.passes_limit_in_s == pytest.approx(TAU * math.log(80.0 / 7.0) - 1800.0, abs=15.0)
    # CTL 335: e exp(-t / tau) (exp(3600 / tau) - 1) = 2 K
    stable = TAU * math.log(RISE * math.expm1(3600.0 / TAU) / 2.0)
    assert found.remaining_s == pytest.approx(stable - 1800.0, abs=15.0)
    assert found.words.startswith("will pass the limit of 95 °C in about 31 min")


def test_it_is_stabilised_when_the_forecast_said_it_would_be() -> None:
    stable = TAU * math.log(RISE * math.expm1(3600.0 / TAU) / 2.0)
    before, after = (soak_outlook(*soak(stable + away)) for away in (-120.0, 120.0))
    assert before is not None
    assert after is not None
    assert before.stabilised is False
    assert after.stabilised is True
    assert after.remaining_s == 0.0
    assert before.remaining_s == pytest.approx(120.0, abs=60.0)


@pytest.mark.parametrize("span_s", [0.0, 30.0, 120.0, 300.0])
def test_too_early_is_called_too_early(span_s: float) -> None:
    found = soak_outlook(*soak(span_s, noise_k=0.1), limit_c=60.0)
    assert found is not None
    assert not found.enough_data
    assert not found.will_pass_limit
    assert "too early" in found.words or "hardly moved" in found.words


def test_beyond_the_limit_needs_no_forecast() -> None:
    found = soak_outlook([0.0, 5.0], [101.0, 102.0], [22.0, 22.0], limit_c=100.0)
    assert found is not None
    assert found.will_pass_limit
    assert found.passes_limit_in_s == 0.0
    assert found.words.startswith("is past the limit of 100 °C")


def test_no_temperature_yet_and_wrong_input() -> None:
    assert soak_outlook([], []) is None
    assert soak_outlook([0.0, 1.0], [math.nan, math.nan]) is None
    with pytest.raises(ValueError, match="ascend"):
        soak_outlook([1.0, 0.0], [20.0, 21.0])
    with pytest.raises(ValueError, match="there is no rule"):
        soak_outlook([0.0], [20.0], rule="by feel")


def test_holes_in_the_record_are_stepped_over() -> None:
    t, y, room = soak(3600.0, noise_k=0.05)
    y[100:200], room[50:400] = np.nan, np.nan
    found = soak_outlook(t, y, room)
    assert found is not None
    assert found.final_c == pytest.approx(ROOM + RISE, abs=1.0)


def test_after_an_interruption_only_what_follows_counts() -> None:
    # the loads were off from 1800 s to 2700 s: it cooled, and rises again from where it had come to
    t, y, _ = soak(5400.0, noise_k=0.05)
    at_off, off = float(np.interp(1800.0, t, y)), (t > 1800.0) & (t < 2700.0)
    restart = ROOM + (at_off - ROOM) * math.exp(-900.0 / TAU)
    again = t >= 2700.0
    y[again] = (ROOM + RISE) + (restart - ROOM - RISE) * np.exp(-(t[again] - 2700.0) / TAU)
    t, y = t[~off], y[~off]
    found = soak_outlook(t, y, np.full(len(t), ROOM), resumed_s=(2700.0,))
    assert found is not None
    assert found.final_c == pytest.approx(ROOM + RISE, abs=0.5)
    assert found.time_constant_s == pytest.approx(TAU, rel=0.02)


def test_false_alarms_are_rare() -> None:
    # final value 1 K under the limit, noise that hangs together over half a minute, a tenth of a degree shown
    rng = np.random.default_rng(7)
    alarms = 0
    for _ in range(60):
        tau, rise = rng.uniform(600.0, 3000.0), rng.uniform(20.0, 70.0)
        t = np.arange(0.0, rng.uniform(0.6, 3.0) * tau, 5.0)
        room = ROOM + rng.normal(0.0, 0.3) * t / 3600.0
        noise = np.zeros(len(t))
        for k in range(1, len(t)):
            noise[k] = 0.85 * noise[k - 1] + rng.normal(0.0, 0.05)
        y = np.round(lagged(t, room, tau) + ROOM * np.exp(-t / tau) - rise * np.expm1(-t / tau) + noise, 1)
        found = soak_outlook(t, y, room, limit_c=float(room[-1]) + rise + 1.0)
        assert found is not None
        alarms += found.will_pass_limit
    assert alarms <= 1


def test_a_second_slower_body_gives_no_false_alarm() -> None:
    # heat sink on a case: 30 K at 10 min and 15 K at 60 min, settling at 67 °C; no moment of the soak may
    # claim 72 °C
    for span in np.arange(300.0, 14400.0, 600.0):
        t = np.arange(0.0, span, 10.0)
        y = ROOM - 30.0 * np.expm1(-t / 600.0) - 15.0 * np.expm1(-t / 3600.0)
        found = soak_outlook(t, y, np.full(len(t), ROOM), limit_c=72.0)
        assert found is not None
        assert not found.will_pass_limit


def test_cheap_enough_to_be_asked_at_every_sample() -> None:
    # 30 ms where it was written; the bound is for a loaded machine
    data = soak(20000.0, noise_k=0.05)
    assert len(data[0]) == 4001
    soak_outlook(*data)
    begin = time.process_time()
    soak_outlook(*data, limit_c=100.0, duration_s=30000.0)
    assert time.process_time() - begin < 0.5


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 400), st.integers(1, 50), st.floats(0.1, 60.0))
def test_thinning_keeps_order_ends_and_mean(count: int, most: int, interval_s: float) -> None:
    t = np.arange(count) * interval_s
    y = 20.0 + np.sin(t)
    found = thinned(t, y, most=most)
    assert len(found.time_s) <= max(most, 0) or len(found.time_s) == count <= most
    assert (np.diff(found.time_s) > 0.0).all()
    if count:
        assert t[0] <= found.time_s[0]
        assert found.time_s[-1] <= t[-1]
        assert y.min() <= found.temperature_c.min()
        assert found.temperature_c.max() <= y.max()


def test_one_stray_sample_does_not_unsettle_a_settled_body() -> None:
    t = np.arange(0.0, 7200.0, 2.0)
    y = np.full(len(t), 60.0)
    y[3000] = 63.0
    assert judged(thinned(t, y, most=10**6), "CTL 335").stabilised is True
    drifting = y + t / 3600.0 * 2.5
    assert judged(thinned(t, drifting, most=10**6), "CTL 335").stabilised is False
