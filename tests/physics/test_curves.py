"""Plot data: a rail against its load, and one cycle of the mains."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from ohmward.errors import InputError
from ohmward.physics import apply, expect, load_curve, one_cycle, simulate
from ohmward.supply.model import Regulator, Secondary
from support.supplies import rail, supply, transformer

SHEET = supply(
    rails=(rail(), rail("-15", -15.0, sources=("T1.b",))), transformers=(transformer(rating_va=120.0),)
)


def test_a_curve_has_ordered_bands_and_falls() -> None:
    curve = load_curve(SHEET, "+15", mains_v=230.0, draws=100)
    loads, reservoir = zip(*curve.series("reservoir_mean_v"), strict=True)
    assert list(loads) == sorted(loads)
    assert loads[0] == 0.0
    assert loads[-1] == pytest.approx(1.1 * 1.2)
    for before, after in pairwise(reservoir):
        assert after.value < before.value
        assert after.low < after.value < after.high
    ripple = [band.value for _, band in curve.series("reservoir_ripple_pp_v")]
    assert ripple == sorted(ripple)


def test_a_curve_meets_the_expectation() -> None:
    curve = load_curve(SHEET, "-15", mains_v=230.0, fractions=(1.0,), draws=0)
    alone = expect(SHEET, mains_v=230.0, draws=0, margins=False).rails["-15"].loaded[-1].values
    found = dict(curve.points[0].values)
    assert found.keys() == alone.keys()
    for key, band in alone.items():
        assert found[key].value == pytest.approx(band.value, rel=1e-5), key


def test_one_cycle_is_what_it_is_summed_up_as() -> None:
    cycle = one_cycle(SHEET, "-15", loads={"-15": 1.2, "+15": 1.2}, mains_v=230.0, samples=2000)
    run = simulate(SHEET, loads={"-15": 1.2, "+15": 1.2}, mains_v=230.0)
    state = run.state.rails["-15"]
    assert cycle.time_s[0] == 0.0
    assert np.diff(cycle.time_s) == pytest.approx(0.02 / 2000)
    assert -cycle.reservoir_v.mean() == pytest.approx(state.reservoir.mean_v[0], rel=1e-4)
    assert np.ptp(cycle.reservoir_v) == pytest.approx(state.reservoir.ripple_pp_v[0], rel=5e-3)
    # Charge balance: what the diodes bring in a cycle is what is drawn from the reservoir.
    assert cycle.diode_a.mean() == pytest.approx(state.raw_a[0], rel=2e-3)
    assert -cycle.output_v.mean() == pytest.approx(state.output_v[0], rel=1e-3)


def test_a_valley_comes_through_in_the_cycle() -> None:
    thin = transformer(rating_va=60.0, secondaries=(Secondary(name="a", voltage_v=13.5),))
    sheet = supply(rails=(rail(regulator=Regulator(dropout_v=2.2)),), transformers=(thin,))
    cycle = one_cycle(sheet, "+15", loads={"+15": 1.2}, mains_v=230.0, samples=1000)
    notch = cycle.output_v < cycle.output_v.max() - 0.05
    assert 0.1 < notch.mean() < 1.0
    state = simulate(sheet, loads={"+15": 1.2}, mains_v=230.0).state.rails["+15"]
    # The closed form takes the reservoir to fall in a straight line.
    assert cycle.output_v.mean() == pytest.approx(state.output_v[0], rel=5e-3)
    assert np.ptp(cycle.output_v) == pytest.approx(state.output_ripple_pp_v[0], rel=0.05)


def test_an_open_diode_leaves_one_hump_a_cycle() -> None:
    for unit, humps in ((SHEET, 2), (apply("open-diode", SHEET, "+15"), 1)):
        current = one_cycle(unit, "+15", loads={"+15": 1.2}, mains_v=230.0).diode_a
        conducting = current > 0.2 * current.max()
        assert int(np.sum(conducting & ~np.roll(conducting, 1))) == humps


def test_what_cannot_be_drawn_is_refused() -> None:
    with pytest.raises(InputError, match="'\\+12' cannot be modelled"):
        load_curve(SHEET, "+12")
    with pytest.raises(InputError, match="no such rail"):
        one_cycle(SHEET, "+12", loads={})
