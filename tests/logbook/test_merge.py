"""Bringing runs from another bench: byte for byte, never in the place of anything, conflicts by hash."""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
from pathlib import Path

import pytest

from ohmward.errors import InputError, Unreachable
from ohmward.logbook import Logbook, anchors, drafts, open_run, verify
from ohmward.logbook.events import Captured, Noted
from ohmward.logbook.merge import Merged, merge
from ohmward.logbook.whole import verify_all
from support.journals import HandClock, begin, closing, some_events

NAME = "2026-03-01-01-commissioning"


def close(logbook: Path, tag: str = "CR-07", step_s: float = 1.0) -> Path:
    with begin(logbook, *some_events(), tag=tag, clock=HandClock(step_s)) as journal:
        journal.append(closing(journal))
        return journal.path


def state_of(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def outcomes(found: tuple[Merged, ...]) -> list[tuple[str, str]]:
    return [(each.name, each.outcome) for each in found]


@pytest.fixture
def benches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, Path]:
    """Two logbooks: bench A's with a run of CR-07, bench B's with one of CR-11 and one of CR-07."""
    ours, theirs = tmp_path / "a", tmp_path / "b"
    monkeypatch.setenv("OHMWARD_BENCH", "bench-B")
    close(theirs, "CR-11")
    close(theirs, "CR-07", step_s=2.0)
    monkeypatch.setenv("OHMWARD_BENCH", "bench-A")
    close(ours, "CR-07")
    return ours, theirs


def test_runs_of_another_bench_come_byte_for_byte_and_nothing_is_altered(benches: tuple[Path, Path]) -> None:
    ours, theirs = benches
    before, source = state_of(ours), state_of(theirs)
    found = merge(ours, theirs)
    assert outcomes(found) == [
        (f"CR-11/{NAME}", "brought"),
        (f"CR-07/{NAME}", "brought"),
        ("anchors/bench-B.chain", "brought"),
    ]
    after = state_of(ours)
    assert {name: after[name] for name in before} == before
    assert state_of(theirs) == source
    # Two different runs of one name: the second keeps its name, in a folder of its bench.
    assert after[f"runs/CR-07.bench-B/{NAME}.jsonl"] == source[f"runs/CR-07/{NAME}.jsonl"]
    whole = verify_all(ours)
    assert whole.intact
    assert whole.notices == ()
    assert [(head.bench, head.runs) for head in whole.heads] == [("bench-A", 1), ("bench-B", 2)]
    assert {run.tag for run in Logbook(ours).runs()} == {"CR-07", "CR-11"}


def test_merging_again_brings_nothing_and_changes_nothing(benches: tuple[Path, Path]) -> None:
    ours, theirs = benches
    merge(ours, theirs)
    before = state_of(ours)
    assert {each.outcome for each in merge(ours, theirs)} == {"here already"}
    assert state_of(ours) == before
    assert {each.outcome for each in merge(theirs, ours)} == {"here already", "brought"}  # and back
    assert {run.first_digest for run in Logbook(ours).runs()} == {
        run.first_digest for run in Logbook(theirs).runs()
    }
    assert verify_all(theirs).intact


def test_a_trial_says_the_same_and_changes_nothing(benches: tuple[Path, Path]) -> None:
    ours, theirs = benches
    before = state_of(ours)
    trial = merge(ours, theirs, try_only=True)
    assert state_of(ours) == before
    assert outcomes(trial) == outcomes(merge(ours, theirs))


def test_the_same_run_with_another_end_is_a_conflict_and_neither_is_touched(tmp_path: Path) -> None:
    ours, theirs = tmp_path / "a", tmp_path / "b"
    begin(ours, *some_events()).close()
    shutil.copytree(ours, theirs)
    for logbook, note in ((ours, "here"), (theirs, "there")):
        with open_run(Logbook(logbook).find("CR-07"), clock=HandClock()) as journal:
            journal.append(Noted(text=note))
            journal.append(closing(journal))
    shutil.rmtree(theirs / "anchors")
    before, source = state_of(ours), state_of(theirs)
    (found,) = merge(ours, theirs)
    assert found.outcome == "refused"
    digests = [verify(Logbook(logbook).find("CR-07")).last_digest[:12] for logbook in (ours, theirs)]
    assert f"conflict: 8 records ending in {digests[0]} here" in found.text
    assert f"8 records ending in {digests[1]} there" in found.text
    assert (state_of(ours), state_of(theirs)) == (before, source)


def test_an_open_run_is_left_where_it_is_made(benches: tuple[Path, Path]) -> None:
    ours, theirs = benches
    begin(theirs, tag="CR-02").close()
    found = {each.name: each for each in merge(ours, theirs)}
    assert found[f"CR-02/{NAME}"].outcome == "left"
    assert "Close it there" in found[f"CR-02/{NAME}"].text
    assert not (ours / "runs" / "CR-02").exists()


