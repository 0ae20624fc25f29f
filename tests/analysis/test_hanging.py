"""Intervals where neighbouring readings hang together: against closed forms, and how often they cover."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from ohmward.analysis.dense import thinned, widened
from ohmward.analysis.hanging import widening
from ohmward.analysis.soak import fit_rise

ROOM_C, RISE_K, TAU_S = 22.0, 40.0, 1800.0


def autoregression(rng: np.random.Generator, r: float, n: int) -> np.ndarray:
    """Return a stationary first-order autoregression of unit variance, run in over many of its lengths."""
    return np.asarray(lfilter([1.0], [1.0, -r], rng.normal(0.0, math.sqrt(1 - r * r), n + 3000))[3000:])


def test_a_mean_is_widened_as_the_textbook_says() -> None:
    # the variance of the mean of a long first-order autoregression is (1 + r) / (1 - r) times that of white
    # noise (textbook result, from memory); over 60 records of 200 readings
    rng = np.random.default_rng(0)
    for r in (0.0, 0.5, 0.8):
        factors = []
        for _ in range(60):
            y = autoregression(rng, r, 200)
            found = widening(y - y.mean(), np.ones((200, 1)), np.array([1.0]))
            factors.append(found.factor)
        assert np.median(factors) == pytest.approx(math.sqrt((1 + r) / (1 - r)), rel=0.12)


def test_what_does_not_hang_together_is_left_alone() -> None:
    rng = np.random.default_rng(1)
    factors = [
        widening(y - y.mean(), np.ones((60, 1)), np.array([1.0])).factor for y in rng.normal(size=(300, 60))
    ]
    assert np.mean(np.array(factors) == 1.0) > 0.75
    assert np.mean(factors) < 1.1


def test_few_readings_and_a_perfect_fit_say_nothing() -> None:
    assert widening(np.zeros(50), np.ones((50, 1)), np.array([1.0])).factor == 1.0
    assert widening(np.arange(8.0) - 3.5, np.ones((8, 1)), np.array([1.0])).factor == 1.0


def test_one_swing_is_said_not_to_tell() -> None:
    y = np.sin(np.linspace(0.0, np.pi, 100))
    found = widening(y - y.mean(), np.ones((100, 1)), np.array([1.0]))
    assert not found.told
    assert found.factor > 5.0


@pytest.mark.parametrize("r", [0.0, 0.9, 0.98, 0.99])
def test_nine_in_ten_intervals_hold_the_true_final_value(r: float) -> None:
    # 150 soaks of 0.7 to 4 time constants, a reading each 5 s, scatter of 0.1 K with correlation r from one
    # to the next, brought down to 120 points; 90 % are meant: below 123 would come by chance in 1 of 1000
    rng = np.random.default_rng(3)
    hits, halves = 0, []
    for _ in range(150):
        t = np.arange(0.0, rng.uniform(0.7, 4.0) * TAU_S, 5.0)
        y = ROOM_C - RISE_K * np.expm1(-t / TAU_S) + 0.1 * autoregression(rng, r, len(t))
        record = thinned(t, y, np.full(len(t), ROOM_C), most=120)
        fit = fit_rise(record.time_s, record.temperature_c, ambient_c=record.ambient_c)
        found = widened(fit.final_c, fit.interval("final_c", 0.9), fit.widening.factor, 0.0)
        hits += found.low <= ROOM_C + RISE_K <= found.high
        halves.append((found.high - found.low) / 2)
    assert hits >= 123
    assert hits < 148  # intervals that are wide for their own sake hold it always
    assert np.median(halves) < 1.5
