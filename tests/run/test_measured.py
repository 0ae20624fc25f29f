"""Readings measured by a meter: recorded with replies and spread; what is refused leaves nothing."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Iterator, Sequence
from decimal import Decimal
from pathlib import Path

import msgspec
import pytest

from ohmward.bench.attempt import Attempt
from ohmward.bench.inventory import Inventory
from ohmward.bench.meters import load as load_meters
from ohmward.bench.settled import Measured, Settled
from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.bench.survey import read as read_meter
from ohmward.desk.recording import recorded
from ohmward.errors import InputError, Refused
from ohmward.logbook import create_run, read, verify
from ohmward.logbook.events import Noted, Reading
from ohmward.quantity import Value
from ohmward.run import AskAgain, LiveRun
from ohmward.run.answers import parse_answers, play
from ohmward.run.start import start
from ohmward.run.state import Standing
from ohmward.shipped import folder
from ohmward.supply import load as load_supply
from support import bench as b
from support.scpi import IDN, Instrument, Server

METERS = """
[[meter]]
name = "multimeter"
resource = "tcp://127.0.0.1:{multimeter}"
[[meter.accuracy]]
function = "dc volts"
range = "20 V"
resolution = "1 mV"
accuracy = "±(0.05 % + 5)"
[[meter.accuracy]]
function = "ohms"
range = "200 Ω"
accuracy = "1 %"

