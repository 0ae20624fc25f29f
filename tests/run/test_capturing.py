"""Waveforms of a run: written, recorded, read back; what is refused leaves nothing, what is changed is named.

The gates' laws are the product's own design; common practice, no source.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.bench.waveform import Waveform
from ohmward.errors import InputError, Refused, Unreachable
from ohmward.logbook import create_run, open_run, read, verify
from ohmward.logbook.events import (
    Acknowledged,
    Amended,
    Captured,
    CaseOpened,
    CaseShut,
    Energised,
    Event,
    Reading,
    Repaired,
    Skipped,
    SwitchedOff,
)
from ohmward.run import LiveRun
from ohmward.run.answers import RowRefused, parse_answers, play
from ohmward.run.bulk import bulk_state
from ohmward.run.capturing import attach, require_now, waveforms
from ohmward.run.gates import admit
from ohmward.run.guidance import guidance
from ohmward.run.state import Phase, RunState, Standing, advance, state
from support import bench as b
from support.plain import held, words

STEP = """[[stage.step]]
id = "waveform"
kind = "capture"
title = "Waveform"
each = "rail"
load = ["100 %"]
required = false

[[stage]]
name = "make-safe"
"""
PROCEDURE = b.PROCEDURE.replace('[[stage]]\nname = "make-safe"\n', STEP)
KEY = ("waveform", "+15 @ 100 %")
METERS = """
[[meter]]
name = "scope"
kind = "oscilloscope"
"""
SIMULATED = "OHMWARD,SIMULATED DIGITISER,SIM-0003,1"
TO_LIVE = """step,subject,value,meter,note
plug,,pass,,
label,,pass,,
vents,,pass,,
case-shut,,,,
lead-null,,0.2,,
earth,case,0.25,,
earth,front panel,0.25,,
insulation,,>200M,,
acknowledge,no-load,,,
energised,,,,
lamp,,pass,,
mains,,231,,
output,+15,15.04,,
"""
WAVE = Waveform(values=(20.0, 21.5, 20.5, 21.0), unit="V", interval_s=1e-4, source="scope.csv, CH1")
LIVE: list[Event] = [
    b.passed("plug"),
    b.passed("label"),
    b.passed("vents"),
    CaseShut(),
    b.reading("lead-null"),
    b.reading("earth", "case"),
    b.reading("earth", "front panel"),
    b.reading("insulation"),
    Acknowledged(stage="no-load"),
    Energised(),
]
LOADED: list[Event] = [
    b.passed("lamp"),
    b.reading("mains", number="230"),
    b.reading("output", "+15", "15"),
    Acknowledged(stage="loaded"),
]
SAFE: list[Event] = [SwitchedOff(), b.passed("unplugged"), b.reading("residual", "+15", "0")]


def captured(step: str = KEY[0], subject: str = KEY[1], samples: int = 4) -> Captured:
    return Captured(
        step=step, subject=subject, file="x.csv", sha256="", samples=samples, interval_s=1e-4, unit="V",
        source="x",
    )  # fmt: skip


def begin(logbook: Path, rows: str = "", *, simulated: bool = True, live: bool = True) -> LiveRun:
    opened = msgspec.structs.replace(b.opened(PROCEDURE), simulated=simulated, meters=METERS)
    run = LiveRun(create_run(logbook, tag="CR-07", procedure_name="short", opened=opened))
    if live:
        play(run, parse_answers(TO_LIVE + "acknowledge,loaded,,,\n" + rows, "rows"), "rows")
    return run


def files_in(logbook: Path) -> list[str]:
    return sorted(path.name for path in logbook.rglob("*") if path.is_file())


def folded(*events: Event) -> RunState:
    result = b.folded(b.opened(PROCEDURE), *events)
    assert result.violations == ()
    return result


def refusal(result: RunState, event: Event) -> Refused:
    with pytest.raises(Refused) as caught:
        admit(result, event)
    return caught.value


# Writing and reading back


def test_a_waveform_is_written_recorded_and_read_back_to_the_last_bit(tmp_path: Path) -> None:
    with begin(tmp_path) as live:
        event = attach(live, WAVE, *KEY, meter="scope", identity="MAKER,SCOPE,1,1", point="reservoir")
        path = live.journal.path.with_name(event.file)
        assert event.file == f"{live.journal.path.stem}.waveform-1.csv"
        assert hashlib.sha256(path.read_bytes()).hexdigest() == event.sha256
        assert live.state.standing(live.state.item(*KEY)) is Standing.PASSED
        assert live.journal.records[-1].event == event
    with LiveRun(open_run(live.journal.path)) as again:
        found = waveforms(again.state, live.journal.path.parent)
    assert found.problems == ()
    (kept,) = found.kept
    assert tuple(kept.samples) == WAVE.values
    assert (kept.event, kept.item.rail, kept.item.load_a) == (event, "+15", 1.2)
    assert verify(live.journal.path).intact


def test_the_point_is_the_usual_one_where_nobody_says(tmp_path: Path) -> None:
    with begin(tmp_path) as live:
        assert attach(live, WAVE, *KEY).point == "output"  # the rail of the sheet has no regulator
        assert attach(live, WAVE, "load-points.output", "+15 @ 50 %").point == "output"
        assert attach(live, WAVE, "lamp").point == ""
        with pytest.raises(Refused, match="reservoir or output"):
            attach(live, WAVE, *KEY, point="heat sink")


def test_no_file_is_written_over_another(tmp_path: Path) -> None:
    with begin(tmp_path) as live:
        folder = live.journal.path.parent
        mine = folder / f"{live.journal.path.stem}.waveform-1.csv"
        mine.write_text("a note of my own", encoding="utf-8")
        (folder / f"{live.journal.path.stem}.waveform-2.csv").symlink_to("nowhere")
        assert attach(live, WAVE, *KEY).file.endswith(".waveform-3.csv")
        assert mine.read_text(encoding="utf-8") == "a note of my own"
        assert [each.event.file[-5] for each in live.state.captures[KEY]] == ["3"]
        assert attach(live, WAVE, *KEY).file.endswith(".waveform-4.csv")


def test_a_file_without_a_record_does_no_harm(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A stop between the file and its record: the power fails, or the disk is full for the journal."""
    with begin(tmp_path) as live:
        path = live.journal.path

        def fails(_: object) -> None:
            raise Unreachable("no room for the record")

        monkeypatch.setattr(live.journal, "append", fails)
        with pytest.raises(Unreachable, match="no room"):
            attach(live, WAVE, *KEY)
        assert live.state.standing(live.state.item(*KEY)) is Standing.NOT_DONE
    assert path.with_name(f"{path.stem}.waveform-1.csv").exists()
    assert verify(path).intact
    with LiveRun(open_run(path)) as again:
        assert waveforms(again.state, path.parent).kept == ()
        assert attach(again, WAVE, *KEY).file.endswith(".waveform-2.csv")
    assert verify(path).intact


