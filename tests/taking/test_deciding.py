"""Which limits meters cannot decide, by hand: U = 2 a/√3 of a rectangular half-width a (JCGM 100, 4.3.7).

ILAC-G8:09/2019, 4.2.2: what is accepted ends U inside the limit; nothing is where that is below zero.
"""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from ohmward.analysis.judgement import judge
from ohmward.bench.meters import loads
from ohmward.cli import main
from ohmward.desk import meter_rows
from ohmward.desk.meter_targets import undecided_here
from ohmward.procedure import expand, load, load_limits
from ohmward.procedure.model import Item
from ohmward.quantity import parse
from ohmward.shipped import folder
from ohmward.supply import loads as load_sheet
from ohmward.taking.deciding import undecided

SHEET = (
    (folder("demo") / "CR-07.toml").read_text(encoding="utf-8").replace('ripple = "5 mV"', 'ripple = "2 mV"')
)


def items(*steps: str) -> list[Item]:
    supply = load_sheet(SHEET)
    every = expand(load("commissioning"), supply, load_limits(supply.limit_set))
    return [item for item in every if not steps or item.spec.id in steps]


def meter(name: str, kind: str, function: str, accuracy: str, more: str = "") -> str:
    told = f'[[meter]]\nname = "{name}"\nkind = "{kind}"\n'
    return f'{told}[[meter.accuracy]]\nfunction = "{function}"\naccuracy = "{accuracy}"\n{more}\n'


SCOPE = meter("scope", "oscilloscope", "dc volts", "3 % + 5 mV")
FINE = meter("fine scope", "oscilloscope", "dc volts", "1 mV")
TENTHS = meter("dmm", "multimeter", "ohms", "0.2 Ω")


def test_a_ripple_below_what_the_oscilloscope_may_be_off_by_is_told_with_what_would_do() -> None:
    # a = 3 % of 2 mV and 5 mV = 5.06 mV: U = 5.84 mV, above the 2 mV; a third of them is a = 0.577 mV
    (found,) = undecided(items("ripple"), loads(SCOPE))
    assert found.meter == "scope"
    assert "(+15 @ 100 %, -15 @ 100 %, +48 @ 100 %)" in found.words
    assert "'scope' is good to ±5.1 mV there" in found.words
    assert "and cannot decide its limit, at most 2 mV" in found.words
    assert "what would do is one good to ±0.58 mV" in found.words
    # and so it is when it is judged: the meter's zero passes only conditionally
    limit = items("ripple")[0].limit
    (scope,) = loads(SCOPE)
    assert judge(parse("0 mV", "V"), limit=limit, meter=scope).verdict == "conditional pass"


def test_one_that_decides_is_no_finding_and_is_named_beside_one_that_does_not() -> None:
    assert undecided(items("ripple"), loads(FINE)) == []  # U = 1.15 mV
    (found,) = undecided(items("ripple"), loads(SCOPE + FINE))
    assert found.meter == "scope"
    assert found.words.endswith("; 'fine scope' can")


def test_a_multimeter_stands_for_an_ohmmeter_with_its_leads_and_is_told_where_none_is_listed() -> None:
    # a = 0.2 Ω at the reading and at the null: U = 2 √2 × 0.2/√3 = 0.33 Ω, above 0.152 Ω (limit set 'iec')
    (found,) = undecided(items("earth"), loads(TENTHS))
    assert "cannot decide its limit, at most 0.152 Ω" in found.words
    # a third of 0.152 Ω: a = 0.0507 √3/(2 √2) = 0.031 Ω
    assert "one good to ±31 mΩ" in found.words
    ohmmeter = meter("low ohms", "low-ohm", "low ohms", "5 mΩ")
    assert undecided(items("earth"), loads(TENTHS + ohmmeter)) == []


@pytest.mark.parametrize(("accuracy", "told"), [("0.5 V", False), ("0.53 V", True)])
def test_between_two_limits_half_of_their_distance_is_the_room(accuracy: str, told: bool) -> None:
    # 15 V ± 4 % is ± 0.6 V: U = 0.6 V at a = 0.52 V; 48 V has ± 1.92 V, and 24 V more
    found = undecided(items("output-no-load"), loads(meter("dmm", "multimeter", "dc volts", accuracy)))
    rails = ["+15", "-15"] if told else []
    assert [each.words.partition(":")[0].rpartition("(")[2].rstrip(")") for each in found] == rails


def test_of_a_meter_of_no_stated_accuracy_and_of_a_lower_limit_nothing_is_said() -> None:
    bare = '[[meter]]\nname = "bare"\nkind = "oscilloscope"\n'
    tester = meter("tester", "insulation", "insulation", "30 %")
    assert undecided(items(), loads(bare + tester)) == []


@pytest.fixture
def logbook(tmp_path: Path) -> Path:
    (tmp_path / "supplies").mkdir()
    (tmp_path / "supplies" / "CR-07.toml").write_text(SHEET, encoding="utf-8")
    (tmp_path / "supplies" / "broken.toml").write_text("tag = 7", encoding="utf-8")
    (tmp_path / "meters.toml").write_text(SCOPE + TENTHS, encoding="utf-8")
    return tmp_path


def test_it_is_told_where_meters_are_listed_and_checked_and_where_a_run_is_begun(
    logbook: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wanted = "CR-07: Ripple at full load, output (+15 @ 100 %, -15 @ 100 %, +48 @ 100 %)"
    for what in ("list", "check"):
        assert main(["--logbook", str(logbook), "meters", what]) == 0
        said = " ".join(capsys.readouterr().out.split())
        assert "What they cannot decide of the supplies here:" in said
        assert wanted in said
        assert "broken.toml: not a sheet that reads" in said
        assert main(["--logbook", str(logbook), "meters", what, "--json"]) == 0
        data = json.loads(capsys.readouterr().out)
        assert {each["meter"] for each in data["cannot_decide"]} == {"scope", "dmm"}
    sheet = str(logbook / "supplies" / "CR-07.toml")
    assert main(["--logbook", str(logbook), "start", sheet, "--no-screen", "--operator", "bench A"]) == 0
    assert "'scope' is good to ±5.1 mV there" in " ".join(capsys.readouterr().err.split())


def test_the_page_of_meters_says_it_of_each(logbook: Path) -> None:
    meters = loads((logbook / "meters.toml").read_text(encoding="utf-8"))
    found, unread = undecided_here(logbook, meters)
    assert len(unread) == 1
    on, scope = date(2026, 3, 10), meters[0]
    count = sum(each.meter == "scope" for each in found)
    assert count
    said = meter_rows.words(scope, on, None, found)
    assert f"it cannot decide {count} limit" in said
    lines = meter_rows.details(scope, on, None, logbook / "meters.toml", found)
    assert [line for line in lines if line.startswith("Cannot decide: CR-07: ")]
    assert len([line for line in lines if line.startswith("Cannot decide")]) == count
    assert "cannot decide" not in meter_rows.words(scope, on, None)
