"""Clocks that are set, and folders that change or go, in the middle of a run."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from ohmward.errors import Unreachable
from ohmward.logbook import Logbook, open_run, read, verify
from ohmward.logbook.events import Closed, Noted
from ohmward.logbook.whole import anchor_all, verify_all
from support.journals import HandClock, begin, closing, some_events
from support.machine import open_folder

ZONE = ZoneInfo("Europe/Zurich")


class ZonedClock(HandClock):
    """A wall clock in a place with summer time; both clocks go on by `step_s`."""

    def __init__(self, start: datetime, step_s: float) -> None:
        super().__init__(step_s)
        self.at = start.astimezone(UTC)

    def now(self) -> datetime:
        self.at += timedelta(seconds=self.step_s)
        self.seconds += self.step_s
        return self.at.astimezone(ZONE)


# The changes of 2026 by Directive 2000/84/EC: at 01:00 UTC on the last Sundays of March and October.
@pytest.mark.parametrize(
    ("start", "offsets", "days"),
    [
        (datetime(2026, 3, 29, 0, 55, tzinfo=UTC), ["+01:00", "+02:00"], ["2026-03-29"]),
        (datetime(2026, 10, 25, 0, 55, tzinfo=UTC), ["+02:00", "+01:00"], ["2026-10-25"]),
    ],
)
def test_a_change_to_or_from_summer_time_is_no_changed_clock(
    tmp_path: Path, start: datetime, offsets: list[str], days: list[str]
) -> None:
    with begin(tmp_path, *some_events(), clock=ZonedClock(start, 120.0)) as journal:
        journal.append(closing(journal))
        path = journal.path
    found = verify(path)
    assert (found.intact, found.notices) == (True, ())
    at = [record.at for record in read(path)]
    assert list(dict.fromkeys(each[-6:] for each in at)) == offsets
    assert list(dict.fromkeys(each[:10] for each in at)) == days
    instants = [datetime.fromisoformat(each) for each in at]
    assert {later - sooner for sooner, later in pairwise(instants)} == {timedelta(seconds=120)}


def test_between_sessions_too(tmp_path: Path) -> None:
    before = ZonedClock(datetime(2026, 10, 24, 23, 0, tzinfo=UTC), 60.0)
    with begin(tmp_path, clock=before) as journal:
        path = journal.path
    with open_run(path, clock=ZonedClock(datetime(2026, 10, 25, 1, 10, tzinfo=UTC), 60.0)) as journal:
        journal.append(Noted(text="after the change"))
    assert verify(path).notices == ()


@pytest.mark.parametrize(("by", "way"), [(timedelta(hours=-2), "back"), (timedelta(days=400), "ahead")])
def test_a_clock_set_in_a_session_is_noted_and_nothing_is_lost(
    tmp_path: Path, by: timedelta, way: str
) -> None:
    clock = HandClock()
    with begin(tmp_path, *some_events()[:2], clock=clock) as journal:
        clock.wall += by
        for event in some_events()[2:]:
            journal.append(event)
        journal.append(closing(journal))
        path = journal.path
    found = verify_all(tmp_path)
    assert found.intact
    (told,) = found.notices
    assert f"line 4: the clock was set {way}" in told.text
    assert len(read(path)) == 7


def test_a_clock_far_back_still_makes_runs_that_are_told_apart(tmp_path: Path) -> None:
    """A bench computer without a battery begins in 1970."""
    clock = HandClock()
    clock.wall = datetime(1970, 1, 1, 0, 0, 5, tzinfo=UTC)
    for _ in range(2):
        begin(tmp_path, clock=clock).close()
    begin(tmp_path).close()
    runs = Logbook(tmp_path).runs()
    assert [run.date for run in runs] == ["2026-03-01", "1970-01-01", "1970-01-01"]
    assert verify_all(tmp_path).intact


# Places


@pytest.fixture
def shared() -> Iterator[Path]:
    with open_folder() as folder:
        yield folder


def test_a_folder_that_goes_in_the_middle_of_a_run_stops_it_in_words(tmp_path: Path) -> None:
    """As a stick pulled out, or a share that went away."""
    with begin(tmp_path / "stick", *some_events()) as journal:
        acknowledged = journal.records
        (tmp_path / "stick").rename(tmp_path / "pulled out")
        for _ in range(2):
            with pytest.raises(Unreachable, match="removed, replaced or changed"):
                journal.append(Noted(text="never recorded"))
    assert not (tmp_path / "stick").exists()  # nothing is made in its place
    (tmp_path / "pulled out").rename(tmp_path / "stick")
    with open_run(Logbook(tmp_path / "stick").find("CR-07"), clock=HandClock()) as journal:
        assert journal.records == acknowledged
        journal.append(Noted(text="goes on"))
    assert verify_all(tmp_path / "stick").intact


def test_a_folder_that_goes_before_a_run_begins_is_said(tmp_path: Path) -> None:
    (tmp_path / "gone").mkdir()
    (tmp_path / "gone").rmdir()
    (tmp_path / "file").touch()
    with pytest.raises(Unreachable):
        begin(tmp_path / "file" / "logbook")
    assert Logbook(tmp_path / "gone").runs() == ()
    with pytest.raises(Unreachable, match="there is no such folder"):
        verify_all(tmp_path / "gone")  # what is not there is not intact


def as_nobody() -> None:
    if os.geteuid() == 0:
        os.seteuid(65534)


def test_permission_lost_in_the_middle_of_a_run_loses_nothing(shared: Path) -> None:
    shared.chmod(0o777)
    as_nobody()
    try:
        journal = begin(shared, *some_events())
        folder = journal.path.parent
        folder.chmod(0o555)
        journal.path.chmod(0o444)
        journal.append(Noted(text="an open file may still be written"))
        with pytest.raises(Unreachable, match=r"the run is closed.*but its seal is not"):
            journal.append(closing(journal))
        path = journal.path
        journal.close()
        assert isinstance(read(path)[-1].event, Closed)
        with pytest.raises(Unreachable, match="cannot be opened for writing"):
            open_run(path)
        folder.chmod(0o755)
        path.chmod(0o644)
        open_run(path).close()  # writes the seal
        assert verify(path).intact
        assert anchor_all(shared, HandClock()) == ("CR-07/2026-03-01-01-commissioning",)
        assert verify_all(shared).notices == ()
        (shared / "anchors").chmod(0o555)
        (shared / "anchors" / "test-bench.chain").chmod(0o444)
        with begin(shared, tag="CR-11") as another:
            with pytest.raises(Unreachable, match=r"closed and sealed.*'ohmward anchor'"):
                another.append(closing(another))
            assert verify(another.path).intact
    finally:
        if os.getuid() == 0:
            os.seteuid(0)
    shutil.rmtree(shared / "runs")
