"""`ohmward meters`: list, find, check, read, over loopback sockets by PyVISA and by the plain socket."""

from __future__ import annotations

import json
import math
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from ohmward.bench.leaving import FOLDER
from ohmward.bench.left_on import Entry, Guard
from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.bench.simulated.meters import InsulationTester
from ohmward.cli import main
from ohmward.shipped import folder
from ohmward.supply import load
from support.scpi import IDN, Instrument, PseudoTerminal, Server

METER = """
[[meter]]
name = "{name}"
resource = "{resource}"
idn = "{idn}"
due = {due}

[[meter.accuracy]]
function = "dc volts"
range = "20 V"
resolution = "1 mV"
accuracy = "±(0.05 % + 5)"
"""


def write(logbook: Path, *entries: dict[str, str]) -> None:
    plain = {"name": "bench multimeter", "idn": IDN, "due": "2999-01-01"}
    text = "".join(METER.format(**plain | each) for each in entries)
    (logbook / "meters.toml").write_text(text, encoding="utf-8")


def meters(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, Any, str]:
    """Run ``ohmward meters …``; return exit code, what was printed as data, and the talk."""
    code = main(["meters", *arguments])
    said = capsys.readouterr()
    return code, json.loads(said.out) if "--json" in arguments and said.out else said.out, said.err


@pytest.fixture
def server() -> Iterator[Server]:
    with Server() as running:
        yield running


def closed_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        return int(listener.getsockname()[1])


def test_list_says_calibration_and_accuracy_and_opens_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], server: Server
) -> None:
    write(tmp_path, {"resource": server.visa}, {"name": "old one", "resource": "", "due": "2001-01-01"})
    with (tmp_path / "meters.toml").open("a", encoding="utf-8") as file:
        file.write('[[meter]]\nname = "loaned"\n[[meter]]\nname = "checked"\ncalibrated = 2001-01-01\n')
    code, data, _ = meters(capsys, "list", "--json", "--logbook", str(tmp_path))
    assert code == 0
    stands = [each["calibration"] for each in data["meters"]]
    assert stands == ["in date", "overdue", "not stated", "no due date"]
    assert data["meters"][0]["accuracy"] == [
        {"function": "dc volts", "unit": "V", "low": 0.0, "high": 20.0, "accuracy": "±(0.05 % + 5)"}
    ]
    assert data["meters"][2]["accuracy"] == []
    assert server.connections == 0
    code, text, _ = meters(capsys, "list", "--logbook", str(tmp_path))
    assert code == 0
    assert "OVERDUE (2001-01-01)" in text
    assert "read by hand" in text
    assert "REHEARSAL" not in text


def test_no_meters_file_is_unreachable(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, talk = meters(capsys, "list", "--logbook", str(tmp_path))
    assert code == 3
    assert "meters.toml" in talk


@pytest.mark.parametrize("way", ["visa", "tcp"])
def test_check_reports_identity_drained_errors_and_round_trip(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], server: Server, way: str
) -> None:
    server.instrument.errors.append('-113,"Undefined header"')
    write(tmp_path, {"resource": getattr(server, way)})
    code, data, _ = meters(capsys, "check", "--json", "--logbook", str(tmp_path))
    (found,) = data["meters"]
    assert code == 0
    assert found["reached"] is True
    assert found["identity"] == IDN
    assert "-113" in " ".join(found["errors"])
    assert not server.instrument.errors
    assert 0 < found["round_trip_s"] < 1
    assert found["backend"] == ("VISA @py" if way == "visa" else "plain socket")


def test_check_exits_3_for_another_instrument_and_for_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], server: Server
) -> None:
    gone = f"tcp://127.0.0.1:{closed_port()}"
    write(
        tmp_path,
        {"resource": server.tcp},
        {"name": "other", "resource": server.visa, "idn": "Somebody,Else,2,1"},
        {"name": "gone", "resource": gone},
    )
    code, data, _ = meters(capsys, "check", "--json", "--logbook", str(tmp_path))
    assert code == 3
    assert [each["reached"] for each in data["meters"]] == [True, False, False]
    assert "Somebody,Else,2,1" in data["meters"][1]["problem"]
    code, text, _ = meters(capsys, "check", "--logbook", str(tmp_path))
    assert code == 3
    assert text.count("NOT REACHED") == 2


def test_check_tells_of_a_profile_that_is_not_there_beside_the_meters_that_answer(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], server: Server
) -> None:
    odd = f"tcp://127.0.0.1:{closed_port()}"
    write(tmp_path, {"name": "odd", "resource": odd}, {"resource": server.tcp})
    path = tmp_path / "meters.toml"
    listed = path.read_text("utf-8").replace(f'"{odd}"', f'"{odd}"\nprofile = "no such"')
    path.write_text(listed, "utf-8")
    code, data, _ = meters(capsys, "check", "--json", "--logbook", str(tmp_path))
    assert code == 3
    assert [each["reached"] for each in data["meters"]] == [False, True]
    assert "no such" in data["meters"][0]["problem"]


