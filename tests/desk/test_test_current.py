"""What current a meter drives, where no list says it, is asked once, where its leads are nulled.

EN 50106:2008, on which the limit set 'iec' rests here, asks for at least 10 A.
"""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from ohmward.logbook import create_run, open_run, read
from ohmward.logbook.events import Reading
from ohmward.run import LiveRun, assess_state, state
from ohmward.run.answers import parse_answers, play
from ohmward.run.state import RunState
from ohmward.run.test_current import wants_current
from support import bench as b
from support.journals import HandClock
from support.plain import held, words

LABEL = "Test current, such as 10 mA"
BOND = """[[stage.step]]
id = "bond"
kind = "reading"
title = "Bond"
enclosure = "shut"
stale = "opening"
severity = "danger"
required = false
quantity = "resistance"
unit = "Ω"
plausible = ["0 Ω", "5 Ω"]
limit = "earth_continuity"
meter = "low-ohm"

[[stage]]
name = "insulation"
"""
PROCEDURE = b.PROCEDURE.replace('[[stage]]\nname = "insulation"\n', BOND)
TO_NULL = "step,subject,value,meter,note\nplug,,pass,,\nlabel,,pass,,\nvents,,pass,,\ncase-shut,,,,\n"


@pytest.fixture(name="path")
def _path(tmp_path: Path) -> Path:
    opened = msgspec.structs.replace(b.opened(PROCEDURE), simulated=False)
    clock = HandClock(step_s=0.0)
    with create_run(tmp_path, tag="CR-07", procedure_name="short", opened=opened, clock=clock) as journal:
        play(LiveRun(journal), parse_answers(TO_NULL, "rows"), "rows")
        return journal.path


def readings(path: Path) -> list[Reading]:
    return [each.event for each in read(path) if isinstance(each.event, Reading)]


def at(path: Path) -> RunState:
    return state(read(path))


def test_it_is_asked_at_the_null_and_holds_for_what_is_read_with_those_leads(
    tmp_path: Path, path: Path
) -> None:
    said = held(tmp_path, path, "0.1", "ten", "10 mA", "0.25", "quit")
    assert said.count(f"{LABEL}; Enter alone: not known") == 2
    assert "The limit asks for 10 A or more" in said
    null, earth = readings(path)
    assert (null.test_a, earth.test_a) == (0.01, 0.01)
    assert "test current 10 mA, as told" in earth.note
    assert "Measured with 10 mA, and 10 A or more is asked" in earth.judged.note
    told = "measured with 10 mA, and 10 A or more is asked"
    assert any(told in line for line in assess_state(at(path)).summary)


def test_it_is_asked_of_a_listed_meter_too_where_the_list_does_not_say(tmp_path: Path) -> None:
    meters = '[[meter]]\nname = "dmm"\nkind = "low-ohm"\n'
    procedure = PROCEDURE
    for step in ("lead-null", "earth"):
        procedure = procedure.replace(f'id = "{step}"\n', f'id = "{step}"\nmeter = "low-ohm"\n')
    for current, asked in (("", True), ('test_current = "10 A"\n', False)):
        opened = msgspec.structs.replace(b.opened(procedure), simulated=False, meters=meters + current)
        folder = tmp_path / str(asked)
        with create_run(
            folder, tag="CR-07", procedure_name="short", opened=opened, clock=HandClock(step_s=0.0)
        ) as j:
            play(LiveRun(j), parse_answers(TO_NULL, "rows"), "rows")
        said = (
            held(folder, j.path, "0.1", "1 mA", "0.25", "quit")
            if asked
            else held(folder, j.path, "0.1", "quit")
        )
        assert (LABEL in said) == asked
        assert ("does not say what current 'dmm' drives" in words(said)) == asked
        assert [each.meter for each in readings(j.path)] == ["dmm", "dmm"][: 1 + asked]
        assert [each.test_a for each in readings(j.path)] == [0.001, 0.001] * asked + [None] * (not asked)


def test_not_known_is_taken_as_it_is_and_going_back_takes_nothing(tmp_path: Path, path: Path) -> None:
    held(tmp_path, path, "0.1", "back", "quit")
    assert readings(path) == []
    held(tmp_path, path, "0.1", "", "quit")
    assert [(each.value.si, each.test_a) for each in readings(path)] == [(0.1, None)]


def test_an_open_bond_is_recorded_before_anything_is_asked(tmp_path: Path, path: Path) -> None:
    said = held(tmp_path, path, "jump Bond", "OL", "quit")
    assert LABEL not in said
    assert readings(path)[-1].value.kind == "overload"


def test_what_fails_is_recorded_before_anything_is_asked(tmp_path: Path, path: Path) -> None:
    """A bond that fails guards a person: the run is never without it because a question stands open."""
    said = held(tmp_path, path, "jump Bond", "1.9", "quit")
    assert LABEL not in said
    assert readings(path)[-1].value.si == 1.9
    with LiveRun(open_run(path)) as live:
        live.amend_reading(live.journal.records[-1].seq, "0.1", "typed wrong")
    said = held(tmp_path, path, "jump Bond", "0.05", "yes", "25 A", "quit")
    assert LABEL in said
    assert readings(path)[-1].test_a == 25


def test_at_other_readings_and_in_a_rehearsal_it_is_not_asked(path: Path) -> None:
    run = at(path)
    assert {item.step for item in run.by_key.values() if wants_current(run, item)} == {"lead-null", "bond"}
    practice = b.folded(b.opened(PROCEDURE))
    assert not any(wants_current(practice, item) for item in practice.by_key.values())
