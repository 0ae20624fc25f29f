"""Any change to a journal is found, named by line, and what cannot be found is said."""

from __future__ import annotations

import hashlib
import re
from datetime import timedelta, timezone
from pathlib import Path

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ohmward.errors import Damaged, Unreachable
from ohmward.logbook import Verification, open_run, read, verify
from ohmward.logbook.chain import check, seal_problems, torn_problem
from ohmward.logbook.events import FORMAT, Event, Noted, Opened, Resumed
from ohmward.logbook.lines import Seal, decode_seal
from support.journals import HandClock, begin, closing, events, lines_of, opened, some_events

examples = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def closed_run(folder: Path, *written: Event) -> Path:
    with begin(folder, *written) as journal:
        journal.append(closing(journal))
        return journal.path


def with_lines(path: Path, lines: list[bytes]) -> Verification:
    path.write_bytes(b"".join(lines))
    return verify(path)


def sealed_again(line: bytes, old: bytes, new: bytes) -> bytes:
    """Return the line with something changed and its own digest computed anew, by the format."""
    start = line[: line.index(b',"digest":')].replace(old, new)
    return start + b',"digest":"' + hashlib.sha256(start).hexdigest().encode() + b'"}\n'


# Every change of a single byte


def findings(data: bytes, seal: Seal) -> int:
    """Count what `verify` would find (it adds only reading the files)."""
    checked = check(data)
    return len(checked.problems) + len(torn_problem(checked)) + len(seal_problems(checked, seal))


def test_every_change_insertion_and_deletion_of_one_byte_is_found(tmp_path: Path) -> None:
    """Every place of a short closed run: deleted, all 255 other values, and insertions of every sort."""
    path = closed_run(tmp_path)
    data, seal = path.read_bytes(), decode_seal(path.with_suffix(".seal").read_bytes())
    assert findings(data, seal) == 0
    values = [bytes([value]) for value in range(256)]
    missed = []
    for at in range(len(data) + 1):
        before, rest = data[:at], data[at:]
        sorts = {before[-1:], rest[:1], b"\n", b"\0", b"\xff", b"0", b'"', b"}", b" "} - {b""}
        changed = [before + value + rest for value in sorts]
        if rest:
            changed += [before + value + rest[1:] for value in values if value != rest[:1]]
            changed.append(before + rest[1:])
        missed += [(at, some) for some in changed if not findings(some, seal)]
    assert missed == []


def test_every_change_is_found_through_the_file_too_and_names_its_line(tmp_path: Path) -> None:
    path = closed_run(tmp_path, *some_events())
    data = path.read_bytes()
    for at in range(len(data)):
        line = data.count(b"\n", 0, at) + 1
        flipped = data[:at] + bytes([data[at] ^ (1 << at % 8)]) + data[at + 1 :]
        deleted = data[:at] + data[at + 1 :]
        inserted = data[:at] + b"7" + data[at:]
        path.write_bytes((flipped, deleted, inserted)[at % 3])
        found = verify(path)
        assert not found.intact
        assert found.problems[0][0] == line, (at, found.problems)
    path.write_bytes(data)
    assert verify(path).intact


def test_every_change_of_one_byte_of_the_seal_is_found(tmp_path: Path) -> None:
    path = closed_run(tmp_path)
    place = path.with_suffix(".seal")
    seal = place.read_bytes()
    for at in range(len(seal)):
        for some in (seal[:at] + bytes([seal[at] ^ 1]) + seal[at + 1 :], seal[:at] + seal[at + 1 :]):
            place.write_bytes(some)
            found = verify(path)
            assert any("seal" in words for _, words in found.problems), (at, found)
    place.write_bytes(seal + seal)
    assert not verify(path).intact
    with pytest.raises(Damaged, match="seal"):
        read(path)
    with pytest.raises(Damaged, match="seal"):
        open_run(path)


# Lines


