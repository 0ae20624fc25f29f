"""Judging one reading: verdict, expectation, bounds, lead null, stop, and the words."""

from __future__ import annotations

import math
import subprocess
import sys
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.analysis import judge
from ohmward.analysis.judgement import uncertainty_of
from ohmward.bench.meters import Meter, loads
from ohmward.physics.expectation import Band
from ohmward.procedure.model import Limit
from ohmward.quantity import parse, show, show_band

MULTIMETER, LOW_OHM, INSULATION = loads(
    """
[[meter]]
name = "multimeter"
[[meter.accuracy]]
function = "dc volts"
range = "60 V"
resolution = "10 mV"
accuracy = "±(0.5 % + 2)"
[[meter]]
name = "earth tester"
kind = "low-ohm"
[[meter.accuracy]]
function = "low ohms"
range = "20 Ω"
resolution = "1 mΩ"
accuracy = "±(2 % + 2)"
[[meter]]
name = "insulation tester"
kind = "insulation"
[[meter.accuracy]]
function = "insulation"
range = "200 MΩ"
accuracy = "3 %"
"""
)
EARTH = Limit(high=0.152, basis="IEC 61010-1", advice="Find the loose joint before anything else.")
INSULATED = Limit(low=1e6, basis="VDE")
FIFTEEN = Limit(low=14.4, high=15.6, basis="design sheet: tolerance 4 %")
BAND = Band(value=15.0, low=14.9, high=15.1)


def test_uncertainty_is_the_rectangular_half_width_times_two() -> None:
    # GUM 4.3.7: a = 0.5 % of 15.00 V + 2 x 10 mV = 95 mV, u = a / sqrt(3), U = 2 u.
    judged = judge(parse("15.00", "V"), limit=FIFTEEN, band=BAND, meter=MULTIMETER)
    assert judged.verdict == "pass"
    assert judged.uncertainty == pytest.approx(2 * 0.095 / math.sqrt(3))
    assert judged.coverage == pytest.approx(2.0)
    assert judged.as_expected is True
    assert judged.probability == pytest.approx(1.0)
    assert (judged.limit_low, judged.limit_high, judged.basis) == (14.4, 15.6, FIFTEEN.basis)
    assert (judged.expected_low, judged.expected_high) == (14.9, 15.1)


@pytest.mark.parametrize(
    ("text", "verdict"),
    [("15.40", "pass"), ("15.55", "conditional pass"), ("15.65", "conditional fail"), ("15.80", "fail")],
)
def test_the_four_outcomes(text: str, verdict: str) -> None:
    # U is about 0.11 V at 15.5 V (a = 97.5 mV): zones end at 15.49, 15.60 and 15.71 V.
    assert judge(parse(text, "V"), limit=FIFTEEN, meter=MULTIMETER).verdict == verdict


def test_without_accuracy_it_is_not_stated_and_the_digits_are_not_made_an_accuracy() -> None:
    judged = judge(parse("15.00", "V"), limit=FIFTEEN)
    assert judged.verdict == "not stated: pass"
    assert judged.uncertainty is None
    assert judged.probability is None
    assert "not stated" in judged.note
    assert (
        judge(parse("16", "V"), limit=FIFTEEN, standard_deviation=0.1, count=5).verdict == "not stated: fail"
    )


def test_passing_the_limit_and_missing_the_expectation_is_said_with_both_numbers() -> None:
    judged = judge(parse("14.5", "V"), limit=FIFTEEN, band=BAND)
    assert judged.verdict == "not stated: pass"
    assert judged.as_expected is False
    away, band = show(15.0 - 14.5, "V", uncertainty=0.05), show_band(14.9, 15.1, "V")
    assert f"reads {away} below the 15 V that the design predicts ({band})" in judged.note
    assert ", but " in judged.note


def test_the_band_is_widened_by_the_uncertainty() -> None:
    # U = 0.11 V: 15.20 V may be a 15.10 V; without a meter half a digit is all the room there is.
    assert judge(parse("15.20", "V"), band=BAND, meter=MULTIMETER).as_expected is True
    assert judge(parse("15.20", "V"), band=BAND).as_expected is False
    assert judge(parse("15.105", "V"), band=BAND).as_expected is False
    assert judge(parse("15.1", "V"), band=BAND).as_expected is True


