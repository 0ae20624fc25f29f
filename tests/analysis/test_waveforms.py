"""What the waveforms of a run add to its assessment; they come from ngspice, never from our own physics."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

import msgspec
import numpy as np
import pytest

from ohmward.analysis import judge
from ohmward.analysis._gather import RIPPLE_CHECK, any_trouble, gather
from ohmward.analysis.assessment import assess, to_json
from ohmward.analysis.facts import CapturedWave, Entered, RunFacts
from ohmward.analysis.fits import Array
from ohmward.analysis.waveforms import farads, half_wave_fractions, missing_half, waveform_results
from ohmward.bench.meters import Meter, loads
from ohmward.logbook.events import Answered, Reading
from ohmward.procedure.model import Item, Read, Step
from ohmward.quantity import parse
from ohmward.supply.model import Mains, Rail, Rectifier, Regulator, Reservoir, Supply
from physics import ngspice

RATE_HZ = 100e3
BASE: dict[str, Any] = {
    "kind": "bridge", "source_rms_v": 20.0, "frequency_hz": 50.0, "source_ohm": 0.6, "capacitance_f": 6800e-6,
    "esr_ohm": 0.035, "saturation_a": 1e-8, "emission": 1.8, "bulk_ohm": 0.03, "load_a": 1.2,
}  # fmt: skip
METER = loads(
    '[[meter]]\nname = "scope"\nkind = "oscilloscope"\n[[meter.accuracy]]\nfunction = "dc volts"\n'
    'range = "60 V"\nresolution = "1 mV"\naccuracy = "1 %"\n'
)[0]


@cache
def wave(**changed: Any) -> Array:
    ngspice.require()
    return ngspice.waveform(ngspice.Design(**{**BASE, **changed}), rate_hz=RATE_HZ)


def supply(*, regulated: bool = True, kind: Any = "bridge", **reservoir: Any) -> Supply:
    rail = Rail(
        name="+15",
        nominal_v=15.0,
        rated_current_a=1.2,
        rectifier=Rectifier(kind=kind),
        reservoir=Reservoir(**{"capacitance_f": 6800e-6, "esr_ohm": 0.035, **reservoir}),
        regulator=Regulator(dropout_v=2.2) if regulated else None,
    )
    return Supply(
        tag="CR-07",
        title="Mixing-console supply (simulated)",
        protection_class="I",
        mains=Mains(voltage_v=230.0, frequency_hz=50.0),
        rails=(rail,),
    )


def capture(samples: Array, **changed: Any) -> CapturedWave:
    plain = CapturedWave(
        step="waveform", subject="+15 @ 100 %", rail="+15", point="reservoir", load_a=1.2, samples=samples,
        interval_s=1.0 / RATE_HZ, unit="V", source="scope, simulated by ngspice", file="run.waveform-1.csv",
    )  # fmt: skip
    return msgspec.structs.replace(plain, **changed)


def ripple_item(point: str = "reservoir") -> Item:
    key = f"{point}_ripple_pp_v"
    read = Read(name=point, quantity=key, unit="V", expect=key)
    spec = Step(id="ripple", kind="sweep", title="Ripple", reads=(read,), load_fractions=(1.0,))
    return Item(
        stage="ripple", step=f"ripple.{point}", subject="+15 @ 100 %", kind="sweep", spec=spec, read=read,
        energised=True, rail="+15", about="+15", load_a=1.2,
    )  # fmt: skip


def read_at(item: Item, text: str, meter: Meter | None = METER) -> tuple[tuple[str, str], Entered]:
    value = parse(text, "V")
    judged = judge(value, limit=None, stop=None, band=None, meter=meter)
    return item.key, Entered(event=Reading(step=item.step, subject=item.subject, value=value, judged=judged))


def facts(*captures: CapturedWave, own: Supply | None = None, **more: Any) -> RunFacts:
    return RunFacts(
        run="2026-03-02-01-commissioning", tag="CR-07", simulated=True, supply=own or supply(),
        **{"items": (), "entries": {}, "captures": captures, **more},
    )  # fmt: skip


def test_a_sound_reservoir_is_told_and_nothing_is_made_of_it() -> None:
    (found,) = waveform_results(facts(capture(wave())))
    assert found.capacitance_f == pytest.approx(6800e-6, rel=0.01)
    assert found.esr_ohm is not None
    assert found.esr_ohm == pytest.approx(0.035, abs=found.esr_uncertainty_ohm or 0.0)
    assert found.half_wave_fraction == pytest.approx(0.0, abs=0.01)
    assert found.mean_v == pytest.approx(float(wave().mean()), rel=1e-3)
    assert found.matters == ()
    assert found.limits == ()
    assert (found.notch_v, found.oscillation_hz) == (None, None)


def test_an_open_diode_is_said_and_stands_in_the_rails() -> None:
    result = assess(facts(capture(wave(open_half=True))))
    assert result.rails["+15"].half_wave_fraction == pytest.approx(2 / 3, abs=0.06)
    assert "one half-cycle is missing" in result.waveforms[0].matters[0]
    assert any("one half-cycle is missing" in line for line in result.summary)
    told = json.loads(json.dumps(to_json(result), allow_nan=False))
    assert told["rails"]["+15"]["half_wave_fraction"] == pytest.approx(2 / 3, abs=0.06)
    assert told["rails"]["+15"]["reservoir_ripple_pp_v"] == pytest.approx(float(np.ptp(wave(open_half=True))))
    assert told["waveforms"][0]["components"][0]["order"] == 1
    frame = result.frames()["waveforms"]
    assert list(frame["rail"]) == ["+15"]


def test_a_half_wave_rectifier_by_design_is_not_called_broken() -> None:
    own = supply(kind="half-wave", regulated=False)
    run = facts(capture(wave(kind="half-wave"), point="output"), own=own)
    (found,) = waveform_results(run)
    assert found.half_wave_fraction == pytest.approx(2 / 3, abs=0.06)
    assert found.matters == ()
    assert found.capacitance_f == pytest.approx(6800e-6, rel=0.01)
    told = msgspec.structs.replace(run, half_wave_fractions=half_wave_fractions(run, (found,)))
    assert missing_half(told, "+15") is None


def test_unequal_halves_are_said_and_no_reservoir_is_told_from_them() -> None:
    weak = wave(kind="centre-tap", second_rms_v=19.6)
    (found,) = waveform_results(facts(capture(weak)))
    assert found.half_wave_fraction is not None
    assert 0.05 < found.half_wave_fraction < 0.5
    assert "half-cycles are unequal" in found.matters[0]
    assert found.capacitance_f is None
    assert any("half-cycles are unequal" in words for words in found.limits)


def test_a_reservoir_that_dried_out_and_a_lossy_one_are_said_against_the_sheet() -> None:
    (dry,) = waveform_results(facts(capture(wave(capacitance_f=3300e-6))))
    assert "dried out" in dry.matters[0]
    assert "3300 ±" in dry.matters[0]
    (lossy,) = waveform_results(facts(capture(wave(esr_ohm=0.3))))
    assert any("lossy capacitor" in words for words in lossy.matters)
    (other,) = waveform_results(facts(capture(wave(capacitance_f=15000e-6))))
    assert "another was fitted" in other.matters[0]


def test_a_regulator_that_drops_out_leaves_notches() -> None:
    # an ideal regulator of 20 V that wants 2.2 V above it: the output follows the reservoir below that
    clipped = np.minimum(20.0, wave() - 2.2)
    depth, share = float(np.ptp(clipped)), float(np.mean(clipped < clipped.max() - np.ptp(clipped) / 2))
    (found,) = waveform_results(facts(capture(clipped, point="output")))
    assert found.notch_v == pytest.approx(depth, rel=0.02)
    assert found.notch_share == pytest.approx(share, abs=0.02)
    assert "drops out" in found.matters[0]
    (whole,) = waveform_results(facts(capture(np.minimum(20.0, wave() - 1.0), point="output")))
    assert (whole.notch_v, whole.matters) == (None, ())
    # the output of a rail without a regulator is its reservoir, which has no notches
    (raw,) = waveform_results(facts(capture(wave(), point="output"), own=supply(regulated=False)))
    assert raw.notch_v is None


def test_a_negative_rail_is_told_like_a_positive_one() -> None:
    own = supply()
    minus = msgspec.structs.replace(own.rails[0], name="-15", nominal_v=-15.0)
    own = msgspec.structs.replace(own, rails=(minus,))
    run = facts(capture(-wave(), rail="-15"), own=own)
    (found,) = waveform_results(run)
    assert found.capacitance_f == pytest.approx(6800e-6, rel=0.01)
    assert found.matters == ()
    clipped = -np.minimum(20.0, wave() - 2.2)
    (notched,) = waveform_results(facts(capture(clipped, rail="-15", point="output"), own=own))
    assert notched.notch_v == pytest.approx(float(np.ptp(clipped)), rel=0.02)


def test_an_oscillation_is_said_and_the_steps_of_a_digitiser_are_none() -> None:
    time = np.arange(200_000) / 2e6
    rng = np.random.default_rng(7)
    quiet = 15.0 + rng.normal(0.0, 0.0005, len(time))
    sung = quiet + 0.03 * np.sin(2 * np.pi * 187e3 * time)
    (found,) = waveform_results(facts(capture(sung, point="output", interval_s=0.5e-6)))
    assert found.oscillation_hz == pytest.approx(187e3, abs=10.0)
    assert found.oscillation_pp_v == pytest.approx(0.06, rel=0.01)
    assert any("oscillates" in words for words in found.matters)
    (still,) = waveform_results(facts(capture(quiet, point="output", interval_s=0.5e-6)))
    assert (still.oscillation_hz, still.matters) == (None, ())
    # 8 bits over a wide range: the swing is two steps, and their pattern is no oscillation
    steps = 0.1 * np.round((wave(load_a=0.05) + rng.normal(0.0, 0.03, len(wave(load_a=0.05)))) / 0.1)
    (coarse,) = waveform_results(facts(capture(steps, load_a=0.05)))
    assert coarse.oscillation_hz is None
    assert any("steps of the digitiser" in words for words in coarse.limits)


def test_spikes_are_kept_apart() -> None:
    time = np.arange(200_000) / 2e6
    spiky = 15.0 + 0.02 * np.sin(2 * np.pi * 100 * time)
    spiky[::20_000] += 0.3
    (found,) = waveform_results(facts(capture(spiky, point="output", interval_s=0.5e-6)))
    assert found.pp_v == pytest.approx(0.34, rel=0.1)
    assert found.pp_without_spikes_v == pytest.approx(0.04, rel=0.05)
    assert any(words.startswith("spikes:") for words in found.matters)


@pytest.mark.parametrize(
    ("text", "meter", "words"),
    [
        ("1.24 V", METER, ""),
        ("1.27 V", METER, ""),  # within 1 % of it and 3 % of the waveform, 40 mV together
        ("1.36 V", None, ""),  # 10 % where nothing is stated
        ("1.48 V", METER, "another load"),
        ("0.62 V", None, "another load"),
        ("12.4 V", METER, "factor of ten"),
        ("0.124 V", METER, "factor of ten"),
    ],
)
def test_a_reading_and_a_waveform_that_disagree_are_named(text: str, meter: Meter | None, words: str) -> None:
    # the swing of the waveform is ngspice's 1.236 V
    item = ripple_item()
    run = facts(capture(wave()), items=(item,), entries=dict([read_at(item, text, meter)]))
    (found,) = waveform_results(run)
    assert found.read_pp_v == pytest.approx(parse(text, "V").si)
    said = [each for each in found.matters if "was read" in each]
    assert bool(said) == bool(words)
    assert all(words in each for each in said)


def test_ripple_is_taken_from_the_waveform_only_where_no_meter_read_it() -> None:
    item = ripple_item()
    both = facts(capture(wave()), items=(item,), entries=dict([read_at(item, "1.25 V")]))
    assert assess(both).rails["+15"].reservoir_ripple_pp_v == pytest.approx(1.25)
    alone = assess(facts(capture(wave()))).rails["+15"]
    assert alone.reservoir_ripple_pp_v == pytest.approx(float(np.ptp(wave())))
    assert alone.ripple_pp_v is None
    assert any("by its waveform" in note for note in alone.notes)
    raw = facts(capture(wave(), point="output"), own=supply(regulated=False))
    assert assess(raw).rails["+15"].ripple_pp_v == pytest.approx(float(np.ptp(wave())))


def test_the_latest_that_counts_is_used() -> None:
    old, new = capture(wave(open_half=True)), capture(wave(), file="run.waveform-2.csv")
    (found,) = waveform_results(facts(old, new))
    assert found.file == "run.waveform-2.csv"
    stale = msgspec.structs.replace(new, stale=True)
    (left,) = waveform_results(facts(old, stale))
    assert left.file == old.file
    assert waveform_results(facts(stale)) == ()


def test_hum_at_a_regulated_output_is_not_a_missing_diode() -> None:
    time = np.arange(20_000) / RATE_HZ
    hum = 15.0 + 0.002 * np.sin(2 * np.pi * 50 * time)
    run = facts(capture(hum, point="output"))
    (found,) = waveform_results(run)
    assert "hum, pick-up" in found.matters[0]
    assert half_wave_fractions(run, (found,)) == {}
    assert assess(run).rails["+15"].half_wave_fraction is None


def test_what_cannot_be_analysed_says_why_and_stops_nothing() -> None:
    short, amps = capture(wave()[:3000]), capture(wave(), unit="A", point="output")
    elsewhere = capture(wave(), rail="", point="", step="lamp", subject="", load_a=None)
    found = {each.point: each for each in waveform_results(facts(short, amps, elsewhere))}
    assert "shorter than two mains periods" in found["reservoir"].limits[0]
    assert "not in volts" in found["output"].limits[0]
    assert found[""].pp_v == pytest.approx(float(np.ptp(wave())))
    slow = capture(wave()[::25], interval_s=25.0 / RATE_HZ)
    (told,) = waveform_results(facts(slow))
    assert any("4000 samples" in words or "too slowly" in words for words in told.limits)
    assert any("can be seen: no spikes" in words for words in told.limits)
    assert told.capacitance_f is None
    (coupled,) = waveform_results(facts(capture(wave() - wave().mean())))
    assert coupled.mean_v is None
    assert any("AC-coupled" in words for words in coupled.limits)
    assert coupled.capacitance_f == pytest.approx(6800e-6, rel=0.01)


def test_a_file_that_could_not_be_used_is_in_the_summary_and_the_json() -> None:
    result = assess(facts(capture_problems=("Waveform (+15 @ 100 %): its waveform is not used: changed",)))
    assert any("not used" in line for line in result.summary)
    assert to_json(result)["waveform_problems"] == list(result.waveform_problems)


def test_a_required_waveform_is_missing_until_it_is_recorded() -> None:
    spec = Step(id="waveform", kind="capture", title="Waveform", each="rail", load_fractions=(1.0,))
    item = Item(
        stage="ripple", step="waveform", subject="+15 @ 100 %", kind="capture", spec=spec, energised=True,
        rail="+15", load_a=1.2,
    )  # fmt: skip
    missing = assess(facts(items=(item,))).missing
    assert [row.step for row in missing] == ["waveform"]
    # recorded, even where its file has gone: the run did it, and the file is named apart
    assert assess(facts(items=(item,), captured=frozenset({item.key}))).missing == ()


@pytest.mark.parametrize(
    ("value", "u", "shown"),
    [
        (6.8e-3, 2.17e-4, "6800 ± 220 µF"),
        (1.0e-4, 2.4e-6, "100.0 ± 2.4 µF"),
        (22.0e-3, 7.0e-5, "22000 ± 70 µF"),
        (1e-3, 0.0, "1000 ± 0 µF"),
    ],
)
def test_a_capacitance_in_microfarad(value: float, u: float, shown: str) -> None:
    assert farads(value, u) == shown


def test_a_waveform_answers_the_check_of_the_half_cycles_for_the_diagnosis() -> None:
    spec = Step(id=RIPPLE_CHECK, kind="check", title="Humps alike", each="rail")
    item = Item(
        stage="ripple", step=RIPPLE_CHECK, subject="+15", kind="check", spec=spec, energised=True, rail="+15"
    )
    seen = Entered(event=Answered(step=RIPPLE_CHECK, subject="+15", answer="pass"))
    by_eye = facts(items=(item,), entries={item.key: seen})
    assert not any_trouble(by_eye)
    assert [each.failed for each in gather(by_eye, by_eye.supply).answers] == [False]
    shown = msgspec.structs.replace(by_eye, half_wave_fractions={"+15": 0.68})
    assert any_trouble(shown)
    (answer,) = gather(shown, shown.supply).answers
    assert (answer.step, answer.subject, answer.failed) == (RIPPLE_CHECK, "+15", True)
    assert "68 %" in answer.title
    alike = msgspec.structs.replace(by_eye, half_wave_fractions={"+15": 0.01})
    assert not any_trouble(alike)
    assert [each.failed for each in gather(alike, alike.supply).answers] == [False]


def test_the_steps_of_a_digitiser_alone_contradict_no_reading_and_a_real_difference_is_still_said() -> None:
    swing = float(np.ptp(wave()))
    step, item = swing / 15.4, ripple_item()  # 8 bits over a direct voltage, as far apart as they are there
    entries = dict([read_at(item, f"{swing:.3f}")])
    noise = np.random.default_rng(4)
    for _ in range(20):
        offset = noise.uniform(0.0, step)
        noisy = wave() + offset + noise.normal(0.0, 0.3 * step, len(wave()))
        (found,) = waveform_results(
            facts(capture(step * np.round(noisy / step)), items=(item,), entries=entries)
        )
        assert found.read_pp_v == pytest.approx(swing, abs=0.001)
        assert not any("p-p was read" in words for words in found.matters)
    (other,) = waveform_results(
        facts(capture(step * np.round(wave() / step)), items=(item,), entries=dict([read_at(item, "2.9")]))
    )
    assert any("p-p was read" in words for words in other.matters)
