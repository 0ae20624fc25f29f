"""One unregulated rail under load and under faults, against figures computed before for such a rail.

The reference: 100 VA toroid, 230 V to 18 V (19.8 V unloaded), 0.324 Ω as seen by the bridge, 10 000 µF
with 30 mΩ, 3 A constant current at 50 Hz, from a plain time-step model with a diode of 0.7 V + 0.02 Ω. No
published source; its author states ±10 % on voltage and ±20 % on ripple against a real unit. Another model
of the same circuit has to agree much better than that: 2 % on voltage, 5 % on ripple.
"""

from __future__ import annotations

import msgspec
import numpy as np
import pytest

from ohmward.physics.condition import Unit
from ohmward.physics.faults import apply
from ohmward.physics.simulation import Simulation, simulate
from ohmward.supply.model import Mains, Rail, Rectifier, Reservoir, Secondary, Supply, Transformer

RATED_HOT_C = 85.0
"""The regulation is stated hot: windings at 25 + 60 °C have the reference's 0.324 Ω."""

REFERENCE = Supply(
    tag="reference",
    title="reference rail",
    protection_class="I",
    mains=Mains(voltage_v=230.0, frequency_hz=50.0),
    transformers=(
        Transformer(
            name="T1",
            rating_va=100.0,
            regulation_pct=10.0,
            secondaries=(Secondary(name="a", voltage_v=18.0),),
        ),
    ),
    rails=(
        Rail(
            name="raw",
            nominal_v=22.0,
            rated_current_a=3.0,
            sources=("T1.a",),
            rectifier=Rectifier(kind="bridge", forward_v=0.76),
            reservoir=Reservoir(capacitance_f=10e-3, esr_ohm=0.03, bleeder_ohm=1e3),
            wiring_ohm=0.0,
        ),
    ),
)


def run(unit: Supply | Unit, load_a: float = 3.0, mains_v: float = 230.0) -> Simulation:
    hot = {"transformer T1": RATED_HOT_C}
    return simulate(unit, loads={"raw": load_a}, mains_v=mains_v, temperatures=hot)


def output(unit: Supply | Unit, load_a: float = 3.0) -> float:
    return float(run(unit, load_a).state.rails["raw"].output_v[0])


def ripple(unit: Supply | Unit) -> float:
    return float(run(unit).state.rails["raw"].reservoir.ripple_pp_v[0])


HEALTHY_V = output(REFERENCE)
HEALTHY_PP_V = ripple(REFERENCE)


@pytest.mark.parametrize(
    ("load_a", "volts", "ripple_v"),
    [
        (0.3, 25.5, 0.30),
        (0.75, 24.7, 0.64),
        (1.5, 23.6, 1.16),
        (2.25, 22.7, 1.62),
        (3.0, 21.85, 2.05),
        (3.3, 21.55, 2.21),
    ],
)
def test_load_points(load_a: float, volts: float, ripple_v: float) -> None:
    found = run(REFERENCE, load_a).state.rails["raw"]
    assert found.output_v[0] == pytest.approx(volts, rel=0.02)
    assert found.reservoir.ripple_pp_v[0] == pytest.approx(ripple_v, rel=0.05)


def test_healthy_figures() -> None:
    state = run(REFERENCE).state
    found = state.rails["raw"]
    assert output(REFERENCE, 0.0) == pytest.approx(26.4, rel=0.01)
    assert found.reservoir.valley_v[0] == pytest.approx(20.8, rel=0.02)
    assert found.secondary_rms_a[0] == pytest.approx(5.4, rel=0.03)
    assert found.reservoir.source_peak_a[0] == pytest.approx(12.0, rel=0.05)
    assert found.reservoir.ripple_rms_v[0] == pytest.approx(0.63, rel=0.03)
    assert state.transformers["T1"].copper_loss_w[0] == pytest.approx(9.4, rel=0.05)
    assert found.bridge_w[0] == pytest.approx(5.4, rel=0.1)


@pytest.mark.parametrize(("mains_v", "valley"), [(207.0, 18.2), (230.0, 20.8), (253.0, 23.4)])
def test_valley_at_low_and_high_mains(mains_v: float, valley: float) -> None:
    found = run(REFERENCE, mains_v=mains_v).state.rails["raw"].reservoir.valley_v[0]
    assert found == pytest.approx(valley, rel=0.02)


