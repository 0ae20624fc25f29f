"""A transformer made whole: rating, rated currents, regulation and resistances, stated or assumed."""

from __future__ import annotations

from ohmward.physics import transformer as tr
from ohmward.physics.facts import SecondaryFacts, TransformerFacts
from ohmward.physics.heat import COPPER_K, REFERENCE_C
from ohmward.physics.spread import Spread, between, within
from ohmward.supply.model import Rail, Secondary, Supply, Transformer

REGULATION_PCT = 10.0
VOLTAGE_PCT = 2.0
"""Of a transformer's stated regulation and secondary voltage [± %]."""
MEASURED_PCT = 3.0
"""Of a measured winding resistance [± %]."""
RISE_PCT = 10.0
ROOM_C = 25.0
"""Room that a maker's rated rise is taken from [°C]."""


def hot_factor(rise_k: float) -> float:
    """Return a winding's resistance at rated load over that at 20 °C."""
    return (COPPER_K + ROOM_C + rise_k) / (COPPER_K + REFERENCE_C)


def transformer_facts(supply: Supply, transformer: Transformer, words: list[str]) -> TransformerFacts:
    """Return one transformer made whole; what was assumed is added to `words`."""
    primary_v = transformer.primary_voltage_v or supply.mains.voltage_v
    rating = _rating(supply, transformer, words)
    currents = _currents(supply, transformer, rating, words)
    rise = (
        tr.RISE_K
        if transformer.temperature_rise_k is None
        else within(transformer.temperature_rise_k, RISE_PCT)
    )
    regulation, how = _regulation(
        transformer, primary_v=primary_v, rating=rating, currents=currents, hot=hot_factor(rise.value)
    )
    if how:
        words.append(f"{transformer.name}: {how}")
    tau = transformer.time_constant_s
    words.append(
        f"{transformer.name}: magnetising current, core loss and heating as a sound {rating:.0f} VA "
        f"{transformer.core or 'transformer'} has them"
    )
    return TransformerFacts(
        name=transformer.name,
        primary_v=primary_v,
        rating_va=rating,
        regulation=regulation,
        primary_share=tr.PRIMARY_SHARE,
        primary_ohm=_measured(transformer.primary_ohm),
        secondaries=tuple(
            SecondaryFacts(
                name=secondary.name,
                voltage_v=within(secondary.voltage_v, VOLTAGE_PCT),
                current_a=currents[secondary.name],
                centre_tapped=secondary.centre_tapped,
                ohm=_measured(secondary.resistance_ohm),
            )
            for secondary in transformer.secondaries
        ),
        magnetising_va=tr.usual_magnetising_va(rating, transformer.core),
        core_loss_w=tr.usual_core_loss_w(rating, transformer.core),
        rise_k=rise,
        surface_share=tr.SURFACE_SHARE,
        tau_s=tr.usual_time_constant_s(rating) if tau is None else within(tau, 20.0),
    )


def _measured(ohm: float | None) -> Spread | None:
    return None if ohm is None else within(ohm, MEASURED_PCT)


def _halves(secondary: Secondary) -> int:
    return 2 if secondary.centre_tapped else 1


def _demand(supply: Supply, transformer: Transformer, secondary: Secondary) -> float:
    """Return the rating a winder would give a secondary for what it feeds [VA]: 1.4 (W + 2 I_dc)."""
    source = f"{transformer.name}.{secondary.name}"
    return sum(
        _share(rail, source) * 1.4 * (abs(rail.nominal_v) + 2.0) * rail.rated_current_a
        for rail in supply.rails
    )


def _share(rail: Rail, source: str) -> float:
    return rail.sources.count(source) / len(rail.sources) if rail.sources else 0.0


def _rating(supply: Supply, transformer: Transformer, words: list[str]) -> float:
    if transformer.rating_va is not None:
        return transformer.rating_va
    stated = [
        s.voltage_v * s.current_a * _halves(s) for s in transformer.secondaries if s.current_a is not None
    ]
    if stated and len(stated) == len(transformer.secondaries):
        return sum(stated)
    demand = sum(_demand(supply, transformer, secondary) for secondary in transformer.secondaries)
    rating = max(demand * 1.2, 5.0)
    words.append(f"{transformer.name}: rating of about {rating:.0f} VA taken, by the rails it feeds")
    return rating


def _currents(supply: Supply, transformer: Transformer, rating: float, words: list[str]) -> dict[str, float]:
    """Return rated secondary currents [A]; what the sheet leaves out shares the rest of the rating."""
    known = {s.name: s.current_a for s in transformer.secondaries if s.current_a is not None}
    silent = [s for s in transformer.secondaries if s.name not in known]
    if not silent:
        return known
    taken = sum(s.voltage_v * known[s.name] * _halves(s) for s in transformer.secondaries if s.name in known)
    rest = max(rating - taken, 0.1 * rating)
    weights = {s.name: _demand(supply, transformer, s) for s in silent}
    if min(weights.values()) <= 0:
        weights = dict.fromkeys(weights, 1.0)
    total = sum(weights.values())
    if len(transformer.secondaries) > 1:
        words.append(f"{transformer.name}: its rating shared among the secondaries by what they feed")
    return known | {s.name: rest * weights[s.name] / total / (s.voltage_v * _halves(s)) for s in silent}


def _regulation(
    transformer: Transformer,
    *,
    primary_v: float,
    rating: float,
    currents: dict[str, float],
    hot: float,
) -> tuple[Spread, str]:
    if transformer.regulation_pct is not None:
        return within(transformer.regulation_pct / 100, REGULATION_PCT), ""
    primary = transformer.primary_ohm
    measured = [(s, s.resistance_ohm) for s in transformer.secondaries if s.resistance_ohm is not None]
    if primary is not None and measured:
        implied = [
            tr.implied_regulation(
                primary_ohm=primary * hot,
                secondary_ohm=ohm * hot,
                primary_v=primary_v,
                voltage_v=secondary.voltage_v,
                current_a=currents[secondary.name],
                share_va=rating,
            )
            for secondary, ohm in measured
        ]
        mean = sum(implied) / len(implied)
        return between(0.85 * mean, 1.15 * mean), f"regulation {100 * mean:.1f} % by its measured resistances"
    usual = tr.usual_regulation(rating, transformer.core)
    low, high = 100 * usual.low, 100 * usual.high
    return usual, f"regulation {100 * usual.value:.1f} % ({low:.1f} to {high:.1f}), usual at {rating:.0f} VA"