def test_a_damaged_run_is_refused_and_the_others_come(benches: tuple[Path, Path]) -> None:
    ours, theirs = benches
    path = theirs / "runs" / "CR-11" / f"{NAME}.jsonl"
    path.write_bytes(path.read_bytes().replace(b'"12.04"', b'"12.05"', 1))
    (theirs / "runs" / "CR-11" / f"{NAME[:-1]}x.jsonl").write_bytes(b"nonsense\n")
    found = {each.name: each for each in merge(ours, theirs)}
    assert found[f"CR-11/{NAME}"].outcome == "refused"
    assert "damaged: line 5" in found[f"CR-11/{NAME}"].text
    assert found[f"CR-11/{NAME[:-1]}x"].outcome == "refused"
    assert found[f"CR-07/{NAME}"].outcome == "brought"
    assert not (ours / "runs" / "CR-11").exists()


def test_what_lies_beside_a_journal_comes_along(tmp_path: Path) -> None:
    ours, theirs = tmp_path / "a", tmp_path / "b"
    with begin(theirs, *some_events()) as journal:
        path = journal.path
    with path.open("ab") as file:
        file.write(b"torn")
    wave = b"time_s,volts\n0,1\n"
    with open_run(path, clock=HandClock()) as journal:
        path.with_name("wave.csv").write_bytes(wave)
        journal.append(
            Captured(
                step="ripple", file="wave.csv", sha256=hashlib.sha256(wave).hexdigest(), samples=1,
                interval_s=1.0, unit="V", source="scope",
            )
        )  # fmt: skip
        journal.append(closing(journal))
    path.with_suffix(".sig-1").write_bytes(b"a signature")
    path.with_name("unrelated.txt").write_bytes(b"x")
    merge(ours, theirs)
    folder = ours / "runs" / "CR-07"
    endings = {".jsonl", ".seal", ".torn-1", ".sig-1"}
    assert {each.name for each in folder.iterdir()} == {f"{NAME}{end}" for end in endings} | {"wave.csv"}
    assert verify_all(ours).intact
    for name in ("wave.csv", f"{NAME}.seal", f"{NAME}.sig-1"):
        (folder / name).unlink()
    path.with_suffix(".sig-2").write_bytes(b"another signature")
    found = merge(ours, theirs)[0]
    assert (found.outcome, "was brought" in found.text) == ("here already", True)
    assert verify_all(ours).intact
    assert folder.joinpath(f"{NAME}.sig-2").read_bytes() == b"another signature"


def test_a_file_in_the_way_is_a_conflict(benches: tuple[Path, Path]) -> None:
    ours, theirs = benches
    for folder in ("CR-11", "CR-11.bench-B"):
        place = ours / "runs" / folder
        place.mkdir(parents=True)
        (place / f"{NAME}.seal").write_bytes(b"something else")
    before = state_of(ours)
    found = {each.name: each for each in merge(ours, theirs)}
    assert found[f"CR-11/{NAME}"].outcome == "refused"
    assert "another file is in its place" in found[f"CR-11/{NAME}"].text
    after = state_of(ours)
    assert {name: after[name] for name in before} == before


def test_a_longer_chain_is_taken_up_and_another_one_is_refused(benches: tuple[Path, Path]) -> None:
    ours, theirs = benches
    merge(ours, theirs)
    kept = anchors.chain_path(ours, "bench-B").read_bytes()
    os.environ["OHMWARD_BENCH"] = "bench-B"
    close(theirs, "CR-02")
    found = {each.name: each for each in merge(ours, theirs)}
    assert found["anchors/bench-B.chain"].text == "1 more lines"
    assert anchors.chain_path(ours, "bench-B").read_bytes().startswith(kept)
    assert verify_all(ours).intact
    before = anchors.chain_path(ours, "bench-B").read_bytes()
    shutil.rmtree(theirs / "anchors")
    close(theirs, "CR-02", step_s=3.0)  # a chain of the same name, begun anew
    found = {each.name: each for each in merge(ours, theirs)}
    assert found["anchors/bench-B.chain"].outcome == "refused"
    assert "differ from line 1 on" in found["anchors/bench-B.chain"].text
    assert anchors.chain_path(ours, "bench-B").read_bytes() == before


def test_a_folder_that_is_no_logbook_or_is_this_one_is_refused(tmp_path: Path) -> None:
    close(tmp_path / "a")
    for other in (tmp_path / "absent", tmp_path, tmp_path / "a"):
        with pytest.raises(InputError, match="FOLDER"):
            merge(tmp_path / "a", other)


def test_a_disk_without_hard_links_takes_runs_too(
    benches: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    ours, theirs = benches

    def no_links(*_: object, **__: object) -> None:
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(os, "link", no_links)
    merge(ours, theirs)
    assert verify_all(ours).intact
    path = ours / "x"
    drafts.place_new(path, b"one")
    with pytest.raises(FileExistsError):
        drafts.place_new(path, b"two")
    assert path.read_bytes() == b"one"


def test_a_disk_that_is_full_leaves_nothing_half(
    benches: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    ours, theirs = benches
    before = state_of(ours)
    write = os.write
    room = 500

    def small(descriptor: int, data: bytes) -> int:
        nonlocal room
        if room <= 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        count = write(descriptor, data[:room])
        room -= count
        return count

    monkeypatch.setattr(os, "write", small)
    with pytest.raises(Unreachable, match="cannot be brought here"):
        merge(ours, theirs)
    monkeypatch.undo()
    assert state_of(ours) == before
    merge(ours, theirs)
    assert verify_all(ours).intact
