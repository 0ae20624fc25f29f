"""Sessions and transports over real sockets and a pseudo-terminal."""

from __future__ import annotations

import gc
import threading
import time

import msgspec
import pytest

from ohmward.bench import patience, profile
from ohmward.bench.conversation import Conversation
from ohmward.bench.messages import MeterFailed, Notice
from ohmward.bench.meters import loads
from ohmward.bench.session import Session
from ohmward.bench.survey import check
from ohmward.bench.transport import (
    ConnectionLost,
    NoAnswer,
    PartMissing,
    SocketTransport,
    Transport,
    transport,
)
from ohmward.bench.visa import VisaTransport, manager
from ohmward.errors import InputError
from support.scpi import IDN, Instrument, PseudoTerminal, Server

MULTIMETER = msgspec.structs.replace(
    profile.load("multimeter"),
    timeout_s=0.3,
    measures=tuple(
        msgspec.structs.replace(each, timeout_s=0.3, settling_s=0.0)
        for each in profile.load("multimeter").measures
    ),
)
WAYS = ("tcp", "visa")


@pytest.mark.parametrize("way", WAYS)
def test_a_reading_with_all_that_goes_with_it(way: str) -> None:
    notices: list[Notice] = []
    with Server() as server:
        session = Session("m", getattr(server, way), MULTIMETER, idn=IDN, notify=notices.append)
        assert server.connections == 0  # constructing opens nothing
        answer = session.measure("dc volts").result(5)
        assert answer.result.raw in server.instrument.served
        assert (answer.result.unit, answer.identity, answer.failed, answer.generation) == ("V", IDN, (), 1)
        health = session.check().result(5).result
        assert health.stamped
        assert health.errors == ()
        assert 0 < health.round_trip_s < 1
        session.close()
    assert [each.kind for each in notices] == ["connected", "left"]


def test_serial_through_a_pseudo_terminal() -> None:
    with PseudoTerminal() as port:
        session = Session("m", port.visa, MULTIMETER)
        for _ in range(20):
            assert session.measure("dc volts").result(5).result.raw in port.instrument.served
        other = Session("n", port.visa, MULTIMETER)  # a second owner of the port is refused
        with pytest.raises(MeterFailed, match=r"(?i)lock"):
            other.measure("dc volts").result(20)
        other.close()
        session.close()


@pytest.mark.parametrize("way", WAYS)
def test_an_instrument_without_stamps_is_spoken_to_plainly(way: str) -> None:
    with Server(Instrument(compound=False)) as server:
        session = Session("m", getattr(server, way), MULTIMETER)
        assert session.measure("dc volts").result(10).result.raw in server.instrument.served
        assert not session.check().result(5).result.stamped
        session.close()


@pytest.mark.parametrize("way", WAYS)
def test_the_function_is_set_once_and_again_after_another(way: str) -> None:
    with Server() as server:
        session = Session("m", getattr(server, way), MULTIMETER)
        for what in ("dc volts", "dc volts", "dc amps", "dc volts"):
            session.measure(what).result(5)
        session.close()
        told = [line for line in server.instrument.asked if line.startswith("CONF")]
    assert told == ["CONF:VOLT:DC", "CONF:CURR:DC", "CONF:VOLT:DC"]


@pytest.mark.parametrize("way", WAYS)
def test_the_wrong_instrument_is_never_asked_for_a_reading(way: str) -> None:
    with Server() as server:
        session = Session("m", getattr(server, way), MULTIMETER, idn="Another,Meter,2,1")
        with pytest.raises(MeterFailed, match="is expected") as caught:
            session.measure("dc volts").result(10)
        assert len(caught.value.attempts) == 3
        session.close()
        assert not server.instrument.served


@pytest.mark.parametrize("way", WAYS)
def test_a_dead_peer_is_seen_at_once_and_costs_no_time_of_the_processor(way: str) -> None:
    with Server(fault=lambda line: "die" if "READ" in line else "") as server:
        wire = transport(getattr(server, way))
        wire.open()
        began, cpu = time.perf_counter(), time.process_time()
        wire.write("READ?")
        with pytest.raises(ConnectionLost):
            wire.read_line(5.0)
        assert time.perf_counter() - began < 1.0
        assert time.process_time() - cpu < 0.5
        wire.close()


@pytest.mark.parametrize("way", WAYS)
def test_the_timeout_is_an_upper_bound_however_the_bytes_dribble(way: str) -> None:
    with Server(fault=lambda _: "dribble") as server:
        server.slow_s = 0.4  # a byte every 50 ms
        wire = transport(getattr(server, way))
        wire.open()
        began = time.perf_counter()
        wire.write("*IDN?")
        with pytest.raises(NoAnswer, match="only 'W"):
            wire.read_line(0.3)
        assert time.perf_counter() - began < 0.8
        wire.close()