def test_a_negative_rail_is_compared_by_size_in_words() -> None:
    judged = judge(
        parse("-14.3", "V"),
        limit=Limit(low=-15.6, high=-14.4, basis="design sheet"),
        band=Band(value=-15.0, low=-15.1, high=-14.9),
    )
    assert judged.verdict == "not stated: fail"
    away = show(0.7, "V", uncertainty=0.07)
    assert f"its size is {away} below the 15 V that the design predicts" in judged.note


def test_lead_null_is_subtracted_with_its_uncertainty() -> None:
    # a(0.180) = 5.6 mohm, a(0.060) = 3.2 mohm, combined (GUM 5.1.2) and doubled.
    judged = judge(parse("0.180", "Ω"), limit=EARTH, null=parse("0.060", "Ω"), meter=LOW_OHM)
    assert judged.net == pytest.approx(0.120)
    assert judged.uncertainty == pytest.approx(2 * math.hypot(0.0056, 0.0032) / math.sqrt(3))
    assert judged.verdict == "pass"
    other = judge(
        parse("0.180", "Ω"), limit=EARTH, null=parse("0.060", "Ω"), meter=LOW_OHM, null_meter=MULTIMETER
    )
    assert other.uncertainty == pytest.approx(2 * math.hypot(0.0056, 0.0056) / math.sqrt(3))


def test_a_reading_below_the_leads_alone_is_questioned() -> None:
    judged = judge(parse("0.03", "Ω"), limit=EARTH, null=parse("0.06", "Ω"), meter=LOW_OHM)
    assert "clean and clip the leads again" in judged.note


def test_a_bounded_null_is_taken_as_half_with_its_width() -> None:
    judged = judge(parse("0.10", "Ω"), limit=EARTH, null=parse("<0.02", "Ω"), meter=LOW_OHM)
    assert judged.net == pytest.approx(0.09)
    assert judged.uncertainty is not None
    assert judged.uncertainty > 2 * 0.01 / math.sqrt(3)


@pytest.mark.parametrize("null", ["OL", ">20"])
def test_a_null_that_is_no_value_settles_nothing(null: str) -> None:
    judged = judge(parse("0.10", "Ω"), limit=EARTH, null=parse(null, "Ω"), meter=LOW_OHM)
    assert judged.verdict == "undecided"
    assert judged.net is None
    assert "measure it again" in judged.note


@pytest.mark.parametrize(
    ("text", "limit", "verdict"),
    [
        (">200M", INSULATED, "not stated: pass"),
        (">1M", INSULATED, "not stated: pass"),
        (">0.5M", INSULATED, "undecided"),
        ("<0.5M", INSULATED, "not stated: fail"),
        ("<1M", INSULATED, "not stated: fail"),
        ("<2M", INSULATED, "undecided"),
        ("<0.1", EARTH, "not stated: pass"),
        ("<0.5", EARTH, "undecided"),
        (">0.1", EARTH, "undecided"),
        (">0.5", EARTH, "not stated: fail"),
        (">0.152", EARTH, "not stated: fail"),
        (">10", Limit(low=5.0, high=20.0, basis="-"), "undecided"),
        (">20", Limit(low=5.0, high=20.0, basis="-"), "not stated: fail"),
        ("<5", Limit(low=5.0, high=20.0, basis="-"), "not stated: fail"),
        ("OL", INSULATED, "undecided"),
        ("OL", EARTH, "undecided"),
    ],
)
def test_a_bound_has_three_answers(text: str, limit: Limit, verdict: str) -> None:
    # By the logic of the bound alone: what lies above 200 is above 1; what lies above 0.1 may be anything.
    assert judge(parse(text, "Ω"), limit=limit).verdict == verdict


def test_a_bound_near_the_limit_keeps_its_guard_band() -> None:
    # 3 % of 1.02 M is 31 kohm, U = 35 kohm: above 1.02 M may still be below 1 M.
    assert judge(parse(">1.02M", "Ω"), limit=INSULATED, meter=INSULATION).verdict == "conditional pass"
    assert judge(parse(">200M", "Ω"), limit=INSULATED, meter=INSULATION).verdict == "pass"


