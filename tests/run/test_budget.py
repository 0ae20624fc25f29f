"""The budget of a recorded reading: by hand, from the meters and the null recorded with it."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from ohmward.analysis import judge
from ohmward.bench.meters import loads
from ohmward.errors import InputError
from ohmward.logbook.events import Reading
from ohmward.procedure.model import Item, Read, Step
from ohmward.quantity import parse
from ohmward.report.assessed import budget_json, budget_text
from ohmward.run import RunState
from ohmward.run.budget import budget_of
from ohmward.run.state import Entry
from support.journals import opened

METERS = loads(
    """
    [[meter]]
    name = "multimeter"
    [[meter.accuracy]]
    function = "dc volts"
    range = "60 V"
    resolution = "10 mV"
    accuracy = "0.09 % + 2"

    [[meter]]
    name = "low-ohm"
    [[meter.accuracy]]
    function = "low ohms"
    range = "2 Ω"
    resolution = "1 mΩ"
    accuracy = "2 % + 2"
    """
)


def item(step: str, subject: str, unit: str, subtract: str = "") -> Item:
    quantity = "earth_ohm" if unit == "Ω" else "output_v"
    title = "Load points" if unit == "V" else "Earth"
    spec = Step(id=step.split(".", maxsplit=1)[0], kind="reading", title=title)
    return Item(
        stage="loaded",
        step=step,
        subject=subject,
        kind="reading",
        spec=spec,
        read=Read(quantity=quantity, unit=unit, subtract=subtract),
        energised=unit == "V",
    )


def taken(at: Item, text: str, meter: str, null: str = "", **more: Any) -> Entry:
    assert at.read is not None
    value = parse(text, at.read.unit)
    used = next(each for each in METERS if each.name == meter) if meter else None
    judged = judge(value, meter=used, null=parse(null, at.read.unit) if null else None, **more)
    event = Reading(step=at.step, subject=at.subject, value=value, meter=meter, judged=judged, **more)
    return Entry(seq=1, at="2026-03-03T09:00:00+01:00", event=event)


@pytest.fixture(scope="module")
def recorded() -> RunState:
    """Four readings: of two rails, of one typed without a meter, and of the earth with its null."""
    points = [item("load-points.output", f"{rail} @ 100 %", "V") for rail in ("+15", "-15", "+48")]
    null, earth = item("lead-null", "", "Ω"), item("earth", "front panel", "Ω", subtract="lead-null")
    rows = [
        (points[0], taken(points[0], "15.08", "multimeter")),
        (points[1], taken(points[1], "-15.02", "multimeter", standard_deviation=0.004, count=5)),
        (points[2], taken(points[2], "48.1", "")),
        (null, taken(null, "0.212", "low-ohm")),
        (earth, taken(earth, "0.279", "low-ohm", null="0.212")),
    ]
    return RunState(
        opened=opened(run="2026-03-03-01-commissioning"),
        meters=METERS,
        items=tuple(each for each, _ in rows),
        by_key={each.key: each for each, _ in rows},
        entries={each.key: entry for each, entry in rows},
    )


def test_a_voltage_comes_from_per_cent_and_digits(recorded: RunState) -> None:
    found = budget_of(recorded, "load-points.output", "+15 @ 100 %")
    value = found.reading.value.si
    # GUM 4.3.7: half-width a, u = a / sqrt(3), k = 2
    half = 0.0009 * value + 2 * 0.010
    assert [part for _, part in found.parts] == pytest.approx([0.0009 * value, 0.020])
    assert found.combined is not None
    assert found.combined.standard == pytest.approx(half / math.sqrt(3))
    assert found.combined.expanded == pytest.approx(2 * half / math.sqrt(3))
    assert found.combined.expanded == pytest.approx(found.reading.judged.uncertainty)
    assert found.notes == ()
    text = budget_text(found)
    assert "0.09 % of 15.08 V (14 mV) + 2 digits of 10 mV (20 mV)" in text
    assert "accuracy of the meter" in text
    assert text.endswith("REHEARSAL: readings from a simulated bench, not from a real supply")


def test_the_lead_null_has_its_own_line(recorded: RunState) -> None:
    found = budget_of(recorded, "earth", "front panel")
    assert found.combined is not None
    rows = found.combined.budget()
    assert {row.name for row in rows} == {"accuracy of the meter", "accuracy of the lead null"}
    assert sum(row.share_pct for row in rows) == pytest.approx(100.0)
    assert found.combined.standard == pytest.approx(math.hypot(*(row.contribution for row in rows)))


def test_plain_data_has_no_infinity(recorded: RunState) -> None:
    data = json.loads(
        json.dumps(budget_json(budget_of(recorded, "load-points.output", "-15 @ 100 %")), allow_nan=False)
    )
    assert data["simulated"] is True
    by_name = {row["name"]: row for row in data["components"]}
    assert by_name["accuracy of the meter"]["dof"] is None
    # GUM 4.2.3: s / sqrt(n), n - 1 degrees of freedom; too little here to move k from 2
    spread = next(row for name, row in by_name.items() if name != "accuracy of the meter")
    assert spread["standard"] == pytest.approx(0.004 / math.sqrt(5))
    assert spread["dof"] == 4
    assert data["expanded"] == pytest.approx(2 * data["standard"], rel=1e-3)
    assert [part["what"] for part in data["accuracy_parts"]][1] == "2 digits of 10 mV"


def test_without_a_meter_it_says_why_there_is_none(recorded: RunState) -> None:
    found = budget_of(recorded, "load-points.output", "+48 @ 100 %")
    assert found.combined is None
    assert "no meter was named with it" in budget_text(found)
    assert budget_json(found)["expanded"] is None


@pytest.mark.parametrize(
    ("step", "subject", "says"),
    [
        ("load-points.output", "", "several readings stand there"),
        ("load-points.output", "+99 @ 100 %", "no reading of it stands for this subject"),
        ("no-such-step", "", "no reading stands at this step"),
    ],
)
def test_what_is_not_there_is_said_with_what_is(
    recorded: RunState, step: str, subject: str, says: str
) -> None:
    with pytest.raises(InputError, match=says) as refused:
        budget_of(recorded, step, subject)
    assert "load-points.output" in str(refused.value)
