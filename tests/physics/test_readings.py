"""What every reading ought to be: complete, ordered, signed, repeatable, and right by common practice."""

from __future__ import annotations

from itertools import pairwise

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.physics import expect
from ohmward.physics.expectation import (
    RAIL_LOADED_KEYS,
    RAIL_NO_LOAD_KEYS,
    SECONDARY_KEYS,
    TRANSFORMER_KEYS,
    UNIT_KEYS,
    Band,
    Expectation,
)
from ohmward.physics.readings import at_full_load
from ohmward.supply import findings
from ohmward.supply.model import Mains, Rail, Rectifier, Regulator, Reservoir, Secondary, Supply
from support.supplies import rail, supply, transformer

BIG = transformer(rating_va=160.0, regulation_pct=9.0)
TWO_RAILS = supply(rails=(rail(), rail("-15", -15.0, sources=("T1.b",))), transformers=(BIG,))
FOUND = expect(TWO_RAILS, mains_v=230.0, draws=600, seed=3)


def every_band(found: Expectation) -> list[tuple[str, Band]]:
    named: list[tuple[str, Band]] = []
    for name, one in found.rails.items():
        named += [(f"{name} {key}", band) for key, band in (one.no_load | one.together).items()]
        named += [(f"{name} {key}", band) for point in one.loaded for key, band in point.values.items()]
        named += [] if one.discharge_s is None else [(f"{name} discharge", one.discharge_s)]
    for group in (*found.secondaries.values(), *found.transformers.values(), found.unit):
        named += list(group.items())
    return named


def test_every_key_of_the_contract_is_there() -> None:
    for one in FOUND.rails.values():
        assert set(one.no_load) == set(RAIL_NO_LOAD_KEYS)
        assert [point.load_a for point in one.loaded] == pytest.approx([0.12, 0.3, 0.6, 0.9, 1.2])
        for values in (one.together, *(point.values for point in one.loaded)):
            assert set(values) == set(RAIL_LOADED_KEYS)
        assert one.discharge_s is not None
        assert one.notes
    assert {key for values in FOUND.secondaries.values() for key in values} == set(SECONDARY_KEYS)
    assert set(FOUND.transformers["T1"]) == set(TRANSFORMER_KEYS)
    assert set(FOUND.unit) == set(UNIT_KEYS)
    assert not FOUND.problems


def test_a_heat_sink_is_foretold_late_in_a_soak_whatever_its_time_constant() -> None:
    """Cold at first and of 25 min, it lacks e^(-30/25) = 30 % of its rise at half an hour; at most."""
    together, late = FOUND.rails["+15"].together["heatsink_c"], FOUND.band("heatsink_late_c", "+15")
    assert late is not None
    assert (late.value, late.high) == (together.value, together.high)
    assert late.low < together.low
    room = FOUND.ambient_c
    assert late.low > room + 0.7 * (together.low - room) - 2.0


def test_lookup_by_subject_and_load() -> None:
    loaded = FOUND.band("output_v", "-15", load_a=1.2)
    assert loaded is not None
    assert loaded.value == pytest.approx(-15, abs=0.1)
    assert FOUND.band("no_load_v", "T1.a") is not None
    assert FOUND.band("primary_ohm", "T1") is not None
    assert FOUND.band("mains_a") is not None
    assert FOUND.band("output_v", "+15", load_a=0.5) is None


@pytest.mark.parametrize("found", [FOUND, expect(supply(), draws=300)], ids=["mains read", "mains not read"])
def test_bands_are_ordered_and_finite(found: Expectation) -> None:
    for name, band in every_band(found):
        assert band.low <= band.value <= band.high, name
        assert np.isfinite([band.low, band.value, band.high]).all(), name


def test_a_negative_rail_mirrors_the_positive_one() -> None:
    plus, minus = FOUND.rails["+15"], FOUND.rails["-15"]
    for key, band in plus.together.items():
        other = minus.together[key]
        if key in {"output_v", "reservoir_mean_v", "reservoir_valley_v"}:
            assert other.high < 0 < band.low
            assert other.value == pytest.approx(-band.value, rel=1e-6)
        else:
            assert other.value == pytest.approx(band.value, rel=1e-6)


