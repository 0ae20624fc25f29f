"""Readings of CR-11 over the years without journals: physics once over a grid, meters and days by seed.

What is put in: the capacitance at each date, the meters' errors (fixed for each instrument, a part anew each
year, all within what their accuracy figure allows), mains, room, and how well a probe goes back to its place.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import msgspec
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from ohmward.analysis.history_facts import PastReading, PastRun
from ohmward.physics.condition import Condition, RailCondition, Unit
from ohmward.physics.simulation import simulate
from ohmward.supply import loads as load_sheet
from ohmward.supply.model import Supply
from support.aged import RAIL, TAG, sheet_text

LEFT = np.array([1.02, 0.95, 0.85, 0.75, 0.65, 0.5])
MAINS = np.array([214.0, 225.0, 236.0, 247.0])
ESR_OHM = np.array([0.002, 0.010, 0.020, 0.030])
"""What stands in series with the capacitor of one unit and another; the sheet says 12 mΩ."""
Array = NDArray[np.float64]
SCOPE, VOLTS, MAINS_METER = 0.03, 0.005, 0.005
"""Accuracy of reading, as half-widths."""


@lru_cache(maxsize=1)
def sheet() -> Supply:
    return load_sheet(sheet_text(), TAG)


@lru_cache(maxsize=1)
def grid() -> dict[str, RegularGridInterpolator]:
    """Ripple and output at 6 A, and the output without load, over capacitance left, mains and ESR."""
    shape = (len(LEFT), len(MAINS), len(ESR_OHM))
    found = {name: np.zeros(shape) for name in ("ripple", "output", "no-load")}
    for k, esr in enumerate(ESR_OHM):
        supply = with_esr(float(esr))
        for i, left in enumerate(LEFT):
            condition = Condition(rails={RAIL: RailCondition(capacitance_factor=float(left))})
            for j, mains in enumerate(MAINS):
                unit = Unit(sheet=supply, condition=condition)
                loaded = simulate(unit, loads={RAIL: 6.0}, mains_v=float(mains)).state.rails[RAIL]
                found["ripple"][i, j, k] = float(np.atleast_1d(loaded.output_ripple_pp_v)[0])
                found["output"][i, j, k] = float(np.atleast_1d(loaded.output_v)[0])
    for j, mains in enumerate(MAINS):
        light = simulate(Unit(sheet=sheet()), loads={RAIL: 0.0}, mains_v=float(mains)).state.rails[RAIL]
        found["no-load"][:, j, :] = float(np.atleast_1d(light.output_v)[0])
    axes = (LEFT, MAINS, ESR_OHM)
    return {name: RegularGridInterpolator(axes, each, method="cubic") for name, each in found.items()}


def with_esr(esr_ohm: float) -> Supply:
    (rail,) = sheet().rails
    assert rail.reservoir is not None
    reservoir = msgspec.structs.replace(rail.reservoir, esr_ohm=esr_ohm)
    return msgspec.structs.replace(sheet(), rails=(msgspec.structs.replace(rail, reservoir=reservoir),))


@dataclass(frozen=True)
class World:
    """How the years are drawn."""

    loss_per_year: float = 0.03
    years: int = 7
    fixed: float = 0.5
    """Share of a meter's error variance that stays with it; the rest is anew each year."""
    repeat: float = 0.005
    """Standard deviation of putting the probe back, as a share of the ripple."""
    scopes: int = 2
    """How many oscilloscopes the years have seen."""
    esr_drawn: bool = True
    """What is in series with the capacitor is another in each unit; else as the sheet says."""
    other: bool = False
    """Other readings that age in no way: earth, insulation, winding, case."""


