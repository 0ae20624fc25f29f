"""Settled readings, and known values through the whole chain: meters.toml, SCPI reply, uncertainty."""

from __future__ import annotations

import json
import math
import threading
import time
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.analysis.uncertainty import rectangular
from ohmward.bench.clock import WallClock
from ohmward.bench.inventory import Inventory
from ohmward.bench.messages import MeterFailed
from ohmward.bench.meters import loads
from ohmward.bench.settled import Sample, Settle, Settled, Settling, take
from ohmward.errors import InputError
from ohmward.quantity import Value
from support.scpi import Instrument, Server

CHECKS: dict[str, dict[str, Any]] = {
    check["id"]: check
    for check in json.loads(
        (Path(__file__).parents[1] / "data" / "reference" / "checks_multimeter.json").read_text("utf-8")
    )["checks"]
}


class FakeClock:
    def __init__(self, step_s: float = 1.0) -> None:
        self.time_s, self._step_s = 0.0, step_s

    def now(self) -> float:
        self.time_s += self._step_s
        return self.time_s

    def wait(self, seconds: float) -> bool:
        self.time_s += seconds
        return False


def sample(text: str, at_s: float = 0.0, kind: str = "exact") -> Sample:
    number = None if kind == "overload" else Decimal(text)
    return Sample(
        at_s=at_s,
        value=Value(raw=text, kind=kind, number=number, unit="V", resolution=Decimal("0.01")),  # type: ignore[arg-type]
    )


def test_it_waits_until_the_last_readings_agree() -> None:
    replies = iter(["10.00", "11.00", "11.90", "12.03", "12.04", "12.05", "99"])
    found = take(lambda: sample(next(replies)), Settle(count=3, absolute=0.03, relative=0.0), FakeClock(0.0))
    assert found.settled
    assert found.replies == ("12.03", "12.04", "12.05")
    # mean and s of 12.03, 12.04, 12.05 by hand: 12.04, sqrt(2e-4 / 2) = 0.01; u = 0.01 / sqrt(3)
    assert (found.mean, found.count) == (12.04, 3)
    assert found.standard_deviation == pytest.approx(0.01)
    assert found.type_a == pytest.approx(0.01 / math.sqrt(3))
    assert found.value.number == Decimal("12.04")
    assert (found.half_width, found.type_b) == (None, None)


def test_it_says_when_the_time_was_up_first() -> None:
    count = iter(range(1000))
    found = take(lambda: sample(str(next(count))), Settle(count=3, limit_s=10.0), FakeClock())
    assert not found.settled
    assert found.count == 3


def test_overloads_settle_as_overloads_and_are_never_averaged_with_numbers() -> None:
    settling = Settling(Settle(count=2))
    settling.add(sample("12.0"))
    settling.add(sample("9.9E37", kind="overload"))
    assert not settling.done
    settling.add(sample("9.9E37", kind="overload"))
    result = settling.result(None, "")
    assert settling.done
    assert (result.value.kind, result.mean, result.type_a, result.count) == ("overload", None, None, 2)


@given(st.lists(st.integers(-(10**6), 10**6), min_size=2, max_size=8))
def test_mean_and_spread_of_any_readings(counts: list[int]) -> None:
    settling = Settling(Settle(count=len(counts)))
    for each in counts:
        settling.add(sample(f"{each / 100:.2f}"))
    result = settling.result(None, "")
    values = [each / 100 for each in counts]
    mean = math.fsum(values) / len(values)
    spread = math.sqrt(math.fsum((each - mean) ** 2 for each in values) / (len(values) - 1))
    assert result.mean == pytest.approx(mean, abs=1e-9)
    assert result.standard_deviation == pytest.approx(spread, abs=1e-6)


@pytest.mark.parametrize("how", [{"count": 1}, {"absolute": 0.0, "relative": 0.0}, {"absolute": -1.0}])
def test_what_is_no_way_to_settle(how: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=r"agree|tolerance"):
        Settle(**how)


def entry(server: Server, accuracy: str) -> str:
    return f'[[meter]]\nname = "m"\nresource = "{server.visa}"\n{accuracy}'


def chain(server: Server, accuracy: str, reply: str) -> Any:
    """A reading over SCPI through PyVISA, with the accuracy of a meters.toml entry."""
    server.instrument.fixed["READ?"] = reply
    with Inventory(loads(entry(server, accuracy))) as inventory:
        channel = inventory.channel("m", "dc volts")
        return take(
            lambda: channel.read(FakeClock()), Settle(count=2), FakeClock(), meter=channel.meter,
            function=channel.function,
        )  # fmt: skip


