"""One meter read over and over: what it shows, how far it spreads, and that it is never a test voltage."""

from __future__ import annotations

import statistics
import threading
from pathlib import Path

import pytest

from ohmward.bench.inventory import Inventory
from ohmward.bench.meters import loads
from ohmward.bench.survey import checked_in
from ohmward.errors import InputError
from ohmward.taking.live_meter import SEVERAL, Lately, follow
from support.scpi import IDN, Instrument, Server

METER = """
[[meter]]
name = "bench multimeter"
kind = "{kind}"
resource = "{resource}"
[[meter.accuracy]]
function = "dc volts"
range = "20 V"
resolution = "1 mV"
accuracy = "±(0.05 % + 5)"
[[meter]]
name = "nobody"
resource = "tcp://127.0.0.1:9"
profile = "no such profile"
"""


class Varying(Instrument):
    """Reads 15.000 V, 15.001 V, 15.002 V, … and begins again."""

    def _one(self, command: str) -> str | None:
        if command.upper() == "READ?":
            self.count += 1
            return f"{15.0 + (self.count % 3) / 1000:+.4E}"
        return super()._one(command)


def watched(instrument: Instrument, tmp_path: Path, readings: int, kind: str = "multimeter") -> list[Lately]:
    told: list[Lately] = []
    stop = threading.Event()

    def heard(lately: Lately) -> None:
        told.append(lately)
        if len(told) >= readings:
            stop.set()

    with (
        Server(instrument) as server,
        Inventory(loads(METER.format(resource=server.tcp, kind=kind)), tmp_path) as inventory,
    ):
        follow(inventory, "bench multimeter", "dc volts", stop=stop, heard=heard)
    return told


def test_it_tells_each_reading_with_mean_and_spread_of_the_last(tmp_path: Path) -> None:
    told = watched(Varying(), tmp_path, SEVERAL + 5)
    last = told[-1]
    assert last.number == SEVERAL + 5
    assert last.identity == IDN
    assert last.several.count == SEVERAL
    numbers = [float(each) for each in last.several.replies]
    # the standard library's mean and standard deviation of the same replies
    assert last.several.mean == pytest.approx(statistics.fmean(numbers))
    assert last.several.standard_deviation == pytest.approx(statistics.stdev(numbers))
    assert (last.low.si, last.high.si) == (min(numbers), max(numbers))
    assert last.value.si == numbers[-1]


def test_over_range_is_told_as_such_and_has_no_mean(tmp_path: Path) -> None:
    told = watched(Instrument(fixed={"READ?": "9.9E+37"}), tmp_path, 2)
    assert told[-1].value.kind in {"overload", "above"}
    assert told[-1].several.mean is None


def test_an_insulation_tester_is_never_read_here(tmp_path: Path) -> None:
    instrument = Instrument(fixed={"READ?": "1E+9"})
    with (
        Server(instrument) as server,
        Inventory(loads(METER.format(resource=server.tcp, kind="insulation")), tmp_path) as inventory,
        pytest.raises(InputError, match="test voltage"),
    ):
        follow(inventory, "bench multimeter", "", stop=threading.Event(), heard=lambda _: None)
    assert not instrument.asked


def test_all_are_checked_and_one_that_cannot_be_asked_is_told_of_like_a_dead_one(tmp_path: Path) -> None:
    with Server(Instrument()) as server:
        listed = loads(METER.format(resource=server.tcp, kind="multimeter"))
        with Inventory(listed, tmp_path) as inventory:
            found = {
                each.meter.name: each for each in checked_in(inventory, list(inventory.meters), lambda _: ())
            }
    assert found["bench multimeter"].problem == ""
    assert found["bench multimeter"].identity == IDN
    assert found["bench multimeter"].round_trip_s is not None
    assert "no such profile" in found["nobody"].problem
