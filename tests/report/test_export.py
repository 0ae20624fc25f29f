"""Tables for other programs: exact in Parquet, safe in CSV, the same numbers in both."""

from __future__ import annotations

import builtins
import csv
import io
import math
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.errors import InputError, Unreachable
from ohmward.logbook import create_run, read
from ohmward.logbook.events import (
    Acknowledged,
    Amended,
    Answered,
    CaseShut,
    Closed,
    Energised,
    Event,
    Judged,
    Noted,
    Opened,
    Reading,
    SeriesBegun,
    SeriesChannel,
    SeriesEnded,
    SeriesRow,
    SeriesRows,
    Transcribed,
)
from ohmward.quantity import Value
from ohmward.report.export import READINGS, SERIES, reading_rows, series_rows
from ohmward.report.export_files import NoParquet, cell, csv_text, write
from ohmward.run.state import state
from support import bench as b
from support.journals import HandClock

# What a spreadsheet takes for a formula, in every free-text field; and what a terminal obeys.
HOSTILE = [
    "=1+1", "=cmd|' /C calc'!A0", "+1+1", "-1+1", "@SUM(A1)", "\t=1+1", "\r=1+1", "\n=1+1", " =1+1",
    "＝1+1", "－1", "\u200b=1+1", "\ufeff=1+1", '=HYPERLINK("x","y")', "x;=1+1", 'x;"=1+1', "; @SUM(A1)",
    "'=1+1", "a\x1b[31mred\x1b[0m", "\x07", "\u202eevil", '"', "a,b", "line\nend",
]  # fmt: skip
STARTS = tuple("=+-@\t\r＝＋－＠")


def run_of(logbook: Path, *events: Event, opened: Opened | None = None) -> Path:
    first = opened or b.opened()
    with create_run(logbook, tag="CR-07", procedure_name="test", opened=first, clock=HandClock()) as journal:
        for event in events:
            journal.append(event)
        return journal.path


