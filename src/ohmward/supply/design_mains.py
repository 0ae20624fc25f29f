"""Findings on the mains side: class, cord, fuse, and the transformers' load."""

from __future__ import annotations

from collections.abc import Iterator

from ohmward.quantity import show, show_band
from ohmward.supply.finding import Finding
from ohmward.supply.fuses import cord_current_a, is_preferred, preferred_about
from ohmward.supply.model import Fuse, Supply, Transformer
from ohmward.supply.relations import (
    RMS_FACTOR_HIGH,
    RMS_FACTOR_LOW,
    demand_va,
    primary_a,
    primary_v,
    share_a,
    winding_a,
)
from ohmward.supply.writing import fuse_words

SELV_V = 50.0
"""Highest alternating voltage of class III equipment, IEC 61140."""
FUSE_FACTOR = 1.5
"""A mains fuse is at least this much above the true-rms line current (a textbook's advice)."""
LOOSE_FACTOR = 4.0
"""From which a fuse no longer protects its transformer: one copied table gives 5 A for 300 VA at 230 V,
and is a known error (common practice, no source)."""
INRUSH_VA = 100.0
"""Above which a transformer wants a time-lag fuse (a toroid winder's note)."""
_RMS = "winding current 1.6 to 1.8 × direct current with a capacitor input (winders' rules)"
_LINE = "mains fuse ≥ 1.5 × true-rms line current; line current from 1.8 × direct current"
_IEC_127 = "IEC 60127 preferred ratings, series R10 and R20"


def mains_findings(supply: Supply) -> Iterator[Finding]:
    """Yield what is to be said of class, cord and mains fuse."""
    mains = supply.mains
    if supply.protection_class == "III" and mains.voltage_v > SELV_V:
        yield Finding(
            field="protection_class",
            severity="fault",
            text=f"class III is fed by extra-low voltage; this supply is fed by {show(mains.voltage_v, 'V')}",
            basis="IEC 61140: class III relies on SELV, at most 50 V a.c.",
        )
    if supply.protection_class == "I" and (mains.cord is None or mains.cord.size is None):
        yield Finding(
            field="mains.cord",
            severity="improvement",
            text="class I without the cord's length and area on the sheet: its resistance cannot be allowed "
            "for in the earth limit",
            basis="earth limit of 0.1 Ω and the cord, computed by IEC 60228",
        )
    if mains.fuse is None:
        yield Finding(
            field="mains.fuse",
            severity="improvement",
            text="no mains fuse on the sheet: whether it suits the primary current cannot be said",
            basis="a fuse in the line conductor, ahead of the switch (common practice, no source)",
        )
    else:
        yield from fuse_rating_findings(mains.fuse, "mains.fuse")
        yield from _cord(supply, mains.fuse)
        yield from _fuse_size(supply, mains.fuse)
        yield from _fuse_kind(supply, mains.fuse)


def fuse_rating_findings(fuse: Fuse, field: str) -> Iterator[Finding]:
    """Yield what is to be said of a fuse's rating as such."""
    if not is_preferred(fuse.rating_a):
        below, above = (show(rating, "A") for rating in preferred_about(fuse.rating_a))
        yield Finding(
            field=field,
            severity="improvement",
            text=f"fuse {fuse_words(fuse)}: not a preferred rating; the next are {below} and {above}",
            basis=_IEC_127,
        )


def _cord(supply: Supply, fuse: Fuse) -> Iterator[Finding]:
    cord = supply.mains.cord
    if cord is None or cord.area_mm2 is None or fuse.rating_a <= cord_current_a(cord.area_mm2):
        return
    may = cord_current_a(cord.area_mm2)
    carries = f"may carry {show(may, 'A')}" if may else "is thinner than any mains cord"
    yield Finding(
        field="mains.cord.area",
        severity="fault",
        text=f"cord of {show(cord.area_mm2, 'mm²')} {carries}; the fuse is {fuse_words(fuse)}",
        basis="cord current by area, IEC 60335-1 table 11 (from memory)",
    )


def _fuse_size(supply: Supply, fuse: Fuse) -> Iterator[Finding]:
    line = primary_a(supply)
    # a twentieth below passes: the line current is a hand rule, and 3.15 A is usual for 500 VA
    if line > 0 and fuse.rating_a < 0.95 * FUSE_FACTOR * line:
        _, better = preferred_about(FUSE_FACTOR * line)
        blows = fuse.rating_a < line
        yield Finding(
            field="mains.fuse",
            severity="fault" if blows else "improvement",
            text=f"fuse {fuse_words(fuse)} {'will blow' if blows else 'is small'}: "
            f"about {show(line, 'A', uncertainty=line / 10)} flow in the primary with every rail at its "
            f"rated current; {show(better, 'A')} would do",
            basis=_LINE,
        )
    rated = sum(
        transformer_va(transformer) / primary_v(supply, transformer) for transformer in supply.transformers
    )
    most = max(rated, line)
    if most > 0 and fuse.rating_a > LOOSE_FACTOR * most:
        yield Finding(
            field="mains.fuse",
            severity="fault",
            text=f"fuse {fuse_words(fuse)} is {fuse.rating_a / most:.1f} × the full primary current of "
            f"{show(most, 'A', uncertainty=most / 10)}: it does not protect the transformer",
            basis="1.5 to 2 × full primary current is usual, 4 × too much (common practice, no source)",
        )