@pytest.mark.usefixtures("no_sync")
@examples
@given(data=st.data(), written=st.lists(events(), min_size=3, max_size=10))
def test_lines_deleted_doubled_swapped_moved_or_cut_are_found(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject, written: list[Event]
) -> None:
    path = closed_run(tmp_path_factory.mktemp("run"), *written)
    lines = lines_of(path)
    place = st.integers(0, len(lines) - 1)
    one, other = data.draw(place), data.draw(place)
    deleted = lines[:one] + lines[one + 1 :]
    doubled = lines[: one + 1] + lines[one:]
    moved = [*deleted[:other], lines[one], *deleted[other:]]
    swapped = list(lines)
    swapped[one], swapped[other] = swapped[other], swapped[one]
    cut = lines[:one]
    shuffled = data.draw(st.permutations(lines))
    for some in (deleted, doubled, moved, swapped, cut, shuffled, [*lines, b"\n"], [*lines, lines[-1]]):
        found = with_lines(path, list(some))
        assert found.intact == (some == lines), some
    at = data.draw(st.integers(0, len(b"".join(lines)) - 1))
    path.write_bytes(b"".join(lines)[:at])
    assert not verify(path).intact


@pytest.mark.parametrize("closed", [False, True])
def test_the_words_name_the_line_and_what_happened(tmp_path: Path, closed: bool) -> None:
    with begin(tmp_path, *some_events()) as journal:
        path = journal.path
        if closed:
            journal.append(closing(journal))
    lines = lines_of(path)
    assert with_lines(path, lines).problems == ()

    def first(some: list[bytes]) -> tuple[int, str]:
        return with_lines(path, some).problems[0]

    number, words = first(lines[:2] + lines[3:])
    assert (number, "record 3 stands where 2 belongs: 1 missing" in words) == (3, True)
    number, words = first(lines[:3] + lines[2:])
    assert (number, "record 2 again" in words) == (4, True)
    number, words = first([*lines[:2], lines[3], lines[2], *lines[4:]])
    assert (number, "record 3 stands where 2 belongs" in words) == (3, True)
    number, words = first(lines[1:])
    assert (number, "record 1 stands where 0 belongs" in words) == (1, True)
    number, words = first([*lines[:4], lines[4].replace(b"12.04", b"12.05"), *lines[5:]])
    assert (number, "its bytes do not match its digest" in words) == (5, True)
    forged = sealed_again(lines[3], b"pass", b"fail")
    number, words = first([*lines[:3], forged, *lines[4:]])
    assert (number, "does not follow from the line before" in words) == (5, True)
    number, words = first([*lines[:3], b"\n", *lines[3:]])
    assert (number, words) == (4, "an empty line")
    number, words = first([*lines[:-1], lines[-1][:-1]])
    assert (number, "torn" in words or "cut short" in words) == (len(lines), True)


def test_a_cut_tail_is_found_by_the_seal(tmp_path: Path) -> None:
    path = closed_run(tmp_path, *some_events())
    lines = lines_of(path)
    for kept in range(1, len(lines)):
        found = with_lines(path, lines[:kept])
        assert found.problems == (
            (
                kept,
                f"cut short: the seal counts {len(lines)} records, {kept} whole lines are here",
            ),
        )
        with pytest.raises(Damaged, match="cut short"):
            read(path)
    assert not with_lines(path, []).intact


