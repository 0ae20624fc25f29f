"""What an ohmmeter or an insulation tester finds on the simulated unit.

All of it is drawn once a unit from the ordinary (sizes made up for the simulation, no source); faults of
`physics.condition` act on it.
"""

from __future__ import annotations

import math
import random

from ohmward.bench.simulated.unit import SimulatedUnit
from ohmward.physics.heat import copper
from ohmward.supply import cord_resistance

OPEN = math.inf
DEFAULT_CORD = (2.0, 0.75)
"""Length [m] and area [mm²] of a cord that the sheet says nothing of."""
SUPPRESSOR_V = 300.0
"""A surge suppressor conducts from here on: an ohmmeter's few volts pass it by."""
CHARGED_V = 0.5
"""An ohms range says nothing of a part that holds more [V]."""
WASHER_OHM = 0.3


class DeadTests:
    """Resistances of one unit [Ω]; `OPEN` where there is none."""

    def __init__(self, unit: SimulatedUnit) -> None:
        self.unit = unit
        draw = random.Random(f"dead tests {unit.seed}")
        self.lead_ohm = draw.uniform(0.15, 0.3)
        self._insulation_ohm = 10 ** draw.uniform(8.9, 9.7)
        self._isolation_ohm = 10 ** draw.uniform(9.0, 9.8)
        self._joint_ohm = draw.uniform(0.001, 0.004)

    def earth_ohm(self, part: str) -> float:
        """Return earth pin to a metal part."""
        joint = random.Random(f"joint {self.unit.seed} {part}").uniform(0.003, 0.02)
        return self.cord_ohm() + joint + self.unit.design.condition.earth_extra_ohm

    def cord_ohm(self) -> float:
        """Return one core of the cord."""
        cord = self.unit.supply.mains.cord
        length, area = (cord.size if cord is not None else None) or DEFAULT_CORD
        return cord_resistance(length, area, 20.0)

    def line_core_ohm(self) -> float:
        """Return line pin to the deep contact of the fuse-holder; open where the cores are transposed."""
        return OPEN if self._has("line-neutral-transposed") else self.cord_ohm() + self._joint_ohm

    def primary_ohm(self) -> float:
        """Return the primaries of all transformers in parallel at the plug, as warm as they are."""
        if self.unit.fuse_blown:
            return OPEN
        siemens = 0.0
        for name, each in self.unit.design.transformers.items():
            siemens += 1 / float(copper(float(each.primary_ohm[0]), self.unit.copper_c(name)))
        return OPEN if siemens == 0 else 1 / siemens + 2 * self.cord_ohm()

    def insulation_ohm(self, test_v: float) -> float:
        """Return mains to earth at a test voltage [V]."""
        added = self.unit.design.condition.insulation_ohm
        if added is None or (self._has("suppressor-conducting") and test_v < SUPPRESSOR_V):
            return self._insulation_ohm
        return _parallel(self._insulation_ohm, added)

    def isolation_ohm(self) -> float:
        """Return primary to secondary."""
        added = self.unit.design.condition.isolation_ohm
        return self._isolation_ohm if added is None else _parallel(self._isolation_ohm, added)

    def reservoir_ohm(self, rail: str) -> float:
        """Return what a reservoir's leads rest at: its bleeder, and leakage where there is some."""
        design = self.unit.design.rails.get(rail)
        return OPEN if design is None else _parallel(float(design.bleeder_ohm[0]), design.leak_ohm)

    def output_ohm(self, rail: str) -> float:
        """Return what the output terminals rest at: a regulator's divider, or the reservoir's bleeder."""
        if self.unit.supply.rail(rail).regulator is None:
            return self.reservoir_ohm(rail)
        return random.Random(f"divider {self.unit.seed} {rail}").uniform(1.5e3, 6e3)

    def output_to_case_ohm(self, rail: str) -> float:
        """Return output to case: it floats, unless a washer is punctured."""
        regulated = [r.name for r in self.unit.supply.rails if r.regulator is not None]
        for name, subject in self.unit.faults:
            if name == "washer-punctured" and rail == (subject or next(iter(regulated), "")):
                return WASHER_OHM
        return OPEN

    def case_v(self) -> float:
        """Return the case against a true earth [V AC]; half the mains, by leakage, if unearthed."""
        if not self.unit.energised:
            return 0.0
        unearthed = math.isinf(self.unit.design.condition.earth_extra_ohm)
        return 0.45 * self.unit.mains_v() if unearthed else 0.15

    def _has(self, fault: str) -> bool:
        return any(name == fault for name, _ in self.unit.faults)


def _parallel(first: float, second: float) -> float:
    siemens = 1 / first + 1 / second
    return OPEN if siemens == 0 else 1 / siemens