def test_same_seed_same_bands() -> None:
    again = expect(TWO_RAILS, mains_v=230.0, draws=600, seed=3)
    assert msgspec.json.encode(again) == msgspec.json.encode(FOUND)
    other = expect(TWO_RAILS, mains_v=230.0, draws=600, seed=4)
    assert msgspec.json.encode(other) != msgspec.json.encode(FOUND)


def test_values_need_no_draws() -> None:
    bare = expect(TWO_RAILS, mains_v=230.0, draws=0)
    for (name, band), (_, full) in zip(every_band(bare), every_band(FOUND), strict=True):
        assert band.value == pytest.approx(full.value, rel=1e-5), name
        assert band.low == band.value == band.high, name


def test_mains_not_read_widens_to_its_whole_band() -> None:
    unread = expect(TWO_RAILS, draws=600)
    read, wide = FOUND.secondaries["T1.a"]["no_load_v"], unread.secondaries["T1.a"]["no_load_v"]
    # 207 to 253 V (IEC 60038, ±10 %): 95 % of an even spread over ±10 % is ±9.5 %.
    assert wide.low / wide.value < 0.915
    assert wide.high / wide.value > 1.085
    assert read.high - read.low < 0.4 * (wide.high - wide.low)
    assert any("207 to 253 V" in word for word in unread.assumptions)


@pytest.mark.parametrize(("mains_v", "factor"), [(207.0, 0.9), (253.0, 1.1)])
def test_secondary_follows_the_mains(mains_v: float, factor: float) -> None:
    there = expect(TWO_RAILS, mains_v=mains_v, draws=0).secondaries["T1.a"]["no_load_v"].value
    assert there == pytest.approx(factor * FOUND.secondaries["T1.a"]["no_load_v"].value)


@pytest.mark.parametrize("ambient_c", [21.0, 900.0])
def test_full_load_over_the_mains_is_what_is_expected_at_each(ambient_c: float) -> None:
    mains = [207.0, 230.0, 253.0]
    found = at_full_load(TWO_RAILS, mains, ambient_c=ambient_c, draws=200)
    for volts, rails in zip(mains, found, strict=True):
        one = expect(TWO_RAILS, mains_v=volts, ambient_c=ambient_c, draws=200)
        assert rails.keys() == one.rails.keys()
        for name, values in rails.items():
            together = one.rails[name].together
            assert values.keys() == together.keys()
            for key, band in values.items():
                ends = msgspec.structs.astuple(band)
                assert ends == pytest.approx(msgspec.structs.astuple(together[key]), rel=1e-6)


def test_margins_are_called_out_in_words() -> None:
    note = next(word for word in FOUND.rails["+15"].notes if word.startswith("valley"))
    assert "above dropout at 230 V" in note
    assert "at 207 V" in note
    assert "at 253 V" in note
    # The numbers are the headroom at each mains voltage.
    at_230 = expect(TWO_RAILS, mains_v=230.0, draws=0).rails["+15"].together["headroom_v"].value
    assert f"valley {at_230:.1f} V above dropout at 230 V" in note


def test_a_short_valley_says_short() -> None:
    thin = transformer(
        rating_va=160.0, regulation_pct=9.0, secondaries=(Secondary(name="a", voltage_v=14.5),)
    )
    found = expect(supply(rails=(rail(),), transformers=(thin,)), draws=0)
    note = next(word for word in found.rails["+15"].notes if word.startswith("valley"))
    assert "V short at 207 V" in note


PEAK_V = 18.0 * 1.09 * 1.1 * 2**0.5
"""Handbook: √2 × rated voltage × (1 + regulation) × high mains over rated mains = 30.52 V, no diode drops."""


