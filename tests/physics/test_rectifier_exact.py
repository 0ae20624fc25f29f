"""The steady state against an independent integration of the same circuit.

Here nothing is assumed about when a diode conducts: both half-cycles' diodes are in the circuit all the
time, each current is solved by Wright's omega function, the capacitor is integrated by a method of variable
order and step (scipy's LSODA) to a relative tolerance of 1e-8 and the cycle closed by secants.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pytest
from scipy.integrate import solve_ivp
from scipy.special import wrightomega

from ohmward.physics.rectifier import Diode, steady_state
from ohmward.supply.model import RectifierKind

Array = npt.NDArray[np.float64]

KT_PER_Q = 1.380649e-23 * 300.15 / 1.602176634e-19
"""Thermal voltage at 300.15 K from the exact constants of the SI [V]."""
SAMPLES = 4000


@dataclass(frozen=True, kw_only=True)
class Case:
    kind: RectifierKind = "bridge"
    rms: float = 18.0
    second: float | None = None
    hertz: float = 50.0
    ohm: float = 0.4
    farad: float = 4.7e-3
    esr: float = 0.05
    saturation: float = 1e-9
    emission: float = 1.75
    bulk: float = 0.02
    load: tuple[str, float] = ("load_a", 1.0)

    @property
    def series(self) -> int:
        return 2 if self.kind == "bridge" else 1

    def load_law(self, vo: Array) -> tuple[Array, Array]:
        """Load current and its slope."""
        name, value = self.load
        if name == "load_a":
            return np.full_like(vo, value), np.zeros_like(vo)
        if name == "load_ohm":
            return vo / value, np.full_like(vo, 1 / value)
        return value / vo, -value / np.square(vo)


CASES = {
    "a plain example": Case(),
    "resistive": Case(load=("load_ohm", 22.0)),
    "constant power": Case(load=("load_w", 20.0)),
    "constant power, large ESR": Case(load=("load_w", 20.0), esr=0.4),
    "centre-tap, 60 Hz": Case(kind="centre-tap", hertz=60.0, load=("load_a", 3.0), ohm=0.2),
    "half-wave": Case(kind="half-wave"),
    "half-wave, resistive, light": Case(kind="half-wave", load=("load_ohm", 1e3)),
    "half-wave, constant power": Case(kind="half-wave", load=("load_w", 15.0)),
    "no ESR": Case(esr=0.0),
    "ESR above everything else": Case(esr=1.0),
    "idle: 1 mA": Case(load=("load_a", 1e-3)),
    "leaky diodes, light load": Case(
        saturation=1e-5, emission=1.05, kind="centre-tap", load=("load_a", 5e-3)
    ),
    "no resistance but the bulk's": Case(ohm=0.0, esr=0.0, farad=1e-3),
    "small reservoir, deep ripple": Case(farad=220e-6, load=("load_ohm", 22.0)),
    "hardly a reservoir": Case(farad=20e-6, load=("load_ohm", 22.0)),
    "heavy load, weak source": Case(ohm=6.0, load=("load_ohm", 12.0)),
    "unequal halves": Case(kind="centre-tap", second=17.0),
    "one half idle": Case(kind="centre-tap", second=12.0),
    "6 V, where the diodes weigh most": Case(rms=6.0, load=("load_a", 0.5)),
    "55 V": Case(rms=55.0, load=("load_a", 2.0), ohm=1.0),
}


def rectified(case: Case, t: Array, vo: Array) -> tuple[Array, Array]:
    """Current of all diodes into the output, what leaks back included, and its slope against `vo`."""
    vt = case.series * case.emission * KT_PER_Q
    ohm = case.ohm + case.series * case.bulk
    crest = np.sqrt(2) * np.sin(2 * np.pi * case.hertz * t)
    halves = [case.rms * crest]
    if case.kind != "half-wave":
        halves.append(-(case.rms if case.second is None else case.second) * crest)
    total, slope = np.zeros_like(vo), np.zeros_like(vo)
    for emf in halves:
        omega = wrightomega((emf - vo + ohm * case.saturation) / vt + np.log(ohm * case.saturation / vt))
        total += vt / ohm * omega - case.saturation
        slope -= omega / (1 + omega) / ohm
    return total, slope


def terminal(case: Case, t: Array, v: Array, vo: Array) -> Array:
    """Voltage at the load where the capacitor proper has `v`, by Newton's method from `vo`."""
    if case.esr == 0:
        return v
    for _ in range(60):
        current, slope = rectified(case, t, vo)
        load, load_slope = case.load_law(vo)
        step = (v + case.esr * (current - load) - vo) / (1 - case.esr * (slope - load_slope))
        vo = vo + step
        if np.abs(step).max() < 1e-11:
            return vo
    raise AssertionError("no terminal voltage")


