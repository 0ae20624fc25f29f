"""The unit on the bench: simultaneous loads, bodies that warm up, and loads that cannot be."""

from __future__ import annotations

import numpy as np
import pytest

from ohmward.errors import InputError
from ohmward.physics import apply, expect, simulate
from ohmward.physics.simulation import Simulation
from ohmward.supply.model import HeatSink
from support.supplies import rail, supply, transformer

SHEET = supply(
    rails=(
        rail(heatsink=HeatSink(thermal_resistance_kpw=2.5, interface_kpw=0.5, time_constant_s=720.0)),
        rail("raw", 22.0, regulated=False, sources=("T1.b",)),
    ),
    transformers=(transformer(rating_va=120.0, regulation_pct=10.0),),
)
LOADS = {"+15": 1.2, "raw": 1.0}


def test_at_the_end_of_a_soak_it_is_what_is_expected() -> None:
    full = {"+15": 1.2, "raw": 1.2}
    run = simulate(SHEET, loads=full, mains_v=230.0)
    together = {name: one.together for name, one in expect(SHEET, mains_v=230.0, draws=0).rails.items()}
    for name, state in run.state.rails.items():
        assert state.output_v[0] == pytest.approx(together[name]["output_v"].value, rel=1e-5)
        assert state.reservoir.valley_v[0] == pytest.approx(
            together[name]["reservoir_valley_v"].value, rel=1e-5
        )
    assert run.bodies["heat sink +15"].now_c[0] == pytest.approx(
        together["+15"]["heatsink_c"].value, rel=1e-5
    )
    junction = run.junction_c("+15")
    assert junction is not None
    assert junction[0] == pytest.approx(together["+15"]["junction_c"].value, rel=1e-5)
    assert run.junction_c("raw") is None


def test_everything_begins_at_room_temperature() -> None:
    run = simulate(SHEET, loads=LOADS, elapsed_s=0.0, ambient_c=21.0)
    assert {float(body.now_c[0]) for body in run.bodies.values()} == {21.0}
    assert run.surface_c("T1")[0] == pytest.approx(21.0)


def step(run: Simulation, seconds: float) -> Simulation:
    now = {name: float(body.later(seconds)[0]) for name, body in run.bodies.items()}
    return simulate(SHEET, loads=LOADS, temperatures=now)


def test_small_steps_come_to_the_same_end() -> None:
    run = simulate(SHEET, loads=LOADS, elapsed_s=0.0)
    for _ in range(20):
        run = step(run, 1800.0)
    end = simulate(SHEET, loads=LOADS)
    for name, body in run.bodies.items():
        assert body.now_c[0] == pytest.approx(end.bodies[name].now_c[0], abs=0.05)
    assert run.state.rails["raw"].output_v[0] == pytest.approx(end.state.rails["raw"].output_v[0], rel=1e-4)


def test_a_body_follows_its_exponential() -> None:
    # Closed form: 1 - 1/e of the way after one time constant.
    body = simulate(SHEET, loads=LOADS, elapsed_s=0.0).bodies["heat sink +15"]
    share = (body.later(720.0)[0] - body.now_c[0]) / (body.final_c[0] - body.now_c[0])
    assert share == pytest.approx(1 - np.exp(-1))


def test_drawn_units_differ_and_repeat() -> None:
    one, two = (simulate(SHEET, loads=LOADS, draws=5, seed=11).state.rails["raw"].output_v for _ in range(2))
    assert one.shape == (6,)
    assert (one == two).all()
    assert len(set(one.tolist())) == 6


def test_an_idle_rail_feels_a_loaded_one() -> None:
    idle = simulate(SHEET, loads={}, elapsed_s=600.0).state.rails["raw"].output_v[0]
    beside = simulate(SHEET, loads={"+15": 1.2}, elapsed_s=600.0).state.rails["raw"].output_v[0]
    assert beside < idle


def test_power_balances() -> None:
    """What the ideal windings deliver is what the loads, pass devices, rectifiers and resistances take."""
    state = simulate(SHEET, loads=LOADS).state
    for name, one in state.rails.items():
        pair_loss = one.power_w[0] - one.bridge_w[0] - one.raw_a[0] * one.reservoir.mean_v[0]
        # What is left is heat in copper, wiring and ESR: a share of the whole, never negative.
        assert 0 < pair_loss < 0.3 * one.power_w[0], name
    mains = state.mains_a[0] * state.mains_v[0]
    drawn = sum(one.power_w[0] for one in state.rails.values())
    lost = state.transformers["T1"].core_loss_w[0]
    assert drawn + lost < mains


def test_mains_current_of_a_loaded_unit() -> None:
    # Winder's rule: a bridge into a capacitor draws about 1.4 (W + 2 I_dc) VA.
    run = simulate(SHEET, loads=LOADS)
    rule = 1.4 * (15 * 1.2 + 2 * 1.2 + 22 * 1.0 + 2 * 1.0)
    assert run.state.mains_a[0] * 230.0 == pytest.approx(rule, rel=0.45)


@pytest.mark.parametrize(
    ("loads", "mains_v", "word"),
    [
        ({"+12": 1.0}, 230.0, "no such rail"),
        ({"+15": -1.0}, 230.0, "0 A or more"),
        ({"+15": float("nan")}, 230.0, "0 A or more"),
        ({}, 0.0, "mains must be"),
    ],
)
def test_what_cannot_be_is_refused(loads: dict[str, float], mains_v: float, word: str) -> None:
    with pytest.raises(InputError, match=word):
        simulate(SHEET, loads=loads, mains_v=mains_v)


def test_all_mistakes_at_once() -> None:
    with pytest.raises(InputError) as caught:
        simulate(SHEET, loads={"+12": -1.0, "x": 1.0}, mains_v=-5.0)
    assert len(caught.value.mistakes) == 4


def test_a_faulty_unit_runs_too() -> None:
    run = simulate(apply("no-ventilation", SHEET, size=20.0), loads=LOADS)
    sound = simulate(SHEET, loads=LOADS)
    hotter = run.bodies["heat sink +15"].final_c[0] - sound.bodies["heat sink +15"].final_c[0]
    # Everything hotter by the same amount, but for what hotter copper takes off the raw voltage.
    assert hotter == pytest.approx(20.0, abs=2.0)
