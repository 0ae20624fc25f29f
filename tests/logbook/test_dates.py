"""The date that a result counts for."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import msgspec

from ohmward.logbook import Logbook, create_run
from ohmward.logbook.dates import date_of
from ohmward.logbook.events import Transcribed
from support.journals import HandClock, begin, opened

PAPER = Transcribed(date="2019-05-03", by="bench B", source="blue folder")


def test_a_run_at_the_bench_counts_for_the_local_day_and_a_paper_for_its_own() -> None:
    late = "2026-03-01T23:50:00+13:00"  # the day before in UTC
    assert date_of(opened(), late) == date(2026, 3, 1)
    assert date_of(opened(transcribed=PAPER), late) == date(2019, 5, 3)


def test_a_paper_typed_in_today_is_not_the_latest_run(tmp_path: Path) -> None:
    begin(tmp_path).close()
    later = HandClock()
    later.wall = later.wall.replace(month=9)
    old = opened(transcribed=PAPER)
    create_run(tmp_path, tag="CR-07", procedure_name="paper", opened=old, clock=later).close()
    runs = Logbook(tmp_path).runs()
    assert [(run.transcribed, run.counts_for) for run in runs] == [
        (False, "2026-03-01"),
        (True, "2019-05-03"),
    ]
    assert Logbook(tmp_path).find("CR-07") == runs[0].path


def test_a_first_record_written_before_there_were_papers_reads_as_before() -> None:
    written = msgspec.json.encode(opened()).replace(b',"transcribed":null', b"")
    assert b"transcribed" not in written
    assert msgspec.json.decode(written, type=type(opened())) == opened()
