"""Reading a design sheet: what is taken, and every mistake at once with field, value and mend."""

from __future__ import annotations

import pytest

from ohmward.errors import InputError, Mistake
from ohmward.supply import loads
from ohmward.supply.model import Cord, Fuse, HeatSink, Secondary, Targets

SHEET = """
tag = "CR-07"
title = "Mixing-console supply"
protection_class = "I"            # IEC 61140
ambient_max = "40 °C"
limit_set = "iec"

[mains]
voltage = "230 V"
frequency = "50 Hz"
fuse = "T 1.6 A"
cord = { length = "2 m", area = "0.75 mm²", detachable = false }

[[transformer]]
name = "T1"
rating = "80 VA"
regulation = "11 %"               # or primary and secondary resistances
secondaries = [{ name = "a", voltage = "18 V" }, { name = "b", voltage = "18 V" }]

[[rail]]
name = "+15"
nominal = "15 V"
rated_current = "1.2 A"
source = "T1.a"
rectifier = { kind = "bridge" }   # bridge | centre-tap | half-wave; negative rails too
reservoir = { capacitance = "6800 µF", tolerance = "-20 % +20 %", esr = "35 mΩ", bleeder = "2.2 kΩ" }
regulator = { kind = "linear", set_point = "15 V", tolerance = "4 %", dropout = "2.2 V", ripple_rejection = "60 dB", output_resistance = "15 mΩ", junction_to_case = "1.2 K/W", junction_max = "125 °C" }
heatsink = { thermal_resistance = "2.5 K/W", time_constant = "12 min", interface = "0.4 K/W" }
targets = { load_regulation = "1 %", ripple = "5 mV", ripple_bandwidth = "20 MHz" }
"""  # noqa: E501 the example of the project's design, as it stands there

STRANGER = """
tag = "CR-02"
title = "Without papers"
protection_class = "I"
[mains]
voltage = "230 V"
frequency = "50 Hz"
[[rail]]
name = "+5"
nominal = "5 V"
rated_current = "3 A"
"""


def mistakes(text: str) -> tuple[Mistake, ...]:
    with pytest.raises(InputError) as caught:
        loads(text, "my.toml")
    return caught.value.mistakes


def only(text: str) -> Mistake:
    (mistake,) = mistakes(text)
    assert mistake.where == "my.toml"
    assert mistake.why
    assert mistake.mend
    return mistake


def test_the_example_of_the_design() -> None:
    sheet = loads(SHEET)
    rail = sheet.rail("+15")
    assert (sheet.tag, sheet.protection_class, sheet.ambient_max_c) == ("CR-07", "I", 40.0)
    assert sheet.mains.fuse == Fuse(characteristic="T", rating_a=1.6)
    assert sheet.mains.cord == Cord(length_m=2.0, area_mm2=0.75)
    assert sheet.transformers[0].secondaries == (
        Secondary(name="a", voltage_v=18.0),
        Secondary(name="b", voltage_v=18.0),
    )
    assert rail.sources == ("T1.a",)
    assert rail.reservoir is not None
    assert (rail.reservoir.capacitance_f, rail.reservoir.esr_ohm, rail.reservoir.bleeder_ohm) == (
        6800e-6,
        35e-3,
        2200.0,
    )
    assert rail.heatsink == HeatSink(thermal_resistance_kpw=2.5, interface_kpw=0.4, time_constant_s=720.0)
    assert rail.targets == Targets(load_regulation_pct=1.0, ripple_pp_v=5e-3, ripple_bandwidth_hz=20e6)
    assert rail.set_point_v == 15.0


def test_a_strangers_supply_needs_only_its_nameplate() -> None:
    sheet = loads(STRANGER)
    assert sheet.transformers == ()
    assert (sheet.mains.low_pct, sheet.mains.high_pct) == (-10.0, 10.0)
    assert sheet.rail("+5").rated_current_a == 3.0