def test_another_run_with_this_ones_seal_is_found(tmp_path: Path) -> None:
    path = closed_run(tmp_path / "a", *some_events())
    other = closed_run(tmp_path / "b", *some_events()[:-1], Noted(text="something else"))
    path.write_bytes(other.read_bytes())
    assert "not the last record that the seal names" in verify(path).problems[-1][1]


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        (b'"kind":"noted"', b'"kind":"notched"', "unknown kind 'notched'"),
        (b'"text":', b'"colour":"red","text":', "unknown field `colour`"),
        (b'"seq":2', b'"extra":1,"seq":2', "unknown field `extra`"),
        (b'"text":"plain"', b'"text":5', "Expected `str`"),
        (b"+01:00", b"", "no offset"),
        (b"2026-", b"never ", "not a time"),
        (b'"elapsed_s":', b'"elapsed_s":-', "elapsed_s is -"),
        (b'"text":"plain"', b'"text":' + b"[" * 5000, "not a"),
    ],
)
def test_a_body_that_does_not_hold_is_named_even_where_the_hashes_do(
    tmp_path: Path, old: bytes, new: bytes, word: str
) -> None:
    with begin(tmp_path, Noted(text="before"), Noted(text="plain")) as journal:
        path = journal.path
    lines = lines_of(path)
    assert old in lines[2]
    ((number, words),) = with_lines(path, [*lines[:2], sealed_again(lines[2], old, new)]).problems
    assert number == 3
    assert word in words
    with pytest.raises(Damaged, match=re.escape(word)):
        read(path)


def test_control_characters_in_a_damaged_line_are_shown_as_signs(tmp_path: Path) -> None:
    with begin(tmp_path, Noted(text="x")) as journal:
        path = journal.path
    lines = lines_of(path)
    bad = sealed_again(lines[1], b'"kind":"noted"', b'"kind":"\\u001b[2J\\n\\u202e"')
    ((_, words),) = with_lines(path, [lines[0], bad]).problems
    assert "\x1b" not in words
    assert "\n" not in words
    assert "\u202e" not in words


# A newer tool


def rewrite_first(path: Path, old: bytes, new: bytes) -> None:
    lines = lines_of(path)
    path.write_bytes(sealed_again(lines[0], old, new) + b"".join(lines[1:]))


def test_a_newer_format_is_said_and_is_not_called_damage(tmp_path: Path) -> None:
    with begin(tmp_path) as journal:
        path = journal.path
    newer = FORMAT + 1
    rewrite_first(path, f'"format":{FORMAT}'.encode(), f'"format":{newer},"more":[]'.encode())
    for function in (read, verify, open_run):
        with pytest.raises(
            Unreachable, match=f"written by ohmward test in log format {newer}.*up to format {FORMAT}"
        ):
            function(path)


def test_a_byte_changed_in_the_format_is_damage_and_not_a_newer_tool(tmp_path: Path) -> None:
    with begin(tmp_path) as journal:
        path = journal.path
    path.write_bytes(path.read_bytes().replace(f'"format":{FORMAT}'.encode(), b'"format":9'))
    assert verify(path).problems[0][0] == 1


def test_an_older_record_without_a_later_field_still_reads(tmp_path: Path) -> None:
    with begin(tmp_path) as journal:
        path = journal.path
    rewrite_first(path, b'"purpose":"",', b"") if b'"purpose":"",' in path.read_bytes() else rewrite_first(
        path, b',"purpose":""', b""
    )
    event = read(path)[0].event
    assert isinstance(event, Opened)
    assert event.purpose == ""


# What is no damage, and what cannot be shown


def test_a_changed_clock_is_a_notice_and_no_damage(tmp_path: Path) -> None:
    clock = HandClock()
    with begin(tmp_path, clock=clock) as journal:
        path = journal.path
        clock.wall = clock.wall.astimezone(timezone(timedelta(hours=2)))  # summer time: no change of clock
        journal.append(Noted(text="a"))
        clock.wall -= timedelta(hours=1)
        journal.append(Noted(text="b"))
        clock.wall += timedelta(minutes=10)
        journal.append(Noted(text="c"))
        clock.seconds += 3600
        clock.wall += timedelta(seconds=3601.5)  # a clock drifts a little
        journal.append(Noted(text="d"))
    found = verify(path)
    assert found.intact
    assert [number for number, _ in found.notices] == [3, 4]
    assert "set back by 3600 s" in found.notices[0][1]
    assert "set ahead (or the computer slept) by 600 s" in found.notices[1][1]


