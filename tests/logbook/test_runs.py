"""The folder of runs: file names from hostile tags, the list, finding a run."""

from __future__ import annotations

import os
import string
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.errors import Unreachable
from ohmward.logbook import Logbook, RunEntry, create_run, names, verify
from ohmward.logbook.events import Noted, Opened
from support.journals import HandClock, begin, closing, lines_of, opened

HOSTILE = [
    "", ".", "..", "../../etc/passwd", "/absolute", "a/b", "a\\b", "nul\0byte", "line\nend", "\x1b[31mred",
    "~", "-rf", "- x", " spaced ", "trailing.", ".hidden", "CON", "nul.txt", "COM1", "x" * 5000, "Ω" * 300,
    "\u202eabc", "a:b*c?<d>|e", "%s{tag}$HOME`id`", "\ud800", "e\u0301", "🔌",
]  # fmt: skip


@pytest.mark.usefixtures("no_sync")
@pytest.mark.parametrize("tag", HOSTILE)
def test_a_hostile_tag_makes_a_safe_file_in_its_place(tmp_path: Path, tag: str) -> None:
    recorded = tag.replace("\ud800", "?")
    journal = create_run(
        tmp_path, tag=tag, procedure_name=tag, opened=opened(recorded, sheet="s"), clock=HandClock()
    )
    with journal:
        path = journal.path
    assert path.parent.parent == tmp_path / "runs"
    assert path.resolve() == path
    assert len(os.fsencode(path.name)) <= 120
    assert verify(path).intact
    (entry,) = Logbook(tmp_path).runs()
    assert (entry.tag, entry.path, entry.problem) == (recorded, path, "")
    event = journal.records[0].event
    assert isinstance(event, Opened)
    assert event.run == entry.name == f"{path.parent.name}/{path.stem}"


@given(text=st.text(max_size=200) | st.text(st.sampled_from("./\\ -_aA\0\n~Ω:"), max_size=20))
def test_a_safe_name_is_safe(text: str) -> None:
    name = names.safe(text)
    assert name not in {"", ".", ".."}
    assert not set(name) & set('/\\:*?"<>|~$`\0\n\r\x1b')
    assert name.isprintable()
    assert not name.startswith((".", "-", " "))
    assert not name.endswith((".", " "))
    assert len(name.encode()) <= 80
    assert names.safe(text) == name


@given(tag=st.text(string.ascii_letters + string.digits + "-_+", min_size=1, max_size=20).filter(str.isalnum))
def test_a_plain_tag_is_its_own_name(tag: str) -> None:
    if tag.upper() not in {
        "CON",
        "PRN",
        "AUX",
        "NUL",
        *(f"{port}{n}" for port in ("COM", "LPT") for n in range(10)),
    }:
        assert names.safe(tag) == tag


def test_tags_that_differ_only_in_what_a_file_name_cannot_hold_stay_apart() -> None:
    tags = ["a/b", "a\\b", "a_b", "a:b", "a\nb", ".a_b", "x" * 100, "x" * 101]
    assert len({names.safe(tag) for tag in tags}) == len(tags)


@pytest.mark.usefixtures("no_sync")
def test_numbers_go_up_over_the_procedures_of_a_day_and_begin_anew_the_next(tmp_path: Path) -> None:
    clock = HandClock()

    def make(procedure: str) -> str:
        with create_run(
            tmp_path, tag="CR-07", procedure_name=procedure, opened=opened(), clock=clock
        ) as journal:
            return journal.path.name

    assert make("commissioning") == "2026-03-01-01-commissioning.jsonl"
    assert make("retest") == "2026-03-01-02-retest.jsonl"
    (
        tmp_path / "runs" / "CR-07" / "2026-03-01-07-retest.seal"
    ).touch()  # left over: its number is not used again
    assert make("retest") == "2026-03-01-08-retest.jsonl"
    clock.wall += timedelta(days=1)
    assert make("retest") == "2026-03-02-01-retest.jsonl"
    for _ in range(99):
        last = make("retest")
    assert last == "2026-03-02-100-retest.jsonl"
    assert names.parts(last) == ("2026-03-02", 100, "retest")
    assert names.first_free(date(2026, 3, 2), [last, "junk", "2026-03-01-500-x"]) == 101


def test_the_date_in_the_name_is_the_local_one(tmp_path: Path) -> None:
    clock = HandClock(offset_h=14)
    clock.wall = clock.wall.replace(hour=1)  # still the day before in UTC
    with begin(tmp_path, clock=clock) as journal:
        assert journal.path.name.startswith("2026-03-01-")


def test_runs_begun_at_the_same_moment_never_share_a_file(tmp_path: Path) -> None:
    def one(_: int) -> Path:
        with begin(tmp_path) as journal:
            return journal.path

    with ThreadPoolExecutor(8) as pool:
        paths = list(pool.map(one, range(40)))
    assert len(set(paths)) == 40
    assert all(verify(path).intact for path in paths)


# The list


