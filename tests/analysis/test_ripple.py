"""Ripple analysis against closed forms, printed window figures and textbook examples."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.analysis.fits import Array
from ohmward.analysis.ripple import Ripple, analyse, hann_gain, peak_to_peak_from_rms

CHECKS: dict[str, dict[str, Any]] = {
    check["id"]: check
    for check in json.loads(
        (Path(__file__).parents[1] / "data" / "reference" / "checks_ripple.json").read_text(encoding="utf-8")
    )["checks"]
}


def amplitude(found: Ripple, order: int) -> float:
    line = found.component(order)
    assert line is not None
    return line.amplitude_v


def seconds(duration_s: float, rate_hz: float) -> Array:
    return np.arange(round(duration_s * rate_hz)) / rate_hz


def test_synthetic_capture_with_exact_answers() -> None:
    # Computed from the closed form; 100 Hz is 2f of 50 Hz mains.
    check = CHECKS["synthetic_capture"]
    rate = check["inputs"]["fs"]
    t = seconds(check["inputs"]["T"], rate)
    samples = (
        12.0
        + 0.030 * np.sin(2 * np.pi * 100 * t)
        + 0.006 * np.sin(2 * np.pi * 200 * t + 0.7)
        + 0.002 * np.sin(2 * np.pi * 300 * t - 1.1)
    )
    found, expected = analyse(samples, rate, 50.0), check["recomputed"]
    assert found.mean_v == pytest.approx(expected["mean"], abs=1e-8)
    assert found.rms_v == pytest.approx(expected["ac_rms"], abs=1e-8)
    assert found.pp_v == pytest.approx(expected["peak_to_peak_sampled"], abs=1e-8)
    assert found.distortion is not None
    assert 100 * found.distortion == pytest.approx(expected["thd_percent"], abs=1e-5)
    assert [amplitude(found, n) for n in (1, 2, 4, 6)] == pytest.approx([0.0, 0.030, 0.006, 0.002], abs=1e-8)
    assert found.half_wave_fraction == pytest.approx(0.0, abs=1e-6)
    assert found.mains_hz == pytest.approx(50.0, abs=1e-6)


def test_full_wave_rectified_sine() -> None:
    # Fourier series of |sin|: 4 / (pi (4 n^2 - 1)); printed to three decimals in a public note.
    check = CHECKS["fullwave_fourier"]
    t = seconds(0.2, 100e3)
    found = analyse(np.abs(np.sin(2 * np.pi * 50 * t)), 100e3, 50.0)
    assert found.mean_v == pytest.approx(check["printed"]["mean"], abs=check["tolerance"])
    for order in (2, 4, 6, 8, 10):
        assert amplitude(found, order) == pytest.approx(check["printed"][f"h{order}"], abs=check["tolerance"])
        assert amplitude(found, order) == pytest.approx(check["recomputed"][f"h{order}"], abs=1e-5)
    assert found.rms_v == pytest.approx(0.307758, abs=1e-5)
    assert found.percent == pytest.approx(48.3426, abs=0.002)


@pytest.mark.parametrize("shape", ["sine", "triangle", "sawtooth", "square"])
def test_waveforms_of_one_volt_peak_to_peak(shape: str) -> None:
    # Closed forms; sampled at mid-points, so that mean and RMS of the square are exact.
    rate = 2e6
    phase = ((np.arange(round(0.1 * rate)) + 0.5) * 100.0 / rate) % 1.0
    waves = {
        "sine": 0.5 * np.sin(2 * np.pi * phase),
        "triangle": np.abs(2 * phase - 1) - 0.5,
        "sawtooth": phase - 0.5,
        "square": np.where(phase < 0.5, 0.5, -0.5),
    }
    expected = CHECKS["waveform_rms_table"]["recomputed"][shape]
    found = analyse(5.0 + waves[shape], rate, 50.0)
    assert found.rms_v == pytest.approx(expected["rms"], abs=1e-8)
    assert amplitude(found, 2) == pytest.approx(expected["fund"], abs=1e-7)
    assert found.distortion == pytest.approx(expected["thd"], abs=1e-4)


def test_hann_window_figures_of_harris() -> None:
    # Harris 1978, table 1: coherent gain 0.50, worst scalloping 1.42 dB.
    check = CHECKS["fft_windows"]
    worst = 20 * math.log10(hann_gain(0.5))
    assert worst == pytest.approx(check["printed"]["hann"]["worst_scallop_dB"], abs=check["tolerance"])
    assert worst == pytest.approx(check["recomputed"]["hann"]["worst_scallop_dB"], abs=1e-4)
    # independent route: the transform of the window itself
    n = np.arange(4096)
    window = 0.5 - 0.5 * np.cos(2 * np.pi * n / 4096)
    for offset in (0.0, 0.3, 0.5, 1.0, 1.5):
        response = abs(np.sum(window * np.exp(2j * np.pi * offset * n / 4096))) / np.sum(window)
        assert abs(hann_gain(offset)) == pytest.approx(response, abs=1e-6)


@pytest.mark.parametrize("mains", [49.2, 49.97, 50.0, 50.4, 60.13])
def test_a_mains_off_its_nominal_frequency_is_followed(mains: float) -> None:
    t = seconds(0.4, 50e3)
    samples = 20.0 + 0.8 * np.sin(2 * np.pi * 2 * mains * t + 0.3) + 0.1 * np.sin(2 * np.pi * mains * t)
    found = analyse(samples, 50e3, 60.0 if mains > 55 else 50.0)
    assert found.mains_hz == pytest.approx(mains, abs=0.01)
    assert amplitude(found, 2) == pytest.approx(0.8, rel=0.003)
    assert amplitude(found, 1) == pytest.approx(0.1, rel=0.02)
    assert found.half_wave_fraction == pytest.approx(1 / 9, rel=0.02)
    assert any("unequal" in warning for warning in found.warnings)


def test_a_capture_of_an_odd_number_of_samples() -> None:
    t = seconds(0.2, 20e3)[:-1]
    assert amplitude(analyse(0.03 * np.sin(2 * np.pi * 100 * t), 20e3, 50.0), 2) == pytest.approx(
        0.03, rel=1e-4
    )


def test_half_wave_ripple_says_that_a_half_cycle_is_missing() -> None:
    # A sawtooth of the mains period has amplitudes 1/n: f / (f + 2f) = 2/3.
    t = seconds(0.4, 50e3)
    found = analyse(20.0 - 2.0 * ((50.0 * t) % 1.0), 50e3, 50.0)
    assert found.half_wave_fraction == pytest.approx(2 / 3, abs=0.005)
    assert any("half-cycle is missing" in warning for warning in found.warnings)


def test_spikes_are_kept_apart_from_ripple() -> None:
    t = seconds(0.2, 1e6)
    samples = 15.0 + 0.02 * np.sin(2 * np.pi * 100 * t)
    samples[::10_000] += 0.5  # one sample, 1 us, each half-cycle
    found = analyse(samples, 1e6, 50.0)
    assert found.pp_v > 0.5
    assert found.pp_without_spikes_v == pytest.approx(0.04, rel=0.01)
    assert any("spikes" in warning for warning in found.warnings)
    assert found.oscillation_hz is None


def test_an_oscillation_above_the_audio_band_is_found() -> None:
    t = seconds(0.1, 2e6)
    samples = 5.0 + 0.01 * np.sin(2 * np.pi * 100 * t) + 0.05 * np.sin(2 * np.pi * 345_678.0 * t)
    found = analyse(samples, 2e6, 50.0)
    assert found.oscillation_hz == pytest.approx(345_678.0, abs=5.0)
    assert found.oscillation_v == pytest.approx(0.05, rel=0.005)
    hidden = analyse(samples, 2e6, 50.0, bandwidth_hz=100e3)
    assert hidden.oscillation_hz is None


def test_dropout_notches_take_little_time_below_the_middle() -> None:
    t = seconds(0.2, 100e3)
    notched = 15.0 - 0.5 * np.maximum(0.0, np.cos(2 * np.pi * 100 * t) - 0.9) / 0.1
    assert analyse(notched, 100e3, 50.0).dropout_share < 0.15
    assert analyse(15.0 - 0.5 * ((100 * t) % 1.0), 100e3, 50.0).dropout_share == pytest.approx(0.5, abs=0.01)


def test_no_ripple_at_all_is_no_fraction() -> None:
    found = analyse(np.full(20_000, 12.0), 20e3, 50.0)
    assert (found.pp_v, found.rms_v, found.half_wave_fraction) == (0.0, 0.0, None)


def test_what_the_capture_cannot_show_is_said() -> None:
    t = seconds(0.06, 2e3)
    found = analyse(12.0 + np.sin(2 * np.pi * 100 * t), 2e3, 50.0)
    assert any("four mains periods" in warning for warning in found.warnings)
    assert any("too slowly" in warning for warning in found.warnings)
    assert any("above 1000 Hz" in warning for warning in found.warnings)


def test_textbook_ripple_percentages() -> None:
    # Boylestad & Nashelsky problem: 8.5 % of 14.5 V is 1.23 V rms; a study page: 1.25 V of 56 V is 2.232 %.
    check = CHECKS["boylestad_ripple_percent"]
    t = seconds(0.2, 20e3)
    for mean, percent, rms in (
        (check["inputs"]["Vdc"], check["inputs"]["r_percent"], check["printed"]),
        (56.0, CHECKS["regulation_60_56"]["printed"]["ripple"], 1.25),
    ):
        found = analyse(mean + rms * math.sqrt(2) * np.sin(2 * np.pi * 100 * t), 20e3, 50.0)
        assert found.percent == pytest.approx(percent, abs=0.02)


@pytest.mark.parametrize("wrc", [10, 20, 50, 100])
def test_exact_ripple_of_a_full_wave_rectifier(wrc: int) -> None:
    # Piecewise closed form: the sine until tan(angle) = -w R C, then exp(-angle / w R C) until the next hump.
    expected = CHECKS["exact_full_wave_rc"]["recomputed"][str(wrc)]
    rate, mains = 4e6, 50.0
    angle = (2 * np.pi * mains * seconds(0.08, rate)) % np.pi
    leaves = np.pi - math.atan(wrc)
    # the exponential carries over the zero of the sine into the next hump, an angle of pi later
    falls = math.sin(leaves) * np.exp(-(np.where(angle < leaves, angle + np.pi, angle) - leaves) / wrc)
    found = analyse(np.maximum(np.sin(angle), falls), rate, mains)
    assert found.pp_v == pytest.approx(expected["pp_over_Vp"], abs=1e-4)
    assert found.mean_v == pytest.approx(expected["mean_over_Vp"], abs=1e-6)
    assert found.rms_v == pytest.approx(expected["ac_rms_over_Vp"], abs=1e-6)
    # I / (2 f C) with I = mean / R: pi mean / (w R C)
    plain = np.pi * found.mean_v / wrc
    assert plain == pytest.approx(expected["approx_I_over_2fC"], abs=1e-5)
    assert plain / found.pp_v == pytest.approx(expected["approx_over_exact"], rel=1e-3)


def test_textbook_triangle_of_a_capacitor_filter() -> None:
    # Boylestad & Nashelsky (from memory): 50 mA, 100 uF, 60 Hz: 4.17 V p-p taken as a triangle is 1.2 V rms.
    check = CHECKS["boylestad_100uF"]
    given_ = check["inputs"]
    swing = given_["I"] / (2 * given_["f"] * given_["C"])
    assert peak_to_peak_from_rms(check["recomputed"]["Vr_rms"])[0] == pytest.approx(swing, rel=1e-9)
    phase = (120.0 * seconds(0.2, 240e3)) % 1.0
    found = analyse(given_["Vp"] - swing * phase, 240e3, given_["f"])
    assert found.rms_v == pytest.approx(check["printed"]["Vr_rms"], abs=check["tolerance"])
    assert found.mean_v == pytest.approx(check["printed"]["Vdc"], abs=check["tolerance"])
    assert found.percent == pytest.approx(check["printed"]["r_percent"], abs=check["tolerance"])


def test_a_meter_on_ac_bounds_the_peak_to_peak() -> None:
    # sawtooth: rms = pp / (2 sqrt 3); sine: pp / (2 sqrt 2) (closed forms in the reference table)
    table = CHECKS["waveform_rms_table"]["recomputed"]
    typical, least, most = peak_to_peak_from_rms(1.0)
    assert typical == pytest.approx(1.0 / table["sawtooth"]["rms"])
    assert least == pytest.approx(1.0 / table["sine"]["rms"])
    assert most > typical


@pytest.mark.parametrize(
    ("samples", "rate", "mains", "words"),
    [
        (np.zeros(100), 0.0, 50.0, "sample rate"),
        (np.zeros(100), 1e3, math.nan, "mains frequency"),
        (np.zeros((10, 10)), 1e3, 50.0, "one row"),
        (np.zeros(1000), 300.0, 50.0, "too few"),
        (np.zeros(30), 1e3, 50.0, "shorter than two"),
        (np.r_[np.zeros(99), np.nan], 1e3, 50.0, "finite"),
    ],
)
def test_impossible_captures_are_refused(samples: Array, rate: float, mains: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        analyse(samples, rate, mains)


@settings(max_examples=25)
@given(st.floats(-50, 50), st.floats(1e-3, 5.0), st.floats(0.0, 6.28), st.floats(0.05, 0.4))
def test_level_and_size_scale_through(mean: float, size: float, phase: float, duration: float) -> None:
    t = seconds(duration, 20e3)
    wave = np.sin(2 * np.pi * 100 * t + phase) + 0.3 * np.sin(2 * np.pi * 200 * t)
    one, many = analyse(wave, 20e3, 50.0), analyse(mean + size * wave, 20e3, 50.0)
    assert many.pp_v == pytest.approx(size * one.pp_v, rel=1e-6)
    assert many.rms_v == pytest.approx(size * one.rms_v, rel=1e-6)
    assert many.mean_v == pytest.approx(mean + size * one.mean_v, abs=1e-9 + 1e-9 * abs(mean))
