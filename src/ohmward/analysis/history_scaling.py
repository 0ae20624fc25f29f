"""Readings of different days made comparable: brought to nominal mains and to a reference temperature.

Only where the physics says how; a reading that nothing is known to scale stays as it was read, and says
so. What is uncertain about the scaling itself is added to the uncertainty of the reading.

Rails that are not regulated
    The reservoir settles at V = V_pk - V_d - s: peak of the open-circuit secondary, diode drops, and the sag
    s through source resistance and ripple. V_pk goes with the mains. At a constant load current the sag of a
    capacitor-input rectifier goes about as V_pk to the power 1/3 (from the conduction angle: the share of the
    peak that is lost goes as (I R / V_pk)^(2/3), see [1]_), so dV / d ln(mains) = V_pk - s / 3. V_pk is taken
    from the no-load reading of the same rail in the same run.
Windings
    R_20 = R (234.5 + 20) / (234.5 + t), copper [2]_.
Insulation
    R_20 = R 2^((t - 20) / 10): halves for each 10 K. Common practice; second hand in two public sources.
Temperatures in a soak
    The rise over the room is kept and the room put at the hottest the sheet allows, where its limit holds.

References
----------
.. [1] O. H. Schade, Proc. IRE 31 (1943) 341, from memory: the sag is a function of I R / V_pk alone.
.. [2] IEC 60034-1, 8.6.2.3.3 (from memory): 234.5 for copper.
"""

from __future__ import annotations

import math
from functools import lru_cache

import msgspec

from ohmward.analysis.history_facts import PastReading, PastRun
from ohmward.procedure.model import ROOM
from ohmward.supply.model import Rail, Supply

WINDING_REFERENCE_C = 20.0
INSULATION_REFERENCE_C = 20.0
COPPER_C = 234.5
WINDING_HALF_C = 2.0
"""A winding that has stood overnight is at room temperature within this [K]; common practice, no source."""
INSULATION_HALVES_K = 10.0
INSULATION_SPREAD = 0.3
"""The exponent holds within this share (halving for each 8 to 14 K); common practice, no source."""
DIODE_V = 0.9
"""Drop of one diode where the sheet does not say; see `DIODE_HALF_V`."""
DIODE_HALF_V = 0.3
MAINS_HALF = 0.05
"""Half-width of the mains where it was not read, as a share: it is mostly within 5 % of nominal."""
RIPPLE_PER_MAINS = 0.15
"""Share by which ripple at constant current grows for mains higher by all of itself: the conduction angle
narrows with (I R / V_pk)^(1/3). Taken as uncertainty, not corrected."""

_RAIL_VOLTS = frozenset({"output_v", "reservoir_v"})
_RIPPLE = frozenset({"output_ripple_pp_v", "reservoir_ripple_pp_v"})
_WINDING_STEPS = ("primary-resistance", "secondary-resistance")


class Scaled(msgspec.Struct, frozen=True, kw_only=True):
    """A reading made comparable."""

    value: float
    own: float
    """Standard uncertainty of this one alone, the scaling's included."""
    common: float | None
    """Standard uncertainty shared with other readings of the same meter; None where not stated."""
    limit_low: float | None = None
    limit_high: float | None = None
    how: str = ""
    """What was done, in words; empty where nothing was."""
    doubt: str = ""
    """What could not be done."""


@lru_cache(maxsize=64)
def design_of(sheet: str) -> Supply:
    """Return a run's own design sheet; raises InputError where it does not read."""
    from ohmward.supply import loads

    return loads(sheet, "design sheet")


