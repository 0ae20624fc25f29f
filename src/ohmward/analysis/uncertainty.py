"""How sure a number is: components of uncertainty, their combination, and the budget that shows them.

References
----------
.. [1] JCGM 100:2008, Guide to the expression of uncertainty in measurement (GUM), 4.2 to 4.4, 5.1,
   5.2, annex G.
.. [2] EA-4/02 M:2022, Evaluation of the uncertainty of measurement in calibration, annex E and
   examples S9 (one dominant rectangle) and S10 (two).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import pandas as pd

Distribution = Literal["normal", "rectangular", "triangular", "u-shaped", "trapezoidal", "student"]

LEVEL = math.erf(math.sqrt(2.0))
"""Coverage probability of k = 2 for a normal distribution: 95.45 %, the column EA-4/02 table E.1 uses."""

DOMINANT_RATIO = 0.3
"""The rest may be this share of the dominant rectangles at most (EA-4/02, S9 and S10)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One contribution to a budget; `standard` in the unit of its own quantity."""

    standard: float
    """Standard uncertainty u(x)."""
    name: str = ""
    sensitivity: float = 1.0
    """c = df/dx, which brings u(x) into the unit of the result."""
    dof: float = math.inf
    distribution: Distribution = "normal"
    half_width: float | None = None
    """Half-width a of a bounded distribution."""

    def __post_init__(self) -> None:
        if not 0.0 <= self.standard < math.inf:
            raise ValueError(f"a standard uncertainty is a finite number from 0 up, not {self.standard}")
        if not self.dof > 0:
            raise ValueError(f"degrees of freedom are above 0, not {self.dof}")
        if not math.isfinite(self.sensitivity):
            raise ValueError(f"a sensitivity is a finite number, not {self.sensitivity}")

    @property
    def contribution(self) -> float:
        """|c| u(x), in the unit of the result."""
        return abs(self.sensitivity) * self.standard


def rectangular(half_width: float, name: str = "", *, sensitivity: float = 1.0) -> Component:
    """Anything within +-a is as likely: u = a / sqrt(3) (GUM 4.3.7)."""
    return _bounded(half_width, 3.0, name, sensitivity, "rectangular")


def triangular(half_width: float, name: str = "", *, sensitivity: float = 1.0) -> Component:
    """The middle of +-a is the likeliest: u = a / sqrt(6) (GUM 4.3.9)."""
    return _bounded(half_width, 6.0, name, sensitivity, "triangular")


def u_shaped(half_width: float, name: str = "", *, sensitivity: float = 1.0) -> Component:
    """The ends of +-a are the likeliest, as of a sine: u = a / sqrt(2)."""
    return _bounded(half_width, 2.0, name, sensitivity, "u-shaped")


def trapezoidal(half_width: float, beta: float, name: str = "", *, sensitivity: float = 1.0) -> Component:
    """Flat over +-beta a, falling to zero at +-a: u = a sqrt((1 + beta^2) / 6) (GUM 4.3.9)."""
    if not 0.0 <= beta <= 1.0:
        raise ValueError(f"beta is from 0 (a triangle) to 1 (a rectangle), not {beta}")
    return _bounded(half_width, 6.0 / (1.0 + beta * beta), name, sensitivity, "trapezoidal")


def resolution(step: float, name: str = "resolution", *, sensitivity: float = 1.0) -> Component:
    """One digit of a display of that step: +-step / 2, so u = 0.29 step (GUM F.2.2.1)."""
    return rectangular(step / 2.0, name, sensitivity=sensitivity)


def normal(
    expanded: float,
    name: str = "",
    *,
    coverage: float | None = None,
    level: float | None = None,
    dof: float = math.inf,
    sensitivity: float = 1.0,
) -> Component:
    """A certificate's U: u = U / k (GUM 4.3.3), or from its level of confidence (GUM 4.3.4).

    Parameters
    ----------
    expanded : float
        U as certified.
    coverage : float, optional
        k; 2 when neither it nor `level` is given.
    level : float, optional
        Level of confidence instead, such as 0.99 (k = 2.58).
    """
    if coverage is not None and level is not None:
        raise ValueError("give either the coverage factor or the level, not both")
    k = coverage if coverage is not None else 2.0
    if level is not None:
        k = coverage_factor(level)
    if not k > 0:
        raise ValueError(f"a coverage factor is above 0, not {k}")
    return Component(standard=expanded / k, name=name, dof=dof, sensitivity=sensitivity)


def type_a(readings: Sequence[float], name: str = "repeatability", *, sensitivity: float = 1.0) -> Component:
    """Uncertainty of the mean of repeated readings: u = s / sqrt(n), n - 1 degrees of freedom (GUM 4.2.3)."""
    count = len(readings)
    if count < 2:
        raise ValueError("repeatability needs at least two readings")
    mean = math.fsum(readings) / count
    spread = math.sqrt(math.fsum((each - mean) ** 2 for each in readings) / (count - 1))
    return spread_of_mean(spread, count, name, sensitivity=sensitivity)


def spread_of_mean(
    standard_deviation: float, count: int, name: str = "repeatability", *, sensitivity: float = 1.0
) -> Component:
    """As `type_a`, from the standard deviation s and the count n.

    For a single reading s itself is the uncertainty, taken as well known (from earlier work).
    """
    if count < 1:
        raise ValueError(f"a count of readings is from 1 up, not {count}")
    return Component(
        standard=standard_deviation / math.sqrt(count),
        name=name,
        dof=math.inf if count == 1 else count - 1,
        sensitivity=sensitivity,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetRow:
    """One line of a budget."""

    name: str
    distribution: Distribution
    standard: float
    sensitivity: float
    contribution: float
    dof: float
    share_pct: float
    """Share of the variance; covariances are not in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Combined:
    """A combined uncertainty."""

    standard: float
    """u_c, in the unit of the result."""
    dof: float
    """Effective degrees of freedom, unrounded."""
    coverage_factor: float
    expanded: float
    level: float
    distribution: Distribution
    """What the coverage factor was taken from."""
    components: tuple[Component, ...]
    warnings: tuple[str, ...] = ()

    def budget(self) -> tuple[BudgetRow, ...]:
        """Return the rows of the budget, the largest first."""
        total = math.fsum(each.contribution**2 for each in self.components)
        rows = (
            BudgetRow(
                name=each.name,
                distribution=each.distribution,
                standard=each.standard,
                sensitivity=each.sensitivity,
                contribution=each.contribution,
                dof=each.dof,
                share_pct=100.0 * each.contribution**2 / total if total else 0.0,
            )
            for each in self.components
        )
        return tuple(sorted(rows, key=lambda row: -row.contribution))

    def frame(self) -> pd.DataFrame:
        """Return the budget as a table."""
        import pandas as pd

        names = BudgetRow.__dataclass_fields__
        return pd.DataFrame(
            [{name: getattr(row, name) for name in names} for row in self.budget()], columns=list(names)
        )