@pytest.mark.parametrize(
    "name", ["dmm_100v_2pct_2", "dmm_100v_1pct_2", "dmm_120v_1pct_3", "dmm_2v_05pct_3", "dmm_2v_008pct_2"]
)
def test_printed_examples_of_meter_makers_from_a_reply(name: str) -> None:
    # Each check in the file carries its source.
    check = CHECKS[name]
    given_, printed = check["inputs"], check["printed"]
    accuracy = (
        '[[meter.accuracy]]\nfunction = "dc volts"\nrange = "1000 V"\n'
        f'resolution = "{given_["resolution"]} V"\n'
        f'accuracy = "±({given_["pct_reading"]} % + {given_["counts"]})"\n'
    )
    with Server() as server:
        found = chain(server, accuracy, f"{given_['reading']:+.8E}")
    assert found.half_width is not None
    if isinstance(printed, dict):
        assert found.mean - found.half_width == pytest.approx(printed["low"], abs=check["tolerance"])
        assert found.mean + found.half_width == pytest.approx(printed["high"], abs=check["tolerance"])
    else:
        assert found.half_width == pytest.approx(printed, abs=check["tolerance"])
    assert found.type_b == pytest.approx(found.half_width / math.sqrt(3))


def test_ea_4_02_s9_from_two_entries_and_a_reply() -> None:
    # EA-4/02 M:2022, S9: a hand-held multimeter reads 100.1 V (resolution 0.1 V, so ±0.05 V) where a
    # calibrator (±(0.01 % of its output + 1 mV) = 0.011 V) gives 100 V. Printed: 0.029 V and 0.0064 V.
    reading = '[[meter.accuracy]]\nfunction = "dc volts"\nrange = "200 V"\naccuracy = "0.05 V"\n'
    calibrator = '[[meter.accuracy]]\nfunction = "dc volts"\nrange = "1000 V"\naccuracy = "0.01 % + 1 mV"\n'
    with Server() as server:
        indicated = chain(server, reading, "100.1")
        source = chain(server, calibrator, "1.00000E+02")
    assert indicated.mean - source.mean == pytest.approx(0.1)
    assert source.half_width == pytest.approx(0.011, abs=1e-9)
    assert indicated.type_b == pytest.approx(0.029, abs=0.0005)
    assert source.type_b == pytest.approx(0.0064, abs=0.00005)
    # with the certificate's 0.001 V: printed combined 0.030 V
    combined = math.hypot(indicated.type_b, source.type_b, 0.001)
    assert combined == pytest.approx(0.030, abs=0.0005)
    assert rectangular(source.half_width).standard == pytest.approx(source.type_b)


def test_an_over_range_insulation_is_above_its_range() -> None:
    with Server(Instrument(fixed={"READ?": "9.9E37"})) as server:
        text = (
            f'[[meter]]\nname = "m"\nkind = "insulation"\nresource = "{server.tcp}"\n'
            '[[meter.accuracy]]\nfunction = "insulation"\nrange = "200 MΩ"\naccuracy = "3 %"\n'
        )
        with Inventory(loads(text)) as inventory:
            found = inventory.channel("m", volts=500.0).read(FakeClock())
    assert (found.value.kind, found.value.si, found.value.unit) == ("above", 200e6, "Ω")


def test_meters_that_share_an_instrument_share_its_owner() -> None:
    text = "".join(
        f'[[meter]]\nname = "sink {each}"\nkind = "thermometer"\nresource = "tcp://127.0.0.1:9"\n'
        f'channel = "{each}"\n'
        for each in (101, 102)
    )
    inventory = Inventory(loads(text))
    assert inventory.session("sink 101") is inventory.session("sink 102")
    assert inventory.channel("sink 102").channel == "102"


def entries(*rows: dict[str, str]) -> Inventory:
    """Return meters on one resource, where nobody listens."""
    plain = {"resource": "tcp://127.0.0.1:9"}
    text = "".join(
        "[[meter]]\n" + "".join(f'{key} = "{value}"\n' for key, value in {**plain, **row}.items())
        for row in rows
    )
    return Inventory(loads(text))


@pytest.mark.parametrize(
    ("first", "second", "field"),
    [
        ({"kind": "multimeter"}, {"kind": "thermometer"}, "profile"),
        ({"idn": "A,B,1,1"}, {"idn": "A,B,2,1"}, "idn"),
        ({"visa": "@py"}, {"visa": "@ivi"}, "visa"),
    ],
)
def test_entries_that_make_two_of_one_instrument_are_refused(
    first: dict[str, str], second: dict[str, str], field: str
) -> None:
    inventory = entries({"name": "a", **first}, {"name": "b", **second})
    for name in ("a", "b"):
        with pytest.raises(InputError, match="the same instrument") as refused:
            inventory.session(name)
        assert [each.field for each in refused.value.mistakes] == [field]


