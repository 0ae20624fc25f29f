"""Physics that cannot be: found before anything is computed, and said in words."""

from __future__ import annotations

from collections.abc import Iterator

import msgspec
import numpy as np

from ohmward.supply.model import Rail, Supply, Transformer

ROOM_C = (-40.0, 120.0)
"""Rooms that the model is made for [°C]; outside, copper and silicon are no longer what it takes them for."""


def possible(supply: Supply) -> tuple[Supply, list[str]]:
    """Return the part of the sheet that can be computed, and what is impossible about the rest.

    A rail or transformer with an impossible value is left out, with every rail that hangs on it.
    Design sheets from a file have been checked for such values already; a sheet may be built in code.
    """
    words = list(_mains(supply))
    if words:
        return msgspec.structs.replace(supply, rails=(), transformers=()), words
    transformers = []
    for transformer in supply.transformers:
        wrong = list(_transformer(transformer))
        words += wrong
        if not wrong:
            transformers.append(transformer)
    known = {f"{t.name}.{s.name}": t.name for t in transformers for s in t.secondaries}
    rails = []
    for rail in supply.rails:
        wrong = [*_rail(rail), *_sources(rail, known)]
        words += wrong
        if not wrong:
            rails.append(rail)
    return msgspec.structs.replace(supply, rails=tuple(rails), transformers=tuple(transformers)), words


def _bad(value: float | None, *, zero: bool = False) -> bool:
    """Return True for a value that is no finite positive number (`zero` allows nought)."""
    return value is not None and not (np.isfinite(value) and (value > 0 or (zero and value == 0)))


def _mains(supply: Supply) -> Iterator[str]:
    if _bad(supply.mains.voltage_v):
        yield f"mains of {supply.mains.voltage_v:g} V: nothing can be computed"
    if _bad(supply.mains.frequency_hz):
        yield f"mains of {supply.mains.frequency_hz:g} Hz: a transformer passes no direct current"
    if not -100 < supply.mains.low_pct <= supply.mains.high_pct:
        yield f"mains band of {supply.mains.low_pct:g} % to {supply.mains.high_pct:g} % is upside down"


def _transformer(transformer: Transformer) -> Iterator[str]:
    name = transformer.name
    checks = (
        ("primary voltage", transformer.primary_voltage_v, "V", False),
        ("rating", transformer.rating_va, "VA", False),
        ("regulation", transformer.regulation_pct, "%", False),
        ("primary resistance", transformer.primary_ohm, "Ω", False),
        ("temperature rise", transformer.temperature_rise_k, "K", False),
        ("time constant", transformer.time_constant_s, "s", False),
    )
    yield from _values(name, checks)
    for secondary in transformer.secondaries:
        of_winding = (
            ("voltage", secondary.voltage_v, "V", False),
            ("current", secondary.current_a, "A", False),
            ("resistance", secondary.resistance_ohm, "Ω", False),
        )
        yield from _values(f"{name}.{secondary.name}", of_winding)


def _rail(rail: Rail) -> Iterator[str]:
    yield from _values(
        rail.name,
        (
            ("nominal voltage", abs(rail.nominal_v), "V", False),
            ("rated current", rail.rated_current_a, "A", False),
            ("wiring resistance", rail.wiring_ohm, "Ω", True),
        ),
    )
    if rail.rectifier is not None:
        yield from _values(rail.name, (("diode drop", rail.rectifier.forward_v, "V", False),))
    if rail.reservoir is not None:
        r = rail.reservoir
        yield from _values(
            rail.name,
            (
                ("reservoir", r.capacitance_f, "F", False),
                ("reservoir ESR", r.esr_ohm, "Ω", True),
                ("bleeder", r.bleeder_ohm, "Ω", False),
            ),
        )
        if r.tolerance_low_pct <= -100:
            yield f"{rail.name}: reservoir tolerance of {r.tolerance_low_pct:g} % leaves no capacitance"
    yield from _regulator(rail)


def _regulator(rail: Rail) -> Iterator[str]:
    if rail.regulator is not None:
        g = rail.regulator
        set_point = None if g.set_point_v is None else abs(g.set_point_v)
        yield from _values(
            rail.name,
            (
                ("set point", set_point, "V", False),
                ("dropout", g.dropout_v, "V", True),
                ("output resistance", g.output_ohm, "Ω", True),
                ("current limit", g.current_limit_a, "A", False),
                ("quiescent current", g.quiescent_a, "A", True),
                ("thermal resistance junction to case", g.junction_to_case_kpw, "K/W", True),
            ),
        )
    if rail.heatsink is not None:
        h = rail.heatsink
        yield from _values(
            rail.name,
            (
                ("thermal resistance of the heat sink", h.thermal_resistance_kpw, "K/W", False),
                ("thermal resistance of the interface", h.interface_kpw, "K/W", True),
                ("time constant of the heat sink", h.time_constant_s, "s", False),
            ),
        )


def _values(name: str, checks: tuple[tuple[str, float | None, str, bool], ...]) -> Iterator[str]:
    for what, value, unit, zero in checks:
        if value is not None and _bad(value, zero=zero):
            bound = "not negative" if zero else "above zero"
            yield f"{name}: {what} of {value:g} {unit}; it must be {bound}"


def _sources(rail: Rail, known: dict[str, str]) -> Iterator[str]:
    missing = [source for source in rail.sources if source not in known]
    if missing:
        yield f"{rail.name}: its secondary {', '.join(missing)} is missing or cannot be computed"
    elif len({known[source] for source in rail.sources}) > 1:
        yield f"{rail.name}: halves from two transformers are not modelled"
