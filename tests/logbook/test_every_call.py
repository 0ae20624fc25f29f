"""Every call that changes the disk goes wrong in turn: failing, writing short, killed, power cut.

The interposed layer is `support.faulty_disk`. For each scenario the calls are counted in a run without
faults; then each of them goes wrong once in each way, and what is then on the disk is opened again.
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import pytest

from ohmward.errors import OhmwardError
from ohmward.logbook import Journal, Logbook, contents, create_run, disk, open_run, verify
from ohmward.logbook.events import Captured, Closed, Event, Noted, Opened, Record, Transcribed
from ohmward.logbook.incoming import write_closed
from ohmward.logbook.merge import merge
from ohmward.logbook.whole import anchor_all, verify_all
from ohmward.report.export import READINGS, reading_rows
from ohmward.report.export_files import csv_text, write
from support import bench
from support.faulty_disk import LOSSES, Fault, FaultyDisk
from support.journals import HandClock, begin, closing, opened, some_events

DAY = date(2019, 5, 3)


@dataclass
class Told:
    """What was acknowledged: by file name in the logbook, the records; and the runs closed."""

    records: dict[str, list[Record]] = field(default_factory=dict)
    closed: set[str] = field(default_factory=set)
    done: bool = False


Scenario = Callable[[Path, Told], None]


@pytest.fixture(autouse=True)
def _state_elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


def record(journal: Journal, told: Told, logbook: Path, events: list[Event]) -> None:
    name = journal.path.relative_to(logbook).as_posix()
    told.records[name] = list(journal.records)
    for event in events:
        written = journal.append_many([event, event]) if isinstance(event, Noted) else [journal.append(event)]
        told.records[name] += written
        if isinstance(event, Closed):
            told.closed.add(name)


def recording(logbook: Path, told: Told) -> None:
    """A whole session: begun, six records, closed, sealed and anchored."""
    with begin(logbook) as journal:
        events = list(some_events())
        record(journal, told, logbook, events)
        record(journal, told, logbook, [closing(journal)])
    told.done = True


def going_on(logbook: Path, told: Told) -> None:
    """A run left with a torn line is opened, gone on with and closed, in a logbook with a chain."""
    path = Logbook(logbook).find("CR-11")
    with open_run(path, clock=HandClock()) as journal:
        record(journal, told, logbook, [Noted(text="goes on")])
        record(journal, told, logbook, [closing(journal)])
    told.done = True


def from_paper(logbook: Path, told: Told) -> None:
    """A whole run written at once, and anchored."""
    events: list[Event] = [
        opened(transcribed=Transcribed(date=DAY.isoformat(), by="bench B", source="blue folder")),
        *some_events(),
        Closed(verdict="incomplete", records=0),
    ]
    write_closed(logbook, tag="CR-07", procedure="retest", day=DAY, events=events, clock=HandClock())
    told.done = True


def merging(logbook: Path, told: Told) -> None:
    """Runs, what lies beside them, and a chain come from another bench."""
    merge(logbook, logbook.with_name("other"))
    told.done = True


def prepared(folder: Path) -> Path:
    """A logbook with a closed run and one left with a torn line; beside it another bench's."""
    logbook, other = folder / "logbook", folder / "other"
    with begin(logbook, *some_events(), tag="CR-02") as journal:
        journal.append(closing(journal))
    with begin(logbook, *some_events(), tag="CR-11") as journal:
        path = journal.path
    with path.open("ab") as file:
        file.write(b'{"seq":6,"torn')
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("OHMWARD_BENCH", "bench-B")
        for tag in ("CR-02", "CR-48"):
            with begin(other, *some_events(), tag=tag, clock=HandClock(2.0)) as journal:
                wave = b"time_s,volts\n0,1\n"
                journal.path.with_name(f"{tag}.csv").write_bytes(wave)
                journal.append(
                    Captured(
                        step="ripple", file=f"{tag}.csv", sha256=hashlib.sha256(wave).hexdigest(), samples=1,
                        interval_s=1.0, unit="V", source="scope",
                    )
                )  # fmt: skip
                journal.append(closing(journal))
    return logbook


def count_calls(folder: Path, scenario: Scenario) -> int:
    logbook = prepared(folder)
    layer = FaultyDisk(logbook)
    told = Told()
    with layer.running():
        scenario(logbook, told)
    assert told.done
    return layer.calls


def cases(calls: int) -> Iterator[tuple[Fault, int]]:
    faults: tuple[Fault, ...] = ("fail", "short", "kill", "power")
    for fault in faults:
        for at in range(calls):
            yield fault, at


def check(logbook: Path, told: Told, before: dict[str, bytes], where: str) -> None:
    """Reopen what is on the disk: every acknowledged record is there, and `verify` agrees."""
    for name, acknowledged in told.records.items():
        path = logbook / name
        assert path.exists(), (where, name)
        with open_run(path, clock=HandClock()) as journal:
            assert list(journal.records[: len(acknowledged)]) == acknowledged, (where, name)
            if name in told.closed:
                assert journal.closed, (where, name)
        found = verify(path)
        assert found.intact, (where, found.problems)
    for path in sorted(logbook.rglob("*.jsonl")):
        name = path.relative_to(logbook).as_posix()
        open_run(path, clock=HandClock()).close()  # what was never acknowledged is whole, or no journal
        if name in before:
            assert path.read_bytes().startswith(before[name]), (where, name)
    anchor_all(logbook, HandClock())
    whole = verify_all(logbook)
    assert whole.intact, (where, whole.problems, whole.damaged, whole.unread)
    assert not [each for each in whole.notices if "chain" in each.text], (where, whole.notices)


