"""A sheet in words."""

from __future__ import annotations

import msgspec
import pytest

from ohmward.shipped import folder
from ohmward.supply import describe, load, table
from ohmward.supply.schema import TABLES

CR_07 = load(folder("demo") / "CR-07.toml")


def test_every_fact_of_the_example_is_there() -> None:
    text = table(CR_07)
    for fact in ("CR-07", "230 V", "50 Hz", "T 1.6 A H", "2 m, 0.75 mm²", "80 VA", "11 %", "6800 µF", "35 mΩ",
                 "2.2 kΩ", "-15 V", "1.2 A", "T1.a", "bridge", "60 dB", "2.5 K/W", "12 min", "20 MHz", "5 mV",
                 "case, lid"):  # fmt: skip
        assert fact in text


def test_what_is_computed_is_marked_and_right() -> None:
    rows = describe(CR_07)
    computed = [row.value for row in rows if row.field == "computed"]
    # 2 m of 0.75 mm²: 52 mΩ (IEC 60228); 18 V × 1.11 × 1.1 × √2 = 31.1 V (by hand)
    assert "52 mΩ" in computed[0]
    assert computed[1].startswith("31.1 V")


def test_headings_have_no_value_and_fields_have() -> None:
    rows = describe(CR_07)
    headings = [row.field for row in rows if not row.value]
    assert headings == [
        "CR-07: Mixing-console supply (simulated example)", "mains", "transformer T1", "transformer T2",
        "rail +15", "rail -15", "rail +48", "rail 24",
    ]  # fmt: skip


def test_it_stays_on_its_line_and_sends_no_control() -> None:
    hostile = msgspec.structs.replace(CR_07, tag="a\nb\x1b[2J", parts=("x\ty",), note="two\nlines")
    for row in describe(hostile):
        assert "\n" not in row.field + row.value
        assert "\x1b" not in row.field + row.value


@pytest.mark.parametrize("name", sorted(TABLES))
def test_the_table_of_keys_fills_every_field_of_the_model(name: str) -> None:
    fields = [field for key in TABLES[name].keys for field in key.fields]
    assert sorted(fields) == sorted(TABLES[name].kind.__struct_fields__)