@pytest.mark.parametrize("way", WAYS)
def test_a_block_with_line_feeds_in_it(way: str) -> None:
    with Server() as server:
        wire = transport(getattr(server, way))
        server.instrument.fixed["CURV?"] = "#3256" + "".join(chr(each) for each in range(256))
        wire.open()
        wire.write("CURV?")
        assert wire.read_block(2.0) == (bytes(range(256)), b"")
        assert wire.leftover() == b""
        wire.close()


def test_a_waveform_through_the_digitiser_profile() -> None:
    instrument = Instrument(fixed={"SENS:SWE:TINT?": "1.0E-4"})
    with Server(instrument) as server:
        how = profile.load("digitiser")
        assert how.capture is not None
        shown = msgspec.structs.replace(how, capture=msgspec.structs.replace(how.capture, ask="CURV?"))
        session = Session("scope", server.visa, shown, channel="1")
        block = session.capture().result(5).result
        assert (block.values, block.unit, block.interval_s) == ((1.5, -2.25), "V", 1e-4)
        assert "CONF:ARR:VOLT 5000,(@1)" in instrument.asked
        session.close()


def test_asking_twice_never_interleaves() -> None:
    with Server() as server:
        session = Session("m", server.tcp, MULTIMETER)
        found: list[str] = []

        def ask() -> None:
            for _ in range(50):
                found.append(session.measure("dc volts").result(10).result.raw)

        threads = [threading.Thread(target=ask) for _ in range(4)]
        for each in threads:
            each.start()
        for each in threads:
            each.join()
        session.close()
        assert len(set(found)) == 200
        assert set(found) == set(server.instrument.served)


def test_a_burst_keeps_what_it_had_when_the_line_fails() -> None:
    heard: list[str] = []
    asked: list[str] = []

    def fault(line: str) -> str:
        asked.append(line)
        return "die" if len([each for each in asked if "READ?" in each]) == 8 and "READ?" in line else ""

    with Server(fault=fault) as server:
        session = Session("m", server.tcp, MULTIMETER)
        answer = session.burst(20, "dc volts", heard=lambda value: heard.append(value.raw)).result(10)
        session.close()
        assert [each.raw for each in answer.result] == heard
        assert len(set(heard)) == 20
        assert set(heard) < set(server.instrument.served)
        assert len(answer.failed) == 1


def test_no_caller_waits_for_a_meter_that_is_not_there() -> None:
    session = Session("m", "tcp://127.0.0.1:9", MULTIMETER)
    began = time.perf_counter()
    future = session.measure("dc volts")
    assert time.perf_counter() - began < 0.1
    with pytest.raises(MeterFailed, match="refused") as caught:
        future.result(10)
    assert len(caught.value.attempts) == 3
    assert session.close()


def test_nothing_is_asked_after_leaving() -> None:
    with Server() as server:
        session = Session("m", server.tcp, MULTIMETER)
        session.measure().result(5)
        assert session.close()
        with pytest.raises(MeterFailed, match="left"):
            session.measure().result(5)


def test_not_a_number_is_no_reading_and_no_fault_of_the_line() -> None:
    with Server(Instrument(fixed={"READ?": "9.91E37"})) as server:
        session = Session("m", server.tcp, MULTIMETER)
        with pytest.raises(MeterFailed, match="not a number") as caught:
            session.measure("dc volts").result(5)
        assert len(caught.value.attempts) == 1
        session.close()
        assert server.connections == 1


def test_what_the_instrument_refuses_is_said_in_its_own_words() -> None:
    strange = msgspec.structs.replace(MULTIMETER, opening=("FOO:BAR",))
    with Server() as server:
        session = Session("m", server.tcp, strange)
        with pytest.raises(MeterFailed, match="-113, Undefined header"):
            session.measure("dc volts").result(10)
        session.close()


class Hanging(SocketTransport):
    """A library call that never returns, once."""

    hang = True

    def read_line(self, timeout_s: float) -> bytes:
        if Hanging.hang:
            Hanging.hang = False
            time.sleep(1.5)
            raise ConnectionLost("the library came back at last, too late")
        return super().read_line(timeout_s)


def test_a_thread_that_hangs_in_a_library_is_given_up() -> None:
    Hanging.hang = True
    with Server() as server:
        resource = server.tcp

        def make() -> Transport:
            return Hanging(resource)

        session = Session("m", resource, MULTIMETER, make=make)
        future = session.submit(lambda c: c.measure(MULTIMETER.measure()), what="x", limit_s=-13.0)
        with pytest.raises(MeterFailed, match="did not come back"):
            future.result(20)
        assert session.measure("dc volts").result(10).result.raw in server.instrument.served
        session.close()
        given_up = [thread for thread in threading.enumerate() if thread.name == "meter m"]
        for thread in given_up:
            thread.join(10)
            assert not thread.is_alive()
        gc.collect()  # a connection left open by the thread given up would warn here, and fail


