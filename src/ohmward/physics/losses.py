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
    states = [rails.get(pair.rail.name) for pair in mine]
    nothing = np.zeros(design.rows)
    primary, power, apparent = nothing, nothing, nothing
    groups: dict[tuple[str, bool], Array] = {}
    for pair, state in zip(mine, states, strict=True):
        rail, own = pair.rail, ratio(design, pair.rail)
        total = LIGHT_FORM_FACTOR * pair.raw_a if state is None else state.total_rms_a
        primary = primary + (own * total if state is None else state.primary_share_a)
        power = power + (pair.open_v * pair.raw_a * LIGHT_POWER if state is None else state.power_w)
        apparent = apparent + total * pair.open_v * (np.sqrt(2) if rail.kind == "centre-tap" else 1.0)
        for source in rail.windings:
            # Rails of opposite sign on a centre tap take turns in each half: their currents never add.
            key = (source, rail.kind == "centre-tap" and rail.sign < 0)
            groups[key] = groups.get(key, nothing) + total * np.sqrt(rail.turns / len(rail.windings))
    lost = primary**2 * copper(transformer.primary_ohm, copper_c)
    for (source, _), current in groups.items():
        lost = lost + current**2 * copper(transformer.secondary_ohm[source], copper_c)
    relative = mains_v * design.mains_factor * design.condition.mains_factor / transformer.primary_v
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
        secondary_va=apparent,
    )
