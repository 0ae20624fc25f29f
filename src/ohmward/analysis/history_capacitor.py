"""What ripple over the years tells of a reservoir, and how long one lives by the 10 K rule.

Between two charging pulses the load draws the reservoir down by the ripple r:

    C = I t_d / r,    t_d = T_c - arccos(1 - r / V_pk) / ω

with T_c the time from one crest to the next, ω = 2 π f of the mains and V_pk the crest of the reservoir. The
second term is the part of the cycle in which the diodes conduct (any text on capacitor-input rectifiers);
without it a loss of 30 % looks like 28 %. Only the ratio to a baseline at equal load is used, where what this
leaves out mostly cancels: against ngspice, with 2 to 20 mΩ in series with 22 mF at 6 A, the loss comes out
within 10 % of itself (`history_change.MODEL_SHARE`), with 30 mΩ within 15 %. A series resistance that has
grown adds to the ripple and counts here as lost capacitance: both mean that the capacitor is drying out.
"""

from __future__ import annotations

import math

import msgspec

from ohmward.analysis.history_facts import PastReading, PastRun, Taken
from ohmward.analysis.history_scaling import Scaled, scaled
from ohmward.physics.ageing import life
from ohmward.supply.model import Rail, Supply


class ReservoirLife(msgspec.Struct, frozen=True, kw_only=True):
    """Life of one rail's reservoir by the 10 K rule."""

    rail: str
    temperature_c: float
    """At the capacitor, in the hottest room of the sheet."""
    where: str
    """What was measured, in words."""
    rated_c: float
    rated_h: float
    hours: float
    """Running hours from new."""
    run: str
    notes: tuple[str, ...] = ()


def capacitance_index(
    ripple_v: float, crest_v: float, load_a: float, *, frequency_hz: float, pulses: int
) -> float:
    """Return the capacitance [F] that a ripple tells of; see the module. Use ratios of it.

    Parameters
    ----------
    ripple_v : float
        Peak to peak [V].
    crest_v : float
        Crest of the reservoir [V].
    load_a : float
        Load current [A].
    frequency_hz : float
        Of the mains.
    pulses : int
        Charging pulses a cycle: 2 behind a bridge or centre-tap, 1 behind one diode.

    Raises
    ------
    ValueError
        When the ripple is not between 0 and the crest.
    """
    if not 0.0 < ripple_v < crest_v:
        raise ValueError(f"a ripple of {ripple_v} V on a crest of {crest_v} V")
    omega = 2.0 * math.pi * frequency_hz
    between = 1.0 / (pulses * frequency_hz) - math.acos(1.0 - ripple_v / crest_v) / omega
    return load_a * between / ripple_v


def tells_capacitance(reading: PastReading, supply: Supply) -> Rail | None:
    """Return the rail whose reservoir a reading tells of, None where it does not."""
    rail = next((each for each in supply.rails if each.name == reading.rail), None)
    if rail is None or reading.kind != "exact" or not reading.net or not reading.load_a:
        return None
    at_reservoir = reading.quantity == "reservoir_ripple_pp_v"
    at_output = reading.quantity == "output_ripple_pp_v" and rail.regulator is None
    return rail if at_reservoir or at_output else None


def left(taken: Taken, base: Taken, *, ripple_limit: float | None = None) -> Scaled | None:
    """Return the capacitance left in per cent of that at the baseline reading; None where it cannot be told.

    `ripple_limit` [V] becomes the capacitance at which the ripple would reach it.
    """
    now, then = _index(taken), _index(base)
    if now is None or then is None:
        return None
    value = 100.0 * now[0] / then[0]
    plain = scaled(*taken)
    relative = now[1] / abs(plain.value)
    floor = None if ripple_limit is None else _index(base, ripple_v=ripple_limit)
    return Scaled(
        value=value,
        own=value * relative * plain.own,
        common=None if plain.common is None else value * relative * plain.common,
        limit_low=None if floor is None else 100.0 * floor[0] / then[0],
        how="by ripple at equal load",
        doubt=plain.doubt,
    )


def _index(taken: Taken, *, ripple_v: float | None = None) -> tuple[float, float] | None:
    """Return the index and how many per cent it falls for a per cent more ripple."""
    reading, run, supply = taken
    rail = tells_capacitance(reading, supply)
    if rail is None or reading.net is None or not reading.load_a:
        return None
    ripple = abs(reading.net) if ripple_v is None else ripple_v
    crest = _mean_v(reading, run, rail) + ripple / 2.0
    pulses = 1 if rail.rectifier is not None and rail.rectifier.kind == "half-wave" else 2
    try:
        value, more = (
            capacitance_index(
                part, crest, reading.load_a, frequency_hz=supply.mains.frequency_hz, pulses=pulses
            )
            for part in (ripple, 1.001 * ripple)
        )
    except ValueError:
        return None
    return (value, -math.log(more / value) / math.log(1.001)) if value > 0.0 and more > 0.0 else None


def _mean_v(reading: PastReading, run: PastRun, rail: Rail) -> float:
    """Return the mean of the reservoir at the same load [V]: as read there, else near the nominal voltage."""
    wanted = ("reservoir_v",) if rail.regulator is not None else ("reservoir_v", "output_v")
    for each in run.readings:
        here = each.rail == rail.name and each.quantity in wanted and each.kind == "exact" and bool(each.net)
        if here and each.load_a and abs(each.load_a - (reading.load_a or 0.0)) <= 0.05 * each.load_a:
            return abs(each.net or 0.0)
    return abs(rail.nominal_v) + (5.0 if rail.regulator is not None else 0.0)


def reservoir_life(
    run: PastRun, supply: Supply, rail: Rail, *, rated_h: float, ambient_c: float | None = None
) -> ReservoirLife | None:
    """Return the life of a rail's reservoir by the temperatures of a run's soak; None where they do not tell.

    No sensor sits on the capacitor: the hottest of case and transformer skin at the end of the soak is taken
    for it, as rise over the room, which errs on the short side.
    """
    rated_c = rail.reservoir.temperature_max_c if rail.reservoir else None
    if rated_c is None:
        return None
    rises = [
        (reading.net - room, reading)
        for reading in run.readings
        if reading.quantity == "temperature_c"
        and reading.kind == "exact"
        and reading.net is not None
        and reading.elapsed_s
        and reading.subject.startswith(("case", "transformer"))
        and (room := reading.room_c if reading.room_c is not None else reading.ambient_c) is not None
    ]
    if not rises:
        return None
    end = max(reading.elapsed_s or 0.0 for _, reading in rises)
    rise, hottest = max(((k, r) for k, r in rises if r.elapsed_s == end), key=lambda pair: pair[0])
    at = (supply.ambient_max_c if ambient_c is None else ambient_c) + rise
    told = life(rated_h, rated_c, at)
    return ReservoirLife(
        rail=rail.name,
        temperature_c=at,
        where=f"{hottest.subject}, taken for the capacitor",
        rated_c=rated_c,
        rated_h=rated_h,
        hours=told.hours,
        run=run.run,
        notes=told.notes,
    )