def test_a_load_whose_thread_hangs_is_switched_off_without_being_asked() -> None:
    Hanging.hang = False
    notices: list[Notice] = []
    load = msgspec.structs.replace(profile.load("load"), timeout_s=0.3)
    with Server() as server:
        resource = server.tcp
        session = Session("load", resource, load, make=lambda: Hanging(resource), notify=notices.append)
        session.switch(on=True).result(10)
        assert server.instrument.load_on
        Hanging.hang = True
        future = session.submit(lambda c: c.measure(load.measure()), what="x", limit_s=-13.0)
        with pytest.raises(MeterFailed, match="did not come back"):
            future.result(20)
        end = time.monotonic() + 5
        while server.instrument.load_on and time.monotonic() < end:
            time.sleep(0.01)
        assert not server.instrument.load_on
        assert any(each.kind == "lost" and "ON" in each.text for each in notices)
        assert session.close()
        for thread in [each for each in threading.enumerate() if each.name == "meter load"]:
            thread.join(10)
        gc.collect()


class HangingBefore(SocketTransport):
    """A library call that hangs before it passes on a line with `WORDS`, once."""

    words = ""
    for_s = 2.0

    def write(self, line: str) -> None:
        if HangingBefore.words and HangingBefore.words in line:
            HangingBefore.words = ""
            time.sleep(HangingBefore.for_s)
        super().write(line)


def put_off_after(command: str, server: Server) -> None:
    """Wait until it has been told so, which was held up, and has been told to switch off behind that."""
    end = time.monotonic() + 10
    told: list[str] = []
    while time.monotonic() < end and not (told[-1:] == ["INP OFF"] and command in told[:-1]):
        time.sleep(0.01)
        told = [each for each in tuple(server.instrument.asked) if each.startswith("INP O")]
    assert told[-1:] == ["INP OFF"]
    assert command in told[:-1]


