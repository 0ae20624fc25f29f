"""A whole run assessed from plain facts: verdict, tables, rails, summary, JSON."""

from __future__ import annotations

import json
import math
import re
from typing import Any, Literal

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.analysis import judge
from ohmward.analysis._results import Cause, Diagnosis
from ohmward.analysis.assessment import Assessment, Entered, RunFacts, assess, to_json
from ohmward.analysis.cause_words import likeliest_words
from ohmward.analysis.soaks import soak_results
from ohmward.analysis.summary import MOST_LINES, summary
from ohmward.bench.meters import Meter, loads
from ohmward.desk.assessment_parts import cause_lines
from ohmward.desk.assessment_rows import run_verdict
from ohmward.logbook.events import Answered, Reading, Skipped
from ohmward.physics.expectation import Band
from ohmward.procedure.model import Item, Limit, Read, Severity, Step
from ohmward.quantity import parse, show
from ohmward.supply.model import Mains, Rail, Supply, Targets

METER = loads(
    '[[meter]]\nname = "m"\n[[meter.accuracy]]\nfunction = "dc volts"\nrange = "60 V"\nresolution = "1 mV"\n'
    'accuracy = "±(0.1 % + 2)"\n'
)[0]
OUTPUT = Limit(low=14.4, high=15.6, basis="design sheet: 15 V ± 4 %")
EARTH = Limit(high=0.152, basis="IEC 61010-1", advice="Find the loose joint")


def supply(regulation_pct: float | None = 1.0) -> Supply:
    rail = Rail(
        name="+15", nominal_v=15.0, rated_current_a=1.2, targets=Targets(load_regulation_pct=regulation_pct)
    )
    return Supply(
        tag="CR-07",
        title="Mixing-console supply (simulated)",
        protection_class="I",
        mains=Mains(voltage_v=230.0, frequency_hz=50.0),
        rails=(rail,),
    )


def check(name: str, severity: Severity = "fault", *, required: bool = True) -> Item:
    spec = Step(id=name, kind="check", title=name.capitalize(), severity=severity, required=required)
    return Item(stage="visual", step=name, kind="check", spec=spec, energised=False)


def reading(
    name: str,
    limit: Limit | None = None,
    *,
    unit: str = "Ω",
    severity: Severity = "fault",
    stop: Limit | None = None,
) -> Item:
    read = Read(quantity="resistance" if unit == "Ω" else "voltage", unit=unit)
    spec = Step(id=name, kind="reading", title=name.capitalize(), severity=severity, reads=(read,))
    return Item(
        stage="earth",
        step=name,
        kind="reading",
        spec=spec,
        read=read,
        energised=False,
        limit=limit,
        stop=stop,
    )


def load_point(percent: int, *, key: str = "output_v", together: bool = False) -> Item:
    read = Read(name=key, quantity=key, unit="V", expect=key)
    name = "all-rails" if together else "load-points"
    spec = Step(id=name, kind="sweep", title="Load points", reads=(read,), load_fractions=(percent / 100,))
    return Item(
        stage="loaded",
        step=f"{name}.{key}",
        subject=f"+15 @ {percent} %",
        kind="sweep",
        spec=spec,
        read=read,
        energised=True,
        rail="+15",
        about="+15",
        load_a=1.2 * percent / 100,
        together=together,
        limit=OUTPUT if key == "output_v" else None,
    )


def entered(
    item: Item, text: str, *, meter: Meter | None = METER, band: Band | None = None, **more: Any
) -> tuple[tuple[str, str], Entered]:
    """What stands at `item` once `text` was typed there."""
    event: Answered | Reading
    if item.read is None:
        answer: Literal["pass", "fail"] = "pass" if text == "pass" else "fail"
        event = Answered(step=item.step, subject=item.subject, answer=answer, note=more.pop("note", ""))
    else:
        value = parse(text, item.read.unit)
        judged = judge(value, limit=item.limit, stop=item.stop, band=band, meter=meter)
        event = Reading(
            step=item.step, subject=item.subject, value=value, judged=judged, note=more.pop("note", "")
        )
    return item.key, Entered(event=event, **more)


def facts(items: list[Item], entries: list[tuple[tuple[str, str], Entered]], **more: Any) -> RunFacts:
    return RunFacts(
        run="2025-11-25-01-commissioning",
        tag="CR-07",
        simulated=more.pop("simulated", False),
        supply=more.pop("supply", supply()),
        items=tuple(items),
        entries=dict(entries),
        **more,
    )


SWEEP = [load_point(percent) for percent in (0, 25, 50, 100)]
GOOD_SWEEP = [
    entered(item, text) for item, text in zip(SWEEP, ["15.020", "15.016", "15.011", "15.002"], strict=True)
]


