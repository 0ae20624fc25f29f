"""Findings on a design, each against a number worked out by hand or printed elsewhere."""

from __future__ import annotations

import msgspec
import pytest

from ohmward.shipped import folder
from ohmward.supply import Finding, discharge_seconds, findings, highest_peak_v, load
from ohmward.supply.fuses import cord_current_a, is_preferred, preferred_about
from ohmward.supply.model import (
    Cord,
    Fuse,
    Mains,
    Rail,
    Rectifier,
    RectifierKind,
    Regulator,
    Reservoir,
    Secondary,
    Supply,
    Targets,
    Transformer,
)
from ohmward.supply.relations import demand_va, primary_a, regulation_pct, reverse_v, winding_a

AIMED = Targets(ripple_pp_v=1.0)
MAINS = Mains(
    voltage_v=230.0,
    frequency_hz=50.0,
    fuse=Fuse(characteristic="T", rating_a=0.5, breaking="H"),
    cord=Cord(length_m=2.0, area_mm2=0.75),
)
T1 = Transformer(
    name="T1", rating_va=80.0, regulation_pct=20.0, secondaries=(Secondary(name="a", voltage_v=20.0),)
)
RESERVOIR = Reservoir(capacitance_f=4700e-6, voltage_rating_v=50.0, bleeder_ohm=2200.0)
RAIL = Rail(
    name="+24", nominal_v=24.0, rated_current_a=1.0, sources=("T1.a",), reservoir=RESERVOIR,
    rectifier=Rectifier(kind="bridge"), targets=AIMED,
)  # fmt: skip
HEALTHY = Supply(tag="X", title="x", protection_class="I", mains=MAINS, transformers=(T1,), rails=(RAIL,))


def with_rail(**changes: object) -> Supply:
    return msgspec.structs.replace(HEALTHY, rails=(msgspec.structs.replace(RAIL, **changes),))


def with_reservoir(**changes: object) -> Supply:
    return with_rail(reservoir=msgspec.structs.replace(RESERVOIR, **changes))


def with_mains(**changes: object) -> Supply:
    return msgspec.structs.replace(HEALTHY, mains=msgspec.structs.replace(MAINS, **changes))


def with_fuse(fuse: Fuse | None) -> Supply:
    return with_mains(fuse=fuse)


def only(supply: Supply) -> Finding:
    (found,) = findings(supply)
    return found


def test_a_healthy_design_gives_nothing_away() -> None:
    assert findings(HEALTHY) == ()


# --- reservoir, diodes, regulator -----------------------------------------------------------------


def test_peak_at_high_mains() -> None:
    # 24 V r.m.s. with no load, +10 % mains: 24 × 1.1 × √2 = 37.3 V, before diodes (by hand)
    assert highest_peak_v(HEALTHY, RAIL) == pytest.approx(37.3, abs=0.05)


def test_the_reservoir_that_is_rated_too_low() -> None:
    found = only(with_reservoir(voltage_rating_v=35.0))
    assert found.text == "+24: reservoir rated 35 V will see 37.3 V at 253 V mains"
    assert (found.field, found.severity) == ("rail[+24].reservoir.voltage_rating", "fault")
    assert "√2" in found.basis


@pytest.mark.parametrize(
    ("rating", "severity"),
    # surge voltage 1.15 × rated, IEC 60384-4 (from memory): 37.3 / 1.15 = 32.5 V
    [
        (25.0, "danger"),
        (32.0, "danger"),
        (33.0, "fault"),
        (37.0, "fault"),
        (38.0, "improvement"),
        (40.0, None),
    ],
)
def test_how_bad_it_is(rating: float, severity: str | None) -> None:
    assert [found.severity for found in findings(with_reservoir(voltage_rating_v=rating))] == (
        [severity] if severity else []
    )