def combine(
    components: Sequence[Component | float | tuple[float, float]],
    *,
    correlations: Mapping[tuple[int, int], float] | None = None,
    level: float = LEVEL,
    dominant: bool = True,
) -> Combined:
    """Combine components to one uncertainty.

    u_c^2 = sum c_i^2 u_i^2 + 2 sum c_i c_j u_i u_j r_ij (GUM 5.1.2, 5.2.2); effective degrees of
    freedom by Welch-Satterthwaite, nu = u_c^4 / sum (c_i u_i)^4 / nu_i (GUM G.4.1); k from Student's t
    at nu cut to a whole number, as the GUM's own examples do, unless one or two rectangles dominate.

    Parameters
    ----------
    components : sequence
        `Component`, or a bare standard uncertainty, or a pair (standard uncertainty, degrees of freedom).
    correlations : mapping, optional
        Correlation coefficient of the components at two positions, such as ``{(0, 1): 0.9}``.
    level : float
        Coverage probability; the default is that of k = 2, 95.45 %.
    dominant : bool
        Take k from the rectangle (or from the trapezoid of two) that dominates, by EA-4/02 S9 and S10:
        when the rest is at most 0.3 of it. False: always Student or normal.

    Raises
    ------
    ValueError
        When there is no component, a level or correlation is impossible, or the correlations
        contradict one another.
    """
    parts = tuple(_component(each) for each in components)
    if not parts:
        raise ValueError("a budget needs at least one component")
    if not 0.0 < level < 1.0:
        raise ValueError(f"a level is between 0 and 1, not {level}")
    warnings: list[str] = []
    variance = math.fsum(each.contribution**2 for each in parts) + _covariances(parts, correlations or {})
    if variance < 0.0:
        raise ValueError("the correlations contradict one another: the variance comes out negative")
    standard = math.sqrt(variance)
    dof = _effective_dof(parts, standard)
    if correlations and math.isfinite(dof):
        warnings.append("effective degrees of freedom are approximate: the components are correlated")
    shape: Distribution = "normal" if math.isinf(dof) else "student"
    k = coverage_factor(level, dof)
    if dominant and not correlations:
        found = _dominant_factor(parts, level)
        if found is not None:
            k, shape = found
    return Combined(
        standard=standard,
        dof=dof,
        coverage_factor=k,
        expanded=k * standard,
        level=level,
        distribution=shape,
        components=parts,
        warnings=tuple(warnings),
    )


