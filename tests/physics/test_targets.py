"""Targets that a sheet's own expectation misses are found before anything is built."""

from __future__ import annotations

import msgspec
import pytest

from ohmward.physics import expect
from ohmward.physics.targets import FAR, all_findings, target_findings
from ohmward.shipped import folder
from ohmward.supply import Finding, findings, loads
from ohmward.supply.model import Supply, Targets

CR_07 = loads((folder("demo") / "CR-07.toml").read_text(encoding="utf-8"))


def with_targets(name: str, **said: float) -> Supply:
    rails = tuple(
        msgspec.structs.replace(rail, targets=Targets(**said)) if rail.name == name else rail
        for rail in CR_07.rails
    )
    return msgspec.structs.replace(CR_07, rails=rails)


def found(supply: Supply) -> list[Finding]:
    return list(target_findings(supply, expect(supply, draws=0, margins=False)))


def test_an_unregulated_rail_with_the_targets_of_a_regulated_one_is_a_contradiction() -> None:
    one, two = found(with_targets("24", load_regulation_pct=0.5, ripple_pp_v=0.01))
    assert [one.field, two.field] == ["rail[24].targets.load_regulation", "rail[24].targets.ripple"]
    assert {one.severity, two.severity} == {"fault"}
    assert "0.5 % is asked for" in one.text
    assert "10 mV is asked for" in two.text
    assert "without a regulator" in one.text


@pytest.mark.parametrize("share", [0.5, 0.97, 1.03])
def test_a_target_at_or_below_what_is_expected_is_found_with_both_numbers(share: float) -> None:
    rail = expect(CR_07, draws=0, margins=False).rails["+15"]
    idle, full = rail.no_load["output_v"].value, rail.loaded[-1].values["output_v"].value
    percent = 100.0 * (idle - full) / full  # IEC 60478-1 calls it load effect; the textbook denominator
    (one,) = found(with_targets("+15", load_regulation_pct=share * percent))
    assert one.severity == "improvement"
    assert "falls to" in one.text
    assert "a meter that may be further off" in one.text
    (two,) = found(
        with_targets("+15", ripple_pp_v=share * rail.loaded[-1].values["output_ripple_pp_v"].value)
    )
    assert two.field == "rail[+15].targets.ripple"


def test_targets_with_room_say_nothing_and_a_guess_is_not_held_against_them() -> None:
    assert found(CR_07) == []
    bare = loads((folder("demo") / "CR-02.toml").read_text(encoding="utf-8"))
    strict = Targets(load_regulation_pct=1e-3, ripple_pp_v=1e-6)
    rails = tuple(msgspec.structs.replace(rail, targets=strict) for rail in bare.rails)
    guessed = msgspec.structs.replace(bare, rails=rails)
    assert all(rail.guessed for rail in expect(guessed, draws=0, margins=False).rails.values())
    assert found(guessed) == []


def test_what_the_sheet_gives_away_stands_first_and_by_itself_before_anything_is_expected() -> None:
    supply = with_targets("24", ripple_pp_v=0.01)
    assert all_findings(supply, None) == findings(supply)
    expected = expect(supply, draws=0, margins=False)
    assert all_findings(supply, expected) == (*findings(supply), *target_findings(supply, expected))
    assert FAR > 1.0