@pytest.mark.parametrize("rating_v", [28.0, 29.5, 30.2, 30.5, 30.6, 32.0, 35.0])
def test_the_findings_and_the_margins_judge_a_rating_by_the_same_peak(rating_v: float) -> None:
    """Between the peak less two drops and the peak itself they once disagreed."""
    made = rail(
        reservoir=Reservoir(capacitance_f=6.8e-3, voltage_rating_v=rating_v, bleeder_ohm=2200.0),
        rectifier=Rectifier(kind="bridge", reverse_rating_v=rating_v),
        regulator=Regulator(tolerance_pct=4.0, input_max_v=rating_v),
    )
    sheet = supply(rails=(made,), transformers=(BIG,))
    notes = expect(sheet, draws=0).rails["+15"].notes
    assert f"reservoir at most {PEAK_V:.1f} V unloaded at 253 V" in " | ".join(notes)
    above = rating_v < PEAK_V
    words = "ABOVE its" if above else "within its"
    assert any(f"{words} {rating_v:g} V" in note for note in notes if note.startswith("reservoir"))
    assert any(f"{words} {rating_v:g} V" in note for note in notes if note.startswith("diodes"))
    assert any("ABOVE the regulator's" in note for note in notes) == above
    bad = {each.field.rpartition(".")[2] for each in findings(sheet) if each.severity in {"fault", "danger"}}
    rated = {"voltage_rating", "reverse_rating", "input_max"}
    assert bad & rated == (rated if above else set())


def test_an_overheated_transformer_is_called_out() -> None:
    small = transformer(rating_va=30.0, insulation_class="B")
    found = expect(supply(rails=(rail(regulated=False),), transformers=(small,)), draws=0)
    note = next(word for word in found.rails["+15"].notes if word.startswith("T1"))
    assert "rated 30 VA" in note
    assert "ABOVE 120 °C (class B)" in note
    note = next(word for word in FOUND.rails["+15"].notes if word.startswith("T1"))
    assert "within 100 °C" in note


# --- common practice ------------------------------------------------------------------------------


def raw(
    volts: float, secondary_v: float, load_a: float, *, regulated: bool = False, rating: float = 160.0
) -> Supply:
    one = Rail(
        name="rail",
        nominal_v=volts,
        rated_current_a=load_a,
        sources=("T1.a",),
        rectifier=Rectifier(kind="bridge"),
        reservoir=Reservoir(capacitance_f=4.7e-3 * load_a, bleeder_ohm=2200.0),
        regulator=Regulator(dropout_v=2.2) if regulated else None,
    )
    secondaries = (Secondary(name="a", voltage_v=secondary_v),)
    return supply(rails=(one,), transformers=(transformer(rating_va=rating, secondaries=secondaries),))


def test_24_v_ac_makes_about_34_v_dc_lightly_loaded() -> None:
    # Common practice, no source.
    found = expect(raw(30.0, 24.0, 2.0), mains_v=230.0, load_points=(0.05,), draws=0)
    assert found.rails["rail"].loaded[0].values["output_v"].value == pytest.approx(34, abs=1.5)


def test_18_v_ac_carries_a_regulated_12_v_rail_at_2_a() -> None:
    # Common practice, no source: with headroom, at low mains too.
    found = expect(raw(12.0, 18.0, 2.0, regulated=True), mains_v=207.0, draws=0)
    assert found.rails["rail"].together["headroom_v"].value > 1.0
    assert found.rails["rail"].together["output_v"].value == pytest.approx(12.0, abs=0.1)


@pytest.mark.parametrize(("load_a", "wanted"), [(0.5, False), (1.5, True)])
def test_a_bridge_wants_a_heat_sink_above_about_1_a(load_a: float, wanted: bool) -> None:
    # Common practice, no source.
    notes = expect(raw(24.0, 18.0, load_a), draws=0).rails["rail"].notes
    assert any("wants metal" in word for word in notes) == wanted


def test_rule_of_1_8_for_the_secondary_current() -> None:
    # A toroid winder: I_ac = 1.8 I_dc behind a bridge; another 1.7; a core maker 1.61. At full load.
    found = expect(raw(24.0, 18.0, 2.0, rating=60.0), mains_v=230.0, draws=0)
    assert 1.55 <= found.rails["rail"].together["secondary_rms_a"].value / 2.0 <= 1.95


