"""Regulator: data-sheet figures, margins computed for a reference rail, and laws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.physics.regulator import Array, Regulated, regulate


def run(
    *, set_point: float, load: float, valley: float, peak: float, mean: float | None = None, **more: float
) -> Regulated:
    middle = (valley + peak) / 2 if mean is None else mean
    arrays = {key: np.asarray(value) for key, value in more.items()}
    return regulate(
        set_point_v=np.asarray(set_point),
        load_a=np.asarray(load),
        mean_v=np.asarray(middle),
        valley_v=np.asarray(valley),
        peak_v=np.asarray(peak),
        **arrays,
    )


def test_ripple_rejection_of_a_12_v_three_terminal_regulator() -> None:
    # Its data sheet: 55 dB at least, 71 dB typical; 2 V p-p in gives 3.6 mV worst, 0.6 mV typical.
    worst = run(set_point=12, load=1, valley=20, peak=22, rejection_db=55)
    typical = run(set_point=12, load=1, valley=20, peak=22, rejection_db=71)
    assert worst.ripple_pp_v == pytest.approx(3.6e-3, abs=0.05e-3)
    assert typical.ripple_pp_v == pytest.approx(0.6e-3, abs=0.05e-3)


def test_output_resistance() -> None:
    # 12 V three-terminal regulator, 18 mΩ typical (its data sheet).
    assert run(set_point=12, load=1, valley=20, peak=22, output_ohm=0.018).output_v == pytest.approx(11.982)


@pytest.mark.parametrize(
    ("set_point", "valley", "margin"),
    # Computed for a reference rail (100 VA toroid, 10 000 µF, 3 A; no published source): valley 20.8 V
    # nominal, 18.2 V at -10 % mains; dropout 2.5 V: 18 V out +0.3 and -2.3 V, 15 V out +3.3 and +0.7 V.
    [(18, 20.8, 0.3), (18, 18.2, -2.3), (15, 20.8, 3.3), (15, 18.2, 0.7)],
)
def test_headroom_over_dropout(set_point: float, valley: float, margin: float) -> None:
    found = run(set_point=set_point, load=3, valley=valley, peak=valley + 2.05, dropout_v=2.5)
    assert found.headroom_v == pytest.approx(margin, abs=0.01)


def test_heat_in_the_pass_device() -> None:
    # Computed for the same rail: mean 21.85 V, 3 A: 11.6 W at 18 V out, 20.6 W at 15 V out.
    for set_point, watts in ((18, 11.6), (15, 20.6)):
        found = run(set_point=set_point, load=3, valley=20.8, peak=22.85, mean=21.85)
        assert found.dissipation_w == pytest.approx(watts, abs=0.1)
    # Ham article: mean 21 V to 15 V at 1 A is 6 W.
    assert run(set_point=15, load=1, valley=20.5, peak=21.5).dissipation_w == pytest.approx(6.0)


def test_valley_comes_through() -> None:
    # By hand: 20 V wanted, dropout 2 V, input 21 to 23 V: the last 1 V of each valley is missing, half
    # the time, by 0.5 V in the mean: 19.75 V.
    found = run(set_point=20, load=1, valley=21, peak=23, dropout_v=2, rejection_db=60)
    assert found.output_v == pytest.approx(19.75)
    assert found.ripple_pp_v == pytest.approx(1.0, abs=2e-3)


def test_wholly_in_dropout_follows_the_input() -> None:
    found = run(set_point=20, load=1, valley=17, peak=19, dropout_v=2)
    assert found.output_v == pytest.approx(18 - 2)
    assert found.ripple_pp_v == pytest.approx(2.0)


def test_current_limit_collapses_the_output() -> None:
    found = run(set_point=12, load=3, valley=20, peak=22, limit_a=2.2)
    assert bool(found.limited)
    assert found.output_v == 0.0
    assert found.dissipation_w == pytest.approx(21 * 2.2)


volts = st.floats(0, 60)


@given(set_point=st.floats(1, 50), valley=volts, ripple=st.floats(0, 10), dropout=st.floats(0, 5))
def test_laws(set_point: float, valley: float, ripple: float, dropout: float) -> None:
    found = run(set_point=set_point, load=1, valley=valley, peak=valley + ripple, dropout_v=dropout)
    assert 0 <= found.output_v <= set_point
    assert found.output_v <= max(valley + ripple - dropout, 0) + 1e-9 or found.headroom_v >= 0
    assert 0 <= found.ripple_pp_v <= ripple + 1e-9
    assert found.dissipation_w >= 0


@given(valley=st.floats(5, 60), more=st.floats(0, 10))
def test_a_higher_valley_never_lowers_the_output(valley: float, more: float) -> None:
    def output(low: float) -> Array:
        return run(set_point=20, load=1, valley=low, peak=low + 2).output_v

    assert output(valley + more) >= output(valley) - 1e-12
