"""Writing a journal: what was acknowledged is on the disk, and nothing else is written."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import resource
import stat
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ohmward.errors import Damaged, Refused, Unreachable
from ohmward.logbook import Journal, SystemClock, contents, create_run, disk, open_run, read, verify
from ohmward.logbook.events import Answered, Closed, Event, Judged, Noted, Opened, Parts, Reading, Recovered
from ohmward.quantity import Value
from support.journals import HandClock, begin, closing, events, lines_of, opened, some_events

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


# A torn tail


@pytest.mark.usefixtures("no_sync")
def test_cut_at_any_byte_it_reopens_with_every_acknowledged_record(tmp_path: Path) -> None:
    with begin(tmp_path, *some_events()[1:4]) as journal:
        path, whole = journal.path, journal.path.read_bytes()
        acknowledged = journal.records
    first = whole.index(b"\n") + 1
    for size in range(len(whole) + 1):
        path.write_bytes(whole[:size])
        if size < first:  # the run was never acknowledged to anybody
            with pytest.raises(Damaged, match="never begun"):
                open_run(path, clock=HandClock())
            assert path.read_bytes() == whole[:size]
            continue
        kept = whole[:size].count(b"\n")
        torn = whole[whole.rfind(b"\n", 0, size) + 1 : size]
        assert read(path) == acknowledged[:kept]
        assert contents(path).torn_bytes == len(torn)
        with open_run(path, clock=HandClock()) as journal:
            assert journal.records[:kept] == acknowledged[:kept]
            added = journal.records[kept:]
            journal.append(Noted(text="goes on"))
        beside = path.with_suffix(".torn-1")
        if torn:
            (record,) = added
            assert record.event == Recovered(
                torn_bytes=len(torn), set_aside=beside.name, sha256=hashlib.sha256(torn).hexdigest()
            )
            assert beside.read_bytes() == torn
        else:
            assert not added
        assert path.read_bytes().startswith(whole[: size - len(torn)])
        assert verify(path).intact, (size, verify(path).problems)
        beside.unlink(missing_ok=True)


def test_each_torn_tail_is_set_aside_in_a_file_of_its_own(tmp_path: Path) -> None:
    with begin(tmp_path) as journal:
        path = journal.path
    for number in (1, 2, 3):
        with path.open("ab") as file:
            file.write(b"torn" * number)
        open_run(path, clock=HandClock()).close()
        assert path.with_suffix(f".torn-{number}").read_bytes() == b"torn" * number
    assert verify(path).intact
    path.with_suffix(".torn-2").write_bytes(b"other")
    assert any("torn-2" in words and number == 3 for number, words in verify(path).problems)
    path.with_suffix(".torn-2").unlink()
    assert any("torn-2" in words for _, words in verify(path).problems)


def test_torn_bytes_are_safe_beside_before_they_are_cut_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with begin(tmp_path) as journal:
        path = journal.path
    with path.open("ab") as file:
        file.write(b"torn")
    done: list[str] = []
    sync, truncate = os.fsync, os.ftruncate

    def noted(descriptor: int) -> None:
        sync(descriptor)
        done.append(Path(f"/proc/self/fd/{descriptor}").readlink().name)

    def cut(descriptor: int, size: int) -> None:
        done.append("cut")
        truncate(descriptor, size)

    monkeypatch.setattr(os, "fsync", noted)
    monkeypatch.setattr(os, "ftruncate", cut)
    open_run(path, clock=HandClock()).close()
    at = done.index("cut")
    assert done[at - 2 : at] == [path.with_suffix(".torn-1").name, path.parent.name]
    assert done[at + 1] == path.name


def test_a_recovery_that_was_itself_cut_off_is_told_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with begin(tmp_path) as journal:
        path = journal.path
    with path.open("ab") as file:
        file.write(b"torn")

    def fail(*_: object) -> None:
        raise OSError(errno.EIO, "Input/output error")

    with monkeypatch.context() as patch:
        patch.setattr(disk, "append", fail)
        with pytest.raises(Unreachable, match="Input/output error"):
            open_run(path, clock=HandClock())
    with monkeypatch.context() as patch:
        patch.setattr(disk, "cut", fail)
        with pytest.raises(Unreachable):
            open_run(path, clock=HandClock())
    assert path.read_bytes().endswith(b"torn")
    with open_run(path, clock=HandClock()) as journal:
        told = [record.event.set_aside for record in journal.records if isinstance(record.event, Recovered)]
    assert told == [path.with_suffix(".torn-1").name, path.with_suffix(".torn-2").name]
    assert verify(path).intact


def test_a_closed_run_cut_or_added_to_is_not_recovered_but_refused(tmp_path: Path) -> None:
    with begin(tmp_path, *some_events()) as journal:
        journal.append(closing(journal))
        path = journal.path
    whole = path.read_bytes()
    added = (whole + b"x", whole + b"\n", whole + whole.splitlines(keepends=True)[-1])
    for data in (whole[:-1], whole[:-90], b"".join(lines_of(path)[:-1]), *added):
        path.write_bytes(data)
        with pytest.raises(Damaged, match="nothing is written to a damaged journal"):
            open_run(path)
        assert path.read_bytes() == data
    path.with_suffix(
        ".seal"
    ).unlink()  # without it a cut run is one that was never closed; but what was added shows
    for data in added:
        path.write_bytes(data)
        assert verify(path).problems[-1][0] == 8
        with pytest.raises(Damaged, match="line 8"):
            open_run(path)
        assert path.read_bytes() == data


def test_a_damaged_journal_is_read_and_opened_by_nobody(tmp_path: Path) -> None:
    with begin(tmp_path, *some_events()) as journal:
        path = journal.path
    data = path.read_bytes().replace(b'"answer":"pass"', b'"answer":"fail"')
    path.write_bytes(data)
    for function in (read, open_run):
        with pytest.raises(Damaged, match=r"commissioning\.jsonl: line 4: its bytes do not match its digest"):
            function(path)
    assert path.read_bytes() == data


# One writer


def test_a_second_writer_is_refused_and_a_reader_is_not(tmp_path: Path) -> None:
    with begin(tmp_path) as journal:
        with pytest.raises(Refused, match=r"commissioning\.jsonl is being written by another session"):
            open_run(journal.path)
        script = (
            "import sys\nfrom pathlib import Path\nfrom ohmward.errors import Refused\n"
            "from ohmward.logbook import open_run, read\n"
            "path = Path(sys.argv[1])\nassert len(read(path)) == 1\n"
            "try:\n    open_run(path)\nexcept Refused as error:\n    print(error)\n"
        )
        done = subprocess.run(
            [sys.executable, "-c", script, journal.path],
            capture_output=True,
            text=True,
            check=True,
            timeout=60,
        )
        assert "another session" in done.stdout
        journal.append(Noted(text="still mine"))
    open_run(journal.path).close()


def test_threads_of_one_session_take_turns(tmp_path: Path) -> None:
    with begin(tmp_path) as journal:
        workers = [
            threading.Thread(target=lambda: [journal.append(Noted(text="x")) for _ in range(50)])
            for _ in range(4)
        ]
        for worker in workers:
            worker.start()
        for worker in workers:
            worker.join()
        assert len(journal.records) == 201
        assert verify(journal.path).intact


@pytest.mark.parametrize("change", ["removed", "replaced", "added to", "cut"])
def test_a_file_taken_away_under_the_journal_stops_it(tmp_path: Path, change: str) -> None:
    with begin(tmp_path, Noted(text="a")) as journal:
        data = journal.path.read_bytes()
        if change == "removed":
            journal.path.unlink()
        elif change == "replaced":  # as an editor does
            (tmp_path / "draft").write_bytes(data)
            (tmp_path / "draft").replace(journal.path)
        else:
            journal.path.write_bytes(data + b"x" if change == "added to" else data[:-5])
        for _ in range(2):
            with pytest.raises(Unreachable, match="removed, replaced or changed"):
                journal.append(Noted(text="never recorded"))


def test_a_working_folder_that_changes_does_not_matter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with begin(Path("logbook")) as journal:
        monkeypatch.chdir("/")
        journal.append(Noted(text="x"))
        assert len(read(journal.path)) == 2


# A disk that fails


@contextmanager
def file_size_limit(size: int) -> Iterator[None]:
    """No file of this process may grow over `size`: a write gets short, the next one fails."""
    old = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, old[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, old)


def test_a_file_that_may_not_grow_fails_cleanly_and_loses_nothing(tmp_path: Path) -> None:
    with begin(tmp_path, *some_events()) as journal:
        path, whole, acknowledged = journal.path, journal.path.read_bytes(), journal.records
        with (
            file_size_limit(len(whole) + 100),
            pytest.raises(Unreachable, match=r"not recorded: .*6 records before"),
        ):
            journal.append(Noted(text="x" * 500))
        assert path.read_bytes() == whole  # the 100 bytes that fitted were cut back
        with pytest.raises(
            Unreachable, match=r"nothing more is recorded here: not recorded: File too large.*Open"
        ):
            journal.append(Noted(text="final for this journal"))
    with open_run(path, clock=HandClock()) as journal:
        assert journal.records == acknowledged
        journal.append(Noted(text="room again"))
    assert verify(path).intact


def test_where_the_partial_line_cannot_be_cut_back_it_is_set_aside_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with begin(tmp_path) as journal:
        path, whole = journal.path, journal.path.read_bytes()

        def full(descriptor: int, data: bytes) -> None:
            os.write(descriptor, data[:40])
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        def stuck(*_: object) -> None:
            raise OSError(errno.EIO, os.strerror(errno.EIO))

        monkeypatch.setattr(disk, "append", full)
        monkeypatch.setattr(disk, "cut", stuck)
        with pytest.raises(Unreachable, match=r"No space left on device.*Make room"):
            journal.append(Noted(text="x"))
        assert len(path.read_bytes()) == len(whole) + 40
    monkeypatch.undo()
    with open_run(path, clock=HandClock()) as journal:
        assert [type(record.event) for record in journal.records] == [Opened, Recovered]
    assert verify(path).intact


def test_a_short_write_is_finished(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write = os.write
    with begin(tmp_path) as journal:
        monkeypatch.setattr(os, "write", lambda descriptor, data: write(descriptor, data[:7]))
        journal.append(Noted(text="seven bytes at a time"))
        monkeypatch.undo()
        assert verify(journal.path).intact
        assert len(read(journal.path)) == 2


def test_a_sync_that_fails_is_final_and_the_record_is_not_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with begin(tmp_path, Noted(text="a")) as journal:
        path, acknowledged, sync = journal.path, journal.records, os.fsync
        failures = [OSError(errno.EIO, os.strerror(errno.EIO))]

        def once(descriptor: int) -> None:
            if failures:
                raise failures.pop()
            sync(descriptor)

        monkeypatch.setattr(os, "fsync", once)
        with pytest.raises(Unreachable, match="not recorded: Input/output error"):
            journal.append(Noted(text="b"))
        assert read(path) == acknowledged == journal.records
        with pytest.raises(Unreachable):
            journal.append(Noted(text="c"))


@pytest.mark.parametrize("moment", ["write", "fsync"])
def test_an_interrupted_write_leaves_no_journal_that_could_go_wrong(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moment: str
) -> None:
    real: Callable[..., Any] = getattr(os, moment)

    def interrupted(*arguments: Any) -> None:
        real(*arguments)
        raise KeyboardInterrupt

    with begin(tmp_path) as journal:
        with monkeypatch.context() as patch:
            patch.setattr(os, moment, interrupted)
            with pytest.raises(KeyboardInterrupt):
                journal.append(Noted(text="a"))
        with pytest.raises(Unreachable, match="the last write was interrupted"):
            journal.append(Noted(text="b"))
        path = journal.path
    with open_run(path, clock=HandClock()) as journal:
        journal.append(Noted(text="b"))
    assert verify(path).intact


def test_a_seal_that_cannot_be_written_is_said_and_made_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with begin(tmp_path) as journal:
        monkeypatch.setattr(disk, "write_whole", fail)
        with pytest.raises(Unreachable, match=r"run is closed.*seal is not.*Make room"):
            journal.append(closing(journal))
        path = journal.path
    monkeypatch.undo()
    with open_run(path) as journal:
        assert journal.closed
    assert verify(path).intact


def test_a_run_that_cannot_be_begun_leaves_no_file(tmp_path: Path) -> None:
    (tmp_path / "runs" / "CR-07").mkdir(parents=True)
    with file_size_limit(100), pytest.raises(Unreachable, match="not recorded"):
        begin(tmp_path)
    assert not list(tmp_path.rglob("*.jsonl"))
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(Unreachable, match="cannot be made"):
        begin(tmp_path / "file")
    with pytest.raises(Unreachable, match="cannot be made"):
        begin(tmp_path / "nul\0")


def fill(journal: Journal) -> None:
    while True:
        journal.append(Noted(text="x" * 3000))


def crowd(logbook: Path) -> None:
    for _ in range(10):
        begin(logbook, tag="CR-11").close()


def test_a_full_disk_for_real(tmp_path: Path) -> None:
    """A file system of 64 kB, filled to the brim."""
    mount = tmp_path / "small"
    mount.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(mount)]
    if os.geteuid() != 0 or subprocess.run(command, capture_output=True, check=False, timeout=30).returncode:
        pytest.skip(
            "mounting a small file system is not allowed here; the limit on file size stands in for it"
        )
    try:
        with begin(mount) as journal:
            with pytest.raises(Unreachable, match=r"No space left on device.*Make room"):
                fill(journal)
            acknowledged, path = journal.records, journal.path
        assert len(acknowledged) > 5
        assert read(path) == acknowledged
        assert verify(path).intact
        with pytest.raises(Unreachable, match="No space left"):
            crowd(mount)
    finally:
        subprocess.run(["umount", mount], check=True, timeout=30)


@contextmanager
def plain_user() -> Iterator[None]:
    """Root may write anywhere: become nobody for a while."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder that a plain user reaches (the test runner's own are closed to others)."""
    import tempfile

    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        yield Path(name)


