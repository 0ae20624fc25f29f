"""The shipped procedures: complete, in order, and laid out for every shipped sheet.

What they must hold is the product's own design (seven stages, gates) and the trade's practice (at least 45
visual items in nine groups): common practice, no source.
"""

from __future__ import annotations

import re
from collections import Counter

import msgspec
import pytest

from ohmward.procedure import Item, Procedure, Step, expand, load, load_limits, source_text
from ohmward.procedure.limits import LIMIT_UNITS
from ohmward.shipped import folder, names
from ohmward.supply import load as load_sheet
from ohmward.supply.model import Supply
from ohmward.text import visible

PROCEDURES = ("after-repair", "commissioning", "long-storage", "retest")
SHEETS = tuple(name for name in names("demo") if name.startswith("CR-"))


def procedure(name: str) -> Procedure:
    return load(name)


def sheet(name: str) -> Supply:
    return load_sheet(folder("demo") / f"{name}.toml")


def laid(name: str, own: Supply) -> tuple[Item, ...]:
    return expand(procedure(name), own, load_limits(own.limit_set))


def steps(name: str) -> list[Step]:
    return [step for stage in procedure(name).stages for step in stage.steps]


def test_the_four_procedures_are_shipped() -> None:
    assert names("procedures") == PROCEDURES
    assert all(procedure(name).name == name for name in PROCEDURES)
    assert all(procedure(name).purpose for name in PROCEDURES)


def test_sheets_are_shipped() -> None:
    assert "CR-07" in SHEETS


@pytest.mark.parametrize("name", PROCEDURES)
@pytest.mark.parametrize("tag", SHEETS)
def test_every_procedure_lays_out_for_every_shipped_sheet(name: str, tag: str) -> None:
    own = sheet(tag)
    items = laid(name, own)
    assert max(Counter(item.key for item in items).values()) == 1
    rails = {item.rail for item in items if item.energised and item.rail}
    assert rails == {rail.name for rail in own.rails}
    for item in items:
        for limit in (item.limit, item.stop):
            assert limit is None or (limit.basis and limit.obtained)


@pytest.mark.parametrize("name", PROCEDURES)
def test_every_procedure_can_be_gated(name: str) -> None:
    stages = procedure(name).stages
    assert any(step.proves_earth and step.reads for step in steps(name))
    assert all(stage.cautions for stage in stages if stage.energised)
    safe = [step for stage in stages if stage.role == "make-safe" for step in stage.steps]
    assert any(step.reads and step.severity == "danger" and step.stale == "energising" for step in safe)
    residual = [read for step in safe for read in step.reads if read.limit == "residual_voltage"]
    assert residual


@pytest.mark.parametrize("name", PROCEDURES)
def test_every_step_says_what_to_do_and_why(name: str) -> None:
    for step in steps(name):
        assert step.do, step.id
        assert step.why, step.id
        assert len(step.title) <= 60, step.id


@pytest.mark.parametrize("name", PROCEDURES)
def test_every_reading_has_a_plausible_range(name: str) -> None:
    for step in steps(name):
        for read in step.reads:
            assert read.plausible_low is not None, step.id
            assert not read.limit or LIMIT_UNITS[read.limit] == read.unit


@pytest.mark.parametrize("name", PROCEDURES)
def test_no_shipped_text_holds_a_control_character(name: str) -> None:
    assert visible(source_text(name)) == source_text(name)


# --- commissioning ---------------------------------------------------------------------------------------

STAGES = ["visual", "earth", "insulation", "no-load", "loaded", "ripple", "soak", "make-safe"]


def test_commissioning_has_the_seven_stages_and_making_safe() -> None:
    stages = procedure("commissioning").stages
    assert [stage.name for stage in stages] == STAGES
    assert [stage.energised for stage in stages] == [False] * 3 + [True] * 4 + [False]


def test_commissioning_inspects_at_least_45_things_in_nine_groups() -> None:
    visual = [step for step in procedure("commissioning").stages[0].steps if step.kind == "check"]
    assert len(visual) >= 45
    assert len({step.group for step in visual} - {""}) >= 9
    for step in visual:
        assert step.group, step.id
        assert step.do, step.id
        assert step.why, step.id
        assert step.method, step.id
    written = source_text("commissioning").split('name = "earth"')[0]
    for block in written.split("[[stage.step]]")[1:]:
        assert re.search(r"^severity = ", block, re.MULTILINE), block.splitlines()[1]
    assert {step.severity for step in visual} == {"danger", "fault", "improvement"}


