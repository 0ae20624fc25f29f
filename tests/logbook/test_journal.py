"""Writing a journal: what was acknowledged is on the disk, and nothing else is written."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import stat
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ohmward.errors import Refused
from ohmward.logbook import SystemClock, create_run, disk, open_run, read, verify
from ohmward.logbook.events import Answered, Closed, Event, Judged, Noted, Parts, Reading
from ohmward.quantity import Value
from support.journals import HandClock, begin, closing, events, opened, some_events

slow_disk = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


# The line


def test_a_line_is_as_the_format_says_recomputed_here_without_the_tool(tmp_path: Path) -> None:
    with begin(tmp_path, *some_events()) as journal:
        path = journal.path
    before = "0" * 64
    for seq, line in enumerate(path.read_bytes().decode("utf-8").split("\n")[:-1]):
        fields = json.loads(line)
        assert list(fields) == ["seq", "at", "elapsed_s", "kind", "body", "prev", "digest"]
        start = line[: line.index(',"digest":')]
        assert fields["seq"] == seq
        assert fields["prev"] == before
        assert fields["digest"] == hashlib.sha256(start.encode()).hexdigest()
        assert line == start + f',"digest":"{fields["digest"]}"}}'
        assert line == json.dumps(fields, ensure_ascii=False, separators=(",", ":"))  # compact
        assert datetime.fromisoformat(fields["at"]).utcoffset() is not None
        before = hashlib.sha256(line.encode()).hexdigest()


@pytest.mark.usefixtures("no_sync")
@slow_disk
@given(written=st.lists(events(), max_size=8))
def test_what_is_written_is_what_is_read(
    tmp_path_factory: pytest.TempPathFactory, written: list[Event]
) -> None:
    with begin(tmp_path_factory.mktemp("run"), *written) as journal:
        assert [record.event for record in journal.records[1:]] == written
        assert read(journal.path) == journal.records
        assert verify(journal.path).intact
        path = journal.path
    with open_run(path, clock=HandClock()) as again:
        assert again.records == journal.records


def test_a_batch_is_one_write_and_one_sync(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[str] = []
    write, sync = os.write, os.fsync
    with begin(tmp_path) as journal:

        def counted_write(descriptor: int, data: bytes) -> int:
            calls.append("write")
            return write(descriptor, data)

        def counted_sync(descriptor: int) -> None:
            calls.append("sync")
            sync(descriptor)

        monkeypatch.setattr(os, "write", counted_write)
        monkeypatch.setattr(os, "fsync", counted_sync)
        batch = [Noted(text=str(number)) for number in range(100)]
        assert [record.event for record in journal.append_many(batch)] == batch
        assert calls == ["write", "sync"]
        assert journal.append_many([]) == ()
        assert read(journal.path) == journal.records


def test_every_record_was_synced_when_append_returned(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that keeps only what was synced: what `append` returned is in it, and the file's name too."""
    durable: dict[int, int] = {}
    names: set[str] = set()
    sync = os.fsync

    def kept(descriptor: int) -> None:
        sync(descriptor)
        status = os.fstat(descriptor)
        if stat.S_ISDIR(status.st_mode):
            names.update(os.listdir(f"/proc/self/fd/{descriptor}"))
        else:
            durable[status.st_ino] = status.st_size

    monkeypatch.setattr(os, "fsync", kept)
    with begin(tmp_path / "new" / "logbook") as journal:
        for event in (*some_events(), closing(journal)):
            if isinstance(event, Closed):
                event = closing(journal)  # noqa: PLW2901
            journal.append(event)
            status = journal.path.stat()
            assert durable[status.st_ino] == status.st_size
    assert {"new", "logbook", "runs", "CR-07", journal.path.name} <= names
    seal = journal.path.with_suffix(".seal")
    assert durable[seal.stat().st_ino] == seal.stat().st_size
    assert seal.name in names


def test_what_a_killed_session_did_not_sync_is_synced_before_it_is_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with begin(tmp_path) as journal:
        path = journal.path
    synced: list[int] = []
    sync = os.fsync

    def noted(descriptor: int) -> None:
        sync(descriptor)
        synced.append(os.fstat(descriptor).st_ino)

    monkeypatch.setattr(os, "fsync", noted)
    open_run(path).close()
    assert path.stat().st_ino in synced
    assert path.parent.stat().st_ino in synced


def test_a_file_written_whole_is_there_whole_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "x.seal"
    real = {name: getattr(os, name) for name in ("open", "write", "fsync", "replace")}
    countdown = 0

    def counted(name: str) -> Callable[..., Any]:
        def call(*arguments: Any, **options: Any) -> Any:
            nonlocal countdown
            countdown -= 1
            if countdown < 0:
                raise OSError(errno.EIO, os.strerror(errno.EIO))
            return real[name](*arguments, **options)

        return call

    for allowed in range(12):
        with monkeypatch.context() as patch:
            for name in real:
                patch.setattr(os, name, counted(name))
            countdown = allowed
            try:
                disk.write_whole(place, b"all of it\n")
                break
            except OSError:
                pass
        assert not place.exists() or place.read_bytes() == b"all of it\n"
    assert allowed > 4
    assert [path.name for path in tmp_path.iterdir()] == ["x.seal"]


