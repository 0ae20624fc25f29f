"""Faults on the wire, all the way: meters at hand, the run, the journal on disk, and the screen meanwhile.

A proxy stands between PyVISA and the meters of the simulated bench. Its clock stands still, so that what a
point has is known at each moment; the probe moves from place to place, so that a reading of an earlier
place is wrong.
"""

from __future__ import annotations

import random
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from ohmward.bench.messages import MeterFailed
from ohmward.bench.session import Session
from ohmward.logbook import open_run, read, verify
from ohmward.logbook.events import Noted, Reading
from ohmward.run import LiveRun
from ohmward.taking.at_hand import MetersAtHand
from support.asking import OneFault
from support.faulted import PLACES, Place, place
from support.scpi import FAULTS, STRAY_S, AtRandom


@dataclass
class Tally:
    """What was acknowledged, and what became of the rest."""

    readings: list[tuple[Reading, float]] = field(default_factory=list)
    """As recorded, with what the point had."""
    failed: int = 0
    noted: int = 0
    """Attempts that failed, as handed over."""
    loads: int = 0
    problems: list[str] = field(default_factory=list)
    faults: Counter[str] = field(default_factory=Counter)


def measure(at: Place, live: LiveRun, meters: MetersAtHand, key: tuple[str, str], tally: Tally) -> None:
    """Take one reading as the screen does: meters at hand, then the run; failed attempts become notes."""
    point, _ = PLACES[key]
    true = at.hand(point)
    try:
        found = meters.reading_for(live.state, live.state.item(*key), "multimeter")
    except MeterFailed as error:
        tally.failed += 1
        tally.noted += len(error.attempts)
        live.attempts_failed(*key, "multimeter", error.attempts)
        return
    assert found is not None
    tally.noted += len(found.settled.failed)
    live.measure(
        *key, found.settled, meter=found.meter, identity=found.identity, function=found.function,
        confirmed=True,
    )  # fmt: skip
    recorded = live.journal.records[-1].event
    assert isinstance(recorded, Reading)
    tally.readings.append((recorded, true))


def switched_on(session: Session) -> None:
    """Switch the load on; what is set is not tried twice by itself, and a busy computer can be late."""
    for left in reversed(range(5)):
        try:
            session.set("current", 0.5).result(20)
            session.switch(on=True).result(20)
        except MeterFailed:
            if not left:
                raise
        else:
            return


def attempts_until_well(session: Session) -> int:
    """Ask until it answers; return how many attempts failed: faults, or a busy computer that was late."""
    failed = 0
    for _ in range(5):
        try:
            return failed + len(session.check().result(20).failed)
        except MeterFailed as error:
            failed += len(error.attempts)
    raise AssertionError("it does not answer any more")


def lose_the_load(at: Place, meters: MetersAtHand, fault: str, tally: Tally) -> None:
    """Switch the load on, and see that it is off when its connection has been made anew."""
    proxy = at.proxies["load +15"]
    with meters.inventory() as inventory:
        session = inventory.session("load +15")
        switched_on(session)
        assert at.bench.unit.load_a("+15") > 0.45
        generation = session.generation
        proxy.fault = OneFault(fault)
        failed = len(session.measure("current").result(20).failed)
        proxy.fault = lambda _: ""
        time.sleep(STRAY_S[1] + 0.01)
        failed += attempts_until_well(session)  # a reply that came twice shows only when asked again
        if session.generation > generation:
            tally.loads += 1
            if at.bench.unit.load_a("+15") or session.on:
                tally.problems.append(f"{fault}: the load is on after a reconnect")
            # an attempt that failed costs one connection; a busy computer can be late besides
            if (anew := session.generation - generation) > failed:
                tally.problems.append(f"{fault}: {anew} connections for {failed} failed attempts")
        session.switch(on=False).result(20)
    if at.bench.unit.load_a("+15"):
        tally.problems.append(f"{fault}: the load is on")


def go_on(logbook: Path, way: str, seed: int, count: int, *, stamps: bool) -> tuple[Tally, Path]:
    tally, dice = Tally(), random.Random(seed)
    known = FAULTS if stamps else tuple(each for each in FAULTS if each != "stray")
    faults = AtRandom(seed, 0.08, known)
    with place(logbook, way, stamps=stamps) as at, MetersAtHand(logbook) as meters:
        with LiveRun(open_run(at.path)) as live:
            measure(at, live, meters, ("output", "+15"), tally)
            at.proxies["multimeter"].fault = faults
            while faults.counts.total() < count:
                measure(at, live, meters, dice.choice(list(PLACES)), tally)
                if len(tally.readings) % 8 == 0:
                    lose_the_load(at, meters, dice.choice(known), tally)
            at.proxies["multimeter"].fault = lambda _: ""
        tally.faults = faults.counts
        check(at, tally)
    return tally, at.path


def check(at: Place, tally: Tally) -> None:
    """Read the journal anew: all that was acknowledged, nothing else, and each of it true."""
    records = list(read(at.path))
    assert verify(at.path).intact
    kept = [each.event for each in records if isinstance(each.event, Reading) and each.event.replies]
    assert kept == [each for each, _ in tally.readings]
    meter = next(each for each in at.bench.meters if each.name == "multimeter")
    for reading, true in tally.readings:
        _, function = PLACES[reading.step, reading.subject]
        for number in (*(float(each) for each in reading.replies), reading.value.si):
            half = meter.half_width(number, "V", function)
            assert half is not None
            if abs(number - true) > half:
                tally.problems.append(f"{reading.step} {reading.subject}: {number} where {true} was")
    notes = [each.event.text for each in records if isinstance(each.event, Noted)]
    assert sum("attempt failed" in each for each in notes) == tally.noted


@pytest.mark.timeout(240)
def test_through_two_thousand_faults_the_journal_holds_true_readings_and_all_of_them(tmp_path: Path) -> None:
    plans = [(way, stamps) for way in ("visa", "visa", "visa", "tcp") for stamps in (True, False)] * 2
    found: dict[int, Tally] = {}
    trouble: list[BaseException] = []

    def work(seed: int, way: str, *, stamps: bool) -> None:
        try:
            found[seed] = go_on(tmp_path / str(seed), way, seed, 170, stamps=stamps)[0]
        except BaseException as error:  # noqa: BLE001 raised again below
            trouble.append(error)

    threads = [
        threading.Thread(target=work, args=(seed, way), kwargs={"stamps": stamps}, daemon=True)
        for seed, (way, stamps) in enumerate(plans)
    ]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    for error in trouble:
        raise error
    tallies = list(found.values())
    assert len(tallies) == len(plans)
    assert [each for tally in tallies for each in tally.problems] == []
    for ways, least in (({"visa"}, 2000), ({"visa", "tcp"}, 2500)):
        some = (found[seed].faults for seed, (way, _) in enumerate(plans) if way in ways)
        faults = sum(some, Counter[str]())
        assert faults.total() >= least
        assert set(faults) == set(FAULTS)
    assert sum(len(each.readings) for each in tallies) > 1000
    assert sum(each.noted for each in tallies) > 1000
    assert sum(each.loads for each in tallies) > 40