def journals(logbook: Path) -> dict[str, bytes]:
    found = {path.relative_to(logbook).as_posix(): path.read_bytes() for path in logbook.rglob("*.jsonl")}
    return {name: data[: data.rfind(b"\n") + 1] for name, data in found.items()}


@pytest.mark.usefixtures("no_sync")
@pytest.mark.parametrize("scenario", [recording, going_on, from_paper, merging])
def test_whatever_call_goes_wrong_nothing_acknowledged_is_lost_and_nothing_is_half(
    tmp_path: Path, scenario: Scenario, capsys: pytest.CaptureFixture[str]
) -> None:
    calls = count_calls(tmp_path / "count", scenario)
    prepared(tmp_path / "fresh")
    before = journals(tmp_path / "fresh" / "logbook")
    count = 0
    for fault, at in cases(calls):
        work = tmp_path / "work"
        shutil.rmtree(work, ignore_errors=True)
        shutil.copytree(tmp_path / "fresh", work)
        layer = FaultyDisk(work / "logbook", fault, at)
        told = Told()
        with layer.running(), suppress(OhmwardError):  # nothing else may come out
            scenario(work / "logbook", told)
        where = (
            f"{scenario.__name__}: {fault} at call {at} ({layer.log[at] if at < len(layer.log) else 'none'})"
        )
        places = {where: work / "logbook"}
        if fault == "power":
            places = {f"{where}, lost: {lost}": tmp_path / f"cut{n}" for n, lost in enumerate(LOSSES)}
            for lost, place in zip(LOSSES, places.values(), strict=True):
                layer.after_power_cut(place, lost)
        for words, place in places.items():
            check(place, told, before, words)
            again(place, work / "other", told, scenario, words)
            count += 1
    with capsys.disabled():
        print(f"\n{scenario.__name__}: {calls} calls, {count} cases")  # noqa: T201 the count is a result
    assert count > 50


def test_the_layer_finds_a_journal_that_does_not_wait_for_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So that the cases above are known to be able to fail."""
    calls = count_calls(tmp_path / "count", recording)
    monkeypatch.setattr(disk, "sync", lambda _: None)
    found = 0
    for at in range(0, calls, 5):
        logbook = prepared(tmp_path / f"work{at}")
        layer, told = FaultyDisk(logbook, "power", at), Told()
        with layer.running():
            recording(logbook, told)
        layer.after_power_cut(tmp_path / f"cut{at}", "bytes")
        try:
            check(tmp_path / f"cut{at}", told, {}, "")
        except (AssertionError, OhmwardError):
            found += 1
    assert found > 3


def again(logbook: Path, other: Path, told: Told, scenario: Scenario, where: str) -> None:
    """Whatever was left of it, the same again brings the rest."""
    if scenario is merging:
        merge(logbook, other)
        assert len(Logbook(logbook).runs()) == 4, where
        assert verify_all(logbook).intact, where
    if scenario is from_paper:
        runs = [run for run in Logbook(logbook).runs() if run.transcribed]
        assert len(runs) in ({1} if told.done else {0, 1}), where
        assert all(contents(run.path).sealed for run in runs), where


def one_reading(logbook: Path) -> Path:
    events = [bench.reading("lead-null"), bench.reading("earth", "case")]
    first = bench.opened()
    assert isinstance(first, Opened)
    with create_run(logbook, tag="CR-07", procedure_name="test", opened=first, clock=HandClock()) as journal:
        for event in events:
            journal.append(event)
        return journal.path


@pytest.mark.parametrize("replace", [False, True])
def test_whatever_call_goes_wrong_an_export_is_whole_or_not_there(tmp_path: Path, replace: bool) -> None:
    rows = list(reading_rows(one_reading(tmp_path / "logbook")))
    whole = b"\xef\xbb\xbf" + "".join(csv_text(READINGS, rows)).encode()
    old = b"an older export"

    def fresh() -> Path:
        folder = tmp_path / "out"
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        if replace:
            (folder / "x.csv").write_bytes(old)
        return folder

    layer = FaultyDisk(fresh())
    with layer.running():
        write(tmp_path / "out" / "x.csv", READINGS, rows, replace=replace)
    assert layer.calls > 5
    for fault, at in cases(layer.calls):
        folder = fresh()
        faulty = FaultyDisk(folder, fault, at)
        done = False
        with faulty.running(), suppress(OhmwardError):
            write(folder / "x.csv", READINGS, rows, replace=replace)
            done = True
        places = [folder]
        if fault == "power":
            for number, lost in enumerate(LOSSES):
                faulty.after_power_cut(tmp_path / f"cut{number}", lost)
            places = [tmp_path / f"cut{number}" for number in range(len(LOSSES))]
        for place in places:
            there = (place / "x.csv").read_bytes() if (place / "x.csv").exists() else None
            assert there in ((old, whole) if replace else (None, whole)), (fault, at, place)
            if done:
                assert there == whole, (fault, at, place)
            write(place / "y.csv", READINGS, rows)  # whatever was left does not stand in the way