@pytest.mark.parametrize(
    ("what", "words"),
    [
        ("changed", "was changed"),
        ("missing", "missing or unreadable"),
        ("a folder", "missing or unreadable"),
    ],
)
def test_a_changed_or_missing_file_is_named_and_not_used(tmp_path: Path, what: str, words: str) -> None:
    with begin(tmp_path) as live:
        first, second = attach(live, WAVE, *KEY), attach(live, WAVE, *KEY)
    path = live.journal.path
    place = path.with_name(first.file)
    data = place.read_bytes()
    if what == "changed":
        place.write_bytes(data.replace(b"21.5", b"21.6"))
    else:
        place.unlink()
    if what == "a folder":
        place.mkdir()
    found = waveforms(state(read(path)), path.parent)
    assert [kept.event for kept in found.kept] == [second]
    (problem,) = found.problems
    assert first.file in problem
    assert "Waveform (+15 @ 100 %)" in problem
    verified = verify(path)
    assert not verified.intact
    ((number, said),) = verified.problems
    assert number == len(live.journal.records) - 1
    assert words in said
    assert first.file in said


def test_a_record_that_names_a_file_elsewhere_is_not_followed(tmp_path: Path) -> None:
    for name in ("../x.csv", "/etc/hostname", "", "..", "a\\b.csv", "a\0b"):
        event = msgspec.structs.replace(captured(), file=name)
        found = waveforms(b.folded(b.opened(PROCEDURE), *LIVE, *LOADED, event), tmp_path)
        assert found.kept == ()
        assert len(found.problems) == 1


