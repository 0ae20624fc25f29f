"""Recording through the gates onto disk: typed readings, lead null, amendment, resume, answers files."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from ohmward.errors import InputError, Refused
from ohmward.logbook import create_run, open_run, read, verify
from ohmward.logbook.events import Reading
from ohmward.quantity import QuantityError
from ohmward.run import AskAgain, LiveRun, Phase, guidance, state
from ohmward.run.answers import RowRefused, parse_answers, play
from ohmward.run.start import start
from ohmward.run.state import Standing
from support import bench as b

METERS = """
[[meter]]
name = "low-ohm"
kind = "low-ohm"
[[meter.accuracy]]
function = "low ohms"
range = "2 Ω"
resolution = "1 mΩ"
accuracy = "2 % + 2"
"""


@pytest.fixture
def live(tmp_path: Path) -> LiveRun:
    journal = create_run(tmp_path, tag="CR-07", procedure_name="short", opened=b.opened())
    return LiveRun(journal)


def judged_of(live: LiveRun, step: str, subject: str = "") -> Reading:
    event = live.state.entries[step, subject].event
    assert isinstance(event, Reading)
    return event


def to_earth(live: LiveRun) -> None:
    for step in ("plug", "label", "vents"):
        live.answer(step, "", "pass")
    live.shut_case()


def test_an_earth_reading_without_a_lead_null_is_refused_and_with_one_it_is_subtracted(live: LiveRun) -> None:
    to_earth(live)
    with pytest.raises(Refused) as caught:
        live.read("earth", "case", "0.25")
    assert caught.value.gate == "no-null"
    live.read("lead-null", "", "0R20")
    live.read("earth", "case", "0.25")
    judged = judged_of(live, "earth", "case").judged
    assert judged.net == pytest.approx(0.05)
    # 0.1 Ω + 2 m of 0.75 mm² class 5 at 20 °C = 0.152 Ω: REFERENCES of IEC 60228 and '0.1 + R'.
    assert judged.limit_high == pytest.approx(0.152, abs=1e-6)
    assert live.state.standing(live.state.item("earth", "case")) is Standing.PASSED


def test_an_earth_reading_on_a_lead_null_that_failed_is_refused(live: LiveRun) -> None:
    to_earth(live)
    live.read("lead-null", "", "1.9")  # more than 1 Ω of leads is bad leads: common practice, no source
    assert live.state.standing(live.state.item("lead-null")) is Standing.FAILED
    with pytest.raises(Refused) as caught:
        live.read("earth", "case", "1.95")
    assert caught.value.gate == "no-null"


def test_an_unlikely_entry_is_asked_about_before_it_is_taken(live: LiveRun) -> None:
    to_earth(live)
    live.read("lead-null", "", "0.2")
    live.read("earth", "case", "0.25")
    live.read("earth", "front panel", "0.25")
    with pytest.raises(AskAgain, match="MΩ"):
        live.read("insulation", "", "0.2")
    assert ("insulation", "") not in live.state.entries
    live.read("insulation", "", "0.2", confirmed=True)
    assert live.state.standing(live.state.item("insulation")) is Standing.FAILED
    live.read("insulation", "", ">200M")
    assert live.state.standing(live.state.item("insulation")) is Standing.PASSED


def test_a_wrong_unit_is_refused_and_nothing_is_recorded(live: LiveRun) -> None:
    count = len(live.journal.records)
    with pytest.raises(QuantityError):
        live.read("lead-null", "", "0.2 V")
    with pytest.raises(Refused):
        live.read("plug", "", "3")
    with pytest.raises(Refused):
        live.answer("lead-null", "", "pass")
    assert len(live.journal.records) == count


def test_the_state_is_the_fold_of_what_is_on_disk(live: LiveRun) -> None:
    to_earth(live)
    live.read("lead-null", "", "0.2")
    assert state(read(live.journal.path)) == live.state


def test_an_amendment_keeps_the_old_record_and_replaces_the_present_entry(live: LiveRun) -> None:
    to_earth(live)
    live.read("lead-null", "", "0.2")
    live.read("earth", "case", "2.5")
    seq = live.state.entries["earth", "case"].seq
    live.amend_reading(seq, "0.25", "slip of the decimal point")
    assert judged_of(live, "earth", "case").value.raw == "0.25"
    assert live.state.entries["earth", "case"].amended == "slip of the decimal point"
    first = next(record for record in read(live.journal.path) if record.seq == seq)
    assert isinstance(first.event, Reading)
    assert first.event.value.raw == "2.5"


def test_resuming_after_the_file_is_let_go_goes_on_where_it_was(live: LiveRun) -> None:
    to_earth(live)
    live.read("lead-null", "", "0.2")
    before = guidance(live.state)
    live.close_file()
    with LiveRun(open_run(live.journal.path)) as again:
        again.resume("bench B", "ohmward test")
        assert guidance(again.state) == before
        again.read("earth", "case", "0.25")
    assert verify(live.journal.path).intact


WHOLE = """step,subject,value,meter,note
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
output,+15,15.02,,
acknowledge,loaded,,,
load-points.output,+15 @ 0 %,15.02,,
load-points.output,+15 @ 50 %,15.01,,
load-points.output,+15 @ 100 %,15.00,,
switched-off,,,,
unplugged,,pass,,
residual,+15,0.3,,
close,,,,
"""


def test_an_answers_file_takes_a_run_from_start_to_close(live: LiveRun) -> None:
    assert play(live, parse_answers(WHOLE, "whole.csv"), "whole.csv") == len(WHOLE.splitlines()) - 1
    assert live.state.phase is Phase.CLOSED
    live.close_file()
    result = verify(live.journal.path)
    assert result.intact
    assert result.closed


def test_following_the_guidance_alone_brings_a_run_to_its_end(live: LiveRun) -> None:
    values = {"lead-null": "0.2", "earth": "0.25", "insulation": ">200M", "mains": "231", "residual": "0.2"}
    for _ in range(60):
        move = guidance(live.state)
        if move.move == "item":
            assert move.item is not None
            if move.item.read is None:
                live.answer(*move.item.key, "pass")
            else:
                live.read(*move.item.key, values.get(move.item.step, "15"))
            continue
        acts: dict[str, Callable[[], object]] = {
            "shut-case": live.shut_case,
            "acknowledge": partial(live.acknowledge, move.stage),
            "energise": live.energise,
            "switch-off": live.switch_off,
            "close": live.close_run,
        }
        act = acts.get(move.move)
        if act is None:
            break
        act()
    assert live.state.phase is Phase.CLOSED


@pytest.mark.parametrize("left_out", range(1, len(WHOLE.splitlines()) - 1))
def test_an_answers_file_with_a_needed_row_left_out_stops_before_the_end(
    left_out: int, live: LiveRun
) -> None:
    lines = WHOLE.splitlines(keepends=True)
    gone = lines.pop(left_out).split(",")[0]
    rows = parse_answers("".join(lines), "short.csv")
    if gone == "load-points.output":  # the last live stage: nothing later stands on it
        play(live, rows, "short.csv")
        return
    with pytest.raises(RowRefused) as caught:
        play(live, rows, "short.csv")
    refused = caught.value
    assert f"line {refused.line}" in str(refused)
    # Everything before the refused row is on disk, nothing of it.
    assert len(live.journal.records) == 1 + refused.recorded


def test_the_same_rows_fail_at_the_earth_when_it_is_not_good(live: LiveRun) -> None:
    bad = WHOLE.replace("earth,case,0.25", "earth,case,0.9")
    with pytest.raises(RowRefused) as caught:
        play(live, parse_answers(bad, "bad.csv"), "bad.csv")
    assert "earth" in str(caught.value).lower()
    assert live.state.phase is Phase.DEAD


def test_start_refuses_a_procedure_the_gates_could_not_guard(tmp_path: Path) -> None:
    sheet, procedure = tmp_path / "CR-07.toml", tmp_path / "bad.toml"
    sheet.write_text(b.SHEET, encoding="utf-8")
    procedure.write_text(b.PROCEDURE.replace("proves_earth = true\n", ""), encoding="utf-8")
    with pytest.raises(InputError, match="earth"):
        start(tmp_path, sheet, operator="bench A", tool="t", procedure=str(procedure))
    without = b.PROCEDURE[: b.PROCEDURE.index('[[stage]]\nname = "make-safe"')]
    procedure.write_text(without, encoding="utf-8")
    with pytest.raises(InputError, match="make-safe"):
        start(tmp_path, sheet, operator="bench A", tool="t", procedure=str(procedure))
    assert not (tmp_path / "runs").exists()


def test_start_embeds_sheet_procedure_limits_and_meters_as_written(tmp_path: Path) -> None:
    sheet, procedure = tmp_path / "CR-07.toml", tmp_path / "short.toml"
    sheet.write_text(b.SHEET, encoding="utf-8")
    procedure.write_text(b.PROCEDURE, encoding="utf-8")
    (tmp_path / "meters.toml").write_text(METERS, encoding="utf-8")
    path = start(tmp_path, sheet, operator="bench A", tool="t", procedure=str(procedure))
    opened = read(path)[0].event
    assert (opened.sheet, opened.procedure, opened.meters) == (b.SHEET, b.PROCEDURE, METERS)  # type: ignore[union-attr]
    with LiveRun(open_run(path)) as live:
        to_earth(live)
        live.read("lead-null", "", "0.2", meter="low-ohm")
        live.read("earth", "case", "0.25", meter="low-ohm")
        assert judged_of(live, "earth", "case").judged.uncertainty is not None
        with pytest.raises(Refused, match="low-ohm"):
            live.read("earth", "front panel", "0.25", meter="borrowed")