def test_a_healthy_run_passes_in_one_line() -> None:
    items = [check("cord"), reading("front panel", EARTH, severity="danger"), *SWEEP]
    found = assess(
        facts(items, [entered(items[0], "pass"), entered(items[1], "0.06", meter=None), *GOOD_SWEEP])
    )
    assert found.verdict == "pass"
    assert not found.failed
    assert found.missing == ()
    assert found.summary[0].startswith("CR-07: Passes")
    assert "1 of 5 readings have no stated uncertainty" in found.summary[-1]


def test_regulation_comes_from_the_load_points() -> None:
    found = assess(facts(SWEEP, GOOD_SWEEP)).rails["+15"]
    # by hand: (15.020 - 15.002) / 15.002; sum dI dV = -0.011925, sum dI^2 = 0.7875 about the means
    assert found.load_regulation_pct == pytest.approx(100 * 0.018 / 15.002, rel=1e-9)
    assert found.output_resistance_ohm == pytest.approx(0.011925 / 0.7875, rel=1e-6)
    assert found.load_regulation_verdict == "pass"
    assert found.load_regulation_limit_pct == 1.0
    assert found.load_regulation_denominator == "full-load voltage"
    assert found.output_resistance_uncertainty_ohm is not None
    assert 0 < found.output_resistance_uncertainty_ohm < 0.005
    assert (found.no_load_v, found.full_load_v, found.full_load_a) == pytest.approx((15.020, 15.002, 1.2))


def test_what_is_told_of_load_says_where_the_sweep_ended() -> None:
    assert not any("highest load" in each for each in assess(facts(SWEEP, GOOD_SWEEP)).rails["+15"].warnings)
    found = assess(facts(SWEEP, GOOD_SWEEP[:-2])).rails["+15"]
    (words,) = [each for each in found.warnings if "highest load" in each]
    assert words.startswith("the highest load read is 300 mA of 1.2 A")


def test_a_run_tells_both_where_the_point_was_read_at_once() -> None:
    plain = assess(facts(SWEEP, GOOD_SWEEP)).rails["+15"]
    assert plain.load_effect_settled_v == pytest.approx(0.018)
    assert plain.load_effect_settled_pct == pytest.approx(plain.load_regulation_pct)
    assert plain.load_effect_immediate_v is None
    key, last = GOOD_SWEEP[-1]
    assert isinstance(last.event, Reading)
    early = msgspec.structs.replace(last.event, immediate=parse("15.010", "V"))
    entries = [*GOOD_SWEEP[:-1], (key, msgspec.structs.replace(last, event=early))]
    told = assess(facts(SWEEP, entries)).rails["+15"]
    assert told.load_effect_immediate_v == pytest.approx(0.010)
    assert told.load_effect_drift_v == pytest.approx(0.008)
    assert told.load_effect_denominator == "settled full-load voltage"
    assert told.load_effect_drift
    assert told.load_effect_drift in told.notes


def test_regulation_past_its_target_fails_the_run() -> None:
    items = SWEEP
    texts = ["15.20", "15.15", "15.10", "14.90"]
    found = assess(facts(items, [entered(item, text) for item, text in zip(items, texts, strict=True)]))
    assert found.rails["+15"].load_regulation_verdict == "fail"
    assert found.verdict == "fail"
    assert found.failed
    assert any(line.startswith("Mend: rail +15: load regulation") for line in found.summary)


def test_the_current_really_drawn_is_used_where_it_was_read() -> None:
    currents = []
    for item in SWEEP:
        read = Read(name="current", quantity="load_a", unit="A")
        currents.append(msgspec.structs.replace(item, step="load-points.current", read=read, limit=None))
    drawn = [entered(item, text) for item, text in zip(currents, ["0", "0.29", "0.61", "1.19"], strict=True)]
    found = assess(facts([*SWEEP, *currents], [*GOOD_SWEEP, *drawn])).rails["+15"]
    assert found.full_load_a == pytest.approx(1.19)


def test_cross_regulation_and_ripple_at_full_load() -> None:
    together = load_point(100, together=True)
    ripple = [load_point(50, key="output_ripple_pp_v"), load_point(100, key="output_ripple_pp_v")]
    entries = [
        *GOOD_SWEEP, entered(together, "14.972"), entered(ripple[0], "2 mV"), entered(ripple[1], "3 mV"),
    ]  # fmt: skip
    found = assess(facts([*SWEEP, together, *ripple], entries)).rails["+15"]
    assert found.cross_regulation_pct == pytest.approx(100 * (15.002 - 14.972) / 15.002, rel=1e-6)
    assert found.ripple_pp_v == pytest.approx(0.003)


def mains(name: str) -> Item:
    read = Read(quantity="mains_v", unit="V", condition="mains_v")
    spec = Step(id=name, kind="reading", title=name, reads=(read,))
    return Item(stage="loaded", step=name, kind="reading", spec=spec, read=read, energised=True)


def full_load_at(name: str) -> Item:
    item = load_point(100, together=True)
    return msgspec.structs.replace(item, step=name, spec=msgspec.structs.replace(item.spec, id=name))


