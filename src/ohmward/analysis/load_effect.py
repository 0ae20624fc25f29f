"""Load effect at once and settled: what the output does when the load comes on, and while it stays on.

At once is the fall read as soon as the load was on, settled the fall after the dwell. The difference,
the drift, is heat: copper gains 0.393 % of its resistance a kelvin, a loose joint more than that.

References
----------
.. [1] Copper: R proportional to (234.5 + t), EN 61558-1 14.2 (see `physics.heat`).
.. [2] JCGM 100:2008 (GUM), 5.2 and F.1.2.3: what both readings share (a meter's gain) cancels in their
   difference but for its share of the difference itself.
"""

from __future__ import annotations

import math

import msgspec

from ohmward.analysis.regulation import DENOMINATOR
from ohmward.physics.heat import copper
from ohmward.quantity import show

COLD_C, WARM_C = 25.0, 85.0
"""A winding in a cool room, and as hot as one is in ordinary service (common practice, no source)."""
COPPER_SHARE = float(copper(1.0, WARM_C) / copper(1.0, COLD_C)) - 1.0
"""Share by which copper's part of a load effect grows from cold to warm: 23 %."""

SMALL_SHARE = 0.002
"""Share of the output below which a drift is not asked for its cause (common practice, no source)."""


class LoadEffect(msgspec.Struct, frozen=True, kw_only=True):
    """Fall of a rail from no load to full load; voltages as magnitudes, expanded uncertainties (k = 2)."""

    settled_v: float
    """No-load less full-load voltage, read after the dwell; negative where the output rises."""
    settled_uncertainty_v: float
    settled_pct: float
    settled_uncertainty_pct: float
    denominator: str = f"settled {DENOMINATOR}"
    """What both percentages are of."""
    immediate_v: float | None = None
    """The same, read as soon as the load was on; None where that was not read."""
    immediate_uncertainty_v: float | None = None
    immediate_pct: float | None = None
    immediate_uncertainty_pct: float | None = None
    drift_v: float | None = None
    """Settled less immediate: what it falls further while the load stays on."""
    drift_uncertainty_v: float | None = None
    words: str = ""
    """What the drift suggests."""
    suspicious: bool = False
    """More than warming copper explains."""


def load_effect(
    no_load_v: float,
    full_load_v: float,
    immediate_v: float | None = None,
    *,
    own_v: tuple[float, float, float] = (0.0, 0.0, 0.0),
    common_v: float = 0.0,
    regulated: bool = True,
) -> LoadEffect:
    """Return the load effect of one rail, at once and settled.

    Parameters
    ----------
    no_load_v, full_load_v : float
        Settled readings without load and at full load [V]; the sign is ignored.
    immediate_v : float, optional
        Reading at full load as soon as the load was on [V].
    own_v : tuple of float
        Standard uncertainties of the three readings, in that order, that the others do not share [V].
    common_v : float
        Standard uncertainty that all share, at full load [V].
    regulated : bool
        Whether a regulator stands between the copper and the output.

    Raises
    ------
    ValueError
        When the full-load voltage is zero or a number is not finite.
    """
    given = [no_load_v, full_load_v, *own_v, common_v, *([] if immediate_v is None else [immediate_v])]
    if not all(math.isfinite(each) for each in given):
        raise ValueError("a load effect is made of finite numbers")
    if full_load_v == 0.0:
        raise ValueError("the full-load voltage is zero: a load effect in per cent has no meaning")
    none, full = abs(no_load_v), abs(full_load_v)
    shared = common_v / full

    def expanded(difference: float, one: float, other: float) -> float:
        return 2.0 * math.hypot(one, other, shared * difference)

    def percent(effect: float, own: float) -> float:
        """U of 100 effect / full: the common gain cancels in the quotient."""
        return 100.0 * 2.0 * math.hypot(own, effect / full * own_v[1], shared * effect) / full

    settled = none - full
    found = LoadEffect(
        settled_v=settled,
        settled_uncertainty_v=expanded(settled, own_v[0], own_v[1]),
        settled_pct=100.0 * settled / full,
        settled_uncertainty_pct=percent(settled, math.hypot(own_v[0], own_v[1])),
    )
    if immediate_v is None:
        return found
    at_once = none - abs(immediate_v)
    drift = settled - at_once
    u_drift = expanded(drift, own_v[1], own_v[2])
    words, suspicious = _suggests(drift, u_drift, at_once, full=full, regulated=regulated)
    return msgspec.structs.replace(
        found,
        immediate_v=at_once,
        immediate_uncertainty_v=expanded(at_once, own_v[0], own_v[2]),
        immediate_pct=100.0 * at_once / full,
        immediate_uncertainty_pct=percent(at_once, math.hypot(own_v[0], own_v[2])),
        drift_v=drift,
        drift_uncertainty_v=u_drift,
        words=words,
        suspicious=suspicious,
    )


def _suggests(
    drift: float, u_drift: float, at_once: float, *, full: float, regulated: bool
) -> tuple[str, bool]:
    """What a drift suggests, and whether it is more than warming copper explains."""
    far = show(abs(drift), "V", uncertainty=u_drift or None)
    if abs(drift) <= u_drift:
        return "no drift beyond the meter's uncertainty between at once and settled", False
    if drift < 0.0:
        return (
            f"the output came back by {far} while the load stayed on: a slow regulator, a load that takes "
            "time to settle, or mains that rose meanwhile",
            False,
        )
    if regulated:
        return (
            f"the output fell a further {far} while the load stayed on: the regulator's own warming, or "
            "headroom that goes as the transformer warms; if it goes on, look at the joints from the "
            "reservoir to the terminals",
            False,
        )
    share = drift / at_once if at_once > 0.0 else math.inf
    # by as much more as the drift is known: what it surely exceeds
    surely = (drift - u_drift) / at_once if at_once > 0.0 else math.inf
    grown = f"the output fell a further {far} while the load stayed on" + (
        f", {100 * share:.0f} % of the fall at once" if math.isfinite(share) else ""
    )
    copper_words = f"copper's part of it grows by {100 * COPPER_SHARE:.0f} % from cold to warm"
    if drift < SMALL_SHARE * full:
        return f"{grown}: too little to ask for a cause", False
    if surely <= COPPER_SHARE:
        return f"{grown}: no more than warming copper explains ({copper_words})", False
    return (
        f"{grown}: more than warming copper explains ({copper_words}). A loose or burnt joint warms the same "
        "way: switch off, make safe, and look at fuse clips, terminals and solder joints for one that is "
        "hot or discoloured",
        True,
    )