def reading(step: str, subject: str = "", number: str = "1.5", **judged: Any) -> Reading:
    value = Value(raw=number, number=Decimal(number), unit="Ω", resolution=Decimal("0.1"))
    fields: dict[str, Any] = {"verdict": "pass", "net": float(number), "limit_high": 2.0, "uncertainty": 0.01}
    return Reading(step=step, subject=subject, value=value, judged=Judged(**(fields | judged)))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A run with a check, readings of several kinds, one replaced and one amended."""
    over = Value(raw="OL", kind="overload", unit="Ω")
    bound = Value(raw=">200M", kind="above", number=Decimal(200_000_000), unit="Ω")
    return run_of(
        tmp_path,
        b.failed("plug", note="=1+1"),
        b.passed("plug", note="new plug"),
        CaseShut(),
        reading("lead-null", number="0.05"),
        reading("earth", "case", "-0.25", verdict="fail", net=-0.3, uncertainty=None, past_stop=True),
        reading("earth", "case"),
        Reading(step="earth", subject="front panel", value=over, judged=Judged(verdict="undecided")),
        Amended(
            seq=7, reason="misread", reading=Reading(step="earth", subject="front panel", value=bound,
            judged=Judged(verdict="pass", net=2e8, as_expected=True)),
        ),
        Closed(verdict="incomplete", records=9),
    )  # fmt: skip


def test_one_row_a_reading_with_everything_that_was_recorded(path: Path) -> None:
    rows = list(reading_rows(path))
    assert [(row["step"], row["subject"]) for row in rows] == [
        ("lead-null", ""), ("earth", "case"), ("earth", "front panel"),
    ]  # fmt: skip
    case = rows[1]
    assert case["run"] == "CR-07/2026-03-01-01-test"
    assert (case["tag"], case["date"], case["procedure"]) == ("CR-07", date(2026, 3, 1), "test")
    assert (case["rehearsal"], case["transcribed"], case["run_verdict"]) == (True, False, "incomplete")
    assert (case["value"], case["unit"], case["limit_high"], case["uncertainty"]) == (1.5, "Ω", 2.0, 0.01)
    assert (case["verdict"], case["standing"], case["severity"]) == ("pass", "passed", "danger")
    panel = rows[2]
    assert (panel["value"], panel["bound"], panel["typed"]) == (2e8, "above", ">200M")
    assert (panel["amended"], panel["as_expected"]) == ("misread", True)
    for row in rows:
        assert set(row) <= {column.name for column in READINGS}


METERS = """
[[meter]]
name = "bond tester"
kind = "low-ohm"
test_current = "25 A"
"""


def test_what_a_resistance_was_measured_with_comes_back_as_listed_else_as_told(tmp_path: Path) -> None:
    told = msgspec.structs.replace(reading("earth", "case"), meter="borrowed one", test_a=0.001)
    listed = msgspec.structs.replace(reading("earth", "front panel"), meter="bond tester", test_a=0.2)
    taken = (told, listed)
    null = msgspec.structs.replace(reading("lead-null"), meter="borrowed one")
    insulation = msgspec.structs.replace(b.reading("insulation"), test_v=500.0)
    opened = msgspec.structs.replace(b.opened(), meters=METERS)
    rows = list(reading_rows(run_of(tmp_path, null, *taken, insulation, opened=opened)))
    want = {"lead-null": None, "case": 0.001, "front panel": 25.0, "insulation": None}
    assert {str(row["subject"] or row["step"]): row["test_current_a"] for row in rows} == want
    assert [row["test_v"] for row in rows] == [None, None, None, 500.0]
    again = parsed("".join(csv_text(READINGS, rows)))
    assert [row["test_current_a"] for row in again] == ["", "0.001", "25.0", ""]
    assert [row["test_v"] for row in again] == ["", "", "", "500.0"]


def test_checks_and_what_was_replaced_are_there_when_asked_for(path: Path) -> None:
    rows = list(reading_rows(path, checks=True, replaced=True))
    told = [(row["kind"], row["step"], row["subject"], row["standing"], row["verdict"]) for row in rows]
    assert told == [
        ("check", "plug", "", "passed", "pass"),
        ("reading", "lead-null", "", "passed", "pass"),
        ("reading", "earth", "case", "passed", "pass"),
        ("reading", "earth", "front panel", "passed", "pass"),
        ("check", "plug", "", "replaced", "fail"),
        ("reading", "earth", "case", "replaced", "fail"),
        ("reading", "earth", "front panel", "replaced", "undecided"),
    ]
    assert rows[5]["net"] == -0.3
    assert rows[6]["bound"] == "overload"
    assert rows[6]["value"] is None


def test_what_was_replaced_is_what_the_careful_fold_says(path: Path) -> None:
    rows = list(reading_rows(path, checks=True, replaced=True))
    told = [
        (row["recorded_at"], row["step"], row["amended"]) for row in rows if row["standing"] == "replaced"
    ]
    assert told == [(at, event.step, why) for at, event, why in state(read(path)).superseded]


def test_a_run_copied_from_paper_has_the_date_of_the_paper(tmp_path: Path) -> None:
    copied = Transcribed(date="2019-05-03", by="bench B", source="blue folder")
    opened = msgspec.structs.replace(b.opened(), transcribed=copied)
    (row,) = reading_rows(run_of(tmp_path, reading("earth", "case"), opened=opened))
    assert (row["date"], str(row["recorded_at"])[:10]) == (date(2019, 5, 3), "2026-03-01")
    assert (row["transcribed"], row["transcribed_by"], row["transcribed_from"]) == (
        True, "bench B", "blue folder",
    )  # fmt: skip


# CSV


def parsed(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_numbers_come_back_from_csv_exactly_and_negative_ones_are_numbers(path: Path) -> None:
    rows = list(reading_rows(path, replaced=True))
    back = parsed("".join(csv_text(READINGS, rows)))
    numbers = [column.name for column in READINGS if column.kind == "number"]
    for row, cells in zip(rows, back, strict=True):
        for name in numbers:
            assert (float(cells[name]) if cells[name] else None) == row.get(name), name
    assert back[3]["value"] == "-0.25"
    assert back[3]["typed"] == "'-0.25"


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_any_number_is_a_number_and_the_same(number: float) -> None:
    text = cell("number", number)
    assert not text.startswith("'")
    assert math.copysign(1, float(text)) == math.copysign(1, number)
    assert float(text) == number


@given(st.text() | st.sampled_from(HOSTILE) | st.text("=+-@;'\t \r\n\"aΩ＝\u200b"))
def test_no_text_is_a_formula_or_commands_a_terminal(text: str) -> None:
    told = cell("text", text)
    assert not told.startswith(STARTS)
    assert not told.lstrip("\u200b\ufeff \xa0").startswith(STARTS)
    for part in told.split(";")[1:]:  # as a spreadsheet of a semicolon country would part it
        assert not part.strip(' "').startswith(STARTS)
    assert not any(char < " " or "\x7f" <= char < "\xa0" for char in told)


@pytest.mark.parametrize("text", ["+15", "-15 @ 50 %", "'quoted", "plain", "24", "a = b"])
def test_one_apostrophe_off_gives_the_text_back(text: str) -> None:
    told = cell("text", text)
    assert told.removeprefix("'") == text
    assert told.startswith("'") == (text[0] in "+-'")


@pytest.mark.parametrize("hostile", HOSTILE)
def test_every_free_text_field_comes_out_inert(tmp_path: Path, hostile: str) -> None:
    copied = Transcribed(date="2019-05-03", by=hostile, source=hostile)
    opened = msgspec.structs.replace(b.opened(), operator=hostile, transcribed=copied)
    judged = Judged(verdict="pass", basis=hostile)
    value = Value(raw=hostile, number=Decimal(1), unit="Ω")
    event = Reading(step="earth", subject="case", value=value, judged=judged, note=hostile, meter=hostile)
    path = run_of(
        tmp_path,
        event,
        Answered(step="plug", answer="pass", note=hostile),
        Noted(text=hostile),
        opened=opened,
    )
    text = "".join(csv_text(READINGS, reading_rows(path, checks=True)))
    for cells in parsed(text):
        for name, told in cells.items():
            kind = next(column.kind for column in READINGS if column.name == name)
            assert kind != "text" or not told.startswith(STARTS), (name, told)
    assert not any(char < " " and char not in "\r\n" for char in text)
    assert "\u202e" not in text


# Files


def table(path: Path) -> Any:
    import pandas as pd

    return pd.read_csv(path) if path.suffix == ".csv" else pd.read_parquet(path)


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_pandas_opens_it_directly(path: Path, tmp_path: Path, ending: str) -> None:
    rows = list(reading_rows(path, checks=True, replaced=True))
    place = tmp_path / f"out{ending}"
    assert write(place, READINGS, rows) == len(rows) == 7
    frame = table(place)
    assert list(frame.columns) == [column.name for column in READINGS]
    for name in ("value", "net", "uncertainty", "limit_high"):
        told = [None if math.isnan(each) else each for each in frame[name]]
        assert told == [row.get(name) for row in rows], name
    assert list(frame["subject"].fillna("")) == [row["subject"] for row in rows]
    assert list(frame["verdict"]) == [row["verdict"] for row in rows]
    assert frame["rehearsal"].dtype == bool
    assert [str(each)[:10] for each in frame["date"]] == ["2026-03-01"] * 7


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_duckdb_opens_it_directly(path: Path, tmp_path: Path, ending: str) -> None:
    duckdb = pytest.importorskip("duckdb")
    rows = list(reading_rows(path, replaced=True))
    place = tmp_path / f"out{ending}"
    write(place, READINGS, rows)
    relation = duckdb.sql(f"select value, date, typeof(date), net, rehearsal, unit from '{place}'")
    told = relation.fetchall()
    assert [(each[0], each[3]) for each in told] == [(row["value"], row["net"]) for row in rows]
    assert {(each[1], each[2], each[4], each[5]) for each in told} == {(date(2026, 3, 1), "DATE", True, "Ω")}
    ((mean,),) = duckdb.sql(f"select avg(value) from '{place}' where standing = 'passed'").fetchall()
    assert mean == pytest.approx((0.05 + 1.5 + 2e8) / 3)


def test_csv_and_parquet_hold_the_same_numbers(path: Path, tmp_path: Path) -> None:
    for ending in (".csv", ".parquet"):
        write(tmp_path / f"out{ending}", READINGS, reading_rows(path, replaced=True))
    one, other = table(tmp_path / "out.csv"), table(tmp_path / "out.parquet")
    numbers = [column.name for column in READINGS if column.kind in {"number", "count"}]
    assert one[numbers].astype(float).equals(other[numbers].astype(float))


def test_a_spreadsheet_knows_the_file_for_utf_8(path: Path, tmp_path: Path) -> None:
    write(tmp_path / "out.csv", READINGS, reading_rows(path))
    data = (tmp_path / "out.csv").read_bytes()
    assert data.startswith(b"\xef\xbb\xbfrun,tag,")
    assert b"\r\n" in data
    assert "Ω".encode() in data


def test_no_rows_make_a_table_with_a_heading(tmp_path: Path) -> None:
    for ending in (".csv", ".parquet"):
        assert write(tmp_path / f"out{ending}", READINGS, []) == 0
        assert list(table(tmp_path / f"out{ending}").columns) == [column.name for column in READINGS]


def test_a_file_that_is_there_is_not_replaced_unless_asked(path: Path, tmp_path: Path) -> None:
    place = tmp_path / "out.csv"
    write(place, READINGS, [])
    before = place.read_bytes()
    with pytest.raises(InputError, match=r"out\.csv: the file is already there.*--force"):
        write(place, READINGS, reading_rows(path))
    assert place.read_bytes() == before
    write(place, READINGS, reading_rows(path), replace=True)
    assert len(place.read_bytes()) > len(before)


def test_other_endings_and_places_that_cannot_be_written_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"End its name with \.csv or \.parquet"):
        write(tmp_path / "out.xlsx", READINGS, [])
    with pytest.raises(Unreachable, match="cannot be written"):
        write(tmp_path / "absent" / "out.csv", READINGS, [])


def test_without_the_library_parquet_says_how_to_get_it_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = builtins.__import__

    def without(name: str, *arguments: Any) -> Any:
        if name.startswith("pyarrow"):
            raise ImportError(name)
        return real(name, *arguments)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(NoParquet, match=r"pip install ohmward\[parquet\].*\.csv"):
        write(tmp_path / "out.parquet", READINGS, [])
    assert list(tmp_path.iterdir()) == []


# Samples of a soak


SOAK = """\
id = "soak"
kind = "soak"
title = "Soak"
times = ["0 min", "10 min"]
sensors = ["room air"]
reads = [{ name = "temperature", quantity = "temperature_c", unit = "°C" }]
"""


def test_samples_of_a_soak_are_one_row_a_channel(tmp_path: Path) -> None:
    start = b.PROCEDURE.index('id = "load-points"')
    end = b.PROCEDURE.index("[[stage]]", start)
    opened = b.opened(b.PROCEDURE[:start] + SOAK + b.PROCEDURE[end:])
    dead: list[Event] = [
        b.passed("plug"), b.passed("label"), b.passed("vents"), CaseShut(), b.reading("lead-null"),
        b.reading("earth", "case"), b.reading("earth", "front panel"), b.reading("insulation"),
        Acknowledged(stage="no-load"), Energised(), b.passed("lamp"), b.reading("mains", number="230"),
        b.reading("output", "+15", "15"), Acknowledged(stage="loaded"),
    ]  # fmt: skip
    channels = tuple(
        SeriesChannel(name=name, meter="=meter", function="temperature", unit="°C", identity="sim")
        for name in ("room air", "heat sink +15")
    )
    rows = tuple(
        SeriesRow(at_s=10.0 * n, values=(-1.5, None if n == 1 else 40.0 + n), replies=("-1.5E0", ""))
        for n in range(3)
    )
    path = run_of(
        tmp_path,
        *dead,
        SeriesBegun(step="soak", channels=channels, interval_s=10.0, duration_s=30.0),
        SeriesRows(step="soak", rows=rows[:2]),
        SeriesRows(step="soak", rows=rows[2:]),
        SeriesEnded(step="soak", at_s=30.0, complete=True, why="all taken"),
        opened=opened,
    )
    found = list(series_rows(path))
    assert [(row["at_s"], row["channel"], row["value"]) for row in found] == [
        (0.0, "room air", -1.5), (0.0, "heat sink +15", 40.0), (10.0, "room air", -1.5),
        (10.0, "heat sink +15", None), (20.0, "room air", -1.5), (20.0, "heat sink +15", 42.0),
    ]  # fmt: skip
    for row in found:
        assert set(row) <= {column.name for column in SERIES}
    for ending in (".csv", ".parquet"):
        assert write(tmp_path / f"out{ending}", SERIES, found) == 6
        frame = table(tmp_path / f"out{ending}")
        assert frame["value"].sum() == pytest.approx(3 * -1.5 + 82)
        assert set(frame["unit"]) == {"°C"}
    cells = parsed((tmp_path / "out.csv").read_text(encoding="utf-8-sig"))
    assert (cells[0]["value"], cells[0]["reply"], cells[0]["meter"]) == ("-1.5", "'-1.5E0", "'=meter")
