"""Fitted surfaces: they refuse what they cannot follow, and give the bands of the exact model."""

from __future__ import annotations

import numpy as np
import pytest

from ohmward.physics import expect, rails
from ohmward.physics.surface import CHECKED, FITTED, TOLERANCE, fit
from support.supplies import rail, supply, transformer

ROWS = FITTED + CHECKED


def inputs(count: int = ROWS, seed: int = 0) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return np.random.default_rng(seed).uniform(0.8, 1.2, (count, 4))


def test_a_product_of_powers_is_followed_exactly() -> None:
    x = inputs()
    surface = fit(x, np.stack([x[:, 0] ** 2 / x[:, 1], 3 * np.sqrt(x[:, 2])], axis=1))
    assert surface is not None
    new = inputs(50, seed=1)
    expected = np.stack([new[:, 0] ** 2 / new[:, 1], 3 * np.sqrt(new[:, 2])], axis=1)
    assert surface(new) == pytest.approx(expected, rel=1e-6)


def test_a_smooth_function_is_followed_within_the_tolerance() -> None:
    x = inputs()
    surface = fit(x, (x[:, :1] + 0.3 * x[:, 1:2] * x[:, 2:3]))
    assert surface is not None
    new = inputs(400, seed=1)
    assert surface(new) == pytest.approx(new[:, :1] + 0.3 * new[:, 1:2] * new[:, 2:3], rel=2 * TOLERANCE)


def test_a_kink_is_refused() -> None:
    x = inputs()
    assert fit(x, np.maximum(x[:, :1], 1.0)) is None


@pytest.mark.parametrize("bad", [np.nan, np.inf, 0.0, -1.0])
def test_what_has_no_logarithm_is_refused(bad: float) -> None:
    y = np.ones((ROWS, 1))
    y[3] = bad
    assert fit(inputs(), y) is None


def test_a_quantity_that_does_not_vary_does_no_harm() -> None:
    x = inputs()
    x[:, 3] = 0.5
    surface = fit(x, x[:, :1] * x[:, 3:])
    assert surface is not None
    assert surface(x[:5])[:, 0] == pytest.approx(x[:5, 0] * 0.5, rel=1e-6)


def test_bands_are_those_of_the_exact_model(monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = supply(
        rails=(rail(), rail("raw", 22.0, regulated=False, sources=("T1.b",))),
        transformers=(transformer(rating_va=120.0, regulation_pct=10.0),),
    )

    def run() -> list[tuple[str, float, float, float]]:
        found = expect(sheet, mains_v=230.0, draws=1200, load_points=(0.1, 1.0), margins=False)
        return [
            (f"{name} {key}", band.low, band.value, band.high)
            for name, one in found.rails.items()
            for values in (one.no_load, one.together, *(point.values for point in one.loaded))
            for key, band in values.items()
        ]

    fitted = run()
    monkeypatch.setattr(rails, "fit", lambda _inputs, _outputs: None)
    exact = run()
    for (name, *surface), (_, *solved) in zip(fitted, exact, strict=True):
        width = max(solved[2] - solved[0], 1e-9)
        assert np.abs(np.subtract(surface, solved)).max() < 0.01 * width, name
