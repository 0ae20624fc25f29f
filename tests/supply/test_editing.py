"""A sheet changed field by field: every byte that is not meant stays, and it says what was filled in."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ohmward.errors import InputError
from ohmward.shipped import folder
from ohmward.supply import dumps, loads
from ohmward.supply.editing import SheetForm, blank
from ohmward.supply.editing_fields import Field, Place, key_at, quoted, text_of, value_of
from ohmward.supply.model import Supply
from support.sheets import supplies

SLOW = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
CR_07 = (folder("demo") / "CR-07.toml").read_text(encoding="utf-8")
CAPACITANCE: Place = ("rail", 0, "reservoir", "capacitance")
# The same sheet as a person might lay it out: headers for every part, dotted keys, lists in brackets.
LAYOUTS = {
    "headers": """
tag = 'X'  # single quotes
title = "x"
protection_class = "I"
[mains]
voltage = "230 V"
frequency = "50 Hz"
[mains.cord]
length = "2 m"
area = "0.75 mm²"
[[transformer]]
name = "T1"
[[transformer.secondaries]]
name = "a"
voltage = "18 V"
[[transformer.secondaries]]
name = "b"
voltage = "9 V"   # of the lamp

# the only rail
[[rail]]
name = "+5"
nominal = "5 V"
rated_current = "3 A"
[rail.reservoir]
capacitance = "4700 µF"
# worn
esr = "80 mΩ"
[rail.targets]
ripple = "50 mV"
""",
    "brackets": """
tag = "X"
title = "x"
protection_class = "I"
mains = { voltage = "230 V", frequency = "50 Hz", cord = {length = "2 m", area = "0.75 mm²"} }
transformer = [{ name = "T1", secondaries = [
    { name = "a", voltage = "18 V" },  # first
    { name = "b", voltage = "9 V" },
] }]
rail = [
  { name = "+5", nominal = "5 V", rated_current = "3 A", reservoir = { capacitance = "4700 µF" } },
]
""",
    "dotted": """
tag = "X"
title = "x"
protection_class = "I"
mains.voltage = "230 V"
mains.frequency = "50 Hz"
mains.cord.length = "2 m"
mains.cord.area = "0.75 mm²"
[[rail]]
name = "+5"
nominal = "5 V"
rated_current = "3 A"
reservoir.capacitance = "4700 µF"
reservoir.esr = "80 mΩ"
targets.ripple = "50 mV"
[[transformer]]
name = "T1"
secondaries = [{ name = "a", voltage = "18 V" }, { name = "b", voltage = "9 V" }]
""",
    "carriage returns": """
