"""Limits by name against the standards and tables they are taken from.

Sources, as far as they could be seen (second hand where so said):

- IEC 60228 class 5 plain copper, maximum resistance at 20 °C: 26.0 Ω/km for 0.75 mm², 39.0 for 0.5,
  13.3 for 1.5, 7.98 for 2.5 (three public tables agree).
- IET Code of Practice, "0.1 Ω + R"; EN 50106:2008: 0.2 Ω with the cord; CTL decision sheet 363 on
  IEC 61010-1: 0.2 Ω total with a fixed cord.
- EN 50678 / EN 50699: cord-length table as printed by test-equipment makers.
- Insulation: Class I 1 MΩ, Class II 2 MΩ at 500 V DC (IET Code of Practice, VDE 0701-0702 tables).
- Primary resistances: trade table, from memory.
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.procedure import LIMIT_UNITS, Limit, LimitSet, load_limits, resolve
from ohmward.procedure.limits import cord_left_out, cord_length_limit
from ohmward.procedure.limitset import NEEDED, OBTAINED, SET_LIMITS, ByCordLength, InsulationTest, LimitRule
from ohmward.procedure.sheetlimits import primary_band
from ohmward.shipped import names
from ohmward.supply.model import Cord, HeatSink, Mains, Regulator, Reservoir, Targets
from support.supplies import CORD_2M, rail, supply, transformer

SETS = {name: load_limits(name) for name in ("iec", "uk", "eu", "au-nz")}


def limit(name: str, limits: LimitSet, **about: object) -> Limit:
    found = resolve(name, limits, about.pop("supply", supply()), **about)  # type: ignore[arg-type]
    assert found is not None
    return found


def earth_ohm(set_name: str, cord: Cord | None) -> float:
    found = limit("earth_continuity", SETS[set_name], supply=supply(cord=cord))
    assert found.low is None
    assert found.high is not None
    return found.high


@pytest.mark.parametrize("set_name", ["iec", "uk"])
def test_earth_limit_of_two_metres_of_0_75_mm2_is_0_152_ohm(set_name: str) -> None:
    # "0.1 + R": 0.1 Ω + 2 m of 0.75 mm² at 26.0 Ω/km (IET Code of Practice; IEC 60228), at 20 °C.
    assert earth_ohm(set_name, CORD_2M) == pytest.approx(0.152, abs=5e-5)


@pytest.mark.parametrize(
    ("area_mm2", "ohm"), [(0.5, 0.178), (0.75, 0.152), (1.0, 0.139), (1.5, 0.127), (2.5, 0.116), (4.0, 0.110)]
)
def test_earth_limit_by_cross_section_follows_iec_60228(area_mm2: float, ohm: float) -> None:
    # 0.1 Ω + 2 m, from the class 5 maxima at 20 °C, rounded to a milliohm.
    assert earth_ohm("uk", Cord(length_m=2.0, area_mm2=area_mm2)) == pytest.approx(ohm, abs=6e-4)


def test_a_fixed_cord_never_raises_the_new_build_limit_above_0_2_ohm() -> None:
    # EN 50106 with the cord, CTL decision 363: 0.2 Ω. 5 m of 0.75 mm² alone would make 0.23 Ω.
    assert earth_ohm("iec", Cord(length_m=5.0, area_mm2=0.75)) == pytest.approx(0.2)
    assert earth_ohm("uk", Cord(length_m=5.0, area_mm2=0.75)) == pytest.approx(0.23, abs=5e-4)


@pytest.mark.parametrize("set_name", ["iec", "uk"])
def test_of_a_cord_of_unknown_size_nothing_is_counted(set_name: str) -> None:
    """One that unplugs is left out, wherever it would count; a fixed one is measured with, from the plug."""
    for cord in (Cord(detachable=True), Cord()):
        assert earth_ohm(set_name, cord) == pytest.approx(0.1)
        assert cord_left_out(SETS[set_name], supply(cord=cord)) is cord.detachable
    assert earth_ohm("eu", Cord()) == pytest.approx(0.3)  # EN 50678: up to 5 m


def test_a_detachable_cord_is_left_out_for_a_new_build_and_counts_in_service() -> None:
    # IEC 61010-1 6.5.2.4: 0.1 Ω, cord excluded (from memory).
    cord = Cord(length_m=2.0, area_mm2=0.75, detachable=True)
    assert earth_ohm("iec", cord) == pytest.approx(0.1)
    assert earth_ohm("uk", cord) == pytest.approx(0.152, abs=5e-5)
    assert cord_left_out(SETS["iec"], supply(cord=cord))
    assert cord_left_out(SETS["iec"], supply(cord=None))
    assert not cord_left_out(SETS["iec"], supply(cord=CORD_2M))
    # AS/NZS 3760: whole path with the cord; EN 50699 and the IET Code of Practice: by its length, 0.1 Ω + R
    assert not any(cord_left_out(SETS[name], supply(cord=cord)) for name in ("uk", "eu", "au-nz"))
    through = limit("earth_continuity", SETS["iec"], supply=supply(cord=cord), with_cord=True)
    assert through.high == pytest.approx(0.152, abs=5e-5)
    assert earth_ohm("iec", None) == pytest.approx(0.1)


# Test-equipment makers' printed table for EN 50678 / EN 50699 and VDE 0701-0702, "up to" each length.
TABLE = [(5.0, 0.3), (12.5, 0.4), (20.0, 0.5), (27.5, 0.6), (35.0, 0.7), (42.5, 0.8), (50.0, 0.9)]


@pytest.mark.parametrize(("length_m", "ohm"), [*TABLE, (60.0, 1.0), (5.1, 0.4), (0.5, 0.3), (300.0, 1.0)])
def test_earth_limit_by_cord_length(length_m: float, ohm: float) -> None:
    assert earth_ohm("eu", Cord(length_m=length_m, area_mm2=0.75)) == pytest.approx(ohm, abs=1e-9)


@pytest.mark.parametrize(("length_m", "ohm"), TABLE)
def test_a_hair_more_cord_is_one_step_more(length_m: float, ohm: float) -> None:
    longer = earth_ohm("eu", Cord(length_m=length_m + 0.01, area_mm2=1.5))
    assert longer == pytest.approx(min(1.0, ohm + 0.1), abs=1e-9)


def test_a_cord_over_1_5_mm2_is_computed() -> None:
    # EN 50678/50699: above 1.5 mm² from length and area, 0.1 Ω the lowest; 10 m at 7.98 Ω/km (IEC 60228).
    assert earth_ohm("eu", Cord(length_m=10.0, area_mm2=2.5)) == pytest.approx(0.1 + 0.0798, abs=5e-4)


@given(length_m=st.floats(0.1, 100.0), more_m=st.floats(0.0, 20.0))
@settings(max_examples=60)
def test_the_limit_by_length_never_falls_with_length(length_m: float, more_m: float) -> None:
    rule = SETS["eu"].limits["earth_continuity"].rule
    assert isinstance(rule, ByCordLength)
    shorter, longer = cord_length_limit(rule, length_m), cord_length_limit(rule, length_m + more_m)
    assert 0.3 <= shorter <= longer <= 1.0


def test_in_service_earth_limit_of_australia_and_new_zealand() -> None:
    # AS/NZS 3760, 1 Ω whole path (trade pages).
    assert earth_ohm("au-nz", CORD_2M) == 1.0
    assert earth_ohm("au-nz", None) == 1.0


@pytest.mark.parametrize(
    ("set_name", "class_1", "class_2", "class_3"),
    [
        ("iec", 1e6, 2e6, 0.25e6),
        ("uk", 1e6, 2e6, 0.25e6),
        ("eu", 1e6, 2e6, 0.25e6),
        ("au-nz", 1e6, 1e6, None),
    ],
)
def test_insulation_by_protection_class(
    set_name: str, class_1: float, class_2: float, class_3: float | None
) -> None:
    # Class I 1 MΩ at 500 V DC: IET Code of Practice, VDE 0701-0702 (tables seen second hand);
    # AS/NZS 3760 1 MΩ for both classes, from memory.
    limits = SETS[set_name]
    assert limit("insulation", limits).low == class_1
    assert limit("insulation", limits, supply=supply(protection_class="II")).low == class_2
    third = resolve("insulation", limits, supply(protection_class="III"))
    assert (third.low if third else None) == class_3
    # EN 50699 5.4 (quoted in a national foreword): 500 V, 250 V with built-in surge suppressors.
    assert limits.insulation_test_v == 500.0
    assert limits.insulation_test.alternative_v == 250.0


def test_the_least_current_that_the_earth_is_measured_with() -> None:
    # EN 50106 routine test: at least 10 A; EN 50678 and EN 50699: at least 200 mA (REFERENCES, section 1).
    currents = {name: limit("earth_continuity", limits).test_current_a for name, limits in SETS.items()}
    assert currents == {"iec": 10.0, "uk": None, "eu": 0.2, "au-nz": None}


def test_earth_does_not_apply_without_a_protective_earth() -> None:
    assert resolve("earth_continuity", SETS["iec"], supply(protection_class="II")) is None


@pytest.mark.parametrize(
    ("set_name", "class_1", "class_2"),
    [("iec", 3.5e-3, 0.5e-3), ("uk", 3.5e-3, 0.25e-3), ("eu", 3.5e-3, 0.5e-3), ("au-nz", 5e-3, 1e-3)],
)
def test_protective_conductor_current(set_name: str, class_1: float, class_2: float) -> None:
    # EN 50699 3.5 mA, touch current 0.5 mA (second hand); IET 3.5 and 0.25 mA, AS/NZS 3760 5 and 1 mA (trade
    # pages); IEC 61010-1 6.3 from memory.
    limits = SETS[set_name]
    assert limit("protective_conductor_current", limits).high == class_1
    assert limit("protective_conductor_current", limits, supply=supply(protection_class="II")).high == class_2


@pytest.mark.parametrize("set_name", SETS)
def test_limits_that_every_set_shares(set_name: str) -> None:
    limits = SETS[set_name]
    residual = limit("residual_voltage", limits)
    assert (residual.low, residual.high) == (-5.0, 5.0)  # common practice, no source
    assert residual.basis == "common practice, no source"
    assert "60 V DC" in residual.advice  # IEC 61010-1: not hazardous live
    # IEC 61010-1 Ed. 3 Table 19, from memory: bare metal enclosure 65 °C, metal knobs 55 °C.
    assert limit("case_temperature", limits).high == 65.0
    assert limit("terminal_temperature", limits).high == 55.0
    # IEC 61558-1 clause 18, reinforced insulation input to output, from memory: 5 MΩ.
    assert limit("insulation_secondary", limits).low == 5e6
    assert limit("isolation_ohms", limits).low == 20e6  # common practice, no source


@pytest.mark.parametrize(
    ("insulation_class", "skin_c"),
    [(None, 85.0), ("A", 85.0), ("E", 100.0), ("B", 105.0), ("F", 125.0), ("H", 150.0)],
)
def test_transformer_skin_by_insulation_class(insulation_class: str | None, skin_c: float) -> None:
    # IEC 61558-1 Table 1, windings A/E/B/F/H 100/115/120/140/165 °C (from memory), less 15 K to the skin
    # (common practice, no source).
    own = transformer(insulation_class=insulation_class)
    assert limit("transformer_temperature", SETS["iec"], transformer=own).high == skin_c
    assert limit("transformer_temperature", SETS["iec"]).high == 85.0


@pytest.mark.parametrize("set_name", names("limits"))
def test_every_shipped_limit_says_where_it_comes_from(set_name: str) -> None:
    limits = load_limits(set_name)
    assert limits.name == set_name
    assert "local codes rule" in limits.rules or "local rules rule" in limits.rules
    assert limits.edition
    assert set(limits.limits) == set(SET_LIMITS)
    rules: list[LimitRule | InsulationTest] = [*limits.limits.values(), limits.insulation_test]
    for rule in rules:
        assert rule.basis
        assert rule.obtained.startswith(OBTAINED)
        assert rule.advice
    for name in LIMIT_UNITS:
        for one in (rail(), rail("-15", -15.0), rail("+24", 24.0, regulated=False)):
            found = resolve(name, limits, supply(), rail=one, transformer=transformer())
            if found is not None:
                assert found.basis
                assert found.obtained
                assert found.low is not None or found.high is not None
                assert found.low is None or found.high is None or found.low < found.high
    assert set(NEEDED) <= set(SET_LIMITS)


def test_shipped_sets() -> None:
    assert set(names("limits")) == set(SETS)


# --- from the design sheet -------------------------------------------------------------------------------


def test_mains_band_of_the_sheet() -> None:
    # 230 V +10/-6 % is 216.2 V to 253.0 V (Australia AS 60038, UK since 1995).
    own = supply()
    mains = Mains(voltage_v=230.0, frequency_hz=50.0, low_pct=-6.0, high_pct=10.0)
    band = limit(
        "mains_band",
        SETS["au-nz"],
        supply=type(own)(tag=own.tag, title=own.title, protection_class="I", mains=mains, rails=own.rails),
    )
    assert band.low == pytest.approx(216.2)
    assert band.high == pytest.approx(253.0)


def test_regulated_output_about_its_set_point_and_its_mirror() -> None:
    # 4 % of 15 V is 0.6 V.
    for name in ("output_no_load", "output_loaded"):
        plus, minus = limit(name, SETS["iec"], rail=rail()), limit(name, SETS["iec"], rail=rail("-15", -15.0))
        assert (plus.low, plus.high) == pytest.approx((14.4, 15.6))
        assert (minus.low, minus.high) == pytest.approx((-15.6, -14.4))


def test_the_target_comes_before_the_regulators_own_tolerance() -> None:
    tight = rail(targets=Targets(output_tolerance_pct=1.0))
    found = limit("output_no_load", SETS["iec"], rail=tight)
    assert (found.low, found.high) == pytest.approx((14.85, 15.15))
    assert "target" in found.basis
    trimmed = rail(regulator=Regulator(set_point_v=13.8, tolerance_pct=2.0))
    found = limit("output_no_load", SETS["iec"], rail=trimmed)
    assert (found.low, found.high) == pytest.approx((13.524, 14.076))


def test_an_unregulated_output_has_a_limit_only_by_target() -> None:
    raw = rail("+24", 24.0, regulated=False)
    assert resolve("output_no_load", SETS["iec"], supply(), rail=raw) is None
    aimed = rail("+24", 24.0, regulated=False, targets=Targets(output_tolerance_pct=10.0))
    found = limit("output_loaded", SETS["iec"], rail=aimed)
    assert (found.low, found.high) == pytest.approx((21.6, 26.4))
    # Without a load-regulation target nothing is known of it below rated current.
    assert resolve("output_no_load", SETS["iec"], supply(), rail=aimed) is None
    assert resolve("output_loaded", SETS["iec"], supply(), rail=aimed, load_a=0.6) is None


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_an_unregulated_output_may_rise_at_light_load_by_its_load_regulation(sign: float) -> None:
    # (V0 - V1)/V1 = 25 % at most: 24 V + 20 % at rated current is 28.8 V, 25 % more is 36 V.
    own = Targets(output_tolerance_pct=20.0, load_regulation_pct=25.0)
    raw = rail("24", sign * 24.0, regulated=False, targets=own)
    for name, load_a, ends in (
        ("output_no_load", None, (19.2, 36.0)),
        ("output_loaded", 0.0, (19.2, 36.0)),
        ("output_loaded", 0.6, (19.2, 36.0)),
        ("output_loaded", 1.2, (19.2, 28.8)),
        ("output_loaded", None, (19.2, 28.8)),
    ):
        found = limit(name, SETS["iec"], rail=raw, load_a=load_a)
        assert (found.low, found.high) == pytest.approx(sorted(sign * end for end in ends))


def test_no_datum_no_limit() -> None:
    bare = rail(regulator=Regulator(), reservoir=None, heatsink=None, targets=Targets())
    for name in (
        "output_no_load",
        "output_loaded",
        "ripple",
        "reservoir_rating",
        "heatsink_temperature",
        "load_regulation",
    ):
        assert resolve(name, SETS["iec"], supply(), rail=bare) is None
        assert resolve(name, SETS["iec"], supply()) is None
    assert (
        resolve("output_stop", SETS["iec"], supply(), rail=rail("+24", 24.0, regulated=False, reservoir=None))
        is None
    )


def test_ripple_reservoir_heat_sink_and_regulation_from_the_sheet() -> None:
    one = rail(targets=Targets(ripple_pp_v=0.005, heatsink_max_c=70.0, load_regulation_pct=1.0))
    ripple = limit("ripple", SETS["iec"], rail=one)
    assert (ripple.low, ripple.high) == (None, 0.005)
    assert limit("heatsink_temperature", SETS["iec"], rail=one).high == 70.0
    regulation = limit("load_regulation", SETS["iec"], rail=one)
    assert (regulation.low, regulation.high) == (-1.0, 1.0)
    assert limit("reservoir_rating", SETS["iec"], rail=one).high == 35.0
    assert limit("reservoir_rating", SETS["iec"], rail=rail("-15", -15.0)).low == -35.0


def test_the_heat_sink_may_be_as_hot_as_the_junction_allows() -> None:
    # Tj = Ts + (Ts - Ta)(Rjc + Rcs)/Rsa. With 125 °C, 1.2 + 0.4 K/W, 2.0 K/W and 20 °C by hand: k = 0.8,
    # Ts = (125 + 16)/1.8 = 78.33 °C; check: P = 29.17 W, Tj = 78.33 + 29.17 x 1.6 = 125.0 °C.
    warm = rail(
        regulator=Regulator(junction_max_c=125.0, junction_to_case_kpw=1.2),
        heatsink=HeatSink(thermal_resistance_kpw=2.0, interface_kpw=0.4),
    )
    found = limit("heatsink_temperature", SETS["iec"], rail=warm)
    assert found.high == pytest.approx(78.33, abs=0.01)
    aimed = rail(regulator=warm.regulator, heatsink=warm.heatsink, targets=Targets(heatsink_max_c=70.0))
    assert limit("heatsink_temperature", SETS["iec"], rail=aimed).high == 70.0


def test_a_heat_sink_of_which_the_sheet_says_nothing_may_be_as_hot_as_is_usual() -> None:
    """70 °C: common practice, no source; and so it is marked."""
    silent = rail(regulator=Regulator(), heatsink=HeatSink(thermal_resistance_kpw=2.5), targets=Targets())
    found = limit("heatsink_temperature", SETS["iec"], rail=silent)
    assert (found.low, found.high) == (None, 70.0)
    assert found.obtained == "common practice, no source"
    assert "common practice, no source" in found.basis
    assert "heatsink_max" in found.advice


def test_a_reservoir_is_neither_over_its_rating_nor_reversed() -> None:
    plus, minus = (limit("reservoir_rating", SETS["iec"], rail=r) for r in (rail(), rail("-15", -15.0)))
    for found, good, reversed_v in ((plus, 24.0, -24.0), (minus, -24.0, 24.0)):
        assert found.low is not None
        assert found.high is not None
        assert found.low <= good <= found.high
        assert not found.low <= reversed_v <= found.high


def test_stop_limit_of_an_output() -> None:
    # 1.15 x |set point|: common practice, no source.
    plus, minus = (limit("output_stop", SETS["iec"], rail=r) for r in (rail(), rail("-15", -15.0)))
    assert plus.high == pytest.approx(17.25)
    assert minus.low == pytest.approx(-17.25)
    assert "common practice, no source" in plus.basis
    raw = rail("+24", 24.0, regulated=False, reservoir=Reservoir(capacitance_f=1e-2, voltage_rating_v=40.0))
    assert limit("output_stop", SETS["iec"], rail=raw).high == 40.0


def test_lead_null_and_cord_core() -> None:
    null = limit("lead_null", SETS["iec"])
    assert (null.low, null.high) == (0.0, 1.0)  # common practice, no source
    assert limit("cord_core", SETS["iec"]).high == 0.2  # from memory: under 0.2 Ω, pin to its own core
    # 10 m of 0.75 mm² alone is 0.26 Ω (IEC 60228): the core is not to fail for its length.
    long = supply(cord=Cord(length_m=10.0, area_mm2=0.75))
    assert limit("cord_core", SETS["iec"], supply=long).high == pytest.approx(0.31, abs=1e-3)


# Accepted band of a sound 230 V primary by rating, cold: trade table, from memory.
PRIMARIES = [
    (15, 150, 450), (30, 70, 200), (50, 38, 100), (80, 22, 60), (100, 16, 45),
    (120, 12, 32), (160, 8, 22), (225, 5, 14), (300, 3.5, 10), (500, 1.8, 5),
]  # fmt: skip


@pytest.mark.parametrize(("rating_va", "low", "high"), PRIMARIES)
def test_primary_resistance_at_the_ratings_of_the_table(rating_va: float, low: float, high: float) -> None:
    found = limit("primary_resistance", SETS["iec"], transformer=transformer(rating_va=rating_va))
    assert (found.low, found.high) == pytest.approx((low, high))
    assert "from memory" in found.obtained


def test_primary_resistance_between_and_outside_the_ratings() -> None:
    between = primary_band(65.0)
    assert between is not None
    assert 22 < between[0] < 38
    assert 60 < between[1] < 100
    assert primary_band(10.0) is None
    assert primary_band(1000.0) is None
    unknown = supply(transformers=(transformer(rating_va=None),))
    assert resolve("primary_resistance", SETS["iec"], unknown) is None
    assert resolve("primary_resistance", SETS["iec"], supply(transformers=())) is None


def test_a_115_v_primary_is_a_quarter() -> None:
    # Halves of 2 x 115 V in parallel against in series: a quarter (Ohm's law).
    whole, half = primary_band(80.0, 230.0), primary_band(80.0, 115.0)
    assert whole is not None
    assert half is not None
    assert half == pytest.approx((whole[0] / 4, whole[1] / 4))


def test_primaries_read_at_the_plug_are_in_parallel() -> None:
    two = supply(transformers=(transformer("T1"), transformer("T2")))
    found = limit("primary_resistance", SETS["iec"], supply=two)
    assert (found.low, found.high) == pytest.approx((11.0, 30.0))  # two of 22 Ω to 60 Ω


@given(rating_va=st.floats(15.0, 500.0), more_va=st.floats(0.0, 200.0))
@settings(max_examples=60)
def test_a_larger_transformer_has_the_lower_primary_resistance(rating_va: float, more_va: float) -> None:
    small, large = primary_band(rating_va), primary_band(min(500.0, rating_va + more_va))
    assert small is not None
    assert large is not None
    assert small[0] < small[1]
    assert large[0] <= small[0] * (1 + 1e-12)
    assert large[1] <= small[1] * (1 + 1e-12)


def test_an_unknown_name_is_a_fault_of_the_caller() -> None:
    with pytest.raises(KeyError, match="no limit is called"):
        resolve("earth", SETS["iec"], supply())
