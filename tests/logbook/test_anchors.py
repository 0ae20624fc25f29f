"""The chain of closed runs: what is missing or was cut shows, whatever was removed with it."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from ohmward.errors import Refused, Unreachable
from ohmward.logbook import anchors, disk, open_run, place, verify
from ohmward.logbook.anchors import check_chain
from ohmward.logbook.events import Noted
from ohmward.logbook.whole import WholeVerification, anchor_all, verify_all
from support.journals import HandClock, begin, closing, lines_of, some_events


def close(logbook: Path, tag: str = "CR-07", clock: HandClock | None = None) -> Path:
    with begin(logbook, *some_events(), tag=tag, clock=clock) as journal:
        journal.append(closing(journal))
        return journal.path


def chain_of(logbook: Path, bench: str = "test-bench") -> Path:
    return logbook / "anchors" / f"{bench}.chain"


def texts(found: WholeVerification) -> str:
    return "\n".join(f"{each.where}: {each.text}" for each in found.problems)


@pytest.fixture
def three(tmp_path: Path) -> tuple[Path, list[Path]]:
    return tmp_path, [close(tmp_path, tag) for tag in ("CR-07", "CR-11", "CR-02")]


def test_each_closed_run_is_anchored_in_order_and_the_head_stands_for_all(
    three: tuple[Path, list[Path]],
) -> None:
    logbook, paths = three
    found = verify_all(logbook)
    assert (found.intact, found.notices, found.problems) == (True, (), ())
    (chain,) = anchors.known(logbook).chains
    assert [each.anchor.run for each in chain.anchors] == [anchors.run_name(path) for path in paths]
    (head,) = anchors.heads(logbook)
    assert (head.bench, head.runs) == ("test-bench", 3)
    assert chain_of(logbook).read_bytes().endswith(f'"digest":"{head.digest}"}}\n'.encode())
    for path in paths:
        one = verify(path)
        assert one.anchored
        assert one.head == head


def test_an_open_run_is_not_anchored_and_is_no_damage(tmp_path: Path) -> None:
    begin(tmp_path).close()
    assert not (tmp_path / "anchors").exists()
    found = verify_all(tmp_path)
    assert found.intact
    assert found.heads == ()


# What it shows


def test_a_whole_journal_missing_shows(three: tuple[Path, list[Path]]) -> None:
    logbook, paths = three
    shutil.rmtree(paths[1].parent)
    found = verify_all(logbook)
    assert not found.intact
    assert all(run.intact for run in found.runs)  # no journal that is here is damaged
    assert "CR-11/2026-03-01-01-commissioning: closed with 7 records" in texts(found)
    assert "(anchors/test-bench.chain, line 2): it is missing" in texts(found)


def test_another_run_in_the_place_of_one_shows(three: tuple[Path, list[Path]], tmp_path: Path) -> None:
    logbook, paths = three
    forged = close(tmp_path / "elsewhere", "CR-11", HandClock(step_s=2.0))
    for ending in (".jsonl", ".seal"):
        shutil.copy(forged.with_suffix(ending), paths[1].with_suffix(ending))
    assert verify(paths[1]).intact
    assert "another run stands in its place" in texts(verify_all(logbook))


@pytest.mark.parametrize("kept", range(1, 7))
def test_a_tail_cut_with_its_seal_shows(three: tuple[Path, list[Path]], kept: int) -> None:
    logbook, paths = three
    paths[0].write_bytes(b"".join(lines_of(paths[0])[:kept]))
    paths[0].with_suffix(".seal").unlink()
    one = verify(paths[0])
    assert not one.intact
    assert "not as it was closed: the chain of 'test-bench' counts 7 records" in one.problems[0][1]
    assert not verify_all(logbook).intact


def test_a_run_opened_again_and_closed_otherwise_shows(three: tuple[Path, list[Path]]) -> None:
    """Cut before its end, gone on with, and closed anew by the tool itself: the first closing stands."""
    logbook, paths = three
    paths[0].write_bytes(b"".join(lines_of(paths[0])[:-2]))
    paths[0].with_suffix(".seal").unlink()
    with open_run(paths[0], clock=HandClock()) as journal:
        journal.append(Noted(text="a better story"))
        journal.append(closing(journal))
    assert not verify(paths[0]).intact
    assert "name different last records of it" in texts(verify_all(logbook))


def test_a_run_whose_file_has_another_name_or_folder_is_still_that_run(
    three: tuple[Path, list[Path]],
) -> None:
    logbook, paths = three
    (logbook / "runs" / "old").mkdir()
    for ending in (".jsonl", ".seal"):
        paths[2].with_suffix(ending).rename(logbook / "runs" / "old" / f"2026-03-01-09-x{ending}")
    assert verify_all(logbook).problems == ()


# The chain itself


def test_every_change_of_one_byte_of_the_chain_is_found(tmp_path: Path) -> None:
    close(tmp_path)
    close(tmp_path, "CR-11")
    path = chain_of(tmp_path)
    data = path.read_bytes()
    missed = []
    for at in range(len(data)):
        before, rest = data[:at], data[at:]
        for some in (before + bytes([rest[0] ^ 1]) + rest[1:], before + rest[1:], before + b"7" + rest):
            chain = check_chain(path, some)
            if not chain.problems and not chain.torn:
                missed.append((at, some))
    assert missed == []


def test_lines_of_the_chain_removed_doubled_or_swapped_are_found(three: tuple[Path, list[Path]]) -> None:
    logbook, _ = three
    path = chain_of(logbook)
    lines = lines_of(path)
    for some in (lines[1:], [lines[0], lines[2]], [*lines, lines[2]], [lines[1], lines[0], lines[2]]):
        path.write_bytes(b"".join(some))
        assert check_chain(path, path.read_bytes()).problems
        assert not verify_all(logbook).intact


def test_the_head_noted_on_paper_finds_a_chain_cut_with_its_runs(three: tuple[Path, list[Path]]) -> None:
    logbook, paths = three
    (head,) = anchors.heads(logbook)
    assert "line 3 of the chain" in verify_all(logbook, noted=head.digest).noted
    assert "line 3 of the chain" in verify_all(logbook, noted=head.digest[:12].upper()).noted
    last = verify(paths[1]).last_digest
    assert "record 6 of CR-11/" in verify_all(logbook, noted=last).noted
    shutil.rmtree(paths[2].parent)
    chain_of(logbook).write_bytes(b"".join(lines_of(chain_of(logbook))[:2]))
    assert verify_all(logbook).intact  # nothing in the folder can show it
    found = verify_all(logbook, noted=head.digest)
    assert not found.intact
    assert "stands nowhere in the logbook" in texts(found)
    for wrong in ("abc", "not a digest", "xyzxyzxyzxyz"):
        with pytest.raises(Refused, match="is not a digest"):
            verify_all(logbook, noted=wrong)


def test_a_chain_of_a_newer_format_is_named_and_not_written(tmp_path: Path) -> None:
    close(tmp_path)
    path = chain_of(tmp_path)
    newer = anchors.Anchor(
        format=99, seq=0, at="2036-01-01T00:00:00+01:00", bench="test-bench", run="x", first="a", last="b",
        records=1, prev="0" * 64,
    )  # fmt: skip
    path.write_bytes(anchors.encode(newer))
    found = verify_all(tmp_path)
    assert "format 99" in found.unread[0].text
    with pytest.raises(Unreachable, match=r"closed and sealed.*format 99"):
        close(tmp_path, "CR-11")
    assert path.read_bytes() == anchors.encode(newer)


# Writing it


def test_two_programs_closing_at_once_make_one_sound_chain(tmp_path: Path) -> None:
    script = (
        "import sys\nfrom pathlib import Path\nfrom support.journals import begin, closing\n"
        "for _ in range(8):\n"
        "    with begin(Path(sys.argv[1]), tag=sys.argv[2]) as journal:\n"
        "        journal.append(closing(journal))\n"
    )
    tests = Path(__file__).parents[1]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(tests.parent / "src"), str(tests)])}

    def one(tag: str) -> None:
        command = [sys.executable, "-c", script, str(tmp_path), tag]
        subprocess.run(command, check=True, timeout=120, env=environment)

    with ThreadPoolExecutor(3) as pool:
        list(pool.map(one, ("CR-02", "CR-07", "CR-11")))
    found = verify_all(tmp_path)
    assert found.intact
    assert found.heads[0].runs == 24


def test_a_share_without_locks_is_kept_in_order_by_a_file_on_this_computer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    logbook = tmp_path / "share"
    lock, stood_in = disk.lock, []

    def no_locks_on_the_share(descriptor: int, path: Path) -> str:
        where = Path(f"/proc/self/fd/{descriptor}").readlink()
        if where.is_relative_to(logbook):
            return "no locks here"
        stood_in.append(where)
        return lock(descriptor, path)

    monkeypatch.setattr(disk, "lock", no_locks_on_the_share)
    close(logbook)
    assert [where.name for where in stood_in] == ["lock"]
    assert verify_all(logbook).intact


def test_where_the_chain_cannot_be_written_the_run_is_closed_and_it_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    append = disk.append

    def full(descriptor: int, data: bytes) -> None:
        if b'"bench":' in data:
            os.write(descriptor, data[:20])
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        append(descriptor, data)

    first = close(tmp_path)
    with begin(tmp_path, tag="CR-11") as journal:
        monkeypatch.setattr(disk, "append", full)
        with pytest.raises(Unreachable, match=r"closed and sealed.*No space left.*'ohmward anchor'"):
            journal.append(closing(journal))
        path = journal.path
    monkeypatch.undo()
    assert chain_of(tmp_path).read_bytes().count(b"\n") == 1
    assert verify(first).intact
    assert verify(path).intact
    found = verify_all(tmp_path)
    assert found.intact
    assert [each.where for each in found.notices] == ["CR-11/2026-03-01-01-commissioning"]
    assert anchor_all(tmp_path, HandClock()) == ("CR-11/2026-03-01-01-commissioning",)
    assert verify_all(tmp_path).notices == ()
    assert anchor_all(tmp_path, HandClock()) == ()


def test_a_torn_line_of_the_chain_is_cut_by_the_next_and_its_run_is_found(tmp_path: Path) -> None:
    close(tmp_path)
    second = close(tmp_path, "CR-11")
    data = chain_of(tmp_path).read_bytes()
    chain_of(tmp_path).write_bytes(data[:-30])
    found = verify_all(tmp_path)
    assert found.intact
    assert any("a write was cut off" in each.text for each in found.notices)
    close(tmp_path, "CR-02")
    assert check_chain(chain_of(tmp_path), chain_of(tmp_path).read_bytes()).problems == ()
    assert not verify(second).anchored
    assert anchor_all(tmp_path, HandClock()) == (anchors.run_name(second),)
    assert verify_all(tmp_path).notices == ()


def test_a_damaged_chain_is_not_added_to(tmp_path: Path) -> None:
    close(tmp_path)
    path = chain_of(tmp_path)
    data = path.read_bytes().replace(b"CR-07", b"CR-08")
    path.write_bytes(data)
    with pytest.raises(Unreachable, match=r"line 1: its bytes do not match.*under another name"):
        close(tmp_path, "CR-11")
    assert path.read_bytes() == data


def test_damaged_and_open_runs_are_not_anchored(tmp_path: Path) -> None:
    path = close(tmp_path)
    begin(tmp_path, tag="CR-11").close()
    chain_of(tmp_path).unlink()
    path.write_bytes(path.read_bytes().replace(b'"pass"', b'"fail"', 1))
    assert anchor_all(tmp_path, HandClock()) == ()


def test_a_journal_outside_of_a_logbook_has_no_chain(tmp_path: Path) -> None:
    path = close(tmp_path)
    for ending in (".jsonl", ".seal"):
        shutil.copy(path.with_suffix(ending), tmp_path / f"copy{ending}")
    found = verify(tmp_path / "copy.jsonl")
    assert found.intact
    assert not found.anchored


# Several computers


def test_each_computer_has_a_chain_of_its_own_in_a_shared_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for bench in ("bench-A", "bench-B", "bench-A"):
        monkeypatch.setenv("OHMWARD_BENCH", bench)
        close(tmp_path)
    found = verify_all(tmp_path)
    assert found.intact
    assert [(head.bench, head.runs) for head in found.heads] == [("bench-A", 2), ("bench-B", 1)]


def test_a_copy_of_a_chain_left_by_a_synchronised_folder_is_named(tmp_path: Path) -> None:
    close(tmp_path)
    copy = chain_of(tmp_path, "test-bench (conflicted copy)")
    shutil.copy(chain_of(tmp_path), copy)
    close(tmp_path, "CR-11")
    (tmp_path / "anchors" / ".hidden.chain").write_bytes(b"not ours")
    found = verify_all(tmp_path)
    assert found.intact
    assert [each.text for each in found.notices] == ["holds the chain of 'test-bench': a copy, or renamed"]


def test_the_name_of_this_computer_is_made_once_and_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("OHMWARD_BENCH")
    name = place.bench_name(tmp_path / "state")
    assert len(name) == 8
    assert place.bench_name(tmp_path / "state") == name
    assert place.bench_name(tmp_path / "other") != name
    (tmp_path / "file").touch()
    assert place.bench_name(tmp_path / "file") == place.bench_name(tmp_path / "file")  # none can be kept
    (tmp_path / "state" / "bench").write_text("../../etc/passwd\n", encoding="utf-8")
    assert "/" not in place.bench_name(tmp_path / "state")
    monkeypatch.setenv("OHMWARD_BENCH", "bench B")
    assert place.bench_name(tmp_path / "state") == "bench B"
