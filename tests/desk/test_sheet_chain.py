"""The drawing of a rail's chain: it fits, it says what the sheet says, and what is missing."""

from __future__ import annotations

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ohmward.desk.sheet_chain import WIDTH, Box, boxes, cells, chain, clipped, drawings, drawn
from ohmward.physics import expect
from ohmward.shipped import folder
from ohmward.supply import findings, loads
from ohmward.supply.model import Rectifier, Supply
from ohmward.text import visible
from support.sheets import supplies

SLOW = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
SHEETS = {name: loads((folder("demo") / f"{name}.toml").read_text(encoding="utf-8")) for name in
          ("CR-02", "CR-07", "CR-11")}  # fmt: skip


@SLOW
@given(supplies(), st.integers(40, 160))
def test_any_sheet_can_be_drawn_and_what_is_drawn_shows(supply: Supply, width: int) -> None:
    for line in drawings(supply, max(width, WIDTH)):
        assert visible(line) == line
    for rail in supply.rails:
        for line in chain(supply, rail, width=width, found=findings(supply)):
            assert cells(line) <= width
            assert visible(line) == line


@pytest.mark.parametrize("name", list(SHEETS))
def test_the_shipped_supplies_fit_76_columns_with_what_is_expected(name: str) -> None:
    supply = SHEETS[name]
    expected = expect(supply, draws=0, margins=False)
    for rail in supply.rails:
        lines = chain(supply, rail, expected=expected, found=findings(supply))
        assert max(cells(line) for line in lines) <= WIDTH
        assert any("≈" in line for line in lines)


def test_the_chain_goes_from_the_mains_to_the_output_in_order() -> None:
    supply = SHEETS["CR-07"]
    titles = [box.title for box in boxes(supply, supply.rail("+15"))]
    assert titles == ["mains", "fuse", "T1", "T1.a", "bridge", "reservoir", "regulator", "output +15"]
    assert [box.title for box in boxes(supply, supply.rail("24"))][-2:] == ["reservoir", "output 24"]
    text = "\n".join(chain(supply, supply.rail("+15")))
    values = ("230 V 50 Hz", "T 1.6 A H", "18 V, 2.22 A", "80 VA, 11 %", "6800 µF, 50 V", "bleeder 2.2 kΩ")
    for value in (*values, "15 V ±4 %", "sink 2.5 K/W", "15 V, 1.2 A"):
        assert value in text
    assert "≈" not in text


def test_what_a_bleeder_may_burn_stands_behind_it() -> None:
    text = (folder("demo") / "CR-11.toml").read_text(encoding="utf-8")
    supply = loads(text.replace('bleeder = "680 Ω"', 'bleeder = "680 Ω", bleeder_rating = "5 W"'))
    assert "bleeder 680 Ω, 5 W" in "\n".join(chain(supply, supply.rails[0]))


def test_what_is_not_known_is_said_and_a_shared_winding_too() -> None:
    text = "\n".join(drawings(SHEETS["CR-02"]))
    assert text.count("not on the sheet") == 4
    supply = SHEETS["CR-07"]
    rails = tuple(msgspec.structs.replace(rail, sources=("T1.a",)) for rail in supply.rails)
    shared = msgspec.structs.replace(supply, rails=rails)
    assert "feeds -15, +48, 24 too" in "\n".join(chain(shared, shared.rails[0]))


def test_a_part_that_a_finding_is_about_is_marked() -> None:
    supply = SHEETS["CR-07"]
    rail = supply.rails[0]
    assert rail.reservoir is not None
    weak = msgspec.structs.replace(
        rail, reservoir=msgspec.structs.replace(rail.reservoir, voltage_rating_v=16.0)
    )
    supply = msgspec.structs.replace(supply, rails=(weak, *supply.rails[1:]))
    titles = [box.title for box in boxes(supply, weak, found=findings(supply))]
    assert "reservoir ‼" in titles
    assert "regulator" in titles


def test_rows_are_as_few_as_fit_and_about_equally_long() -> None:
    parts = [Box(title=str(number), lines=("x" * 10,)) for number in range(7)]
    lines = drawn(parts, 76)
    assert len([line for line in lines if "┌" in line]) == 2
    assert sorted(line.count("┌") for line in lines if "┌" in line) == [3, 4]


def test_columns_are_counted_as_a_terminal_does() -> None:
    assert cells("電源") == 4  # two wide signs (Unicode UAX 11)
    assert cells("e\u0301") == 1
    assert clipped("電源電源", 5) == "電源…"


def test_the_rating_is_the_transformers_and_a_rectifier_of_which_only_the_kind_is_known_is_on_the_sheet() -> (
    None
):
    made = SHEETS["CR-07"].transformers[0]
    bare = tuple(msgspec.structs.replace(each, current_a=None) for each in made.secondaries)
    alike = msgspec.structs.replace(made, rating_va=80.0, secondaries=bare)
    rails = tuple(
        msgspec.structs.replace(rail, rectifier=Rectifier(kind="bridge")) for rail in SHEETS["CR-07"].rails
    )
    supply = msgspec.structs.replace(
        SHEETS["CR-07"], transformers=(alike, *SHEETS["CR-07"].transformers[1:]), rails=rails
    )
    parts = {box.title: box.lines for box in boxes(supply, supply.rail("+15"))}
    assert "80 VA, 11 %" in parts["T1"]
    assert not any("VA" in line for line in parts["T1.a"])
    assert "2.22 A by share of rating" in parts["T1.a"]  # 80 VA over 2 × 18 V, by hand
    assert parts["bridge"] == ("ratings not stated",)