def test_commissioning_reads_every_rail_under_load_and_every_named_part() -> None:
    own = sheet("CR-07")
    items = laid("commissioning", own)
    for rail in own.rails:
        loads = {item.load_a for item in items if item.rail == rail.name and item.load_a is not None}
        assert any(load == pytest.approx(rail.rated_current_a) for load in loads)
        assert 0.0 in loads
        assert any(item.together and item.rail == rail.name for item in items)
        assert any(item.limit and item.read and item.read.limit == "ripple" and item.rail == rail.name
                   for item in items) == (rail.targets.ripple_pp_v is not None)  # fmt: skip
    earthed = {item.subject for item in items if item.read and item.read.limit == "earth_continuity"}
    assert set(own.parts) <= earthed
    earth = next(item for item in items if item.read and item.read.limit == "earth_continuity")
    assert earth.limit is not None
    assert earth.limit.high == pytest.approx(0.152, abs=5e-5)  # 0.1 Ω + 2 m of 0.75 mm², IEC 60228
    assert earth.read is not None
    assert earth.read.subtract
    assert earth.spec.enclosure == "shut"


def test_commissioning_asks_for_the_conditions_of_the_moment() -> None:
    conditions = {read.condition for step in steps("commissioning") for read in step.reads}
    assert {"mains_v", "ambient_c"} <= conditions


@pytest.mark.parametrize("name", PROCEDURES)
def test_the_room_is_asked_for_again_only_after_something_else_was_done(name: str) -> None:
    items = [item for item in laid(name, sheet("CR-07")) if item.required]
    room = [
        item.read is not None and (item.read.condition == "ambient_c" or item.subject.startswith("room air"))
        for item in items
    ]
    assert not [
        item.title for item, now, before in zip(items[1:], room[1:], room, strict=False) if now and before
    ]
    assert sum(item.read.condition == "ambient_c" for item in items if item.read is not None) == 2


def test_commissioning_stops_a_live_stage_on_a_runaway_output() -> None:
    own = sheet("CR-07")
    stopped = [item for item in laid("commissioning", own) if item.stop is not None]
    volts = {
        item.rail for item in stopped if item.read and item.read.limit in {"output_no_load", "output_loaded"}
    }
    assert volts == {rail.name for rail in own.rails}
    assert all(item.energised for item in stopped)


@pytest.mark.parametrize("name", PROCEDURES)
def test_every_procedure_offers_a_waveform_of_each_rail_at_full_load(name: str) -> None:
    own = sheet("CR-07")
    asked = [item for item in laid(name, own) if item.is_waveform]
    assert [(item.rail, item.load_a) for item in asked] == [
        (rail.name, rail.rated_current_a) for rail in own.rails
    ]
    assert all(item.stage == "ripple" and not item.required for item in asked)


@pytest.mark.parametrize("name", PROCEDURES)
def test_what_is_left_in_the_reservoirs_is_read_in_volts_on_every_rail_before_a_hand_goes_in(
    name: str,
) -> None:
    own = sheet("CR-07")
    items = laid(name, own)
    first_open = next((n for n, item in enumerate(items) if item.spec.enclosure == "open"), len(items))
    read = [item for item in items[:first_open] if item.step == "charge-left"]
    assert [item.rail for item in read] == [rail.name for rail in own.rails]
    for item in read:
        assert item.limit is not None
        assert (item.spec.severity, item.required, item.spec.stale) == ("danger", True, "opening")
        assert (item.limit.low, item.limit.high) == (-5.0, 5.0)  # the limit of residual_voltage


@pytest.mark.parametrize("name", PROCEDURES)
def test_of_one_rail_nothing_is_asked_for_twice_as_all_rails_together(name: str) -> None:
    def loaded(tag: str) -> set[str]:
        return {item.spec.id for item in laid(name, sheet(tag)) if item.spec.id == "all-together"}

    assert loaded("CR-07") == {"all-together"}  # four rails
    assert loaded("CR-11") == set()  # one


@pytest.mark.parametrize("name", PROCEDURES)
@pytest.mark.parametrize(("tag", "asked"), [("CR-07", True), ("CR-11", False)])
def test_the_anchorage_of_a_cord_is_asked_for_where_the_sheet_says_that_it_is_fixed(
    name: str, tag: str, asked: bool
) -> None:
    own = sheet(tag)
    assert own.mains.cord is not None
    assert own.mains.cord.detachable is not asked
    assert any(item.step == "cord-entry" for item in laid(name, own)) is asked
    unknown = msgspec.structs.replace(own, mains=msgspec.structs.replace(own.mains, cord=None))
    assert any(item.step == "cord-entry" for item in laid(name, unknown))


@pytest.mark.parametrize("name", PROCEDURES)
def test_no_limit_lies_beyond_the_stop_of_its_step_and_which_of_them_counts_is_said(name: str) -> None:
    items = [item for item in laid(name, sheet("CR-07")) if item.limit is not None and item.stop is not None]
    for item in items:
        assert item.limit is not None
        assert item.stop is not None
        assert item.limit.high is None or item.stop.high is None or item.limit.high <= item.stop.high
        assert item.limit.low is None or item.stop.low is None or item.limit.low >= item.stop.low
    skin = next(item.limit for item in items if item.subject.startswith("transformer T1"))
    assert skin is not None
    # class B: 105 °C on the skin (IEC 61558-1 less 15 K, from memory); the stop is common practice, no source
    assert skin.high == 100.0
    assert skin.basis.startswith("the stop of this step, ")
    assert "would allow 105 °C" in skin.basis