def test_the_list_tells_of_each_run_latest_first(tmp_path: Path) -> None:
    clock = HandClock()
    with begin(tmp_path, Noted(text="x"), clock=clock) as journal:
        journal.append(closing(journal, "fail"))
        first = journal.path
    clock.wall += timedelta(days=400)
    with begin(tmp_path, tag="CR-11", clock=clock) as journal:
        second = journal.path
        new, old = Logbook(tmp_path).runs()
    assert (new.path, new.tag, new.closed, new.records, new.verdict) == (second, "CR-11", False, 1, "")
    assert replace(old, first_digest="", last_digest="") == RunEntry(
        path=first, name="CR-07/2026-03-01-01-commissioning", tag="CR-07", date="2026-03-01",
        procedure="commissioning", counts_for="2026-03-01", operator="bench A",
        began_at="2026-03-01T10:00:02.000+01:00",
        last_at="2026-03-01T10:00:04.000+01:00", records=3, closed=True, simulated=True, verdict="fail",
    )  # fmt: skip


def test_the_list_bears_with_damage(tmp_path: Path) -> None:
    paths = []
    for number in range(9):
        with begin(tmp_path, Noted(text="y" * 20_000), Noted(text="z"), tag=f"CR-{number}") as journal:
            if number == 5:
                journal.append(closing(journal))
            paths.append(journal.path)
    paths[1].write_bytes(b"")
    paths[2].write_bytes(paths[2].read_bytes()[:100])
    paths[3].write_bytes(paths[3].read_bytes().replace(b'"z"', b'"q"'))
    paths[4].write_bytes(paths[4].read_bytes()[:-5])
    paths[5].write_bytes(b"".join(lines_of(paths[5])[:-1]))
    paths[6].unlink()
    paths[6].mkdir()
    paths[7].unlink()
    os.mkfifo(paths[7])
    (tmp_path / "runs" / "stray.txt").touch()
    (tmp_path / "runs" / "CR-0" / "note.txt").touch()
    entries = {entry.path: entry for entry in Logbook(tmp_path).runs()}
    assert set(entries) == set(paths)
    told = [entries[path].problem for path in paths]
    assert told[0] == told[8] == ""
    assert "never begun" in told[1]
    assert "never begun" in told[2]
    assert told[3].startswith("last line: its bytes do not match")
    assert told[4] == ""
    assert entries[paths[4]].torn
    assert entries[paths[4]].records == 2
    assert "not as it was closed" in told[5]
    assert "a folder" in told[6]
    assert "not a regular file" in told[7]
    for path in paths:
        assert entries[path].date == "2026-03-01"
        assert entries[path].procedure == "commissioning"


def test_only_the_ends_of_a_long_run_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with begin(tmp_path) as journal:
        journal.append_many([Noted(text="x" * 100)] * 20_000)
        size = journal.path.stat().st_size
    count = 0
    read = os.read

    def counted(descriptor: int, most: int) -> bytes:
        nonlocal count
        data = read(descriptor, most)
        count += len(data)
        return data

    monkeypatch.setattr(os, "read", counted)
    (entry,) = Logbook(tmp_path).runs()
    assert entry.records == 20_001
    assert size > 6_000_000
    assert count < 20_000


def test_a_logbook_that_is_not_there_is_empty_and_one_that_is_a_file_is_told_of(tmp_path: Path) -> None:
    assert Logbook(tmp_path / "absent").runs() == ()
    assert Logbook(tmp_path / "absent").sheets() == ()
    (tmp_path / "runs").touch()
    with pytest.raises(Unreachable, match="cannot be listed"):
        Logbook(tmp_path).runs()


def test_sheets_are_listed(tmp_path: Path) -> None:
    shelf = tmp_path / "supplies"
    shelf.mkdir()
    for name in ("CR-11.toml", "CR-02.toml", "notes.txt"):
        (shelf / name).touch()
    (shelf / "folder.toml").mkdir()
    assert [path.name for path in Logbook(tmp_path).sheets()] == ["CR-02.toml", "CR-11.toml"]


# Finding


def test_a_run_is_found_by_path_name_or_tag(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = HandClock()
    logbook = Logbook(tmp_path)
    with begin(tmp_path, clock=clock) as journal:
        first = journal.path
    clock.wall += timedelta(days=1)
    with begin(tmp_path, clock=clock) as journal:
        second = journal.path
    clock.wall += timedelta(days=1)
    with begin(tmp_path, tag="CR/11", clock=clock) as journal:
        other = journal.path
    assert logbook.find(str(first)) == first
    assert logbook.find("CR-07/2026-03-01-01-commissioning") == first
    assert logbook.find("2026-03-01-01-commissioning") == first
    assert logbook.find("2026-03-01-01-commissioning.jsonl") == first
    assert logbook.find("CR-07") == second
    assert logbook.find("CR/11") == other
    monkeypatch.chdir(first.parent)
    assert logbook.find(first.name).resolve() == first
    with pytest.raises(Unreachable, match=r"no run 'CR-7'.*Did you mean CR-07"):
        logbook.find("CR-7")
    with pytest.raises(Unreachable, match="It holds runs of CR-07, CR/11"):
        logbook.find("something-else-altogether")
    for odd in ("", ".", "..", "/", "nul\0", "\x1b[31m", "a" * 5000):
        with pytest.raises(Unreachable) as caught:
            logbook.find(odd)
        assert "\x1b" not in str(caught.value)
    with pytest.raises(Unreachable, match="holds no run yet"):
        Logbook(tmp_path / "absent").find("CR-07")


def test_a_name_that_means_two_runs_is_asked_about(tmp_path: Path) -> None:
    for tag in ("CR-07", "CR-11"):
        begin(tmp_path, tag=tag).close()
    with pytest.raises(Unreachable, match=r"several runs: .*CR-07/.*Name one"):
        Logbook(tmp_path).find("2026-03-01-01-commissioning")
