"""Load effect at once and settled: by hand, against copper's law, and through a run's readings."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.analysis.load_effect import COPPER_SHARE, load_effect


def test_both_effects_and_their_uncertainties_by_hand() -> None:
    found = load_effect(34.0, 28.0, 29.0, own_v=(0.01, 0.02, 0.03), common_v=0.28, regulated=False)
    assert (found.settled_v, found.immediate_v, found.drift_v) == pytest.approx((6.0, 5.0, 1.0))
    # the textbook's denominator: 6 / 28, and both of the same settled full-load voltage
    assert found.settled_pct == pytest.approx(600 / 28)
    assert found.immediate_pct == pytest.approx(500 / 28)
    assert found.denominator == "settled full-load voltage"
    # GUM 5.2: what the readings share is 1 % of the difference, the rest adds in squares; k = 2
    assert found.settled_uncertainty_v == pytest.approx(2 * math.sqrt(0.01**2 + 0.02**2 + 0.06**2))
    assert found.immediate_uncertainty_v == pytest.approx(2 * math.sqrt(0.01**2 + 0.03**2 + 0.05**2))
    assert found.drift_uncertainty_v == pytest.approx(2 * math.sqrt(0.02**2 + 0.03**2 + 0.01**2))


def test_copper_grows_by_its_law() -> None:
    # EN 61558-1 14.2: (234.5 + 85) / (234.5 + 25) - 1
    assert pytest.approx(319.5 / 259.5 - 1) == COPPER_SHARE


@pytest.mark.parametrize(
    ("immediate", "regulated", "says", "suspicious"),
    [
        (28.01, False, "no drift", False),
        (28.9, False, "no more than warming copper explains", False),
        (31.0, False, "A loose or burnt joint", True),
        (29.0, True, "regulator's own warming", False),
        (27.0, False, "came back by", False),
    ],
)
def test_what_a_drift_suggests(immediate: float, regulated: bool, says: str, suspicious: bool) -> None:
    found = load_effect(34.0, 28.0, immediate, own_v=(0.01, 0.01, 0.01), regulated=regulated)
    assert says in found.words
    assert found.suspicious is suspicious


def test_without_an_immediate_reading_nothing_is_said_of_it() -> None:
    found = load_effect(34.0, 28.0)
    assert found.immediate_v is None
    assert found.drift_v is None
    assert found.words == ""


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="zero"):
        load_effect(34.0, 0.0)
    with pytest.raises(ValueError, match="finite"):
        load_effect(34.0, math.nan)


@given(st.floats(1, 100), st.floats(0.01, 1), st.floats(0.01, 1), st.booleans())
def test_drift_is_what_parts_the_two_and_a_negative_rail_is_alike(
    none: float, fall: float, more: float, regulated: bool
) -> None:
    immediate, full = none * (1 - 0.3 * fall), none * (1 - 0.3 * fall) * (1 - 0.2 * more)
    found = load_effect(none, full, immediate, own_v=(0.01,) * 3, common_v=0.01, regulated=regulated)
    assert found.immediate_v is not None
    assert found.drift_v == pytest.approx(found.settled_v - found.immediate_v)
    assert (
        load_effect(-none, -full, -immediate, own_v=(0.01,) * 3, common_v=0.01, regulated=regulated) == found
    )
