"""What has to last for a time: timed by the clock of the records, said, and never passed by speed alone.

Times of the steps are those of the procedure in the test; the discharge is computed from the sheet.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import msgspec
import pytest

from ohmward.desk.card import outcome
from ohmward.desk.clocks import clock_line
from ohmward.desk.mains import dead_words
from ohmward.errors import InputError, Refused
from ohmward.logbook import create_run, read
from ohmward.logbook.events import Amended, Answered, Begun, Reading
from ohmward.procedure import loads as loads_procedure
from ohmward.procedure import source_text
from ohmward.run import AskAgain, LiveRun, assess_state, state
from ohmward.run.answers import parse_answers, play
from ohmward.run.charge import discharge_wait_s
from ohmward.run.state import Phase
from ohmward.run.timers import elapsed_s, timer
from ohmward.taking.at_hand import MetersAtHand
from ohmward.taking.timing import not_by_wall, time_by
from support import bench as b
from support.journals import HandClock
from support.plain import held, words
from support.taking import SHEET, TO_LOADED, procedure

PROCEDURE = (
    b.PROCEDURE.replace('id = "insulation"\n', 'id = "insulation"\nwait_from = "begun"\nwait = "60 s"\n')
    .replace('id = "lamp"\n', 'id = "lamp"\nwait_from = "energised"\nwait = "5 min"\n')
    .replace('id = "unplugged"\n', 'id = "unplugged"\nwait_from = "switched-off"\n')
)
STEADY = PROCEDURE.replace(
    '[[stage]]\nname = "no-load"',
    '[[stage.step]]\nid = "steady"\nkind = "check"\ntitle = "Held"\nheld_reading = "insulation"\n\n'
    '[[stage]]\nname = "no-load"',
)
TO_INSULATION = """step,subject,value,meter,note
plug,,pass,,
label,,pass,,
vents,,pass,,
case-shut,,,,
lead-null,,0.2,,
earth,case,0.25,,
earth,front panel,0.25,,
"""
TO_LIVE = TO_INSULATION + "insulation,,>200M,,\nacknowledge,no-load,,,\nenergised,,,,\n"
SERVED = """[[meter]]
name = "multimeter"
kind = "multimeter"
resource = "TCPIP::localhost::5025::SOCKET"
"""


@contextmanager
def run(
    path: Path, rows: str, *, simulated: bool = False, procedure_text: str = PROCEDURE, meters: str = ""
) -> Iterator[tuple[LiveRun, HandClock]]:
    clock = HandClock(step_s=0.0)
    opened = msgspec.structs.replace(b.opened(procedure_text, SHEET), simulated=simulated, meters=meters)
    with LiveRun(create_run(path, tag="CR-07", procedure_name="short", opened=opened, clock=clock)) as live:
        play(live, parse_answers(rows, "rows"), "rows")
        time_by(live, None)
        yield live, clock


def go_on(clock: HandClock, seconds: float) -> None:
    clock.wall += timedelta(seconds=seconds)


def phase(live: LiveRun) -> Phase:
    return live.state.phase


def last(live: LiveRun) -> object:
    return live.journal.records[-1].event


def test_a_hold_is_counted_from_its_beginning_and_a_reading_before_its_time_says_so(tmp_path: Path) -> None:
    with run(tmp_path, TO_INSULATION) as (live, clock):
        live.begin("insulation")
        go_on(clock, 12)
        item = live.state.item("insulation")
        assert clock_line(live.state, (), item, clock.wall) == "held 0:12 of 1:00"
        with pytest.raises(AskAgain, match="Only 12 s of 60 s have passed since it was begun"):
            live.read("insulation", "", ">200M")
        live.read("insulation", "", ">200M", confirmed=True)
        reading = last(live)
        assert isinstance(reading, Reading)
        assert reading.after_s == 12
        shown = outcome(live.state, item)
        assert shown is not None
        assert "taken after 12 s of 60 s" in shown.words
        summary = " ".join(assess_state(live.state).summary)
        assert re.search(r"Shortened: .*taken after 12 s of 60 s", summary)
        assert any("! " in line and "12 s of 60 s" in line for line in dead_words(live.state))
        path = live.journal.path
    after = state(read(path))
    assert after.violations == ()
    assert elapsed_s(timer(after, item), clock.wall) is None  # type: ignore[arg-type]  # that hold is over


def test_held_for_its_time_nothing_is_asked(tmp_path: Path) -> None:
    with run(tmp_path, TO_INSULATION) as (live, clock):
        live.begin("insulation")
        go_on(clock, 61)
        item = live.state.item("insulation")
        assert clock_line(live.state, (), item, clock.wall) == "held 1:01 of 1:00: over"
        live.read("insulation", "", ">200M")
        shown = outcome(live.state, item)
        assert shown is not None
        assert not any("taken after" in line for line in shown.words)


def test_a_check_of_what_was_held_too_short_passes_only_in_words_and_is_a_finding(tmp_path: Path) -> None:
    with run(tmp_path, TO_INSULATION, procedure_text=STEADY) as (live, clock):
        live.begin("insulation")
        go_on(clock, 11)
        with pytest.raises(Refused, match="was held for 11 s of 60 s"):
            live.answer("steady", "", "pass")  # before it is read
        live.read("insulation", "", ">200M", confirmed=True)
        with pytest.raises(Refused, match="was held for 11 s of 60 s") as refused:
            live.answer("steady", "", "pass")
        assert refused.value.gate == "reason"
        live.answer("steady", "", "pass", "held for a minute before, by the wall clock")
        given = last(live)
        assert isinstance(given, Answered)
        assert "held for 11 s of 60 s" in given.against
        found = assess_state(live.state)
        assert re.search(
            r"Against the readings: Held.*11 s of 60 s.*by the wall clock", " ".join(found.summary)
        )
        live.begin("insulation")
        go_on(clock, 60)
        live.read("insulation", "", ">200M")
        live.answer("steady", "", "pass")
        given = last(live)
        assert isinstance(given, Answered)
        assert given.against == ""


def test_a_check_of_what_nobody_timed_or_what_failed_asks_nothing(tmp_path: Path) -> None:
    with run(tmp_path, TO_INSULATION, procedure_text=STEADY) as (live, clock):
        live.read("insulation", "", ">200M", confirmed=True)
        live.answer("steady", "", "pass")
        live.begin("insulation")
        go_on(clock, 11)
        live.answer("steady", "", "fail", "it fell")


def test_a_check_speaks_of_an_earlier_reading_that_is_held() -> None:
    with pytest.raises(InputError, match="no earlier reading that is held has this id"):
        loads_procedure(STEADY.replace('wait_from = "begun"\nwait = "60 s"\n', ""))


def test_a_hold_that_nobody_timed_is_asked_about(tmp_path: Path) -> None:
    with run(tmp_path, TO_INSULATION) as (live, _):
        item = live.state.item("insulation")
        assert clock_line(live.state, (), item, live.journal.now()) == "hold 1:00: not begun"
        with pytest.raises(AskAgain, match=r"held for 60 s, and nobody timed that"):
            live.read("insulation", "", ">200M")
        live.read("insulation", "", ">200M", confirmed=True)
        reading = last(live)
        assert isinstance(reading, Reading)
        assert reading.after_s is None


def test_an_idle_time_answered_early_needs_words(tmp_path: Path) -> None:
    with run(tmp_path, TO_LIVE) as (live, clock):
        go_on(clock, 59)
        with pytest.raises(Refused, match="only 59 s of 300 s have passed since mains came on") as refused:
            live.answer("lamp", "", "pass")
        assert refused.value.gate == "reason"
        live.answer("lamp", "", "pass", "idle for an hour before this run")
        answer = last(live)
        assert isinstance(answer, Answered)
        assert answer.after_s == 59
        go_on(clock, 300)
        live.answer("lamp", "", "pass")  # in its time, no words


def test_what_is_waited_for_from_a_step_is_waited_for_anew_after_a_switching_off(tmp_path: Path) -> None:
    from_plug = PROCEDURE.replace('wait_from = "energised"', 'wait_from = "plug"')
    with run(tmp_path, TO_LIVE, procedure_text=from_plug) as (live, clock):
        go_on(clock, 10)
        with pytest.raises(Refused, match="only 10 s of 300 s have passed"):
            live.answer("lamp", "", "pass")


def test_a_failure_is_never_waited_for(tmp_path: Path) -> None:
    with run(tmp_path, TO_LIVE) as (live, _):
        live.answer("lamp", "", "fail")
        assert live.state.phase is Phase.HALTED


def test_the_discharge_is_not_passed_by_speed_and_the_voltage_stays_the_gate(tmp_path: Path) -> None:
    with run(tmp_path, TO_LIVE) as (live, clock):
        live.switch_off()
        wait_s = discharge_wait_s(live.state)
        assert wait_s is not None
        go_on(clock, 1)
        with pytest.raises(Refused, match=r"only 1 s of \d+ s have passed since mains went off"):
            live.answer("unplugged", "", "pass")
        live.answer("unplugged", "", "pass", "bled through 470 Ω")
        assert phase(live) is Phase.OFF  # words are no voltage
        live.read("residual", "+15", "0.3")
        assert phase(live) is Phase.DEAD


def test_an_answers_file_and_a_rehearsal_without_a_bench_are_not_timed(tmp_path: Path) -> None:
    rows = TO_LIVE + "lamp,,pass,,\n"
    with run(tmp_path / "file", rows) as (live, _):
        answers = [r.event for r in live.journal.records if isinstance(r.event, Answered)]
        assert {each.after_s for each in answers} == {None}
    with run(tmp_path / "rehearsal", TO_LIVE, simulated=True) as (live, _):
        live.answer("lamp", "", "pass")


def test_a_rehearsal_whose_meters_a_person_puts_is_timed_as_a_real_run_is(tmp_path: Path) -> None:
    """Its bench is served elsewhere and its time passes: what the header shows is what the records go by."""
    with run(tmp_path, TO_LIVE, simulated=True, meters=SERVED) as (live, clock):
        time_by(live, MetersAtHand(tmp_path))
        assert not not_by_wall(live)
        go_on(clock, 83)
        with pytest.raises(Refused, match="only 83 s of 300 s have passed since mains came on") as refused:
            live.answer("lamp", "", "pass")
        assert refused.value.gate == "reason"
        live.answer("lamp", "", "pass", "seen to be cold")
        answer = last(live)
        assert isinstance(answer, Answered)
        assert answer.after_s == 83
        shown = outcome(live.state, live.state.item("lamp"))
        assert shown is not None
        assert "taken after 83 s of 300 s" in shown.words
        live.switch_off()
        go_on(clock, 1)
        with pytest.raises(Refused, match=r"only 1 s of \d+ s have passed since mains went off"):
            live.answer("unplugged", "", "pass")
        live.answer("unplugged", "", "pass", "bled through 470 Ω")
        summary = " ".join(assess_state(live.state).summary)
        assert re.search(r"Shortened: .*taken after 83 s of 300 s \(seen to be cold\)", summary)
        assert re.search(r"Shortened: .*taken after 1 s of \d+ s \(bled through 470 Ω\)", summary)


def test_where_nothing_goes_by_the_wall_no_clock_of_it_is_shown(tmp_path: Path) -> None:
    with run(tmp_path, TO_LIVE, simulated=True) as (live, clock):
        time_by(live, MetersAtHand(tmp_path))  # no meter that could be asked: all of it is typed
        go_on(clock, 83)
        apart = not_by_wall(live)
        said = clock_line(live.state, (), live.state.item("lamp"), clock.wall, apart=apart)
        assert said == "wait 5:00: not timed in this rehearsal"
        live.switch_off()
        said = clock_line(live.state, live.journal.records, None, clock.wall, apart=apart)
        assert re.fullmatch(r"wait \d:\d\d: not timed in this rehearsal", said)
        path = live.journal.path
    assert "not timed in this rehearsal" in words(held(tmp_path, path, "where"))


def test_amending_a_reading_keeps_the_time_it_was_taken_at(tmp_path: Path) -> None:
    with run(tmp_path, TO_INSULATION) as (live, clock):
        live.begin("insulation")
        go_on(clock, 70)
        live.read("insulation", "", ">200M")
        seq = live.state.entries["insulation", ""].seq
        go_on(clock, 500)
        live.amend_reading(seq, ">100M", "misread")
        amended = last(live)
        assert isinstance(amended, Amended)
        assert amended.reading is not None
        assert amended.reading.after_s == 70


def test_only_what_is_held_can_be_begun_and_only_when_it_could_be_read() -> None:
    opened = b.opened(PROCEDURE, SHEET)
    early = b.folded(opened, Begun(step="insulation"))
    assert "only with the case shut" in early.violations[0][1] or "earth" in early.violations[0][1]
    other = b.folded(opened, Begun(step="plug"))
    assert "is not held for a time" in other.violations[0][1]


def test_line_by_line_the_hold_is_begun_counted_and_asked_about(tmp_path: Path) -> None:
    with run(tmp_path, TO_INSULATION) as (live, _):
        path = live.journal.path
    said = words(held(tmp_path, path, "begin", ">200M", "no", ">200M", "yes"))
    assert "Begun: to be held for 60 s." in said
    assert "Only 0 s of 60 s have passed since it was begun. Take it now?" in said
    assert "taken after 0 s of 60 s" in said
    assert sum(isinstance(record.event, Reading) for record in read(path)) == 4


@pytest.mark.parametrize(
    ("lines", "wrong"),
    [
        ('wait = "60 s"', "nothing says what it is waited from"),
        ('wait_from = "begun"', "it is not said how long"),
        ('wait_from = "begun"\nwait = "0 s"', "above zero"),
        ('wait_from = "residual"\nwait = "60 s"', "no earlier check has this id"),
    ],
)
def test_a_wait_that_cannot_be(lines: str, wrong: str) -> None:
    text = b.PROCEDURE.replace('id = "lamp"\n', f'id = "lamp"\n{lines}\n')
    with pytest.raises(InputError, match=wrong):
        loads_procedure(text)


@pytest.mark.parametrize("name", ["commissioning", "retest", "after-repair", "long-storage"])
def test_the_shipped_procedures_time_the_minute_the_idling_and_the_discharge(name: str) -> None:
    steps = {s.id: s for stage in loads_procedure(source_text(name)).stages for s in stage.steps}
    assert (steps["insulation"].wait_from, steps["insulation"].wait_s) == ("begun", 60.0)
    assert (steps["discharge-wait"].wait_from, steps["discharge-wait"].wait_s) == ("switched-off", None)
    if name != "retest":
        assert steps["idle-quiet"].wait_from == "direct-start"
        assert steps["idle-quiet"].wait_s == (1800.0 if name == "long-storage" else 600.0)


SOAK_ROWS = TO_LOADED + (
    "load-points.output,+15 @ 0 %,15.0,,\nload-points.output,+15 @ 50 %,15.0,,\n"
    "load-points.output,+15 @ 100 %,15.0,,\n"
)


def test_the_typed_times_of_a_soak_are_timed_from_its_first_reading(tmp_path: Path) -> None:
    clock = HandClock(step_s=0.0)
    opened = msgspec.structs.replace(b.opened(procedure(), SHEET), simulated=False)
    with LiveRun(
        create_run(tmp_path, tag="CR-07", procedure_name="short", opened=opened, clock=clock)
    ) as live:
        play(live, parse_answers(SOAK_ROWS, "rows"), "rows")
        time_by(live, None)
        for sensor in ("room air", "transformer", "heat sink +15"):
            live.read("soak", f"{sensor} @ 0 min", "22")
        go_on(clock, 120)
        with pytest.raises(AskAgain, match="Only 120 s of 300 s have passed since the soak began"):
            live.read("soak", "room air @ 5 min", "22")
        go_on(clock, 185)
        live.read("soak", "room air @ 5 min", "22")
        reading = last(live)
        assert isinstance(reading, Reading)
        assert reading.after_s == 305