def test_line_regulation_from_full_load_at_low_and_high_mains() -> None:
    # Malvino & Bates, Electronic Principles 7e, Ex 24-6, p. 956: 9.94 V and 9.79 V, line regulation 1.53 %
    # (0.15 V over 9.79 V); scaled here to a 15 V rail, over the output at nominal mains.
    items = [
        mains("nominal"),
        full_load_at("a"),
        mains("low"),
        full_load_at("b"),
        mains("high"),
        full_load_at("c"),
    ]
    texts = ["230", "15.00", "207", "14.90", "253", "15.11"]
    entries = [entered(item, text, meter=None) for item, text in zip(items, texts, strict=True)]
    sheet = supply()
    target = Targets(load_regulation_pct=1.0, line_regulation_pct=1.0)
    rails = (msgspec.structs.replace(sheet.rails[0], targets=target),)
    found = assess(facts(items, entries, supply=msgspec.structs.replace(sheet, rails=rails)))
    assert found.rails["+15"].line_regulation_pct == pytest.approx(100 * 0.21 / 15.00)
    assert found.rails["+15"].line_regulation_verdict == "not stated: fail"
    assert any("line regulation is" in line for line in found.summary)
    near = assess(facts(items[:4], [*entries[:2], entered(items[2], "228", meter=None), entries[3]]))
    assert near.rails["+15"].line_regulation_pct is None


def test_ripple_is_that_at_nominal_mains() -> None:
    def ripple(name: str) -> Item:
        item = load_point(100, key="output_ripple_pp_v", together=True)
        return msgspec.structs.replace(item, step=name, spec=msgspec.structs.replace(item.spec, id=name))

    items = [mains("low"), ripple("a"), mains("nominal"), ripple("b")]
    entries = [entered(item, text) for item, text in zip(items, ["207", "80 mV", "231", "3 mV"], strict=True)]
    assert assess(facts(items, entries)).rails["+15"].ripple_pp_v == pytest.approx(0.003)


def temperature(sensor: str, minutes: float, limit: Limit | None = None) -> Item:
    read = Read(quantity="temperature_c", unit="°C")
    spec = Step(id="soak", kind="soak", title="Temperatures through the soak", reads=(read,))
    return Item(
        stage="soak",
        step="soak",
        subject=f"{sensor} @ {minutes:g} min",
        kind="soak",
        spec=spec,
        read=read,
        energised=True,
        elapsed_s=60.0 * minutes,
        limit=limit,
    )


def soak_facts(
    tau_min: float,
    minutes: list[float],
    rise: float = 35.0,
    limit_c: float = 90.0,
    *,
    taken: list[float] | None = None,
    digits: int = 1,
) -> RunFacts:
    """A soak read at some minutes, or `taken` at others than the procedure asks for, by the clock."""
    limit = Limit(high=limit_c, basis="design sheet")
    items, entries = [], []
    for minute, when in zip(minutes, taken or minutes, strict=True):
        for sensor, value in (
            ("room air", 22.0),
            ("heat sink +15", 22.0 + rise * (1.0 - math.exp(-when / tau_min))),
        ):
            item = temperature(sensor, minute, limit if sensor != "room air" else None)
            items.append(item)
            key, entry = entered(item, f"{value:.{digits}f}")
            if taken is not None:
                event = msgspec.structs.replace(entry.event, after_s=60.0 * when)
                entry = msgspec.structs.replace(entry, event=event)
            entries.append((key, entry))
    return facts(items, entries)


MINUTES = [0.0, 5.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0]


def test_a_soak_is_forecast_for_the_hottest_room() -> None:
    # Closed form: 35 K over the room, 22 C here, 40 C the hottest (the sheet's default).
    found = assess(soak_facts(12.0, MINUTES))
    (soak,) = found.soaks
    assert soak.sensor == "heat sink +15"
    assert soak.final_c == pytest.approx(57.0, abs=0.2)
    assert soak.at_max_ambient_c == pytest.approx(75.0, abs=0.2)
    assert soak.time_constant_s == pytest.approx(720.0, rel=0.02)
    assert soak.at_max_ambient_low_c is not None
    assert soak.at_max_ambient_high_c is not None
    assert soak.at_max_ambient_low_c <= 75.0 <= soak.at_max_ambient_high_c
    assert soak.enough_data
    # 35 exp(-0) - 35 exp(-5): it moved by almost all of its rise in the last hour
    assert soak.stabilised is False
    assert "CTL decision 335" in soak.rule
    assert found.verdict == "pass"


@given(
    st.floats(4.0, 30.0),
    st.lists(st.floats(0.0, 4.9), min_size=len(MINUTES) - 1, max_size=len(MINUTES) - 1),
)
@settings(max_examples=40, deadline=None)
def test_a_typed_soak_read_late_gives_the_time_constant_it_was_made_with(
    tau_min: float, late: list[float]
) -> None:
    """Closed form of a first-order rise, read when somebody came by: its own τ comes out, to its digits."""
    taken = [0.0, *(minute + more for minute, more in zip(MINUTES[1:], late, strict=True))]
    (soak,) = soak_results(soak_facts(tau_min, MINUTES, taken=taken, digits=4))
    assert soak.time_constant_s == pytest.approx(60.0 * tau_min, rel=1e-3)
    assert soak.final_c == pytest.approx(57.0, abs=0.01)


