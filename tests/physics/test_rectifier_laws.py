"""Laws that hold for every rectifier with a capacitor, over random designs."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.physics.rectifier import Diode, SteadyState, steady_state

Array = npt.NDArray[np.float64]

DESIGNS = 40
"""Designs a batch; hypothesis draws the seed and what all of them share."""
KINDS = st.sampled_from(["bridge", "centre-tap", "half-wave"])
SEEDS = st.integers(0, 2**32 - 1)
FEW = settings(max_examples=25, deadline=None)


def designs(seed: int) -> dict[str, Any]:
    """Supplies of 6 to 55 V, 50 mA to 6 A, with sags and ripples from slight to severe."""
    rng = np.random.default_rng(seed)

    def between(low: float, high: float) -> Array:
        return np.asarray(np.exp(rng.uniform(np.log(low), np.log(high), DESIGNS)))

    volts, amperes = between(6, 55), between(0.05, 6)
    hertz = rng.choice([50.0, 60.0], DESIGNS)
    return {
        "source_rms_v": volts,
        "frequency_hz": hertz,
        "source_ohm": between(0.01, 0.15) * volts / amperes,
        "capacitance_f": amperes / (2 * hertz * volts * between(0.02, 0.2)),
        "esr_ohm": between(1e-4, 0.02) * volts / amperes,
        "diode": Diode(
            saturation_a=between(1e-12, 1e-6),
            emission=rng.uniform(1.0, 2.0, DESIGNS),
            bulk_ohm=between(1e-3, 0.1),
        ),
        "load_a": amperes * between(0.02, 1.0),
    }


def resistive(design: dict[str, Any]) -> dict[str, Any]:
    """The same designs with resistors that draw about the same current."""
    load = 1.1 * design["source_rms_v"] / design["load_a"]
    return {key: value for key, value in design.items() if key != "load_a"} | {"load_ohm": load}


def run(kind: Any, design: dict[str, Any], **changed: Any) -> SteadyState:
    found = steady_state(kind=kind, **(design | changed))
    assert found.converged.all(), found.problem
    return found


@given(KINDS, SEEDS)
@FEW
def test_charge_balances(kind: str, seed: int) -> None:
    """In a steady state the reservoir gives up what it takes: mean diode current = load current."""
    design = designs(seed)
    found = run(kind, design)
    assert found.diode_mean_a == pytest.approx(design["load_a"], rel=1e-6)
    found = run(kind, resistive(design))
    assert found.diode_mean_a == pytest.approx(found.mean_v / resistive(design)["load_ohm"], rel=1e-6)


@given(KINDS, SEEDS)
@FEW
def test_charge_balances_in_a_constant_power_load(kind: str, seed: int) -> None:
    design = designs(seed)
    power = 0.3 * design.pop("load_a") * design["source_rms_v"]
    found = run(kind, design, load_w=power)
    wave = found.waveform(2000)
    assert found.diode_mean_a == pytest.approx(found.load_mean_a, rel=1e-6)
    # The mean of P/v over samples of the waveform, which knows nothing of that balance.
    assert found.diode_mean_a == pytest.approx((power / wave.output_v).mean(axis=0), rel=1e-4)


@given(KINDS, SEEDS, st.floats(1.01, 20.0))
@FEW
def test_more_capacitance_never_raises_ripple(kind: str, seed: int, more: float) -> None:
    design = designs(seed)
    less = run(kind, design).ripple_pp_v
    assert np.all(run(kind, design, capacitance_f=design["capacitance_f"] * more).ripple_pp_v <= less)


@given(KINDS, SEEDS, st.floats(1.001, 3.0))
@FEW
def test_more_source_resistance_never_raises_the_mean(kind: str, seed: int, more: float) -> None:
    design = resistive(designs(seed))
    less = run(kind, design).mean_v
    assert np.all(run(kind, design, source_ohm=design["source_ohm"] * more).mean_v <= less)


@given(KINDS, SEEDS, st.floats(1.01, 5.0))
@FEW
def test_more_load_never_raises_the_mean(kind: str, seed: int, more: float) -> None:
    design = designs(seed)
    design["load_a"] = design["load_a"] / 5
    less = run(kind, design).mean_v
    assert np.all(run(kind, design, load_a=design["load_a"] * more).mean_v <= less)


@given(SEEDS)
@FEW
def test_half_wave_ripple_exceeds_full_wave(seed: int) -> None:
    design = designs(seed)
    assert np.all(run("half-wave", design).ripple_pp_v > run("centre-tap", design).ripple_pp_v)


@given(KINDS, SEEDS, st.floats(0.2, 5.0))
@FEW
def test_with_no_drop_voltage_and_current_scale_together(kind: str, seed: int, k: float) -> None:
    """Everything but the diode is linear; an emission coefficient of 0.0002 leaves a drop of 0.1 mV."""
    design = designs(seed)
    ideal = Diode(saturation_a=1e-9, emission=2e-4)
    one = run(kind, design, diode=ideal)
    other = run(
        kind,
        design,
        source_rms_v=k * design["source_rms_v"],
        load_a=k * design["load_a"],
        diode=ideal,
    )
    for name in ("mean_v", "valley_v", "peak_v"):
        assert getattr(other, name) == pytest.approx(k * getattr(one, name), rel=1e-3)
    # Currents and ripple hang on the few volts between crest and output, where 0.1 mV weighs more.
    for name in ("ripple_pp_v", "source_rms_a", "source_peak_a", "capacitor_rms_a"):
        assert getattr(other, name) == pytest.approx(k * getattr(one, name), rel=1e-2)


@given(KINDS, SEEDS, st.floats(0.05, 20.0))
@FEW
def test_voltage_current_and_thermal_voltage_scale_together(kind: str, seed: int, k: float) -> None:
    """Volts, amperes and kT/e by the same factor: Shockley's law and all others stay as they are.

    The answer's own error, 1e-4 of the ripple, need not be the same: rounding moves the windows.
    """
    design = designs(seed)
    diode: Diode = design["diode"]
    one = run(kind, design)
    scaled = Diode(
        saturation_a=k * np.asarray(diode.saturation_a),
        emission=diode.emission,
        bulk_ohm=diode.bulk_ohm,
        temperature_k=300.15 * k,
    )
    other = run(
        kind, design, source_rms_v=k * design["source_rms_v"], load_a=k * design["load_a"], diode=scaled
    )
    for name in ("mean_v", "ripple_pp_v", "source_rms_a", "fundamental_v", "piv_v"):
        assert getattr(other, name) == pytest.approx(k * getattr(one, name), rel=1e-4, abs=1e-12)


@given(st.sampled_from(["bridge", "centre-tap"]), SEEDS)
@FEW
def test_an_open_diode_moves_the_fundamental_from_nought(kind: str, seed: int) -> None:
    design = designs(seed)
    design["load_a"] = design["load_a"] / 3
    healthy, faulty = run(kind, design), run(kind, design, open_half=True)
    assert np.all(healthy.fundamental_v == 0)
    assert np.all(faulty.fundamental_v > 0.02 * faulty.ripple_pp_v)
    assert np.all(faulty.mean_v < healthy.mean_v)


@given(st.sampled_from(["bridge", "centre-tap"]), SEEDS)
@FEW
def test_two_halves_alike_are_one_half_seen_twice(kind: str, seed: int) -> None:
    """The path for unequal halves, given a difference too small to matter, gives what the other gives."""
    design = designs(seed)
    one = run(kind, design)
    two = run(kind, design, second_rms_v=design["source_rms_v"] * (1 + 1e-9))
    for name in ("mean_v", "ripple_pp_v", "source_rms_a", "half_rms_a", "second_harmonic_v", "piv_v"):
        assert getattr(two, name) == pytest.approx(getattr(one, name), rel=1e-5)


@given(st.sampled_from(["bridge", "centre-tap"]), SEEDS)
@FEW
def test_it_does_not_matter_which_half_is_which(kind: str, seed: int) -> None:
    design = designs(seed)
    one = run(kind, design, second_rms_v=0.93 * design["source_rms_v"])
    other = run(kind, design, source_rms_v=0.93 * design["source_rms_v"], second_rms_v=design["source_rms_v"])
    for name in ("mean_v", "ripple_pp_v", "source_rms_a", "fundamental_v", "second_harmonic_v", "piv_v"):
        assert getattr(other, name) == pytest.approx(getattr(one, name), rel=1e-5)


@given(KINDS, SEEDS)
@FEW
def test_power_in_is_power_out(kind: str, seed: int) -> None:
    """What the source delivers is spent in load, resistances and diodes; by samples of the waveform."""
    design = designs(seed)
    found = run(kind, design)
    n = 4000
    wave = found.waveform(n)
    angle = 2 * np.pi * np.arange(n) / n
    emf = np.sqrt(2) * design["source_rms_v"] * np.abs(np.sin(angle))[:, None]
    delivered = (emf * wave.diode_a).mean(axis=0)
    diode: Diode = design["diode"]
    series = 2 if kind == "bridge" else 1
    thermal = series * np.asarray(diode.emission) * 8.617333262e-5 * 300.15
    forward = np.maximum(wave.diode_a, 0.0)
    junction = thermal * np.log1p(forward / np.asarray(diode.saturation_a))
    spent = (wave.output_v * design["load_a"] + forward * junction).mean(axis=0)
    spent += found.source_rms_a**2 * (design["source_ohm"] + series * np.asarray(diode.bulk_ohm))
    spent += found.capacitor_rms_a**2 * design["esr_ohm"]
    assert delivered == pytest.approx(spent, rel=1e-3)


@given(KINDS, SEEDS)
@FEW
def test_designs_do_not_disturb_each_other(kind: str, seed: int) -> None:
    """A batch gives what each design gives alone, but for one more step that slow neighbours may cause.

    It would be more than 1e-4 if it were not the same design.
    """
    design = designs(seed)
    found = run(kind, design)
    at = seed % DESIGNS

    def pick(value: Any) -> Any:
        if isinstance(value, Diode):
            return Diode(
                saturation_a=pick(value.saturation_a),
                emission=pick(value.emission),
                bulk_ohm=pick(value.bulk_ohm),
            )
        return value[at]

    alone = run(kind, {key: pick(value) for key, value in design.items()})
    assert alone.mean_v.shape == ()
    for name in ("mean_v", "ripple_pp_v", "source_rms_a", "piv_v"):
        assert float(getattr(alone, name)) == pytest.approx(getattr(found, name)[at], rel=1e-5)
