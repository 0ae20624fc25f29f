"""One writer, and disks that fail: clear words, and nothing acknowledged is lost."""

from __future__ import annotations

import errno
import os
import resource
import stat
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from ohmward.errors import Refused, Unreachable
from ohmward.logbook import Journal, disk, open_run, read, verify
from ohmward.logbook.events import Noted, Opened, Recovered
from support.journals import HandClock, begin, closing, some_events
from support.machine import open_folder, plain_user

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
    (tmp_path / ".gitattributes").touch()
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


@pytest.fixture
def shared() -> Iterator[Path]:
    with open_folder() as folder:
        yield folder


def test_a_read_only_folder_gives_a_clear_error_and_loses_nothing(shared: Path) -> None:
    with begin(shared, *some_events()) as journal:
        path, whole = journal.path, journal.path.read_bytes()
    path.chmod(0o444)
    for place in (shared, shared / "runs", path.parent):
        place.chmod(0o555)
    with plain_user():
        with pytest.raises(Unreachable, match=r"cannot be begun here|cannot be made"):
            begin(shared)
        with pytest.raises(Unreachable, match="cannot be made"):
            begin(shared / "elsewhere")
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