@pytest.mark.parametrize("way", ["visa", "tcp"])
def test_read_gives_type_a_type_b_and_expanded(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], way: str
) -> None:
    """GUM H-style by hand: a = 0.05 % of 12.040 V + 5 mV = 11.02 mV, u_B = a/√3 (JCGM 100:2008, 4.3.7)."""
    with Server(Instrument(fixed={"READ?": "+1.2040E+01"})) as server:
        write(tmp_path, {"resource": getattr(server, way)})
        code, data, _ = meters(
            capsys, "read", "bench multimeter", "--count", "4", "--json", "--logbook", str(tmp_path)
        )
    assert code == 0
    assert data["value"] == pytest.approx(12.04)
    assert data["count"] == 4
    assert data["replies"] == ["+1.2040E+01"] * 4
    assert data["standard_deviation"] == 0
    assert data["type_a"] == 0
    assert data["half_width"] == pytest.approx(0.0005 * 12.04 + 0.005)
    assert data["type_b"] == pytest.approx(0.01102 / math.sqrt(3))
    # U = 2 u for a normal distribution with well known components (JCGM 100:2008, 6.2.1)
    assert data["expanded_uncertainty"] == pytest.approx(2 * 0.01102 / math.sqrt(3), rel=1e-6)
    assert data["simulated"] is False


