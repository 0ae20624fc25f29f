"""The test voltage of an insulation tester: as step or limit set name it, never above, else refused."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from ohmward.bench import profile
from ohmward.bench.inventory import Inventory
from ohmward.bench.messages import MeterFailed
from ohmward.bench.meters import loads
from ohmward.bench.profile import Profile
from ohmward.bench.session import Session
from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.bench.simulated.meters import InsulationTester
from ohmward.bench.survey import read
from ohmward.errors import InputError
from ohmward.logbook import create_run
from ohmward.procedure import loads as loads_procedure
from ohmward.run import LiveRun
from ohmward.run.answers import parse_answers, play
from ohmward.run.insulation import test_voltage as voltage_for
from ohmward.shipped import folder
from ohmward.supply import load
from ohmward.taking.at_hand import MetersAtHand
from support import bench as b
from support.scpi import Instrument, Server

FIXED = """
format = 1
name = "plain"
kind = "insulation"
title = "Tester of one voltage"
[[measure]]
function = "insulation"
ask = "READ?"
volts = "500 V"
"""
ROWS = """step,subject,value,meter,note
plug,,pass,,
label,,pass,,
vents,,pass,,
case-shut,,,,
lead-null,,0.2,,
earth,case,0.25,,
earth,front panel,0.25,,
"""


def told(instrument: Instrument) -> list[str]:
    return [line for line in instrument.asked if line.startswith("CONF")]


def ready(found: Profile) -> Profile:
    return msgspec.structs.replace(found, timeout_s=1.0)


def test_the_tester_is_told_what_was_asked_for_and_again_when_that_changes() -> None:
    with Server() as server:
        session = Session("m", server.tcp, ready(profile.load("insulation")))
        for volts in (250.0, 250.0, 500.0):
            session.measure(volts=volts).result(10)
        session.close()
        assert told(server.instrument) == ["CONF:INS 250", "CONF:INS 500"]


def test_without_a_known_voltage_nothing_is_asked() -> None:
    with Server() as server:
        session = Session("m", server.tcp, ready(profile.load("insulation")))
        for ask in (session.measure, lambda: session.burst(3), lambda: session.until(lambda *_: True)):
            with pytest.raises(InputError, match="no test voltage is known"):
                ask()
        session.close()
        assert server.connections == 0


def test_a_tester_of_one_voltage_is_not_used_where_less_is_allowed() -> None:
    with Server() as server:
        session = Session("m", server.tcp, ready(profile.loads(FIXED)))
        with pytest.raises(InputError, match="500 V on the unit, and 250 V is the most"):
            session.measure(volts=250.0)
        assert session.measure(volts=500.0).result(10).result.unit == "Ω"
        assert session.measure(volts=1000.0).result(10).result.unit == "Ω"
        session.close()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('volts = "500 V"\n', "", "not said what voltage"),
        ('volts = "500 V"', 'prepare = ["CONF:INS {volts}"]\nvolts = "500 V"', "not both"),
        ('"500 V"', '"5 kV"', "no test voltage"),
        ('function = "insulation"', 'function = "ohms"', "only insulation"),
        ('ask = "READ?"\nvolts = "500 V"', 'ask = "MEAS:INS? {value}"\nvolts = "500 V"', "can be filled in"),
    ],
)
def test_profiles_that_are_wrong(old: str, new: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        profile.loads(FIXED.replace(old, new))
    with pytest.raises(InputError, match="can be filled in"):
        profile.loads(FIXED.replace('"insulation"\nask', '"ohms"\nprepare = ["CONF {volts}"]\nask'))


def procedure(voltage: str) -> str:
    extra = f'test_voltage = "{voltage}"\n' if voltage else ""
    return b.PROCEDURE.replace('quantity = "resistance"\nunit = "Ω"\nplausible = ["1 MΩ"', extra + (
        'quantity = "resistance"\nunit = "Ω"\nplausible = ["1 MΩ"'
    ))  # fmt: skip


@pytest.mark.parametrize(
    ("named", "set_v", "used"),
    [
        ("", "500 V", 500.0),  # the limit set's
        ("250 V", "500 V", 250.0),  # the step's
        ("500 V", "250 V", 250.0),  # never above what the limit set allows
    ],
)
def test_from_the_step_to_the_terminals(tmp_path: Path, named: str, set_v: str, used: float) -> None:
    with SimulatedBench(load(folder("demo") / "CR-07.toml"), seed=3, speed=1.0, settling=False) as bench:
        (tmp_path / "meters.toml").write_text(bench.meters_toml, encoding="utf-8")
        opened = msgspec.structs.replace(
            b.opened(procedure(named)), meters=bench.meters_toml, simulated=True,
            limits=b.limits_text().replace('voltage = "500 V"', f'voltage = "{set_v}"'),
        )  # fmt: skip
        with (
            LiveRun(create_run(tmp_path, tag="CR-07", procedure_name="short", opened=opened)) as live,
            MetersAtHand(tmp_path) as at_hand,
        ):
            play(live, parse_answers(ROWS, "rows"), "rows")
            item = live.state.item("insulation")
            assert voltage_for(live.state, item) == used
            assert voltage_for(live.state, live.state.item("earth", "case")) is None
            found = at_hand.reading_for(live.state, item)
            assert found is not None
            tester = bench._servers["insulation"].instrument
            assert isinstance(tester, InsulationTester)
            assert tester.test_v == used
            live.measure("insulation", "", found.settled, meter=found.meter, identity=found.identity)
            event = live.journal.records[-1].event
            assert getattr(event, "note", "") == f"test voltage {used:g} V"


def test_what_the_tester_will_not_apply_is_not_read() -> None:
    with (
        SimulatedBench(load(folder("demo") / "CR-07.toml"), seed=3, speed=1.0) as bench,
        Inventory(loads(bench.meters_toml)) as inventory,
        pytest.raises(MeterFailed, match="refused: -222"),
    ):
        read(inventory, "insulation", volts=123.0)


@pytest.mark.parametrize(("voltage", "words"), [("5 kV", "1000 V at most"), ("-250 V", "above zero")])
def test_a_step_with_an_impossible_voltage(voltage: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        loads_procedure(procedure(voltage))


def test_a_voltage_has_no_place_where_no_insulation_is_read() -> None:
    wrong = b.PROCEDURE.replace('quantity = "output_v"', 'test_voltage = "250 V"\nquantity = "output_v"', 1)
    with pytest.raises(InputError, match="only insulation"):
        loads_procedure(wrong)