def test_a_file_with_another_count_than_its_record_is_not_used(tmp_path: Path) -> None:
    with begin(tmp_path) as live:
        event = attach(live, WAVE, *KEY)
    more = msgspec.structs.replace(event, samples=5)
    found = waveforms(folded(*LIVE, *LOADED, more), live.journal.path.parent)
    assert found.kept == ()
    assert "has 4 samples, and its record says 5" in found.problems[0]


# What is refused leaves nothing


def test_what_is_refused_leaves_no_file_and_no_record(tmp_path: Path) -> None:
    with begin(tmp_path) as live:
        before, count = files_in(tmp_path), len(live.journal.records)
        for step, subject, fields, gate in (
            ("nothing", "", {}, "step"),
            ("waveform", "+48 @ 100 %", {}, "subject"),
            (*KEY, {"meter": "nobody"}, "meter"),
            (*KEY, {"point": "nowhere"}, "point"),
        ):
            with pytest.raises(Refused) as caught:
                attach(live, WAVE, step, subject, **fields)
            assert caught.value.gate == gate
        bad = Waveform(values=(1.0, float("nan")), unit="V", interval_s=1e-4, source="x")
        with pytest.raises(InputError):
            attach(live, bad, *KEY)
        assert files_in(tmp_path) == before
        assert len(live.journal.records) == count


def test_before_mains_was_on_there_is_no_waveform_of_a_live_step(tmp_path: Path) -> None:
    with begin(tmp_path, live=False) as live:
        before = files_in(tmp_path)
        with pytest.raises(Refused) as caught:
            attach(live, WAVE, *KEY)
        assert caught.value.gate == "not-live"
        assert files_in(tmp_path) == before


def test_a_waveform_of_the_simulated_bench_never_comes_into_a_real_run(tmp_path: Path) -> None:
    with begin(tmp_path / "real", simulated=False) as live:
        with pytest.raises(Refused) as caught:
            attach(live, WAVE, *KEY, meter="scope", identity=SIMULATED)
        assert caught.value.gate == "simulated"
        assert not list((tmp_path / "real").rglob("*.csv"))
        attach(live, WAVE, *KEY, meter="scope", identity="MAKER,SCOPE,1,1")
    with begin(tmp_path / "rehearsal") as live:
        attach(live, WAVE, *KEY, meter="scope", identity=SIMULATED)


# How a waveform item stands


def test_a_waveform_is_passed_when_recorded_and_not_done_otherwise() -> None:
    result = folded(*LIVE, *LOADED)
    item = result.item(*KEY)
    assert (item.is_waveform, item.required, item.load_a) == (True, False, 1.2)
    assert result.standing(item) is Standing.NOT_DONE
    assert folded(*LIVE, *LOADED, captured()).standing(item) is Standing.PASSED
    # as evidence for another step it says nothing of that step
    evidence = folded(*LIVE, *LOADED, captured("load-points.output", "+15 @ 100 %"))
    assert evidence.standing(evidence.item("load-points.output", "+15 @ 100 %")) is Standing.NOT_DONE
    assert evidence.standing(item) is Standing.NOT_DONE


def test_it_may_be_left_out_and_taken_after_all() -> None:
    skipped = folded(*LIVE, *LOADED, Skipped(step=KEY[0], subject=KEY[1], reason=""))
    assert skipped.standing(skipped.item(*KEY)) is Standing.SKIPPED
    taken = advance(skipped, b.record(99, captured()))
    assert taken.standing(taken.item(*KEY)) is Standing.PASSED
    again = advance(taken, b.record(100, Skipped(step=KEY[0], subject=KEY[1], reason="wrong rail")))
    assert again.standing(again.item(*KEY)) is Standing.SKIPPED
    seq = again.entries[KEY].seq
    back = advance(again, b.record(101, Amended(seq=seq, reason="it was the right rail")))
    assert back.standing(back.item(*KEY)) is Standing.PASSED


def test_it_is_neither_answered_nor_typed_nor_amended_into_either() -> None:
    result = folded(*LIVE, *LOADED, Skipped(step=KEY[0], subject=KEY[1], reason=""))
    seq = result.entries[KEY].seq
    for event in (
        b.passed(*KEY),
        b.reading(*KEY),
        Amended(seq=seq, reason="x", answer=b.passed(*KEY)),
        Amended(seq=seq, reason="x", reading=b.reading(*KEY)),
    ):
        assert refusal(result, event).gate == "kind"


