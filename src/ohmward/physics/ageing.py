"""How long an electrolytic capacitor lasts, and what counts as the end of its life.

No single definition of the end exists: the published limits differ twofold in capacitance and more in
ESR, and they refer to the specified maximum of the ESR, not to its value when new. So the limit is a
choice by name, which a result records beside its number.

References
----------
.. [1] 10 K rule: life doubles for each 10 K below the rated temperature (public explanations; an
   electronics mailing-list note).
.. [2] A maker's technical notes on aluminium electrolytics, section 5-1: the rule agrees with the
   Arrhenius law from 70 to 90 °C, departs from it below 60 and above 105 °C, and is not meant for types
   rated at 125 °C.
.. [3] IEC 60384-4 4.13 and 4.17, CECC 30301 1.8.1, as used in one maker's data sheet of snap-in types,
   and the practices as another maker summarises them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

BOLTZMANN_EV = 8.617333262e-5
"""Boltzmann constant [eV/K], CODATA 2018."""
KELVIN = 273.15
HALVES_K = 10.0
HOLDS_FROM_C, HOLDS_TO_C = 60.0, 105.0
HOURS_A_YEAR = 8760.0
TOO_HOT_A_TYPE_C = 125.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """An expected life, with what must be said of it."""

    hours: float
    notes: tuple[str, ...] = ()

    @property
    def years(self) -> float:
        """Of running day and night."""
        return self.hours / HOURS_A_YEAR


def life(rated_h: float, rated_c: float, at_c: float) -> Life:
    """Return the life of an electrolytic capacitor by the 10 K rule [1]_.

    L = L0 2^((T0 - T) / 10 K)

    Parameters
    ----------
    rated_h, rated_c : float
        Life stated by its maker [h], at the temperature [°C] that goes with it.
    at_c : float
        Temperature of the capacitor in service [°C].

    Raises
    ------
    ValueError
        When the rated life is not above zero or a number is not finite.
    """
    if not (math.isfinite(rated_h) and rated_h > 0.0):
        raise ValueError(f"a rated life is a number of hours above zero, not {rated_h}")
    if not (math.isfinite(rated_c) and math.isfinite(at_c)):
        raise ValueError("a temperature is a finite number")
    notes = []
    if at_c < HOLDS_FROM_C:
        notes.append(
            f"below {HOLDS_FROM_C:g} °C the 10 K rule is not exact: read it as long, not as so many hours"
        )
    if at_c > HOLDS_TO_C:
        notes.append(f"above {HOLDS_TO_C:g} °C the 10 K rule does not hold")
    if at_c > rated_c:
        notes.append("hotter than it is rated for")
    if rated_c >= TOO_HOT_A_TYPE_C:
        notes.append(f"the 10 K rule is not meant for types rated at {TOO_HOT_A_TYPE_C:g} °C")
    return Life(hours=rated_h * 2.0 ** ((rated_c - at_c) / HALVES_K), notes=tuple(notes))


def activation_ev(cool_c: float, warm_c: float, factor: float = 2.0) -> float:
    """Return the activation energy [eV] by which ageing is `factor` times as fast at `warm_c` as at `cool_c`.

    Arrhenius: rate proportional to exp(-E / (k T)), so E = k ln(factor) / (1/T_cool - 1/T_warm).
    """
    return BOLTZMANN_EV * math.log(factor) / (1.0 / (cool_c + KELVIN) - 1.0 / (warm_c + KELVIN))


def arrhenius_factor(cool_c: float, warm_c: float, energy_ev: float) -> float:
    """Return how many times as fast ageing is at `warm_c` as at `cool_c` [°C], by the Arrhenius law."""
    return math.exp(energy_ev / BOLTZMANN_EV * (1.0 / (cool_c + KELVIN) - 1.0 / (warm_c + KELVIN)))


@dataclass(frozen=True, slots=True, kw_only=True)
class EndOfLife:
    """One published limit of ageing."""

    name: str
    basis: str
    capacitance_loss: float
    """Share of the capacitance lost."""
    esr_factor: float
    """Times the specified maximum of the ESR (of the loss factor where `by_tangent`)."""
    by_tangent: bool = False
    leakage_factor: float | None = None
    """Times the specified maximum of the leakage current; None where the source does not say."""

    def reached(self, capacitance_share: float | None, esr_share: float | None = None) -> bool | None:
        """Return whether a capacitor is at its end.

        Parameters
        ----------
        capacitance_share : float, optional
            Capacitance as a share of what it is judged against: rated, or that at a baseline.
        esr_share : float, optional
            ESR as a share of its specified maximum.

        Returns
        -------
        bool or None
            None where neither is known, or the one that is known holds and the other is not known.
        """
        lost = None if capacitance_share is None else capacitance_share < 1.0 - self.capacitance_loss
        lossy = None if esr_share is None else esr_share > self.esr_factor
        if lost or lossy:
            return True
        return None if lost is None or lossy is None else False

    def __str__(self) -> str:
        what = "loss factor" if self.by_tangent else "ESR"
        return (
            f"{100 * self.capacitance_loss:g} % of the capacitance lost, or {self.esr_factor:g} times the "
            f"specified {what} ({self.name}; {self.basis})"
        )


_SHEET = "one maker's data sheet of snap-in types"
_SUMMARY = "practice as a maker summarises it"
END_OF_LIFE = {
    each.name: each
    for each in (
        EndOfLife(
            name="endurance", basis=f"IEC 60384-4 4.13, {_SHEET}", capacitance_loss=0.15, esr_factor=1.3,
            leakage_factor=1.0,
        ),
        EndOfLife(
            name="useful life", basis=f"CECC 30301 1.8.1, {_SHEET}", capacitance_loss=0.20, esr_factor=3.0,
            leakage_factor=1.0,
        ),
        EndOfLife(
            name="shelf life", basis=f"IEC 60384-4 4.17, {_SHEET}", capacitance_loss=0.15, esr_factor=1.5,
            leakage_factor=2.0,
        ),
        EndOfLife(
            name="useful life, European practice", basis=_SUMMARY, capacitance_loss=0.30, esr_factor=3.0,
            by_tangent=True,
        ),
        EndOfLife(
            name="load life, Asian practice", basis=_SUMMARY, capacitance_loss=0.20, esr_factor=2.0,
            by_tangent=True,
        ),
        EndOfLife(
            name="endurance, practice", basis=_SUMMARY, capacitance_loss=0.10, esr_factor=1.3,
            by_tangent=True,
        ),
    )
}  # fmt: skip
"""By name. The limits of capacitance are for a change either way in the tests; ageing in service loses it."""
DEFAULT_END = "useful life"


def end_of_life(name: str = DEFAULT_END) -> EndOfLife:
    """Return a limit of ageing by its name.

    Raises
    ------
    ValueError
        For a name that is not in `END_OF_LIFE`.
    """
    if name not in END_OF_LIFE:
        raise ValueError(f"there is no end of life {name!r}: use one of {', '.join(END_OF_LIFE)}")
    return END_OF_LIFE[name]