def test_a_reading_that_came_after_a_later_one_is_put_where_it_was_taken() -> None:
    taken = [0.0, 5.0, 33.0, 20.0, 30.0, 40.0, 50.0, 60.0]  # that of ten minutes was forgotten
    (soak,) = soak_results(soak_facts(12.0, MINUTES, taken=taken, digits=4))
    assert soak.time_constant_s == pytest.approx(720.0, rel=1e-3)


def test_a_forecast_past_its_limit_is_a_condition() -> None:
    found = assess(soak_facts(12.0, MINUTES, limit_c=70.0))
    assert found.verdict == "conditional pass"
    hot = "Too hot: heat sink +15: would reach 75 °C in the hottest room allowed, limit 70 °C."
    assert found.summary[0].endswith(hot)
    assert found.summary[1] == hot


def test_a_likely_fault_and_heat_stand_first_and_it_is_made_safe_before_made_sure() -> None:
    cause = Cause(
        fault="open-diode",
        subject="+15",
        title="open",
        probability=0.67,
        severity="fault",
        confirm="bridge",
        make_safe="Switch off",
    )
    base = soak_facts(12.0, MINUTES, limit_c=70.0)
    shown = msgspec.structs.replace(assess(base), causes=(cause,))
    leads = [line.partition(":")[0] for line in summary(shown, base)[1:]]
    assert leads[:4] == ["Most likely (67 %)", "First", "To make sure", "Too hot"]


def with_causes(monkeypatch: pytest.MonkeyPatch, *shares: tuple[str, float]) -> Assessment:
    causes = tuple(
        Cause(fault=fault, subject="+15", title=f"{fault} on +15", probability=share, severity="fault")
        for fault, share in shares
    )
    monkeypatch.setattr("ohmward.analysis.assessment.weighed", lambda _: (causes, ()))
    item = check("cord")
    return assess(facts([item], [entered(item, "pass")]))


