"""An earth that reads as the test leads alone is asked about: leads still joined read so too."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import msgspec
import pytest

from ohmward.bench.settled import Settled
from ohmward.desk.typed import read_as
from ohmward.logbook import create_run
from ohmward.logbook.events import Noted, Reading
from ohmward.quantity import Value
from ohmward.run import AskAgain, LiveRun
from ohmward.run.answers import parse_answers, play
from ohmward.run.state import Standing
from support import bench as b
from support.scpi import IDN

TO_EARTH = """step,subject,value,meter,note
plug,,pass,,
label,,pass,,
vents,,pass,,
case-shut,,,,
"""
METERS = """
[[meter]]
name = "ohms A"
kind = "low-ohm"
[[meter]]
name = "ohms B"
kind = "low-ohm"
"""
CASE = ("earth", "case")


@pytest.fixture
def live(tmp_path: Path) -> Iterator[LiveRun]:
    opened = msgspec.structs.replace(b.opened(), meters=METERS)
    with LiveRun(create_run(tmp_path, tag="CR-07", procedure_name="short", opened=opened)) as run:
        play(run, parse_answers(TO_EARTH, "rows"), "rows")
        yield run


def by_meter(number: str, spread: float = 0.0) -> Settled:
    value = Value(raw=number, number=Decimal(number), unit="Ω", resolution=Decimal("0.0001"))
    return Settled(
        value=value, settled=True, count=4, mean=float(number), standard_deviation=spread,
        type_a=spread / 2, half_width=None, type_b=None, meter="ohms A", span="1 Ω",
        replies=(number,) * 4, failed=(), took_s=0.2,
    )  # fmt: skip


@pytest.mark.parametrize("typed", ["0.254", "0.2542", "0.25", "0.1", "< 0.2"])
def test_what_is_typed_and_is_no_more_than_the_leads_is_asked_about(live: LiveRun, typed: str) -> None:
    live.read("lead-null", "", "0.2542" if typed == "0.2542" else "0.254")
    item = live.state.by_key[CASE]
    assert read_as(typed, item, None, live.state)[0].endswith("will be asked about")
    with pytest.raises(AskAgain, match=r"reads as the leads alone, joined: .* Are the probes apart"):
        live.read(*CASE, typed)
    assert CASE not in live.state.entries


def test_who_says_that_the_probes_are_apart_has_it_recorded_with_that(live: LiveRun) -> None:
    live.read("lead-null", "", "0.254")
    live.read(*CASE, "0.254", confirmed=True)
    event = live.state.entries[CASE].event
    assert isinstance(event, Reading)
    assert event.confirmed
    assert live.state.standing(live.state.by_key[CASE]) is Standing.PASSED


@pytest.mark.parametrize("typed", ["0.255", "0.3"])
def test_a_count_more_than_the_leads_is_taken(live: LiveRun, typed: str) -> None:
    live.read("lead-null", "", "0.254")
    live.read(*CASE, typed)
    assert live.state.standing(live.state.by_key[CASE]) is Standing.PASSED


def test_what_a_meter_reads_is_asked_about_within_the_spread_of_the_null(live: LiveRun) -> None:
    live.measure("lead-null", "", by_meter("0.2540", spread=0.0010), meter="ohms A", identity=IDN)
    with pytest.raises(AskAgain, match="reads as the leads alone") as question:
        live.measure(*CASE, by_meter("0.2558"), meter="ohms A", identity=IDN)
    declined = question.value.declined
    assert isinstance(declined, Noted)
    assert "read 0.2558 Ω, not taken" in declined.text
    assert CASE not in live.state.entries
    live.measure(*CASE, by_meter("0.2562"), meter="ohms A", identity=IDN)  # more than 2 s = 0.002 Ω
    assert live.state.standing(live.state.by_key[CASE]) is Standing.PASSED


def test_a_meter_of_many_figures_does_not_tell_one_touch_from_the_next(live: LiveRun) -> None:
    live.measure("lead-null", "", by_meter("0.2540"), meter="ohms A", identity=IDN)
    with pytest.raises(AskAgain, match="reads as the leads alone"):
        live.measure(*CASE, by_meter("0.2549"), meter="ohms A", identity=IDN)
    live.measure(*CASE, by_meter("0.2550"), meter="ohms A", identity=IDN)
    assert live.state.standing(live.state.by_key[CASE]) is Standing.PASSED


def test_the_leads_of_another_meter_say_nothing(live: LiveRun) -> None:
    live.read("lead-null", "", "0.254", meter="ohms A")
    live.read(*CASE, "0.05", meter="ohms B")
    event = live.state.entries[CASE].event
    assert isinstance(event, Reading)
    assert not event.confirmed