def test_ripple_stays_under_the_plain_formula() -> None:
    # I/(2 f C): 5 A, 50 Hz, 10 000 µF gives 5.0 V p-p, an upper bound (found in any text).
    one = Rail(
        name="rail",
        nominal_v=30.0,
        rated_current_a=5.0,
        sources=("T1.a",),
        rectifier=Rectifier(kind="bridge"),
        reservoir=Reservoir(capacitance_f=10e-3, esr_ohm=0.01),
    )
    big = transformer(rating_va=300.0, secondaries=(Secondary(name="a", voltage_v=24.0),))
    found = expect(supply(rails=(one,), transformers=(big,)), mains_v=230.0, draws=0)
    assert 0.6 * 5.0 < found.rails["rail"].together["reservoir_ripple_pp_v"].value < 5.0


# --- what the sheet leaves out --------------------------------------------------------------------


def test_a_nameplate_gives_wide_bands_and_says_so() -> None:
    bare = Supply(
        tag="CR-02",
        title="A stranger (simulated example)",
        protection_class="I",
        mains=Mains(voltage_v=230.0, frequency_hz=50.0),
        rails=(Rail(name="5", nominal_v=5.0, rated_current_a=3.0),),
    )
    found = expect(bare)
    one = found.rails["5"]
    # Unregulated "12 V 0.5 A" shows 17 to 20 V unloaded (web and trade pages): up to half as high again.
    assert one.no_load["output_v"].high >= 1.4 * 5.0
    assert one.no_load["output_v"].low <= 0.95 * 5.0
    assert one.loaded[-1].values["output_v"].high < one.no_load["output_v"].high
    assert one.discharge_s is None
    assert any("nameplate" in word for word in found.assumptions)
    assert found.unit["mains_a"].low * 230.0 > 15.0
    assert not found.problems


def test_a_regulated_nameplate_is_computed_from_the_transformer_it_would_have() -> None:
    bare = rail("5", 5.0, sources=(), rectifier=None, reservoir=None, heatsink=None, rated_current_a=3.0)
    found = expect(supply(rails=(bare,), transformers=()), draws=300)
    one = found.rails["5"]
    assert one.loaded[-1].values["output_v"].value == pytest.approx(5.0, abs=0.2)
    spread = one.together["reservoir_mean_v"]
    assert (spread.high - spread.low) / spread.value > 0.2
    assert any("unknown" in word for word in found.assumptions)
    assert not found.secondaries


def test_each_fact_sharpens_the_expectation() -> None:
    silent = transformer(rating_va=160.0)
    told = transformer(rating_va=160.0, regulation_pct=9.0, primary_ohm=10.0)
    widths = []
    for one in (silent, told):
        found = expect(supply(rails=(rail(),), transformers=(one,)), mains_v=230.0, draws=500)
        band = found.transformers["T1"]["primary_ohm"]
        widths.append((band.high - band.low) / band.value)
    assert widths[1] < 0.5 * widths[0]


# --- impossible physics ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"reservoir": Reservoir(capacitance_f=0.0)}, "reservoir of 0 F"),
        ({"reservoir": Reservoir(capacitance_f=1e-3, esr_ohm=-0.1)}, "ESR of -0.1"),
        ({"wiring_ohm": -1.0}, "wiring resistance of -1"),
        ({"rated_current_a": float("nan")}, "rated current of nan"),
        ({"sources": ("T9.a",)}, "T9.a is missing"),
    ],
)
def test_impossible_values_are_named_and_left_out(changes: dict[str, object], word: str) -> None:
    found = expect(supply(rails=(rail(**changes), rail("-15", -15.0)), transformers=(BIG,)), draws=20)  # type: ignore[arg-type]
    assert any(word in problem for problem in found.problems), found.problems
    assert "+15" not in found.rails
    assert found.rails["-15"].together


