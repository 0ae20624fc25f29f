"""Drawn tolerances: where they lie, that they repeat, and the band they give."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.physics.spread import Draw, Spread, band, bands, between, exactly, within


def draw(
    spread: Spread, seed: int = 1, draws: int = 4000
) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return Draw(np.random.default_rng(seed), draws)(spread)


def test_row_zero_is_the_value() -> None:
    assert draw(Spread(value=6.8e-3, low=5.44e-3, high=8.16e-3))[0] == 6.8e-3


def test_rectangle_has_the_deviation_of_the_gum() -> None:
    # JCGM 100:2008 4.3.7: the standard deviation of a rectangle of half-width a is a/sqrt(3).
    assert draw(within(100.0, 10.0), draws=40_000)[1:].std() == pytest.approx(10 / np.sqrt(3), rel=0.02)


def test_band_of_a_rectangle_is_its_middle_95_percent() -> None:
    # Uniform from 90 to 110: the 2.5 % and 97.5 % quantiles are 90.5 and 109.5.
    found = band(draw(within(100.0, 10.0), draws=40_000))
    assert found is not None
    assert found.low == pytest.approx(90.5, abs=0.1)
    assert found.high == pytest.approx(109.5, abs=0.1)
    assert found.value == 100.0


def test_quantiles_are_the_usual_ones() -> None:
    values = np.random.default_rng(3).normal(size=(5, 1001))
    low, high = np.quantile(values[:, 1:], (0.025, 0.975), axis=1)
    for found, lo, hi in zip(bands(values), low, high, strict=True):
        assert found is not None
        assert found.low == pytest.approx(min(lo, found.value))
        assert found.high == pytest.approx(max(hi, found.value))


@settings(max_examples=50)
@given(
    low=st.floats(0.1, 10),
    width=st.floats(0.001, 10),
    place=st.floats(0, 1),
    log=st.booleans(),
    seed=st.integers(0, 99),
)
def test_draws_stay_within_their_limits(low: float, width: float, place: float, log: bool, seed: int) -> None:
    spread = between(low, low + width, low + place * width, log=log)
    drawn = draw(spread, seed, 200)
    assert drawn.min() >= spread.low - 1e-9 * spread.high
    assert drawn.max() <= spread.high * (1 + 1e-9)


@given(st.integers(0, 1000))
@settings(max_examples=20)
def test_same_seed_same_units(seed: int) -> None:
    assert (draw(within(5.0, 20.0), seed, 50) == draw(within(5.0, 20.0), seed, 50)).all()


def test_a_certain_quantity_takes_its_share_of_the_draws() -> None:
    """So that a sheet with a fault has the same other parts as the sound one."""
    one, other = (Draw(np.random.default_rng(7), 10) for _ in range(2))
    one(exactly(1.0))
    other(within(1.0, 10.0))
    assert (one(within(5.0, 10.0)) == other(within(5.0, 10.0))).all()


def test_nothing_that_is_not_a_number_gets_into_a_band() -> None:
    values = np.array([[1.0, 2.0, np.nan], [1.0, 2.0, 3.0], [np.inf, 1.0, 1.0]])
    assert [found is None for found in bands(values)] == [True, False, True]


def test_a_few_draws_without_an_answer_do_not_hide_the_others() -> None:
    values = np.concatenate(([50.0], np.linspace(0, 100, 1001)))
    values[3:40] = np.nan
    found = band(values)
    assert found is not None
    assert np.isfinite([found.low, found.high]).all()
    low, high = np.nanquantile(values[1:], (0.025, 0.975))
    assert (found.low, found.high) == pytest.approx((low, high), abs=0.5)


def test_no_draws_give_a_band_without_width() -> None:
    found = band(np.array([5.0]))
    assert found is not None
    assert (found.low, found.value, found.high) == (5.0, 5.0, 5.0)
