"""Limits by name, resolved for one supply: from the limit set, or from the design sheet.

Every name that a procedure may use is in `LIMIT_UNITS`. A limit that does not apply, or whose datum the
sheet does not give, resolves to None: the reading is then recorded and compared with what is expected,
without a verdict.
"""

from __future__ import annotations

from math import ceil

from ohmward.procedure.limitset import (
    SET_LIMITS,
    BasePlusCord,
    ByCordLength,
    ByInsulationClass,
    ByProtectionClass,
    Fixed,
    LimitRule,
    LimitSet,
)
from ohmward.procedure.model import Limit
from ohmward.procedure.sheetlimits import FROM_SHEET, RAIL_LIMITS, SHEET_LIMITS, About, clean, cord_words
from ohmward.quantity import show
from ohmward.supply import cord_resistance
from ohmward.supply.model import Cord, Rail, Supply, Transformer

LIMIT_UNITS: dict[str, str] = SET_LIMITS | SHEET_LIMITS


def resolve(
    name: str,
    limits: LimitSet,
    supply: Supply,
    *,
    rail: Rail | None = None,
    transformer: Transformer | None = None,
    load_a: float | None = None,
    with_cord: bool | None = None,
) -> Limit | None:
    """Return the limit called `name`, or None where it does not apply or the sheet has no datum for it.

    Parameters
    ----------
    name : str
        A key of `LIMIT_UNITS`.
    limits : LimitSet
        The limit set in force.
    supply : Supply
        The design sheet.
    rail : Rail, optional
        The rail, for the limits in `RAIL_LIMITS`.
    transformer : Transformer, optional
        The transformer, for its resistance and temperature. Left out, the primaries are taken as read
        at the plug, all in parallel.
    load_a : float, optional
        Load current of the rail [A], for `output_loaded`; left out, its rated current.
    with_cord : bool, optional
        Whether the earth path is measured through a detachable cord; left out, as the limit set has it.

    Returns
    -------
    Limit or None
        In the unit that `LIMIT_UNITS` gives; ``low < high`` where both are given.

    Raises
    ------
    KeyError
        When no limit has that name.
    """
    about = About(supply=supply, rail=rail, transformer=transformer, with_cord=with_cord, load_a=load_a)
    if name in SHEET_LIMITS:
        return FROM_SHEET[name](about)
    if name not in SET_LIMITS:
        raise KeyError(f"no limit is called {name!r}")
    rule = limits.limits.get(name)
    if rule is None or (name == "earth_continuity" and supply.protection_class != "I"):
        return None
    return _from_set(rule, about)


def cord_left_out(limits: LimitSet, supply: Supply) -> bool:
    """Return whether the earth limit of a set holds from the inlet of `supply`, its cord unplugged."""
    rule = limits.limits.get("earth_continuity")
    if rule is None or not isinstance(rule.rule, BasePlusCord):
        return False
    cord = supply.mains.cord
    counts = rule.rule.detachable_cord_counts
    return cord is None or (cord.detachable and (cord.size is None or not counts))


def cord_length_limit(rule: ByCordLength, length_m: float) -> float:
    """Return the earth limit [Ω] for a cord of `length_m` [m] by the steps of EN 50678 and EN 50699.

    min(max, first + step x ceil((L - L1) / L_step)) for L > L1; `first` up to L1.
    """
    # Rounded before `ceil`, or binary fractions put 12.5 m a step too high.
    steps = ceil(round(max(0.0, length_m - rule.first_m) / rule.step_m, 9))
    return min(rule.max_ohm, rule.first_ohm + rule.step_ohm * steps)


def _from_set(rule: LimitRule, about: About) -> Limit | None:
    low, high, detail = _sides(rule, about)
    if low is None and high is None:
        return None
    basis = f"{rule.basis}; {detail}" if detail else rule.basis
    return Limit(
        low=clean(low),
        high=clean(high),
        basis=basis,
        obtained=rule.obtained,
        advice=rule.advice,
        test_current_a=rule.test_current_a,
    )


def _sides(rule: LimitRule, about: About) -> tuple[float | None, float | None, str]:
    match rule.rule:
        case Fixed(low=low, high=high):
            return low, high, ""
        case BasePlusCord() as by_cord:
            return (None, *_base_plus_cord(by_cord, about))
        case ByCordLength() as by_length:
            return (None, *_by_cord_length(by_length, about.supply.mains.cord))
        case ByProtectionClass(low=lows, high=highs):
            name = about.supply.protection_class
            return lows.get(name), highs.get(name), f"for Class {name}"
        case ByInsulationClass() as by_class:
            return (None, *_by_insulation_class(by_class, about))


def _base_plus_cord(rule: BasePlusCord, about: About) -> tuple[float, str]:
    cord = about.supply.mains.cord
    base = show(rule.base_ohm, "Ω")
    if cord is None:
        return rule.base_ohm, f"{base} without a cord: the design sheet gives none"
    counts = rule.detachable_cord_counts if about.with_cord is None else about.with_cord
    if cord.detachable and (cord.size is None or not counts):
        return rule.base_ohm, f"{base} from the inlet, the detachable cord left out"
    if cord.size is None:
        return (
            rule.base_ohm,
            f"{base} and nothing for the cord: the sheet does not give its size",
        )
    total = rule.base_ohm + cord_resistance(*cord.size)
    ceiling = rule.fixed_cord_ceiling_ohm
    if ceiling is not None and not cord.detachable and total > ceiling:
        return ceiling, f"{show(ceiling, 'Ω')}, the most with a fixed cord"
    return total, f"{base} and {cord_words(*cord.size)}"


def _by_cord_length(rule: ByCordLength, cord: Cord | None) -> tuple[float, str]:
    if cord is None or cord.length_m is None:
        return rule.first_ohm, f"up to {show(rule.first_m, 'm')} of cord: the design sheet gives no length"
    if cord.area_mm2 is not None and cord.area_mm2 > rule.max_area_mm2:
        size = cord.length_m, cord.area_mm2
        over = f"over {show(rule.max_area_mm2, 'mm²')}: {show(rule.base_ohm, 'Ω')}"
        return rule.base_ohm + cord_resistance(*size), f"{over} and {cord_words(*size)}"
    return cord_length_limit(rule, cord.length_m), f"by length, {show(cord.length_m, 'm')} of cord"


def _by_insulation_class(rule: ByInsulationClass, about: About) -> tuple[float, str]:
    marked = about.transformer.insulation_class if about.transformer else None
    if marked is None or marked not in rule.high:
        return rule.unmarked, "insulation class not given"
    return rule.high[marked], f"insulation class {marked}"


__all__ = ["LIMIT_UNITS", "RAIL_LIMITS", "SHEET_LIMITS", "cord_left_out", "cord_length_limit", "resolve"]