@pytest.mark.parametrize(
    ("name", "size", "volts_pct", "ripple_factor"),
    [
        ("open-diode", None, -13.0, 2.3),
        ("reservoir-dried", 0.5, -1.0, 1.9),
        ("reservoir-dried", 0.3, -3.0, 3.1),
        ("reservoir-dried", 0.1, -17.0, 7.9),
        # The reference gives the whole ESR (0.1, 0.3, 0.6 Ω), the fault what is added to 0.03.
        ("reservoir-esr", 0.07, -1.5, 1.2),
        ("reservoir-esr", 0.27, -5.0, 2.0),
        ("reservoir-esr", 0.57, -9.0, 3.0),
        ("wrong-tap", 240 / 230, -5.0, 1.0),
        ("wrong-tap", 220 / 230, 5.5, 1.0),
        ("undersized-transformer", 2.0, -10.0, 0.88),
        ("ac-joint", 0.2, -7.0, 0.92),
        ("ac-joint", 0.5, -15.0, 0.83),
    ],
)
def test_faults_at_full_load(name: str, size: float | None, volts_pct: float, ripple_factor: float) -> None:
    unit = apply(name, REFERENCE, size=size)
    assert 100 * (output(unit) / HEALTHY_V - 1) == pytest.approx(volts_pct, abs=1.3)
    assert ripple(unit) / HEALTHY_PP_V == pytest.approx(ripple_factor, rel=0.06)


@pytest.mark.parametrize(("size", "percent"), [(240 / 230, -4.4), (220 / 230, 4.8)])
def test_a_wrong_tap_unloaded(size: float, percent: float) -> None:
    unit = apply("wrong-tap", REFERENCE, size=size)
    assert 100 * (output(unit, 0.0) / output(REFERENCE, 0.0) - 1) == pytest.approx(percent, abs=0.3)


@pytest.mark.parametrize("name", ["reservoir-dried", "reservoir-esr", "ac-joint", "output-joint"])
def test_what_resistance_and_capacitance_leave_alone_unloaded(name: str) -> None:
    assert output(apply(name, REFERENCE), 0.0) == pytest.approx(output(REFERENCE, 0.0), rel=0.01)


def test_an_open_diode_shows_at_mains_frequency_and_heats_the_winding() -> None:
    healthy, broken = (run(unit).state.rails["raw"] for unit in (REFERENCE, apply("open-diode", REFERENCE)))
    assert healthy.reservoir.fundamental_v[0] < 1e-3 * healthy.reservoir.second_harmonic_v[0]
    assert broken.reservoir.fundamental_v[0] > broken.reservoir.second_harmonic_v[0]
    # Copper loss of the secondary +57 % in the reference.
    assert (broken.total_rms_a[0] / healthy.total_rms_a[0]) ** 2 == pytest.approx(1.57, rel=0.08)


def test_an_output_joint_drops_in_step_with_the_current() -> None:
    # 0.05 Ω at 3 A: 0.15 V.
    lost = HEALTHY_V - output(apply("output-joint", REFERENCE, size=0.05))
    assert lost == pytest.approx(0.15, abs=0.005)


def test_an_open_reservoir_leaves_the_humps() -> None:
    # Mean about 0.9 of the AC voltage less two drops; -25 to -40 % at full load. Classic report: a 15 V rail
    # shows 10.4 V with 12 V AC in, unloaded meter: 0.9 * 12 = 10.8 less what the diodes lose.
    broken = apply("reservoir-open", REFERENCE)
    assert -40 <= 100 * (output(broken) / HEALTHY_V - 1) <= -25
    idle = run(broken, 0.0).state.rails["raw"].reservoir
    assert idle.mean_v[0] == pytest.approx(0.9 * 19.8 - 1.0, rel=0.05)


def test_ripple_formula_against_the_model() -> None:
    # I/(2 f C), found in any text: 3.0 V. The full model gives 32 % less: charging takes its share.
    plain = 3.0 / (2 * 50 * 10e-3)
    assert HEALTHY_PP_V / plain == pytest.approx(1 - 0.32, rel=0.05)


@pytest.mark.parametrize(("load_a", "factor"), [(3.0, 1.78), (1.5, 2.00), (0.75, 2.25)])
def test_form_factor_of_the_secondary_current(load_a: float, factor: float) -> None:
    # RMS over direct current; makers' rules 1.6 to 1.8 hold at full load, light loads run worse.
    found = run(REFERENCE, load_a).state.rails["raw"]
    assert found.secondary_rms_a[0] / found.raw_a[0] == pytest.approx(factor, rel=0.04)