def test_a_clock_set_back_between_sessions_is_a_notice(tmp_path: Path) -> None:
    with begin(tmp_path, Noted(text="a"), Noted(text="b")) as journal:
        path = journal.path
    late = HandClock()
    late.wall += timedelta(days=1)
    late.seconds = 3.0
    with open_run(path, clock=late) as journal:
        journal.append(Resumed(operator="bench B", tool="ohmward test"))
    early = HandClock()
    early.wall -= timedelta(days=400)
    with open_run(path, clock=early) as journal:
        journal.append(Noted(text="c"))
    found = verify(path)
    assert found.intact
    ((number, words),) = found.notices
    assert number == 5
    assert "between sessions" in words


def test_a_renamed_journal_is_intact_and_the_rename_is_noticed(tmp_path: Path) -> None:
    path = closed_run(tmp_path)
    new = path.with_name("other.jsonl")
    path.with_suffix(".seal").rename(new.with_suffix(".seal"))
    path.rename(new)
    found = verify(new)
    assert found.intact
    assert path.name in found.notices[0][1]


def test_a_closed_run_without_its_seal_is_told_of(tmp_path: Path) -> None:
    path = closed_run(tmp_path, *some_events())
    path.with_suffix(".seal").unlink()
    ((number, words),) = verify(path).problems
    assert number == 7
    assert "seal file is missing" in words
    assert len(read(path)) == 7  # it reads all the same


def test_what_a_chain_cannot_show_is_so_and_is_said(tmp_path: Path) -> None:
    """Each limit is shown to be real here: the change goes unfound, and the words speak of it."""
    with begin(tmp_path, *some_events()) as journal:
        path = journal.path
        digests = [record.digest for record in journal.records]
        journal.append(closing(journal))
    lines = lines_of(path)
    path.with_suffix(".seal").unlink()
    assert not with_lines(path, lines[:-3]).intact  # the logbook's chain of closed runs names it
    next((tmp_path / "anchors").iterdir()).unlink()
    cut = with_lines(path, lines[:-3])
    assert cut.intact
    assert not cut.closed
    words = " ".join(cut.cannot_show)
    for word in ("cut from the end", "removed together", "every hash computed anew", "last digest", "report"):
        assert word in words
    assert cut.last_digest == digests[3]
    with begin(tmp_path / "forged", *some_events()[:-1], Noted(text="another story")) as journal:
        forged = verify(journal.path)
    assert forged.intact
    assert forged.last_digest != digests[-1]  # which is how the printed digest helps


def test_last_digest_stands_in_the_file_where_a_person_finds_it(tmp_path: Path) -> None:
    path = closed_run(tmp_path, *some_events())
    found = verify(path)
    assert path.read_bytes().endswith(f'"digest":"{found.last_digest}"}}\n'.encode())
    assert len(found.cannot_show) == 1
    assert found.records == 7


def test_a_journal_names_no_file_outside_its_folder(tmp_path: Path) -> None:
    with begin(tmp_path) as journal:
        path = journal.path
    with path.open("ab") as file:
        file.write(b"torn")
    open_run(path, clock=HandClock()).close()
    lines = lines_of(path)
    name = path.with_suffix(".torn-1").name.encode()
    for bad in (b"/etc/hostname", b"../x", b"..", b"", b"a\\\\b", b"a\\u0000"):
        ((number, words),) = with_lines(path, [lines[0], sealed_again(lines[1], name, bad)]).problems
        assert number == 2
        assert "not a file beside the journal" in words


def test_structs_of_the_format_are_frozen_and_strict() -> None:
    with pytest.raises(AttributeError):
        opened().tag = "other"  # type: ignore[misc]
    with pytest.raises(msgspec.ValidationError):
        msgspec.json.decode(b'{"text":"x","colour":"red"}', type=Noted)
