"""Reservoir capacitance and series resistance from waveforms that ngspice made, with both known.

The circuits are solved by ngspice, never by the project's own physics. Tolerances: the share of the pulse's
length and of the capacitance that the module states, not what it happens to print.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.analysis.conduction import CAPACITANCE_FORM, SOFT, Array, Conduction, conduction
from ohmward.analysis.ripple import analyse
from physics import ngspice

RATE_HZ = 100e3
BASE: dict[str, Any] = {
    "kind": "bridge", "source_rms_v": 20.0, "frequency_hz": 50.0, "source_ohm": 0.6, "capacitance_f": 6800e-6,
    "esr_ohm": 0.035, "saturation_a": 1e-8, "emission": 1.8, "bulk_ohm": 0.03, "load_a": 1.2,
}  # fmt: skip
CASES: dict[str, dict[str, Any]] = {
    "sound": {},
    "a good capacitor": {"esr_ohm": 0.010},
    "lossy": {"esr_ohm": 0.1},
    "very lossy": {"esr_ohm": 0.3},
    "dried out": {"capacitance_f": 2200e-6, "esr_ohm": 0.1},
    "a diode open": {"open_half": True},
    "centre tap": {"kind": "centre-tap", "esr_ohm": 0.08},
    "half-wave": {"kind": "half-wave", "esr_ohm": 0.1},
    "a resistor as load": {"load_a": None, "load_ohm": 20.0, "esr_ohm": 0.1},
    "a stiff source": {"source_ohm": 0.15, "esr_ohm": 0.05},
    "a soft source": {"source_ohm": 3.0, "load_a": 0.3, "capacitance_f": 1000e-6, "esr_ohm": 0.2},
    "light load": {"load_a": 0.2, "esr_ohm": 0.1},
    "60 Hz, 4 A": {
        "frequency_hz": 60.0, "esr_ohm": 0.06, "capacitance_f": 10e-3, "load_a": 4.0, "source_ohm": 0.25
    },
}  # fmt: skip


@cache
def wave(name: str) -> tuple[ngspice.Design, Array, ngspice.Run]:
    ngspice.require()
    design = ngspice.Design(**{**BASE, **CASES[name]})
    return design, ngspice.waveform(design, rate_hz=RATE_HZ), ngspice.settle(design)


def load_of(design: ngspice.Design, samples: Array) -> float:
    return design.load_a or float(samples.mean()) / (design.load_ohm or 1.0)


def ripple_hz(design: ngspice.Design) -> float:
    return design.frequency_hz * (1 if design.open_half or design.kind == "half-wave" else 2)


def esr(found: Conduction) -> tuple[float, float]:
    """Series resistance and its uncertainty [Ω], both told."""
    assert found.esr_ohm is not None
    assert found.esr_uncertainty_ohm is not None
    return found.esr_ohm, found.esr_uncertainty_ohm


@pytest.mark.parametrize("name", CASES)
def test_capacitance_and_series_resistance_are_those_of_the_circuit(name: str) -> None:
    design, samples, run = wave(name)
    found, why = conduction(samples, RATE_HZ, ripple_hz(design), load_of(design, samples))
    assert found is not None, why
    assert found.capacitance_f == pytest.approx(design.capacitance_f, rel=CAPACITANCE_FORM)
    allowed_ohm = SOFT * found.conduction_s / design.capacitance_f + CAPACITANCE_FORM * design.esr_ohm
    ohm, u = esr(found)
    assert ohm == pytest.approx(design.esr_ohm, abs=allowed_ohm)
    assert abs(ohm - design.esr_ohm) < u < allowed_ohm + 0.05 * design.esr_ohm
    assert found.peak_a == pytest.approx(run.source_peak_a, rel=0.03)


COARSE = ("sound", "a good capacitor", "a soft source", "light load", "a stiff source")


def coarse(name: str, steps: int, seed: int) -> tuple[ngspice.Design, Conduction]:
    """A tenth of a second at 50 kSa/s whose swing is so few steps of the digitiser."""
    design, samples, _ = wave(name)
    rng, step = np.random.default_rng(seed), float(np.ptp(samples)) / steps
    long = np.tile(samples[::2], 5)[:5000]
    seen = step * np.round((long + rng.normal(0.0, 0.1 * step, 5000) + rng.uniform(0.0, step)) / step)
    found, why = conduction(seen, RATE_HZ / 2, ripple_hz(design), load_of(design, samples), step_v=step)
    assert found is not None, why
    return design, found


def test_on_a_coarse_range_series_resistance_is_told_within_its_uncertainty_or_not_at_all() -> None:
    told, inside = 0, 0
    for name in COARSE:
        for steps in (10, 14, 25):
            for seed in range(3):
                design, found = coarse(name, steps, seed)
                off_f = abs(found.capacitance_f - design.capacitance_f)
                assert off_f < 1.5 * found.capacitance_uncertainty_f
                if found.esr_ohm is None or found.esr_uncertainty_ohm is None:
                    continue
                told += 1
                inside += abs(found.esr_ohm - design.esr_ohm) < found.esr_uncertainty_ohm
                # what the whole swing would be through it bounds what can be claimed not to be known
                assert found.esr_uncertainty_ohm < 1.0
    assert told >= 40
    assert inside >= 0.9 * told


def test_where_a_shift_of_the_pulse_looks_the_same_no_series_resistance_is_told() -> None:
    for name, steps, seed in (("a good capacitor", 25, 0), ("a soft source", 10, 0)):
        design, found = coarse(name, steps, seed)
        assert (found.esr_ohm, found.esr_uncertainty_ohm) == (None, None)
        assert found.capacitance_f == pytest.approx(design.capacitance_f, rel=0.05)


@pytest.mark.parametrize("esr_ohm", [0.6, 1.0, 1.5])
def test_a_very_lossy_capacitor_is_told_within_its_wider_uncertainty(esr_ohm: float) -> None:
    ngspice.require()
    design = ngspice.Design(**{**BASE, "esr_ohm": esr_ohm, "source_ohm": 0.3})
    found, why = conduction(ngspice.waveform(design), RATE_HZ, 100.0, 1.2)
    assert found is not None, why
    ohm, u = esr(found)
    assert abs(ohm - esr_ohm) < u < 0.2 * esr_ohm
    assert abs(found.capacitance_f - 6800e-6) < found.capacitance_uncertainty_f < 0.12 * 6800e-6


@pytest.mark.parametrize("name", CASES)
def test_an_open_diode_shows_as_ripple_at_mains_frequency(name: str) -> None:
    # 0 for equal half-cycles, 2/3 for a half-wave sawtooth (its amplitudes are 1/n)
    design, samples, run = wave(name)
    found = analyse(samples, RATE_HZ, design.frequency_hz)
    one_sided = design.open_half or design.kind == "half-wave"
    assert found.half_wave_fraction == pytest.approx(2 / 3 if one_sided else 0.0, abs=0.06)
    assert any("half-cycle is missing" in words for words in found.warnings) == one_sided
    assert found.pp_v == pytest.approx(run.ripple_pp_v, rel=0.002)
    assert found.rms_v == pytest.approx(run.ripple_rms_v, rel=0.005)
    assert found.mean_v == pytest.approx(run.mean_v, rel=1e-4)


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("how", ["8 bits", "7 bits, upside down", "10 kSa/s", "noise", "AC-coupled"])
def test_through_a_real_digitiser_the_true_values_lie_within_the_uncertainty(name: str, how: str) -> None:
    design, samples, _ = wave(name)
    load_a, rate, swing = load_of(design, samples), RATE_HZ, float(np.ptp(samples))
    rng = np.random.default_rng(5)
    if how.endswith(("bits", "upside down")):
        step = swing / (150.0 if how == "8 bits" else 50.0)
        samples = step * np.round((samples + rng.normal(0.0, 0.3 * step, len(samples))) / step)
        samples = samples[: int(5.3 * rate / design.frequency_hz)] * (-1.0 if "upside" in how else 1.0)
    elif how == "10 kSa/s":
        samples, rate = samples[::10], rate / 10.0
    elif how == "noise":
        samples = samples + rng.normal(0.0, 0.005 * swing, len(samples))
    else:  # a first-order high pass at 0.5 Hz: an AC-coupled input behind a ×10 probe (common practice)
        periodic = np.tile(samples - samples.mean(), 100)
        corner = 2.0 * np.pi * 0.5
        spectrum = np.fft.rfft(periodic)
        omega = 2.0 * np.pi * np.fft.rfftfreq(len(periodic), 1.0 / rate)
        samples = np.fft.irfft(spectrum * 1j * omega / (1j * omega + corner), len(periodic))[: len(samples)]
    mains_hz = analyse(samples, rate, design.frequency_hz).mains_hz
    found, why = conduction(samples, rate, ripple_hz(design) * mains_hz / design.frequency_hz, load_a)
    assert found is not None, why
    assert abs(found.capacitance_f - design.capacitance_f) < found.capacitance_uncertainty_f
    ohm, u = esr(found)
    assert abs(ohm - design.esr_ohm) < u
    room = 0.06 if how.startswith("7 bits") else 0.02  # thrice the steps, thrice the room
    assert u < 0.3 * design.esr_ohm + room * found.conduction_s / design.capacitance_f


@given(st.floats(0.01, 100.0), st.floats(-50.0, 50.0), st.booleans(), st.floats(0.5, 2.0))
@settings(max_examples=8, deadline=None)
def test_voltage_scales_level_and_sign_change_what_they_should(
    scale: float, level: float, upside_down: bool, current: float
) -> None:
    _, samples, _ = wave("lossy")
    plain, _ = conduction(samples, RATE_HZ, 100.0, 1.2)
    sign = -1.0 if upside_down else 1.0
    other, why = conduction(sign * scale * samples + level, RATE_HZ, 100.0, 1.2 * current)
    assert plain is not None
    assert other is not None, why
    assert other.capacitance_f == pytest.approx(plain.capacitance_f * current / scale, rel=1e-3)
    assert esr(other)[0] == pytest.approx(esr(plain)[0] * scale / current, rel=5e-3)


def test_the_uncertainty_of_the_load_current_carries_over() -> None:
    design, samples, _ = wave("lossy")
    sure, _ = conduction(samples, RATE_HZ, 100.0, 1.2, load_uncertainty_a=0.001)
    unsure, _ = conduction(samples, RATE_HZ, 100.0, 1.2, load_uncertainty_a=0.12)
    assert sure is not None
    assert unsure is not None
    assert sure.capacitance_uncertainty_f < 0.015 * design.capacitance_f
    assert unsure.capacitance_uncertainty_f == pytest.approx(0.2 * unsure.capacitance_f, rel=0.02)


TIME = np.arange(10_000) / RATE_HZ


@pytest.mark.parametrize(
    ("samples", "rate", "load_a", "words"),
    [
        (np.sin(TIME), RATE_HZ, 0.0, "load current"),
        (np.sin(TIME)[:100], 5e3, 1.0, "too slowly"),
        (np.sin(TIME)[:1500], RATE_HZ, 1.0, "shorter than two"),
        (np.full(10_000, 12.0), RATE_HZ, 1.0, "no ripple"),
        (np.random.default_rng(1).normal(0.0, 1.0, 10_000), RATE_HZ, 1.0, "noise"),
        (np.sign(np.sin(2 * np.pi * 300.0 * TIME + 0.1)), RATE_HZ, 1.0, "not that of a reservoir"),
    ],
)
def test_what_tells_nothing_of_a_reservoir_says_why(
    samples: Array, rate: float, load_a: float, words: str
) -> None:
    found, why = conduction(samples, rate, 100.0, load_a)
    assert found is None
    assert words in why
