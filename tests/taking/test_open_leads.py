"""Nothing is taken unasked from a probe that hangs in the air, least of all where that would pass."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import msgspec
import pytest

from ohmward.logbook import create_run
from ohmward.procedure import expand, load, load_limits
from ohmward.procedure.model import Item
from ohmward.quantity import parse
from ohmward.run import LiveRun
from ohmward.shipped import folder
from ohmward.supply import load as load_sheet
from ohmward.taking import open_leads
from ohmward.taking.at_hand import MetersAtHand
from support import bench as b
from support.scpi import IDN, Instrument, Server

METERS = """
[[meter]]
name = "multimeter"
resource = "{resource}"
idn = "{idn}"
[[meter.accuracy]]
function = "dc volts"
range = "20 V"
resolution = "1 mV"
accuracy = "±(0.05 % + 5)"
"""
PROCEDURE = b.PROCEDURE.replace(
    'quantity = "output_v"\nunit = "V"\nplausible = ["0 V"',
    'quantity = "output_v"\nmeter = "multimeter"\nunit = "V"\nplausible = ["1 V"',
)
AIR, RAIL, NEXT = "+2.1E-05", "+1.5041E+01", "+1.5020E+01"


def items(procedure: str) -> tuple[Item, ...]:
    supply = load_sheet(folder("demo") / "CR-07.toml")
    return expand(load(procedure), supply, load_limits(supply.limit_set), supply.parts)


@pytest.mark.parametrize("procedure", ["commissioning", "retest", "after-repair", "long-storage"])
def test_what_proves_a_supply_dead_or_isolated_is_never_read_by_leads_in_the_air(procedure: str) -> None:
    """Zero volts pass as 'discharged', and no end of ohms as 'isolated': trade sense, no source."""
    found = {each.spec.id: each for each in items(procedure) if each.read is not None}
    dead = [each for name, each in found.items() if name in {"charge-left", "residual"}]
    apart = [each for each in found.values() if each.read and each.read.quantity == "insulation"]
    assert dead
    for each in (*dead, *apart):
        assert open_leads.would_pass(each), each.key


@pytest.mark.parametrize("procedure", ["commissioning", "retest", "after-repair", "long-storage"])
def test_what_open_leads_show_either_would_pass_or_is_told(procedure: str) -> None:
    for each in items(procedure):
        if each.read is None or each.read.unit not in {"V", "A", "Ω"} or each.limit is None:
            continue
        ohms, low, high = each.read.unit == "Ω", each.limit.low, each.limit.high
        in_the_air = parse("OL" if ohms else f"0 {each.read.unit}", each.read.unit)
        passes = high is None if ohms else (low or 0.0) <= 0.0 <= (0.0 if high is None else high)
        assert open_leads.would_pass(each) is passes
        assert open_leads.shows(each, in_the_air) is not passes
        for sound in (low, high):
            if sound and not passes:
                assert not open_leads.shows(each, parse(f"{sound!r} {each.read.unit}", each.read.unit))


@pytest.fixture
def at_output(tmp_path: Path) -> Iterator[tuple[LiveRun, MetersAtHand, Item, dict[str, str]]]:
    shows = {"READ?": AIR}
    with Server(Instrument(fixed=shows)) as server:
        meters = METERS.format(resource=server.tcp, idn=IDN)
        (tmp_path / "meters.toml").write_text(meters, encoding="utf-8")
        opened = msgspec.structs.replace(b.opened(PROCEDURE), meters=meters)
        journal = create_run(tmp_path, tag="CR-07", procedure_name="short", opened=opened)
        with LiveRun(journal) as live, MetersAtHand(tmp_path) as at_hand:
            yield live, at_hand, live.state.item("output", "+15"), shows


def test_a_probe_in_the_air_is_waited_out_before_the_first_reading_and_between_two(
    at_output: tuple[LiveRun, MetersAtHand, Item, dict[str, str]],
) -> None:
    live, at_hand, item, shows = at_output
    with ThreadPoolExecutor(1) as aside:
        first = aside.submit(at_hand.reading_for, live.state, item, unasked=True)
        time.sleep(0.6)
        assert not first.done()
        shows["READ?"] = RAIL
        one = first.result(10)
        assert one is not None
        assert one.settled.replies == (RAIL,) * 5
        again = aside.submit(
            at_hand.reading_for, live.state, item, unasked=True, lifted_from=one.settled.value
        )
        time.sleep(0.5)
        assert not again.done()  # it has not been lifted
        shows["READ?"] = AIR
        time.sleep(1.0)
        assert not again.done()  # it hangs in the air, and that has settled long since
        shows["READ?"] = NEXT
        two = again.result(10)
        assert two is not None
        assert two.settled.replies == (NEXT,) * 5


def test_a_reading_that_is_asked_for_is_taken_as_it_is_and_waiting_ends_when_told(
    at_output: tuple[LiveRun, MetersAtHand, Item, dict[str, str]],
) -> None:
    live, at_hand, item, _ = at_output
    asked = at_hand.reading_for(live.state, item)
    assert asked is not None
    assert asked.settled.replies == (AIR,) * 5
    stop = threading.Event()
    with ThreadPoolExecutor(1) as aside:
        waits = aside.submit(at_hand.reading_for, live.state, item, unasked=True, stop=stop)
        time.sleep(0.4)
        stop.set()
        assert waits.result(10) is None
