"""Instruments that mark the end of a message: HiSLIP and VXI-11 through PyVISA-py, over loopback."""

from __future__ import annotations

import gc
import time
from concurrent.futures import ThreadPoolExecutor

import msgspec
import pytest

from ohmward.bench import profile
from ohmward.bench.messages import MeterFailed
from ohmward.bench.session import Session
from ohmward.bench.transport import ConnectionLost, NoAnswer, Transport, transport
from support.asking import SLOW_S, OneFault, Tally, ask, quick
from support.messages import FAULTS, Hislip, Listening, Vxi11
from support.scpi import AtRandom, Instrument

KINDS = pytest.mark.parametrize("kind", [Hislip, Vxi11])
Kind = type[Hislip] | type[Vxi11]
LEAVES_A_SOCKET = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
"""PyVISA-py 0.8.1 leaves a refused socket to the collector of garbage, which says so when it finds it."""


def session(server: Listening, name: str = "multimeter", *, stamps: bool = True) -> Session:
    assert isinstance(server, Hislip | Vxi11)
    server.slow_s = SLOW_S
    return Session("m", server.visa, quick(name, stamps=stamps), idn=server.instrument.idn)


def _asked(wire: Transport) -> bytes:
    wire.write("READ?")  # VXI-11 has its answer already in doubt here
    return wire.read_line(5.0)


@KINDS
def test_a_reading_a_check_and_a_burst(kind: Kind) -> None:
    with kind() as server:
        meter = session(server)
        answer = meter.measure("dc volts").result(20)
        assert answer.result.raw in server.instrument.served
        assert answer.failed == ()
        assert meter.check().result(5).result.stamped
        assert len({each.raw for each in meter.burst(50, "dc volts").result(20).result}) == 50
        meter.close()


@KINDS
def test_a_block_with_line_feeds_in_it(kind: Kind) -> None:
    payload = "".join(chr(each) for each in range(256))
    with kind(Instrument(fixed={"CURV?": "#3256" + payload})) as server:
        wire = transport(server.visa)
        wire.open()
        wire.write("CURV?")
        assert wire.read_block(2.0) == (bytes(range(256)), b"")
        assert wire.leftover() == b""
        wire.close()


@KINDS
def test_a_waveform_through_the_digitiser_profile(kind: Kind) -> None:
    with kind(Instrument(fixed={"SENS:SWE:TINT?": "1.0E-4"})) as server:
        how = profile.load("digitiser")
        assert how.capture is not None
        shown = msgspec.structs.replace(how, capture=msgspec.structs.replace(how.capture, ask="CURV?"))
        scope = Session("scope", server.visa, shown, channel="1")
        block = scope.capture().result(5).result
        assert (block.values, block.unit, block.interval_s) == ((1.5, -2.25), "V", 1e-4)
        scope.close()


@KINDS
def test_a_dead_peer_is_seen_at_once_and_costs_no_time_of_the_processor(kind: Kind) -> None:
    with kind(fault=lambda line: "die" if "READ" in line else "") as server:
        wire = transport(server.visa)
        wire.open()
        began, cpu = time.perf_counter(), time.process_time()
        with pytest.raises(ConnectionLost):
            _asked(wire)
        assert time.perf_counter() - began < 1.0
        assert time.process_time() - cpu < 0.5
        wire.close()


@KINDS
def test_an_instrument_that_says_nothing_is_given_up_in_time(kind: Kind) -> None:
    with kind(fault=lambda line: "swallow" if "READ" in line else "") as server:
        wire = transport(server.visa)
        wire.open()
        wire.write("READ?")
        began = time.perf_counter()
        with pytest.raises(NoAnswer):
            wire.read_line(0.3)
        assert 0.2 < time.perf_counter() - began < 1.0
        wire.close()


@KINDS
@LEAVES_A_SOCKET
def test_where_nobody_listens_that_is_said_at_once(kind: Kind) -> None:
    with kind() as server:
        resource = server.visa
    began = time.perf_counter()
    with pytest.raises(ConnectionLost):
        transport(resource).open()
    gc.collect()
    assert time.perf_counter() - began < 2.0


@pytest.mark.timeout(60)
def test_faults_bring_no_wrong_value() -> None:
    def faulted(kind: Kind, *, stamps: bool) -> Tally:
        faults, tally = AtRandom(3, 0.08, FAULTS), Tally()
        with kind() as server:
            meter = session(server, stamps=stamps)
            meter.measure("dc volts").result(10)
            server.fault = faults
            ask(meter, server.instrument, faults, 60, tally)
            server.fault = lambda _: ""
            meter.close()
        tally.faults = faults.counts
        return tally

    with ThreadPoolExecutor(4) as at_once:  # nearly all of it is waiting
        done = [
            at_once.submit(faulted, kind, stamps=stamps)
            for kind in (Hislip, Vxi11)
            for stamps in (True, False)
        ]
    for tally in [each.result() for each in done]:
        assert tally.wrong == []
        assert tally.faults.total() >= 60
        assert tally.right > 20


@KINDS
@pytest.mark.parametrize("fault", ["die", "slow", "half", "garbage"])
def test_the_load_is_off_within_one_reconnect(kind: Kind, fault: str) -> None:
    with kind() as server:
        load = session(server, "load")
        load.set("current", 1.2).result(10)
        load.switch(on=True).result(10)
        assert server.instrument.load_on
        server.fault = OneFault(fault)
        assert load.measure("current").result(10).generation == 2
        assert not server.instrument.load_on
        load.close()


@LEAVES_A_SOCKET
def test_an_address_without_a_port_asks_the_portmapper_and_says_what_it_met() -> None:
    # the portmapper listens on port 111 (RFC 1833), which a test cannot: what is seen here is the refusal
    meter = Session("m", "TCPIP::127.0.0.1::inst0::INSTR", quick("multimeter"))
    with pytest.raises(MeterFailed, match=r"(?i)refused|portmapper|connection|timed out"):
        meter.measure("dc volts").result(60)
    meter.close()
    gc.collect()
