"""Going on with a run after it was cut off: every acknowledged record is there, nothing is guessed at."""

from __future__ import annotations

import errno
import hashlib
import os
from pathlib import Path

import pytest

from ohmward.errors import Damaged, Unreachable
from ohmward.logbook import contents, disk, open_run, read, verify
from ohmward.logbook.events import Noted, Recovered
from support.journals import HandClock, begin, closing, lines_of, some_events

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