[[meter]]
name = "tester"
kind = "insulation"
resource = "tcp://127.0.0.1:{tester}"
[[meter.accuracy]]
function = "insulation"
range = "200 MΩ"
accuracy = "3 %"
"""
TO_LIVE = """step,subject,value,meter,note
plug,,pass,,
label,,pass,,
vents,,pass,,
case-shut,,,,
lead-null,,0.2,,
earth,case,0.25,,
earth,front panel,0.25,,
insulation,,>200M,,
acknowledge,no-load,,,
energised,,,,
lamp,,pass,,
mains,,231,,
"""
TO_INSULATION = "".join(TO_LIVE.splitlines(keepends=True)[:8])


def meters(multimeter: int = 9, tester: int = 9) -> str:
    """Return a list of meters by the ports they answer at; at 9 nothing does."""
    return METERS.format(multimeter=multimeter, tester=tester)


def begin(logbook: Path, listed: str, rows: str = TO_LIVE, *, simulated: bool = False) -> LiveRun:
    opened = msgspec.structs.replace(b.opened(), simulated=simulated, meters=listed)
    live = LiveRun(create_run(logbook, tag="CR-07", procedure_name="short", opened=opened))
    play(live, parse_answers(rows, "rows"), "rows")
    return live


@pytest.fixture
def live(tmp_path: Path) -> Iterator[LiveRun]:
    with begin(tmp_path, meters()) as run:
        yield run


def settled(number: str = "15.0415", unit: str = "V", **fields: object) -> Settled:
    plain = Settled(
        value=Value(raw=number, number=Decimal(number), unit=unit, resolution=Decimal("0.001")),
        settled=True, count=4, mean=float(number), standard_deviation=1.2910e-3, type_a=0.6455e-3,
        half_width=None, type_b=None, meter="multimeter", span="20 V",
        replies=("15.040", "15.042", "15.041", "15.043"), failed=(), took_s=0.2,
    )  # fmt: skip
    return msgspec.structs.replace(plain, **fields)


def kept(live: LiveRun, step: str = "output", subject: str = "+15") -> Reading:
    event = live.state.entries[step, subject].event
    assert isinstance(event, Reading)
    return event


def test_a_measured_reading_keeps_its_replies_and_is_judged_with_type_a_and_type_b(live: LiveRun) -> None:
    """u = sqrt(a²/3 + s²/n), U = 2 u with so many degrees of freedom (JCGM 100:2008, 4.2.3, 4.3.7, G.6)."""
    live.measure("output", "+15", settled(), meter="multimeter", identity=IDN)
    reading = kept(live)
    assert reading.replies == ("15.040", "15.042", "15.041", "15.043")
    assert reading.count == 4
    assert reading.standard_deviation == pytest.approx(1.2910e-3)
    a = 0.0005 * 15.0415 + 5 * 0.001
    u = math.sqrt(a**2 / 3 + (1.2910e-3) ** 2 / 4)
    assert reading.judged.uncertainty == pytest.approx(2 * u, rel=1e-3)
    live.close_file()
    assert verify(live.journal.path).intact
    assert any(record.event == reading for record in read(live.journal.path))


def test_a_wide_spread_widens_the_uncertainty(live: LiveRun) -> None:
    """s = 60 mV over 4 readings: u_A = 30 mV with 3 degrees of freedom governs.

    Effective degrees of freedom u⁴/(u_A⁴/3), about 3.3; t for 95.45 % lies between 3.31 (3) and 2.87 (4)
    (JCGM 100:2008, table G.2).
    """
    live.measure("output", "+15", settled(standard_deviation=0.060), meter="multimeter", identity=IDN)
    judged = kept(live).judged
    a = 0.0005 * 15.0415 + 5 * 0.001
    u = math.sqrt(a**2 / 3 + 0.030**2)
    assert judged.coverage is not None
    assert judged.uncertainty is not None
    assert 2.85 < judged.coverage < 3.35
    assert judged.uncertainty == pytest.approx(judged.coverage * u, rel=1e-6)


def test_the_spread_of_a_measured_lead_null_is_in_the_uncertainty_of_what_it_is_taken_from(
    tmp_path: Path,
) -> None:
    """u² = (a² + a0²)/3 + s²/n + s0²/n0 (JCGM 100:2008, 4.2.3, 4.3.7, 5.1.2), a of 1 % each."""
    with begin(tmp_path, meters(), "".join(TO_LIVE.splitlines(keepends=True)[:5])) as live:
        for step, subject, number, spread in (
            ("lead-null", "", "0.200", 0.008),
            ("earth", "case", "0.250", 0.001),
        ):
            found = settled(number, "Ω", standard_deviation=spread, count=4)
            live.measure(step, subject, found, meter="multimeter", identity=IDN, function="ohms")
        judged = kept(live, "earth", "case").judged
        u = math.sqrt((0.0025**2 + 0.0020**2) / 3 + 0.001**2 / 4 + 0.008**2 / 4)
        assert judged.net == pytest.approx(0.050)
        assert judged.coverage is not None
        assert judged.coverage > 2.5  # the null's few readings govern: 3 degrees of freedom
        assert judged.uncertainty == pytest.approx(judged.coverage * u, rel=1e-6)


def test_failed_attempts_are_in_the_journal_before_the_reading(live: LiveRun) -> None:
    attempts = tuple(
        Attempt(what="dc volts", why="no whole answer within 2 s", reply=f"'1{n}'", took_s=2.0)
        for n in range(2)
    )
    live.measure("output", "+15", settled(failed=attempts), meter="multimeter", identity=IDN)
    first, second, third = [record.event for record in live.journal.records[-3:]]
    assert isinstance(first, Noted)
    assert isinstance(second, Noted)
    assert isinstance(third, Reading)
    assert (
        first.text
        == "meter multimeter: attempt failed: dc volts: no whole answer within 2 s; what came: '10'"
    )
    assert (first.step, first.subject) == ("output", "+15")


def test_very_many_failed_attempts_are_counted(live: LiveRun) -> None:
    before = len(live.journal.records)
    live.attempts_failed("output", "+15", "multimeter", [Attempt(what="x", why="y", took_s=0.1)] * 50)
    assert len(live.journal.records) == before + 21
    last = live.journal.records[-1].event
    assert isinstance(last, Noted)
    assert "30 more" in last.text


def test_what_has_not_settled_says_so(live: LiveRun) -> None:
    live.measure("output", "+15", settled(settled=False, took_s=15.0), meter="multimeter", identity=IDN)
    assert kept(live).note == "not settled: still moving after 15.0 s"


def test_nothing_is_recorded_when_it_cannot_be(live: LiveRun) -> None:
    count = len(live.journal.records)
    attempts = (Attempt(what="x", why="y", took_s=0.1),)

    def refused(step: str, subject: str, found: Settled, meter: str = "multimeter") -> str:
        with pytest.raises(Refused) as caught:
            live.measure(step, subject, found, meter=meter, identity=IDN)
        return caught.value.gate

    assert refused("output", "+15", settled(), "nobody") == "meter"
    assert refused("output", "+15", settled(), "") == "meter"
    assert refused("output", "+15", settled(unit="A")) == "unit"
    assert refused("lamp", "", settled()) == "kind"
    # a gate's refusal, after the judgement: nothing may be left behind, not even the attempts
    refused("load-points.output", "+15 @ 50 %", settled(failed=attempts))
    with pytest.raises(AskAgain):
        live.measure("output", "+15", settled("75.0", failed=attempts), meter="multimeter", identity=IDN)
    assert len(live.journal.records) == count
    live.measure("output", "+15", settled("75.0"), meter="multimeter", identity=IDN, confirmed=True)
    assert kept(live).confirmed


def test_a_reading_of_the_simulated_bench_never_comes_into_a_real_run(tmp_path: Path) -> None:
    simulated = "OHMWARD,SIMULATED MULTIMETER,SIM-0003,1"
    with begin(tmp_path / "a", meters()) as live:
        count = len(live.journal.records)
        with pytest.raises(Refused) as caught:
            live.measure("output", "+15", settled(), meter="multimeter", identity=simulated)
        assert caught.value.gate == "simulated"
        assert len(live.journal.records) == count
    listed = meters().replace('name = "multimeter"', f'name = "multimeter"\nidn = "{simulated}"')
    with begin(tmp_path / "b", listed) as live, pytest.raises(Refused):
        live.measure("output", "+15", settled(), meter="multimeter", identity=IDN)
    with begin(tmp_path / "c", listed, simulated=True) as live:
        live.measure("output", "+15", settled(), meter="multimeter", identity=simulated)
        assert kept(live).count == 4


def test_a_run_with_simulated_meters_starts_as_a_rehearsal_or_not_at_all(tmp_path: Path) -> None:
    sheet = folder("demo") / "CR-07.toml"
    with SimulatedBench(load_supply(sheet), speed=1.0) as bench:
        (tmp_path / "meters.toml").write_text(bench.meters_toml, encoding="utf-8")
    with pytest.raises(InputError, match="--rehearsal"):
        start(tmp_path, sheet, operator="bench A", tool="ohmward test")
    assert not list(tmp_path.rglob("*.jsonl"))
    path = start(tmp_path, sheet, operator="bench A", tool="ohmward test", simulated=True)
    assert path.exists()


@pytest.mark.parametrize("way", ["tcp", "visa"])
def test_from_the_socket_to_the_journal_through_a_cut_connection(tmp_path: Path, way: str) -> None:
    faults = iter(["die"])

    def fault(line: str) -> str:
        return next(faults, "") if "READ?" in line else ""

    with Server(Instrument(fixed={"READ?": "+1.5041E+01"}), fault=fault) as server:
        text = meters(multimeter=server.port)
        text = text if way == "tcp" else text.replace(server.tcp, server.visa)
        (tmp_path / "meters.toml").write_text(text, encoding="utf-8")
        with begin(tmp_path, text) as live, Inventory(load_meters(tmp_path / "meters.toml")) as bench:
            found = read_meter(bench, "multimeter", "dc volts", count=3)
            record(live, "output", "+15", found)
            assert kept(live).replies == ("+1.5041E+01",) * 3
            notes = [r.event.text for r in live.journal.records if isinstance(r.event, Noted)]
            assert len(notes) == 1
            assert notes[0].startswith("meter multimeter: attempt failed: dc volts")


def test_insulation_over_range_is_above_the_top_of_the_range_and_passes(tmp_path: Path) -> None:
    """9.9E37 is over-range (SCPI-99 volume 1, 7.2.1.4, from memory); 1 MΩ at least by the limit set."""
    with Server(Instrument(fixed={"READ?": "9.9E+37"})) as server:
        text = meters(tester=server.port)
        (tmp_path / "meters.toml").write_text(text, encoding="utf-8")
        with (
            begin(tmp_path, text, TO_INSULATION) as live,
            Inventory(load_meters(tmp_path / "meters.toml")) as bench,
        ):
            record(live, "insulation", "", read_meter(bench, "tester", "insulation", volts=500.0))
            reading = kept(live, "insulation", "")
            assert (reading.value.kind, reading.value.si) == ("above", 200e6)
            assert reading.note == "test voltage 500 V"
            assert live.state.standing(live.state.item("insulation")) is Standing.PASSED


def record(live: LiveRun, step: str, subject: str, found: Measured) -> None:
    live.measure(
        step, subject, found.settled, meter=found.meter, identity=found.identity, function=found.function
    )


SAFE = """step,subject,value,meter,note
switched-off,,,,
unplugged,,pass,,
"""


class Says:
    """A desk that answers each question alike."""

    def __init__(self, live: LiveRun, yes: bool) -> None:
        self.live, self._yes = live, yes
        self.asked: list[str] = []

    async def confirm(self, heading: str, lines: Sequence[str], *_: str) -> bool:
        assert heading == "Is that so?"
        self.asked += lines
        return self._yes


def take_residual(live: LiveRun, number: str, *, yes: bool) -> tuple[bool, list[str]]:
    """Have a meter's reading of the charge left on the +15 V rail recorded, as a screen does."""
    desk = Says(live, yes)

    def act(sure: bool) -> object:
        return live.measure(
            "residual", "+15", settled(number), meter="multimeter", identity=IDN, confirmed=sure
        )

    return asyncio.run(recorded(desk, act)), desk.asked  # type: ignore[arg-type]