def test_an_overload_is_above_the_highest_range_of_a_known_meter() -> None:
    judged = judge(parse("OL", "Ω"), limit=INSULATED, meter=INSULATION)
    assert judged.verdict == "pass"
    assert judged.net == 200e6
    assert "above the meter's highest range, 200 MΩ" in judged.note
    assert judge(parse("OL", "Ω"), limit=EARTH, meter=LOW_OHM).verdict == "fail"


def test_an_overload_of_unknown_range_says_how_to_enter_it() -> None:
    judged = judge(parse("OL", "Ω"), limit=INSULATED)
    assert judged.net is None
    assert "'>200 MΩ'" in judged.note


STOP = Limit(high=18.0, low=12.0, basis="design sheet")


@pytest.mark.parametrize(
    ("text", "past"),
    [
        ("17.9", False),
        ("18.0", False),
        ("18.1", True),
        ("11.9", True),
        (">17", False),
        (">18", True),
        ("<12", True),
    ],
)
def test_past_a_stop(text: str, past: bool) -> None:
    judged = judge(parse(text, "V"), stop=STOP)
    assert judged.past_stop is past
    assert ("switch off now" in judged.note) is past


def test_an_overload_that_settles_nothing_counts_as_past_the_stop() -> None:
    assert judge(parse("OL", "V"), stop=STOP).past_stop
    assert judge(parse("OL", "V"), stop=STOP, meter=MULTIMETER).past_stop
    assert not judge(parse("OL", "V")).past_stop


def test_without_limit_and_band_there_is_nothing_to_say() -> None:
    judged = judge(parse("12", "V"))
    assert (judged.verdict, judged.note, judged.as_expected) == ("not applicable", "", None)


def test_advice_is_given_where_it_fails_only() -> None:
    assert "Find the loose joint" in judge(parse("0.5", "Ω"), limit=EARTH, meter=LOW_OHM).note
    assert "Find the loose joint" not in judge(parse("0.05", "Ω"), limit=EARTH, meter=LOW_OHM).note


def test_title_opens_the_note() -> None:
    assert judge(parse("0.5", "Ω"), limit=EARTH, title="Front panel").note.startswith(
        "Front panel: Fails its limit"
    )


def test_spread_of_few_readings_widens_the_coverage_factor() -> None:
    # s / sqrt(4) = 0.25 V dominates, 3 effective degrees of freedom: t at 95.45 % is 3.31 (GUM table G.2).
    judged = judge(parse("15.00", "V"), limit=FIFTEEN, meter=MULTIMETER, standard_deviation=0.5, count=4)
    assert judged.coverage == pytest.approx(3.31, abs=0.005)
    assert judged.uncertainty == pytest.approx(3.307 * math.hypot(0.25, 0.095 / math.sqrt(3)), rel=1e-3)


def test_the_budget_says_where_the_uncertainty_comes_from() -> None:
    value, null = parse("0.180", "Ω"), parse("0.060", "Ω")
    found = uncertainty_of(value, null=null, meter=LOW_OHM, standard_deviation=0.002, count=4)
    assert found is not None
    assert (
        found.expanded
        == judge(value, null=null, meter=LOW_OHM, standard_deviation=0.002, count=4).uncertainty
    )
    # a / sqrt(3) of 5.6 and 3.2 mohm, s / sqrt(4) of 2 mohm
    rows = {row.name: row.contribution for row in found.budget()}
    assert rows == pytest.approx(
        {
            "accuracy of the meter": 0.0056 / math.sqrt(3),
            "accuracy of the lead null": 0.0032 / math.sqrt(3),
            "repeatability": 0.001,
        }
    )
    assert uncertainty_of(value) is None