def test_mains_band_and_primary_voltage_move_the_peak() -> None:
    narrow = with_mains(high_pct=6.0)  # 230 V +6 %: 243.8 V, 24 × 1.06 × √2 = 35.98 V
    assert highest_peak_v(narrow, RAIL) == pytest.approx(35.98, abs=0.01)
    tap = msgspec.structs.replace(
        HEALTHY, transformers=(msgspec.structs.replace(T1, primary_voltage_v=240.0),)
    )
    assert highest_peak_v(tap, RAIL) == pytest.approx(37.335 * 230 / 240, rel=1e-3)
    assert highest_peak_v(HEALTHY, msgspec.structs.replace(RAIL, sources=())) is None


def test_an_unknown_regulation_is_assumed_and_said() -> None:
    supply = msgspec.structs.replace(
        with_reservoir(voltage_rating_v=30.0),
        transformers=(msgspec.structs.replace(T1, regulation_pct=None),),
    )
    assert highest_peak_v(supply, RAIL) == pytest.approx(20 * 1.1 * 1.1 * 2**0.5)
    assert "regulation taken as 10 %" in only(supply).basis


def test_regulation_by_resistances() -> None:
    # 100 VA, 230 → 18 V, 5.56 A; 29 Ω and 0.1 Ω: 100·29/230² = 5.48 %, 5.56·0.1/18 = 3.09 % (by hand)
    secondary = Secondary(name="a", voltage_v=18.0, current_a=5.56, resistance_ohm=0.1)
    transformer = Transformer(name="T", rating_va=100.0, primary_ohm=29.0, secondaries=(secondary,))
    percent, assumed = regulation_pct(HEALTHY, transformer, secondary)
    assert percent == pytest.approx(8.57, abs=0.01)
    assert not assumed


def test_reverse_voltage_by_kind_of_rectifier() -> None:
    # textbook: √2·V for each diode of a bridge, twice that with a centre tap; 18 V, 19.8 V with no load,
    # 19.8 × 1.1 × √2 = 30.8 V (trade notes, by hand)
    small = Transformer(
        name="T1", rating_va=100.0, regulation_pct=10.0, secondaries=(Secondary(name="a", voltage_v=18.0),)
    )
    cases: list[tuple[RectifierKind, float]] = [("bridge", 30.8), ("centre-tap", 61.6), ("half-wave", 61.6)]
    for kind, expected in cases:
        rail = msgspec.structs.replace(RAIL, rectifier=Rectifier(kind=kind, reverse_rating_v=100.0))
        supply = msgspec.structs.replace(HEALTHY, transformers=(small,), rails=(rail,))
        assert reverse_v(supply, rail) == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize(
    ("rating", "severity"), [(30.0, "fault"), (50.0, "improvement"), (57.0, None), (100.0, None)]
)
def test_reverse_rating(rating: float, severity: str | None) -> None:
    supply = with_rail(rectifier=Rectifier(kind="bridge", reverse_rating_v=rating))
    assert [found.severity for found in findings(supply)] == ([severity] if severity else [])


def test_a_rectifier_too_small() -> None:
    found = only(with_rail(rectifier=Rectifier(kind="bridge", current_rating_a=0.5)))
    assert (found.severity, found.text) == ("fault", "+24: rectifier rated 500 mA has to carry 1 A")


@pytest.mark.parametrize(
    ("set_point", "severity"),
    [(4.0, "fault"), (48.0, "fault"), (26.0, "improvement"), (24.5, None), (24.0, None)],
)
def test_a_set_point_that_is_not_the_rails_voltage_is_found_with_both(
    set_point: float, severity: str | None
) -> None:
    """By hand of 24 V: 4 V is 83 % off, 48 V 100 %, 26 V 8 %, 24.5 V 2 %."""
    told = findings(with_rail(regulator=Regulator(set_point_v=set_point)))
    assert [found.severity for found in told] == ([severity] if severity else [])
    for found in told:
        assert found.field == "rail[+24].regulator.set_point"
        assert f"set to {set_point:g} V and the rail is nominally 24 V" in found.text
        assert "Correct whichever is wrong" in found.text
        assert "no source" in found.basis


def test_a_set_point_of_a_negative_rail_is_held_against_its_own_voltage() -> None:
    rail = msgspec.structs.replace(RAIL, name="-24", nominal_v=-24.0, regulator=Regulator(set_point_v=-24.0))
    assert findings(msgspec.structs.replace(HEALTHY, rails=(rail,))) == ()


