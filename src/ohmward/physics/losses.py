"""What flows in a transformer's windings, what it loses there and in its core, and how warm it gets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ohmward.physics import transformer as tr
from ohmward.physics.design import Design, TransformerDesign
from ohmward.physics.heat import copper
from ohmward.physics.network import Pair, ratio
from ohmward.physics.rails import RailState

Array = npt.NDArray[np.float64]

LIGHT_FORM_FACTOR = 2.2
"""RMS over mean current of a lightly loaded rectifier, for rails that are not computed themselves."""
LIGHT_POWER = 1.3
"""Power over no-load RMS voltage times mean current of the same."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TransformerState:
    """One transformer; arrays of shape (rows,)."""

    primary_a: Array
    """Load current in the primary, magnetising current left out [A]."""
    magnetising_a: Array
    core_loss_w: Array
    copper_loss_w: Array
    power_w: Array
    """What the ideal windings deliver."""
    copper_c: Array
    """Mean temperature of the windings that this state was computed at [°C]."""
    final_c: Array
    """Where that temperature goes if nothing changes [°C]."""
    final_surface_c: Array
    terminal_v: dict[str, Array]
    """RMS voltage at each secondary's terminals, of each half where centre-tapped [V]."""
    secondary_va: Array
    """Sum of RMS current times no-load voltage over the secondaries."""


def transformer_state(
    design: Design,
    transformer: TransformerDesign,
    *,
    mains_v: float,
    row: Sequence[Pair],
    rails: Mapping[str, RailState],
    copper_c: Array,
    air_c: Array,
) -> TransformerState:
    """Return currents, losses and final temperature of one transformer.

    Parameters
    ----------
    mains_v : float
        At the inlet [V].
    row : sequence of Pair
        Every rail of the unit in this scenario.
    rails : mapping
        State of those that were computed; the others are taken as lightly loaded.
    copper_c, air_c : array
        Windings now, and the air around them [°C].
    """
    mine = [pair for pair in row if design.winding(pair.rail.windings[0]) is transformer]
    flows = [_flow(design, pair, rails.get(pair.rail.name)) for pair in mine]
    nothing = np.zeros(design.rows)
    primary: Array = sum((flow.primary_a for flow in flows), nothing)
    power: Array = sum((flow.power_w for flow in flows), nothing)
    lost = primary**2 * copper(transformer.primary_ohm, copper_c)
    terminal_v = {}
    for source in transformer.ratio:
        through = [flow for flow in flows if source in flow.pair.rail.windings]
        ohm = copper(transformer.secondary_ohm[source], copper_c)
        lost = lost + ohm * _square_a(through, nothing)
        terminal_v[source] = _terminal_v(
            transformer,
            source,
            mains_v=mains_v * _factor(design),
            through=through,
            ohm=ohm,
            primary_ohm=copper(transformer.primary_ohm, copper_c),
            primary_a=primary,
            power_w=power,
        )
    relative = mains_v * _factor(design) / transformer.primary_v
    core = transformer.core_loss_w * relative**2
    rise = (lost + core + transformer.extra_loss_w) * transformer.thermal_kpw
    return TransformerState(
        primary_a=primary,
        magnetising_a=transformer.magnetising_va / transformer.primary_v * relative**tr.MAGNETISING_EXPONENT,
        core_loss_w=core + transformer.extra_loss_w,
        copper_loss_w=lost,
        power_w=power,
        copper_c=copper_c,
        final_c=air_c + rise,
        final_surface_c=air_c + rise * transformer.surface_share,
        secondary_va=sum((flow.apparent_va for flow in flows), nothing),
        terminal_v=terminal_v,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Flow:
    """What one rail takes through the transformer; arrays of shape (rows,)."""

    pair: Pair
    total_a: Array
    """RMS of both half-cycles together."""
    primary_a: Array
    power_w: Array
    apparent_va: Array


def _flow(design: Design, pair: Pair, state: RailState | None) -> _Flow:
    """Return a rail's flow; estimated where it is not computed, lightly loaded, itself."""
    rail = pair.rail
    total = LIGHT_FORM_FACTOR * pair.raw_a if state is None else state.total_rms_a
    return _Flow(
        pair=pair,
        total_a=total,
        primary_a=ratio(design, rail) * total if state is None else state.primary_share_a,
        power_w=pair.open_v * pair.raw_a * LIGHT_POWER if state is None else state.power_w,
        apparent_va=total * pair.open_v * (np.sqrt(2) if rail.kind == "centre-tap" else 1.0),
    )


def _factor(design: Design) -> Array:
    return design.mains_factor * design.condition.mains_factor


def _square_a(flows: Sequence[_Flow], nothing: Array) -> Array:
    """Return the square of a winding's current, summed over its halves, that its resistance turns into heat.

    Rails of opposite sign on a centre tap take turns in each half: their currents never add.
    """
    sides = {-1.0: nothing, 1.0: nothing}
    for flow in flows:
        rail = flow.pair.rail
        # Both halves of a whole winding heat; of two windings that are the halves each has its half.
        side = rail.sign if rail.kind == "centre-tap" else 1.0
        sides[side] = sides[side] + flow.total_a * np.sqrt(rail.turns / len(rail.windings))
    return sides[1.0] ** 2 + sides[-1.0] ** 2


def _terminal_v(
    transformer: TransformerDesign,
    source: str,
    *,
    mains_v: Array,
    through: Sequence[_Flow],
    ohm: Array,
    primary_ohm: Array,
    primary_a: Array,
    power_w: Array,
) -> Array:
    turns = transformer.ratio[source]
    nothing = np.zeros_like(mains_v)
    halves = any(flow.pair.rail.kind == "centre-tap" for flow in through)
    return tr.terminal_rms(
        open_v=mains_v * turns,
        shared_ohm=turns**2 * primary_ohm,
        shared_power_w=power_w,
        shared_a=primary_a / turns,
        own_ohm=ohm,
        own_power_w=sum((flow.power_w / flow.pair.rail.turns for flow in through), nothing),
        own_a=sum((flow.total_a for flow in through), nothing),
        own_share=0.5 if halves else 1.0,
    )
