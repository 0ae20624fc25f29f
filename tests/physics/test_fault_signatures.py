"""What each fault is said to move, moves, that way; what it is said to leave alone, stays.

Directions and readings left alone are workshop experience (a table of 38 faults against a unit's own
healthy baseline, no published source; its sizes are checked in `test_reference_rail`). Here the model has to
agree with the words that a person is shown.
"""

from __future__ import annotations

import numpy as np
import pytest

from ohmward.physics import expect, simulate
from ohmward.physics.condition import Unit, as_unit
from ohmward.physics.expectation import Band
from ohmward.physics.fault import Fault
from ohmward.physics.faults import FAULTS, apply, subjects
from ohmward.supply.model import HeatSink, Regulator, Reservoir, Secondary, Supply
from support.supplies import rail, supply, transformer

STILL = 0.01
"""Relative change under which a reading counts as unmoved, as on the bench."""
MOVED = 0.002
"""Relative change above which a reading counts as moved: a joint of 50 mΩ costs 22 V at 1.2 A 0.3 %."""

SHEET = supply(
    rails=(
        rail(
            reservoir=Reservoir(capacitance_f=6.8e-3, esr_ohm=0.03, bleeder_ohm=2200.0),
            regulator=Regulator(dropout_v=2.2, ripple_rejection_db=60.0),
            heatsink=HeatSink(thermal_resistance_kpw=2.5, interface_kpw=0.5),
        ),
        rail("raw", 22.0, regulated=False, sources=("T1.b",)),
    ),
    transformers=(
        transformer(
            rating_va=120.0,
            regulation_pct=10.0,
            secondaries=(Secondary(name="a", voltage_v=16.0), Secondary(name="b", voltage_v=16.0)),
        ),
    ),
)
MEASURABLE = [entry for entry in FAULTS.values() if entry.change is not None]


def readings(unit: Supply | Unit, name: str) -> dict[str, float]:
    """Return the readings that faults are told apart by, of one rail and its transformer."""
    found = expect(unit, mains_v=230.0, draws=0, load_points=(1.0,), margins=False)
    one = found.rails[name]
    loaded = one.loaded[-1].values
    values: dict[str, Band | None] = {
        f"no_load.{key}": one.no_load.get(key) for key in ("output_v", "reservoir_v")
    }
    values |= {
        key: loaded.get(key)
        for key in (
            "output_v",
            "reservoir_mean_v",
            "reservoir_valley_v",
            "reservoir_ripple_pp_v",
            "output_ripple_pp_v",
            "secondary_v",
            "headroom_v",
            "dissipation_w",
            "heatsink_c",
            "junction_c",
        )
    }
    values |= {"discharge_s": one.discharge_s, "bleeder_ohm": one.no_load.get("bleeder_ohm")}
    values |= {"secondary_no_load_v": found.secondaries["T1.a"]["no_load_v"]}
    values |= {"winding_ohm": found.secondaries["T1.a"]["winding_ohm"]}
    values |= {key: found.transformers["T1"][key] for key in ("primary_ohm", "surface_c")}
    values |= {key: found.unit[key] for key in ("mains_a", "mains_no_load_a")}
    known = {key: band.value for key, band in values.items() if band is not None}
    raw = simulate(unit, loads={name: 1.2}, mains_v=230.0).state.rails[name].reservoir
    known["ripple_at_mains_frequency"] = float(raw.fundamental_v[0] / raw.peak_v[0])
    condition = as_unit(unit).condition
    known["earth_ohm"] = 0.1 + condition.earth_extra_ohm
    known["insulation_ohm"] = condition.insulation_ohm or 1e9
    known["isolation_ohm"] = condition.isolation_ohm or 1e9
    return known


def change(key: str, before: float, after: float) -> float:
    """Return the relative change; of temperatures, per 100 K; of small ripples and margins, per volt."""
    if key.endswith("_c"):
        return (after - before) / 100
    if key in {"output_ripple_pp_v", "headroom_v", "ripple_at_mains_frequency"}:
        return after - before
    return after / before - 1


HEALTHY = {name: readings(SHEET, name) for name in ("+15", "raw")}


def where(entry: Fault) -> str:
    """Return the rail to look at: the regulated one, unless the fault is one of raw rails as well."""
    return "+15" if entry.scope != "rail" else "raw"


@pytest.mark.parametrize("entry", MEASURABLE, ids=[entry.name for entry in MEASURABLE])
def test_signature(entry: Fault) -> None:
    name = where(entry)
    subject = name if name in subjects(entry, SHEET) else None
    faulty = readings(apply(entry, SHEET, subject), name)
    healthy = HEALTHY[name]
    wrong = []
    for key, said in entry.moves.items():
        if key not in healthy:  # what an unregulated rail has not
            continue
        by = np.inf if key not in faulty else change(key, healthy[key], faulty[key])
        right = {"up": by > MOVED, "down": by < -MOVED, "unstable": abs(by) > MOVED}[said]
        if not right:
            wrong.append(f"{key} should go {said}: {by:+.4f}")
    for key in entry.steady:
        by = change(key, healthy[key], faulty[key])
        if abs(by) > STILL:
            wrong.append(f"{key} should stay: {by:+.4f}")
    assert not wrong, "\n".join(wrong)


SIZED = [entry for entry in MEASURABLE if entry.sizes]


@pytest.mark.parametrize("entry", SIZED, ids=[entry.name for entry in SIZED])
def test_every_size_gives_a_unit_that_can_be_computed(entry: Fault) -> None:
    for size in entry.sizes:
        found = expect(
            apply(entry, SHEET, size=size), mains_v=230.0, draws=0, load_points=(1.0,), margins=False
        )
        for one in found.rails.values():
            for band in (one.no_load | one.together).values():
                assert np.isfinite(band.value)


def test_a_fault_and_the_sound_unit_share_their_draws() -> None:
    """So that the difference between their bands is the fault's and not chance's."""
    sound = expect(SHEET, mains_v=230.0, draws=100, seed=5)
    faulty = expect(apply("output-joint", SHEET, "raw", size=0.05), mains_v=230.0, draws=100, seed=5)
    for key in ("reservoir_mean_v", "reservoir_ripple_pp_v", "secondary_rms_a"):
        assert faulty.rails["raw"].together[key] == sound.rails["raw"].together[key]
    lost = sound.rails["raw"].together["output_v"].value - faulty.rails["raw"].together["output_v"].value
    assert lost == pytest.approx(0.05 * 1.2, rel=1e-6)