def test_of_entries_that_share_an_instrument_one_may_say_what_it_calls_itself() -> None:
    inventory = entries({"name": "a"}, {"name": "b", "idn": "A,B,1,1"}, {"name": "c", "visa": "@py"})
    assert inventory.session("a").identity == "A,B,1,1"


def test_an_output_is_driven_only_where_nothing_else_could_be_meant_by_it() -> None:
    """What sets and switches an instrument does so on one channel: never on that of another entry."""
    load = {"kind": "load"}
    for other in ({**load, "channel": "2"}, {**load}, {"profile": "load", "channel": "2"}):
        inventory = entries({"name": "load A", **load}, {"name": "b", **other})
        inventory.session("b")  # read first, and so the one whose channel is known
        with pytest.raises(InputError, match="also that of 'b'"):
            inventory.driven("load A")
        assert inventory.session("load A").name == "b"  # each can still be read
    inventory = entries({"name": "load A", **load}, {"name": "volts", "profile": "load"})
    assert inventory.driven("load A") is inventory.session("volts")


def test_a_meter_without_a_resource_is_read_by_hand() -> None:
    inventory = Inventory(loads('[[meter]]\nname = "m"\n'))
    with pytest.raises(InputError, match="read by hand"):
        inventory.session("m")
    with pytest.raises(InputError, match="no meter has that name"):
        inventory.session("n")


NEVER = Settle(count=3, absolute=1e-9, relative=0.0, limit_s=1.0)
"""For an instrument that never serves the same number twice."""


def one_meter(server: Server) -> Inventory:
    return Inventory(loads(f'[[meter]]\nname = "m"\nresource = "{server.tcp}"\n'))


def reads(line: str) -> bool:
    return "READ?" in line


def test_each_reading_of_a_settled_one_has_all_its_attempts() -> None:
    # five readings, two faults before each: ten failed attempts, and no reading that failed three times
    count = iter(range(1000))

    def fault(line: str) -> str:
        return "reset" if reads(line) and next(count) % 3 < 2 else ""

    heard: list[Sample] = []
    with (
        Server(Instrument(fixed={"READ?": "+1.5041E+01"}), fault=fault) as server,
        one_meter(server) as inventory,
    ):
        found = inventory.channel("m", "dc volts").settle(Settle(), WallClock(), heard=heard.append)
    assert (found.settled, found.count, len(found.failed)) == (True, 5, 10)
    assert [len(each.failed) for each in heard] == [2] * 5
    assert [each.generation for each in heard] == [3, 5, 7, 9, 11]


def test_a_settled_reading_fails_with_its_attempts_when_one_reading_cannot_be_had() -> None:
    count = iter(range(1000))

    def fault(line: str) -> str:
        return "reset" if reads(line) and next(count) >= 2 else ""

    with (
        Server(fault=fault) as server,
        one_meter(server) as inventory,
        pytest.raises(MeterFailed) as caught,
    ):
        inventory.channel("m", "dc volts").settle(NEVER, WallClock())
    assert len(caught.value.attempts) == 3


def test_what_is_asked_meanwhile_has_its_turn() -> None:
    """A load must not stay on because its volts are being settled."""
    found: list[Settled] = []
    with Server() as server, one_meter(server) as inventory:
        channel = inventory.channel("m", "dc volts")
        worker = threading.Thread(target=lambda: found.append(channel.settle(NEVER, WallClock())))
        worker.start()
        longest = 0.0
        for _ in range(20):
            began = time.monotonic()
            channel.session.check().result(5)
            longest = max(longest, time.monotonic() - began)
        worker.join()
    assert longest < 0.5  # of the 1 s that the settling takes
    assert (found[0].settled, found[0].count) == (False, 3)
    assert found[0].took_s > 0.5


def test_settling_ends_when_the_work_is_to_stop() -> None:
    stop = threading.Event()
    with Server() as server, one_meter(server) as inventory:
        threading.Timer(0.2, stop.set).start()
        how = Settle(count=3, absolute=1e-9, relative=0.0, limit_s=30.0)
        found = inventory.channel("m", "dc volts").settle(how, WallClock(stop))
    assert not found.settled
    assert found.took_s < 5


def test_a_pause_between_readings_is_kept() -> None:
    with Server(Instrument(fixed={"READ?": "+1.5041E+01"})) as server, one_meter(server) as inventory:
        how = Settle(count=4, interval_s=0.05)
        assert inventory.channel("m", "dc volts").settle(how, WallClock()).took_s >= 0.15