def test_the_spread_of_the_lead_null_counts_as_that_of_the_reading_does() -> None:
    # JCGM 100:2008, 4.2.3 and 5.1.2: u² = a²/3 + a0²/3 + s²/n + s0²/n0; a = 5.6 mohm, a0 = 3.2 mohm
    value, null = parse("0.180", "Ω"), parse("0.060", "Ω")
    spread: dict[str, Any] = {
        "standard_deviation": 0.002, "count": 4, "null_standard_deviation": 0.010, "null_count": 5,
    }  # fmt: skip
    found = uncertainty_of(value, null=null, meter=LOW_OHM, **spread)
    assert found is not None
    rows = {row.name: row.contribution for row in found.budget()}
    assert rows["repeatability of the lead null"] == pytest.approx(0.010 / math.sqrt(5))
    u = math.sqrt(0.0056**2 / 3 + 0.0032**2 / 3 + 0.002**2 / 4 + 0.010**2 / 5)
    assert found.standard == pytest.approx(u)
    # Welch-Satterthwaite (JCGM 100:2008, G.4.1) with 3 and 4 degrees of freedom: 12.1
    dof = u**4 / ((0.002 / 2) ** 4 / 3 + (0.010 / math.sqrt(5)) ** 4 / 4)
    assert found.dof == pytest.approx(dof)
    judged = judge(value, limit=EARTH, null=null, meter=LOW_OHM, **spread)
    assert judged.uncertainty == found.expanded
    # without a null to take off, its spread is of no account
    alone = uncertainty_of(value, meter=LOW_OHM, null_standard_deviation=0.010, null_count=5)
    assert alone is not None
    assert [row.name for row in alone.budget()] == ["accuracy of the meter"]


FRESH = """
import sys
from ohmward.analysis import judge
from ohmward.bench.meters import loads
from ohmward.procedure.model import Limit
from ohmward.quantity import parse
text = '[[meter]]\\nname = "m"\\n[[meter.accuracy]]\\nfunction = "dc volts"\\naccuracy = "1 %"\\n'
judged = judge(parse("15", "V"), limit=Limit(high=16, basis="-"), meter=loads(text)[0])
print(judged.verdict, [name for name in ("numpy", "scipy", "pandas") if name in sys.modules])
"""


def test_judging_a_typed_reading_loads_nothing_heavy() -> None:
    done = subprocess.run([sys.executable, "-c", FRESH], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "pass []"


def test_units_have_to_agree() -> None:
    with pytest.raises(ValueError, match="asks for 'V'"):
        judge(parse("1", "A"), read_unit="V")
    with pytest.raises(ValueError, match="asks for 'V'"):
        judge(parse("1", "V"), null=parse("0.1", "Ω"))


@given(st.decimals("0.001", "10", places=3), st.sampled_from([None, LOW_OHM]))
def test_a_verdict_never_contradicts_its_numbers(number: object, meter: Meter | None) -> None:
    judged = judge(parse(str(number), "Ω"), limit=EARTH, meter=meter)
    assert judged.net is not None
    inside = judged.net <= 0.152
    assert (judged.verdict in ("pass", "conditional pass", "not stated: pass")) == inside
    if judged.probability is not None:
        assert (judged.probability >= 0.5) == (judged.net <= 0.152)


def test_of_an_overload_nothing_is_said_of_how_far_it_is_off() -> None:
    band = Band(value=-26.18, low=-27.0, high=-25.0)
    noted = judge(parse("OL", "V"), stop=STOP, band=band, meter=MULTIMETER).note
    assert "It is not the 26.18 V that the design predicts" in noted
    assert "Its size is" not in noted


WEAK, BOND_TESTER, UNTOLD = loads(
    """
[[meter]]
name = "milliohm meter"
kind = "low-ohm"
test_current = "0.2 A"
[[meter]]
name = "bond tester"
kind = "low-ohm"
test_current = "10 A"
[[meter]]
name = "old meter"
kind = "low-ohm"
"""
)


def test_an_earth_measured_with_less_current_than_is_asked_passes_and_says_so() -> None:
    # EN 50106:2008: at least 10 A. Not a failure: the resistance is what it is.
    asked = Limit(high=0.152, basis="EN 50106", test_current_a=10.0)
    weak = judge(parse("0.1", "Ω"), limit=asked, meter=WEAK)
    assert weak.verdict == judge(parse("0.1", "Ω"), limit=asked, meter=BOND_TESTER).verdict
    assert "Measured with 200 mA, and 10 A or more is asked" in weak.note
    for meter in (BOND_TESTER, UNTOLD, None):
        assert "asked" not in judge(parse("0.1", "Ω"), limit=asked, meter=meter).note
    assert "asked" not in judge(parse("0.1", "Ω"), limit=EARTH, meter=WEAK).note
