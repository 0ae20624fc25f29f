"""Margins of each rail in words, at low, nominal and high mains: what a table does not call out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ohmward.physics.design import Array, Design, RailDesign
from ohmward.physics.expectation import Extremes, RailExtremes
from ohmward.physics.network import Scenario
from ohmward.physics.solve import State, settle
from ohmward.supply.model import Rail, Supply
from ohmward.supply.relations import high_mains_v, highest_peak_v, reverse_v

WARM_BRIDGE_W = 2.0
"""A bridge that must lose more than this wants metal to lean on: about 1 A (common practice, no source)."""
CLASS_LIMIT_C = {"A": 100.0, "E": 115.0, "B": 120.0, "F": 140.0, "H": 165.0}
"""Highest winding temperature by insulation class [°C], IEC 61558-1 table 1 (from memory)."""
UNMARKED_CLASS = "A"
"""Taken for a transformer that does not say: the lowest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Corners:
    """The nominal design at the mains voltages and rooms that it must work in, all rails at rated current."""

    low: State
    usual: State
    high: State
    hot: State
    """High mains in the hottest room."""
    room_c: float


def margins(sheet: Supply, nominal: Design, ambient_c: float) -> tuple[dict[str, tuple[str, ...]], Extremes]:
    """Return the margins of every rail that is modelled, by name, in words; and the figures at the extremes.

    Parameters
    ----------
    sheet : Supply
        For the ratings of its parts.
    nominal : Design
        One row.
    ambient_c : float
        Room [°C]; the hottest room is the sheet's.
    """
    facts = nominal.facts
    names = frozenset(nominal.rails)
    rated = {name: rail.rated_a for name, rail in nominal.rails.items()}

    def scenario(volts: float, loads: dict[str, float], room_c: float = ambient_c) -> Scenario:
        return Scenario(mains_v=volts, ambient_c=room_c, loads=loads, wanted=names)

    cases = [scenario(volts, rated) for volts in (facts.mains_low_v, facts.mains_v, facts.mains_high_v)]
    cases.append(scenario(facts.mains_high_v, rated, sheet.ambient_max_c))
    low, usual, high, hot = settle(nominal, nominal, cases, [np.inf] * len(cases))
    corners = _Corners(low=low, usual=usual, high=high, hot=hot, room_c=sheet.ambient_max_c)
    words = {name: tuple(_rail(sheet, rail, nominal, corners)) for name, rail in nominal.rails.items()}
    return words, _extremes(nominal, corners)


def _extremes(nominal: Design, at: _Corners) -> Extremes:
    named = {name for name, made in nominal.transformers.items() if not made.invented}
    windings = {name: float(at.hot.transformers[name].final_c[0]) for name in named}
    rails = {name: _rail_extremes(rail, at) for name, rail in nominal.rails.items()}
    return Extremes(
        mains_low_v=nominal.facts.mains_low_v,
        mains_high_v=nominal.facts.mains_high_v,
        room_c=at.room_c,
        rails={name: found for name, found in rails.items() if found is not None},
        windings_c={name: value for name, value in windings.items() if np.isfinite(value)},
    )


def _rail_extremes(rail: RailDesign, at: _Corners) -> RailExtremes | None:
    usual, low = (state.rails[rail.name].headroom_v for state in (at.usual, at.low))
    if usual is None or low is None or not np.isfinite([usual[0], low[0]]).all():
        return None
    sink, junction = at.hot.sink_c(rail), at.hot.junction_c(rail)
    return RailExtremes(
        headroom_v=float(usual[0]),
        low_headroom_v=float(low[0]),
        heatsink_c=_finite(sink),
        junction_c=_finite(junction),
    )


def _finite(value: Array | None) -> float | None:
    return None if value is None or not np.isfinite(value[0]) else float(value[0])


def _rail(supply: Supply, rail: RailDesign, nominal: Design, at: _Corners) -> Iterator[str]:
    sheet = supply.rail(rail.name)
    if not all(
        np.isfinite(state.rails[rail.name].reservoir.mean_v[0]) for state in (at.low, at.usual, at.high)
    ):
        return
    if rail.regulator is None:
        yield from _plain(rail, at)
    else:
        yield _headroom(rail, at)
        yield from _heat(sheet, rail, at)
    yield from _stress(supply, sheet)
    yield from _ratings(sheet, rail, at)
    yield from _transformer(supply, rail, nominal, at)
    if sheet.reservoir is None or sheet.reservoir.bleeder_ohm is None:
        yield "no bleeder on the sheet: the reservoir may hold its charge for hours; measure before touching"


def _volts(state: State) -> str:
    return f"{state.scenario.mains_v:.0f} V"


