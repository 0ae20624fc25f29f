"""Transformer: common figures of the trade, and the definitions it is computed from."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.physics.assume import facts
from ohmward.physics.assume_transformer import hot_factor
from ohmward.physics.transformer import (
    PRIMARY_SHARE,
    implied_regulation,
    terminal_rms,
    usual_magnetising_va,
    usual_regulation,
    windings,
)
from ohmward.supply.model import Secondary
from support.supplies import rail, supply, transformer

# VA, usual regulation of a toroid [%], band of no-load over nominal voltage, primary resistance at 230 V
# cold: builders' figure and accepted band [Ω]. Common practice, no source (figures from memory).
COMMON = [
    (15, 18, 20, 195, 150, 450),
    (30, 16, 22, 89, 70, 200),
    (50, 13, 14, 48, 38, 100),
    (80, 12, 13, 29, 22, 60),
    (100, 10, 11, 21, 16, 45),
    (120, 10, 12, 15, 12, 32),
    (160, 8, 9, 10.5, 8, 22),
    (225, 7, 8, 6.9, 5, 14),
    (300, 6, 7, 4.7, 3.5, 10),
    (500, 4, 6, 2.4, 1.8, 5),
]


@pytest.mark.parametrize(("rating", "low", "high", "_ohm", "_least", "_most"), COMMON)
def test_usual_regulation(
    rating: float, low: float, high: float, _ohm: float, _least: float, _most: float
) -> None:
    usual = usual_regulation(rating, "toroid")
    assert low - 0.5 <= 100 * usual.value <= high + 0.5
    assert usual.low < usual.value < usual.high


@pytest.mark.parametrize(("rating", "_low", "_high", "ohm", "least", "most"), COMMON)
def test_primary_resistance_of_a_toroid(
    rating: float, _low: float, _high: float, ohm: float, least: float, most: float
) -> None:
    found = windings(
        regulation=np.array(usual_regulation(rating, "toroid").value),
        primary_share=np.array(PRIMARY_SHARE.value),
        primary_v=230.0,
        rating_va=rating,
        voltage_v=[np.array(18.0)],
        current_a=[rating / 18.0],
        hot_factor=hot_factor(60.0),
    ).primary_ohm
    assert least <= found <= most
    assert found == pytest.approx(ohm, rel=0.2)


@pytest.mark.parametrize(
    ("rating", "least", "most"), [(30, 3, 25), (80, 5, 45), (160, 8, 80), (300, 10, 120)]
)
def test_magnetising_current(rating: float, least: float, most: float) -> None:
    # Common practice, no source: magnetising current [mA] of a sound transformer at 230 V.
    spread = usual_magnetising_va(rating)
    assert spread.low / 0.230 == pytest.approx(least, rel=1e-6)
    assert spread.high / 0.230 == pytest.approx(most, rel=1e-6)
    toroid, laminated = usual_magnetising_va(rating, "toroid"), usual_magnetising_va(rating, "laminated")
    assert toroid.value < spread.value < laminated.value


def test_a_measured_toroid() -> None:
    # A builder's log: two 300 VA toroids of 20 V on 230 V read 22.78 V at 248 V: 5.6 % over nominal.
    rise = 22.78 / (248 / 230) / 20.0 - 1
    assert rise == pytest.approx(0.056, abs=0.002)
    usual = usual_regulation(300, "toroid")
    assert usual.low <= rise <= usual.high


regulations = st.floats(0.03, 0.3)


@given(regulation=regulations, share=st.floats(0.3, 0.7), rating=st.floats(5, 500), volts=st.floats(5, 60))
def test_rated_resistive_load_gives_the_rated_voltage(
    regulation: float, share: float, rating: float, volts: float
) -> None:
    """By the definition of regulation the secondary stands at its rated voltage at rated current."""
    amps = rating / volts
    found = windings(
        regulation=np.array(regulation),
        primary_share=np.array(share),
        primary_v=230.0,
        rating_va=rating,
        voltage_v=[np.array(volts)],
        current_a=[amps],
        hot_factor=1.0,
    )
    ratio = found.ratio[0]
    open_v = 230.0 * ratio
    assert open_v / volts - 1 == pytest.approx(regulation)
    source = found.secondary_ohm[0] + ratio**2 * found.primary_ohm
    assert open_v - source * amps == pytest.approx(volts)
    # The same from the powers: u = e - r i for a sine of resistive load.
    power = open_v * np.asarray(amps)
    loaded = terminal_rms(
        open_v=open_v,
        shared_ohm=ratio**2 * found.primary_ohm,
        shared_power_w=power,
        shared_a=np.asarray(amps),
        own_ohm=found.secondary_ohm[0],
        own_power_w=power,
        own_a=np.asarray(amps),
    )
    assert loaded == pytest.approx(volts)


@given(regulation=regulations, share=st.floats(0.3, 0.7), rating=st.floats(5, 500))
def test_measured_windings_imply_their_regulation(regulation: float, share: float, rating: float) -> None:
    found = windings(
        regulation=np.array(regulation),
        primary_share=np.array(share),
        primary_v=230.0,
        rating_va=rating,
        voltage_v=[np.array(18.0)],
        current_a=[rating / 18.0],
        hot_factor=1.0,
    )
    implied = implied_regulation(
        primary_ohm=float(found.primary_ohm),
        secondary_ohm=float(found.secondary_ohm[0]),
        primary_v=230.0,
        voltage_v=18.0,
        current_a=rating / 18.0,
        share_va=rating,
    )
    assert implied == pytest.approx(regulation, rel=1e-6)


def test_measured_ohms_win_over_regulation() -> None:
    sheet = supply(transformers=(transformer(regulation_pct=12.0, primary_ohm=31.0),))
    known = facts(sheet).transformers[0]
    assert known.primary_ohm is not None
    assert known.primary_ohm.value == 31.0
    assert known.regulation.value == pytest.approx(0.12)


def test_a_silent_sheet_is_filled_in_and_says_so() -> None:
    bare = transformer(rating_va=None, secondaries=(Secondary(name="a", voltage_v=18.0),))
    known = facts(supply(rails=(rail(),), transformers=(bare,)))
    # A winder's rule, VA = 1.4 (W + 2 I_dc): 15 V 1.2 A wants 1.4 (18 + 2.4) = 28.6 VA, something in hand.
    assert 28.6 <= known.transformers[0].rating_va <= 45
    words = "\n".join(known.assumptions)
    assert "rating of about" in words
    assert "regulation" in words


def test_the_winders_rule() -> None:
    # Toroid winder: 12 V 2 A behind a bridge: V_ac = 0.8 (V_dc + 2) = 11.2 V, VA = 1.4 (W + 2 I_dc) = 39.
    sheet = supply(
        rails=(rail(nominal_v=12.0, rated_current_a=2.0, sources=(), regulated=False),), transformers=()
    )
    made = facts(sheet).transformers[0]
    assert made.invented
    assert made.secondaries[0].voltage_v.value == pytest.approx(11.2)
    assert made.rating_va == pytest.approx(39.2)


@pytest.mark.parametrize(("kind_sign", "expected"), [((1.0, -1.0), "centre-tap"), ((1.0, 1.0), "bridge")])
def test_one_bridge_on_a_centre_tap_is_two_centre_tap_rectifiers(
    kind_sign: tuple[float, float], expected: str
) -> None:
    tapped = transformer(secondaries=(Secondary(name="a", voltage_v=18.0, centre_tapped=True),))
    rails = (rail("one", 15.0 * kind_sign[0]), rail("two", 15.0 * kind_sign[1]))
    known = facts(supply(rails=rails, transformers=(tapped,)))
    assert {made.kind for made in known.rails} == {expected}
    assert known.rails[0].whole_winding == (expected == "bridge")
