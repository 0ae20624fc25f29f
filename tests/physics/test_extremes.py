"""What is short or too hot at the ends of the mains band and in the hottest room is found on the sheet."""

from __future__ import annotations

import msgspec
import pytest

from ohmward.physics import expect
from ohmward.physics.targets import all_findings
from ohmward.shipped import folder
from ohmward.supply import Finding, loads
from ohmward.supply.model import HeatSink, Rail, Reservoir, Supply, Targets, Transformer
from support.supplies import rail, supply, transformer

CR_07 = loads((folder("demo") / "CR-07.toml").read_text(encoding="utf-8"))


def found(sheet: Supply, field: str) -> list[Finding]:
    return [each for each in all_findings(sheet, expect(sheet, draws=0)) if each.field == field]


def one_rail(own: Rail | None = None, *, fed_by: Transformer | None = None) -> Supply:
    return supply(rails=(own or rail(),), transformers=(fed_by or transformer(),))


def test_a_sound_design_says_nothing() -> None:
    expected = expect(CR_07, draws=400)
    assert expected.extremes is not None
    assert [each.severity for each in all_findings(CR_07, expected)] == []


@pytest.mark.parametrize("microfarad", [1000.0, 1500.0, 6800.0])
def test_drop_out_inside_the_mains_band_is_a_fault_and_only_there(microfarad: float) -> None:
    """Held against the expectation at that very mains: a rail that drops out there has no headroom."""
    reservoir = Reservoir(capacitance_f=microfarad * 1e-6, bleeder_ohm=2200.0)
    sheet = one_rail(rail(reservoir=reservoir))
    low_v = sheet.mains.voltage_v * (1 + sheet.mains.low_pct / 100)
    at_low = expect(sheet, mains_v=low_v, draws=0, margins=False).rails["+15"].together["headroom_v"].value
    told = found(sheet, "rail[+15].regulator.dropout")
    assert len(told) == (at_low < 0)
    for each in told:
        assert each.severity == "fault"
        assert f"{-at_low:.1f} V short" in each.text
        assert f"{low_v:.0f} V" in each.text


def test_it_is_found_on_one_side_of_the_three_and_not_on_the_other() -> None:
    def short(farad: float) -> bool:
        own = rail(reservoir=Reservoir(capacitance_f=farad, bleeder_ohm=2200.0))
        return bool(found(one_rail(own), "rail[+15].regulator.dropout"))

    assert short(1e-3)
    assert not short(6.8e-3)


@pytest.mark.parametrize(("kpw", "limit_c", "severity"), [
    (25.0, None, "fault"), (25.0, 125.0, "fault"), (0.5, 125.0, None), (0.5, None, None),
])  # fmt: skip
def test_a_junction_past_its_limit_in_the_hottest_room_is_found(
    kpw: float, limit_c: float | None, severity: str | None
) -> None:
    """T = room + P (sink + interface + inner): closed form, with the heat at the highest mains."""
    own = rail()
    assert own.regulator is not None
    regulator = msgspec.structs.replace(own.regulator, junction_max_c=limit_c, junction_to_case_kpw=1.2)
    sink = HeatSink(thermal_resistance_kpw=kpw, interface_kpw=0.4)
    own = msgspec.structs.replace(own, regulator=regulator, heatsink=sink)
    sheet = one_rail(own)
    hottest_v = sheet.mains.voltage_v * (1 + sheet.mains.high_pct / 100)
    hot = expect(sheet, mains_v=hottest_v, ambient_c=sheet.ambient_max_c, draws=0, margins=False)
    watt = hot.rails["+15"].together["dissipation_w"].value
    junction_c = sheet.ambient_max_c + watt * (kpw + 0.4 + 1.2)
    told = [each for each in found(sheet, "rail[+15].heatsink.thermal_resistance") if "junction" in each.text]
    assert [each.severity for each in told] == ([severity] if severity else [])
    for each in told:
        assert f"{junction_c:.0f} °C" in each.text
        assert "125 °C" in each.text
        assert ("junction_max" in each.text) == (limit_c is None)


@pytest.mark.parametrize(("limit_c", "severity"), [(45.0, "fault"), (None, "improvement")])
def test_a_heat_sink_past_its_target_or_past_what_is_usual_is_found(
    limit_c: float | None, severity: str
) -> None:
    own = rail(heatsink=HeatSink(thermal_resistance_kpw=4.0), targets=Targets(heatsink_max_c=limit_c))
    (each,) = (
        each
        for each in found(one_rail(own), "rail[+15].heatsink.thermal_resistance")
        if "the heat sink reaches" in each.text
    )
    assert each.severity == severity
    assert f"{limit_c or 70.0:.0f} °C it may have" in each.text
    assert ("no source" in each.basis) == (limit_c is None)


@pytest.mark.parametrize(("stated", "severity"), [("A", "fault"), (None, "improvement")])
def test_windings_past_the_limit_of_their_class_are_found(stated: str | None, severity: str) -> None:
    """IEC 61558-1 table 1, from memory: 100 °C for class A, which is taken where none is stated."""
    own = transformer(rating_va=25.0, insulation_class=stated)
    (each,) = found(one_rail(fed_by=own), "transformer[T1].insulation_class")
    assert each.severity == severity
    assert "above the 100 °C" in each.text


def test_a_ripple_target_that_only_the_upper_end_of_its_band_misses_is_found_with_both_numbers() -> None:
    own = rail(
        reservoir=Reservoir(capacitance_f=1.5e-3, bleeder_ohm=2200.0), targets=Targets(ripple_pp_v=0.1)
    )
    sheet = one_rail(own)
    expected = expect(sheet, draws=400)
    alone, hot = expected.rails["+15"].loaded[-1].values, expected.rails["+15"].together
    assert alone["output_ripple_pp_v"].value < 0.095
    upper = max(each["output_ripple_pp_v"].high for each in (alone, hot))
    assert upper > 0.12
    told = [each for each in all_findings(sheet, expected) if each.field == "rail[+15].targets.ripple"]
    assert [each.severity for each in told] == ["improvement"]
    assert "at most 100 mV is asked for" in told[0].text
    assert "in a sound unit" in told[0].text
