"""The rehearsal: the whole way over sockets, marked as one, and safe at its end."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ohmward import demo
from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.demo.apart import METERS
from ohmward.demo.by_eye import ByEye
from ohmward.demo.playing import play_live
from ohmward.demo.told import told
from ohmward.errors import InputError
from ohmward.logbook import open_run, read, verify
from ohmward.logbook.events import Answered, Noted, Opened, Reading, SeriesRows
from ohmward.run import LiveRun, assess_state, state
from ohmward.run.start import start
from ohmward.run.state import Phase
from ohmward.shipped import folder
from ohmward.supply import load
from ohmward.taking.rehearsing import RehearsalHands
from support.reports import HEALTHY


def over_visa() -> SimulatedBench:
    return SimulatedBench(
        load(folder("demo") / "CR-07.toml"), seed=demo.SPECIMEN, speed=1.0, mains_v=demo.MAINS_V,
        room_c=demo.ROOM_C, visa=True,
    )  # fmt: skip


def test_the_whole_job_over_pyvisa_passes_measured_through_and_through(tmp_path: Path) -> None:
    bench = over_visa()
    counts: list[int] = []
    path, why = play_live(tmp_path, bench, tool="ohmward test", progress=counts.append)
    records = read(path)
    result = state(records)
    assert why == ""
    assert result.simulated
    assert result.violations == ()
    assert result.phase is Phase.CLOSED
    assert assess_state(result).verdict == "pass"
    assert verify(path).intact
    assert counts == sorted(counts)

    opened = records[0].event
    assert isinstance(opened, Opened)
    assert opened.meters.count('resource = "TCPIP0::127.0.0.1::') > 10
    readings = [each.event for each in records if isinstance(each.event, Reading)]
    typed = {each.step for each in readings if not each.replies}
    assert typed == {"humidity"}  # nothing on this bench reads it
    (held,) = [each for each in readings if each.step == "insulation"]
    assert held.test_v == 500.0
    assert held.after_s is not None
    assert held.after_s >= 60.0  # by the clock of the bench
    waited = {e.event.step: e.event.after_s for e in records if isinstance(e.event, Answered)}
    assert waited["idle-quiet"] is not None
    assert waited["idle-quiet"] >= 600.0
    assert waited["discharge-wait"] is not None
    warmest = [e.event.text for e in records if isinstance(e.event, Noted) and "warmest" in e.event.text]
    assert any("heat sink +15" in text for text in warmest)
    points = [each for each in readings if each.step == "load-points.output"]
    assert len(points) == 24  # 4 rails, 6 loads each
    assert all(each.immediate is not None for each in points)
    loaded = [each for each in points if not each.subject.endswith("@ 0 %")]
    assert all(each.drawn is not None and each.drawn.si > 0 for each in loaded)
    series = result.series["soak"]
    assert series.ended is not None
    assert series.ended.complete
    assert series.ended.load_off
    assert sum(len(e.event.rows) for e in records if isinstance(e.event, SeriesRows)) == 181  # 1 h at 20 s
    assert [bench.unit.load_a(rail) for rail in ("+15", "-15", "+48", "24")] == [0, 0, 0, 0]
    assert not bench.unit.energised
    assert not (tmp_path / "meters.toml").exists()  # a real run here would read them


def test_a_loose_earth_stops_a_rehearsal_before_anything_is_energised(tmp_path: Path) -> None:
    path, why = play_live(tmp_path, demo.bench_of(["loose-earth"]), tool="ohmward test")
    result = state(read(path))
    assert "earth" in why
    assert result.energised_seq == -1
    assert assess_state(result).verdict == "fail"


def test_a_danger_with_mains_on_ends_switched_off_and_proved_safe(tmp_path: Path) -> None:
    bench = demo.bench_of(["shorted-diode:24"])  # the lamp of the limiter stays bright
    path, why = play_live(tmp_path, bench, tool="ohmward test")
    result = state(read(path))
    assert "halted" in why
    assert result.phase is Phase.DEAD
    assert not bench.unit.energised
    assert not any(
        isinstance(each.event, Noted) and "not made safe" in each.event.text for each in read(path)
    )
    assert assess_state(result).verdict == "fail"


def test_a_rehearsal_keeps_out_of_a_logbook_with_meters_of_a_real_bench(tmp_path: Path) -> None:
    real = '[[meter]]\nname = "multimeter"\n'
    (tmp_path / "meters.toml").write_text(real, encoding="utf-8")
    with pytest.raises(InputError, match="real bench"):
        play_live(tmp_path, demo.bench_of(), tool="ohmward test")
    assert (tmp_path / "meters.toml").read_text(encoding="utf-8") == real
    assert not (tmp_path / "runs").exists()


def own_sheet(logbook: Path) -> Path:
    (logbook / "supplies").mkdir(parents=True)
    path = logbook / "supplies" / "CR-02.toml"
    path.write_text((folder("demo") / "CR-02.toml").read_text(encoding="utf-8"), encoding="utf-8")
    return path


def files_in(logbook: Path) -> list[Path]:
    return sorted(path.relative_to(logbook) for path in logbook.rglob("*") if path.is_file())


def test_a_rehearsal_leaves_a_logbook_with_a_real_run_or_sheets_of_ones_own_as_it_is(tmp_path: Path) -> None:
    sheet = own_sheet(tmp_path)
    for begin_first in (False, True):
        if begin_first:
            start(tmp_path, sheet, operator="bench A", tool="ohmward test")
        before = files_in(tmp_path)
        words = "runs on real supplies" if begin_first else "design sheets of yours"
        with pytest.raises(InputError, match=words) as refused:
            play_live(tmp_path, demo.bench_of(), tool="ohmward test")
        assert "Leave --logbook out" in str(refused.value)
        assert files_in(tmp_path) == before


def test_after_a_rehearsal_a_real_run_can_be_started_in_the_same_logbook(tmp_path: Path) -> None:
    with demo.bench_of() as bench:
        demo.begin(tmp_path, tool="ohmward test", bench=bench)
    path = start(tmp_path, own_sheet(tmp_path / "elsewhere"), operator="bench A", tool="ohmward test")
    opened = read(path)[0].event
    assert isinstance(opened, Opened)
    assert (opened.simulated, opened.meters) == (False, "")


def test_a_second_rehearsal_in_the_same_folder_gets_the_meters_of_its_own_bench(tmp_path: Path) -> None:
    for _ in range(2):
        with demo.bench_of() as bench:
            demo.begin(tmp_path, tool="ohmward test", bench=bench)
            assert (tmp_path / METERS).read_text(encoding="utf-8") == bench.meters_toml
    assert len(list((tmp_path / "runs").rglob("*.jsonl"))) == 2


@pytest.fixture
def live(tmp_path: Path) -> Iterator[LiveRun]:
    with LiveRun(open_run(demo.begin(tmp_path, tool="ohmward test"))) as run:
        yield run


def test_a_repair_on_record_mends_the_unit_on_the_bench(tmp_path: Path) -> None:
    found = []
    with demo.bench_of(["loose-earth"]) as bench:
        path = demo.begin(tmp_path, tool="ohmward test", bench=bench)
        with LiveRun(open_run(path)) as live, demo.meters_of(tmp_path, RehearsalHands(bench)) as meters:
            for repair in ("", "earth stud tightened"):
                if repair:
                    live.repaired(repair)
                measured = meters.reading_for(live.state, live.state.item("earth", "case"))
                assert measured is not None
                found.append(measured.settled.value.si)
    # the fault's size: 0.5 Ω in the earth path
    assert found[0] - found[1] == pytest.approx(0.5, abs=0.03)


def test_by_eye_answers_what_no_meter_reads_and_nothing_else(live: LiveRun) -> None:
    with demo.bench_of(["dry-interface:+15"]) as bench:
        by_eye = ByEye(RehearsalHands(bench))
        shows = {each.key: by_eye.reading_for(live.state, each) for each in live.state.items}
    assert shows["plug-body", ""] == "pass"
    assert shows["humidity", ""] == "48"
    assert shows["device-mounting", ""] == "fail"  # told by the eye alone
    assert shows["ripple-frequency", "24"] is None  # an oscilloscope shows nothing of a unit that is off
    measured = [each for each in live.state.items if each.read is not None and each.read.meter]
    assert {shows[each.key] for each in measured} == {None}


def test_the_faulty_story_is_told_over_the_wire(tmp_path: Path) -> None:
    """Half of the half cycles gone: the 24 V rail's ripple and its frequency say so."""
    with demo.bench_of(story="faulty") as bench:
        path = demo.begin(tmp_path, tool="ohmward test", bench=bench)
        hands = RehearsalHands(bench)
        with LiveRun(open_run(path)) as live:
            by_eye = ByEye(hands, "faulty")
            item = {rail: live.state.item("ripple-frequency", rail) for rail in ("+15", "24")}
            bench.unit.switch_on()
            assert [by_eye.reading_for(live.state, item[rail]) for rail in ("+15", "24")] == ["pass", "fail"]
            assert bench.unit.load_a("24") == 0


def test_a_fault_that_no_reading_shows_is_not_passed_over_in_silence() -> None:
    (line,) = told(HEALTHY, [("output-joint", "24")], load(folder("demo") / "CR-07.toml"))
    assert "The assessment does not name it: every reading is within its limit" in line
    assert "% likely, and no fault" in line