@pytest.mark.parametrize(
    ("written", "low", "high"),
    [
        ("-20 % +20 %", -20.0, 20.0),
        ("\u221220 % +50 %", -20.0, 50.0),
        ("-20/+50 %", -20.0, 50.0),
        ("-20 % to +50 %", -20.0, 50.0),
        ("+50 % -20 %", -20.0, 50.0),
        ("4 %", -4.0, 4.0),
        ("±4 %", -4.0, 4.0),
        ("+/-4 %", -4.0, 4.0),
        ("-0 % +80 %", 0.0, 80.0),
        ("-2.5 % +2.5 %", -2.5, 2.5),
    ],
)
def test_tolerances(written: str, low: float, high: float) -> None:
    reservoir = loads(SHEET.replace("-20 % +20 %", written)).rails[0].reservoir
    assert reservoir is not None
    assert (reservoir.tolerance_low_pct, reservoir.tolerance_high_pct) == (low, high)


@pytest.mark.parametrize(
    "written", ["20", "-20 %", "+20 %", "-120 % +20 %", "a %", "+5 % +10 %", "1,5 %", "", "5 V"]
)
def test_no_tolerances(written: str) -> None:
    assert only(SHEET.replace("-20 % +20 %", written)).field == "rail[+15].reservoir.tolerance"


@pytest.mark.parametrize(
    ("written", "fuse"),
    [
        ("T 1.6 A H", Fuse(characteristic="T", rating_a=1.6, breaking="H")),
        ("T1.6AH", Fuse(characteristic="T", rating_a=1.6, breaking="H")),
        ("F 500 mA L", Fuse(characteristic="F", rating_a=0.5, breaking="L")),
        ("FF 2 A", Fuse(characteristic="FF", rating_a=2.0)),
        ("TT 315mA", Fuse(characteristic="TT", rating_a=0.315)),
        ("M 1 A", Fuse(characteristic="M", rating_a=1.0)),
        # the letter after the rating, as it is spoken of
        ("400 mA T", Fuse(characteristic="T", rating_a=0.4)),
        ("1.6AT L", Fuse(characteristic="T", rating_a=1.6, breaking="L")),
        ("2 A FF H", Fuse(characteristic="FF", rating_a=2.0, breaking="H")),
        # in words: time-lag and quick-acting are those of IEC 60127-1
        ("1 A slow-blow", Fuse(characteristic="T", rating_a=1.0)),
        ("Time-lag 1.6 A H", Fuse(characteristic="T", rating_a=1.6, breaking="H")),
        ("500 mA quick acting", Fuse(characteristic="F", rating_a=0.5)),
        ("2 A fast", Fuse(characteristic="F", rating_a=2.0)),
    ],
)
def test_fuses(written: str, fuse: Fuse) -> None:
    assert loads(SHEET.replace("T 1.6 A", written)).mains.fuse == fuse


@pytest.mark.parametrize(
    "written",
    [
        "1.6 A",
        "T",
        "X 1.6 A",
        "T 1,6 A",
        "T 1.6",
        "T 1.6 V",
        "t 1.6 A",
        "T 0 A",
        "",
        "1.6 T",
        "T T",
        "1.6 A H",
    ],
)
def test_no_fuses(written: str) -> None:
    assert only(SHEET.replace("T 1.6 A", written)).field == "mains.fuse"


def test_a_negative_rail_and_a_centre_tap() -> None:
    sheet = loads(
        SHEET.replace('name = "a", voltage', 'name = "a", centre_tapped = true, voltage')
        + '[[rail]]\nname = "-15"\nnominal = "-15 V"\nrated_current = "1 A"\nsource = ["T1.a"]\n'
        'rectifier = { kind = "centre-tap" }\nregulator = { set_point = "-15 V" }\n'
        '[[rail]]\nname = "raw"\nnominal = "24 V"\nrated_current = "1 A"\nsource = ["T1.a", "T1.b"]\n'
    )
    negative = sheet.rail("-15")
    assert (negative.sign, negative.nominal_v, negative.set_point_v) == (-1.0, -15.0, -15.0)
    assert sheet.rail("raw").sources == ("T1.a", "T1.b")