def test_a_sign_against_the_rail_is_asked_about_of_a_meter_as_of_what_is_typed(live: LiveRun) -> None:
    play(live, parse_answers(SAFE, "rows"), "rows")
    with pytest.raises(AskAgain) as typed:
        live.read("residual", "+15", "-12 V")
    assert take_residual(live, "-12.000", yes=False) == (False, [typed.value.question])
    assert ("residual", "+15") not in live.state.entries
    assert take_residual(live, "0.012", yes=False) == (True, [])  # read anew, and nothing to ask of it
    written = [record.event for record in read(live.journal.path)][-2:]
    assert isinstance(written[0], Noted)
    assert (written[0].step, written[0].subject) == ("residual", "+15")
    assert "meter multimeter: read -12.000 V, not taken" in written[0].text
    assert isinstance(written[1], Reading)
    assert written[1].value.raw == "0.012"


def test_a_sign_against_the_rail_that_is_so_is_taken_and_says_that_it_was_confirmed(live: LiveRun) -> None:
    play(live, parse_answers(SAFE, "rows"), "rows")
    taken, asked = take_residual(live, "-12.000", yes=True)
    assert taken
    assert len(asked) == 1
    assert kept(live, "residual", "+15").confirmed
    assert kept(live, "residual", "+15").value.si == pytest.approx(-12.0)


def test_where_nobody_is_asked_the_reading_stands_and_says_what_is_odd(live: LiveRun) -> None:
    play(live, parse_answers(SAFE, "rows"), "rows")
    live.measure("residual", "+15", settled("-12.000"), meter="multimeter", identity=IDN, unattended=True)
    assert "Did you mean 12 V?" in kept(live, "residual", "+15").note