def test_regulator_input_and_limit() -> None:
    # 35 V: the highest input of the common three-terminal regulators (their data)
    found = only(with_rail(regulator=Regulator(input_max_v=35.0)))
    assert found.text == "+24: regulator input of at most 35 V will see 37.3 V at 253 V mains"
    assert only(with_rail(regulator=Regulator(current_limit_a=0.8))).field.endswith("current_limit")
    assert findings(with_rail(regulator=Regulator(input_max_v=40.0, current_limit_a=1.5))) == ()


# --- stored charge --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("farad", "ohm", "start", "seconds", "watts"),
    # to 5 V: trade notes, worked out by hand (10 mF 1 kΩ 26 V; 4.7 mF 2.2 kΩ 35 V; 22 mF 1 kΩ 50 V)
    [(10e-3, 1e3, 26.0, 16.5, 0.68), (4.7e-3, 2.2e3, 35.0, 20.1, 0.56), (22e-3, 1e3, 50.0, 50.7, 2.5)],
)
def test_discharge_through_the_bleeder(
    farad: float, ohm: float, start: float, seconds: float, watts: float
) -> None:
    secondary = Secondary(name="a", voltage_v=start / 2**0.5 / 1.1)
    transformer = Transformer(name="T1", rating_va=500.0, regulation_pct=1e-9, secondaries=(secondary,))
    reservoir = Reservoir(capacitance_f=farad, tolerance_high_pct=0.0, bleeder_ohm=ohm)
    supply = msgspec.structs.replace(with_rail(reservoir=reservoir), transformers=(transformer,))
    assert discharge_seconds(supply, supply.rails[0]) == pytest.approx(seconds, abs=0.06)
    warm = [found for found in findings(supply) if "burns" in found.text]
    assert len(warm) == (watts > 2)
    assert not warm or "2.5 W" in warm[0].text


@pytest.mark.parametrize(
    ("rating", "severity"),
    # by hand: 37.3 V at 253 V mains, squared, over 2.2 kΩ is 0.632 W; common practice is half the rating
    [
        (2.0, None),
        (1.27, None),
        (1.25, "improvement"),
        (0.64, "improvement"),
        (0.62, "fault"),
        (0.25, "fault"),
    ],
)
def test_a_bleeder_burns_at_most_half_of_its_rating(rating: float, severity: str | None) -> None:
    found = findings(with_reservoir(bleeder_rating_w=rating))
    assert [each.severity for each in found] == ([severity] if severity else [])
    for each in found:
        assert each.field == "rail[+24].reservoir.bleeder_rating"
        assert "burns 0.63 W at 253 V mains" in each.text
        assert "common practice, no source" in each.basis
        assert ("leave the reservoir charged" in each.text) == (severity == "fault")


def test_a_bleeder_that_burns_much_is_no_finding_where_its_rating_bears_it() -> None:
    # 37.3 V over 330 Ω: 4.2 W
    assert any("burns 4.2 W" in each.text for each in findings(with_reservoir(bleeder_ohm=330.0)))
    assert findings(with_reservoir(bleeder_ohm=330.0, bleeder_rating_w=10.0)) == ()


def test_no_bleeder() -> None:
    found = only(with_reservoir(bleeder_ohm=None))
    assert (found.field, found.severity) == ("rail[+24].reservoir.bleeder", "improvement")
    assert discharge_seconds(HEALTHY, msgspec.structs.replace(RAIL, reservoir=None)) is None


def high_voltage(reservoir: Reservoir) -> Supply:
    secondary = Secondary(name="a", voltage_v=45.0)
    transformer = msgspec.structs.replace(T1, regulation_pct=10.0, secondaries=(secondary,))
    supply = with_rail(reservoir=reservoir, rated_current_a=0.5)
    return msgspec.structs.replace(supply, transformers=(transformer,))