def _fuse_kind(supply: Supply, fuse: Fuse) -> Iterator[Finding]:
    total = sum(transformer_va(transformer) for transformer in supply.transformers)
    if fuse.characteristic in {"F", "FF", "M"} and total > INRUSH_VA:
        yield Finding(
            field="mains.fuse",
            severity="fault",
            text=f"fuse {fuse_words(fuse)} is not time-lag: "
            f"the switch-on surge of {show(total, 'VA')} will blow it",
            basis="time-lag fuse for any transformer over 100 VA (a toroid winder's note)",
        )
    if fuse.breaking == "L" and supply.mains.voltage_v > SELV_V:
        yield Finding(
            field="mains.fuse",
            severity="improvement",
            text=f"fuse {fuse_words(fuse)}: a fuse on the mains side wants a high breaking capacity (H)",
            basis="IEC 60127: L breaks 35 A or 10 × its rating, H breaks 1500 A; H on mains: common practice",
        )


def transformer_va(transformer: Transformer) -> float:
    """Return a transformer's rating [VA]; by its secondaries where stated only there; else 0."""
    if transformer.rating_va is not None:
        return transformer.rating_va
    return sum(
        secondary.voltage_v * (secondary.current_a or 0.0) * (2 if secondary.centre_tapped else 1)
        for secondary in transformer.secondaries
    )


def transformer_findings(supply: Supply, transformer: Transformer) -> Iterator[Finding]:
    """Yield what is to be said of one transformer: its primary, its load, the load of each secondary."""
    yield from _primary(supply, transformer)
    field, name = f"transformer[{transformer.name}]", transformer.name
    low, high = (demand_va(supply, transformer, factor) for factor in (RMS_FACTOR_LOW, RMS_FACTOR_HIGH))
    rating = transformer_va(transformer)
    if rating and high > rating:
        yield _overload(f"{field}.rating", name, (low, high), rating, "VA")
    share = share_a(transformer)
    for secondary in transformer.secondaries:
        source = f"{name}.{secondary.name}"
        currents = winding_a(supply, source, RMS_FACTOR_LOW), winding_a(supply, source, RMS_FACTOR_HIGH)
        if secondary.current_a is not None and currents[1] > secondary.current_a:
            place = f"{field}.secondaries[{secondary.name}].current"
            yield _overload(place, source, currents, secondary.current_a, "A")
        elif share is not None and currents[1] > share:
            yield _beyond_share(
                f"{field}.secondaries[{secondary.name}].current", source, currents, share, rating
            )


def _beyond_share(
    field: str, name: str, asked: tuple[float, float], share: float, rating_va: float
) -> Finding:
    return Finding(
        field=field,
        severity="improvement",
        text=f"{name} gives its rails {show_band(*asked, 'A')} RMS. Its own rating is not stated; with "
        f"windings alike, its share of {show(rating_va, 'VA')} is {show(share, 'A', decimals=2)}: state "
        "it, and watch how warm it gets",
        basis=f"S / ΣU₂; {_RMS}",
    )


def _overload(field: str, name: str, asked: tuple[float, float], rated: float, unit: str) -> Finding:
    certain = asked[0] > rated
    return Finding(
        field=field,
        severity="fault" if certain else "improvement",
        text=f"{name} is rated {show(rated, unit)} and its rails ask for {show_band(*asked, unit)}: "
        f"{'it will overheat' if certain else 'no reserve by this rule: see what is computed for it'}",
        basis=_RMS,
    )


def _primary(supply: Supply, transformer: Transformer) -> Iterator[Finding]:
    rated, mains = primary_v(supply, transformer), supply.mains.voltage_v
    ratio = mains / rated
    if 0.9 <= ratio <= 1.1:
        return
    high = ratio > 1.1
    yield Finding(
        field=f"transformer[{transformer.name}].primary_voltage",
        severity="danger" if ratio > 1.25 else "fault",
        text=f"primary of {transformer.name} is for {show(rated, 'V')}, the mains is {show(mains, 'V')}: "
        f"{'its core will saturate and it will burn' if high else 'every rail will be low'}",
        basis="primary voltage within 10 % of the mains; a selector set wrong gives twice or half",
    )
