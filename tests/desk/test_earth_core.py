"""What is expected of a resistance through the cord: the core by IEC 60228, and what is missing."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.desk.card import card
from ohmward.desk.earth_core import NO_CORD
from ohmward.logbook import read
from ohmward.run import state
from ohmward.run.start import start
from ohmward.shipped import folder
from ohmward.supply import describe, loads

SHEET = (folder("demo") / "CR-07.toml").read_text(encoding="utf-8")
CORD = next(line for line in SHEET.splitlines() if line.startswith("cord ="))


def expected(tmp_path: Path, cord: str, step: str, limits: str = "iec") -> str:
    """Return what the card of a step says is expected, on CR-07 with another cord."""
    sheet = tmp_path / "CR-07.toml"
    sheet.write_text(SHEET.replace(CORD, cord), encoding="utf-8")
    path = start(tmp_path / "logbook", sheet, operator="", tool="test", simulated=True, limits=limits)
    run = state(read(path))
    item = next(each for each in run.items if each.step == step)
    return card(run, item, None, pending=False, meter="").expected


@pytest.mark.parametrize(
    ("cord", "most"),
    [  # IEC 60228 class 5, as cable makers' tables print it: 26.0 Ω/km of 0.75 mm², 13.3 Ω/km of 1.5 mm²
        ('cord = { length = "2 m", area = "0.75 mm²" }', "52 mΩ"),
        ('cord = { length = "10 m", area = "1.5 mm²" }', "0.133 Ω"),
    ],
)
@pytest.mark.parametrize(("step", "core"), [("earth", "earth core"), ("line-core", "line core")])
def test_it_is_the_core_as_the_check_of_the_sheet_prints_it(
    tmp_path: Path, cord: str, most: str, step: str, core: str
) -> None:
    said = expected(tmp_path, cord, step)
    assert said.startswith(f"{core} at most {most} at 20 °C (IEC 60228 class 5)")
    assert "joints" in said
    assert "test leads" not in said  # the lead null is taken off
    printed = next(row.value for row in describe(loads(SHEET.replace(CORD, cord))) if "core" in row.value)
    assert printed.removeprefix("earth core") in said


def test_where_the_sheet_gives_no_cord_that_is_what_is_missing(tmp_path: Path) -> None:
    assert expected(tmp_path, "", "earth") == NO_CORD


def test_leads_that_are_not_taken_off_are_spoken_of(tmp_path: Path) -> None:
    said = expected(tmp_path, 'cord = { length = "2 m", area = "0.75 mm²" }', "earth-bond")
    assert "52 mΩ" in said
    assert "four wires" in said


def test_from_the_inlet_no_cord_is_in_it(tmp_path: Path) -> None:
    cord = 'cord = { length = "2 m", area = "0.75 mm²", detachable = true }'
    assert "no cord in it" in expected(tmp_path, cord, "earth", "iec")


def test_other_readings_are_not_touched(tmp_path: Path) -> None:
    assert expected(tmp_path, CORD, "lead-null") == "nothing is computed for this reading"