def test_a_read_only_folder_gives_a_clear_error_and_loses_nothing(shared: Path) -> None:
    with begin(shared, *some_events()) as journal:
        path, whole = journal.path, journal.path.read_bytes()
    for place in (shared, shared / "runs", path.parent):
        place.chmod(0o555)
    with plain_user():
        with pytest.raises(Unreachable, match=r"cannot be begun here|cannot be made"):
            begin(shared)
        with pytest.raises(Unreachable, match="cannot be made"):
            begin(shared / "elsewhere")
        path.chmod(0o444) if os.geteuid() != 65534 else None
        if os.access(path, os.W_OK, effective_ids=True):
            pytest.fail("the test's own premise: a plain user may not write this file")
        with pytest.raises(Unreachable, match="cannot be opened for writing"):
            open_run(path)
        assert len(read(path)) == 6
        assert verify(path).intact
    for place in (path.parent, shared / "runs", shared):
        place.chmod(0o755)
    assert path.read_bytes() == whole
    path.chmod(0o200)
    with plain_user(), pytest.raises(Unreachable, match="cannot be read"):
        read(path)


def test_a_torn_tail_that_cannot_be_set_aside_stays_where_it_is(shared: Path) -> None:
    with begin(shared) as journal:
        path = journal.path
    with path.open("ab") as file:
        file.write(b"torn")
    path.chmod(0o666)
    path.parent.chmod(0o555)
    with plain_user(), pytest.raises(Unreachable):
        open_run(path, clock=HandClock())
    assert path.read_bytes().endswith(b"\ntorn")
    path.parent.chmod(0o755)
    with open_run(path, clock=HandClock()) as journal:
        assert isinstance(journal.records[-1].event, Recovered)


# Systems that cannot do everything


def test_a_disk_without_locks_or_folder_sync_is_told_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import fcntl

    with begin(tmp_path) as journal:
        assert journal.shortcomings == ()
    sync = os.fsync

    def no_locks(*_: object) -> None:
        raise OSError(errno.ENOLCK, os.strerror(errno.ENOLCK))

    def files_only(descriptor: int) -> None:
        if stat.S_ISDIR(os.fstat(descriptor).st_mode):
            raise OSError(errno.EINVAL, os.strerror(errno.EINVAL))
        sync(descriptor)

    monkeypatch.setattr(fcntl, "flock", no_locks)
    monkeypatch.setattr(os, "fsync", files_only)
    with begin(tmp_path) as journal:
        assert len(journal.shortcomings) == 2
        assert "lock" in journal.shortcomings[0]
        assert "folder" in journal.shortcomings[1]
    with open_run(journal.path) as journal:
        assert len(journal.shortcomings) == 2
