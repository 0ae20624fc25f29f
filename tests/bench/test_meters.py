"""The meters file: what applies to a reading, and every mistake at once."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from ohmward.bench.meters import FUNCTIONS, function_of, load, loads
from ohmward.errors import InputError, Unreachable

BENCH = """
[[meter]]
name = "bench multimeter"
kind = "multimeter"
serial = "A-0113"
calibrated = 2025-03-01
due = 2027-03-01
note = "leads replaced"
resource = "TCPIP::127.0.0.1::5025::SOCKET"
profile = "multimeter"

[[meter.accuracy]]
function = "dc volts"
range = "6 V"
resolution = "1 mV"
accuracy = "±(0.5 % + 2)"

[[meter.accuracy]]
function = "dc volts"
range = "60 V"
resolution = "10 mV"
accuracy = "±(0.5 % + 2)"

[[meter.accuracy]]
function = "ac volts"
range = "60 V"
resolution = "10 mV"
accuracy = "±(1 % + 3)"

[[meter]]
name = "earth tester"
kind = "low-ohm"

[[meter.accuracy]]
function = "low ohms"
range = "0.01 Ω to 20 Ω"
accuracy = "2 % rdg + 20 mΩ"

[[meter]]
name = "insulation tester"
kind = "insulation"

[[meter.accuracy]]
function = "insulation"
range = "200 MΩ"
accuracy = "±(3 % + 0.1 MΩ)"
"""


def test_the_smallest_range_that_covers_the_reading_applies() -> None:
    meter = loads(BENCH)[0]
    # 5 V on the 6 V range: 0.5 % of 5 V + 2 mV; 12 V on the 60 V range: 60 mV + 20 mV
    assert meter.half_width(5.0, "V", "dc volts") == pytest.approx(0.027)
    assert meter.half_width(12.0, "V", "dc volts") == pytest.approx(0.08)
    assert meter.half_width(-12.0, "V", "dc volts") == pytest.approx(0.08)
    assert meter.half_width(12.0, "V", "ac volts") == pytest.approx(0.15)


def test_of_two_functions_on_the_same_range_the_less_accurate_is_taken() -> None:
    assert loads(BENCH)[0].half_width(12.0, "V") == pytest.approx(0.15)


def test_what_the_file_does_not_state_is_not_made_up() -> None:
    multimeter, earth, insulation = loads(BENCH)
    assert multimeter.half_width(100.0, "V") is None
    assert multimeter.half_width(1.0, "A") is None
    assert earth.half_width(0.005, "Ω") is None
    assert earth.half_width(0.1, "Ω") == pytest.approx(0.022)
    assert insulation.half_width(100e6, "Ω") == pytest.approx(3.1e6)


def test_the_top_range_is_what_an_overload_exceeds() -> None:
    multimeter, _, insulation = loads(BENCH)
    assert insulation.top_range("Ω") == 200e6
    assert multimeter.top_range("V", "dc volts") == 60.0
    assert multimeter.top_range("Ω") is None


def test_calibration_runs_out_after_the_day_it_is_due() -> None:
    meter = loads(BENCH)[0]
    assert meter.calibrated == datetime.date(2025, 3, 1)
    assert not meter.overdue(datetime.date(2027, 3, 1))
    assert meter.overdue(datetime.date(2027, 3, 2))
    assert not loads(BENCH)[1].overdue(datetime.date(2099, 1, 1))


def test_an_accuracy_without_a_range_holds_for_every_reading() -> None:
    text = '[[meter]]\nname = "t"\n[[meter.accuracy]]\nfunction = "temperature"\naccuracy = "1 °C"\n'
    assert loads(text)[0].half_width(400.0, "°C") == 1.0
    assert loads(text)[0].top_range("°C") is None


def test_an_empty_file_has_no_meters() -> None:
    assert loads("") == ()


def test_every_mistake_is_told_at_once() -> None:
    text = """
[[meter]]
kind = "teapot"
serail = "x"
due = "soon"
[[meter.accuracy]]
function = "dc volt"
[[meter.accuracy]]
function = "dc volts"
range = "60 A"
accuracy = "0.5 % + 2"
[[meter.accuracy]]
function = "ohms"
range = "20 Ω to 2 Ω"
resolution = 3
accuracy = "0,5 %"
[[meter]]
name = "a"
[[meter]]
name = "a"
calibrated = 2026-01-01
due = 2025-01-01
"""
    with pytest.raises(InputError) as caught:
        loads(text, "meters.toml")
    found = {mistake.field: mistake for mistake in caught.value.mistakes}
    for field in (
        "meter[1].name", "meter[1].kind", "meter[1].serail", "meter[1].due", "meter[1].accuracy[1].function",
        "meter[1].accuracy[2].range", "meter[1].accuracy[2].accuracy", "meter[1].accuracy[3].range",
        "meter[1].accuracy[3].resolution", "meter[1].accuracy[3].accuracy", "meter[a].name", "meter[a].due",
    ):  # fmt: skip
        assert field in found, field
    assert "Did you mean 'serial'?" in found["meter[1].serail"].mend
    assert all(mistake.where == "meters.toml" for mistake in caught.value.mistakes)
    assert len(str(caught.value).splitlines()) == len(caught.value.mistakes)


@pytest.mark.parametrize("text", ["[[meter]", "meter = 3", '[meter]\nname = "a"', "[[metre]]"])
def test_broken_files_are_refused(text: str) -> None:
    with pytest.raises(InputError):
        loads(text)


def test_reading_from_disk(tmp_path: Path) -> None:
    path = tmp_path / "meters.toml"
    path.write_text(BENCH, encoding="utf-8")
    assert load(path) == loads(BENCH)
    with pytest.raises(Unreachable, match="no meters are listed yet"):
        load(tmp_path / "none.toml")
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(InputError, match="UTF-8"):
        load(path)


def test_every_function_has_a_unit_that_can_be_typed() -> None:
    for function, unit in FUNCTIONS.items():
        text = f'[[meter]]\nname = "m"\n[[meter.accuracy]]\nfunction = "{function}"\naccuracy = "1 {unit}"\n'
        assert loads(text)[0].half_width(0.5, unit) == 1.0


@pytest.mark.parametrize(
    ("quantity", "unit", "function"),
    [
        ("output_v", "V", "dc volts"),
        ("mains_v", "V", "ac volts"),
        ("secondary_v", "V", "ac volts"),
        ("mains_a", "A", "ac amps"),
        ("load_a", "A", "dc amps"),
        ("insulation", "Ω", "insulation"),
        ("resistance", "Ω", ""),
        ("temperature_c", "°C", "temperature"),
        ("humidity_pct", "%", ""),
    ],
)
def test_what_a_quantity_is_read_with(quantity: str, unit: str, function: str) -> None:
    assert function_of(quantity, unit) == function
    assert not function or FUNCTIONS[function] == unit