def test_a_load_beyond_collapse_is_a_problem_in_words() -> None:
    found = expect(supply(rails=(rail(rated_current_a=60.0),), transformers=(transformer(),)), draws=20)
    assert any("collapses under its rated 60 A" in problem for problem in found.problems)
    assert found.rails["+15"].together == {}
    assert found.rails["+15"].no_load
    for name, band in every_band(found):
        assert np.isfinite([band.low, band.value, band.high]).all(), name


def test_a_load_that_some_units_cannot_bear_is_said() -> None:
    # About where the source can no longer carry the current over the whole cycle: some draws can, some not.
    for load in np.linspace(5.6, 8.0, 25):
        found = expect(
            supply(
                rails=(rail(rated_current_a=float(load), regulated=False),), transformers=(transformer(),)
            ),
            mains_v=230.0,
            draws=60,
            load_points=(1.0,),
            margins=False,
        )
        words = [problem for problem in found.problems if "of the units" in problem]
        for name, band in every_band(found):
            assert np.isfinite([band.low, band.value, band.high]).all(), name
        if words:
            return
    pytest.fail("no load was found that only some units bear")


def test_a_secondary_below_dropout_is_a_problem_in_words() -> None:
    low = transformer(rating_va=160.0, secondaries=(Secondary(name="a", voltage_v=9.0),))
    found = expect(supply(rails=(rail(),), transformers=(low,)), draws=0)
    assert any("secondary is too low" in problem for problem in found.problems)
    assert found.rails["+15"].together["output_v"].value < 12.0


def test_no_mains_is_no_expectation() -> None:
    found = expect(TWO_RAILS, mains_v=0.0)
    assert found.problems
    assert not found.rails


@pytest.mark.parametrize("ambient_c", [float("nan"), -273.15, 1e6])
def test_no_room_is_no_expectation(ambient_c: float) -> None:
    found = expect(TWO_RAILS, ambient_c=ambient_c, draws=10)
    assert any("room of" in problem for problem in found.problems)
    assert not found.rails


# --- laws -----------------------------------------------------------------------------------------

few = settings(max_examples=12, deadline=None)


def full(**changes: object) -> dict[str, Band]:
    """Return the bands of one unregulated rail at full load."""
    values: dict[str, object] = {"capacitance_f": 6.8e-3, "regulation_pct": 9.0, "load": 1.2} | changes
    one = rail(
        regulated=False,
        rated_current_a=values["load"],
        reservoir=Reservoir(capacitance_f=values["capacitance_f"], esr_ohm=0.03, bleeder_ohm=2200.0),  # type: ignore[arg-type]
    )
    made = transformer(rating_va=80.0, regulation_pct=values["regulation_pct"])
    return expect(supply(rails=(one,), transformers=(made,)), mains_v=230.0, draws=0).rails["+15"].together


@few
@given(capacitance=st.floats(5e-4, 2e-2), more=st.floats(1.01, 5.0))
def test_more_capacitance_never_raises_ripple(capacitance: float, more: float) -> None:
    less, bigger = full(capacitance_f=capacitance), full(capacitance_f=capacitance * more)
    assert bigger["reservoir_ripple_pp_v"].value < less["reservoir_ripple_pp_v"].value


@few
@given(load=st.floats(0.1, 2.0), more=st.floats(1.01, 2.0))
def test_more_load_never_raises_the_voltage(load: float, more: float) -> None:
    less, bigger = full(load=load), full(load=load * more)
    assert bigger["output_v"].value < less["output_v"].value
    assert bigger["reservoir_ripple_pp_v"].value > less["reservoir_ripple_pp_v"].value
    assert bigger["secondary_v"].value < less["secondary_v"].value


def test_load_points_run_in_order() -> None:
    for one in FOUND.rails.values():
        for before, after in pairwise(one.loaded):
            assert abs(after.values["reservoir_mean_v"].value) < abs(before.values["reservoir_mean_v"].value)
            assert after.values["secondary_rms_a"].value > before.values["secondary_rms_a"].value


def test_all_rails_together_sit_lower_than_one_alone() -> None:
    for one in FOUND.rails.values():
        alone, together = one.loaded[-1].values, one.together
        assert abs(together["reservoir_mean_v"].value) < abs(alone["reservoir_mean_v"].value)
