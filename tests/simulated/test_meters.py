"""The simulated meters over real sockets. Clauses of IEEE 488.2-1992 and SCPI-99 are cited from memory."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator

import numpy as np
import pytest

from ohmward.bench.meters import loads
from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.bench.simulated.clock import BenchClock
from ohmward.bench.simulated.servers import LONGEST
from ohmward.bench.visa import manager
from simulated.wire import Wire, sheet, still


@pytest.fixture(scope="module")
def bench() -> Iterator[SimulatedBench]:
    with still() as found:
        found.unit.switch_on()
        yield found


@pytest.fixture
def multimeter(bench: SimulatedBench) -> Iterator[Wire]:
    with Wire(bench.addresses["multimeter"]) as wire:
        wire.tell("*RST;*CLS")
        yield wire


def half_width(bench: SimulatedBench, name: str, value: float, unit: str, function: str) -> float:
    meter = next(each for each in bench.meters if each.name == name)
    width = meter.half_width(value, unit, function)
    assert width is not None
    return width


def test_every_instrument_says_who_it_is_and_that_it_is_simulated(bench: SimulatedBench) -> None:
    by_name = {meter.name: meter for meter in bench.meters}
    for name, address in bench.addresses.items():
        with Wire(address) as wire:
            said = wire.ask("*IDN?")
        assert len(said.split(",")) == 4  # IEEE 488.2, 10.14: maker, model, serial, firmware
        assert "SIMULATED" in said
        assert said == by_name[name].idn
        assert "SIMULATED" in by_name[name].note


def test_the_meters_file_is_read_back_and_points_at_loopback(bench: SimulatedBench) -> None:
    meters = loads(bench.meters_toml)
    assert bench.meters_toml.startswith("# SIMULATED BENCH")
    assert {meter.kind for meter in meters} == {
        "multimeter", "low-ohm", "insulation", "oscilloscope", "thermometer", "power", "load",
    }  # fmt: skip
    assert all("127.0.0.1" in meter.resource for meter in meters)
    assert all(meter.specifications for meter in meters)


def test_servers_listen_on_loopback_only(bench: SimulatedBench) -> None:
    for host, port in bench.addresses.values():
        assert host == "127.0.0.1"
        outside = {info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
        for address in outside - {host}:
            if str(address).startswith("127."):
                continue
            with pytest.raises(OSError), socket.create_connection((str(address), port), timeout=0.5):  # noqa: PT011
                pass


def test_configure_sets_up_read_takes_and_fetch_gives_it_again(multimeter: Wire) -> None:
    # SCPI-99 volume 2, chapter 3
    multimeter.tell('PROB:AT "rail +48 output"')
    multimeter.tell("CONF:VOLT:DC")
    multimeter.tell("FETC?")
    assert multimeter.error() == -230  # nothing taken yet: data corrupt or stale
    first = multimeter.ask("READ?")
    assert multimeter.ask("FETC?") == first
    assert float(first) == pytest.approx(48, rel=0.04)
    assert multimeter.number("MEAS:VOLT?") == pytest.approx(48, rel=0.04)
    assert multimeter.number("measure:scalar:voltage:dc?") == pytest.approx(48, rel=0.04)


def test_over_range_is_9_9e37(multimeter: Wire) -> None:
    multimeter.tell('PROB:AT "rail +48 output"')
    multimeter.tell("CONF:VOLT:DC 6")
    assert float(multimeter.ask("READ?")) == 9.9e37  # SCPI-99 volume 1, 7.2.1.4
    multimeter.tell("VOLT:RANG:AUTO ON")
    assert multimeter.number("READ?") < 60
    multimeter.tell("CONF:VOLT:DC 5000")
    assert multimeter.error() == -222
    multimeter.tell('PROB:AT "open"')
    assert float(multimeter.ask("MEAS:RES?")) == 9.9e37


def test_ohms_on_a_live_unit_are_no_reading(multimeter: Wire) -> None:
    multimeter.tell('PROB:AT "primary"')
    assert float(multimeter.ask("MEAS:RES?")) == 9.91e37  # not a number: SCPI-99 volume 1, 7.2.1.5


def test_a_test_point_that_is_not_there_is_refused(multimeter: Wire) -> None:
    multimeter.tell('PROB:AT "rail +12 output"')
    assert multimeter.error() == -224
    assert '"rail +15 reservoir"' in multimeter.ask("PROB:CAT?")


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(
    ("name", "question", "point", "measured"),
    [
        ("multimeter", "MEAS:VOLT:DC?", "rail +15 output", ("dc volts", "V")),
        ("multimeter", "MEAS:VOLT:DC?", "rail -15 reservoir", ("dc volts", "V")),
        ("multimeter", "MEAS:VOLT:AC?", "secondary T2.a", ("ac volts", "V")),
        ("mains-meter", "MEAS:VOLT:AC?", "mains", ("ac volts", "V")),
        ("mains-meter", "MEAS:CURR:AC?", "mains", ("ac amps", "A")),
        ("mains-meter", "MEAS:POW:AC?", "mains", ("power", "W")),
        ("load 24", "MEAS:VOLT:DC?", "rail 24 output", ("dc volts", "V")),
    ],
)
def test_readings_stay_within_the_accuracy_the_meters_file_states(
    seed: int, name: str, question: str, point: str, measured: tuple[str, str]
) -> None:
    function, unit = measured
    with still(seed=seed) as bench:
        bench.unit.switch_on()
        true = bench.points.value(bench.points.find(point), function)
        with Wire(bench.addresses[name]) as wire:
            wire.tell(f'PROB:AT "{point}"')
            readings = [wire.number(question) for _ in range(20)]
        width = half_width(bench, name, true, unit, function)
        assert all(abs(reading - true) <= width * 1.0001 for reading in readings)
        # the error is the session's, the noise a few counts: readings agree far better than they are right
        assert max(readings) - min(readings) <= max(width / 2, 1e-9)


def test_meters_of_different_sessions_are_wrong_by_different_amounts() -> None:
    wrong = set()
    for seed in range(5):
        with still(seed=seed) as bench, Wire(bench.addresses["mains-meter"]) as wire:
            wrong.add(round(wire.number("MEAS:VOLT:AC?") - 230.0, 2))
    assert len(wrong) >= 4


def test_a_display_follows_its_probe_after_a_moment() -> None:
    clock = BenchClock(0.0)
    with SimulatedBench(sheet(), seed=3, clock=clock, wander=False) as bench:
        bench.unit.switch_on()
        with Wire(bench.addresses["multimeter"]) as wire:
            wire.tell('PROB:AT "rail +48 output"')
            early = wire.number("MEAS:VOLT:DC?")
            clock.skip(2.0)
            late = wire.number("MEAS:VOLT:DC?")
    assert early < 5
    assert late == pytest.approx(48, rel=0.04)


def test_the_thermometer_scans_its_channels_in_order(bench: SimulatedBench) -> None:
    with Wire(bench.addresses["thermometer"]) as wire:
        found = [float(text) for text in wire.ask("MEAS:TEMP? (@102,103:105)").split(",")]
        assert len(found) == 4
        assert all(abs(celsius - 21.5) < 3 for celsius in found)
        wire.tell("MEAS:TEMP? (@999)")
        assert wire.error() == -222
        wire.tell('PROB:AT "heat sink +15",(@101)')
        assert wire.ask("PROB:AT? (@101,102)") == '"heat sink +15","room air"'


def test_the_load_draws_what_it_is_told_and_nothing_with_its_input_off(bench: SimulatedBench) -> None:
    with Wire(bench.addresses["load 24"]) as wire:
        wire.tell("*RST;*CLS")
        idle = wire.number("MEAS:VOLT?")
        wire.tell("CURR 2;:INP ON")
        assert wire.number("CURR?") == 2.0
        assert wire.ask("INP?") == "1"
        assert wire.number("MEAS:CURR?") == pytest.approx(2.0, rel=0.01)
        assert wire.number("MEAS:VOLT?") < idle - 2
        wire.tell('PROB:AT "rail +15 output"')
        assert wire.error() == -221  # settings conflict: a load is moved with its input off
        wire.tell("INP OFF")
        assert wire.number("MEAS:CURR?") == pytest.approx(0.0, abs=0.01)
        assert wire.number("MEAS:VOLT?") == pytest.approx(idle, abs=0.02)
        wire.tell("CURR 31")
        assert wire.error() == -222


def test_a_load_of_constant_resistance_obeys_ohm(bench: SimulatedBench) -> None:
    with Wire(bench.addresses["load 24"]) as wire:
        wire.tell("*RST;FUNC RES;RES 20;:INP ON")
        volts, amps = wire.number("MEAS:VOLT?"), wire.number("MEAS:CURR?")
        assert wire.ask("*RST;*OPC?") == "1"  # obeyed before the next test begins
    assert volts / amps == pytest.approx(20.0, rel=0.02)


@pytest.mark.parametrize(("order", "kind"), [("NORM", ">f4"), ("SWAP", "<f4")])
def test_a_waveform_comes_as_a_definite_length_block(bench: SimulatedBench, order: str, kind: str) -> None:
    bench.unit.set_load("24", 2.0)
    with Wire(bench.addresses["scope"]) as wire:
        wire.tell('*RST;PROB:AT "rail 24 reservoir"')
        wire.tell(f"FORM REAL,32;:FORM:BORD {order};:CONF:ARR:VOLT 5000,(@1);:INIT")
        step_s = wire.number("SENS:SWE:TINT?")
        wire.tell("FETC:ARR:VOLT?")
        # IEEE 488.2, 8.7.9; SCPI-99 volume 2, chapter 9: NORMal is most significant byte first
        assert wire.exactly(7) == b"#520000"
        volts = np.frombuffer(wire.exactly(20_000), kind)
        assert wire.line() == b""
        peak_to_peak = wire.number("MEAS:VOLT:PTP? (@1)")
    true = float(np.ptp(bench.unit.waves("24").reservoir_v))
    bench.unit.set_load("24", 0.0)
    assert len(volts) * step_s == pytest.approx(0.1)
    assert float(np.mean(volts)) == pytest.approx(25.5, rel=0.1)
    assert peak_to_peak == pytest.approx(true, abs=half_width(bench, "scope", true, "V", "ac volts"))
    spectrum = np.abs(np.fft.rfft(volts - volts.mean()))
    assert int(spectrum.argmax()) == 10  # 100 Hz in a tenth of a second: a sound full-wave rail


def test_an_open_diode_shows_in_the_digitised_waveform() -> None:
    sizes = {}
    for name, faults in {"sound": (), "faulty": (("open-diode", "24"),)}.items():
        with still(*faults) as bench:
            bench.unit.switch_on()
            bench.unit.set_load("24", 2.0)
            with Wire(bench.addresses["scope"]) as wire:
                wire.tell('PROB:AT "rail 24 reservoir"')
                wire.tell("CONF:ARR:VOLT 5000,(@1);:INIT;:FETC:ARR:VOLT?")
                wire.exactly(7)
                volts = np.frombuffer(wire.exactly(20_000), ">f4")
            spectrum = np.abs(np.fft.rfft(volts - volts.mean()))
            sizes[name] = (float(np.ptp(volts)), int(spectrum.argmax()))
    # ripple about twice as large, at 50 Hz in place of 100 Hz (any rectifier text, from memory)
    assert 1.8 < sizes["faulty"][0] / sizes["sound"][0] < 2.6
    assert (sizes["sound"][1], sizes["faulty"][1]) == (10, 5)


def test_earth_insulation_and_windings_of_a_sound_unit_and_of_a_faulty_one() -> None:
    def found(*faults: tuple[str, str | None]) -> tuple[float, float, float]:
        with still(*faults) as bench:
            with Wire(bench.addresses["low-ohm"]) as wire:
                null = wire.number('PROB:AT "leads joined";:MEAS:FRES?')
                earth = wire.number('PROB:AT "earth case";:MEAS:FRES?') - null
            with Wire(bench.addresses["insulation"]) as wire:
                insulation = wire.number('PROB:AT "line earth";:CONF:INS 500;:READ?')
            with Wire(bench.addresses["multimeter"]) as wire:
                primary = wire.number('PROB:AT "primary";:MEAS:RES?')
        return earth, insulation, primary

    earth, insulation, primary = found()
    # 2 m of 0.75 mm² flexible copper: 26.0 Ω/km at 20 °C (IEC 60228, class 5), and a joint
    assert 0.052 < earth < 0.052 + 0.03
    assert insulation == 9.9e37
    assert 5 < primary < 25
    assert found(("loose-earth", None))[0] == pytest.approx(earth + 0.5, abs=0.03)  # the fault's size
    assert found(("damp-insulation", None))[1] == pytest.approx(5e6, rel=0.15)


def test_a_late_reader_gets_whole_answers_from_two_clients_at_once(bench: SimulatedBench) -> None:
    wrong: list[str] = []

    def talk(question: str, expected: str) -> None:
        with Wire(bench.addresses["mains-meter"]) as wire:
            wrong.extend(said for _ in range(200) if (said := wire.ask(question)) != expected)

    threads = [
        threading.Thread(target=talk, args=("*OPC?", "1")),
        threading.Thread(target=talk, args=("SYST:VERS?", "1999.0")),
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


def test_garbage_and_endless_messages_leave_the_instrument_in_order(bench: SimulatedBench) -> None:
    with Wire(bench.addresses["low-ohm"]) as wire:
        wire.tell("*CLS")
        wire.send(b"\xff\x00\x80garbage\n")
        assert wire.error() == -101
        wire.send(b"A" * (LONGEST + 10) + b"\n")
        assert wire.error() == -363
        wire.send(b"*OPC?\r\n")  # a carriage return before the line feed is no part of the message
        assert wire.line() == b"1"
    with Wire(bench.addresses["low-ohm"]) as wire:
        wire.send(b"*RST;*ID")  # hangs up in the middle of a message
    with Wire(bench.addresses["low-ohm"]) as wire:
        assert wire.ask("*OPC?") == "1"


def test_replies_can_be_slow_and_the_bench_stops_all_the_same() -> None:
    with SimulatedBench(sheet(), seed=3, speed=0.0, slow_s=0.2) as bench:
        with Wire(bench.addresses["multimeter"]) as wire:
            began = time.monotonic()
            wire.ask("*OPC?")
            assert time.monotonic() - began >= 0.2
        addresses = list(bench.addresses.values())
    for address in addresses:
        with pytest.raises(OSError), socket.create_connection(address, timeout=0.5):  # noqa: PT011
            pass


def test_pyvisa_reads_it_as_it_would_a_real_instrument(bench: SimulatedBench) -> None:
    import pyvisa

    meter = manager().open_resource(
        bench.resources["multimeter"], read_termination="\n", write_termination="\n", timeout=5000
    )
    assert isinstance(meter, pyvisa.resources.MessageBasedResource)
    meter.write('*RST;PROB:AT "rail +48 output"')
    assert float(meter.query("MEAS:VOLT:DC?")) == pytest.approx(48, rel=0.04)
    meter.close()
