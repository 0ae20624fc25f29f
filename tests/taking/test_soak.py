"""Soaks of a run over PyVISA: samples, points, gaps, what ends one, and the loads off whatever happens."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest

from ohmward.bench.messages import MeterFailed
from ohmward.bench.soaking import SoakEnded
from ohmward.errors import Refused, Unreachable
from ohmward.logbook import disk, read, verify
from ohmward.logbook.events import Noted, Reading, SeriesBegun, SeriesEnded, SeriesGap, SeriesRow, SeriesRows
from ohmward.run.state import Phase
from ohmward.taking.hands import ToDo
from ohmward.taking.long_soak import SoakStep
from support.taking import SMALL_SINK, TO_SOAK, Job, job, nameless, procedure, without

SINK = "heat sink +15"
SENSORS = ("room air", "transformer", SINK)
TIMES_MIN = (0, 5, 10, 20)


def rows(it: Job) -> list[SeriesRow]:
    return [row for each in it.events(SeriesRows) if isinstance(each, SeriesRows) for row in each.rows]


def gaps(it: Job) -> list[SeriesGap]:
    return [each for each in it.events(SeriesGap) if isinstance(each, SeriesGap)]


def points(it: Job) -> dict[str, Reading]:
    found = [each for each in it.events(Reading) if isinstance(each, Reading)]
    return {each.subject: each for each in found if each.step == "soak"}


def notes(it: Job) -> list[str]:
    return [each.text for each in it.events(Noted) if isinstance(each, Noted)]


def end(it: Job) -> SeriesEnded:
    found = it.events(SeriesEnded)[-1]
    assert isinstance(found, SeriesEnded)
    return found


def test_a_soak_keeps_every_sample_and_reads_its_points_at_their_times(tmp_path: Path) -> None:
    with job(tmp_path, TO_SOAK) as it:
        it.watch()
        ended = it.soak()
        assert isinstance(ended, SoakEnded)
        assert ended.complete
        assert ended.missed == 0
        taken = rows(it)
        assert [round(row.at_s / 10) for row in taken] == list(range(121))  # 20 min, every 10 s
        assert all(len(row.values) == 4 and None not in row.values for row in taken)
        assert set(points(it)) == {f"{each} @ {at} min" for each in SENSORS for at in TIMES_MIN}
        begun = it.events(SeriesBegun)[0]
        assert isinstance(begun, SeriesBegun)
        assert [each.name for each in begun.channels] == [*SENSORS, "mains"]
        assert begun.stops == tuple(f"{each}: at most 100 °C" for each in SENSORS if each != "room air")
        assert begun.loads == ("+15: 1.2 A by 'load +15'",)
        # a point says what the sample of its moment says
        names = [each.name for each in begun.channels]
        by_time = {round(row.at_s): row for row in taken}
        for subject, found in points(it).items():
            name, _, at = subject.rpartition(" @ ")
            row = by_time[60 * int(at.removesuffix(" min"))]
            assert found.value.si == row.values[names.index(name)]
            assert found.meter == {"transformer": "sensor transformer T1"}.get(name, f"sensor {name}")
        drawn = {amps for event, amps in it.drawn if isinstance(event, SeriesRows)}
        assert min(drawn) == pytest.approx(1.2, rel=0.01)
        assert it.load_a == 0
        assert end(it) == SeriesEnded(
            step="soak", at_s=ended.at_s, complete=True, why="the time is up", missed=0, load_off=True
        )
        assert it.soaked[-1].ended == ended
        assert it.soaked[-1].outlooks[SINK].now_c == pytest.approx(by_time[1200].values[2], abs=0.3)
        path = it.live.journal.path
    assert verify(path).intact


def test_a_temperature_past_its_stop_ends_it_with_the_load_off_before_the_record(tmp_path: Path) -> None:
    with job(tmp_path, TO_SOAK, sheet=SMALL_SINK, text=procedure(sink_high="35 °C")) as it:
        it.watch()
        ended = it.soak()
        assert isinstance(ended, SoakEnded)
        assert f"{SINK} reads" in ended.why
        assert "above the stop limit of 35 °C" in ended.why
        past = points(it)[f"{SINK} @ 5 min"]  # the next point of its sensor takes it
        assert past.judged.past_stop
        assert past.value.si > 35
        assert "past its stop limit" in past.note
        assert it.live.state.phase is Phase.HALTED
        drawn = {e.subject: amps for e, amps in it.drawn if isinstance(e, Reading)}
        assert drawn[f"{SINK} @ 0 min"] > 0
        assert drawn[f"{SINK} @ 5 min"] == 0
        assert end(it).load_off
        assert not end(it).complete
        assert rows(it)[-1].values[2] == past.value.si


def test_a_forecast_past_a_stop_ends_it_long_before_the_limit_is_reached(tmp_path: Path) -> None:
    with job(tmp_path, TO_SOAK, sheet=SMALL_SINK) as it:
        ended = it.soak(duration_s=3600.0)
        assert isinstance(ended, SoakEnded)
        assert f"{SINK} will pass its stop limit" in ended.why
        hottest = max(row.values[2] or 0.0 for row in rows(it))
        assert hottest < 95
        assert it.live.state.phase is Phase.LIVE  # nothing has happened yet
        assert it.load_a == 0
        assert end(it).why == ended.why


def test_switching_mains_off_ends_it_and_keeps_the_samples(tmp_path: Path) -> None:
    with job(tmp_path, TO_SOAK) as it:
        it.watch()
        others: list[threading.Thread] = []

        def heard(step: SoakStep) -> None:
            it.soaked.append(step)
            if 400 < step.at_s < 420 and not others:
                others.append(threading.Thread(target=it.live.switch_off, args=("smell",)))
                others[0].start()
                others[0].join()

        ended = it.soak(heard)
        assert isinstance(ended, SoakEnded)
        assert ended.why == "the run is off"
        assert not ended.complete
        assert it.load_a == 0
        taken = rows(it)
        assert taken[-1].at_s < 430
        assert len(taken) == len([each for each in it.soaked if each.words == "sampling"])
        assert end(it).why == "the run is off"
        assert set(points(it)) == {f"{each} @ {at} min" for each in SENSORS for at in (0, 5)}


@pytest.mark.parametrize("when", ["before", "while the person is asked"])
def test_stopped_before_it_began_no_load_goes_on_and_nothing_is_recorded(when: str, tmp_path: Path) -> None:
    with job(tmp_path, TO_SOAK) as it:
        it.watch()
        before = len(it.live.journal.records)

        def willing(_: ToDo) -> bool:
            it.stop.set()
            return True

        if when == "before":
            it.stop.set()
        else:
            it.hands.willing = willing
        with pytest.raises(MeterFailed, match="stopped"):
            it.soak()
        assert len(it.live.journal.records) == before
        assert it.load_a == 0


@pytest.mark.usefixtures("impatient")
def test_a_sensor_that_gives_nothing_to_begin_with_is_said_before_a_load_goes_on(tmp_path: Path) -> None:
    with job(tmp_path, TO_SOAK) as it:
        it.unplug("thermometer")
        it.hands.ready = lambda *_: True  # type: ignore[method-assign]
        with pytest.raises(MeterFailed):
            it.soak()
        assert it.events(SeriesBegun) == []
        assert it.load_a == 0


def test_without_an_electronic_load_the_person_is_asked_and_told_to_take_it_off(tmp_path: Path) -> None:
    with job(tmp_path, TO_SOAK, meters=without("load +15")) as it:
        ended = it.soak(duration_s=60.0)
        assert isinstance(ended, SoakEnded)
        assert ended.complete
        assert [each.words for each in it.hands.asked][1:] == [
            ("Set the load of +15 to 1.2 A (12.5 Ω, 18 W), and switch it on.",), ("Take the load off +15.",),
        ]  # fmt: skip
        assert "goes on now" not in " ".join(it.hands.asked[0].words)  # the tool has none to switch on
        assert it.load_a == 0
        assert end(it).load_off


@pytest.mark.usefixtures("impatient")
def test_a_meter_lost_for_a_while_leaves_a_gap_of_its_channel(tmp_path: Path) -> None:
    with job(tmp_path, TO_SOAK) as it:

        def tick(_: float) -> None:
            at = it.soaked[-1].at_s if it.soaked else 0.0
            if at > 100 and not hasattr(it, "gone"):
                it.gone = True  # type: ignore[attr-defined]
                it.unplug("mains-meter")
            if at > 150 and not hasattr(it, "back"):
                it.back = True  # type: ignore[attr-defined]
                it.plug_in("mains-meter")

        it.hands.tick = tick
        ended = it.soak(duration_s=300.0)
        assert isinstance(ended, SoakEnded)
        assert ended.complete
        (gap,) = gaps(it)
        assert (gap.channel, gap.interrupted) == ("mains", False)
        assert gap.from_s == pytest.approx(120, abs=11)
        assert gap.to_s == pytest.approx(170, abs=21)
        lost = [row for row in rows(it) if row.values[3] is None]
        assert ended.missed == len(lost) > 0
        assert all(None not in row.values[:3] for row in rows(it))


@pytest.mark.usefixtures("impatient")
def test_a_sensor_that_stays_silent_ends_the_soak_as_nothing_guards_its_part(tmp_path: Path) -> None:
    with job(tmp_path, TO_SOAK) as it:
        gone: list[float] = []

        def heard(step: SoakStep) -> None:
            it.soaked.append(step)
            if step.at_s > 100 and not gone:
                gone.append(step.at_s)
                it.unplug("thermometer")

        ended = it.soak(heard, interval_s=100.0)
        assert isinstance(ended, SoakEnded)
        assert ended.why.startswith("transformer gave no reading for ")  # room air has no stop to guard
        assert ended.at_s < gone[0] + 600
        assert it.load_a == 0
        assert end(it).load_off


def test_a_load_that_lost_its_connection_is_set_again_three_times_and_then_it_ends(tmp_path: Path) -> None:
    with job(tmp_path, TO_SOAK) as it:

        def heard(step: SoakStep) -> None:
            it.soaked.append(step)
            if step.words == "sampling" and round(step.at_s / 10) % 10 == 5:
                it.cut("load +15")

        ended = it.soak(heard)
        assert isinstance(ended, SoakEnded)
        assert ended.why == "a load lost its connection again and again"
        assert ended.at_s == pytest.approx(350, abs=21)  # the fourth time
        assert sum("gone off; set again" in text for text in notes(it)) == 3
        assert it.load_a == 0


@pytest.mark.parametrize("at", [0.0, 200.0])
def test_whatever_breaks_it_off_the_load_is_off_and_what_was_read_is_kept(at: float, tmp_path: Path) -> None:
    with job(tmp_path, TO_SOAK) as it:
        drawn: list[float] = []

        def broken(step: SoakStep) -> None:
            it.soaked.append(step)
            if step.at_s >= at:
                drawn.append(it.load_a)
                raise ZeroDivisionError("nobody thought of it")

        with pytest.raises(ZeroDivisionError):
            it.soak(broken)
        assert drawn[0] > 0
        assert it.load_a == 0
        assert end(it).why == "it was broken off"
        assert end(it).load_off
        assert rows(it)[-1].at_s >= at


def test_a_full_disk_ends_it_with_the_load_off_and_nothing_acknowledged_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with job(tmp_path, TO_SOAK) as it:
        kept = disk.append
        left = [60]

        def full(descriptor: int, data: bytes) -> None:
            left[0] -= 1
            if left[0] < 0:
                raise OSError(28, "No space left on device")
            kept(descriptor, data)

        monkeypatch.setattr(disk, "append", full)
        with pytest.raises(Unreachable, match="No space left"):
            it.soak()
        assert it.load_a == 0
        assert it.soaked[-1].words == "it was broken off."
        acknowledged = it.live.journal.records
        path = it.live.journal.path
        monkeypatch.undo()
    assert read(path) == acknowledged
    assert len(rows(it)) > 40


def test_fast_samples_go_to_the_journal_about_once_a_second(tmp_path: Path) -> None:
    with job(tmp_path, TO_SOAK) as it:
        began = time.monotonic()
        ended = it.soak(interval_s=0.1, duration_s=60.0)
        took_s = time.monotonic() - began
        assert isinstance(ended, SoakEnded)
        assert ended.complete
        assert len(rows(it)) == 601
        assert len(it.events(SeriesRows)) <= took_s + 2
        assert [round(row.at_s * 10) for row in rows(it)] == list(range(601))


def test_a_meter_of_the_simulated_bench_is_refused_in_a_run_that_is_no_rehearsal(tmp_path: Path) -> None:
    with job(tmp_path, TO_SOAK, meters=nameless, simulated=False) as it:
        it.watch()
        before = len(it.live.journal.records)
        with pytest.raises(Refused, match="not a rehearsal"):
            it.soak()
        assert len(it.live.journal.records) == before
        assert it.load_a == 0


def test_one_that_the_gates_refuse_switches_nothing_on(tmp_path: Path) -> None:
    with job(tmp_path, TO_SOAK) as it:
        it.live.switch_off()
        with pytest.raises(Refused, match="the supply is off"):
            it.soak()
        assert it.hands.asked == []
