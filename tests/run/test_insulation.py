"""The lower test voltage of the limit set: chosen by a person, with the reason, and said by every reading."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.bench.simulated.meters import InsulationTester
from ohmward.desk.going_words import insulation_line
from ohmward.errors import Refused
from ohmward.logbook import create_run, read, verify
from ohmward.logbook.events import Amended, Energised, Reading, TestVoltage
from ohmward.run import LiveRun, state
from ohmward.run.answers import RowRefused, parse_answers, play
from ohmward.run.gates import admit
from ohmward.run.insulation import other_v
from ohmward.run.insulation import test_voltage as voltage_for
from ohmward.run.state import Phase
from ohmward.shipped import folder
from ohmward.supply import load
from ohmward.taking.at_hand import MetersAtHand
from ohmward.taking.rehearsing import RehearsalHands
from support import bench as b
from support.plain import held, words

LOWER = TestVoltage(volts=250.0, reason="suppressors line to earth")
TO_INSULATION = """step,subject,value,meter,note
plug,,pass,,
label,,pass,,
vents,,pass,,
case-shut,,,,
lead-null,,0.2,,
earth,case,0.25,,
earth,front panel,0.25,,
"""
NO_ALTERNATIVE = b.limits_text().replace('alternative = "250 V"\n', "")


def begun(path: Path, limits: str = "") -> LiveRun:
    opened = b.opened() if not limits else msgspec.structs.replace(b.opened(), limits=limits)
    return LiveRun(create_run(path, tag="CR-07", procedure_name="short", opened=opened))


def insulation(live: LiveRun) -> Reading:
    event = live.state.entries["insulation", ""].event
    assert isinstance(event, Reading)
    return event


def test_what_is_read_after_the_choice_says_so_and_what_was_before_stays(tmp_path: Path) -> None:
    with begun(tmp_path) as live:
        play(live, parse_answers(TO_INSULATION, "rows"), "rows")
        live.read("insulation", "", "0.4M", confirmed=True)
        before = insulation(live)
        assert (before.test_v, before.note) == (500.0, "")
        assert before.judged.verdict in {"fail", "not stated: fail"}
        live.choose_test_voltage(250.0, "suppressors line to earth")
        live.read("insulation", "", ">200M", note="dry day")
        after = insulation(live)
        assert after.test_v == 250.0
        assert after.note == "dry day; tested at 250 V: suppressors line to earth"
        assert after.judged.limit_low == before.judged.limit_low  # the limit stays
        path = live.journal.path
    assert verify(path).intact
    again = state(read(path))
    assert again.test_voltage == LOWER
    assert again.violations == ()


def test_an_amended_figure_keeps_the_voltage_it_was_taken_at(tmp_path: Path) -> None:
    with begun(tmp_path) as live:
        play(live, parse_answers(TO_INSULATION, "rows"), "rows")
        live.read("insulation", "", ">200M")
        seq = live.state.entries["insulation", ""].seq
        live.choose_test_voltage(250.0, "suppressors")
        live.amend_reading(seq, ">100M", "misread")
        (amended,) = [r.event for r in live.journal.records if isinstance(r.event, Amended)]
        assert amended.reading is not None
        assert (amended.reading.test_v, amended.reading.note) == (500.0, "")


@pytest.mark.parametrize(
    ("event", "gate"),
    [
        (TestVoltage(volts=250.0, reason=" "), "reason"),
        (TestVoltage(volts=1000.0, reason="why not"), "test-voltage"),
        (TestVoltage(volts=500.0, reason=""), "test-voltage"),  # it is that already
    ],
)
def test_a_choice_that_is_none_or_without_words_is_refused(event: TestVoltage, gate: str) -> None:
    with pytest.raises(Refused) as refused:
        admit(b.folded(b.opened()), event)
    assert refused.value.gate == gate


def test_back_to_the_voltage_of_the_limit_set_needs_no_words() -> None:
    back = TestVoltage(volts=500.0, reason="")
    result = b.folded(b.opened(), LOWER, back)
    assert result.violations == ()
    assert voltage_for(result, result.item("insulation")) == 500.0


def test_a_limit_set_without_an_alternative_leaves_no_choice() -> None:
    result = b.folded(msgspec.structs.replace(b.opened(), limits=NO_ALTERNATIVE))
    assert other_v(result, result.item("insulation")) is None
    with pytest.raises(Refused, match="does not test insulation at 250 V"):
        admit(result, LOWER)


def test_it_is_chosen_only_while_the_supply_is_dead(tmp_path: Path) -> None:
    with begun(tmp_path) as live:
        play(live, parse_answers(TO_INSULATION, "rows"), "rows")
        live.read("insulation", "", ">200M")
        live.acknowledge("no-load")
        live.do(Energised())
        assert live.state.phase is Phase.LIVE
        with pytest.raises(Refused, match="live"):
            live.choose_test_voltage(250.0, "suppressors")


def test_the_tester_is_told_it_and_the_suppressor_of_the_unit_lets_it_pass(tmp_path: Path) -> None:
    fault = [("suppressor-conducting", None)]
    sheet = load(folder("demo") / "CR-07.toml")
    with SimulatedBench(sheet, faults=fault, seed=3, speed=1.0, settling=False) as bench:
        (tmp_path / "meters.toml").write_text(bench.meters_toml, encoding="utf-8")
        opened = msgspec.structs.replace(b.opened(), meters=bench.meters_toml, simulated=True)
        with (
            LiveRun(create_run(tmp_path, tag="CR-07", procedure_name="short", opened=opened)) as live,
            MetersAtHand(tmp_path, hands=RehearsalHands(bench)) as at_hand,
        ):
            play(live, parse_answers(TO_INSULATION, "rows"), "rows")
            tester = bench._servers["insulation"].instrument
            assert isinstance(tester, InsulationTester)
            verdicts = []
            for volts in (500.0, 250.0):
                item = live.state.item("insulation")
                assert f"{volts:g} V" in insulation_line(live.state, item)
                found = at_hand.reading_for(live.state, item)
                assert found is not None
                assert tester.test_v == volts
                live.measure(
                    "insulation", "", found.settled, meter=found.meter, identity=found.identity,
                    confirmed=True,
                )  # fmt: skip
                verdicts.append(insulation(live).judged.verdict)
                if volts == 500.0:
                    live.choose_test_voltage(250.0, "suppressors line to earth")
            assert verdicts[0] in {"fail", "conditional fail"}
            assert verdicts[1] == "pass"  # low at 500 V and good at 250 V is the suppressor


def test_answers_files_choose_it(tmp_path: Path) -> None:
    rows = TO_INSULATION + "test-voltage,,250 V,,suppressors\ninsulation,,>200M,,\n"
    with begun(tmp_path) as live:
        play(live, parse_answers(rows, "rows"), "rows")
        assert insulation(live).test_v == 250.0
    for value, words_of in (("250 V,,", "without words"), ("ohm,,suppressors", "ohm")):
        with begun(tmp_path / "other") as live, pytest.raises(RowRefused, match=words_of):
            play(
                live, parse_answers(f"step,subject,value,meter,note\ntest-voltage,,{value}\n", "rows"), "rows"
            )


@pytest.mark.parametrize(
    "lines", [("test voltage suppressors line to earth",), ("meter", "2", "suppressors line to earth")]
)
def test_it_is_chosen_line_by_line(tmp_path: Path, lines: tuple[str, ...]) -> None:
    with begun(tmp_path) as live:
        play(live, parse_answers(TO_INSULATION, "rows"), "rows")
        path = live.journal.path
    said = words(held(tmp_path, path, *lines, ">200M"))
    assert "insulation tester at 500 V" in said
    assert "Insulation is tested at 250 V from here on." in said
    events = [record.event for record in read(path)]
    assert LOWER in events
    reading = next(event for event in events if isinstance(event, Reading) and event.step == "insulation")
    assert reading.note == "tested at 250 V: suppressors line to earth"
