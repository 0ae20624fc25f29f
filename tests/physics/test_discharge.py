"""Discharge against worked figures and the closed form."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.physics.discharge import time_to, voltage_after


@pytest.mark.parametrize(
    ("capacitance_f", "bleeder_ohm", "start_v", "seconds"),
    [
        # Plain arithmetic, worked beforehand: 10 000 µF + 1 kΩ from 26 V to 5 V 16.5 s;
        # 4700 µF + 2.2 kΩ from 35 V 20 s; 22 mF + 1 kΩ from 50 V 51 s.
        (10e-3, 1e3, 26, 16.5),
        (4.7e-3, 2.2e3, 35, 20.0),
        (22e-3, 1e3, 50, 51.0),
    ],
)
def test_worked_figures(capacitance_f: float, bleeder_ohm: float, start_v: float, seconds: float) -> None:
    assert time_to(start_v, bleeder_ohm, capacitance_f, 5.0) == pytest.approx(seconds, rel=0.01)


def test_mains_capacitors_within_five_seconds() -> None:
    # IEC 61010-1 6.10.3: not hazardous 5 s after unplugging; 357.8 V (peak of 253 V) to 60 V. Computed:
    # 4.4 µF needs 636 kΩ at most, 0.22 µF 12.7 MΩ.
    assert time_to(357.8, 636e3, 4.4e-6, 60.0) == pytest.approx(5.0, rel=2e-3)
    assert time_to(357.8, 12.7e6, 0.22e-6, 60.0) == pytest.approx(5.0, rel=5e-3)


def test_already_safe_needs_no_wait_even_without_a_bleeder() -> None:
    assert time_to(4.0, np.inf, 1e-3) == 0.0
    assert time_to(-4.0, 1e3, 1e-3) == 0.0


def test_no_bleeder_never_gets_there() -> None:
    assert time_to(20.0, np.inf, 1e-3) == np.inf


def test_zero_is_never_reached() -> None:
    with pytest.raises(ValueError, match="never"):
        time_to(20.0, 1e3, 1e-3, 0.0)


def test_arrays_go_through() -> None:
    assert time_to(np.array([26.0, -26.0, 3.0]), 1e3, 10e-3).shape == (3,)


@given(start=st.floats(5.1, 500), bleeder=st.floats(10, 1e6), capacitance=st.floats(1e-6, 0.1))
def test_the_wait_leads_to_the_safe_voltage(start: float, bleeder: float, capacitance: float) -> None:
    wait = time_to(start, bleeder, capacitance, 5.0)
    assert voltage_after(start, wait, bleeder, capacitance) == pytest.approx(5.0, rel=1e-9)