def test_readings_that_differ_have_a_spread(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Four readings 12.040, 12.042, 12.041, 12.043: s = 1.291 mV, s/√4 = 0.6455 mV (JCGM 100, 4.2.2)."""
    replies = iter(["12.040", "12.042", "12.041", "12.043"])

    class Drifting(Instrument):
        def unique(self, question: str) -> str:
            return next(replies)

    with Server(Drifting()) as server:
        write(tmp_path, {"resource": server.tcp})
        code, data, _ = meters(
            capsys, "read", "bench multimeter", "--count", "4", "--json", "--logbook", str(tmp_path)
        )
    assert code == 0
    assert data["value"] == pytest.approx(12.0415)
    assert data["standard_deviation"] == pytest.approx(1.2910e-3, rel=1e-4)
    assert data["type_a"] == pytest.approx(0.6455e-3, rel=1e-3)


def test_read_refuses_what_it_cannot(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], server: Server
) -> None:
    write(tmp_path, {"resource": server.tcp}, {"name": "by hand", "resource": ""})
    for arguments, word in (
        (["bench multimetre"], "no meter has that name. Did you mean 'bench multimeter'?"),
        (["by hand"], "read by hand"),
        (["bench multimeter", "--function", "power"], "not known to measure"),
        (["bench multimeter", "--count", "1"], "2 to 1000"),
    ):
        code, _, talk = meters(capsys, "read", *arguments, "--logbook", str(tmp_path))
        assert code == 2
        assert word in talk
    assert server.connections == 0


def test_an_unreachable_meter_is_3(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(tmp_path, {"resource": f"tcp://127.0.0.1:{closed_port()}"})
    code, _, talk = meters(capsys, "read", "bench multimeter", "--logbook", str(tmp_path))
    assert code == 3
    assert "refused" in talk


def test_find_asks_only_what_is_named_and_says_how_long(
    capsys: pytest.CaptureFixture[str], server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    from serial.tools import list_ports

    def never() -> list[object]:
        raise AssertionError("serial ports were listed unasked")

    monkeypatch.setattr(list_ports, "comports", never)
    code, data, talk = meters(capsys, "find", "--json", "--address", f"127.0.0.1:{server.port}")
    assert code == 0
    assert data["found"][0]["identity"] == IDN
    assert "at most 5 s" in talk
    assert server.instrument.asked == ["*IDN?"]
    code, _, talk = meters(capsys, "find", "--address", f"127.0.0.1:{closed_port()}")
    assert code == 3
    code, _, talk = meters(capsys, "find")
    assert code == 2
    assert "no place is named" in talk
    code, _, talk = meters(capsys, "find", "--address", "127.0.0.1")
    assert code == 2


def test_find_serial_asks_every_port_of_the_computer_and_nothing_else(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from serial.tools import list_ports
    from serial.tools.list_ports_common import ListPortInfo

    from ohmward.bench.meters import loads

    with PseudoTerminal() as port:
        ports = [ListPortInfo(port.path), ListPortInfo("/dev/nothing-here")]
        ports[0].description = "USB serial\x1b[31m"
        monkeypatch.setattr(list_ports, "comports", lambda: ports)
        code, data, talk = meters(capsys, "find", "--serial", "--json")
        assert code == 0
        assert [each["identity"] for each in data["found"]] == [IDN, ""]
        assert "No such file" in data["found"][1]["problem"]
        assert port.instrument.asked == ["*IDN?"]
        assert "at most 14 s" in talk
        assert "\x1b" not in talk
        _, text, _ = meters(capsys, "find", "--serial")
        assert "\x1b" not in text
        assert "n/a" not in text  # what pyserial calls a port that it knows nothing of
        assert "# /dev/nothing-here: " in text
        (meter,) = loads(text.replace('name = ""', 'name = "found"'))
        assert (meter.idn, meter.resource) == (IDN, f"ASRL{port.path}::INSTR")


def test_find_serial_without_a_port_says_so(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from serial.tools import list_ports

    monkeypatch.setattr(list_ports, "comports", list)
    code, _, talk = meters(capsys, "find", "--serial")
    assert code == 3
    assert "serial" in talk


def test_find_entry_can_be_read_back(capsys: pytest.CaptureFixture[str], server: Server) -> None:
    from ohmward.bench.meters import loads

    _, text, _ = meters(capsys, "find", "--address", f"127.0.0.1:{server.port}")
    (meter,) = loads(text.replace('name = ""', 'name = "found"'))
    assert meter.idn == IDN
    assert meter.resource == server.tcp


def test_a_load_left_on_is_switched_off_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], server: Server
) -> None:
    server.instrument.load_on = True
    write(tmp_path, {"resource": server.tcp})
    entry = Entry(
        meter="load +15", resource=server.tcp, visa="@py", identity=IDN, channel="", off=("INP OFF",),
        confirm="INP?", error="SYST:ERR?", timeout_s=2.0, since="2026-03-01T10:00:00+01:00", process=1,
    )  # fmt: skip
    guard = Guard(tmp_path)
    guard.arm(lambda since, process: entry, "load +15")
    (path,) = (tmp_path / FOLDER).glob("*.json")
    kept = path.read_bytes()
    guard.clear("load +15")  # lets go of the lock, as the death of the process does
    path.write_bytes(kept)
    code, _, talk = meters(capsys, "check", "--logbook", str(tmp_path))
    assert code == 0
    assert server.instrument.load_on is False
    here = datetime.fromisoformat("2026-03-01T10:00:00+01:00").astimezone()
    assert f"load +15: left on since {here:%Y-%m-%d %H:%M:%S} by" in talk
    assert "now off" in talk
    assert not path.exists()


def test_simulated_bench_is_read_and_says_rehearsal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    supply = load(folder("demo") / "CR-07.toml")
    with SimulatedBench(supply, seed=3, speed=1.0) as bench:
        assert {host for host, _ in bench.addresses.values()} == {"127.0.0.1"}
        (tmp_path / "meters.toml").write_text(bench.meters_toml, encoding="utf-8")
        at = ["--logbook", str(tmp_path)]
        code, data, _ = meters(capsys, "check", "--json", *at)
        assert code == 0
        assert all(each["reached"] and each["simulated"] for each in data["meters"])
        code, data, _ = meters(capsys, "read", "mains-meter", "--json", *at)
        assert code == 0
        assert data["simulated"] is True
        assert data["unit"] == "V"
        assert abs(data["value"] - bench.unit.mains_v()) < 5
        tester = bench._servers["insulation"].instrument
        assert isinstance(tester, InsulationTester)
        code, _, talk = meters(capsys, "read", "insulation", *at)
        assert code == 2
        assert "no test voltage is known" in talk
        assert "Give --test-voltage" in talk
        assert tester.test_v is None  # it was told nothing at all
        code, text, _ = meters(capsys, "read", "insulation", "--test-voltage", "250 V", *at)
        assert code == 0
        assert tester.test_v == 250.0
        assert "> 200 MΩ" in text  # open leads: over the top of its range
        for command in (["list"], ["check"], ["read", "mains-meter"]):
            _, text, _ = meters(capsys, *command, *at)
            assert "REHEARSAL" in text


def test_a_bench_simulated_in_another_terminal_is_probed_and_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    at = ["--logbook", str(tmp_path)]
    with (tmp_path / "meters.toml").open("wb") as listed:
        bench = subprocess.Popen(
            [sys.executable, "-m", "ohmward", "simulate", str(folder("demo") / "CR-07.toml")],
            stdin=subprocess.PIPE, stdout=listed, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert bench.stdin is not None
        assert bench.stderr is not None
        read = []
        for command in ("on", "probe at rail +48 output", "wait 10 s", "probe at open", "wait 10 s"):
            bench.stdin.write(f"{command}\n")
            bench.stdin.flush()
            while " s, on" not in (line := bench.stderr.readline()):
                assert line
            if command.startswith("wait"):
                code, data, _ = meters(capsys, "read", "multimeter", "--json", *at)
                read.append((code, data["value"], data["simulated"]))
        bench.send_signal(signal.SIGINT)
        _, talk = bench.communicate(timeout=20)
    assert [each[::2] for each in read] == [(0, True)] * 2
    assert [each[1] for each in read] == [pytest.approx(48.0, rel=0.1), pytest.approx(0.0, abs=0.01)]
    assert bench.returncode == 0
    assert "stopped" in talk
