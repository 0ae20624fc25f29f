"""Heat against printed worked examples."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.physics.heat import after, copper, junction, largest_sink, winding_rise


def test_junction_chain_of_a_small_regulator() -> None:
    # Public engineering newsletter on thermal design: 12 V to 5 V at 0.5 A is 3.5 W;
    # 25 + 3.5 (5 + 1 + 10) = 81 °C; bare at 65 K/W 252 °C (exactly 252.5, printed cut off).
    power = (12 - 5) * 0.5
    assert power == 3.5
    assert junction(25 + power * 10, power, 1.0, 5.0) == pytest.approx(81.0)
    assert junction(25 + power * 65, power, 0.0, 0.0) == pytest.approx(252.5)


def test_largest_heat_sink() -> None:
    # Public heat-sink worked example: 3.5 W, 125 °C, 25 °C, 2 + 0.5 K/W: at most 26 K/W; with 20 K/W 104 °C.
    assert largest_sink(3.5, 125, 25, 0.5, 2.0) == pytest.approx(26, abs=0.1)
    assert junction(25 + 3.5 * 20, 3.5, 0.5, 2.0) == pytest.approx(104, abs=0.5)
    # Heat-sink maker's example: TO-220, 5 W, 3 and 1 K/W, junction 150, room 50 °C: under 16 °C/W.
    assert largest_sink(5.0, 150, 50, 1.0, 3.0) == pytest.approx(16.0)


def test_winding_temperature_by_resistance() -> None:
    # EN 61558-1 14.2 as a winder reprints it; figures computed from the formula in the reference notes:
    # 10.0 to 12.2 Ω, 20 °C, room 25 °C at the end: rise 50.99 K, winding 75.99 °C.
    rise = winding_rise(10.0, 12.2, 20.0, 25.0)
    assert rise == pytest.approx(50.99, abs=0.005)
    assert 25.0 + rise == pytest.approx(75.99, abs=0.005)
    # Textbook problem on a public physics forum (coefficient 1/234.5): 80 Ω at 20 °C to 100 Ω: 63.63 K.
    assert winding_rise(80, 100, 20, 20) == pytest.approx(63.63, abs=0.01)
    # 18.0 Ω at 22 °C to 22.3 Ω, room 25 °C: 58.3 K (computed from the formula).
    assert winding_rise(18.0, 22.3, 22, 25) == pytest.approx(58.3, abs=0.05)


def test_copper_coefficient_at_20_degrees() -> None:
    # IEC 60028: 0.00393 per kelvin at 20 °C.
    assert copper(1.0, 21.0) - 1.0 == pytest.approx(0.00393, abs=5e-6)
    assert copper(1.0, 20.0) == 1.0


@given(cold=st.floats(0.05, 500), start=st.floats(0, 40), rise=st.floats(0, 120))
def test_rise_by_resistance_undoes_copper(cold: float, start: float, rise: float) -> None:
    before, hot = copper(cold, start), copper(cold, start + rise)
    assert winding_rise(before, hot, start, start) == pytest.approx(rise, abs=1e-6)


def test_one_time_constant() -> None:
    # Rise 50 K after 1 h and 75 K after 2 h: final 100 K, time constant 1/ln 2 h
    # (textbook problem on a public homework site; time constant computed).
    tau = 3600 / np.log(2)
    assert after(3600, 0.0, 100.0, tau) == pytest.approx(50.0)
    assert after(7200, 0.0, 100.0, tau) == pytest.approx(75.0)
    assert after(np.inf, 0.0, 100.0, tau) == 100.0
    assert after(0.0, 7.0, 100.0, tau) == 7.0


def test_share_left_after_one_to_five_time_constants() -> None:
    # Closed form, printed in many tables: 36.8, 13.5, 4.98, 1.83, 0.674 %.
    left = 100 - np.array([after(float(n), 0.0, 100.0, 1.0) for n in range(1, 6)])
    assert left == pytest.approx([36.788, 13.534, 4.9787, 1.8316, 0.67379], rel=1e-4)
