"""The fault library as data: complete, worded, and pure."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from ohmward.errors import InputError
from ohmward.physics import expect
from ohmward.physics.condition import SOUND, as_unit
from ohmward.physics.fault import READINGS, Fault
from ohmward.physics.faults import FAULTS, apply, fault, subjects
from ohmward.supply.model import Reservoir
from support.supplies import rail, supply, transformer

MEASURABLE = [entry for entry in FAULTS.values() if entry.change is not None]


@pytest.mark.parametrize("entry", FAULTS.values(), ids=list(FAULTS))
def test_every_fault_has_its_words(entry: Fault) -> None:
    assert entry.name == entry.name.lower()
    assert " " not in entry.name
    for words in (entry.title, entry.what, entry.confirm, entry.make_safe):
        assert len(words) > 10
    assert entry.what.endswith(".")
    assert set(entry.moves) <= set(READINGS)
    assert bool(entry.sizes) <= bool(entry.size_is)
    assert not entry.sizes or entry.size in entry.sizes
    assert entry.alike == "" or entry.alike.endswith(" reads alike.")


def test_the_library_covers_the_trade() -> None:
    # Of the 38 usual faults of such supplies (workshop experience, no source) all but those that are two
    # names for one signature are here.
    assert len(FAULTS) >= 36
    assert len(MEASURABLE) >= 27
    assert {entry.severity for entry in FAULTS.values()} == {"danger", "fault", "improvement"}


@pytest.mark.parametrize("entry", MEASURABLE, ids=[entry.name for entry in MEASURABLE])
def test_a_fault_changes_the_unit_and_leaves_the_sheet_given(entry: Fault) -> None:
    sheet = supply()
    before = as_unit(supply())
    changed = apply(entry, sheet)
    assert changed != before
    assert sheet == before.sheet
    assert apply(entry, sheet) == changed


def test_a_smaller_capacitor_reads_like_one_dried_out_as_its_words_say() -> None:
    entry, sheet = fault("reservoir-dried"), supply()
    assert "smaller capacitor" in entry.alike
    small = replace(
        sheet.rail("+15"), reservoir=Reservoir(capacitance_f=6.8e-3 * entry.size, bleeder_ohm=2200.0)
    )
    fitted = replace(sheet, rails=(small, *sheet.rails[1:]))
    dried = expect(apply("reservoir-dried", sheet, "+15"), draws=0, margins=False).rails["+15"].loaded
    smaller = expect(fitted, draws=0, margins=False).rails["+15"].loaded
    # not quite: what is taken for its series resistance follows its capacitance
    key = "reservoir_ripple_pp_v"
    same = [point.values[key].value for point in smaller]
    assert [point.values[key].value for point in dried] == pytest.approx(same, rel=0.06)


def test_faults_add_up() -> None:
    both = apply("reservoir-esr", apply("reservoir-dried", supply(), "+15"), "+15")
    wrong = both.condition.rail("+15")
    assert wrong.capacitance_factor == 0.5
    assert wrong.esr_extra_ohm == 0.3
    assert both.condition.rail("-15") == SOUND.rail("-15")


def test_where_a_fault_can_sit() -> None:
    sheet = supply()
    assert subjects("open-diode", sheet) == ("+15", "-15", "+24")
    assert subjects("pass-device-shorted", sheet) == ("+15", "-15")
    assert subjects("shorted-turns", sheet) == ("T1",)
    assert subjects("loose-earth", sheet) == ("",)


def test_an_unknown_fault_is_refused_with_the_list() -> None:
    with pytest.raises(InputError, match="open-diode"):
        fault("gremlins")


def test_a_fault_that_cannot_sit_there_is_refused() -> None:
    with pytest.raises(InputError, match="cannot sit there"):
        apply("pass-device-shorted", supply(), "+24")
    with pytest.raises(InputError, match="no regulated-rail"):
        apply("pass-device-shorted", supply(rails=(rail(regulated=False),)))
    with pytest.raises(InputError, match="no transformer"):
        apply("shorted-turns", supply(rails=(), transformers=()))


def test_a_tap_is_a_change_of_the_sheet() -> None:
    changed = apply("wrong-tap", supply(transformers=(transformer(),)))
    assert changed.condition == SOUND
    assert changed.sheet.transformers[0].primary_voltage_v == pytest.approx(240.0)
    missing = apply("bleeder-missing", supply(), "+15")
    reservoir = missing.sheet.rail("+15").reservoir
    assert reservoir is not None
    assert reservoir.bleeder_ohm is None