def test_a_repair_makes_it_due_again_and_an_old_file_does_not_count_for_the_new_state() -> None:
    safe = folded(*LIVE, *LOADED, captured(), *SAFE)
    assert safe.standing(safe.item(*KEY)) is Standing.PASSED
    mended = advance(safe, b.record(99, Repaired(what="reservoir replaced")))
    assert mended.standing(mended.item(*KEY)) is Standing.STALE
    assert refusal(mended, captured()).gate == "not-live"


def test_a_file_saved_while_it_was_live_is_attached_afterwards(tmp_path: Path) -> None:
    for events in ([], SAFE[:1], SAFE, [*SAFE, CaseOpened()]):
        result = folded(*LIVE, *LOADED, *events)
        admit(result, captured())
        if events:
            with pytest.raises(Refused) as caught:
                require_now(result, *KEY, "")
            assert caught.value.gate == "not-live"
        else:
            require_now(result, *KEY, "")
    halted = folded(*LIVE, *LOADED, b.failed("lamp"))
    assert halted.phase is Phase.HALTED
    admit(halted, captured())
    with pytest.raises(Refused):
        require_now(halted, *KEY, "")


def test_live_it_waits_for_its_turn_and_its_cautions() -> None:
    assert refusal(folded(*LIVE, *LOADED[:3]), captured()).gate == "caution"
    assert refusal(folded(*LIVE, LOADED[3]), captured()).gate == "order"
    assert refusal(folded(*LIVE, *LOADED[:3], *SAFE), captured()).gate == "caution"


@pytest.mark.parametrize("fields", [{"samples": 1}, {"interval_s": 0.0}, {"interval_s": float("nan")}])
def test_a_record_without_a_waveform_in_it_is_refused(fields: dict[str, float]) -> None:
    event = msgspec.structs.replace(captured(), **fields)
    assert refusal(folded(*LIVE, *LOADED), event).gate == "capture"


def test_an_optional_waveform_is_offered_and_does_not_stand_in_the_way() -> None:
    sweep = [b.reading("load-points.output", f"+15 @ {share} %", "15") for share in (0, 50, 100)]
    result = folded(*LIVE, *LOADED, *sweep)
    following = guidance(result)
    assert following.item is not None
    assert following.item.key == KEY
    assert guidance(advance(result, b.record(99, captured()))).move == "switch-off"


moves: st.SearchStrategy[Event] = st.sampled_from(
    [
        captured(),
        captured(),
        captured("output", "+15"),
        Skipped(step=KEY[0], subject=KEY[1], reason="x"),
        b.passed("lamp"),
        b.failed("lamp"),
        b.reading("earth", "case"),
        b.reading("earth", "case", verdict="fail"),
        b.reading("output", "+15", "15"),
        b.reading("output", "+15", "40", verdict="fail", stop=True),
        Acknowledged(stage="no-load"),
        Acknowledged(stage="loaded"),
        Energised(),
        SwitchedOff(),
        *SAFE[1:],
        CaseOpened(),
        CaseShut(),
        Repaired(what="x"),
        *LIVE[:8],
    ]
)
starts = st.sampled_from([[], LIVE, [*LIVE, *LOADED], [*LIVE, *LOADED, *SAFE]])


@settings(max_examples=300, deadline=None)
@given(starts, st.lists(moves, max_size=40))
def test_no_sequence_of_events_records_a_waveform_of_a_unit_that_was_not_live_as_it_is(
    start: list[Event], events: list[Event]
) -> None:
    current = b.folded(b.opened(PROCEDURE))
    live_since = repaired = taken = skipped = -1
    for seq, event in enumerate([*start, *events], start=1):
        before = current
        current = advance(current, b.record(seq, event))
        if len(current.violations) > len(before.violations):
            assert current.captures == before.captures
            assert current.phase is before.phase
            continue
        match event:
            case Energised():
                live_since = seq
            case Repaired():
                repaired = seq
            case Captured():
                assert live_since > repaired
                assert current.entries == before.entries  # it is no answer to anything
                assert current.phase is before.phase
                taken = seq if (event.step, event.subject) == KEY else taken
            case Skipped():
                skipped = seq
        passed = current.standing(current.item(*KEY)) is Standing.PASSED
        assert passed == (taken >= 0 and taken > max(skipped, repaired))
        assert not any(
            isinstance(entry.event, Reading) for key, entry in current.entries.items() if key == KEY
        )


