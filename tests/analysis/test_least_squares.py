"""General least squares against the certified results of the NIST reference sets."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ohmward.analysis.least_squares import Array, curve, linear

REFERENCE = Path(__file__).parents[1] / "data" / "reference"


def reference(name: str) -> tuple[dict[str, Array], dict[str, Any]]:
    """Columns and answers of a data set; its source stands in the JSON beside it."""
    with (REFERENCE / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    columns = {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}
    return columns, json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))


def test_longley_to_nine_certified_digits() -> None:
    # NIST StRD, Longley: six strongly collinear regressors.
    data, answers = reference("longley")
    columns = np.column_stack([np.ones(16), *(data[f"x{i}"] for i in range(1, 7))])
    found = linear(columns, data["y"])
    certified = answers["certified"]
    assert found.values == pytest.approx(certified["B"], rel=1e-9)
    assert found.u == pytest.approx(certified["sd_B"], rel=1e-9)
    assert found.residual_sd == pytest.approx(certified["residual_sd"], rel=1e-9)
    assert found.dof == certified["dof"]


def exponential(x: Array, y: Array) -> tuple[Any, Any]:
    def residual(b: Array) -> Array:
        return np.asarray(y - b[0] * (1.0 - np.exp(-b[1] * x)))

    def jacobian(b: Array) -> Array:
        fall = np.exp(-b[1] * x)
        return np.column_stack([fall - 1.0, -b[0] * x * fall])

    return residual, jacobian


@pytest.mark.parametrize("start", [0, 1])
def test_misra1a_by_the_general_solver(start: int) -> None:
    # NIST StRD, Misra1a, both certified starts.
    data, answers = reference("misra1a")
    certified = answers["certified"]
    first = answers["start"][start]
    found = curve(*exponential(data["x"], data["y"]), [first["b1"], first["b2"]])
    assert found.values == pytest.approx([certified["b1"], certified["b2"]], rel=1e-8)
    assert found.u == pytest.approx([certified["sd_b1"], certified["sd_b2"]], rel=1e-8)
    assert found.residual_ss == pytest.approx(certified["residual_ss"], rel=1e-8)


def test_mgh17_two_exponentials_from_the_near_start() -> None:
    # NIST StRD, MGH17 (start 2; start 1 is known to be hard).
    data, answers = reference("mgh17")
    x, y = data["x"], data["y"]

    def residual(b: Array) -> Array:
        return np.asarray(y - (b[0] + b[1] * np.exp(-x * b[3]) + b[2] * np.exp(-x * b[4])))

    def jacobian(b: Array) -> Array:
        one, two = np.exp(-x * b[3]), np.exp(-x * b[4])
        return -np.column_stack([np.ones_like(x), one, two, -b[1] * x * one, -b[2] * x * two])

    certified = answers["certified"]
    found = curve(residual, jacobian, list(answers["start"][1].values()))
    assert found.values == pytest.approx([certified[f"b{i}"] for i in range(1, 6)], rel=1e-6)
    assert found.u == pytest.approx(certified["sd"], rel=1e-6)
    assert found.residual_sd == pytest.approx(certified["residual_sd"], rel=1e-6)


def test_columns_that_follow_from_one_another_are_refused() -> None:
    x = np.arange(5.0)
    with pytest.raises(ValueError, match="follows from the others"):
        linear(np.column_stack([np.ones(5), x, 2 * x + 1]), x)
    with pytest.raises(ValueError, match="second constant"):
        linear(np.column_stack([np.ones(5), 3 * np.ones(5)]), x)
