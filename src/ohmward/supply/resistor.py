"""The resistor that draws a current from a rail: what somebody without an electronic load has to find."""

from __future__ import annotations

from dataclasses import dataclass

from ohmward.quantity import show
from ohmward.supply.model import Rail

RATING = "resistors rated for twice the watts or more, in free air (common practice, no source)"


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadResistor:
    """A load as a resistor."""

    ohm: float
    power_w: float
    """What it turns to heat [W]; its own rating is twice that, or more (`RATING`)."""

    @property
    def words(self) -> str:
        """Both, such as ``12.5 Ω, 18 W``."""
        return f"{show(self.ohm, 'Ω')}, {show(self.power_w, 'W')}"


def load_resistor(rail: Rail, current_a: float) -> LoadResistor | None:
    """Return what draws a current from a rail at its voltage: R = V / I, P = V I; None for no current.

    The voltage is the regulator's set point, else the nominal one: an unregulated rail stands higher at
    part load and draws that much more, so that the ammeter decides.

    Parameters
    ----------
    rail : Rail
    current_a : float
        Magnitude [A], zero or more.
    """
    if not current_a > 0.0:
        return None
    volts = abs(rail.nominal_v if rail.set_point_v is None else rail.set_point_v)
    return LoadResistor(ohm=volts / current_a, power_w=volts * current_a)