CASES = [
    # (old, new, field, part of why, part of mend)
    ('tag = "CR-07"\n', "", "tag", "missing", 'tag = "CR-07"'),
    ('tag = "CR-07"', 'tag = " "', "tag", "empty", "such as CR-07"),
    ('tag = "CR-07"', "tag = 7", "tag", "not a text", 'tag = "CR-07"'),
    ('protection_class = "I" ', 'protection_class = "1" ', "protection_class", "choices", "I, II, III"),
    ('kind = "bridge"', 'kind = "brigde"', "rail[+15].rectifier.kind", "choices", "'bridge'"),
    ('kind = "bridge"', 'kind = "full"', "rail[+15].rectifier.kind", "choices", "half-wave"),
    ('voltage = "230 V"', 'voltage = "230"', "mains.voltage", "no unit", '"230 V"'),
    ('voltage = "230 V"', "voltage = 230", "mains.voltage", "no unit", '"230 V"'),
    ('voltage = "230 V"', 'voltage = "230 A"', "mains.voltage", "unit is A", "Write it like"),
    ('voltage = "230 V"', 'voltage = "230 mV"', "mains.voltage", "not possible", "prefix"),
    ('voltage = "230 V"', 'voltage = "2,30 V"', "mains.voltage", "comma", "2.30 V"),
    ('voltage = "230 V"', 'voltage = ">230 V"', "mains.voltage", "bound", "value itself"),
    ('voltage = "230 V"', 'voltage = "OL"', "mains.voltage", "overload", "value itself"),
    ('voltage = "230 V"', 'voltage = ""', "mains.voltage", "nothing", "Write it like"),
    ('voltage = "230 V"', "voltage = true", "mains.voltage", "not a value", 'voltage = "230 V"'),
    ('voltage = "230 V"', "voltage = nan", "mains.voltage", "no unit", "in quotes"),
    ('nominal = "15 V"', 'nominal = "0 V"', "rail[+15].nominal", "magnitude", "prefix"),
    (
        'rated_current = "1.2 A"',
        'rated_current = "-1.2 A"',
        "rail[+15].rated_current",
        "not possible",
        "prefix",
    ),
    (
        'capacitance = "6800 µF"',
        'capacitance = "6800 F"',
        "rail[+15].reservoir.capacitance",
        "1 nF",
        "prefix",
    ),
    (
        'capacitance = "6800 µF"',
        'capacitance = "6800 MF"',
        "rail[+15].reservoir.capacitance",
        "not used",
        "6800 µF",
    ),
    ('ambient_max = "40 °C"', 'ambient_max = "40 K"', "ambient_max", "unit is K", "°C"),
    ('source = "T1.a"', 'source = "T1.c"', "rail[+15].source", "no such secondary", "T1.a, T1.b"),
    ('source = "T1.a"', 'source = "main"', "rail[+15].source", "no such secondary", "There are: T1.a, T1.b"),
    ('source = "T1.a"', "source = 5", "rail[+15].source", "not one secondary", "T1.a"),
    ('source = "T1.a"', "source = []", "rail[+15].source", "not one secondary", "T1.a"),
    ('source = "T1.a"', 'source = ["T1.a", "T1.b"]', "rail[+15].source", "takes one winding", "Name one"),
    ('source = "T1.a"', 'source = ["T1.a", "T1.a"]', "rail[+15].source", "same winding", "centre_tapped"),
    ('kind = "bridge"', 'kind = "centre-tap"', "rail[+15].source", "without a tap", "centre_tapped = true"),
    ('set_point = "15 V"', 'set_point = "-15 V"', "rail[+15].regulator.set_point", "sign", "same sign"),
    ('name = "b"', 'name = "a"', "transformer[T1].secondaries", "more than once", "own name"),
    ('name = "b"', 'name = "b.1"', "transformer[T1].secondaries[b.1].name", "no '.'", "another sign"),
    ('limit_set = "iec"', 'limit_sets = "iec"', "limit_sets", "unknown key", "'limit_set'"),
    ('limit_set = "iec"', 'bleeder = "1 kΩ"', "bleeder", "unknown key", "'reservoir'"),
    ('limit_set = "iec"', 'colour = "red"', "colour", "unknown key", "Known here: format, tag"),
    ('dropout = "2.2 V"', 'drop_out = "2.2 V"', "rail[+15].regulator.drop_out", "unknown key", "'dropout'"),
    (
        "detachable = false",
        'detachable = "no"',
        "mains.cord.detachable",
        "not true or false",
        "without quotes",
    ),
    (
        'cord = { length = "2 m", area = "0.75 mm²", detachable = false }',
        "cord = 2",
        "mains.cord",
        "not a table",
        "{",
    ),
    ("[[transformer]]", "[transformer]", "transformer", "not a list of tables", "[[transformer]]"),
    ('limit_set = "iec"', 'parts = "case"', "parts", "list of names", '["case lid"'),
    ('limit_set = "iec"', 'parts = ["case", "case"]', "parts", "more than once", "own name"),
    ('limit_set = "iec"', 'parts = ["a @ b"]', "parts", "no '@'", "another sign"),
    ('limit_set = "iec"', "format = 2", "format", "does not read", "reads 1"),
    ('limit_set = "iec"', "format = true", "format", "does not read", "reads 1"),
    ('title = "Mixing-console supply"', 'title = """two\nlines"""', "title", "one line", "shorter"),
    ('title = "Mixing-console supply"', "title = 2026-11-25", "title", "not a text", "title ="),
]