def integrate(case: Case) -> tuple[Array, Array, Array]:
    """Instants, terminal voltage and rectified current of one settled cycle."""
    period = 1 / case.hertz
    last = np.array([1.2 * case.rms])

    def slope(t: float, v: Array) -> Array:
        last[:] = terminal(case, np.array([t]), v, last)
        current, _ = rectified(case, np.array([t]), last)
        return (current - case.load_law(last)[0]) / case.farad

    def cycle(start: float) -> Callable[[Array], Array]:
        done = solve_ivp(
            slope,
            (0, period),
            [start],
            method="LSODA",
            rtol=1e-8,
            atol=1e-9,
            dense_output=True,
            max_step=period / 200,
        )
        assert done.success
        dense = done.sol
        assert dense is not None
        return lambda t: np.asarray(dense(t)[0])

    # The state at the zero crossing; closed by the secant method from two plain beginnings.
    one, two = 1.15 * case.rms, 1.1 * case.rms
    miss_one = float(cycle(one)(np.array(period))) - one
    for _ in range(12):
        miss_two = float(cycle(two)(np.array(period))) - two
        if abs(miss_two) < 2e-8 * case.rms or abs(two - one) < 1e-7 * case.rms:
            break
        one, two, miss_one = two, two - miss_two * (two - one) / (miss_two - miss_one), miss_two
    else:
        raise AssertionError("the integration did not settle")
    time = np.arange(SAMPLES) * period / SAMPLES
    v = cycle(two)(time)
    vo = terminal(case, time, v, v)
    return time, vo, rectified(case, time, vo)[0]


@pytest.mark.parametrize("name", CASES)
def test_agrees_with_an_independent_integration(name: str) -> None:
    case = CASES[name]
    load, value = case.load
    found = steady_state(
        kind=case.kind,
        source_rms_v=case.rms,
        second_rms_v=case.second,
        frequency_hz=case.hertz,
        source_ohm=case.ohm,
        capacitance_f=case.farad,
        esr_ohm=case.esr,
        diode=Diode(saturation_a=case.saturation, emission=case.emission, bulk_ohm=case.bulk),
        **{load: value},
    )
    time, vo, current = integrate(case)
    swing = float(np.ptp(vo))
    assert found.converged
    # Half and less of what is allowed against ngspice.
    assert float(found.mean_v) == pytest.approx(vo.mean(), rel=1e-4)
    assert float(found.ripple_pp_v) == pytest.approx(swing, rel=2e-3)
    assert float(found.valley_v) == pytest.approx(vo.min(), abs=2e-3 * swing + 1e-4 * vo.mean())
    assert float(found.peak_v) == pytest.approx(vo.max(), abs=2e-3 * swing + 1e-4 * vo.mean())
    assert float(found.ripple_rms_v) == pytest.approx(vo.std(), rel=1e-3)
    rms = float(np.sqrt(np.mean(np.square(current))))
    assert float(found.source_rms_a) == pytest.approx(rms, rel=1e-3)
    assert float(found.source_peak_a) == pytest.approx(current.max(), rel=3e-3)
    assert float(found.diode_mean_a) == pytest.approx(current.mean(), rel=1e-3)
    charging = float(np.sqrt(np.mean(np.square(current - case.load_law(vo)[0]))))
    assert float(found.capacitor_rms_a) == pytest.approx(charging, rel=1e-3)
    lines = 2 * np.abs(np.fft.rfft(vo)) / SAMPLES
    assert float(found.second_harmonic_v) == pytest.approx(lines[2], rel=1e-3, abs=2e-4 * swing)
    assert float(found.fundamental_v) == pytest.approx(lines[1], rel=1e-3, abs=2e-4 * swing)
    wave = found.waveform(SAMPLES)
    assert wave.time_s == pytest.approx(time, abs=1e-15)
    assert np.abs(wave.output_v - vo).max() < 2e-3 * swing + 1e-4 * vo.mean()
    assert np.abs(wave.diode_a - current).max() < 5e-3 * current.max()