@pytest.mark.parametrize("command", ["INP OFF", "INP ON"])
def test_a_switch_that_hangs_is_given_up_and_what_it_does_at_last_is_put_right(
    command: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    on = command == "INP ON"
    load = msgspec.structs.replace(profile.load("load"), timeout_s=0.3)
    with Server() as server:
        resource = server.tcp
        session = Session("load", resource, load, make=lambda: HangingBefore(resource))
        session.switch(on=not on).result(10)
        assert server.instrument.load_on is not on
        monkeypatch.setattr(patience, "limit_s", lambda *_: 1.0)
        HangingBefore.words = command
        with pytest.raises(MeterFailed, match="did not come back"):
            session.switch(on=on).result(20)
        put_off_after(command, server)
        end = time.monotonic() + 10
        while (server.instrument.load_on or session.on) and time.monotonic() < end:
            time.sleep(0.01)
        assert not server.instrument.load_on
        assert not session.on
        assert session.close()
        for thread in [each for each in threading.enumerate() if each.name == "meter load"]:
            thread.join(10)
        gc.collect()


def test_a_load_that_comes_on_after_its_meter_was_left_is_switched_off(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    load = msgspec.structs.replace(profile.load("load"), timeout_s=0.3)
    with Server() as server:
        resource = server.tcp
        session = Session("load", resource, load, make=lambda: HangingBefore(resource))
        session.switch(on=False).result(10)
        monkeypatch.setattr(patience, "limit_s", lambda *_: 0.5)
        HangingBefore.words = "INP ON"
        with pytest.raises(MeterFailed, match="did not come back"):
            session.switch(on=True).result(20)
        session.close()
        put_off_after("INP ON", server)
        end = time.monotonic() + 10
        while (server.instrument.load_on or session.on) and time.monotonic() < end:
            time.sleep(0.01)
        assert not server.instrument.load_on
        assert not session.on
        for thread in [each for each in threading.enumerate() if each.name == "meter load"]:
            thread.join(10)
        gc.collect()


def test_putting_off_that_hangs_is_given_up_and_tried_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """The load is on, its line is lost, and the call that would switch it off does not come back."""
    load = msgspec.structs.replace(profile.load("load"), timeout_s=0.3)
    with Server() as server:
        resource = server.tcp
        session = Session("load", resource, load, make=lambda: HangingBefore(resource))
        session.switch(on=True).result(10)
        monkeypatch.setattr(patience, "limit_s", lambda *_: 1.0)

        def lose(_: Conversation) -> None:
            HangingBefore.words = "INP OFF"
            raise ConnectionLost("pulled out")

        with pytest.raises(MeterFailed, match="pulled out"):
            session.submit(lose, what="x", repeatable=False).result(20)
        end = time.monotonic() + HangingBefore.for_s - 0.2
        while server.instrument.load_on and time.monotonic() < end:
            time.sleep(0.01)
        assert not server.instrument.load_on, "it is off before the call that hangs has come back"
        assert session.close()
        for thread in [each for each in threading.enumerate() if each.name == "meter load"]:
            thread.join(10)
        gc.collect()


def test_a_manager_that_other_code_closed_is_made_again() -> None:
    # PyVISA hands the same manager to every caller in a process; closing it ends all sessions of it.
    with Server() as server:
        manager().close()
        session = Session("m", server.visa, MULTIMETER)
        assert session.measure("dc volts").result(20).result.raw in server.instrument.served
        session.close()


@pytest.mark.parametrize(
    ("resource", "error", "words"),
    [
        ("USB::0x1234::0x5678::1::INSTR", PartMissing, "pip install pyusb"),
        ("GPIB::3::INSTR", PartMissing, "gpib-ctypes"),
        ("rubbish", InputError, "not a VISA resource name"),
        ("ASRL/dev/nothing-here::INSTR", ConnectionLost, "No such file"),
        ("TCPIP::127.0.0.1::9::SOCKET", ConnectionLost, "refused"),
        ("tcp://127.0.0.1:9", ConnectionLost, "refused"),
    ],
)
def test_what_is_missing_is_said_with_its_remedy(resource: str, error: type[Exception], words: str) -> None:
    wire = transport(resource, open_timeout_s=1.0)
    with pytest.raises(error, match=words):
        wire.open()
    wire.close()


@pytest.mark.parametrize(
    "resource", ["tcp://", "tcp://host", "tcp://host:99999", "tcp://h:1/x", "tcp://[::1:5"]
)
def test_addresses_that_are_none(resource: str) -> None:
    with pytest.raises(InputError, match="TCPIP::"):
        transport(resource)


@pytest.mark.parametrize("visa", ["@ivi", "/nowhere/libvisa.so"])
def test_a_missing_visa_library_is_explained(visa: str, monkeypatch: pytest.MonkeyPatch) -> None:
    from pyvisa.ctwrapper.highlevel import IVIVisaLibrary

    # as on a machine that has none
    monkeypatch.setattr(IVIVisaLibrary, "get_library_paths", staticmethod(tuple))
    with pytest.raises(PartMissing) as caught:
        VisaTransport("TCPIP::127.0.0.1::9::SOCKET", visa=visa).open()
    said = str(caught.value)
    assert f"'{visa}' cannot be loaded" in said
    assert "library of an instrument maker" in said
    assert "pip install pyvisa-py" in said


def test_a_meters_entry_that_asks_for_a_missing_library_fails_with_the_remedy_and_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from pyvisa.ctwrapper.highlevel import IVIVisaLibrary

    monkeypatch.setattr(IVIVisaLibrary, "get_library_paths", staticmethod(tuple))
    (meter,) = loads('[[meter]]\nname = "m"\nresource = "TCPIP::127.0.0.1::9::SOCKET"\nvisa = "@ivi"\n')
    (found,) = check([meter])
    assert "library of an instrument maker" in found.problem


@pytest.mark.parametrize("said", ["No module named 'usb'", "No backend available"])
def test_the_parts_of_usb_that_are_absent_are_explained(said: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What PyVISA-py raises without pyusb, and what pyusb raises without libusb: a ValueError each."""

    def fails(*_: object, **__: object) -> None:
        raise ValueError(said)

    monkeypatch.setattr(type(manager("@py")), "open_resource", fails)
    with pytest.raises(PartMissing) as caught:
        transport("USB::0x1234::0x5678::1::INSTR").open()
    for words in (said, "pip install pyusb libusb-package", "udev rule"):
        assert words in str(caught.value)


def test_one_resource_manager_for_the_process() -> None:
    assert manager("@py") is manager("@py")


def test_the_private_names_of_pyvisa_py_are_still_there() -> None:
    # without them a dead peer would be seen only when the time is up: see visa._underneath
    with Server() as server, PseudoTerminal() as port:
        for resource in (server.visa, port.visa):
            wire = VisaTransport(resource)
            wire.open()
            assert wire._wire is not None
            wire.close()


def test_replies_that_come_unasked_spoil_the_session() -> None:
    with Server(fault=lambda line: "two" if "*IDN" in line else "") as server:
        plain = msgspec.structs.replace(MULTIMETER, stamps=False)
        conversation = Conversation(transport(server.tcp), plain)
        with pytest.raises(Exception, match="without having been asked"):
            conversation.open()
        conversation.transport.close()