@pytest.mark.parametrize(("old", "new", "field", "why", "mend"), CASES)
def test_one_mistake_names_field_reason_and_mend(old: str, new: str, field: str, why: str, mend: str) -> None:
    assert old in SHEET
    # 'the source is no longer there' may follow from a renamed winding: the first is the one meant
    mistake = next(found for found in mistakes(SHEET.replace(old, new)) if found.field == field)
    assert why in mistake.why
    assert mend in mistake.mend


def test_every_mistake_at_once() -> None:
    text = SHEET
    for old, new in [
        ('voltage = "230 V"', 'voltage = "230"'),
        ('fuse = "T 1.6 A"', 'fuse = "1.6 A"'),
        ('source = "T1.a"', 'source = "T9.a"'),
        ('capacitance = "6800 µF"', 'capacitance = "6800 mA"'),
        ('limit_set = "iec"', 'limit = "iec"'),
        ('rated_current = "1.2 A"\n', ""),
    ]:
        text = text.replace(old, new)
    assert {mistake.field for mistake in mistakes(text)} == {
        "mains.voltage",
        "mains.fuse",
        "rail[+15].source",
        "rail[+15].reservoir.capacitance",
        "limit",
        "rail[+15].rated_current",
    }


def test_names_are_told_apart() -> None:
    twice = SHEET + '[[rail]]\nname = "+15"\nnominal = "5 V"\nrated_current = "1 A"\n'
    assert only(twice).field == "rail"


@pytest.mark.parametrize(
    ("text", "line"),
    [('tag = "CR-07\n', 1), ('tag = "a"\ntitle = oops\n', 2), ('tag = "a"\ntag = "b"\n', 2), ("[mains\n", 1)],
)
def test_broken_toml_names_the_line(text: str, line: int) -> None:
    (mistake,) = mistakes(text)
    assert mistake.where.startswith(f"my.toml, line {line}")
    assert "not TOML" in mistake.why


@pytest.mark.parametrize("text", ["", "x = 1", "tag = " + "[" * 5000 + "]" * 5000, "rail = 5\nmains = 3"])
def test_anything_else_is_refused_in_words(text: str) -> None:
    assert all(mistake.mend for mistake in mistakes(text))


def test_control_characters_are_shown_never_sent() -> None:
    with pytest.raises(InputError) as caught:
        loads(SHEET.replace('"230 V"', '"\\u001b[31m"'))
    assert "\x1b" not in str(caught.value)
