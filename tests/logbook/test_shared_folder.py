"""A logbook in a folder that is synchronised, kept under version control, or on a disk of another kind."""

from __future__ import annotations

import os
import shutil
import subprocess
import unicodedata
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ohmward.logbook import Journal, Logbook, create_run, names, open_run, runs, verify
from ohmward.logbook.events import Noted
from ohmward.logbook.whole import verify_all
from support.journals import HandClock, begin, closing, opened, some_events
from support.machine import tool

NAME = "2026-03-01-01-commissioning"
# Names that programs of several kinds give to the copy of the loser.
COPIES = [
    f"{NAME} (bench B's conflicted copy 2026-03-02).jsonl",
    f"{NAME}.sync-conflict-20260302-101500-ABCDEFG.jsonl",
    f"{NAME} (1).jsonl",
    f"{NAME}-benchB.jsonl",
    f"{NAME}_conflict-20260302-101500.jsonl",
    "Copy of 2026-03-01-01-commissioning.jsonl",
]


def parted(logbook: Path, copy: str) -> tuple[Path, Path]:
    """One run that two computers went on with: the file, and the copy that was left of the other."""
    begin(logbook, *some_events()).close()
    path = Logbook(logbook).find("CR-07")
    place = path.with_name(copy)
    shutil.copy(path, place)
    for each, note in ((path, "here"), (place, "there")):
        with open_run(each, clock=later()) as journal:
            journal.append(Noted(text=note))
    return path, place


def later() -> HandClock:
    clock = HandClock()
    clock.wall += timedelta(hours=1)
    return clock


@pytest.mark.parametrize("copy", COPIES)
def test_a_copy_is_named_and_is_not_a_run(tmp_path: Path, copy: str) -> None:
    path, place = parted(tmp_path, copy)
    book = Logbook(tmp_path)
    assert [run.path for run in book.runs()] == [path]
    assert [run.path for run in book.copies()] == [place]
    assert book.find("CR-07") == path
    found = verify_all(tmp_path)
    assert found.intact  # both read; nothing of either is lost
    (told,) = found.notices
    assert told.where == f"CR-07/{copy.removesuffix('.jsonl')}"
    assert "the two parted at line 7: two computers recorded in one run. Keep both" in told.text


