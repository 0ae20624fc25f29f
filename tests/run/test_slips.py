"""A prefix left out is asked about where what is expected is known, and the question is a sensible one."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmward.desk.readings import expected_words
from ohmward.desk.typed import read_as
from ohmward.logbook import open_run
from ohmward.procedure.model import Read
from ohmward.quantity import QuantityError, parse
from ohmward.run import AskAgain, LiveRun
from ohmward.run.expected import band_of
from ohmward.run.judging import sure_of
from ohmward.run.state import Phase
from support.journals import HandClock
from support.made_safe import FIRST, SECOND, switched_off
from support.walked import begun, walk, walked

NO_LOAD = ("mains-current-no-load", "")


def asked(text: str, quantity: str, unit: str, low: float, high: float) -> str:
    read = Read(quantity=quantity, unit=unit, plausible_low=low, plausible_high=high)
    with pytest.raises(AskAgain) as question:
        sure_of(read, parse(text, unit), confirmed=False)
    return question.value.question


def test_a_mains_current_a_thousand_times_off_is_asked_about_within_the_range_of_the_step(
    tmp_path: Path,
) -> None:
    with walked(begun(tmp_path), lambda item: item.step == "mains-no-load") as live:
        live.read("mains-no-load", "", "230")
        item = live.state.by_key[NO_LOAD]
        assert item.read is not None
        band = band_of(live.state, item)
        assert band is not None
        milliamperes = f"{1000 * band.value:.3g}"  # typed without its prefix
        with pytest.raises(AskAgain) as question:
            live.read(*NO_LOAD, milliamperes)
        meant = parse(f"{milliamperes} mA", "A").si
        assert question.value.question.startswith(f"{milliamperes} A of mains current? Did you mean ")
        assert "mA?" in question.value.question
        words, good = read_as(milliamperes, item, band)
        assert not good
        assert "will be asked about" in words
        live.read(*NO_LOAD, f"{milliamperes} mA")
        assert band.low <= meant <= band.high
        walk(live, lambda _: True)


def test_a_ripple_in_millivolts_typed_as_volts_is_asked_about(tmp_path: Path) -> None:
    key = ("ripple.output", "24 @ 100 %")
    with walked(begun(tmp_path), lambda item: item.key == key) as live:
        band = band_of(live.state, live.state.by_key[key])
        assert band is not None
        with pytest.raises(AskAgain) as question:
            live.read(*key, f"{band.value / 1000:.3g}")
        shown = expected_words(None, band, live.state.by_key[key])
        with pytest.raises(AskAgain) as far:
            live.read(*key, f"{band.value * 200:.3g}")
        said = (question.value.question, far.value.question)
        assert all("Did you mean" in each or each.endswith(f"Expected here: {shown}.") for each in said)
        assert any("Expected here" in each for each in said)  # what the card shows, and nothing wider


def test_a_current_a_million_times_off_is_no_slip_of_a_prefix() -> None:
    question = asked("231", "earth_a", "A", 1e-6, 0.05)
    assert question == "231 A of protective-conductor current? Expected here: 1 µA to 50 mA."
    assert asked("0.3", "earth_a", "A", 1e-6, 0.05).endswith("Did you mean 300 µA?")
    assert asked("35", "mains_a", "A", 0.005, 16.0) == "35 A of mains current? Did you mean 35 mA?"
    assert asked("900", "output_v", "V", 0.1, 500.0).startswith("900 V of output voltage? Expected here")


def test_charge_left_of_the_sign_of_another_rail_is_asked_about(tmp_path: Path) -> None:
    path = switched_off(tmp_path)
    with LiveRun(open_run(path, clock=HandClock())) as live:
        item = live.state.by_key[SECOND]
        with pytest.raises(AskAgain) as question:
            live.read(*SECOND, "4.1")
        assert question.value.question == "4.1 V of residual voltage on -15? Did you mean -4.1 V?"
        assert read_as("4.1", item, state=live.state) == ("= 4.1 V; will be asked about", False)
        live.read(*SECOND, "0.3")  # offset and stray have no sign
        live.read(*SECOND, "-4.1")
        live.read(*FIRST, "4.1")


def test_an_overload_that_would_halt_a_live_supply_is_asked_about(tmp_path: Path) -> None:
    with walked(begun(tmp_path), lambda item: item.step == "output-no-load") as live:
        with pytest.raises(AskAgain, match=r"above the range of the meter\. Is that what it shows"):
            live.read("output-no-load", "24", "OL")
        live.read("output-no-load", "24", "OL", confirmed=True)
        assert live.state.phase is Phase.HALTED


def test_two_dashes_are_a_slip_and_no_overload() -> None:
    with pytest.raises(QuantityError, match="Write OL for an overload"):
        parse("--", "V")
