"""Plain data for plots: a rail against its load, with bands, and one cycle of the mains."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import msgspec
import numpy as np
import numpy.typing as npt

from ohmward.errors import InputError, Mistake
from ohmward.physics.condition import Unit, as_unit
from ohmward.physics.design import build
from ohmward.physics.expectation import Band, LoadedPoint
from ohmward.physics.network import Scenario, pairs
from ohmward.physics.problems import possible
from ohmward.physics.rails import cycle
from ohmward.physics.readings import LOAD_POINT_S, loaded_values
from ohmward.physics.regulator import passed
from ohmward.physics.simulation import simulate
from ohmward.physics.solve import settle
from ohmward.supply.model import Supply

Array = npt.NDArray[np.float64]

FRACTIONS = tuple(np.linspace(0.0, 1.1, 23).tolist())
"""Of the rated current, to a little beyond it."""


class LoadCurve(msgspec.Struct, frozen=True, kw_only=True):
    """A rail's readings at growing load, the other rails unloaded; `values` as of a loaded point."""

    rail: str
    rated_a: float
    mains_v: float
    points: tuple[LoadedPoint, ...]

    def series(self, key: str) -> tuple[tuple[float, Band], ...]:
        """Return load [A] and band of one reading wherever it is known."""
        return tuple((point.load_a, point.values[key]) for point in self.points if key in point.values)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """One cycle of the mains from a rising zero crossing; voltages carry the rail's sign."""

    rail: str
    time_s: Array
    reservoir_v: Array
    diode_a: Array
    """Rectified current into reservoir and load [A]."""
    output_v: Array
    """At the terminals [V]."""


def load_curve(
    supply: Supply | Unit,
    rail: str,
    *,
    mains_v: float | None = None,
    ambient_c: float = 25.0,
    fractions: Sequence[float] = FRACTIONS,
    draws: int = 400,
    seed: int = 0,
) -> LoadCurve:
    """Return how a rail's voltages and ripple go with its load, with 95 % bands.

    Parameters
    ----------
    rail : str
        Name of a rail that can be modelled.
    mains_v : float, optional
        Mains [V], taken with ±1 %; None takes the sheet's voltage, and its whole band.
    fractions : sequence of float
        Loads as fractions of the rated current.

    Raises
    ------
    InputError
        When the sheet has no such rail, or only its nameplate is known.
    """
    unit = as_unit(supply)
    sheet, wrong = possible(unit.sheet)
    unit = msgspec.structs.replace(unit, sheet=sheet)
    mains = sheet.mains.voltage_v if mains_v is None else mains_v
    rng = np.random.default_rng(seed)
    design = build(unit, rng=rng, draws=draws, mains_known=mains_v is not None)
    if rail not in design.rails:
        known = ", ".join(design.rails) or "none"
        why = "; ".join([f"'{rail}' cannot be modelled", *wrong])
        raise InputError([Mistake(where="", field="rail", value=rail, why=why, mend=f"One of: {known}")])
    made = design.rails[rail]
    scenarios = [
        Scenario(
            mains_v=mains, ambient_c=ambient_c, loads={rail: share * made.rated_a}, wanted=frozenset({rail})
        )
        for share in fractions
    ]
    nominal = build(unit, rng=rng, draws=0)
    states = settle(nominal, design, scenarios, [LOAD_POINT_S] * len(scenarios))
    return LoadCurve(
        rail=rail,
        rated_a=made.rated_a,
        mains_v=mains,
        points=tuple(
            LoadedPoint(load_a=state.scenario.loads[rail], values=loaded_values(made, state))
            for state in states
        ),
    )


def one_cycle(
    supply: Supply | Unit,
    rail: str,
    *,
    loads: Mapping[str, float],
    mains_v: float | None = None,
    ambient_c: float = 25.0,
    temperatures: Mapping[str, float] | None = None,
    samples: int = 400,
) -> Cycle:
    """Return one cycle of a rail of the nominal unit, as an oscilloscope would show it.

    Parameters
    ----------
    loads, mains_v, ambient_c, temperatures
        As in `simulate`; warm from a soak under these loads where no temperatures are given.
    samples : int
        Equally spaced over the cycle.

    Raises
    ------
    InputError
        As `simulate`, and when `rail` cannot be modelled.
    """
    run = simulate(
        supply,
        loads={rail: 0.0} | dict(loads),
        mains_v=mains_v,
        ambient_c=ambient_c,
        temperatures=temperatures,
    )
    pair = next(
        pair for pair in pairs(run.design, run.state.scenario, run.state.at) if pair.rail.name == rail
    )
    time, raw, current = cycle(run.design, pair, samples)
    made = pair.rail
    load, output = float(pair.load_a[0]), raw
    regulator = made.regulator
    if regulator is not None and regulator.state != "shorted":
        output = passed(
            raw,
            set_point_v=float(regulator.set_point_v[0]),
            load_a=load,
            output_ohm=float(regulator.output_ohm[0]),
            dropout_v=float(regulator.dropout_v[0]),
            rejection_db=float(regulator.rejection_db[0]),
        )
    output = np.maximum(output - load * float(made.wiring_ohm[0]), 0.0)
    return Cycle(
        rail=rail, time_s=time, reservoir_v=made.sign * raw, diode_a=current, output_v=made.sign * output
    )