def scaled(reading: PastReading, run: PastRun, supply: Supply) -> Scaled:
    """Return a reading that is a plain number at nominal mains and reference temperature.

    Raises
    ------
    ValueError
        For a bound or an overload: it has no number to scale.
    """
    if reading.kind != "exact" or reading.net is None:
        raise ValueError("only a plain number is scaled")
    rail = next((each for each in supply.rails if each.name == reading.rail), None)
    quantity = reading.quantity
    if quantity == "secondary_v":
        made = _with_mains(reading, supply, slope=reading.net, slope_half=0.0)
    elif quantity in _RAIL_VOLTS and rail is not None and not (quantity == "output_v" and rail.regulator):
        slope, half = _mains_slope(reading, run, rail)
        made = _with_mains(reading, supply, slope=slope, slope_half=half)
    elif quantity in _RIPPLE:
        made = _ripple(reading, supply, rail)
    elif reading.step.startswith(_WINDING_STEPS):
        made = _winding(reading)
    elif quantity == "insulation":
        made = _insulation(reading)
    elif quantity == "temperature_c":
        made = _temperature(reading, supply)
    else:
        made = _as_read(reading)
    return made


def insulation_at_20(value_ohm: float, at_c: float) -> float:
    """Return an insulation resistance [Ω] measured at `at_c` as it would be at 20 °C."""
    return float(value_ohm * 2.0 ** ((at_c - INSULATION_REFERENCE_C) / INSULATION_HALVES_K))


def winding_at_20(value_ohm: float, at_c: float) -> float:
    """Return the resistance of a copper winding [Ω] measured at `at_c` as it would be at 20 °C."""
    return value_ohm * (COPPER_C + WINDING_REFERENCE_C) / (COPPER_C + at_c)


def _as_read(reading: PastReading, *, doubt: str = "", extra: float = 0.0, how: str = "") -> Scaled:
    return Scaled(
        value=float(reading.net or 0.0),
        own=math.hypot(reading.own, extra),
        common=reading.common,
        limit_low=reading.limit_low,
        limit_high=reading.limit_high,
        how=how,
        doubt=doubt,
    )


def _times(reading: PastReading, factor: float, *, extra: float, how: str) -> Scaled:
    value = float(reading.net or 0.0)
    return Scaled(
        value=value * factor,
        own=math.hypot(reading.own * factor, extra),
        common=None if reading.common is None else reading.common * factor,
        limit_low=reading.limit_low,
        limit_high=reading.limit_high,
        how=how,
    )


def _with_mains(reading: PastReading, supply: Supply, *, slope: float, slope_half: float) -> Scaled:
    """Move a voltage along dV / d ln(mains) = `slope` [V] to nominal mains."""
    nominal = supply.mains.voltage_v
    if reading.mains_v is None or reading.mains_v <= 0.0:
        return _as_read(
            reading,
            doubt="mains not read: taken as nominal",
            extra=abs(slope) * MAINS_HALF / math.sqrt(3.0),
        )
    off = nominal / reading.mains_v - 1.0
    extra = math.hypot(
        off * slope_half / math.sqrt(3.0),
        slope * reading.mains_u / reading.mains_v,
    )
    moved = _as_read(reading, extra=extra, how=f"at {nominal:g} V mains")
    return msgspec.structs.replace(moved, value=moved.value + off * slope)


def _mains_slope(reading: PastReading, run: PastRun, rail: Rail) -> tuple[float, float]:
    """Return dV / d ln(mains) at the mains of the reading, with its half-width [V], signed as the rail."""
    volts = abs(reading.net or 0.0)
    kind = rail.rectifier.kind if rail.rectifier else "bridge"
    diodes = 2 if kind == "bridge" else 1
    each = rail.rectifier.forward_v if rail.rectifier else None
    drop = diodes * (DIODE_V if each is None else each)
    drop_half = diodes * DIODE_HALF_V
    peak = _peak(run, rail, reading, drop)
    sign = -1.0 if (reading.net or 0.0) < 0 else 1.0
    if peak is None:  # no no-load reading: all that is known is that it is not less than the reading
        return sign * (volts + drop), math.hypot(drop_half, 0.15 * volts)
    sag = max(peak - drop - volts, 0.0)
    return sign * (peak - sag / 3.0), math.hypot(drop_half, sag / 3.0)


