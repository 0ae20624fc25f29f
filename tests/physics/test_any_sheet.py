"""Whatever a sheet says, the answer is bands of real numbers, and words where there is none."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.physics import expect
from ohmward.supply.model import (
    HeatSink,
    Mains,
    Rail,
    Rectifier,
    Regulator,
    Reservoir,
    Secondary,
    Supply,
    Transformer,
)
from support.supplies import transformer

WILD = [0.0, -1.0, float("nan"), float("inf"), 1e-12, 1e12]


def about(low: float, high: float) -> st.SearchStrategy[float]:
    """Return sensible values, and now and then one that cannot be."""
    sensible = st.floats(math.log(low), math.log(high)).map(math.exp)
    return st.integers(0, 59).flatmap(lambda roll: sensible if roll < 59 else st.sampled_from(WILD))


def maybe(low: float, high: float) -> st.SearchStrategy[float | None]:
    return st.one_of(st.none(), about(low, high))


secondaries = st.builds(
    Secondary,
    name=st.sampled_from(["a", "a", "a", "b"]),
    voltage_v=about(3, 100),
    current_a=maybe(0.05, 20),
    resistance_ohm=maybe(0.01, 20),
    centre_tapped=st.booleans(),
)
transformers = st.builds(
    Transformer,
    name=st.just("T1"),
    secondaries=st.lists(secondaries, min_size=1, max_size=2, unique_by=lambda one: one.name).map(tuple),
    primary_voltage_v=maybe(90, 260),
    rating_va=maybe(3, 800),
    regulation_pct=maybe(2, 40),
    primary_ohm=maybe(1, 500),
    core=st.sampled_from([None, "toroid", "laminated"]),
    temperature_rise_k=maybe(20, 100),
)
regulators = st.builds(
    Regulator,
    set_point_v=maybe(1, 60),
    tolerance_pct=maybe(0.1, 10),
    dropout_v=maybe(0.1, 5),
    ripple_rejection_db=maybe(20, 90),
    output_ohm=maybe(1e-3, 1),
    current_limit_a=maybe(0.1, 10),
    junction_to_case_kpw=maybe(0.5, 10),
)
rails = st.builds(
    Rail,
    name=st.sampled_from(["one", "two"]),
    nominal_v=st.tuples(st.sampled_from([-1.0, 1.0]), about(1, 60)).map(lambda pair: pair[0] * pair[1]),
    rated_current_a=about(0.01, 10),
    sources=st.sampled_from([(), *[("T1.a",)] * 8, ("T1.b",), ("T1.a", "T1.b"), ("T2.a",)]),
    rectifier=st.one_of(
        st.none(),
        st.builds(
            Rectifier, kind=st.sampled_from(["bridge", "centre-tap", "half-wave"]), forward_v=maybe(0.3, 1.5)
        ),
    ),
    reservoir=st.one_of(
        st.none(),
        st.builds(
            Reservoir, capacitance_f=about(1e-5, 0.1), esr_ohm=maybe(1e-3, 2), bleeder_ohm=maybe(50, 1e5)
        ),
    ),
    regulator=st.one_of(st.none(), regulators),
    heatsink=st.one_of(st.none(), st.builds(HeatSink, thermal_resistance_kpw=about(0.3, 30))),
    wiring_ohm=maybe(1e-3, 1),
)
sheets = st.builds(
    Supply,
    tag=st.just("any"),
    title=st.just("any sheet"),
    protection_class=st.just("I"),
    mains=st.builds(Mains, voltage_v=about(90, 260), frequency_hz=st.sampled_from([50.0, 60.0] * 20 + [0.0])),
    rails=st.lists(rails, max_size=2, unique_by=lambda one: one.name).map(tuple),
    transformers=st.lists(transformers, min_size=1, max_size=1).map(tuple) | st.just(()),
)


@settings(max_examples=100, deadline=None)
@given(sheet=sheets)
def test_no_sheet_gives_anything_but_numbers_and_words(sheet: Supply) -> None:
    found = expect(sheet, draws=3, load_points=(0.1, 1.0))
    groups = [found.unit, *found.secondaries.values(), *found.transformers.values()]
    for one in found.rails.values():
        groups += [one.no_load, one.together, *(point.values for point in one.loaded)]
        groups += [] if one.discharge_s is None else [{"discharge_s": one.discharge_s}]
        assert not any("nan" in word or "inf" in word.split() for word in one.notes)
    for values in groups:
        for key, band in values.items():
            assert np.isfinite([band.low, band.value, band.high]).all(), key
            assert band.low <= band.value <= band.high, key
    for rail in sheet.rails:
        there = found.rails.get(rail.name)
        if there is None or "output_v" not in there.no_load or "output_v" not in there.together:
            assert found.problems


def test_a_plain_sheet_is_no_problem() -> None:
    one = Rail(name="one", nominal_v=15.0, rated_current_a=1.0, sources=("T1.a",))
    sheet = Supply(
        tag="plain",
        title="plain",
        protection_class="I",
        mains=Mains(voltage_v=230.0, frequency_hz=50.0),
        rails=(one,),
        transformers=(transformer(),),
    )
    assert not expect(sheet, draws=3).problems
