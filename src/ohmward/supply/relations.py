"""Plain closed-form relations on a design sheet: no-load peak, current in a winding, stored charge.

What `physics` computes in full is here bounded by hand rules, each with its source, so that a sheet
can be judged as soon as it is written.
"""

from __future__ import annotations

import math

from ohmward.supply.model import Rail, RectifierKind, Secondary, Supply, Transformer

ASSUMED_REGULATION_PCT = 10.0
"""Of a transformer that says nothing of it: one of about 100 VA (common practice, no source)."""
RMS_FACTOR_LOW, RMS_FACTOR_HIGH = 1.6, 1.8
"""Winding current (RMS) over direct current, bridge with capacitor input, full load.

1.61: a core maker's rectifier guide (I_dc = 0.62 I_ac); 1.8: a toroid winder's rule."""
HALF_WAVE_FACTOR = 3.6
"""The same for a half-wave rectifier: the core maker's guide (I_dc = 0.28 I_ac)."""
SAFE_V = 5.0
"""Voltage that a reservoir is waited down to (common practice, no source)."""
HAZARDOUS_V = 60.0
"""Direct voltage above which a part is hazardous live in normal use, IEC 61010-1 6.3.1."""


def high_mains_v(supply: Supply) -> float:
    """Return the highest mains voltage that the supply must work on [V]."""
    return supply.mains.voltage_v * (1.0 + supply.mains.high_pct / 100.0)


def primary_v(supply: Supply, transformer: Transformer) -> float:
    """Return the rated primary voltage [V]; that of the mains where the sheet gives none."""
    return transformer.primary_voltage_v or supply.mains.voltage_v


def regulation_pct(supply: Supply, transformer: Transformer, secondary: Secondary) -> tuple[float, bool]:
    """Return a secondary's regulation [%, of full load] and whether it is assumed.

    As stated; else by the measured resistances, S R1 / U1² + I2 R2 / U2 (from Ohm's law, windings
    cold); else the usual one.
    """
    if transformer.regulation_pct is not None:
        return transformer.regulation_pct, False
    rating, primary = transformer.rating_va, transformer.primary_ohm
    current, resistance = secondary.current_a, secondary.resistance_ohm
    if rating is None or primary is None or current is None or resistance is None:
        return ASSUMED_REGULATION_PCT, True
    in_primary = rating * primary / primary_v(supply, transformer) ** 2
    return 100.0 * (in_primary + current * resistance / secondary.voltage_v), False


def arrangement(supply: Supply, rail: Rail) -> tuple[RectifierKind, int]:
    """Return the rectifier as the rail sees it, and how many halves of its winding are in series.

    One bridge on a centre-tapped winding makes a rail of each sign, and is to each a centre-tap
    rectifier; with no opposite rail it spans the whole winding.
    """
    tapped = [source for source in rail.sources if supply.secondary(source)[1].centre_tapped]
    if rail.rectifier is None:
        return ("centre-tap" if tapped or len(rail.sources) == 2 else "bridge"), 1
    if rail.rectifier.kind != "bridge" or not tapped:
        return rail.rectifier.kind, 1
    opposite = any(other.sign != rail.sign and set(other.sources) & set(tapped) for other in supply.rails)
    return ("centre-tap", 1) if opposite else ("bridge", 2)


def highest_peak_v(supply: Supply, rail: Rail) -> float | None:
    """Return the highest voltage that a rail's reservoir can see [V]: no load, high mains.

    √2 U₂ (1 + regulation) times mains over rated primary voltage, the diode drops left out. None
    where the rail names no secondary.
    """
    if not rail.sources:
        return None
    transformer, secondary = supply.secondary(rail.sources[0])
    regulation, _ = regulation_pct(supply, transformer, secondary)
    factor = high_mains_v(supply) / primary_v(supply, transformer)
    _, halves = arrangement(supply, rail)
    return math.sqrt(2.0) * secondary.voltage_v * halves * (1.0 + regulation / 100.0) * factor


def reverse_v(supply: Supply, rail: Rail) -> float | None:
    """Return the highest reverse voltage of a diode [V]: the peak in a bridge, else twice the peak."""
    peak = highest_peak_v(supply, rail)
    if peak is None:
        return None
    return peak if arrangement(supply, rail)[0] == "bridge" else 2.0 * peak


def winding_a(supply: Supply, source: str, factor: float) -> float:
    """Return the current (RMS) [A] in a secondary with every rail at its rated current.

    Parameters
    ----------
    supply : Supply
        The sheet.
    source : str
        The secondary, as ``T1.a``; of each half where it is centre-tapped.
    factor : float
        RMS over direct current in a bridge. In centre-tap each half conducts every other half-cycle:
        1/√2 of it; a rail of the other sign takes the half-cycles between, so their squares add.
    """
    whole, positive, negative = 0.0, 0.0, 0.0
    for rail in supply.rails:
        if source not in rail.sources:
            continue
        kind, _ = arrangement(supply, rail)
        if kind == "bridge":
            whole += factor * rail.rated_current_a
        elif kind == "half-wave":
            whole += HALF_WAVE_FACTOR * rail.rated_current_a
        elif rail.sign > 0:
            positive += factor / math.sqrt(2.0) * rail.rated_current_a
        else:
            negative += factor / math.sqrt(2.0) * rail.rated_current_a
    return whole + math.hypot(positive, negative)


def demand_va(supply: Supply, transformer: Transformer, factor: float = RMS_FACTOR_HIGH) -> float:
    """Return what the rails ask of a transformer [VA], all at rated current."""
    return sum(
        secondary.voltage_v
        * winding_a(supply, f"{transformer.name}.{secondary.name}", factor)
        * (2 if secondary.centre_tapped else 1)
        for secondary in transformer.secondaries
    )


def share_a(transformer: Transformer) -> float | None:
    """Return the current (RMS) [A] of each secondary, taken as wound alike: S / ΣU₂.

    None where the rating is not stated, where there is one secondary only, or where one states its own.
    """
    stated = any(secondary.current_a is not None for secondary in transformer.secondaries)
    if transformer.rating_va is None or stated or len(transformer.secondaries) < 2:
        return None
    volts = sum(each.voltage_v * (2 if each.centre_tapped else 1) for each in transformer.secondaries)
    return transformer.rating_va / volts


def primary_a(supply: Supply) -> float:
    """Return the mains current (RMS) [A] with every rail at its rated current; magnetising left out."""
    return sum(
        demand_va(supply, transformer) / primary_v(supply, transformer) for transformer in supply.transformers
    )


def charged_v(supply: Supply, rail: Rail) -> float:
    """Return the voltage that a discharge is reckoned from [V].

    The highest no-load peak; twice the nominal voltage where the rail names no secondary.
    """
    return highest_peak_v(supply, rail) or 2.0 * abs(rail.nominal_v)


def discharge_seconds(supply: Supply, rail: Rail, safe_v: float = SAFE_V) -> float | None:
    """Return how long a reservoir takes to fall to `safe_v` through its bleeder alone [s].

    R C ln(U/U_safe) from `charged_v`, C at the top of its tolerance. None where reservoir or bleeder
    is not known.
    """
    reservoir = rail.reservoir
    if reservoir is None or reservoir.bleeder_ohm is None:
        return None
    start = charged_v(supply, rail)
    most_f = reservoir.capacitance_f * (1.0 + reservoir.tolerance_high_pct / 100.0)
    return reservoir.bleeder_ohm * most_f * math.log(max(start / safe_v, 1.0))