def _headroom(rail: RailDesign, at: _Corners) -> str:
    """Return 'valley 1.1 V above dropout at 230 V, 0.9 V short at 207 V'."""
    parts: list[str] = []
    for state in (at.usual, at.low, at.high):
        headroom = state.rails[rail.name].headroom_v
        value = 0.0 if headroom is None else float(headroom[0])
        side = "above dropout" if value >= 0 and not parts else ("above" if value >= 0 else "short")
        parts.append(f"{abs(value):.1f} V {side} at {_volts(state)}")
    return f"valley {', '.join(parts)} (all rails at rated current, warm)"


def _plain(rail: RailDesign, at: _Corners) -> Iterator[str]:
    low, usual, high = (float(state.rails[rail.name].output_v[0]) for state in (at.low, at.usual, at.high))
    yield (
        f"not regulated: {rail.sign * usual:.1f} V at rated current, {rail.sign * low:.1f} V at "
        f"{_volts(at.low)}, "
        f"{rail.sign * high:.1f} V at {_volts(at.high)}"
    )


def _heat(sheet: Rail, rail: RailDesign, at: _Corners) -> Iterator[str]:
    usual, high = at.usual.rails[rail.name].dissipation_w, at.high.rails[rail.name].dissipation_w
    if usual is None or high is None:
        return
    yield f"pass device {usual[0]:.1f} W at {_volts(at.usual)}, {high[0]:.1f} W at {_volts(at.high)}"
    junction = at.hot.junction_c(rail)
    if junction is None:
        yield "no heat sink on the sheet: its temperature and the junction's cannot be said"
        return
    where = f"junction {junction[0]:.0f} °C at {_volts(at.hot)} in a {at.room_c:.0f} °C room"
    limit = sheet.regulator.junction_max_c if sheet.regulator else None
    if limit is None:
        yield where
    else:
        yield f"{where}, {_side(limit - float(junction[0]), 'K', f'its limit of {limit:.0f} °C')}"


def _side(margin: float, unit: str, limit: str) -> str:
    return f"{abs(margin):.0f} {unit} {'below' if margin >= 0 else 'ABOVE'} {limit}"


def _stress(supply: Supply, sheet: Rail) -> Iterator[str]:
    """Yield what parts have to withstand without load at high mains: the figures of `supply.findings`.

    The drops of the diodes are left out there and here: without load they shrink, and a rating has to
    hold without them. What a meter shows is less by them.
    """
    peak, reverse = highest_peak_v(supply, sheet), reverse_v(supply, sheet)
    reservoir, rectifier, regulator = sheet.reservoir, sheet.rectifier, sheet.regulator
    if peak is None or reverse is None:
        return
    at = f"at {high_mains_v(supply):.0f} V"
    where = f"reservoir at most {peak:.1f} V unloaded {at}"
    if reservoir is not None and reservoir.voltage_rating_v is not None:
        yield f"{where}, {_within(peak, reservoir.voltage_rating_v, 'V')}"
    if regulator is not None and regulator.input_max_v is not None and peak > regulator.input_max_v:
        yield f"{where}: ABOVE the regulator's {regulator.input_max_v:g} V"
    if rectifier is not None and rectifier.reverse_rating_v is not None:
        within = _within(reverse, rectifier.reverse_rating_v, "V")
        yield f"diodes see at most {reverse:.0f} V reverse {at}, {within}"


def _ratings(sheet: Rail, rail: RailDesign, at: _Corners) -> Iterator[str]:
    raw, reservoir = at.usual.rails[rail.name].reservoir, sheet.reservoir
    if reservoir is not None and reservoir.ripple_rating_a is not None:
        current = float(raw.capacitor_rms_a[0])
        yield (
            f"capacitor ripple current {current:.2g} A RMS, "
            f"{_within(current, reservoir.ripple_rating_a, 'A')}"
        )
    bridge = float(at.usual.rails[rail.name].bridge_w[0])
    if bridge > WARM_BRIDGE_W:
        yield f"rectifier loses {bridge:.1f} W: it wants metal or a heat sink"


def _within(value: float, rating: float, unit: str) -> str:
    return f"{'within' if value <= rating else 'ABOVE'} its {rating:g} {unit}"


def _transformer(sheet: Supply, rail: RailDesign, nominal: Design, at: _Corners) -> Iterator[str]:
    made = nominal.winding(rail.windings[0])
    usual, hot = (float(state.transformers[made.name].final_c[0]) for state in (at.usual, at.hot))
    load = float(at.usual.transformers[made.name].secondary_va[0])
    if not np.isfinite([usual, hot]).all():
        return
    stated = next((t.insulation_class for t in sheet.transformers if t.name == made.name), None)
    limit = CLASS_LIMIT_C[stated or UNMARKED_CLASS]
    said = f"class {stated}" if stated else f"class {UNMARKED_CLASS}, as its own is not on the sheet"
    side = "within" if hot <= limit else "ABOVE"
    yield (
        f"{made.name}: {load:.0f} VA in its secondaries, rated {made.rating_va:.0f} VA; windings at "
        f"{usual:.0f} °C, {hot:.0f} °C at {_volts(at.hot)} in a {at.room_c:.0f} °C room, "
        f"{side} {limit:.0f} °C ({said})"
    )
