"""Value to text: engineering prefixes, as many figures as are warranted, never an exponent."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Context, Decimal

from ohmward.quantity.units import TABLE
from ohmward.quantity.value import Value

_FIGURES = 4
"""Significant figures where nothing says how many are warranted."""
_WIDE = Context(prec=700)
"""Room for every digit of any float."""


def show(value: float, unit: str, *, uncertainty: float | None = None, decimals: int | None = None) -> str:
    """Return a value with its unit, such as ``12.04 V``, ``85 mV``, ``4.7 kΩ``.

    Parameters
    ----------
    value : float
        In `unit`.
    unit : str
        One of `UNITS`; any other is written as it is, without a prefix.
    uncertainty : float, optional
        Expanded uncertainty [unit]: the value is rounded to two significant figures of it
        (JCGM 100:2008, 7.2.6).
    decimals : int, optional
        Places after the point *in `unit`*, zeros kept: 3 shows 0.085 V as 85 mV. Without either,
        four significant figures, zeros at the end dropped.
    """
    if math.isnan(value):
        return "not known"
    if math.isinf(value):
        return _with_unit("∞" if value > 0 else "-∞", unit)
    number = Decimal(repr(float(value)))
    size = abs(number)
    if decimals is not None:
        place = -decimals
    elif uncertainty is not None and math.isfinite(uncertainty) and uncertainty > 0:
        spread = Decimal(repr(float(uncertainty)))
        place = _place(spread, 2)
        size = max(size, spread)
    else:
        return _written([number], unit, _unforced(number, unit), size, strip=True)
    return _written([number], unit, place, size, strip=False)


def show_borne(value: float, unit: str, *, step: Decimal | None, uncertainty: float | None) -> str:
    """Return a reading with the figures that it bears: to its last digit, and not beyond its uncertainty.

    Zeros at the end are kept; of the uncertainty two figures count, as in `show`.

    Parameters
    ----------
    value : float
        In `unit`.
    unit : str
    step : Decimal, optional
        Weight of its last digit [unit]; four significant figures without either.
    uncertainty : float, optional
        Expanded uncertainty [unit].
    """
    if step is None or (uncertainty and _place(Decimal(repr(uncertainty)), 2) > _last_place(step)):
        return show(value, unit, uncertainty=uncertainty or None)
    return show(value, unit, decimals=-_last_place(step))


def _last_place(step: Decimal) -> int:
    # not adjusted(): 0.7 h has a last digit of 360 s, and is 2520 s
    return int(step.normalize().as_tuple().exponent)


def show_exact(value: float, unit: str) -> str:
    """Return a finite value with every figure of its shortest decimal form: `parse` gives it back exactly."""
    number = Decimal(repr(float(value))).normalize(_WIDE)
    return _written([number], unit, int(number.as_tuple().exponent), abs(number), strip=True)


def unit_of_difference(unit: str) -> str:
    """Return the unit of what lies between two values: between temperatures lie kelvins."""
    return "K" if unit == "°C" else unit


def show_band(low: float | None, high: float | None, unit: str) -> str:
    """Return a range such as ``14.4 to 15.6 V``; ``at most 0.2 Ω`` or ``at least 1 MΩ`` where half open.

    Where one end would be written as nothing at the last place of the other, each has its own prefix:
    ``1 MΩ to 1000 GΩ``.
    """
    low = None if low is None or math.isinf(low) else low
    high = None if high is None or math.isinf(high) else high
    if low is None or high is None:
        if high is not None:
            return f"at most {show(high, unit)}"
        return "any value" if low is None else f"at least {show(low, unit)}"
    if math.isnan(low) or math.isnan(high):
        return "not known"
    ends = [Decimal(repr(float(low))), Decimal(repr(float(high)))]
    size, place = max(abs(end) for end in ends), _place_of_ends(ends, unit)
    if any(end and not _rounded(end, place) for end in ends):  # too far apart for one prefix
        return f"{show(low, unit)} to {show(high, unit)}"
    return _written(ends, unit, place, size, strip=True)


def show_centre(value: float, low: float, high: float, unit: str) -> str:
    """Return the middle of a range as it stands beside `show_band`: in its unit, and never outside of it.

    It has two figures of half the width; where it is less than that itself, of the way to the nearer end.
    """
    if not all(math.isfinite(each) for each in (value, low, high)) or low >= high:
        return show(value, unit)
    number, *ends = (Decimal(repr(float(each))) for each in (value, low, high))
    half, size = (ends[1] - ends[0]) / 2, max(abs(end) for end in ends)
    place, of_ends = _place(half, 2), _place_of_ends(ends, unit)
    if 0 < abs(number) < half:
        nearer = min(number - ends[0], ends[1] - number)
        place = min(place, _place(nearer, 2)) if nearer > 0 else of_ends
    if not _rounded(ends[0], of_ends) <= _rounded(number, place) <= _rounded(ends[1], of_ends):
        place = of_ends
    apart = any(end and not _rounded(end, of_ends) for end in ends)
    if unit not in TABLE or apart or _whole(ends, unit, _rounded(size, of_ends)) is not None:
        return show(value, unit, uncertainty=10.0**place)
    power, prefix = TABLE[unit].prefix(_rounded(size, of_ends).adjusted(), None)
    scaled = _rounded(number, place).scaleb(-power, context=_WIDE)
    return _with_unit(f"{scaled:.{max(0, power - place)}f}", prefix + unit)


def _place_of_ends(ends: list[Decimal], unit: str) -> int:
    """Return the place that both ends of a range are rounded at."""
    size, width = max(abs(end) for end in ends), abs(ends[1] - ends[0])
    return min(_unforced(size, unit), _place(width, 2)) if width else _unforced(size, unit)


def show_value(value: Value) -> str:
    """Return a typed value as it is read back: its bound or overload, and every figure typed."""
    if value.number is None or value.kind == "overload":
        return "overload"
    sign = {"above": "> ", "below": "< "}.get(value.kind, "")
    typed = value.resolution is not None
    place = _last_place(value.resolution) if value.resolution else _place(value.number, _FIGURES)
    return sign + _written([value.number], value.unit, place, abs(value.number), strip=not typed)


def _place(number: Decimal, figures: int) -> int:
    """Return the power of ten of the last of so many significant figures, rounding up seen to."""
    if number == 0:
        return 0
    place = number.adjusted() - figures + 1
    rounded = _rounded(number, place)
    return place + 1 if rounded.adjusted() > number.adjusted() else place


def _unforced(number: Decimal, unit: str) -> int:
    """Return the place for four figures; what is written as whole units is never rounded.

    10625 µF is that and not 10620 µF: farads have no prefix between, and the last figure would look meant.
    """
    place = _place(number, _FIGURES)
    if unit not in TABLE or number == 0:
        return min(place, 0)
    power, _ = TABLE[unit].prefix(_rounded(number, place).adjusted(), None)
    return min(place, power)


def _rounded(number: Decimal, place: int) -> Decimal:
    rounded = number.quantize(Decimal(1).scaleb(place), rounding=ROUND_HALF_EVEN, context=_WIDE)
    return abs(rounded) if rounded == 0 else rounded


def _written(numbers: list[Decimal], unit: str, place: int, size: Decimal, *, strip: bool) -> str:
    """Return numbers rounded at 10^`place` with one prefix, chosen by the rounded `size`."""
    largest = _rounded(size, place)
    power, prefix = (0, "")
    if unit in TABLE and largest != 0:
        whole = _whole(numbers, unit, largest) if strip else None
        if whole is not None:
            return whole
        power, prefix = TABLE[unit].prefix(largest.adjusted(), None if strip else place)
    digits = max(0, power - place)
    texts = [f"{_rounded(number, place).scaleb(-power, context=_WIDE):.{digits}f}" for number in numbers]
    while strip and digits and all(text.endswith("0") for text in texts):
        digits -= 1
        texts = [text[:-1].removesuffix(".") for text in texts]
    return _with_unit(" to ".join(texts), prefix + unit)


def _whole(numbers: list[Decimal], unit: str, largest: Decimal) -> str | None:
    """Return numbers in a larger unit than `unit` (min, h) where each is a whole number of it."""
    for name, size in sorted(TABLE[unit].others.items(), key=lambda other: -Decimal(other[1])):
        one = Decimal(size)
        if one > 1 and largest >= 2 * one and not any(_WIDE.remainder(number, one) for number in numbers):
            return _with_unit(" to ".join(f"{_WIDE.divide(number, one):.0f}" for number in numbers), name)
    return None


def _with_unit(text: str, unit: str) -> str:
    return f"{text} {unit}" if unit else text