def test_charge_above_sixty_volt_is_worse() -> None:
    # hazardous live above 60 V d.c. (IEC 61010-1 6.3.1); 45 V × 1.1 × 1.1 × √2 = 77.0 V by hand
    found = only(high_voltage(Reservoir(capacitance_f=1e-3, voltage_rating_v=100.0)))
    assert found.severity == "fault"
    assert "77.0 V" in found.text
    # 100 kΩ, 1.2 mF: 120 s × ln(77.0/60) = 29.9 s, above the 10 s of IEC 61010-1 (second hand)
    slow = Reservoir(capacitance_f=1e-3, voltage_rating_v=100.0, bleeder_ohm=100e3)
    assert only(high_voltage(slow)).text == "+24: reservoir takes 30 s to fall from 77.0 V to 60 V"


def test_a_slow_discharge_at_low_voltage_is_an_improvement() -> None:
    # 22 kΩ, 4.7 mF + 20 %: 124 s × ln(37.3/5) = 249 s by hand
    found = only(with_reservoir(bleeder_ohm=22e3))
    assert found.severity == "improvement"
    assert "249 s" in found.text


# --- transformer ----------------------------------------------------------------------------------


def test_current_in_a_winding_by_the_winders_rules() -> None:
    # a toroid winder: I_ac = 1.8 I_dc; a core maker: I_dc = 0.62 I_ac, 0.28 I_ac in half-wave
    assert winding_a(HEALTHY, "T1.a", 1.8) == pytest.approx(1.8)
    assert winding_a(HEALTHY, "T1.a", 1.6) == pytest.approx(1 / 0.62, rel=0.01)
    half = with_rail(rectifier=Rectifier(kind="half-wave"))
    assert winding_a(half, "T1.a", 1.8) == pytest.approx(1 / 0.28, rel=0.01)


def test_a_centre_tap_with_both_signs_loads_each_half_as_a_bridge_does() -> None:
    # each half carries both half-cycles: the same current as one bridge winding (symmetry)
    secondary = Secondary(name="a", voltage_v=18.0, centre_tapped=True)
    transformer = Transformer(name="T1", rating_va=80.0, regulation_pct=11.0, secondaries=(secondary,))
    rails = tuple(
        msgspec.structs.replace(RAIL, name=name, nominal_v=volts, rectifier=Rectifier(kind="centre-tap"))
        for name, volts in (("+15", 15.0), ("-15", -15.0))
    )
    supply = msgspec.structs.replace(HEALTHY, transformers=(transformer,), rails=rails)
    assert winding_a(supply, "T1.a", 1.8) == pytest.approx(1.8)
    assert demand_va(supply, transformer) == pytest.approx(2 * 18.0 * 1.8)
    assert reverse_v(supply, rails[0]) == pytest.approx(2 * (highest_peak_v(supply, rails[0]) or 0.0))
    bridged = tuple(msgspec.structs.replace(rail, rectifier=Rectifier(kind="bridge")) for rail in rails)
    same = msgspec.structs.replace(supply, rails=bridged)
    assert demand_va(same, transformer) == pytest.approx(demand_va(supply, transformer))
    alone = msgspec.structs.replace(supply, rails=bridged[:1])
    assert highest_peak_v(alone, bridged[0]) == pytest.approx(2 * (highest_peak_v(supply, rails[0]) or 0.0))


@pytest.mark.parametrize(
    ("amps", "severity"),
    # 20 V × 1.6 to 1.8 × I against 80 VA: 2.22 A to 2.5 A (by hand)
    [(2.2, None), (2.3, "improvement"), (2.6, "fault")],
)
def test_rails_against_the_rating(amps: float, severity: str | None) -> None:
    supply = msgspec.structs.replace(with_rail(rated_current_a=amps), mains=with_fuse(Fuse(
        characteristic="T", rating_a=0.8)).mains)  # fmt: skip
    found = findings(supply)
    assert [each.severity for each in found] == ([severity] if severity else [])
    assert all(each.field == "transformer[T1].rating" for each in found)


