"""A reading in words: the figures that it bears, less the leads, in agreement with the band beside it."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import msgspec
import pytest

from ohmward.analysis import judge
from ohmward.analysis.wording import predicted_words
from ohmward.desk.card import outcome, recorded_words
from ohmward.desk.readings import beyond_limit_words, expected_words, less_leads, value_text
from ohmward.logbook import create_run
from ohmward.logbook.events import CaseShut, Event
from ohmward.physics.expectation import Band, Expectation, RailExpectation
from ohmward.procedure.model import Item, Limit, Read, Step
from ohmward.quantity import Value, parse
from ohmward.run import LiveRun
from ohmward.text import plural
from support import bench as b
from support.journals import HandClock

UP_TO_EARTH: list[Event] = [
    b.passed("plug"), b.passed("label"), b.passed("vents"), CaseShut(), b.reading("lead-null", number="0.2")
]  # fmt: skip


def of_meter(number: str, step: str) -> Value:
    return Value(raw=number, number=Decimal(number), unit="V", resolution=Decimal(step))


@pytest.mark.parametrize(
    ("number", "step", "uncertainty", "said"),
    [
        ("1.312500", "0.000001", 0.053, "1.312 V"),  # two figures of 53 mV: to the millivolt
        ("-0.00002", "0.00001", 0.0023, "0.0 mV"),
        ("15.033", "0.001", None, "15.033 V"),
        ("15.033", "0.001", 0.0001, "15.033 V"),  # no digit is made up that was not sent
        ("26.9814", "0.001", 0.03, "26.981 V"),
    ],
)
def test_a_meter_is_shown_to_the_second_figure_of_its_uncertainty(
    number: str, step: str, uncertainty: float | None, said: str
) -> None:
    assert value_text(of_meter(number, step), uncertainty) == said


def test_what_is_typed_keeps_its_figures_and_a_bound_its_own() -> None:
    assert value_text(parse("15.00", "V")) == "15.00 V"
    assert value_text(parse(">40M", "Ω")) == "> 40 MΩ"


def test_an_earth_reading_is_shown_less_the_leads_with_both_and_the_verdict(
    tmp_path: Path,
) -> None:
    with create_run(
        tmp_path, tag="CR-07", procedure_name="short", opened=b.opened(), clock=HandClock()
    ) as journal:
        live = LiveRun(journal)
        for event in UP_TO_EARTH[:4]:
            live.do(event)
        live.read("lead-null", "", "0.20")
        live.read("earth", "case", "0.25")
    item = live.state.item("earth", "case")
    shown = outcome(live.state, item)
    assert shown is not None
    assert shown.figures == "0.05 Ω"
    assert shown.sign.word.startswith("PASS")
    assert shown.words[0] == "Read 0.25 Ω, less 0.20 Ω of the test leads."
    said = recorded_words(live.state, item)
    for part in ("✓ PASS", "0.05 Ω", "Earth continuity: case", "Read 0.25 Ω, less 0.20 Ω"):
        assert part in said


def test_the_scale_shows_what_is_typed_as_it_will_be_judged() -> None:
    state = b.folded(b.opened(), *UP_TO_EARTH)
    assert less_leads(state, state.item("earth", "case"), 0.25) == pytest.approx(0.05)
    assert less_leads(state, state.item("lead-null"), 0.25) == 0.25


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("15.05", "as the design predicts"),
        ("15.15", "as the design predicts within its uncertainty, though 50 mV beyond that band"),
    ],
)
def test_as_the_design_predicts_agrees_with_the_band_beside_it(value: str, words: str) -> None:
    number = parse(value, "V").si
    assert predicted_words(number, 14.9, 15.1, "V", expected=True) == words


def test_the_note_of_a_reading_says_so_too() -> None:
    band = Band(value=15.0, low=14.9, high=15.17)
    judged = judge(parse("15.2", "V"), band=band)  # U is not stated: half a digit, 50 mV, is allowed for
    assert judged.as_expected is True
    assert "though 30 mV beyond that band" in judged.note


@pytest.mark.parametrize(
    ("number", "noun", "many", "said"),
    [(1, "run", "", "1 run"), (0, "run", "", "0 runs"), (2, "entry", "entries", "2 entries")],
)
def test_a_noun_goes_with_its_number(number: int, noun: str, many: str, said: str) -> None:
    assert plural(number, noun, many) == said


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (15.4, 23.4, "; below 16 Ω it fails its limit, expected or not"),
        (15.9, 45.0, ""),
        (10.0, 50.0, "; below 16 Ω or above 45 Ω it fails its limit, expected or not"),
    ],
)
def test_what_is_expected_beyond_its_limit_says_that_the_limit_decides(
    low: float, high: float, said: str
) -> None:
    """16 to 45 Ω: the primary of a 100 VA transformer in the trade's table (from memory)."""
    read = Read(quantity="resistance", unit="Ω")
    spec = Step(id="primary-resistance", kind="reading", title="Primary", reads=(read,))
    item = Item(
        stage="earth", step=spec.id, kind="reading", spec=spec, read=read, energised=False,
        limit=Limit(low=16.0, high=45.0, basis="trade tables"),
    )  # fmt: skip
    assert beyond_limit_words(Band(value=19.3, low=low, high=high), item) == said


@pytest.mark.parametrize(
    ("together", "expect", "said"),
    [
        (True, "output_v", ", all hot, at 207 V mains"),
        (False, "mains_a", ", all hot, at 207 V mains"),
        (False, "output_v", ""),
    ],
)
def test_what_is_expected_of_all_rails_says_for_which_state_and_mains(
    together: bool, expect: str, said: str
) -> None:
    read = Read(quantity="output_v", unit="V", expect=expect)
    spec = Step(id="all-together", kind="sweep", title="All", reads=(read,))
    item = Item(
        stage="load", step=spec.id, kind="sweep", spec=spec, read=read, energised=True, together=together
    )
    rails = {"+15": RailExpectation(no_load={}, loaded=(), together={})}
    known = Expectation(mains_v=207.0, ambient_c=25.0, rails=rails, secondaries={}, transformers={}, unit={})
    words = expected_words(known, Band(value=15.0, low=14.0, high=16.0), item)
    assert words.partition(")")[2] == said
    guessed = {"+15": msgspec.structs.replace(rails["+15"], guessed=True)}
    nothing = msgspec.structs.replace(
        known, rails=guessed
    )  # from the nameplate alone: nothing is computed hot
    assert expected_words(nothing, Band(value=15.0, low=14.0, high=16.0), item).endswith(")")
