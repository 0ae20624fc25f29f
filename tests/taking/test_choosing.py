"""Which meter reads an item: one taped to a place reads that place and no other."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import msgspec
import pytest

from ohmward.bench.meters import Meter
from ohmward.bench.meters import loads as load_meters
from ohmward.procedure.model import Item
from ohmward.run.state import RunState, apply
from ohmward.taking.choosing import meter_in_use, proposed
from support import bench as b
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
    assert meter_in_use(state, "thermometer") == "thermometer"
    state, _ = begun(PLACED)
    assert meter_in_use(state, "thermometer") == ""