def test_copies_are_found_by_reading_only_what_is_alike(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, _ = parted(tmp_path, COPIES[5])
    for _ in range(3):
        begin(tmp_path, clock=later()).close()
    looked_at: list[str] = []
    entry = runs.entry

    def watched(place: Path) -> runs.RunEntry:
        looked_at.append(place.name)
        return entry(place)

    monkeypatch.setattr(runs, "entry", watched)
    listed = [each.name for each in path.parent.iterdir() if names.is_journal(each.name)]
    assert runs.copies_in(path.parent, listed) == {COPIES[5]}
    assert sorted(looked_at) == sorted([path.name, COPIES[5]])


def test_what_a_copy_holds_more_or_less_is_said(tmp_path: Path) -> None:
    path, place = parted(tmp_path, COPIES[0])
    whole = path.read_bytes()
    lines = whole.splitlines(keepends=True)
    for data, words in (
        (whole, "the two are the same"),
        (b"".join(lines[:3]), "it holds nothing that the other does not"),
    ):
        place.write_bytes(data)
        assert words in verify_all(tmp_path).notices[0].text
    path.write_bytes(b"".join(lines[:5]))
    place.write_bytes(whole)
    assert (
        "it goes on with 2 records that the other does not have: keep it"
        in verify_all(tmp_path).notices[0].text
    )


def test_a_run_renamed_with_nothing_beside_it_is_still_a_run(tmp_path: Path) -> None:
    begin(tmp_path, *some_events()).close()
    path = Logbook(tmp_path).find("CR-07")
    path.rename(path.with_name(COPIES[0]))
    (run,) = Logbook(tmp_path).runs()
    assert (run.copy_of, run.problem) == ("", "")
    assert any("was named" in each.text for each in verify_all(tmp_path).notices)


def test_another_run_of_a_like_name_is_no_copy(tmp_path: Path) -> None:
    begin(tmp_path, *some_events()).close()
    other = tmp_path / "other"
    begin(other, clock=HandClock(3.0)).close()
    path = Logbook(tmp_path).find("CR-07")
    shutil.copy(Logbook(other).find("CR-07"), path.with_name(COPIES[2]))
    assert len(Logbook(tmp_path).runs()) == 2


def test_files_of_other_programs_are_no_runs(tmp_path: Path) -> None:
    begin(tmp_path).close()
    folder = tmp_path / "runs" / "CR-07"
    for name in (
        f"._{NAME}.jsonl",
        f".{NAME}.jsonl",
        ".DS_Store",
        f"{NAME}.jsonl.tmp",
        f"~{NAME}",
        "desktop.ini",
    ):
        (folder / name).write_bytes(b"not ours")
    (tmp_path / "runs" / ".stversions").mkdir()
    (tmp_path / ".git").mkdir()
    assert len(Logbook(tmp_path).everything()) == 1
    assert verify_all(tmp_path).intact


def test_a_copy_of_the_seal_or_a_leftover_draft_changes_nothing(tmp_path: Path) -> None:
    with begin(tmp_path) as journal:
        journal.append(closing(journal))
        path = journal.path
    for name in (f"{NAME} (1).seal", f".{NAME}.seal.draft", f"{NAME}.seal.draft"):
        shutil.copy(path.with_suffix(".seal"), path.with_name(name))
    assert verify_all(tmp_path).notices == ()


def test_line_ends_changed_by_version_control_are_named_for_what_they_are(tmp_path: Path) -> None:
    with begin(tmp_path, *some_events()) as journal:
        path = journal.path
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    found = verify(path)
    assert not found.intact
    assert "line ends were changed to CR LF" in found.problems[0][1]


def test_marks_of_a_merge_by_version_control_are_damage_by_line(tmp_path: Path) -> None:
    path, place = parted(tmp_path, COPIES[0])
    ours, theirs = path.read_bytes().splitlines(True), place.read_bytes().splitlines(True)
    marks = [b"<<<<<<< ours\n", *ours[6:], b"=======\n", *theirs[6:], b">>>>>>> theirs\n"]
    path.write_bytes(b"".join([*ours[:6], *marks]))
    found = verify(path)
    assert found.problems[0] == (7, "not a record")


def test_a_logbook_under_version_control_comes_back_byte_for_byte(tmp_path: Path) -> None:
    tool("git")
    book, clone = tmp_path / "book", tmp_path / "clone"
    book.mkdir()

    def git(folder: Path, *words: str) -> None:
        command = [
            "git",
            "-c",
            "core.autocrlf=true",
            "-c",
            "user.name=bench A",
            "-c",
            "user.email=a@bench.example",
        ]
        subprocess.run([*command, *words], cwd=folder, check=True, capture_output=True, timeout=60)

    git(book, "init", "-q")
    with begin(book, *some_events()) as journal:
        journal.append(closing(journal))
    git(book, "add", ".")
    git(book, "commit", "-q", "-m", "runs")
    git(tmp_path, "clone", "-q", str(book), str(clone))
    found = verify_all(clone)
    assert (found.intact, found.notices, len(found.runs)) == (True, (), 1)


# Disks of another kind


def test_tags_that_differ_in_capitals_share_a_folder_on_a_disk_that_folds_them_and_stay_apart(
    tmp_path: Path,
) -> None:
    """Such a disk stood in for by a second name of the same folder."""
    clock = HandClock()
    begin(tmp_path, tag="CR-07", clock=clock).close()
    (tmp_path / "runs" / "cr-07").symlink_to(tmp_path / "runs" / "CR-07")
    begin(tmp_path, tag="cr-07", clock=clock).close()
    files = sorted(path.name for path in (tmp_path / "runs" / "CR-07").iterdir())
    assert files == [f"{NAME}.jsonl", NAME.replace("-01-c", "-02-c") + ".jsonl"]
    (tmp_path / "runs" / "cr-07").unlink()  # the disk lists the folder once
    book = Logbook(tmp_path)
    assert [book.find(tag).stem[-16:-14] for tag in ("CR-07", "cr-07")] == ["01", "02"]
    assert verify_all(tmp_path).intact


def test_a_disk_that_folds_capitals_for_real(tmp_path: Path) -> None:
    image, mount = tmp_path / "disk", tmp_path / "mount"
    mount.mkdir()
    with image.open("wb") as file:
        file.truncate(8 << 20)
    made = shutil.which("mkfs.vfat") and os.geteuid() == 0
    if not made or subprocess.run(["mkfs.vfat", str(image)], capture_output=True, check=False).returncode:
        pytest.skip("no file system that folds capitals can be made here; a second name stands in for it")
    command = ["mount", "-o", "loop", str(image), str(mount)]
    if subprocess.run(command, capture_output=True, check=False, timeout=60).returncode:
        pytest.skip("mounting is not allowed here; a second name stands in for it")
    try:
        for tag in ("CR-07", "cr-07"):
            with begin(mount, *some_events(), tag=tag) as journal:
                journal.append(closing(journal))
        assert len(Logbook(mount).runs()) == 2
        assert verify_all(mount).intact
    finally:
        subprocess.run(["umount", mount], check=True, timeout=60)


def test_a_disk_that_takes_accents_apart_finds_what_was_typed(tmp_path: Path) -> None:
    tag = "Verstärker"
    begin(tmp_path, tag=tag).close()
    folder = tmp_path / "runs"
    (folder / tag).rename(folder / unicodedata.normalize("NFD", tag))
    for typed in (tag, unicodedata.normalize("NFD", tag), f"{tag}/{NAME}"):
        assert Logbook(tmp_path).find(typed).name == f"{NAME}.jsonl"


SCRIPTS = [
    "Netzteil-Ω",
    "电源一号",
    "مزود-٧",
    "ספק-כוח",
    "блок питания",
    "電源・ラック",
    "พาวเวอร์",
    "e\u0301te\u0301",
    "🔌 7",
    "İstanbul",
    "ﬁx",
]


@pytest.mark.usefixtures("no_sync")
@pytest.mark.parametrize("tag", SCRIPTS)
def test_a_name_in_any_script_is_found_again(tmp_path: Path, tag: str) -> None:
    with begin(tmp_path, *some_events(), tag=tag) as journal:
        journal.append(closing(journal))
    assert Logbook(tmp_path).find(tag).exists()
    assert verify_all(tmp_path).notices == ()


@pytest.mark.usefixtures("no_sync")
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(tag=st.text(st.characters(codec="utf-8"), min_size=1, max_size=60))
def test_any_tag_a_person_can_type_makes_a_run_that_is_found(
    tmp_path_factory: pytest.TempPathFactory, tag: str
) -> None:
    logbook = tmp_path_factory.mktemp("any")
    journal: Journal = create_run(logbook, tag=tag, procedure_name=tag, opened=opened(tag), clock=HandClock())
    journal.close()
    (run,) = Logbook(logbook).runs()
    assert (run.tag, run.problem) == (tag, "")
    assert verify_all(logbook).intact
    assert names.is_journal(run.path.name)