def test_a_secondary_that_states_no_rating_is_held_against_its_share_of_the_transformer() -> None:
    # by hand: 80 VA over 15 V + 15 V is 2.667 A; a bridge at 1.5 A asks 1.6 to 1.8 times that
    two = tuple(Secondary(name=name, voltage_v=15.0) for name in "ab")
    made = msgspec.structs.replace(T1, rating_va=80.0, secondaries=two)
    rails = tuple(msgspec.structs.replace(rail, rated_current_a=1.5) for rail in HEALTHY.rails)
    supply = msgspec.structs.replace(HEALTHY, transformers=(made,), rails=rails)
    found = [each for each in findings(supply) if each.field.endswith("[a].current")]
    assert [each.severity for each in found] == ["improvement"]
    assert "2.4 to 2.7 A RMS" in found[0].text
    assert "its share of 80 VA is 2.67 A" in found[0].text
    larger = msgspec.structs.replace(supply, transformers=(msgspec.structs.replace(made, rating_va=90.0),))
    assert not [each for each in findings(larger) if each.field.endswith("[a].current")]


def test_a_secondary_against_its_own_rating() -> None:
    secondary = Secondary(name="a", voltage_v=20.0, current_a=1.5)
    supply = msgspec.structs.replace(
        HEALTHY, transformers=(msgspec.structs.replace(T1, secondaries=(secondary,)),)
    )
    found = only(supply)
    assert found.field == "transformer[T1].secondaries[a].current"
    assert found.text == "T1.a is rated 1.5 A and its rails ask for 1.6 to 1.8 A: it will overheat"
    # between the two ends of the rule it does not settle the matter: the computed current does
    doubtful = msgspec.structs.replace(
        HEALTHY,
        transformers=(
            msgspec.structs.replace(T1, secondaries=(msgspec.structs.replace(secondary, current_a=1.7),)),
        ),
    )
    found = only(doubtful)
    assert found.severity == "improvement"
    assert found.text.endswith("ask for 1.6 to 1.8 A: no reserve by this rule: see what is computed for it")


@pytest.mark.parametrize(
    ("primary", "severity"),
    [(115.0, "danger"), (200.0, "fault"), (220.0, None), (240.0, None), (460.0, "fault")],
)
def test_primary_voltage_against_the_mains(primary: float, severity: str | None) -> None:
    supply = msgspec.structs.replace(
        with_reservoir(voltage_rating_v=None),
        transformers=(msgspec.structs.replace(T1, primary_voltage_v=primary),),
    )
    found = [each for each in findings(supply) if each.field.endswith("primary_voltage")]
    assert [each.severity for each in found] == ([severity] if severity else [])


# --- fuse and cord --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "rating",
    # the list of a fuse maker's IEC 60127-2 sheet 3 table, and decades of it
    [0.032, 0.04, 0.05, 0.063, 0.08, 0.1, 0.125, 0.16, 0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8, 1.0, 1.25, 1.6,
     2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0],
)  # fmt: skip
def test_preferred_ratings(rating: float) -> None:
    assert is_preferred(rating)
    assert list(preferred_about(rating)) == pytest.approx([rating, rating])


@pytest.mark.parametrize(
    ("rating", "below", "above"),
    [(3.0, 2.5, 3.15), (1.5, 1.25, 1.6), (7.0, 6.3, 8.0), (13.0, 12.5, 16.0), (0.9, 0.8, 1.0)],
)  # fmt: skip
def test_ratings_that_are_not_preferred(rating: float, below: float, above: float) -> None:
    assert not is_preferred(rating) or rating == 0.9  # 0.9 is of series R20
    assert list(preferred_about(rating)) == pytest.approx([below, above])


def test_a_rating_of_another_standard_is_named() -> None:
    supply = msgspec.structs.replace(with_fuse(Fuse(characteristic="T", rating_a=0.3, breaking="H")))
    found = only(supply)
    assert (found.field, found.severity) == ("mains.fuse", "improvement")
    assert "250 mA and 315 mA" in found.text


