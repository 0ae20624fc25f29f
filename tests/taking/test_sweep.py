"""Load sweeps of a run over PyVISA: what is recorded, what stops one, and the load off whatever happens."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.bench.sweep import SweepEnded
from ohmward.desk.going_words import sweep_lines
from ohmward.errors import InputError, Refused, Unreachable
from ohmward.logbook import read, verify
from ohmward.logbook.events import Noted, Reading
from ohmward.run.blockers import energise_blockers
from ohmward.run.state import Phase, Standing
from ohmward.taking.hands import ToDo
from ohmward.taking.load_sweep import SweepStep, run_sweep
from ohmward.taking.planning import plan_sweep
from support.taking import RAIL, SMALL_SINK, TO_LOADED, TO_SOAK, Job, job, nameless, procedure, without


def notes(it: Job) -> list[str]:
    return [each.text for each in it.events(Noted) if isinstance(each, Noted)]


def readings(it: Job, step: str = "load-points.output") -> dict[str, Reading]:
    found = [each for each in it.events(Reading) if isinstance(each, Reading)]
    return {each.subject: each for each in found if each.step == step and each.replies}


def test_each_point_is_recorded_at_once_and_settled_with_what_the_load_drew(tmp_path: Path) -> None:
    with job(tmp_path) as it:
        ended = it.sweep()
        assert ended == SweepEnded(complete=True, why="all points taken", load_off=True)
        outputs, mains = readings(it), readings(it, "load-points.mains")
        assert list(outputs) == [f"+15 @ {each} %" for each in (0, 50, 100)]
        assert list(mains) == list(outputs)
        for subject, amps in (("+15 @ 0 %", None), ("+15 @ 50 %", 0.6), ("+15 @ 100 %", 1.2)):
            found = outputs[subject]
            assert found.immediate is not None
            assert found.count == 5
            assert len(found.replies) == 5
            if amps is None:
                assert found.drawn is None
            else:
                assert found.drawn is not None
                assert found.drawn.si == pytest.approx(amps, rel=0.01)  # the load's own accuracy
        assert it.load_a == 0
        assert [each.done for each in it.swept][-1] == 3
        assert it.swept[-1].ended == ended
        assert notes(it)[-1] == "Load points, +15: ended: all points taken."
        # probes are put once: the multimeter and the power meter stay where they are
        assert [each.words for each in it.hands.asked] == [
            ("Put 'multimeter' on the output of +15.", "Put 'mains-meter' on the mains.")
        ]
        path = it.live.journal.path
    assert verify(path).intact


def test_a_rail_past_its_stop_limit_halts_the_run_with_the_load_off_before_the_record(tmp_path: Path) -> None:
    low = procedure(output_low="15.01 V")  # the output resistance takes it below between 50 % and 100 %
    with job(tmp_path, text=low) as it:
        it.watch()
        ended = it.sweep()
        assert isinstance(ended, SweepEnded)
        assert "below the stop limit of 15.01 V" in ended.why
        assert ended.load_off
        past = readings(it)["+15 @ 100 %"]
        assert past.judged.past_stop
        assert past.value.si < 15.01
        assert it.live.state.phase is Phase.HALTED
        drawn = {e.subject: amps for e, amps in it.drawn if isinstance(e, Reading) and "output" in e.step}
        assert drawn["+15 @ 50 %"] > 0
        assert drawn["+15 @ 100 %"] == 0


def test_a_stop_limit_is_seen_while_the_load_dwells(tmp_path: Path) -> None:
    with job(tmp_path, text=procedure(output_low="14.5 V")) as it:
        waits: list[float] = []

        def tick(seconds: float) -> None:
            waits.append(seconds)
            if it.load_a > 1.0 and len(waits) > 30:
                it.bench.unit.set_mains(170.0)  # the regulator has not enough left

        it.hands.tick = tick
        ended = it.sweep(dwell_s=300.0)
        assert isinstance(ended, SweepEnded)
        assert "below the stop limit of 14.5 V" in ended.why
        assert len(waits) < 3 * 60  # not at the end of the dwell
        assert readings(it)["+15 @ 100 %"].judged.past_stop
        assert it.live.state.phase is Phase.HALTED
        assert it.load_a == 0


def test_without_an_electronic_load_the_person_sets_each_and_takes_it_off(tmp_path: Path) -> None:
    with job(tmp_path, meters=without("load +15")) as it:
        ended = it.sweep(dwell_s=1.0)
        assert isinstance(ended, SweepEnded)
        assert ended.complete
        assert [dict(each.loads) for each in it.hands.asked if each.loads] == [
            {RAIL: 0.6}, {RAIL: 1.2}, {RAIL: 0.0},
        ]  # fmt: skip
        assert it.hands.asked[-1].words == ("Take the load off +15.",)
        assert it.load_a == 0
        assert len(readings(it)) == 3


def test_a_load_set_by_hand_is_asked_for_after_what_was_read_is_on_the_disk(tmp_path: Path) -> None:
    with job(tmp_path, meters=without("load +15"), text=procedure(output_low="15.01 V")) as it:
        halted: list[bool] = []

        def willing(wanted: ToDo) -> bool:
            if wanted.loads.get(RAIL) == 0.0:
                halted.append(it.live.state.phase is Phase.HALTED)
                return False
            return True

        it.hands.willing = willing
        ended = it.sweep(dwell_s=1.0)
        assert halted == [True]
        assert isinstance(ended, SweepEnded)
        assert not ended.load_off
        assert "A LOAD MAY STILL BE ON" in notes(it)[-1]


def test_a_person_who_gives_up_keeps_what_was_read(tmp_path: Path) -> None:
    with job(tmp_path, meters=without("load +15")) as it:
        it.hands.willing = lambda wanted: wanted.loads.get(RAIL) != 1.2
        ended = it.sweep(dwell_s=1.0)
        assert isinstance(ended, SweepEnded)
        assert not ended.complete
        assert ended.load_off  # the 50 % was taken off again
        assert list(readings(it)) == ["+15 @ 0 %", "+15 @ 50 %"]
        assert it.load_a == 0


def test_switching_mains_off_ends_it_and_says_why(tmp_path: Path) -> None:
    with job(tmp_path) as it:

        def heard(step: SweepStep) -> None:
            it.swept.append(step)
            if "50 %: Load points, output" in step.words:
                it.live.switch_off("smell")

        ended = it.sweep(heard)
        assert ended == SweepEnded(complete=False, why="the run is off", load_off=True)
        assert it.load_a == 0
        assert list(readings(it)) == ["+15 @ 0 %", "+15 @ 50 %"]


def test_a_reading_under_way_when_mains_goes_off_stands_as_a_note(tmp_path: Path) -> None:
    with job(tmp_path) as it:
        done: list[float] = []

        def tick(_: float) -> None:
            if it.load_a > 1.0 and not done:
                done.append(it.load_a)
                it.live.switch_off("pulled")

        it.hands.tick = tick
        ended = it.sweep()
        assert isinstance(ended, SweepEnded)
        assert ended.why == "the run is off"
        assert it.load_a == 0
        assert list(readings(it)) == ["+15 @ 0 %", "+15 @ 50 %"]
        assert any("the run is off" in text for text in notes(it))


@pytest.mark.parametrize("where", ["heard", "hands"])
def test_whatever_breaks_it_off_the_load_is_off_and_the_error_said(where: str, tmp_path: Path) -> None:
    with job(tmp_path) as it:
        seen: list[float] = []

        def broken(step: SweepStep) -> None:
            if where == "heard" and "50 %: Load points, output" in step.words:
                seen.append(it.load_a)
                raise ZeroDivisionError("nobody thought of it")

        def tick(_: float) -> None:
            if where == "hands" and it.load_a > 0:
                seen.append(it.load_a)
                raise ZeroDivisionError("nobody thought of it")

        it.hands.tick = tick
        with pytest.raises(ZeroDivisionError):
            it.sweep(broken)
        assert seen
        assert seen[0] > 0
        assert it.load_a == 0
        assert notes(it)[-1] == "Load points, +15: ended: it was broken off."


def test_a_disk_that_is_full_ends_it_with_the_load_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from ohmward.logbook import disk

    with job(tmp_path) as it:
        kept = disk.append
        drawn: list[float] = []

        def full(descriptor: int, data: bytes) -> None:
            if b"+15 @ 100 %" in data:
                drawn.append(it.load_a)
                raise OSError(28, "No space left on device")
            kept(descriptor, data)

        monkeypatch.setattr(disk, "append", full)
        with pytest.raises(Unreachable, match="No space left"):
            it.sweep()
        assert drawn
        assert drawn[0] > 0
        assert it.load_a == 0
        acknowledged = it.live.journal.records
        path = it.live.journal.path
        monkeypatch.undo()
    assert read(path) == acknowledged
    assert list(readings(it)) == ["+15 @ 0 %", "+15 @ 50 %"]


def test_a_meter_that_goes_loses_its_points_and_the_attempts_are_shown(tmp_path: Path) -> None:
    with job(tmp_path) as it:

        def heard(step: SweepStep) -> None:
            if "50 %: setting" in step.words:
                it.unplug("multimeter")
            if "100 %: setting" in step.words:
                it.plug_in("multimeter")

        ended = it.sweep(heard)
        assert isinstance(ended, SweepEnded)
        assert ended.why == "1 of 3 points were lost"
        assert list(readings(it)) == ["+15 @ 0 %", "+15 @ 100 %"]
        assert sum("attempt failed" in text for text in notes(it)) >= 3
        assert any("+15 @ 50 %: not read" in text for text in notes(it))
        assert it.load_a == 0


def test_a_meter_of_the_simulated_bench_is_refused_in_a_run_that_is_no_rehearsal(tmp_path: Path) -> None:
    with job(tmp_path, meters=nameless, simulated=False) as it:
        it.watch()
        ended = it.sweep()
        assert isinstance(ended, SweepEnded)
        assert "not a rehearsal" in ended.why
        assert max(amps for _, amps in it.drawn) == 0  # not even for a moment
        assert readings(it) == {}
        assert any("not taken" in text and "simulated bench" in text for text in notes(it))
        assert it.load_a == 0


def test_a_sweep_that_the_gates_refuse_switches_nothing_on(tmp_path: Path) -> None:
    with job(tmp_path, TO_SOAK) as it:
        it.live.switch_off()
        it.watch()
        with pytest.raises(Refused, match="mains"):
            it.sweep()
        assert it.drawn == []
        assert it.hands.asked == []


def test_a_load_that_draws_far_more_than_it_was_set_to_ends_the_sweep(tmp_path: Path) -> None:
    with job(tmp_path, text=procedure()) as it:
        told = it.bench.unit.set_load

        def runs_away(rail: str, amps: float) -> None:
            told(rail, 2.0 if amps > 1.0 else amps)

        it.bench.unit.set_load = runs_away  # type: ignore[method-assign]
        ended = it.sweep()
        assert isinstance(ended, SweepEnded)
        assert "current drawn by the load reads" in ended.why
        assert ended.load_off


def past_stops(it: Job) -> list[Reading]:
    return [e for e in it.events(Reading) if isinstance(e, Reading) and e.judged.past_stop]


def test_a_heat_sink_past_its_stop_ends_the_sweep_with_the_load_off_and_halts_the_run(tmp_path: Path) -> None:
    # some 10 W into 12 K/W with 12 min: it would get far past 50 °C in the dwells of ten minutes
    early = TO_LOADED.replace("acknowledge,soak,,,\n", "")  # the soak is not even come to
    with job(tmp_path, early, sheet=SMALL_SINK, text=procedure(sink_high="50 °C")) as it:
        it.watch()
        ended = it.sweep(dwell_s=600.0)
        assert isinstance(ended, SweepEnded)
        assert ended.why.startswith("heat sink +15 reads 5")
        assert "above the stop limit of 50 °C" in ended.why
        assert ended.load_off
        (past,) = past_stops(it)
        assert (past.step, past.subject, past.meter) == (
            "soak", "heat sink +15 @ 0 min", "sensor heat sink +15",
        )  # fmt: skip
        assert past.value.si == pytest.approx(50.0, abs=2.0)  # seen as it passed, not at the dwell's end
        assert past.note.startswith("read in 'Load points, +15', +15 @ ")
        assert it.live.state.phase is Phase.HALTED
        assert [amps for event, amps in it.drawn if event is past] == [0.0]
        assert any("warmest: heat sink +15 5" in text for text in notes(it))


def test_after_a_halt_for_heat_mains_stays_off_until_a_repair_and_the_soak_is_due(tmp_path: Path) -> None:
    with job(tmp_path, sheet=SMALL_SINK, text=procedure(sink_high="50 °C")) as it:
        it.sweep(dwell_s=600.0)
        it.live.switch_off()
        assert [each for each in energise_blockers(it.live.state) if "past its stop limit" in each]
        hot = it.live.state.item("soak", "heat sink +15 @ 0 min")
        assert it.live.state.standing(hot) is Standing.FAILED


def test_a_sink_that_stays_cool_lets_the_sweep_go_on_and_is_noted(tmp_path: Path) -> None:
    with job(tmp_path) as it:
        with it.meters.inventory() as inventory:
            planned = plan_sweep(it.live.state, it.item("load-points"), inventory)
        assert sorted(planned.guards.names) == ["heat sink +15", "transformer"]
        assert planned.guards.left == ()
        assert {s.meter for s in planned.guards.sensors} == {"sensor heat sink +15", "sensor transformer T1"}
        said = " ".join(sweep_lines(planned))
        assert "heat sink +15 to 100 °C" in said
        assert "NOT WATCHED" not in said
        assert it.sweep() == SweepEnded(complete=True, why="all points taken", load_off=True)
        assert past_stops(it) == []
        (warm,) = [text for text in notes(it) if "warmest" in text]
        assert "heat sink +15" in warm
        assert "transformer" in warm


def test_what_no_thermometer_watches_is_said_before_it_begins(tmp_path: Path) -> None:
    with job(tmp_path, meters=no_thermometers) as it, it.meters.inventory() as inventory:
        planned = plan_sweep(it.live.state, it.item("load-points"), inventory)
        assert planned.guards.sensors == ()
        said = sweep_lines(planned)
        assert said[-1] == "NOT WATCHED, no thermometer at hand is there: heat sink +15, transformer."


def test_one_thermometer_that_can_be_moved_is_put_on_the_heat_sink(tmp_path: Path) -> None:
    with job(tmp_path, meters=only_the_free_thermometer) as it:
        with it.meters.inventory() as inventory:
            planned = plan_sweep(it.live.state, it.item("load-points"), inventory)
        assert [(s.name, s.meter) for s in planned.guards.sensors] == [("heat sink +15", "thermometer")]
        assert planned.guards.left == ("transformer",)
        it.sweep(dwell_s=1.0)
        assert [w for each in it.hands.asked for w in each.words if "thermometer" in w] == [
            "Put 'thermometer' on heat sink +15."
        ]


def test_a_thermometer_that_goes_ends_the_sweep_with_the_load_off(tmp_path: Path) -> None:
    with job(tmp_path) as it:

        def heard(step: SweepStep) -> None:
            if "100 %: setting" in step.words:
                it.unplug("thermometer")

        ended = it.sweep(heard, dwell_s=1.0)
        assert isinstance(ended, SweepEnded)
        assert "gave no reading: nothing guards it" in ended.why
        assert ended.load_off
        assert it.load_a == 0
        assert list(readings(it)) == ["+15 @ 0 %", "+15 @ 50 %"]


def only_the_free_thermometer(text: str) -> str:
    head, *blocks = text.split("\n[[meter]]\n")
    return "\n[[meter]]\n".join([head, *(block for block in blocks if 'name = "sensor ' not in block)])


def no_thermometers(text: str) -> str:
    return without("thermometer")(only_the_free_thermometer(text))


@pytest.mark.parametrize("kind", ["sweep", "soak"])
def test_a_load_that_could_be_another_by_its_entry_is_not_driven(kind: str, tmp_path: Path) -> None:
    def twice(text: str) -> str:
        entry = next(each for each in text.split("[[meter]]") if 'name = "load +15"' in each)
        second = entry.split("[[meter.accuracy]]")[0].replace('"load +15"', '"other load"')
        return f'{text}\n[[meter]]\n{second}\nchannel = "2"\n'

    with job(tmp_path, TO_SOAK if kind == "soak" else TO_LOADED, meters=twice) as it:
        with pytest.raises(InputError, match="also that of 'other load'"):
            it.soak() if kind == "soak" else it.sweep()
        assert it.load_a == 0
        assert readings(it) == {}


RESERVOIR = (
    '{ name = "reservoir", quantity = "reservoir_v", unit = "V", meter = "multimeter", required = false }'
)


def test_what_no_meter_was_free_for_is_read_afterwards_in_a_sweep_of_its_own(tmp_path: Path) -> None:
    text = procedure().replace("reads = [{", f"reads = [{RESERVOIR}, {{", 1)
    with job(tmp_path, text=text) as it:
        it.sweep(dwell_s=5.0)
        assert len(readings(it)) > 1
        assert readings(it, "load-points.reservoir") == {}
        output, item = (
            next(each for each in it.live.state.items if each.step == f"load-points.{name}")
            for name in ("output", "reservoir")
        )
        with it.meters.inventory() as inventory:
            again = plan_sweep(it.live.state, output, inventory)
            assert {r.item.step for r in again.points[0].readers} >= {"load-points.output"}
            plan = plan_sweep(it.live.state, item, inventory, dwell_s=5.0)
            assert plan.left == ()
            run_sweep(it.live, plan, inventory, it.hands, stop=it.stop, heard=it.swept.append)
        found = readings(it, "load-points.reservoir")
        assert set(found) == set(readings(it))
        low = min(each.value.si for each in found.values())
        assert low > max(each.value.si for each in readings(it).values())  # before the regulator
        assert it.load_a == 0


def test_output_reservoir_mains_and_current_are_read_together_where_there_are_meters_enough(
    tmp_path: Path,
) -> None:
    text = procedure().replace("reads = [{", f"reads = [{RESERVOIR}, {{", 1)
    second = '\n[[meter]]\nname = "second multimeter"\nresource = "tcp://127.0.0.1:9"\n'
    for listed, there in (("", False), (second, True)):
        logbook = tmp_path / str(there)
        logbook.mkdir()
        with (
            job(logbook, text=text, meters=lambda each, more=listed: each + more) as it,  # type: ignore[misc]
            it.meters.inventory() as inventory,
        ):
            plan = plan_sweep(it.live.state, it.item("load-points"), inventory)
            loaded = plan.points[-1]
            read = {reader.item.step.partition(".")[2]: reader.meter for reader in loaded.readers}
            assert read["mains"] == "mains-meter"
            assert {channel.name for channel in loaded.point.channels} >= {"current drawn by the load"}
            if there:
                assert {read["output"], read["reservoir"]} == {"multimeter", "second multimeter"}
            else:
                assert read["output"] == "multimeter"
                assert {item.step for item in plan.left} == {"load-points.reservoir"}