def coverage_factor(level: float, dof: float = math.inf) -> float:
    """Return k for a two-sided level: Student's t at `dof`, or the normal distribution (GUM table G.2).

    Degrees of freedom are cut to a whole number (GUM G.4.1), after rounding to two decimals, so that
    18.999 counts as 19.
    """
    tail = 0.5 + level / 2.0
    if math.isinf(dof):
        # without scipy, so that judging a typed reading waits for nothing
        return NormalDist().inv_cdf(tail)
    from scipy.special import stdtrit

    return float(stdtrit(max(1.0, math.floor(round(dof, 2))), tail))


def trapezoid_factor(level: float, beta: float) -> float:
    """Return k for a trapezoid; beta = 1 is a rectangle (k = level sqrt(3)), 0 a triangle.

    P(|x| <= z a) = 2 z / (1 + beta) on the flat part, 1 - (1 - z)^2 / (1 - beta^2) beyond it.
    """
    flat = 2.0 * beta / (1.0 + beta)
    if level <= flat:
        reach = level * (1.0 + beta) / 2.0
    else:
        reach = 1.0 - math.sqrt((1.0 - level) * (1.0 - beta * beta))
    return reach / math.sqrt((1.0 + beta * beta) / 6.0)


def _bounded(
    half_width: float, divisor: float, name: str, sensitivity: float, distribution: Distribution
) -> Component:
    if not 0.0 <= half_width < math.inf:
        raise ValueError(f"a half-width is a finite number from 0 up, not {half_width}")
    return Component(
        standard=half_width / math.sqrt(divisor),
        name=name,
        sensitivity=sensitivity,
        distribution=distribution,
        half_width=half_width,
    )


def _component(each: Component | float | tuple[float, float]) -> Component:
    if isinstance(each, Component):
        return each
    if isinstance(each, tuple):
        return Component(standard=each[0], dof=each[1])
    return Component(standard=each)


def _covariances(parts: Sequence[Component], correlations: Mapping[tuple[int, int], float]) -> float:
    total = 0.0
    for (i, j), r in correlations.items():
        if i == j or not (0 <= i < len(parts) and 0 <= j < len(parts)):
            raise ValueError(f"there is no pair of components ({i}, {j})")
        if not -1.0 <= r <= 1.0:
            raise ValueError(f"a correlation is from -1 to 1, not {r}")
        one, two = parts[i], parts[j]
        total += 2.0 * one.sensitivity * one.standard * two.sensitivity * two.standard * r
    return total


def _effective_dof(parts: Sequence[Component], standard: float) -> float:
    # divided by u_c first, so that neither tiny nor huge units overflow in the fourth power
    if standard == 0.0:
        return math.inf
    parts_sum = math.fsum((each.contribution / standard) ** 4 / each.dof for each in parts)
    return 1.0 / parts_sum if parts_sum > 0.0 else math.inf


def _dominant_factor(parts: Sequence[Component], level: float) -> tuple[float, Distribution] | None:
    ranked = sorted(parts, key=lambda each: -each.contribution)
    for count, shape in ((1, "rectangular"), (2, "trapezoidal")):
        leading, rest = ranked[:count], ranked[count:]
        if len(leading) < count or any(each.distribution != "rectangular" for each in leading):
            return None
        size = math.hypot(*(each.contribution for each in leading))
        if size > 0.0 and math.hypot(*(each.contribution for each in rest)) <= DOMINANT_RATIO * size:
            small = leading[-1].contribution if count == 2 else 0.0
            large = leading[0].contribution
            return trapezoid_factor(level, (large - small) / (large + small)), shape  # type: ignore[return-value]
    return None
