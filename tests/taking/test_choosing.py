"""Which meter reads an item: one taped to a place reads that place and no other."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path

import msgspec
import pytest

from ohmward.bench.meters import Meter
from ohmward.bench.meters import loads as load_meters
from ohmward.desk.card import card
from ohmward.desk.in_use import InUse
from ohmward.errors import Refused
from ohmward.logbook import open_run
from ohmward.procedure.model import Item
from ohmward.run import LiveRun
from ohmward.run.state import RunState, apply
from ohmward.taking.choosing import can_read, meter_in_use, proposed, require_able, stands_in, too_weak
from support import bench as b
from support import walked as w
from support.taking import SHEET, procedure

PLACED = ("sensor room air", "sensor heat sink +15", "probe transformer")


def meters_of(names: tuple[str, ...]) -> str:
    return "".join(
        f'[[meter]]\nname = "{name}"\nkind = "thermometer"\nresource = "tcp://127.0.0.1:{port}"\n'
        for port, name in enumerate(names, start=5025)
    )


@cache
def begun(names: tuple[str, ...]) -> tuple[RunState, Mapping[str, Meter]]:
    text = meters_of(names)
    opened = msgspec.structs.replace(b.opened(procedure(), SHEET), meters=text)
    listed = {meter.name: meter for meter in load_meters(text, "meters")}
    return apply(RunState(), b.record(0, opened)), listed


def soak(state: RunState, subject: str) -> Item:
    return state.item("soak", f"{subject} @ 0 min")


@pytest.mark.parametrize(
    ("names", "subject", "wanted"),
    [
        (PLACED, "room air", "sensor room air"),
        (PLACED, "heat sink +15", "sensor heat sink +15"),
        (PLACED, "transformer", "probe transformer"),
        # a place without a sensor is not read by the sensor of another place
        (("sensor room air", "sensor heat sink +15"), "transformer", ""),
        (("sensor heat sink +15", "thermometer"), "transformer", "thermometer"),
        # the only transformer goes by its name on the sheet too
        (("sensor transformer T1", "thermometer"), "transformer", "sensor transformer T1"),
        (("sensor transformer T2", "thermometer"), "transformer", "thermometer"),
        # nor by one whose place is none of this supply's
        (("sensor terminals", "thermometer"), "room air", "thermometer"),
    ],
)
def test_the_sensor_of_a_place_reads_it_and_a_free_thermometer_the_rest(
    names: tuple[str, ...], subject: str, wanted: str
) -> None:
    state, listed = begun(names)
    assert proposed(state, soak(state, subject), listed) == wanted


def test_a_meter_in_use_elsewhere_is_not_proposed() -> None:
    state, listed = begun(("thermometer",))
    assert proposed(state, soak(state, "transformer"), listed, taken=["thermometer"]) == ""


def test_a_fixed_sensor_is_never_the_meter_in_use() -> None:
    state, _ = begun((*PLACED, "thermometer"))
    assert meter_in_use(state, soak(state, "room air")) == "thermometer"
    state, _ = begun(PLACED)
    assert meter_in_use(state, soak(state, "room air")) == ""


BONDED = """
format = 1
name = "bonded"
title = "Earth"

[[stage]]
name = "earth"
title = "Earth"
energised = false

[[stage.step]]
id = "earth-bond"
kind = "reading"
title = "Earth bond at high current"
severity = "danger"
required = false
quantity = "resistance"
unit = "Ω"
meter = "low-ohm"
test_current = { times_fuse = "1.5", at_most = "25 A" }