def test_temperature_feeds_back() -> None:
    """Loss warms the copper and warm copper loses more: both agree in the end, the rail lower than cold."""
    cold = simulate(REFERENCE, loads={"raw": 3.0}, mains_v=230.0, elapsed_s=0.0)
    hot = simulate(REFERENCE, loads={"raw": 3.0}, mains_v=230.0)
    body = hot.bodies["transformer T1"]
    assert body.now_c[0] == pytest.approx(body.final_c[0], abs=0.02)
    assert np.all(cold.bodies["transformer T1"].now_c == 25.0)
    assert hot.state.rails["raw"].output_v[0] < cold.state.rails["raw"].output_v[0]
    # Hot to cold under 3 % on a raw rail (common practice, no source).
    assert hot.state.rails["raw"].output_v[0] > 0.97 * cold.state.rails["raw"].output_v[0]


# A textbook's set of faults of one rail: U2 = 20 V, 40 Ω, 1000 µF behind a bridge, its diodes without drop.
# Printed: healthy 24 V, load open 28 V, capacitor open 18 V, capacitor and one diode open 9 V (its half-wave
# figure, 12 V, contradicts its own rule of 1.0 U2 and is an error). The rules behind them are 1.2, sqrt(2),
# 0.9 and 0.45 times U2. Two drops of silicon make what is left of the difference.
BOOK = Supply(
    tag="book",
    title="U2 = 20 V, stiff",
    protection_class="I",
    mains=Mains(voltage_v=230.0, frequency_hz=50.0),
    transformers=(
        Transformer(
            name="T1",
            primary_voltage_v=230.0,
            rating_va=2000.0,
            regulation_pct=0.1,
            secondaries=(Secondary(name="a", voltage_v=20.0),),
        ),
    ),
    rails=(
        Rail(
            name="raw",
            nominal_v=24.0,
            rated_current_a=0.6,
            sources=("T1.a",),
            rectifier=Rectifier(kind="bridge"),
            reservoir=Reservoir(capacitance_f=1e-3, esr_ohm=0.05),
            wiring_ohm=0.0,
        ),
    ),
)
TWO_DROPS_V = 1.8


@pytest.mark.parametrize(
    ("faults", "volts", "drops"),
    [
        ((), 24.0, (-TWO_DROPS_V, TWO_DROPS_V)),  # 1.2 U2 is itself a rule of thumb
        (("reservoir-open",), 18.0, (-TWO_DROPS_V, -0.9)),
        (("reservoir-open", "open-diode"), 9.0, (-0.9, -0.45)),
    ],
)
def test_textbook_faults(faults: tuple[str, ...], volts: float, drops: tuple[float, float]) -> None:
    unit = Unit(sheet=BOOK)
    for name in faults:
        unit = apply(name, unit)
    assert volts + drops[0] <= output(unit, volts / 40.0) <= volts + drops[1]


def test_textbook_load_open() -> None:
    # sqrt(2) * 20 V = 28.3 V less two drops at next to no current (about 0.5 V each at 0.1 mA).
    assert output(BOOK, 0.0) == pytest.approx(28.3 - 2 * 0.5, abs=0.4)


def test_textbook_half_wave_with_its_capacitor() -> None:
    # One diode open, capacitor in place: another model of the circuit gives 21.8 V; the rule of thumb 20 V.
    found = output(apply("open-diode", BOOK), 21.8 / 40)
    assert found == pytest.approx(21.8, rel=0.03)
    assert found > 20.0


def test_humps_of_a_rectified_sine() -> None:
    # Fourier: mean 2/pi = 0.637, second harmonic 4/(3 pi) = 0.424, RMS of the AC part 0.3078 of the peak; the
    # drops of the diodes take their part off the bottom of each hump.
    high = msgspec.structs.replace(BOOK, mains=Mains(voltage_v=11500.0, frequency_hz=50.0))
    found = run(apply("reservoir-open", high), 1e-3, mains_v=11500.0).state.rails["raw"].reservoir
    peak = found.peak_v[0]
    assert found.mean_v[0] / peak == pytest.approx(2 / np.pi, rel=2e-3)
    assert found.second_harmonic_v[0] / peak == pytest.approx(4 / (3 * np.pi), rel=2e-3)
    assert found.ripple_rms_v[0] / peak == pytest.approx(0.307758, rel=2e-3)
    assert found.fundamental_v[0] / peak < 1e-6
