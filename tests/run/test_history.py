"""From journals to histories: the fast fold against the careful one, and an index that is only a cache."""

from __future__ import annotations

import multiprocessing
import os
import shutil
import threading
import time
from datetime import date
from pathlib import Path

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.analysis.history import history
from ohmward.errors import Refused, Unreachable
from ohmward.logbook import read
from ohmward.logbook.events import Event
from ohmward.run import history_index as index
from ohmward.run import state
from ohmward.run.bulk import bulk_state
from ohmward.run.gates import admit
from ohmward.run.history import past_of, past_run, untested
from ohmward.run.state import RunState, Standing, advance
from run.test_gates import LIVE, NO_LOAD, SAFE, moves
from support import aged
from support import bench as b

SAME = ("opened", "supply", "procedure", "limits", "meters", "items", "by_key", "parts", "entries", "repairs",
        "opened_seq", "repaired_seq", "energised_seq", "closed", "last_seq")  # fmt: skip
TODAY = date(2026, 6, 1)


@pytest.fixture(autouse=True)
def _bench(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OHMWARD_BENCH", "bench-a")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A logbook with three runs of CR-11, written through the gates; tests copy it."""
    folder = tmp_path_factory.mktemp("years")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("OHMWARD_BENCH", "bench-a")
        aged.write(folder, aged.VISITS[:3])
    return folder


@pytest.fixture
def logbook(made: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "logbook"
    shutil.copytree(made, folder)
    for path in folder.glob("runs/*/*"):
        os.utime(path, (1_700_000_000, 1_700_000_000))  # long ago: nothing is read again for being new
    return folder


def journals(logbook: Path) -> list[Path]:
    return sorted(logbook.glob("runs/CR-11/*.jsonl"))


def cache(logbook: Path) -> Path:
    return logbook / "index" / "bench-a" / "CR-11.cache"


def same(fast: RunState, careful: RunState) -> None:
    for name in SAME:
        assert getattr(fast, name) == getattr(careful, name), name
    for item in careful.items:
        assert fast.standing(item) is careful.standing(item)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from([[], LIVE, [*LIVE, *NO_LOAD, *SAFE]]), st.lists(moves, max_size=40))
def test_the_fast_fold_is_the_careful_one_for_all_that_the_gates_let_through(
    first: list[Event], events: list[Event]
) -> None:
    records = [b.record(0, b.opened())]
    current = advance(RunState(), records[0])
    for event in [*first, *events]:
        try:
            admit(current, event)
        except Refused:
            continue
        records.append(b.record(len(records), event))
        current = advance(current, records[-1])
    assert current.violations == ()
    same(bulk_state(records), current)


def test_the_fast_fold_is_the_careful_one_for_whole_runs(made: Path) -> None:
    samples = Path(__file__).parents[2] / "sample_logs" / "runs"
    for path in [*journals(made), *sorted(samples.glob("*/*.jsonl"))]:
        records = read(path)
        same(bulk_state(records), state(records))


def test_a_run_without_its_first_record_has_no_state() -> None:
    with pytest.raises(ValueError, match="first record"):
        bulk_state([])


def test_readings_carry_mains_room_load_meter_and_their_two_uncertainties(made: Path) -> None:
    run = past_run(journals(made)[0])
    assert (run.tag, run.procedure, run.verdict, run.good) == (
        "CR-11",
        "commissioning",
        "pass",
        True,
    )
    ripple = run.reading(("ripple.output", "24 @ 100 %"))
    assert ripple is not None
    visit = aged.VISITS[0]
    assert (ripple.mains_v, ripple.ambient_c, ripple.load_a) == (visit.mains_v, visit.room_c, 6.0)
    assert (ripple.meter, ripple.serial, ripple.calibrated) == ("scope", visit.scope, "2019-01-12")
    # 3 % + 2 digits of 1 mV, rectangular; one digit of it is the reading's own
    whole = (0.03 * ripple.net + 0.002) / 3**0.5  # type: ignore[operator]
    assert (ripple.own**2 + ripple.common**2) ** 0.5 == pytest.approx(whole, rel=1e-3)  # type: ignore[operator]
    soaked = run.reading(("soak", "case @ 60 min"))
    assert soaked is not None
    assert soaked.room_c is not None
    steps = {reading.step for reading in run.readings}
    assert not steps & {"lead-null", "mains-no-load", "room-temperature", "residual"}
    assert not any(reading.subject.startswith("room air") for reading in run.readings)


def test_a_stale_reading_is_no_history() -> None:
    from ohmward.logbook.events import Repaired

    events = [*LIVE, *NO_LOAD, *SAFE, Repaired(what="joint remade")]
    records = tuple(b.record(seq, event) for seq, event in enumerate([b.opened(), *events]))
    run = past_of("CR-07/x", records)
    standing = state(records)
    assert standing.standing(standing.item("earth", "case")) is Standing.STALE
    assert run.reading(("earth", "case")) is None
    assert run.repairs[0][1] == "joint remade"


def test_ripple_of_a_missing_half_cycle_is_not_taken_for_a_dry_reservoir() -> None:
    samples = Path(__file__).parents[2] / "sample_logs" / "runs" / "CR-07"
    runs = [past_run(path) for path in sorted(samples.glob("2026-03-*.jsonl"))]
    assert runs[1].half_missing == ("24",)  # the sample with an open diode
    found = history(runs)
    assert found.one("capacitance", "24") is None
    assert found.one("capacitance", "+15") is not None


def test_a_damaged_journal_is_listed_with_its_problem(logbook: Path) -> None:
    path = journals(logbook)[1]
    data = path.read_bytes()
    path.write_bytes(data.replace(b'"raw":"', b'"raw":"9', 1))
    runs = index.runs_of(logbook, "CR-11")
    assert [bool(run.problem) for run in runs] == [False, True, False]
    assert "line" in runs[1].problem
    assert index.fleet(logbook).glances[0].damaged == 1


@pytest.mark.parametrize("how", ["cut", "swapped", "dropped", "unsealed", "first gone", "empty"])
def test_whatever_is_wrong_with_a_journal_is_found_here_too(logbook: Path, how: str) -> None:
    path = journals(logbook)[0]
    lines = path.read_bytes().splitlines(keepends=True)
    if how == "cut":
        path.write_bytes(b"".join(lines[:-1]))
    elif how == "swapped":
        path.write_bytes(b"".join([*lines[:5], lines[6], lines[5], *lines[7:]]))
    elif how == "dropped":
        path.write_bytes(b"".join([*lines[:5], *lines[6:]]))
    elif how == "unsealed":
        path.with_suffix(".seal").write_bytes(b"{}")
    elif how == "first gone":
        path.write_bytes(b"".join(lines[1:]))
    else:
        path.write_bytes(b"")
    run = past_run(path)
    assert run.problem
    assert run.readings == ()


def test_a_run_in_progress_is_read_as_far_as_it_has_come(logbook: Path) -> None:
    path = journals(logbook)[0]
    lines = path.read_bytes().splitlines(keepends=True)
    path.with_suffix(".seal").unlink()
    path.write_bytes(b"".join(lines[:80]) + lines[80][:40])
    run = past_run(path)
    assert (run.problem, run.closed, run.records) == ("", False, 80)


def test_the_index_gives_what_the_journals_give_and_reads_nothing_twice(logbook: Path) -> None:
    bare = index.fleet(logbook, use_index=False)
    assert not (logbook / "index").exists()
    first, second = index.fleet(logbook), index.fleet(logbook)
    assert first.glances == second.glances == bare.glances
    assert (first.read, second.read, second.journals) == (3, 0, 3)
    assert index.runs_of(logbook, "CR-11") == index.runs_of(logbook, "CR-11", use_index=False)
    assert (logbook / "index" / "CACHEDIR.TAG").exists()


def test_deleting_the_index_loses_nothing(logbook: Path) -> None:
    before = index.fleet(logbook).glances
    shutil.rmtree(logbook / "index")
    assert index.fleet(logbook).glances == before


def test_a_new_changed_or_missing_journal_is_noticed_and_only_that_is_read(logbook: Path) -> None:
    index.fleet(logbook)
    last = journals(logbook)[-1]
    kept = last.read_bytes(), last.with_suffix(".seal").read_bytes()
    last.unlink()
    last.with_suffix(".seal").unlink()
    fewer = index.fleet(logbook)
    assert (fewer.glances[0].runs, fewer.read) == (2, 0)
    last.write_bytes(kept[0])
    last.with_suffix(".seal").write_bytes(kept[1])
    again = index.fleet(logbook)
    assert (again.glances[0].runs, again.read) == (3, 1)


def test_an_edit_that_keeps_the_size_is_noticed_by_the_times(logbook: Path) -> None:
    index.fleet(logbook)
    path = journals(logbook)[0]
    data = path.read_bytes()
    path.write_bytes(data.replace(b"bench B", b"bench C", 1))
    os.utime(path, (1_700_000_000, 1_700_000_000))  # even with its old date put back
    found = index.fleet(logbook)
    assert (found.read, found.glances[0].damaged) == (1, 1)


def test_a_journal_younger_than_the_look_at_it_is_read_again(logbook: Path) -> None:
    path = journals(logbook)[0]
    now = time.time()
    os.utime(path, (now, now))
    assert (index.fleet(logbook).read, index.fleet(logbook).read) == (3, 1)


@pytest.mark.parametrize(
    "damage", ["empty", "cut", "flipped head", "flipped body", "rubbish", "other version"]
)
def test_a_damaged_index_is_made_anew(logbook: Path, damage: str) -> None:
    right = index.fleet(logbook).glances
    runs = index.runs_of(logbook, "CR-11")
    data = bytearray(cache(logbook).read_bytes())
    if damage == "empty":
        data = bytearray()
    elif damage == "cut":
        del data[len(data) // 2 :]
    elif damage == "flipped head":
        data[120] ^= 1
    elif damage == "flipped body":
        data[-100] ^= 1
    elif damage == "rubbish":
        data = bytearray(b"ohmward index\n9999999999999 1\n" + os.urandom(500))
    else:
        data = bytearray(bytes(data).replace(index.VERSION.encode(), b"0" * len(index.VERSION), 1))
    cache(logbook).write_bytes(data)
    assert index.runs_of(logbook, "CR-11") == runs
    assert index.fleet(logbook).glances == right
    assert index.fleet(logbook).read == 0


def test_an_index_that_cannot_be_written_costs_time_and_nothing_else(logbook: Path) -> None:
    (logbook / "index").write_text("a file is in the way", encoding="utf-8")
    found = index.fleet(logbook)
    assert found.glances == index.fleet(logbook, use_index=False).glances
    assert any("index cannot be written" in words for words in found.shortcomings)
    assert index.runs_of(logbook, "CR-11")


def test_many_programs_at_once_leave_a_sound_index(logbook: Path) -> None:
    right = index.fleet(logbook, use_index=False).glances
    found: list[object] = []

    def look() -> None:
        for _ in range(10):
            shutil.rmtree(logbook / "index", ignore_errors=True)
            found.append(index.fleet(logbook).glances)

    threads = [threading.Thread(target=look) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert all(each == right for each in found)
    assert len(found) == 40
    assert index.fleet(logbook).glances == right
    assert index.fleet(logbook).read == 0
    assert not list((logbook / "index").rglob("*.draft"))


def test_a_writer_stopped_in_the_middle_leaves_the_old_index_or_the_new_one(logbook: Path) -> None:
    right = index.fleet(logbook).glances
    context = multiprocessing.get_context("spawn")
    for wait_s in (0.0, 0.3, 0.6):
        shutil.rmtree(logbook / "index")
        other = context.Process(target=index.fleet, args=(logbook,))
        other.start()
        time.sleep(wait_s)
        other.kill()
        other.join()
        assert index.fleet(logbook).glances == right
        assert index.fleet(logbook).read == 0


def test_what_a_stopped_writer_left_is_cleared_away_when_it_is_old(logbook: Path) -> None:
    index.fleet(logbook)
    old, young = (cache(logbook).with_name(f".CR-11.cache.{n}.draft") for n in (1, 2))
    for each in (old, young):
        each.write_bytes(b"half")
    os.utime(old, (1_700_000_000, 1_700_000_000))
    cache(logbook).unlink()
    index.fleet(logbook)
    assert (old.exists(), young.exists()) == (False, True)


def test_several_processes_give_what_one_gives(logbook: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    right = index.fleet(logbook, use_index=False)
    monkeypatch.setattr(index, "POOL_FROM", 1)
    told: list[tuple[int, int]] = []
    found = index.fleet(logbook, workers=2, progress=lambda done, of: told.append((done, of)))
    assert found.glances == right.glances
    assert found.read == 3
    assert told == [(1, 1)]


def test_an_empty_logbook_has_no_supplies_and_a_missing_tag_is_named(tmp_path: Path, logbook: Path) -> None:
    assert index.fleet(tmp_path / "none").glances == ()
    with pytest.raises(Unreachable, match="CR-99"):
        index.runs_of(logbook, "CR-99")


def test_a_sheet_without_a_run_is_due_for_commissioning(logbook: Path) -> None:
    glances = index.fleet(logbook).glances
    shelf = logbook / "supplies"
    (shelf / "CR-02.toml").write_text('tag = "CR-02"\n', encoding="utf-8")
    (shelf / "another name.toml").write_text('tag = "CR-11"\n', encoding="utf-8")
    (shelf / "broken.toml").write_text("tag = ", encoding="utf-8")
    found = untested(logbook, glances, TODAY)
    assert [(each.tag, each.procedure) for each in found] == [
        ("CR-02", "commissioning"),
        ("broken", "commissioning"),
    ]


def test_the_years_of_cr_11_age_in_the_logbook_as_they_were_played(tmp_path: Path) -> None:
    aged.write(tmp_path, aged.VISITS)
    found = history(index.runs_of(tmp_path, "CR-11"))
    series = found.one("capacitance", aged.RAIL)
    assert series is not None
    assert series.ageing
    assert series.change is not None
    # what was played in: 82 % of the first capacitance is left
    assert series.change.now == pytest.approx(100 * aged.LIFE[-1], abs=series.change.uncertainty)
    assert found.simulated
    (last,) = index.fleet(tmp_path).glances
    assert len(last.ageing) == 1


def test_what_the_index_keeps_is_read_back_exactly(made: Path) -> None:
    run = past_run(journals(made)[0])
    assert msgspec.msgpack.decode(msgspec.msgpack.encode(run), type=type(run)) == run


def test_a_copy_left_by_a_synchronised_folder_is_not_counted_twice(logbook: Path) -> None:
    before = index.runs_of(logbook, "CR-11", use_index=False)
    path = journals(logbook)[0]
    shutil.copy(path, path.with_name(f"{path.stem} (1).jsonl"))
    shutil.copy(path, path.with_name(f"._{path.name}"))
    assert index.runs_of(logbook, "CR-11", use_index=False) == before
    assert index.runs_of(logbook, "CR-11") == before