tag = "X"
title = "x"
protection_class = "I"
[mains]
voltage = "230 V" # v
frequency = "50 Hz"
[[rail]]
name = "+5"
nominal = "5 V"
rated_current = "3 A"
reservoir = { capacitance = "4700 µF" }
""".replace("\n", "\r\n"),
}  # fmt: skip


def fields(form: SheetForm) -> list[Field]:
    return [field for part in form.parts for field in part.fields]


# --- laws -------------------------------------------------------------------------------------------


@SLOW
@given(supplies(), st.booleans())
def test_any_field_set_to_its_own_value_changes_no_byte(supply: Supply, hints: bool) -> None:
    text = dumps(supply, hints=hints)
    form = SheetForm(text)
    for field in fields(form):
        form.set(field.place, field.text)
    assert form.text == text


@SLOW
@given(supplies())
def test_every_sheet_can_be_filled_in_field_by_field_from_an_empty_one(supply: Supply) -> None:
    wanted = SheetForm(dumps(supply))
    form = SheetForm('mains = { voltage = "230 V" }\n')
    for part in wanted.parts:
        match part.place:
            case ("rail", int()):
                form.add_rail()
            case ("transformer", int()):
                form.add_transformer()
            case (*above, "secondaries", number) if number:
                form.add_secondary(tuple(above))
            case _ if part.there and part.optional:
                form.add_part(part.place)
        for field in part.fields if part.there else ():
            form.set(field.place, field.text)
    assert form.supply == supply


@SLOW
@given(supplies(), st.data())
def test_a_value_changed_and_put_back_leaves_the_sheet_as_it_was(supply: Supply, data: st.DataObject) -> None:
    text = dumps(supply)
    form = SheetForm(text)
    field = data.draw(st.sampled_from([each for each in fields(form) if each.text]))
    form.set(field.place, data.draw(st.text(st.characters(codec="utf-8"), max_size=8)))
    form.set(field.place, field.text)
    assert loads(form.text) == supply


@SLOW
@given(supplies(), st.data(), st.text(st.characters(codec="utf-8"), max_size=12))
def test_whatever_is_typed_the_text_stays_toml_and_only_that_field_says_otherwise(
    supply: Supply, data: st.DataObject, typed: str
) -> None:
    form = SheetForm(dumps(supply))
    field = data.draw(st.sampled_from([each for each in fields(form) if each.label != "name"]))
    before = {each.place: each.text for each in fields(form)}
    form.set(field.place, typed)
    tomllib.loads(form.text)
    after = {each.place: each.text for each in fields(form) if each.place in before}
    assert {place for place in before if before[place] != after[place]} <= {field.place}
    assert (form.supply is None) == bool(form.mistakes)


@given(st.text(st.characters(codec="utf-8")))
def test_text_and_value_are_inverse(text: str) -> None:
    key = key_at(("note",))
    shown = text_of(key, text)
    assert shown.isprintable()
    assert (value_of(key, shown) or "").strip() == text.strip()
    assert tomllib.loads(f"it = {quoted(text)}")["it"] == text


@given(st.lists(st.text(st.characters(codec="utf-8"), min_size=1).filter(str.strip), max_size=4))
def test_a_list_of_names_is_read_back_as_it_was(names: list[str]) -> None:
    key = key_at(("parts",))
    assert [each.strip() for each in value_of(key, text_of(key, names))] == [each.strip() for each in names]


# --- layouts of people ------------------------------------------------------------------------------


def test_a_changed_value_changes_its_line_alone_and_keeps_the_comment() -> None:
    form = SheetForm(CR_07)
    form.set(CAPACITANCE, "4700 µF")
    form.set(("mains", "fuse"), "T 2 A")
    before, after = CR_07.splitlines(), form.text.splitlines()
    changed = [new for old, new in zip(before, after, strict=True) if old != new]
    assert len(changed) == 2
    assert changed[0].startswith('fuse = "T 2 A"')
    assert changed[0].endswith("# IEC 60127")
    assert changed[1] == next(line for line in before if "6800" in line).replace("6800", "4700")


@pytest.mark.parametrize("name", list(LAYOUTS))
def test_however_it_is_laid_out_every_field_can_be_changed_emptied_and_filled_in(name: str) -> None:
    text = LAYOUTS[name]
    assert loads(text).tag == "X"
    for field in fields(SheetForm(text)):
        form = SheetForm(text)
        form.set(field.place, field.text)
        assert form.text == text
        form.set(field.place, field.example or "words")
        assert form.field(field.place).text == (field.example or "words")
        form.set(field.place, "")
        if field.place != ("rail", 0, "name"):
            assert form.field(field.place).text == ""
        form.set(field.place, field.example or "words")
        assert form.field(field.place).text == (field.example or "words")
        remarks = [line[line.index("#") :] for line in text.splitlines() if "#" in line]
        assert all(remark in form.text for remark in remarks)


@SLOW
@given(supplies(), st.data())
def test_a_field_emptied_and_filled_in_again_changes_no_byte(supply: Supply, data: st.DataObject) -> None:
    text = dumps(supply, hints=True)
    form = SheetForm(text)
    field = data.draw(st.sampled_from(fields(form)))
    form.set(field.place, "")
    form.set(field.place, "")
    form.set(field.place, field.text)
    assert form.text == text


@pytest.mark.parametrize("name", ["headers", "brackets", "dotted"])
def test_however_it_is_laid_out_parts_come_and_go(name: str) -> None:
    form = SheetForm(LAYOUTS[name])
    rail = form.add_rail()
    form.set((*rail, "name"), "-5")
    form.set((*rail, "nominal"), "-5 V")
    form.set((*rail, "rated_current"), "1 A")
    transformer = form.add_transformer()
    form.set((*transformer, "secondaries", 0, "voltage"), "12 V")
    winding = form.add_secondary(("transformer", 0))
    form.set((*winding, "voltage"), "6 V")
    form.add_part(("rail", 0, "regulator"))
    supply = form.supply
    assert supply is not None, form.mistakes
    assert [each.name for each in supply.rails] == ["+5", "-5"]
    assert [each.name for each in supply.transformers] == ["T1", "T2"]
    assert [(each.name, each.voltage_v) for each in supply.transformers[0].secondaries] == [
        ("a", 18.0),
        ("b", 9.0),
        ("c", 6.0),
    ]
    assert supply.rails[0].regulator is not None
    form.remove(rail)
    form.remove(transformer)
    form.remove(winding)
    form.remove(("rail", 0, "regulator"))
    assert form.supply == loads(LAYOUTS[name])
    form.remove(("transformer", 0))
    form.remove(("rail", 0, "reservoir"))
    assert form.supply is not None
    assert form.supply.transformers == ()
    assert form.supply.rails[0].reservoir is None


def test_a_part_taken_out_takes_nothing_else_with_it() -> None:
    form = SheetForm(CR_07)
    form.remove(("rail", 1))
    assert form.supply is not None
    assert [rail.name for rail in form.supply.rails] == ["+15", "+48", "24"]
    assert "# up to 77 V stands here" in form.text
    assert set(form.text.splitlines()) < set(CR_07.splitlines())


# --- what is wrong ----------------------------------------------------------------------------------


def test_wrong_values_are_kept_and_named_all_at_once() -> None:
    form = SheetForm(CR_07)
    form.set(CAPACITANCE, "6800")
    form.set(("rail", 0, "source"), "T9.x")
    form.set(("protection_class",), "IV")
    assert form.supply is None
    assert form.findings == ()
    named = {mistake.field: mistake.value for mistake in form.mistakes}
    assert named == {
        "rail[+15].reservoir.capacitance": "6800",
        "rail[+15].source": "T9.x",
        "protection_class": "IV",
    }
    assert all(mistake.mend for mistake in form.mistakes)
    assert {field.name for field in fields(form)} >= set(named)


def test_a_sheet_that_cannot_be_read_can_be_mended_in_the_form() -> None:
    form = SheetForm(CR_07.replace('voltage = "230 V"', "voltage = 230").replace("\nrating =", "\nratng ="))
    assert form.supply is None
    assert form.field(("mains", "voltage")).text == "230"
    form.set(("mains", "voltage"), "230 V")
    assert all(".ratng" in mistake.field for mistake in form.mistakes)


def test_what_is_no_toml_is_refused_with_its_line() -> None:
    with pytest.raises(InputError, match="line 1"):
        SheetForm("tag = \n")


def test_an_empty_form_says_what_is_needed_and_nothing_else() -> None:
    form = SheetForm(blank())
    assert [mistake.field for mistake in form.mistakes] == [
        "tag",
        "title",
        "rail[1].name",
        "rail[1].nominal",
        "rail[1].rated_current",
    ]
    known = {field.name: field for field in fields(form)}
    for field in [known[mistake.field] for mistake in form.mistakes]:
        assert field.required
        form.set(field.place, field.example)
    assert form.supply is not None
    assert form.supply.tag == "CR-07"


def test_a_layout_that_would_be_garbled_is_refused_and_nothing_changed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import tomlkit

    form = SheetForm(CR_07)
    monkeypatch.setattr(tomlkit, "dumps", lambda _document: CR_07.replace("6800", "1"))
    with pytest.raises(InputError, match="text editor"):
        form.set(CAPACITANCE, "4700 µF")
    assert form.text == CR_07
    monkeypatch.undo()
    form.set(CAPACITANCE, "4700 µF")
    assert form.field(CAPACITANCE).text == "4700 µF"


def test_a_field_knows_unit_example_and_choices() -> None:
    form = SheetForm(CR_07)
    field = form.field(CAPACITANCE)
    assert (field.unit, field.example, field.required) == ("F", "6800 µF", True)
    assert form.field(("rail", 0, "rectifier", "kind")).choices == ("bridge", "centre-tap", "half-wave")
    assert form.field(("mains", "cord", "detachable")).choices == ("yes", "no")
    assert replace(field, text="") != field
    with pytest.raises(KeyError):
        form.field(("rail", 9, "name"))