@pytest.mark.parametrize(
    ("va", "rating"),
    # trade list for 230 V: 30 VA T 200 to 250 mA, 50 VA 315 to 400, 100 VA 630 to 800, 160 VA 1 to 1.6 A,
    # 300 VA 2 to 2.5 A, 500 VA 3.15 to 4 A (by hand from line current × 1.5)
    [
        (30, 0.2),
        (30, 0.25),
        (50, 0.4),
        (100, 0.8),
        (160, 1.6),
        (300, 2.0),
        (300, 2.5),
        (500, 3.15),
        (500, 4.0),
    ],
)
def test_usual_fuses_are_not_complained_of(va: float, rating: float) -> None:
    assert not any(found.field == "mains.fuse" for found in findings(fully_loaded(va, rating)))


def fully_loaded(va: float, rating: float, characteristic: str = "T") -> Supply:
    """A transformer whose one rail asks for just its rating by the factor of 1.8."""
    amps = va / 20.0 / 1.8
    transformer = msgspec.structs.replace(T1, rating_va=va)
    rail = msgspec.structs.replace(RAIL, rated_current_a=amps * 0.999)
    mains = msgspec.structs.replace(
        MAINS, fuse=Fuse(characteristic=characteristic, rating_a=rating, breaking="H")
    )
    return msgspec.structs.replace(HEALTHY, mains=mains, transformers=(transformer,), rails=(rail,))


@pytest.mark.parametrize(
    ("va", "rating", "severity", "words"),
    [
        (500.0, 2.0, "fault", "will blow"),  # 2.17 A full-load current at 230 V (by hand)
        (500.0, 2.5, "improvement", "is small"),
        # a widely copied table gives 5 A for 300 VA: 4 × at 230 V (trade notes)
        (300.0, 6.3, "fault", "does not protect"),
    ],
)
def test_unusual_fuses(va: float, rating: float, severity: str, words: str) -> None:
    supply = msgspec.structs.replace(
        fully_loaded(va, rating), mains=msgspec.structs.replace(
            fully_loaded(va, rating).mains, cord=Cord(length_m=2.0, area_mm2=1.5))
    )  # fmt: skip
    found = [each for each in findings(supply) if each.field == "mains.fuse"]
    assert [each.severity for each in found] == [severity]
    assert words in found[0].text


def test_full_load_primary_currents() -> None:
    # 100 VA 0.43 A, 160 VA 0.70 A, 300 VA 1.30 A, 500 VA 2.17 A at 230 V (VA / V)
    for va, amps in ((100.0, 0.43), (160.0, 0.70), (300.0, 1.30), (500.0, 2.17)):
        assert primary_a(fully_loaded(va, 1.0)) == pytest.approx(amps, abs=0.006)


def test_a_quick_fuse_before_a_large_transformer() -> None:
    # time-lag for any transformer over 100 VA (a toroid winder's note)
    assert any("time-lag" in found.text for found in findings(fully_loaded(160.0, 1.6, "F")))
    assert not any("time-lag" in found.text for found in findings(fully_loaded(80.0, 0.63, "F")))


def test_low_breaking_capacity_and_no_fuse() -> None:
    low = only(with_fuse(Fuse(characteristic="T", rating_a=0.5, breaking="L")))
    assert (low.severity, "breaking capacity" in low.text) == ("improvement", True)
    none = only(with_fuse(None))
    assert (none.field, none.severity) == ("mains.fuse", "improvement")


@pytest.mark.parametrize(
    ("area", "amps"),
    # IEC 60335-1 table 11 (from memory); 0.75 mm² with a 6 A fuse is also common practice
    [(0.5, 3.0), (0.75, 6.0), (1.0, 10.0), (1.25, 10.0), (1.5, 16.0), (2.5, 25.0), (0.4, 0.0)],
)
def test_what_a_cord_may_carry(area: float, amps: float) -> None:
    assert cord_current_a(area) == amps


def test_a_cord_too_thin_for_its_fuse() -> None:
    supply = fully_loaded(1000.0, 8.0)
    found = next(each for each in findings(supply) if each.field == "mains.cord.area")
    assert (found.severity, found.text) == ("fault", "cord of 0.75 mm² may carry 6 A; the fuse is T 8 A H")
    thin = with_mains(cord=Cord(length_m=1.0, area_mm2=0.3))
    assert "thinner than any" in only(thin).text


