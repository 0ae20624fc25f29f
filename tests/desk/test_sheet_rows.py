"""The form as rows, and in words what is wrong, what changed, what is to be expected before and after."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings

from ohmward.desk import sheet_rows, sheet_words
from ohmward.desk.expected_rows import compared
from ohmward.desk.sheet_files import Around
from ohmward.physics import expect
from ohmward.shipped import folder
from ohmward.supply import dumps
from ohmward.supply.editing import SheetForm, blank
from ohmward.supply.model import Supply
from ohmward.text import visible
from support.sheets import supplies

SLOW = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
CR_07 = (folder("demo") / "CR-07.toml").read_text(encoding="utf-8")
CAPACITANCE = ("rail", 0, "reservoir", "capacitance")


def changed_form(*changes: tuple[tuple[str | int, ...], str]) -> SheetForm:
    form = SheetForm(CR_07)
    for place, text in changes:
        form.set(place, text)
    return form


@SLOW
@given(supplies())
def test_any_sheet_has_rows_and_words_that_show(supply: Supply) -> None:
    form = SheetForm(dumps(supply))
    rows = sheet_rows.form_rows(form, form)
    assert len({row.place for row in rows}) == len(rows)
    for row in rows:
        assert not row.cells[0]
        assert visible(sheet_rows.help_words(form, row)) == sheet_rows.help_words(form, row)
        assert all(visible(cell) == cell and "\n" not in cell for cell in row.cells)
        assert sheet_rows.rails_about(form, row.place) is not None
    assert sheet_rows.differences(form, form) == []
    assert sheet_words.state_words(form, form, 3)


def test_rows_mark_what_is_wrong_and_what_has_changed() -> None:
    saved = SheetForm(CR_07)
    form = changed_form((CAPACITANCE, "4700"), (("mains", "fuse"), "T 2 A"))
    marks = {row.place: row.cells[0] for row in sheet_rows.form_rows(form, saved) if row.cells[0]}
    assert marks == {CAPACITANCE: sheet_rows.WRONG, ("mains", "fuse"): sheet_rows.CHANGED}
    absent = [row.place for row in sheet_rows.form_rows(form, saved) if row.kind == "absent"]
    assert absent == [("rail", 3, "regulator"), ("rail", 3, "heatsink")]


def test_help_names_field_unit_example_and_what_there_is_to_choose_from() -> None:
    form = SheetForm(CR_07)
    rows = {row.place: row for row in sheet_rows.form_rows(form)}
    words = sheet_rows.help_words(form, rows[CAPACITANCE])
    assert words == "rail +15, reservoir: capacitance [F], needed; such as 6800 µF"
    assert "T1.a, T1.b, T2.a, T2.b" in sheet_rows.help_words(form, rows["rail", 0, "source"])
    assert "bridge, centre-tap, half-wave" in sheet_rows.help_words(
        form, rows["rail", 0, "rectifier", "kind"]
    )
    assert "Enter adds it" in sheet_rows.help_words(form, rows["rail", 3, "regulator"])


def test_mistakes_name_the_field_as_the_form_does() -> None:
    form = changed_form((CAPACITANCE, "4700"), (("rail", 0, "name"), ""))
    assert sheet_rows.mistake_words(form) == [
        "✗ rail 1: name is needed, such as +15",
        "✗ rail 1, reservoir: capacitance is '4700': it has no unit. Write \"4700 µF\" if µF is meant",
    ]
    shortened = sheet_words.state_words(SheetForm(blank()), None, 3)
    assert len(shortened) == 3
    assert shortened[-1] == "… and 3 more: w shows all of them"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            '[[rail]]\nsource = "T9.x"',
            "rail 1: source is 'T9.x': there is no such secondary. Add the transformer",
        ),
        ('[[rail]]\nname = "+5"\n[[rail]]\nname = "+5"', "rail is '+5': the name stands more than once"),
        ('[[transformer]]\nname = "T1"', "transformer T1: secondaries: at least one is needed; a adds one"),
        ("[mains.cord]\ndetachable = 3", "cord: detachable is '3': not true or false. Write yes or no"),
        (
            '[[transformer]]\nname = "T1"\nsecondaries = [{ name = "a", voltage = "9 V" }]\n'
            '[[rail]]\nsource = "T1.a"\nrectifier = { kind = "centre-tap" }',
            "without a tap. Name its two halves, or say at the secondary: centre tapped, yes",
        ),
        ("parts = 3", "supply: parts is '3': not a list of names. Write it like case lid, front panel"),
        ("[[rail]]\nsource = 3", "source is '3': not one secondary"),
        ("tag = 5", "supply: tag is '5': not a text. Write it like CR-07"),
        ('[[rail]]\nnomial = "5 V"', "rail 1: nomial is '5 V': unknown key. The form cannot change it"),
        ("", "mains is needed: Enter on its line adds it"),
    ],
)
def test_mistakes_are_said_in_the_words_of_the_form(text: str, words: str) -> None:
    lines = sheet_rows.mistake_words(SheetForm(f"{text}\n"))
    assert any(words in line for line in lines), lines
    assert not any(sign in line for line in lines for sign in ("None", "[[", " = ", "_"))


@pytest.mark.parametrize(
    ("place", "typed", "taken"),
    [
        (("rail", 0, "nominal"), "12", "12 V"),
        (("rail", 0, "nominal"), "-12", "-12 V"),
        (("rail", 0, "rated_current"), "1.2", "1.2 A"),
        (("mains", "frequency"), "60", "60 Hz"),
        (("ambient_max",), "35", "35 °C"),
        (("transformer", 0, "primary_resistance"), "29", "29 Ω"),
        # not one size only: mΩ, µF, kΩ, mA, mV, minutes
        (("rail", 0, "reservoir", "esr"), "35", "35"),
        (CAPACITANCE, "6800", "6800"),
        (("rail", 0, "reservoir", "bleeder"), "2.2", "2.2"),
        (("rail", 0, "regulator", "quiescent_current"), "6", "6"),
        (("rail", 0, "targets", "ripple"), "5", "5"),
        (("transformer", 0, "time_constant"), "40", "40"),
        # a unit or a prefix is said, or it is no value
        (("rail", 0, "nominal"), "12 A", "12 A"),
        (("rail", 0, "nominal"), "12m", "12m"),
        (("rail", 0, "nominal"), ">12", ">12"),
        (("rail", 0, "nominal"), "12.", "12."),
        (("tag",), "12", "12"),
    ],
)
def test_a_number_alone_takes_the_unit_that_it_can_only_mean(
    place: tuple[str | int, ...], typed: str, taken: str
) -> None:
    assert SheetForm(CR_07).completed(place, typed) == taken


def test_differences_follow_rails_by_name_when_one_goes() -> None:
    saved = SheetForm(CR_07)
    form = changed_form((("rail", 2, "reservoir", "capacitance"), "2200 µF"), (("serial",), "17"))
    assert sheet_rows.differences(saved, form) == [
        "supply: serial: not stated → 17",
        "rail +48, reservoir: capacitance: 1000 µF → 2200 µF",
    ]
    form.remove(("rail", 0))
    assert sheet_rows.differences(saved, form) == [
        "rail +15: taken out",
        "supply: serial: not stated → 17",
        "rail +48, reservoir: capacitance: 1000 µF → 2200 µF",
    ]
    assert sheet_rows.differences(None, form) == []


def test_a_transformer_is_about_the_rails_it_feeds() -> None:
    form = SheetForm(CR_07)
    assert sheet_rows.rails_about(form, ("transformer", 1, "rating")) == ["+48", "24"]
    assert sheet_rows.rails_about(form, ("rail", 1, "targets")) == ["-15"]
    assert sheet_rows.rails_about(form, ("mains", "fuse")) == ["+15", "-15", "+48", "24"]
    form.set(CAPACITANCE, "")
    assert sheet_rows.rails_about(form, CAPACITANCE) == ["+15"]
    assert sheet_rows.rails_about(form, ("mains", "fuse")) == []


def test_readings_of_the_rail_come_first_and_say_what_they_were() -> None:
    saved, form = SheetForm(CR_07), changed_form((CAPACITANCE, "3400 µF"))
    assert saved.supply is not None
    assert form.supply is not None
    before, now = expect(saved.supply, draws=0, margins=False), expect(form.supply, draws=0, margins=False)
    found = compared(now, before, ["+15"])
    assert found[0].heading
    assert found[0].cells[0] == "rail +15"
    assert found[1].cells[0] == "ripple p-p at reservoir, all hot"
    assert found[1].changed
    old, new = (float(part.split()[0]) for part in found[1].cells[1].split(" → "))
    # half the capacitance, twice the ripple: dU = I dt / C, less what the longer conduction takes off
    assert 1.75 < new / old < 2.0
    whole = compared(now, None, ["+15"])
    assert not any(each.changed for each in whole)
    assert {each.key for each in whole} == {each.key for each in found}
    assert len({each.key for each in found}) == len(found)
    elsewhere = [each.cells[0] for each in found if each.heading]
    assert elsewhere[0] == "rail +15"
    assert "whole unit" in elsewhere


def test_what_stands_against_saving_is_said() -> None:
    saved, form = SheetForm(CR_07), changed_form((("tag",), "CR-08"))
    nothing = Around()
    assert sheet_words.before_saving(form, saved, nothing, nothing, "") == []
    lines = sheet_words.before_saving(form, saved, nothing, Around(runs=3), "no limit set 'x'")
    assert "Runs made so far (3) stay under CR-07" in lines[0]
    assert "no limit set 'x'" in lines[1]
    assert sheet_words.saved_words("CR-07.toml", nothing) == (
        "Saved as CR-07.toml. Esc goes back; n there starts a run on it."
    )
    assert "The 3 runs made on it keep" in sheet_words.saved_words("CR-07.toml", Around(runs=3))
    assert sheet_words.disk_words(saved, None) == [
        "Its file is gone, or cannot be read any more. Saving writes it anew."
    ]
    assert "cannot be read as a sheet" in sheet_words.disk_words(saved, "tag = ")[-1]
    assert "laid out" in sheet_words.disk_words(saved, f"# new\n{CR_07}")[-1]


def test_readings_that_rest_on_a_nameplate_alone_say_so() -> None:
    form = SheetForm(blank())
    for place, text in (
        (("tag",), "CR-02"), (("title",), "Without papers"), (("rail", 0, "name"), "+5"),
        (("rail", 0, "nominal"), "5 V"), (("rail", 0, "rated_current"), "3 A"),
    ):  # fmt: skip
        form.set(place, text)
    assert form.supply is not None
    guessed = expect(form.supply)
    words = sheet_words.expectation_words(form, guessed, current=True, computing=False, problem="")
    assert "GUESSES from the nameplate alone: +5" in words
    note = guessed.rails["+5"].notes[0]
    # common practice, no source: as `physics.nameplate` says
    assert "10 % below to 50 % above nominal" in note
    assert "ripple up to 10 %" in note
    computed = expect(SheetForm(CR_07).supply)  # type: ignore[arg-type]
    assert sheet_words.guess_words(computed) == ""


def test_a_sheet_is_of_no_concern_only_once_its_targets_are_held_against_what_to_expect() -> None:
    form = SheetForm(CR_07)
    assert form.supply is not None
    assert "as soon as" in sheet_words.state_words(form, form, 3)[0]
    expected = expect(form.supply, draws=0, margins=False)
    assert "no cause for concern" in sheet_words.state_words(form, form, 3, expected=expected)[0]
    strict = changed_form((("rail", 3, "targets", "ripple"), "1 mV"))
    assert strict.supply is not None
    found = expect(strict.supply, draws=0, margins=False)
    (line,) = sheet_words.state_words(strict, form, 3, expected=found, saved_expected=expected)
    assert "1 mV is asked for" in line
