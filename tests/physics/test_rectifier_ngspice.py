"""The steady state against ngspice, over a grid of designs.

Tolerances are those asked for: mean 0.02 %, ripple peak to peak 0.5 %, RMS current of the
source 0.5 %. ngspice begins from a plain guess and is run until it is settled.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from ohmward.physics.rectifier import Diode, steady_state
from ohmward.supply.model import RectifierKind
from physics.ngspice import SETTLED, Design, require, settle

KINDS: tuple[RectifierKind, ...] = ("bridge", "centre-tap", "half-wave")
DIODES = ((1e-9, 1.75, 0.02), (1e-6, 1.05, 0.03), (1e-12, 1.2, 0.05))
"""Saturation current, emission, bulk resistance of a silicon, a Schottky-like and a steep diode (made up)."""
FULL_A = {6.0: 3.0, 12.0: 2.0, 18.0: 1.2, 28.0: 4.0, 40.0: 0.5, 55.0: 1.0}
"""Full-load current by secondary voltage."""
LOADS = (1.0, 0.3, 0.05)


def _grid() -> list[Design]:
    """72 designs: every kind, voltage and load, constant current and resistance; the rest goes round."""
    designs = []
    turn = itertools.cycle(range(12))
    for kind, (volts, full), share, law in itertools.product(
        KINDS, FULL_A.items(), LOADS, ("load_a", "load_ohm")
    ):
        at = next(turn)
        # Two thirds of the product: constant current and resistance in turn at 30 % load.
        if share == 0.3 and (law == "load_a") != (at % 4 < 2):
            continue
        if share == 0.05 and (law == "load_a") == (volts in {12.0, 28.0, 55.0}):
            continue
        hertz = 50.0 if at % 2 else 60.0
        per_cycle = 1 if kind == "half-wave" else 2
        load = full * share
        saturation, emission, bulk = DIODES[at // 4]
        designs.append(
            Design(
                kind=kind,
                source_rms_v=volts,
                frequency_hz=hertz,
                source_ohm=(0.04, 0.07, 0.12)[at % 3] * volts / full,
                # A ripple of 5 or 10 % by the triangle.
                capacitance_f=full / (per_cycle * hertz * (0.05, 0.1)[at // 2 % 2] * 1.41 * volts),
                esr_ohm=(0.001, 0.005, 0.02)[at // 3 % 3] * volts / full,
                saturation_a=saturation,
                emission=emission,
                bulk_ohm=bulk,
                load_a=load if law == "load_a" else None,
                load_ohm=1.2 * volts / load if law == "load_ohm" else None,
            )
        )
    return designs


GRID = _grid()
REFERENCE = Design(
    kind="bridge",
    source_rms_v=18.0,
    frequency_hz=50.0,
    source_ohm=0.324,
    capacitance_f=10e-3,
    esr_ohm=0.03,
    saturation_a=1e-9,
    emission=1.75,
    bulk_ohm=0.02,
    load_a=3.0,
)
TAPPED = replace(REFERENCE, kind="centre-tap", load_a=2.0)
ONE_SIDED = (
    replace(REFERENCE, open_half=True),
    replace(TAPPED, open_half=True),
    replace(TAPPED, second_rms_v=17.5),
    replace(TAPPED, second_ohm=0.8),
    replace(TAPPED, second_rms_v=14.0),
)
"""An open diode, a winding with unlike halves."""


def _name(design: Design) -> str:
    load = f"{design.load_a:g}A" if design.load_a is not None else f"{design.load_ohm:g}ohm"
    return f"{design.kind}-{design.source_rms_v:g}V-{design.frequency_hz:g}Hz-{load}"


def test_the_grid_is_as_wide_as_asked() -> None:
    assert len(GRID) >= 60
    assert {d.kind for d in GRID} == {"bridge", "centre-tap", "half-wave"}
    assert {d.frequency_hz for d in GRID} == {50.0, 60.0}
    for law in ("load_a", "load_ohm"):
        some = [d for d in GRID if getattr(d, law) is not None]
        assert {d.kind for d in some} == {"bridge", "centre-tap", "half-wave"}
        assert {d.source_rms_v for d in some} == set(FULL_A)


@pytest.mark.parametrize("design", [*GRID, *ONE_SIDED], ids=_name)
def test_agrees_with_ngspice(design: Design) -> None:
    require()
    run = settle(design)
    assert abs(run.to_come_v) <= SETTLED * run.mean_v
    found = steady_state(
        kind=design.kind,
        source_rms_v=design.source_rms_v,
        frequency_hz=design.frequency_hz,
        source_ohm=design.source_ohm,
        capacitance_f=design.capacitance_f,
        esr_ohm=design.esr_ohm,
        diode=Diode(saturation_a=design.saturation_a, emission=design.emission, bulk_ohm=design.bulk_ohm),
        load_a=design.load_a,
        load_ohm=design.load_ohm,
        second_rms_v=design.second_rms_v,
        second_ohm=design.second_ohm,
        open_half=design.open_half,
    )
    assert found.converged
    assert float(found.mean_v) == pytest.approx(run.mean_v, rel=2e-4)
    assert float(found.ripple_pp_v) == pytest.approx(run.ripple_pp_v, rel=5e-3)
    assert float(found.source_rms_a) == pytest.approx(run.source_rms_a, rel=5e-3)
    # Not asked for; as the three above follow from the same waveforms, no wider.
    assert float(found.ripple_rms_v) == pytest.approx(run.ripple_rms_v, rel=5e-3)
    assert float(found.source_peak_a) == pytest.approx(run.source_peak_a, rel=5e-3)
    assert float(found.valley_v) == pytest.approx(run.valley_v, rel=5e-4)
    assert float(found.peak_v) == pytest.approx(run.peak_v, rel=5e-4)
