"""Waveforms as text: what is told of a reservoir, and what is not."""

from __future__ import annotations

import msgspec

from ohmward.analysis.waveforms import WaveformResult
from ohmward.report.waveforms import waveforms_text

WAVE = WaveformResult(
    rail="+48", point="reservoir", step="waveform", subject="+48 @ 100 %", at="2026-03-02T10:00:00+00:00",
    file="run.waveform-1.csv", source="scope", load_a=0.15, samples=5000, sample_rate_hz=50e3,
    bandwidth_hz=25e3, pp_v=1.4, rms_v=0.36, capacitance_f=1.01e-3, capacitance_uncertainty_f=44e-6,
)  # fmt: skip


def test_a_capacitance_is_told_where_the_series_resistance_is_not() -> None:
    text = waveforms_text([WAVE])
    assert "1010 ± 44 µF" in text
    assert "in series" not in text


def test_a_series_resistance_is_told_with_its_uncertainty() -> None:
    text = waveforms_text([msgspec.structs.replace(WAVE, esr_ohm=0.204, esr_uncertainty_ohm=0.052)])
    assert "0.204 Ω ± 52 mΩ in series" in text


def test_without_either_a_dash_stands_there() -> None:
    bare = msgspec.structs.replace(WAVE, capacitance_f=None, capacitance_uncertainty_f=None)
    assert "µF" not in waveforms_text([bare])