[[stage.step]]
id = "line-core"
kind = "reading"
title = "Line core"
quantity = "resistance"
unit = "Ω"
meter = "low-ohm"
"""
TWO_WIRE, WEAK, STRONG = (
    f'[[meter]]\nname = "{name}"\nkind = "low-ohm"\nresource = "tcp://127.0.0.1:{port}"\n{more}'
    for port, (name, more) in enumerate(
        (("clips", ""), ("weak", 'test_current = "200 mA"\n'), ("bond tester", 'test_current = "2.5 A"\n')),
        start=5025,
    )
)


def bonded(text: str, fuse: str = "T 1.6 A") -> tuple[RunState, Mapping[str, Meter]]:
    sheet = SHEET.replace("[mains]", f'[mains]\nfuse = "{fuse}"' if fuse else "[mains]", 1)
    opened = msgspec.structs.replace(b.opened(BONDED, sheet), meters=text)
    return apply(RunState(), b.record(0, opened)), {each.name: each for each in load_meters(text)}


def test_an_earth_bond_at_high_current_is_read_only_by_a_meter_that_gives_the_current() -> None:
    """1.5 times the fuse rating, at most 25 A (IET Code of Practice, REFERENCES 1): 2.4 A at 1.6 A."""
    state, listed = bonded(TWO_WIRE + WEAK + STRONG)
    bond, core = state.item("earth-bond"), state.item("line-core")
    assert proposed(state, bond, listed) == meter_in_use(state, bond) == "bond tester"
    assert proposed(state, core, listed) == "clips"  # any will do
    assert too_weak(state, bond) == too_weak(state, core) == ""
    with pytest.raises(Refused, match=r"'clips' is not known to give 2\.4 A"):
        require_able(state, bond, listed["clips"])


@pytest.mark.parametrize(
    ("fuse", "amps"), [("T 1.6 A", "2.4 A"), ("T 20 A", "25 A"), ("", "25 A"), ("T 2 A", "3 A")]
)
def test_where_no_meter_gives_the_current_none_reads_it_and_the_words_say_what_to_do(
    fuse: str, amps: str
) -> None:
    state, listed = bonded(TWO_WIRE + WEAK, fuse)
    bond = state.item("earth-bond")
    assert not can_read(state, bond)
    assert proposed(state, bond, listed) == ""
    assert f"No meter here is known to give {amps}: leave it out" in too_weak(state, bond)
    assert can_read(state, state.item("line-core"))


STAND_IN = """[[meter]]
name = "spare"
kind = "multimeter"
[[meter]]
name = "dmm"
kind = "multimeter"
[[meter.accuracy]]
function = "ohms"
range = "600 Ω"
accuracy = "±(0.5 % + 2)"
resolution = "0.1 Ω"
[[meter.accuracy]]
function = "ac volts"
range = "600 V"
accuracy = "±(1 % + 3)"
resolution = "0.1 V"
"""


def test_a_multimeter_stands_in_where_its_accuracy_is_stated_and_what_was_chosen_is_kept(
    tmp_path: Path,
) -> None:
    path = w.begun(tmp_path, meters=STAND_IN)
    with w.walked(path, lambda item: item.step == "lead-null") as live:
        items = {item.step: item for item in live.state.items}
        null, earth = items["lead-null"], items["earth"]
        assert InUse().of(live.state, null) == InUse().of(live.state, earth) == "dmm"
        assert InUse().of(live.state, items["mains-no-load"]) == "dmm"
        assert InUse().of(live.state, items["mains-current-no-load"]) == ""
        assert InUse().of(live.state, items["earth-bond"]) == ""
        assert all(
            not stands_in(item, meter)
            for item in live.state.items
            for meter in live.state.meters
            if item.read is not None and item.read.meter == "insulation"
        )
        shown = card(live.state, null, None, pending=False, meter="dmm").meter
        assert shown == "dmm (in place of: low-resistance ohmmeter)"
        live.read("lead-null", "", "0.2", meter="spare")  # chosen with t
        assert InUse().of(live.state, earth) == "spare"
    with LiveRun(open_run(path)) as live:
        assert InUse().of(live.state, earth) == "spare"  # resumed
        live.read("lead-null", "", "0.2")
        assert InUse().of(live.state, earth) == ""  # none of these