def _peak(run: PastRun, rail: Rail, reading: PastReading, drop: float) -> float | None:
    """Return the open-circuit peak [V] from the no-load readings of the rail, at the mains of `reading`."""
    for quantity in ("reservoir_v", "output_v"):
        if quantity == "output_v" and rail.regulator is not None:
            continue
        for each in run.readings:
            unloaded = each.rail == rail.name and not each.load_a and each.quantity == quantity
            if unloaded and each.kind == "exact" and each.net is not None and each.elapsed_s is None:
                there = each.mains_v or reading.mains_v
                ratio = 1.0 if not there or not reading.mains_v else reading.mains_v / there
                return (abs(each.net) + drop) * ratio
    return None


def _ripple(reading: PastReading, supply: Supply, rail: Rail | None) -> Scaled:
    """Bring ripple to the load current that was asked for; with the mains it hardly changes."""
    value = abs(reading.net or 0.0)
    off = 0.0 if not reading.mains_v else supply.mains.voltage_v / reading.mains_v - 1.0
    spread = MAINS_HALF if not reading.mains_v else abs(off)
    extra = value * RIPPLE_PER_MAINS * spread / math.sqrt(3.0)
    asked = _asked_a(reading, rail)
    doubt = "" if reading.mains_v else "mains not read"
    if asked is None or not reading.load_a or asked == reading.load_a:
        return _as_read(reading, extra=extra, doubt=doubt)
    factor = asked / reading.load_a
    moved = _times(
        reading,
        factor,
        extra=math.hypot(extra, 0.2 * value * (factor - 1.0)),
        how=f"at {asked:.3g} A",
    )
    return msgspec.structs.replace(moved, doubt=doubt)


def _asked_a(reading: PastReading, rail: Rail | None) -> float | None:
    """Return the load that the point asks for [A], from its label; None where it has none."""
    point = reading.subject.rpartition(" @ ")[2]
    if rail is None or not point.endswith(" %"):
        return None
    try:
        return float(point.removesuffix(" %")) / 100.0 * rail.rated_current_a
    except ValueError:
        return None


def _winding(reading: PastReading) -> Scaled:
    value = float(reading.net or 0.0)
    if reading.ambient_c is None:
        extra = value * 7.5 / (COPPER_C + WINDING_REFERENCE_C) / math.sqrt(3.0)
        return _as_read(reading, doubt="room temperature not read: taken as 20 °C", extra=extra)
    factor = winding_at_20(1.0, reading.ambient_c)
    extra = value * factor * WINDING_HALF_C / (COPPER_C + reading.ambient_c) / math.sqrt(3.0)
    return _times(reading, factor, extra=extra, how="at 20 °C, copper")


def _insulation(reading: PastReading) -> Scaled:
    if reading.ambient_c is None:
        return _as_read(reading, doubt="room temperature not read: not corrected to 20 °C")
    factor = insulation_at_20(1.0, reading.ambient_c)
    away = math.log(2.0) * abs(reading.ambient_c - INSULATION_REFERENCE_C) / INSULATION_HALVES_K
    extra = abs(reading.net or 0.0) * factor * away * INSULATION_SPREAD / math.sqrt(3.0)
    return _times(reading, factor, extra=extra, how="at 20 °C, ÷2 per 10 K (common practice)")


def _temperature(reading: PastReading, supply: Supply) -> Scaled:
    room = reading.room_c if reading.room_c is not None else reading.ambient_c
    if reading.subject.startswith(ROOM):
        return _as_read(reading)
    if room is None:
        return _as_read(reading, doubt="room temperature not read", extra=3.0)
    moved = _as_read(reading, how=f"in a room at {supply.ambient_max_c:g} °C")
    return msgspec.structs.replace(moved, value=moved.value - room + supply.ambient_max_c)
