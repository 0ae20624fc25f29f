"""The meters as rows: calibration, connection and what is wrong, in word and mark."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from ohmward.bench.meters import Meter, loads
from ohmward.bench.survey import Checked
from ohmward.desk import meter_rows as rows

TODAY = date(2026, 3, 10)
PATH = Path("logbook/meters.toml")
LIST = """
[[meter]]
name = "bench multimeter"
serial = "A-0113"
calibrated = 2025-05-01
due = {due}
resource = "tcp://127.0.0.1:9"
idn = "Workshop,Multimeter,0001,1.0"
[[meter.accuracy]]
function = "dc volts"
range = "60 V"
resolution = "10 mV"
accuracy = "±(0.5 % + 2)"
[[meter]]
name = "panel meter"
"""


def meters(due: str = "2026-05-01") -> tuple[Meter, ...]:
    return loads(LIST.format(due=due))


@pytest.mark.parametrize(
    ("due", "words"),
    [
        ("2026-05-01", "✓ in date 2026-05-01"),
        ("2026-03-10", "✓ in date 2026-03-10"),
        ("2026-03-09", "‼ OVERDUE 2026-03-09"),
    ],
)
def test_calibration_is_a_word_a_mark_and_a_date(due: str, words: str) -> None:
    listed, by_hand = meters(due)
    assert rows.cells(listed, TODAY, None, testing=False)[1] == words
    assert rows.cells(by_hand, TODAY, None, testing=False)[1] == "? not stated"


def test_the_connection_is_told_in_each_of_its_states() -> None:
    listed, by_hand = meters()
    well = Checked(meter=listed, identity=listed.idn, backend="tcp", round_trip_s=0.0042)
    noisy = Checked(
        meter=listed,
        identity=listed.idn,
        backend="tcp",
        round_trip_s=1.5,
        errors=('-113,"Undefined header"',),
    )
    dead = Checked(meter=listed, problem="no answer within 2 s")
    other = Checked(meter=listed, identity="Workshop,Other,9,1", problem="'Workshop,Other,9,1' answers")
    told = [rows.cells(listed, TODAY, found, testing=False)[2] for found in (None, well, noisy, dead, other)]
    assert told == [
        "· not tested",
        "✓ answers in 4.2 ms",
        "! answers, had errors in 1.5 s",
        "✗ CANNOT BE USED",
        "✗ CANNOT BE USED",
    ]
    assert rows.cells(listed, TODAY, well, testing=True)[2] == "… being tested"
    assert rows.cells(by_hand, TODAY, None, testing=False)[2] == "– read by hand"
    assert "no answer within 2 s" in rows.words(listed, TODAY, dead)
    assert "Undefined header" in rows.words(listed, TODAY, noisy)


def test_what_is_wrong_is_said_in_words() -> None:
    listed, by_hand = meters("2026-03-09")
    assert "calibration has run out" in rows.words(listed, TODAY, None)
    assert "no accuracy is stated" in rows.words(by_hand, TODAY, None)
    assert "read its display" in rows.words(by_hand, TODAY, None)


def test_the_details_have_accuracy_calibration_and_where_the_list_is() -> None:
    listed, _ = meters()
    lines = rows.details(listed, TODAY, None, PATH)
    assert "  dc volts, 60 V range: ±(0.5 % + 2)" in lines
    assert lines[-1] == f"Edited in {PATH}"
    assert any("2025-05-01" in line for line in lines)


def test_the_heading_counts_what_wants_care() -> None:
    assert rows.counted(meters("2026-03-09"), TODAY, PATH).startswith(
        "2 meters · 1 overdue · 1 with no due date"
    )


def test_a_missing_list_says_where_it_belongs_and_how_it_is_begun() -> None:
    words = " ".join(rows.missing_words(PATH))
    assert str(PATH) in words
    assert "e begins the file" in words