def test_within_every_limit_but_with_a_likely_fault_that_goes_before_the_pass(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    found = with_causes(monkeypatch, ("open-diode", 0.99), ("healthy", 0.01))
    assert found.verdict == "conditional pass"
    assert "Within its limits, and yet" in found.summary[0]
    assert "most likely (99 %): open-diode on +15. Do not leave it on" in found.summary[0]
    assert found.summary[1].startswith("Most likely (99 %): open-diode on +15.")
    assert run_verdict(found).word == "FAULT LIKELY"


def test_what_reads_the_same_and_that_it_is_one_reading_stand_beside_the_cause() -> None:
    alike = "A smaller capacitor fitted reads alike."
    cause = Cause(
        fault="reservoir-dried", subject="24", title="The reservoir has dried out (24)", probability=0.999,
        because=("Ripple: 2.1 V",), alike=alike,
    )  # fmt: skip
    said = likeliest_words(cause)
    assert said == f"Most likely (> 99 %, from one reading): The reservoir has dried out (24). {alike}"
    two = msgspec.structs.replace(cause, because=("Ripple: 2.1 V", "Output: 20 V"))
    assert "one reading" not in likeliest_words(two)
    assert ("Alike", alike) in cause_lines(cause)


def test_two_faults_that_share_what_is_not_healthy_are_a_finding_too(monkeypatch: pytest.MonkeyPatch) -> None:
    found = with_causes(monkeypatch, ("healthy", 0.4), ("open-diode", 0.3), ("high-esr", 0.3))
    assert found.verdict == "conditional pass"


def test_a_few_readings_beyond_their_bands_are_chance_where_all_together_show_nothing_wrong(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def summed(share: float) -> str:
        called_healthy(monkeypatch, share)
        items = [reading("output", OUTPUT, unit="V"), reading("hot", OUTPUT, unit="V")]
        band = Band(value=15.0, low=14.95, high=15.05)
        taken = [entered(items[0], "15.00", band=band), entered(items[1], "15.08", band=band)]
        found = assess(facts(items, taken))
        assert found.verdict == "pass"
        return " ".join(found.summary)

    assert "By chance: 1 of 2 readings beyond the band" in summed(0.97)
    assert "Watch" not in summed(0.97)
    assert "Watch: Hot" in summed(0.7)


def called_healthy(monkeypatch: pytest.MonkeyPatch, share: float = 0.97) -> None:
    healthy = Cause(fault="healthy", subject="", title="Nothing", probability=share)
    monkeypatch.setattr("ohmward.analysis.assessment.weighed", lambda _: ((healthy,), ()))


def test_a_reading_far_beyond_its_band_is_never_called_chance_and_a_condition_of_the_pass(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A heat sink at 72.8 °C where 46.4 (40.2 to 51.9) was predicted: 26.4 K, nine standard deviations."""
    called_healthy(monkeypatch)
    band = Band(value=46.36, low=40.19, high=51.88)
    items = [temperature("heat sink +12", minute) for minute in (0.0, 60.0, 90.0, 120.0)]
    texts = ["72.5", "72.8", "72.7"]
    entries = [entered(items[0], "23.0", meter=None)]
    entries += [
        entered(item, text, band=band, meter=None) for item, text in zip(items[1:], texts, strict=True)
    ]
    found = assess(facts(items, entries))
    assert found.verdict == "conditional pass"
    assert not any("By chance" in line for line in found.summary)
    (line,) = [line for line in found.summary if line.startswith("Watch: Temperatures through the soak")]
    assert "(heat sink +12 @ 90 min) (the worst of 3): Reads 26.4 K above the 46.36 °C that" in line
    for reason in ("dry interface", "smaller than listed", "more heat", "blocked vents", "hotter air"):
        assert reason in line


def test_the_readings_of_one_curve_beyond_their_band_count_as_one(monkeypatch: pytest.MonkeyPatch) -> None:
    called_healthy(monkeypatch)
    band = Band(value=46.0, low=42.0, high=50.0)
    sensors = {"heat sink +12": ["51.0", "51.2", "51.1"], "heat sink -12": ["46.0", "46.1", "46.2"]}
    items, entries = [], []
    for sensor, texts in sensors.items():
        for minute, text in zip((60.0, 90.0, 120.0), texts, strict=True):
            items.append(temperature(sensor, minute))
            entries.append(entered(items[-1], text, band=band, meter=None))
    found = assess(facts(items, entries))
    assert found.verdict == "pass"
    (line,) = [line for line in found.summary if line.startswith("By chance")]
    assert "3 of 6 readings (1 of 2 with those of a sweep or a soak taken as one) beyond the band" in line


def test_a_fault_less_likely_than_none_changes_no_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    found = with_causes(monkeypatch, ("healthy", 0.6), ("open-diode", 0.4))
    assert found.verdict == "pass"
    assert run_verdict(found).word == "PASS"


@pytest.mark.parametrize(("healthy", "told"), [(0.1, True), (0.3, False)])
def test_in_a_run_without_a_failure_causes_are_told_only_where_no_fault_is_unlikely(
    monkeypatch: pytest.MonkeyPatch, healthy: float, told: bool
) -> None:
    causes = tuple(
        Cause(fault=fault, subject="", title=fault, probability=share, severity="fault")
        for fault, share in (("ac-joint", 1 - healthy), ("healthy", healthy))
    )
    asked: list[RunFacts] = []

    def diagnosed(run: RunFacts) -> Diagnosis:
        asked.append(run)
        return Diagnosis(causes=causes, fits=True, readings=1)

    monkeypatch.setattr("ohmward.analysis.diagnose.diagnose_run", diagnosed)
    item = check("cord")
    done = facts([item], [entered(item, "pass")])
    assert bool(assess(done).causes) is told
    assert assess(facts([item], [])).causes == ()  # not through: nothing is asked
    many = msgspec.structs.replace(done.supply, rails=done.supply.rails * 7)
    assert assess(msgspec.structs.replace(done, supply=many)).causes == ()
    assert len(asked) == 1


def test_a_soak_whose_readings_jump_is_not_called_too_short() -> None:
    """Two and a half hours: 42 °C at 40 min, 76 °C at 50 min. No body warms like that."""
    jump = {0: 22.5, 5: 27, 10: 29.4, 20: 34.7, 30: 38.8, 40: 42, 50: 76, 60: 80, 90: 86, 120: 88, 150: 88.5}
    items, entries = [], []
    for minute, value in jump.items():
        for sensor, now in (("room air", 23.0), ("transformer", value)):
            limit = Limit(high=100.0, basis="design sheet") if sensor != "room air" else None
            items.append(temperature(sensor, float(minute), limit))
            entries.append(entered(items[-1], f"{now:.1f}"))
    found = assess(facts(items, entries))
    (soak,) = found.soaks
    assert (soak.withheld, soak.no_curve, soak.untold) == (True, True, "no one curve")
    assert any(
        "follow no one curve" in warning and "sensor that moved" in warning for warning in soak.warnings
    )
    assert not any("too short" in line for line in found.summary)
    assert (
        "Not settled: readings that follow no one curve do not tell how hot it gets: transformer"
        in " ".join(found.summary)
    )


def test_a_soak_cut_short_is_not_forecast_as_if_it_were_not() -> None:
    (short,) = assess(soak_facts(60.0, [0.0, 5.0, 10.0, 15.0, 20.0])).soaks
    assert not short.enough_data
    assert short.stabilised is None
    (few,) = assess(soak_facts(12.0, [0.0, 5.0, 10.0])).soaks
    assert few.final_c is None
    untold = "whether it is stable is not told: the record is shorter than the 60 min that the rule looks at"
    assert few.warnings == ("too few readings for a forecast", untold)
    assert untold in short.warnings
    (still,) = assess(soak_facts(12.0, MINUTES, rise=0.4)).soaks
    assert still.final_c is None


def test_a_failed_danger_is_the_first_thing_said() -> None:
    items = [check("cord"), check("earth wire", "danger"), reading("front panel", EARTH, severity="danger")]
    found = assess(
        facts(
            items,
            [
                entered(items[0], "fail", note="outer sheath cut"),
                entered(items[1], "fail"),
                entered(items[2], "0.52", meter=None),
            ],
        )
    )
    assert found.verdict == "fail"
    assert found.summary[1].startswith("Do not power it: Earth wire")
    assert found.summary[2].startswith(f"Do not power it: Front panel: {show(0.52, 'Ω')}. Fails its limit")
    assert "Find the loose joint" in found.summary[2]
    assert found.summary[3] == "Mend: Cord: outer sheath cut."


def test_an_override_makes_it_conditional_and_keeps_it_failed() -> None:
    item = check("cord")
    found = assess(facts([item], [entered(item, "fail", override="tape, until Friday")]))
    assert found.verdict == "conditional pass"
    assert found.failed
    assert [row.reason for row in found.overrides] == ["tape, until Friday"]
    assert any(
        line == "Failed, and gone on with in writing: Cord: tape, until Friday." for line in found.summary
    )


def test_writing_does_not_move_a_reading_inside_its_limit() -> None:
    item = reading("panel", EARTH)
    found = assess(facts([item], [entered(item, "0.3", meter=None, override="spare part ordered")]))
    assert found.verdict == "fail"
    assert found.summary[1].startswith("Mend: Panel: ")
    assert found.summary[1].endswith("Failed, and gone on with in writing: spare part ordered.")


def test_unexpected_readings_of_one_sweep_take_one_line() -> None:
    band = Band(value=15.0, low=14.99, high=15.03)
    texts = ["14.98", "14.97", "14.95", "14.96"]
    entries = [entered(item, text, band=band, meter=None) for item, text in zip(SWEEP, texts, strict=True)]
    lines = [line for line in assess(facts(SWEEP, entries)).summary if "the design predicts" in line]
    assert len(lines) == 1
    assert lines[0].startswith("Watch: Load points (+15 @ 50 %) (the worst of 4): Passes")


def test_what_fails_at_several_load_points_of_a_rail_is_said_once_at_its_worst() -> None:
    texts = ["15.020", "9.0", "8.0", "8.5"]
    entries = [entered(item, text, meter=None) for item, text in zip(SWEEP, texts, strict=True)]
    lines = [
        line for line in assess(facts(SWEEP, entries)).summary if line.startswith("Mend: Load points (+15 @")
    ]
    assert len(lines) == 1
    assert lines[0].startswith("Mend: Load points (+15 @ 50 %): 8 V.")
    assert lines[0].endswith("(The worst of 3 that fail.)")


def test_an_improvement_never_changes_the_verdict() -> None:
    item = check("label", "improvement")
    found = assess(facts([item], [entered(item, "fail", note="no label")]))
    assert (found.verdict, found.failed) == ("pass", False)
    assert any(line.startswith("Could be better: Label: no label") for line in found.summary)


@pytest.mark.parametrize(
    ("entries", "verdict"),
    [
        ({}, "incomplete"),
        ({"cord": "pass"}, "incomplete"),
        ({"cord": "pass", "panel": "0.06"}, "pass"),
        ({"cord": "fail"}, "fail"),
        ({"cord": "pass", "panel": ">0.01"}, "incomplete"),
        ({"cord": "pass", "panel": "OL"}, "incomplete"),
    ],
)
def test_verdict_of_a_run_on_its_way(entries: dict[str, str], verdict: str) -> None:
    items = {"cord": check("cord"), "panel": reading("panel", EARTH)}
    found = assess(
        facts(list(items.values()), [entered(items[name], text) for name, text in entries.items()])
    )
    assert found.verdict == verdict


def test_a_conditional_fail_alone_is_one_and_counts_as_failed() -> None:
    # a = 0.1 % of 15.61 V + 2 mV, U = 20 mV: 15.61 V is within 20 mV of 15.60 V.
    item = load_point(100)
    found = assess(facts([item], [entered(item, "15.61")]))
    assert (found.verdict, found.failed) == ("conditional fail", True)


def test_stale_results_are_to_be_done_again() -> None:
    item = reading("panel", EARTH)
    found = assess(facts([item], [entered(item, "0.06", stale=True)]))
    assert found.verdict == "incomplete"
    assert found.missing[0].again
    assert any("1 of them again" in line for line in found.summary)


def test_what_was_taken_before_its_time_is_a_condition_said_once_a_step() -> None:
    items = [reading("panel", EARTH), check("idle")]
    early = [
        entered(items[0], "0.06", early="taken after 3 s of 60 s"),
        entered(items[1], "pass", early="taken after 59 s of 600 s", note="warm from before"),
    ]
    found = assess(facts(items, early))
    assert found.verdict == "conditional pass"
    shortened = [line for line in found.summary if line.startswith("Shortened: ")]
    assert len(shortened) == 2
    assert "taken after 3 s of 60 s." in shortened[0]
    assert shortened[1] == "Shortened: Idle: taken after 59 s of 600 s (warm from before)."
    assert assess(facts(items, [entered(items[0], "0.06"), entered(items[1], "pass")])).verdict == "pass"


def test_a_required_step_left_out_is_a_condition() -> None:
    item = check("cord")
    skipped = (item.key, Entered(event=Skipped(step="cord", reason="cord is moulded")))
    found = assess(facts([item], [skipped]))
    assert found.verdict == "conditional pass"
    assert found.checks[0].answer == "not done"
    assert any(line == "Left out: Cord: cord is moulded." for line in found.summary)


def test_past_a_stop_limit_must_not_be_powered() -> None:
    item = reading("output", None, unit="V", stop=Limit(high=17.25, basis="1.15 times the set point"))
    found = assess(facts([item], [entered(item, "19.1")], halted=True))
    assert found.verdict == "fail"
    assert "Not yet safe to touch" in found.summary[1]
    assert found.summary[2].startswith("Do not power it: Output: 19.1")


def test_an_unexpected_reading_that_passes_is_to_be_watched() -> None:
    item = load_point(0)
    band = Band(value=15.0, low=14.95, high=15.05)
    found = assess(facts([item], [entered(item, "14.60", band=band)]))
    # sixteen standard deviations off: no chance
    assert found.verdict == "conditional pass"
    assert any(line.startswith("Watch: Load points (+15 @ 0 %): Passes its limit") for line in found.summary)
    assert found.readings[0].as_expected is False


def test_the_summary_never_runs_over_and_keeps_every_kind() -> None:
    dangers = [check(f"danger {i}", "danger") for i in range(20)]
    faults = [check(f"fault {i}") for i in range(20)]
    labels = [check(f"label {i}", "improvement") for i in range(20)]
    open_ = [check(f"open {i}") for i in range(3)]
    entries = [entered(item, "fail") for item in (*dangers, *faults, *labels)]
    found = assess(facts([*dangers, *faults, *labels, *open_], entries))
    assert len(found.summary) == MOST_LINES == 15
    assert sum(line.startswith("Do not power it") for line in found.summary) >= 8
    assert "Mend: 20 more, in the tables." in found.summary
    assert re.fullmatch(r"Watch: \d+ more, in the tables\.", found.summary[-1])
    assert any(line.startswith("To do: 3 required steps") for line in found.summary)


def test_json_has_the_agreed_keys_and_only_plain_numbers() -> None:
    items = [
        check("cord"),
        reading("panel", EARTH),
        reading("insulation", Limit(low=1e6, basis="VDE")),
        *SWEEP,
    ]
    entries = [
        entered(items[0], "pass"), entered(items[1], "0.2", meter=None, override="spare"),
        entered(items[2], "OL"), *GOOD_SWEEP,
    ]  # fmt: skip
    data = to_json(assess(facts(items, entries, simulated=True)))
    again = json.loads(json.dumps(data, allow_nan=False))
    assert {
        "run",
        "tag",
        "simulated",
        "verdict",
        "readings",
        "checks",
        "rails",
        "overrides",
        "summary",
    } <= set(again)
    assert {
        "stage", "step", "subject", "quantity", "value", "unit", "uncertainty", "limit_low", "limit_high",
        "basis", "expected_low", "expected_high", "verdict", "note",
    } <= set(again["readings"][0])  # fmt: skip
    assert {"stage", "step", "subject", "answer", "severity", "note"} <= set(again["checks"][0])
    assert {"load_regulation_pct", "output_resistance_ohm"} <= set(again["rails"]["+15"])
    assert again["simulated"] is True
    assert again["readings"][1]["value"] is None
    assert again["readings"][0]["value"] == 0.2
    assert again["overrides"][0]["reason"] == "spare"
    assert again["summary"][0].startswith("REHEARSAL")


def test_readings_are_taken_as_they_were_judged() -> None:
    item = load_point(0)
    key, entry = entered(item, "15.0")
    assert isinstance(entry.event, Reading)
    judged = msgspec.structs.replace(entry.event.judged, verdict="fail", note="as it was shown")
    event = msgspec.structs.replace(entry.event, judged=judged)
    found = assess(facts([item], [(key, msgspec.structs.replace(entry, event=event))]))
    assert (found.readings[0].verdict, found.readings[0].note) == ("fail", "as it was shown")


def test_a_failure_since_replaced_a_repair_and_a_danger_set_aside_stay_in_sight() -> None:
    item = load_point(0)
    key, entry = entered(item, "15.0")
    assert isinstance(entry.event, Reading)
    bad = msgspec.structs.replace(
        entry.event, judged=msgspec.structs.replace(entry.event.judged, verdict="fail")
    )
    told = msgspec.structs.replace(
        facts([item], [(key, entry)]),
        superseded=(("2026-03-01T10:00:00+01:00", bad, "taken again"),),
        repairs=(("2026-03-01T10:05:00+01:00", "joint remade"),),
        notes=(("2026-03-01T10:06:00+01:00", "", "", "humming"),),
    )
    found = assess(told)
    assert [(row.kind, row.failed) for row in found.history] == [
        ("replaced", True),
        ("repair", False),
        ("note", False),
    ]
    assert any("joint remade" in line for line in found.summary)
    assert any("taken again" in line for line in found.summary)


def test_checks_that_passed_again_are_one_line_on_the_way_and_a_failure_is_its_own() -> None:
    items = [check("cord"), check("fuse"), check("switch"), check("lid")]
    passed = [entered(item, "pass")[1].event for item in items]
    failed = entered(items[3], "fail")[1].event
    old = [*passed[:3], failed]
    told = msgspec.structs.replace(
        facts(items, [entered(item, "pass") for item in items]),
        superseded=tuple(
            (f"2026-03-01T10:0{n}:00+01:00", event, "taken again") for n, event in enumerate(old)
        ),
        repairs=(("2026-03-01T10:09:00+01:00", "joint remade"),),
    )
    found = assess(told)
    assert len(found.history) == 5  # all of it is in the data
    assert [(row.title, row.failed) for row in found.on_the_way] == [
        ("3 entries", False),
        ("Lid", True),
        ("", False),
    ]
    assert "passed again" in found.on_the_way[0].text
    # a remark on a pass, and what fails now, are told one by one
    noted = [entered(item, "pass", note="looked twice")[1].event for item in items[:3]]
    worse = msgspec.structs.replace(
        told, entries=dict([entered(items[0], "fail"), *(entered(item, "pass") for item in items[1:])])
    )
    remarked = msgspec.structs.replace(
        told,
        superseded=tuple(
            (at, event, why) for (at, _, why), event in zip(told.superseded, noted, strict=False)
        ),
    )
    assert len(assess(worse).on_the_way) == 4
    assert len(assess(remarked).on_the_way) == 4


def test_many_attempts_at_one_reading_are_told_together_and_none_is_lost() -> None:
    item, other = reading("panel", EARTH), reading("lid", EARTH)
    texts = ["0.3"] * 6 + ["0.06"] + ["0.2"] * 4  # the limit is 0.1 Ω
    tried = [(text, entered(item, text)[1].event) for text in texts]
    twice = [("0.3", entered(other, "0.3")[1].event)] * 2
    told = msgspec.structs.replace(
        facts([item, other], [entered(item, "0.06"), entered(other, "0.06")]),
        superseded=(
            *((f"2026-03-01T10:{n:02}:00+01:00", event, "taken again") for n, (_, event) in enumerate(tried)),
            *((f"2026-03-01T11:0{n}:00+01:00", event, "taken again") for n, (_, event) in enumerate(twice)),
            ("2026-03-01T12:00:00+01:00", tried[0][1], "amended, reason: “read off the wrong scale”"),
        ),
    )
    found = assess(told)
    assert len(found.history) == 14  # all of it is in the data
    first, *others = found.on_the_way
    assert first.text.startswith("read 11 times before what stands now, 10 failed; the last of them 0.2")
    assert (first.at, first.failed) == ("2026-03-01T10:10:00+01:00", True)
    assert [row.subject for row in others] == [other.subject, other.subject, item.subject]
    assert "read off the wrong scale" in others[-1].text
    assert len(found.attempts) == 11
    assert assess(msgspec.structs.replace(told, superseded=told.superseded[-3:])).attempts == ()


def test_frames_are_tidy_even_when_empty() -> None:
    empty = assess(facts([], [])).frames()
    full = assess(facts(SWEEP, GOOD_SWEEP)).frames()
    assert (
        set(empty)
        == set(full)
        == {
            "readings",
            "checks",
            "overrides",
            "missing",
            "rails",
            "soaks",
            "waveforms",
            "findings",
            "history",
            "causes",
            "comparison",
        }
    )
    assert list(empty["readings"].columns) == list(full["readings"].columns)
    assert len(full["readings"]) == 4
    assert list(full["rails"]["rail"]) == ["+15"]


def test_a_measured_reading_is_told_as_the_meter_showed_it_and_a_typed_one_as_typed() -> None:
    from decimal import Decimal

    from ohmward.analysis.rows import as_read
    from ohmward.logbook.events import Judged, Reading
    from ohmward.quantity import Value

    judged = Judged(verdict="pass")
    over = Value(raw="9.9E+37", kind="above", number=Decimal(200000000), unit="Ω")
    measured = Reading(step="insulation", value=over, judged=judged, replies=("9.9E+37",))
    assert as_read(measured).startswith(">")
    typed = Reading(
        step="lead-null", value=Value(raw="0R20", number=Decimal("0.20"), unit="Ω"), judged=judged
    )
    assert as_read(typed) == "0R20"