def test_append_refuses_what_would_not_read_back(tmp_path: Path) -> None:
    value = Value(raw="nan", number=Decimal("sNaN"), unit="V")
    bad: list[Any] = [
        Answered(step="s", answer="maybe"),  # type: ignore[arg-type]
        Noted(text="lone surrogate \ud800"),
        Noted(text=5),  # type: ignore[arg-type]
        Parts(names=["a list"]),  # type: ignore[arg-type]
        Reading(step="s", value=value, judged=Judged(verdict="pass", net=float("inf"))),
        Reading(step="s", value=value, judged=Judged(verdict="pass")),
        Noted(text="x" * (1 << 24)),
        "not an event",
    ]
    with begin(tmp_path) as journal:
        before = journal.path.read_bytes()
        for event in bad:
            with pytest.raises(Refused):
                journal.append(event)
            with pytest.raises(Refused):
                journal.append_many([Noted(text="fine"), event])
        assert journal.path.read_bytes() == before
        journal.append(Noted(text="and goes on"))
        assert verify(journal.path).intact


def test_a_naive_clock_is_refused_and_leaves_nothing(tmp_path: Path) -> None:
    class Naive(HandClock):
        def now(self) -> datetime:
            return super().now().replace(tzinfo=None)

    with pytest.raises(Refused, match="offset"):
        create_run(tmp_path, tag="CR-07", procedure_name="retest", opened=opened(), clock=Naive())
    assert not list(tmp_path.rglob("*.jsonl"))
    with begin(tmp_path) as journal:
        path = journal.path
    with open_run(path, clock=Naive()) as journal, pytest.raises(Refused, match="offset"):
        journal.append(Noted(text="x"))


def test_the_system_clock_is_aware_and_keeps_the_local_offset() -> None:
    now = SystemClock().now()
    assert now.utcoffset() == datetime.now(UTC).astimezone().utcoffset()
    first = SystemClock().monotonic()
    assert SystemClock().monotonic() >= first


def test_elapsed_begins_anew_with_each_session(tmp_path: Path) -> None:
    with begin(tmp_path, Noted(text="a"), Noted(text="b"), clock=HandClock(2.5)) as journal:
        path = journal.path
    clock = HandClock(2.5)
    with open_run(path, clock=clock) as journal:
        clock.seconds += 50
        journal.append(Noted(text="c"))
        journal.append(Noted(text="d"))
    assert [record.elapsed_s for record in read(path)] == [0.0, 2.5, 5.0, 0.0, 2.5]


# The end


def test_closing_writes_the_seal_and_nothing_follows(tmp_path: Path) -> None:
    with begin(tmp_path, *some_events()) as journal:
        with pytest.raises(Refused):
            journal.append(Closed(verdict="pass", records=3))  # miscounted
        with pytest.raises(Refused):
            journal.append_many([closing(journal), Noted(text="after")])
        journal.append(closing(journal))
        assert journal.closed
        with pytest.raises(Refused, match="closed"):
            journal.append(Noted(text="after"))
        path, last = journal.path, journal.records[-1]
    seal = json.loads(path.with_suffix(".seal").read_bytes())
    assert (seal["run"], seal["records"], seal["last"], seal["at"]) == (path.name, 7, last.digest, last.at)
    found = verify(path)
    assert found.intact
    assert found.closed
    assert found.last_digest == last.digest
    with open_run(path) as journal, pytest.raises(Refused, match="closed"):
        journal.append(Noted(text="after"))
    assert verify(path).intact


def test_a_seal_that_was_not_written_is_made_when_the_run_is_opened(tmp_path: Path) -> None:
    with begin(tmp_path) as journal:
        journal.append(closing(journal))
        path = journal.path
    whole = path.with_suffix(".seal").read_bytes()
    path.with_suffix(".seal").unlink()
    assert not verify(path).intact
    open_run(path).close()
    assert path.with_suffix(".seal").read_bytes() == whole
    assert verify(path).intact


def test_opened_comes_first_and_once(tmp_path: Path) -> None:
    with begin(tmp_path) as journal, pytest.raises(Refused, match="opened"):
        journal.append(opened())


def test_a_journal_let_go_takes_nothing(tmp_path: Path) -> None:
    journal = begin(tmp_path)
    journal.close()
    journal.close()
    with pytest.raises(Refused, match="no longer open"):
        journal.append(Noted(text="x"))