# A waveform attached by mistake


OTHER = Waveform(values=(10.0, 11.5, 10.5, 11.0), unit="V", interval_s=1e-4, source="right.csv, CH1")


def test_a_waveform_withdrawn_stays_on_record_with_its_file_and_is_no_longer_used(tmp_path: Path) -> None:
    with begin(tmp_path) as live:
        event = attach(live, WAVE, *KEY)
        seq = live.state.last_seq
        live.withdraw(seq, "of another rail")
        path = live.journal.path
        assert live.state.standing(live.state.item(*KEY)) is Standing.NOT_DONE
        assert waveforms(live.state, path.parent).kept == ()
        assert [(gone, why) for _, gone, why in live.state.withdrawn] == [(event, "of another rail")]
    again = state(read(path))
    assert again.violations == ()
    assert again.captures == {}
    assert bulk_state(read(path)).captures == {}
    assert verify(path).intact
    assert path.with_name(event.file).exists()
    path.with_name(event.file).write_bytes(b"changed")
    assert not verify(path).intact  # still guarded by its hash


def test_the_right_one_attached_before_the_wrong_one_is_withdrawn_counts(tmp_path: Path) -> None:
    with begin(tmp_path) as live:
        attach(live, WAVE, *KEY)
        wrong = live.state.last_seq
        attach(live, OTHER, *KEY)
        live.withdraw(wrong, "the wrong file")
        assert live.state.standing(live.state.item(*KEY)) is Standing.PASSED
        (kept,) = waveforms(live.state, live.journal.path.parent).kept
        assert list(kept.samples) == list(OTHER.values)


@pytest.mark.parametrize(
    ("make", "gate"),
    [
        (lambda seq: Amended(seq=seq, reason=" "), "reason"),
        (lambda seq: Amended(seq=seq, reason="x", answer=b.passed(*KEY)), "kind"),
        (lambda seq: Amended(seq=seq - 1, reason="x"), "amend"),
    ],
)
def test_what_takes_no_waveform_back(make: Callable[[int], Amended], gate: str) -> None:
    taken = folded(*LIVE, *LOADED, captured())
    assert refusal(taken, make(taken.last_seq)).gate == gate
    once = Amended(seq=taken.last_seq, reason="wrong file")
    after = folded(*LIVE, *LOADED, captured(), once)
    assert refusal(after, once).gate == "amend"  # it is withdrawn already


def test_answers_files_withdraw_the_latest(tmp_path: Path) -> None:
    header = "step,subject,value,meter,note\n"
    row = f"withdraw-waveform,{KEY[0]} / {KEY[1]},,,the wrong file\n"
    with begin(tmp_path) as live:
        with pytest.raises(RowRefused, match="no waveform there"):
            play(live, parse_answers(header + row, "rows"), "rows")
        attach(live, WAVE, *KEY)
        play(live, parse_answers(header + row, "rows"), "rows")
        assert live.state.captures == {}


@pytest.mark.parametrize(
    ("lines", "left"),
    [
        (("amend", "2", "the wrong rail"), []),
        (("amend", "1", "the wrong rail", "{file}"), [21.0, 22.0, 21.5]),
        (("amend", "1", "the wrong rail", "nowhere.csv"), list(WAVE.values)),
    ],
)
def test_it_is_amended_line_by_line(tmp_path: Path, lines: tuple[str, ...], left: list[float]) -> None:
    right = tmp_path / "right.csv"
    right.write_text("time,volts\n0,21.0\n0.001,22.0\n0.002,21.5\n", encoding="utf-8")
    with begin(tmp_path) as live:
        attach(live, WAVE, *KEY)
        path = live.journal.path
    typed = [line.format(file=right) for line in lines]
    said = words(held(tmp_path, path, "jump waveform", *typed, resumed=False))
    assert "waveform from scope.csv, CH1" in said
    kept = waveforms(state(read(path)), path.parent).kept
    assert [value for each in kept for value in each.samples] == left
