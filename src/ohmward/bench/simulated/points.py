"""Test points: where a probe may sit on the simulated unit, and what is there.

A point is written as a person would say it: ``rail +15 output``, ``rail +15 reservoir``, ``secondary T1.a``,
``mains``, ``primary``, ``earth front panel``, ``line core``, ``leads joined``, ``line earth``,
``primary output``, ``heat sink +15``, ``transformer T1``, ``room air``, ``case``, ``terminals``, ``open``.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from ohmward.bench.simulated.dead import CHARGED_V, DeadTests
from ohmward.bench.simulated.unit import SimulatedUnit
from ohmward.bench.simulated.waveform import Waves

SENSORS = ("room air", "case", "terminals")
_OPEN_POINTS = ("line switch", "neutral switch", "line neutral", "output short")
_INSULATION = {"line earth": "earth", "neutral earth": "earth", "primary output": "output"}
_PLACES = ("mains", "primary", "line core", "leads joined", "open", *_OPEN_POINTS, *_INSULATION)
_ON_RAIL = ("output", "reservoir", "case")


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One place on the unit, ready to be measured."""

    name: str
    kind: str
    """First word or words: ``rail``, ``secondary``, ``mains`` …"""
    what: str = ""
    """Rail, secondary, transformer or part."""
    where: str = ""
    """Of a rail: ``output``, ``reservoir`` or ``case``."""


class NoPoint(Exception):
    """There is no such test point."""


class Points:
    """The test points of one unit."""

    def __init__(self, unit: SimulatedUnit) -> None:
        self.unit = unit
        self.dead = DeadTests(unit)
        self._functions: dict[str, Callable[[Point], float]] = {
            "dc volts": self._dc_v,
            "ac volts": self._ac_v,
            "dc amps": self._dc_a,
            "ac amps": self._ac_a,
            "ohms": self._ohm,
            "low ohms": self._ohm,
            "insulation": lambda point: self.insulation_ohm(point, 500.0),
            "temperature": self._celsius,
            "frequency": self._hz,
            "capacitance": self._farad,
            "power": self._watt,
            "apparent power": self._va,
        }

    def find(self, text: str) -> Point:
        """Return the test point called `text`.

        Raises
        ------
        NoPoint
            When the unit has none of that name.
        """
        name = " ".join(text.split())
        first, _, rest = name.partition(" ")
        supply = self.unit.supply
        if first == "rail":
            what, _, where = rest.rpartition(" ")
            if what in {rail.name for rail in supply.rails} and where in _ON_RAIL:
                return Point(name=name, kind="rail", what=what, where=where)
        secondaries = {f"{t.name}.{s.name}" for t in supply.transformers for s in t.secondaries}
        if first == "secondary" and rest in secondaries:
            return Point(name=name, kind="secondary", what=rest)
        if first == "earth" and rest:
            return Point(name=name, kind="earth", what=rest)
        if name in _PLACES:
            return Point(name=name, kind=name)
        if self.unit.temperature_c(name) is not None:
            return Point(name=name, kind="case" if name == "case" else "sensor", what=name)
        raise NoPoint(name)

    @property
    def names(self) -> tuple[str, ...]:
        """What `find` knows on this unit."""
        supply, design = self.unit.supply, self.unit.design
        rails = [f"rail {rail.name} {where}" for rail in supply.rails for where in _ON_RAIL]
        windings = [f"secondary {t.name}.{s.name}" for t in supply.transformers for s in t.secondaries]
        parts = [f"earth {part}" for part in supply.parts or ("case",)]
        warm = [f"transformer {name}" for name in design.transformers]
        warm += [f"heat sink {rail.name}" for rail in supply.rails]
        return (*rails, *windings, *parts, *_PLACES, *SENSORS, *warm)

    def value(self, point: Point, function: str) -> float:
        """Return what an ideal meter set to `function` shows, in its unit.

        Infinite for an open circuit, NaN where the function makes no sense there.
        """
        return self._functions[function](point)

    def insulation_ohm(self, point: Point, test_v: float) -> float:
        """Return insulation at a test voltage [V]; NaN where it must not be measured."""
        if self._alive(point):
            return math.nan
        if _INSULATION.get(point.kind) == "earth":
            return self.dead.insulation_ohm(test_v)
        return self.dead.isolation_ohm() if point.kind == "primary output" else self._ohm(point)

    def waves(self, point: Point) -> tuple[Waves, str]:
        """Return the waveform at a rail, and which of it; a flat line elsewhere."""
        if point.kind == "rail" and point.where != "case":
            return self.unit.waves(point.what), point.where
        return Waves.flat(0.0, 0.0), "output"

    def _dc_v(self, point: Point) -> float:
        if point.kind != "rail" or point.where == "case":
            return 0.0
        rail = self.unit.rail(point.what)
        return rail.reservoir_v if point.where == "reservoir" else rail.output_v

    def _ac_v(self, point: Point) -> float:
        if point.kind == "mains":
            return self.unit.mains_v()
        if point.kind == "secondary":
            return self.unit.secondary_v(point.what)
        if point.kind == "case":
            return self.dead.case_v()
        if point.kind != "rail" or point.where == "case":
            return 0.0
        rail = self.unit.rail(point.what)
        regulated = self.unit.supply.rail(point.what).regulator is not None
        if point.where == "output" and regulated:
            # Near enough a sawtooth: p-p over 2√3.
            return rail.output_ripple_pp_v / math.sqrt(12)
        return rail.reservoir_ripple_rms_v

    def _dc_a(self, point: Point) -> float:
        return self.unit.rail(point.what).load_a if point.kind == "rail" else 0.0

    def _ac_a(self, point: Point) -> float:
        return self.unit.mains()[0] if point.kind == "mains" else 0.0

    def _watt(self, point: Point) -> float:
        return self.unit.mains()[1] if point.kind == "mains" else 0.0

    def _va(self, point: Point) -> float:
        return self.unit.mains()[0] * self.unit.mains_v() if point.kind == "mains" else 0.0

    def _ohm(self, point: Point) -> float:
        if self._alive(point):
            return math.nan
        dead, what = self.dead, point.what
        if point.kind == "rail":
            places = {
                "output": dead.output_ohm,
                "reservoir": dead.reservoir_ohm,
                "case": dead.output_to_case_ohm,
            }
            return places[point.where](what)
        found: dict[str, Callable[[], float]] = {
            "leads joined": lambda: 0.0,
            "earth": lambda: dead.earth_ohm(what),
            "line core": dead.line_core_ohm,
            "primary": dead.primary_ohm,
            "line earth": lambda: dead.insulation_ohm(0.0),
            "neutral earth": lambda: dead.insulation_ohm(0.0),
            "primary output": dead.isolation_ohm,
        }
        return found[point.kind]() if point.kind in found else math.inf

    def _alive(self, point: Point) -> bool:
        """Return whether an ohms range would meet a voltage."""
        if point.kind == "rail":
            return self.unit.energised or abs(self.unit.rail(point.what).reservoir_v) > CHARGED_V
        return self.unit.energised and point.kind not in {"leads joined", "open"}

    def _celsius(self, point: Point) -> float:
        found = self.unit.temperature_c(point.name)
        return math.nan if found is None else found

    def _hz(self, point: Point) -> float:
        return self.unit.supply.mains.frequency_hz if point.kind in {"mains", "secondary"} else 0.0

    def _farad(self, point: Point) -> float:
        rail = self.unit.design.rails.get(point.what)
        if self._alive(point) or rail is None or point.where != "reservoir":
            return math.nan
        return float(rail.capacitance_f[0])