def test_class_and_cord() -> None:
    assert only(with_mains(cord=None)).field == "mains.cord"
    assert findings(msgspec.structs.replace(with_mains(cord=None), protection_class="II")) == ()
    third = only(msgspec.structs.replace(HEALTHY, protection_class="III"))
    assert (third.field, third.severity) == ("protection_class", "fault")


def test_a_rail_fuse_below_its_current_and_missing_targets() -> None:
    found = only(with_rail(fuse=Fuse(characteristic="T", rating_a=0.8)))
    assert (found.field, found.severity) == ("rail[+24].fuse", "fault")
    assert only(with_rail(targets=Targets())).field == "rail[+24].targets"


def test_a_finding_as_data() -> None:
    found = only(with_fuse(None))
    assert found.as_json() == {
        "field": found.field, "severity": found.severity, "text": found.text, "basis": found.basis,
    }  # fmt: skip


# --- the example sheets ---------------------------------------------------------------------------


@pytest.mark.parametrize("tag", ["CR-07", "CR-11", "CR-02"])
def test_example_sheets_are_marked_and_hold_no_danger_or_fault(tag: str) -> None:
    path = folder("demo") / f"{tag}.toml"
    assert "simulated example" in path.read_text(encoding="utf-8").lower()
    supply = load(path)
    assert supply.tag == tag
    assert "simulated" in supply.title
    assert {found.severity for found in findings(supply)} <= {"improvement"}


def test_the_scenario() -> None:
    # the community-radio scenario as it is laid down: rails, currents, what is regulated
    console = load(folder("demo") / "CR-07.toml")
    assert {(rail.nominal_v, rail.rated_current_a, rail.regulator is not None) for rail in console.rails} == {
        (15.0, 1.2, True), (-15.0, 1.2, True), (48.0, 0.15, True), (24.0, 2.0, False),
    }  # fmt: skip
    assert findings(console) == ()
    assert len(console.parts) >= 3
    motor = load(folder("demo") / "CR-11.toml")
    assert [(rail.nominal_v, rail.rated_current_a, rail.regulator) for rail in motor.rails] == [
        (24.0, 6.0, None)
    ]
    stranger = load(folder("demo") / "CR-02.toml")
    assert [(rail.nominal_v, rail.rated_current_a) for rail in stranger.rails] == [(5.0, 3.0)]
    assert (stranger.transformers, stranger.rails[0].reservoir) == ((), None)


# --- who is fed by which winding ------------------------------------------------------------------


def with_windings(*names: str, centre_tapped: bool = False) -> Transformer:
    made = tuple(Secondary(name=name, voltage_v=20.0, centre_tapped=centre_tapped) for name in names)
    return msgspec.structs.replace(T1, secondaries=made)


NEGATIVE = msgspec.structs.replace(RAIL, name="-24", nominal_v=-24.0)


def test_two_bridges_of_opposite_sign_on_one_winding_short_it_where_they_share_a_0_v() -> None:
    # by hand: 0 V is the anode end of one bridge and the cathode end of the other, so that current runs
    # from one end of the winding through a diode of each into the other end
    both = msgspec.structs.replace(HEALTHY, rails=(RAIL, NEGATIVE), transformers=(with_windings("a"),))
    found = [each for each in findings(both) if "share a 0 V" in each.text]
    assert [each.severity for each in found] == ["fault"]
    assert "+24 and -24" in found[0].text
    tapped = (with_windings("a", centre_tapped=True),)
    apart = (RAIL, msgspec.structs.replace(NEGATIVE, sources=("T1.b",)))
    for sound in (
        msgspec.structs.replace(both, transformers=tapped),
        msgspec.structs.replace(both, rails=apart, transformers=(with_windings("a", "b"),)),
        msgspec.structs.replace(both, rails=(RAIL, msgspec.structs.replace(RAIL, name="+12"))),
    ):
        assert not any("share a 0 V" in each.text for each in findings(sound))


def test_a_winding_that_feeds_nothing_is_named() -> None:
    spare = msgspec.structs.replace(HEALTHY, transformers=(with_windings("a", "b"),))
    assert only(spare).field == "transformer[T1].secondaries[b]"
    assert only(spare).severity == "improvement"
