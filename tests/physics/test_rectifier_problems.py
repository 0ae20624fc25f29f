"""What cannot be: said in words for the design in question, while its neighbours are computed."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
import pytest

from ohmward.physics.rectifier import Diode, SteadyState, steady_state

GOOD: dict[str, Any] = {
    "kind": "bridge",
    "source_rms_v": 18.0,
    "frequency_hz": 50.0,
    "source_ohm": 0.4,
    "capacitance_f": 4.7e-3,
    "esr_ohm": 0.05,
    "diode": Diode(saturation_a=1e-9, emission=1.75, bulk_ohm=0.02),
    "load_a": 1.0,
}


def with_one_bad(**bad: Any) -> SteadyState:
    """Three designs of which the middle one has the value given."""
    design = dict(GOOD)
    for name, value in bad.items():
        if name in {"saturation_a", "emission", "bulk_ohm", "temperature_k"}:
            values = {f.name: getattr(design["diode"], f.name) for f in fields(Diode)}
            values[name] = np.array([values[name], value, values[name]])
            design["diode"] = Diode(**values)
        else:
            usual = design.get(name, 20.0)
            design[name] = np.array([usual, value, usual])
            if name in {"load_ohm", "load_w"}:
                del design["load_a"]
    return steady_state(**design)


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("source_rms_v", 0.0, "source voltage of 0 V: it must be a number above zero"),
        ("source_rms_v", -18.0, "source voltage of -18 V: it must be a number above zero"),
        ("frequency_hz", 0.0, "frequency of 0 Hz: it must be a number above zero"),
        ("source_ohm", -0.1, "source resistance of -0.1 Ω: it must be a number, not negative"),
        ("capacitance_f", 0.0, "capacitance of 0 F: it must be a number above zero"),
        ("capacitance_f", -1e-3, "capacitance of -0.001 F: it must be a number above zero"),
        ("esr_ohm", -1.0, "ESR of -1 Ω: it must be a number, not negative"),
        ("saturation_a", 0.0, "saturation current of the diode of 0 A: it must be a number above zero"),
        ("emission", 0.0, "emission coefficient of the diode of 0: it must be a number above zero"),
        ("bulk_ohm", -1.0, "bulk resistance of the diode of -1 Ω: it must be a number, not negative"),
        ("temperature_k", 0.0, "temperature of the diode of 0 K: it must be a number above zero"),
        ("load_a", -1.0, "load current of -1 A: it must be a number, not negative"),
        ("load_ohm", 0.0, "load resistance of 0 Ω: it must be a number above zero"),
        ("load_w", -5.0, "load power of -5 W: it must be a number, not negative"),
        ("source_ohm", np.nan, "source resistance of nan Ω: it must be a number, not negative"),
        ("load_a", np.inf, "load current of inf A: it must be a number, not negative"),
    ],
)
def test_impossible_values(name: str, value: float, words: str) -> None:
    found = with_one_bad(**{name: value})
    assert found.problem.tolist() == ["", words, ""]
    assert found.converged.tolist() == [True, False, True]
    assert np.isnan(found.mean_v[1])
    assert found.mean_v[0] == found.mean_v[2] > 0


def test_all_that_is_impossible_is_said_at_once() -> None:
    found = steady_state(**GOOD | {"capacitance_f": 0.0, "source_ohm": -1.0})
    assert str(found.problem).count("it must be") == 2


@pytest.mark.parametrize(
    "bad",
    [
        {"load_a": 60.0},
        {"load_a": 8.0, "capacitance_f": 4.7e-4},
        {"load_w": 400.0},
        {"source_rms_v": 0.5},
    ],
    ids=["beyond the source", "the reservoir empties", "beyond the most power", "crest below the diodes"],
)
def test_a_load_that_collapses_the_rail(bad: dict[str, float]) -> None:
    design = dict(GOOD)
    if "load_w" in bad:
        del design["load_a"]
    found = steady_state(**design | bad)
    assert not found.converged
    assert "collapses the rail" in str(found.problem)
    assert np.isnan(found.ripple_pp_v)


def test_no_load_at_all_rests_at_what_leaks() -> None:
    """With no load the diodes only make up for their own leakage: the output stands below the crest."""
    found = steady_state(**GOOD | {"load_a": 0.0})
    assert found.converged
    assert 18 * np.sqrt(2) - 0.5 < float(found.mean_v) < 18 * np.sqrt(2)
    assert abs(float(found.diode_mean_a)) < 1e-12


def test_an_open_half_may_differ_from_design_to_design() -> None:
    found = steady_state(**GOOD | {"open_half": np.array([False, True])})
    alone = steady_state(**GOOD | {"open_half": True})
    assert found.fundamental_v[0] == 0
    assert found.mean_v[1] == float(alone.mean_v) < found.mean_v[0]


def test_arguments_broadcast() -> None:
    found = steady_state(
        **GOOD | {"source_rms_v": np.array([[12.0], [18.0]]), "load_a": np.array([0.1, 0.5, 1.0])}
    )
    assert found.mean_v.shape == found.problem.shape == (2, 3)
    assert np.all(np.diff(found.mean_v, axis=1) < 0)
    wave = found.waveform(100)
    assert wave.output_v.shape == wave.diode_a.shape == wave.time_s.shape == (100, 2, 3)
    assert np.all(wave.output_v.max(axis=0) <= found.peak_v + 1e-6)
    empty = steady_state(**GOOD | {"load_a": np.empty(0)})
    assert empty.mean_v.shape == (0,)


def test_what_is_wrong_with_the_call_is_raised() -> None:
    with pytest.raises(TypeError, match="exactly one of"):
        steady_state(**GOOD | {"load_ohm": 10.0})
    with pytest.raises(TypeError, match="exactly one of"):
        steady_state(**{key: value for key, value in GOOD.items() if key != "load_a"})
    with pytest.raises(ValueError, match="kind of rectifier 'voltage doubler'"):
        steady_state(**GOOD | {"kind": "voltage doubler"})
    with pytest.raises(ValueError, match="shape"):
        steady_state(**GOOD | {"load_a": np.ones(3), "source_ohm": np.ones(2)})


def test_a_waveform_of_a_batch_with_a_bad_design() -> None:
    wave = with_one_bad(capacitance_f=0.0).waveform(50)
    assert np.isnan(wave.output_v[:, 1]).all()
    assert np.isfinite(wave.output_v[:, [0, 2]]).all()


def test_the_drop_is_proportional_to_absolute_temperature() -> None:
    """At a given saturation current; how that grows with temperature is for the caller to say."""
    usual = steady_state(**GOOD)
    frozen = steady_state(
        **GOOD | {"diode": Diode(saturation_a=1e-9, emission=1.75, bulk_ohm=0.02, temperature_k=250.0)}
    )
    assert float(frozen.mean_v) > float(usual.mean_v)
