"""The supply under test: drawn within its sheet, warmed, loaded, discharged, and with faults in it."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.bench.simulated.charge import FLOOR_V, decay
from ohmward.bench.simulated.clock import BenchClock
from ohmward.bench.simulated.outside import MAINS_WANDER_V
from ohmward.bench.simulated.specimen import parse_fault
from ohmward.bench.simulated.unit import SimulatedUnit
from ohmward.errors import InputError
from simulated.wire import sheet

CR_07 = sheet()
RATED = {rail.name: rail.rated_current_a for rail in CR_07.rails}


def unit(*faults: tuple[str, str | None], seed: int = 3, wander: bool = False) -> SimulatedUnit:
    return SimulatedUnit(CR_07, clock=BenchClock(0.0), faults=faults, seed=seed, wander=wander)


def loaded(*faults: tuple[str, str | None]) -> SimulatedUnit:
    found = unit(*faults)
    found.switch_on()
    for name, amps in RATED.items():
        found.set_load(name, amps)
    return found


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6))
def test_a_specimen_lies_within_the_tolerances_of_its_sheet(seed: int) -> None:
    found = unit(seed=seed)
    for rail in CR_07.rails:
        made = found.design.rails[rail.name]
        assert rail.reservoir is not None
        nominal = rail.reservoir.capacitance_f
        assert 0.8 * nominal <= made.capacitance_f[0] <= 1.2 * nominal  # sheet: -20 % +20 %
        if rail.regulator is not None and rail.regulator.tolerance_pct is not None:
            assert made.regulator is not None
            off = abs(made.regulator.set_point_v[0] / abs(rail.nominal_v) - 1)
            assert off <= rail.regulator.tolerance_pct / 100 + 1e-9


def test_the_same_seed_is_the_same_unit_and_another_is_another() -> None:
    first, again, other = unit(seed=5), unit(seed=5), unit(seed=6)
    for each in (first, again, other):
        each.switch_on()
    assert first.rail("24") == again.rail("24")
    assert first.rail("24") != other.rail("24")


def test_an_unplugged_unit_shows_nothing_and_a_plugged_one_its_rails_with_their_signs() -> None:
    found = unit()
    assert found.rail("+15").output_v == 0
    assert found.mains() == (0.0, 0.0)
    found.switch_on()
    # set points of the sheet, ±4 % and ±3 %
    assert found.rail("+15").output_v == pytest.approx(15, rel=0.04)
    assert found.rail("-15").output_v == pytest.approx(-15, rel=0.04)
    assert found.rail("+48").output_v == pytest.approx(48, rel=0.03)
    assert 15 < found.rail("+15").reservoir_v < 35


def test_a_reservoir_falls_by_e_in_one_time_constant_of_its_bleeder() -> None:
    found = unit()
    found.switch_on()
    found.switch_off()
    start = found.rail("24").reservoir_v
    made = found.design.rails["24"]
    found.clock.skip(float(made.bleeder_ohm[0] * made.capacitance_f[0]))
    # U = U0 e^(-t/RC): by e after one time constant; leakage of the capacitor takes a little more
    assert found.rail("24").reservoir_v / start == pytest.approx(math.exp(-1), rel=0.02)


def test_a_regulated_output_follows_its_reservoir_down_less_the_dropout() -> None:
    found = unit()
    found.switch_on()
    found.switch_off()
    found.clock.skip(25)
    rail, regulator = found.rail("+15"), found.design.rails["+15"].regulator
    assert regulator is not None
    assert 0 < rail.reservoir_v < 15
    assert rail.output_v == pytest.approx(max(rail.reservoir_v - regulator.dropout_v[0], 0.0))


def test_without_its_bleeder_a_reservoir_stays_charged() -> None:
    found = unit(("bleeder-missing", "24"))
    found.switch_on()
    found.switch_off()
    start = found.rail("24").reservoir_v
    found.clock.skip(60)
    # the fault's own words: 'a minute after switch-off, unloaded: still above 80 % of the start'
    assert found.rail("24").reservoir_v > 0.8 * start
    found.bleed("24", 470.0, 60.0)
    assert found.rail("24").reservoir_v < 1.0


@settings(max_examples=60, deadline=None)
@given(
    st.floats(2, 80),
    st.floats(100, 1e5) | st.just(math.inf),
    st.floats(1e-4, 2e-2),
    st.floats(0, 3),
    st.floats(0.01, 30),
)
def test_discharge_agrees_with_small_steps(
    volts: float, ohm: float, farad: float, load_a: float, seconds: float
) -> None:
    steps = 20_000
    step, now = seconds / steps, volts
    for _ in range(steps):  # C dU/dt = -U/R - I, by Euler's method; the load lets go at the floor
        now -= (now / ohm + (load_a if now > FLOOR_V else 0.0)) * step / farad
        now = max(now, 0.0)
    found = decay(volts, seconds, ohm=ohm, farad=farad, load_a=load_a)
    # Euler's own error, and one step beyond the floor, at the coarsest of these cases
    slack = 2e-3 * volts + (load_a + volts / ohm) * step / farad
    assert found == pytest.approx(now, abs=max(slack, 1e-2))


def test_a_heat_sink_settles_at_its_power_times_its_thermal_resistance() -> None:
    found = loaded()
    found.clock.skip(6 * 3600)
    now = found.temperature_c("heat sink +15")
    assert now is not None
    rail, made = found.rail("+15"), found.design.rails["+15"]
    # P = (U_in - U_out) I, the regulator's own 6 mA beside it; rise = P R_sa (DESIGN section 5)
    assert made.sink_kpw is not None
    at_regulator = rail.output_v + rail.load_a * made.wiring_ohm[0]
    power = (rail.reservoir_v - at_regulator) * rail.load_a + rail.reservoir_v * 0.006
    room = found.temperature_c("room air")
    assert room is not None
    assert now - room == pytest.approx(power * made.sink_kpw[0], rel=0.02)


def test_warming_has_gone_63_per_cent_of_its_way_after_one_time_constant() -> None:
    found = loaded()
    tau = float(found.design.rails["+48"].sink_tau_s[0])
    room = found.temperature_c("room air")
    assert room is not None
    found.clock.skip(tau)
    early = found.temperature_c("heat sink +48")
    found.clock.skip(8 * tau)
    late = found.temperature_c("heat sink +48")
    assert early is not None
    assert late is not None
    # 1 - 1/e; its power falls a little as the copper warms
    assert (early - room) / (late - room) == pytest.approx(1 - math.exp(-1), abs=0.04)


def test_a_hot_winding_has_more_resistance_and_cools_when_off() -> None:
    found = loaded()
    found.clock.skip(3600)
    hot = found.copper_c("T1")
    assert hot > 40
    found.switch_off()
    found.clock.skip(12 * 3600)
    assert found.copper_c("T1") == pytest.approx(21.5, abs=0.5)


def test_an_open_diode_doubles_the_ripple_and_brings_the_mains_frequency() -> None:
    sound, faulty = loaded(), loaded(("open-diode", "24"))
    waves = [each.waves("24").reservoir_v for each in (sound, faulty)]
    ripple = [float(np.ptp(wave)) for wave in waves]
    # U_pp = I/(2fC) against I/(fC) (any rectifier text, from memory), less the time of conduction
    assert 1.8 < ripple[1] / ripple[0] < 2.6
    first, second = np.abs(np.fft.rfft(waves[0]))[1:3], np.abs(np.fft.rfft(waves[1]))[1:3]
    assert first[0] < 0.02 * first[1]  # 100 Hz alone
    assert second[0] > second[1]  # 50 Hz above 100 Hz
    assert faulty.waves("+15").reservoir_v == pytest.approx(sound.waves("+15").reservoir_v, rel=0.02)


def test_a_shorted_diode_takes_the_fuse_and_a_repair_brings_both_back() -> None:
    found = unit(("shorted-diode", "24"))
    found.switch_on()
    assert found.fuse_blown
    assert found.rail("+15").output_v == 0
    found.switch_off()
    found.mend()
    found.switch_on()
    assert not found.fuse_blown
    assert found.rail("+15").output_v == pytest.approx(15, rel=0.04)


def test_mains_wanders_slowly_and_not_far() -> None:
    found = unit(wander=True)
    seen = []
    for _ in range(600):
        found.clock.skip(10)
        seen.append(found.mains_v())
    assert max(abs(volts - 230) for volts in seen) <= MAINS_WANDER_V
    assert max(seen) - min(seen) > 0.5
    assert max(abs(a - b) for a, b in pairwise(seen)) < 0.2


def test_a_stranger_s_supply_of_which_little_is_known_still_runs() -> None:
    stranger = sheet("CR-02")
    found = SimulatedUnit(stranger, clock=BenchClock(0.0), wander=False)
    found.switch_on()
    (rail,) = stranger.rails
    assert found.rail(rail.name).output_v == pytest.approx(rail.nominal_v, rel=0.15)


@pytest.mark.parametrize("text", ["no-such-fault", "open-diode:no-such-rail"])
def test_a_wrong_fault_is_refused_with_those_there_are(text: str) -> None:
    with pytest.raises(InputError, match="One of"):
        unit(parse_fault(text))


def test_a_wrong_load_is_refused() -> None:
    found = unit()
    with pytest.raises(InputError, match="no such rail"):
        found.set_load("+12", 1.0)
    with pytest.raises(InputError, match="0 A or more"):
        found.set_load("+15", -1.0)


def test_the_clock_runs_at_its_speed_and_never_backwards() -> None:
    real = [10.0]
    clock = BenchClock(60.0, monotonic=lambda: real[0])
    real[0] += 2.0
    assert clock.now_s() == pytest.approx(120.0)
    clock.skip(30)
    assert clock.now_s() == pytest.approx(150.0)
    with pytest.raises(ValueError, match="backwards"):
        clock.skip(-1)