def years(world: World, seed: int) -> list[PastRun]:
    """Return the runs of one seed."""
    rng = np.random.default_rng(seed)
    changes = np.sort(rng.choice(np.arange(1, world.years + 1), size=world.scopes - 1, replace=False))
    fixed = rng.uniform(-1, 1, size=world.scopes)
    volts_fixed, mains_fixed = rng.uniform(-1, 1, size=2)
    esr = float(rng.uniform(ESR_OHM[0], ESR_OHM[-1])) if world.esr_drawn else 0.012
    runs = []
    for year in range(world.years + 1):
        scope = int(np.searchsorted(changes, year, side="right"))
        anew = rng.uniform(-1, 1, size=3)
        left = 1.0 - world.loss_per_year * year
        mains = float(np.clip(rng.normal(231.0, 4.0), 220.0, 242.0))
        room = float(rng.uniform(17.0, 28.0))

        def off(half: float, kept: float, new: float) -> float:
            return 1.0 + half * float(np.sqrt(world.fixed) * kept + np.sqrt(1 - world.fixed) * new)

        point = (left, mains, esr)
        ripple = grid()["ripple"](point).item() * off(SCOPE, fixed[scope], anew[0])
        ripple *= 1.0 + world.repeat * rng.normal()
        volts = off(VOLTS, volts_fixed, anew[1])
        mains_read = mains * off(MAINS_METER, mains_fixed, anew[2])
        common = {
            "mains_v": mains_read,
            "mains_u": mains * MAINS_METER / np.sqrt(3.0),
            "ambient_c": room,
            "rail": RAIL,
        }
        readings = [
            reading(
                "output-no-load", RAIL, "output_v", grid()["no-load"](point).item() * volts, VOLTS, **common,
            ),
            reading(
                "load-points.output", f"{RAIL} @ 100 %", "output_v", grid()["output"](point).item() * volts,
                VOLTS, limits=(20.4, 31.7), load_a=6.0, **common,
            ),
            reading(
                "ripple.output", f"{RAIL} @ 100 %", "output_ripple_pp_v", ripple, SCOPE, limits=(None, 3.0),
                load_a=6.0, meter="scope", serial=f"S-{scope}", **common,
            ),
        ]  # fmt: skip
        readings += list(others(rng, room, common)) if world.other else []
        runs.append(
            PastRun(
                run=f"{TAG}/{2019 + year}-03-0{1 + year % 7}-01-{'retest' if year else 'commissioning'}",
                tag=TAG,
                at=f"{2019 + year}-03-0{1 + year % 7}T10:00:00+01:00",
                procedure="retest" if year else "commissioning",
                closed=True,
                verdict="pass",
                sheet=sheet_text(),
                readings=tuple(readings),
            )
        )
    return runs


def others(rng: np.random.Generator, room: float, common: dict[str, object]) -> list[PastReading]:
    """Return readings of a supply that stays as it is, with the scatter that such readings have."""
    winding = 6.47 * (234.5 + room + rng.normal(0.0, 0.7)) / 254.5
    insulation = 150e6 * 2.0 ** (-(room - 20.0) / 10.0) * np.exp(rng.normal(0.0, 0.15))
    made = [
        reading(
            "earth", part, "resistance", 0.07 + rng.normal(0.0, 0.004), 0.02, limits=(None, 0.2), unit="Ω",
            meter="low-ohm", ambient_c=room,
        )
        for part in ("case", "lid", "rear panel")
    ]  # fmt: skip
    made.append(
        reading(
            "primary-resistance",
            "",
            "resistance",
            winding,
            0.005,
            limits=(5.2, 7.8),
            unit="Ω",
            ambient_c=room,
        )
    )
    made.append(
        reading(
            "insulation", "", "insulation", insulation, 0.03, limits=(1e6, None), unit="Ω",
            meter="insulation", ambient_c=room,
        )
    )  # fmt: skip
    for sensor, rise in (("transformer", 30.0), ("case", 16.0)):
        made.append(
            reading(
                "soak", f"{sensor} @ 30 min", "temperature_c", room + rise + rng.normal(0.0, 0.8), 0.005,
                limits=(None, 90.0), unit="°C", meter="thermometer", ambient_c=room, room_c=room,
                elapsed_s=1800.0,
            )
        )  # fmt: skip
    return made


def reading(
    step: str,
    subject: str,
    quantity: str,
    value: float,
    half: float,
    *,
    unit: str = "V",
    limits: tuple[float | None, float | None] = (None, None),
    meter: str = "multimeter",
    **fields: object,
) -> PastReading:
    """Return a reading of so many volts (or so) with an accuracy of `half` of reading."""
    digit = abs(value) * 5e-4
    plain = PastReading(
        step=step,
        subject=subject,
        title=step,
        quantity=quantity,
        unit=unit,
        net=float(value),
        own=digit / np.sqrt(3.0),
        common=float(abs(value) * half / np.sqrt(3.0)),
        limit_low=limits[0],
        limit_high=limits[1],
        verdict="pass",
        meter=meter,
    )
    return msgspec.structs.replace(plain, **fields)
