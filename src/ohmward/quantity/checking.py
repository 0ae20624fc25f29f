"""Questions to a value: can it be meant, and is it within limits?"""

from __future__ import annotations

from decimal import Decimal

from ohmward.quantity.value import Value
from ohmward.quantity.writing import show, show_band

_LEFT_OUT = {"A": (-3, 3)}
"""Powers of ten by which a prefix left out altogether shifts a value, where not every one is likely.

A current meter shows A or mA: what is a million times off was not read there, and is not guessed at.
"""
_SLIPS = {"m": (9, 3, 6), "M": (-9, -6, -3), "k": (-3, 3), "µ": (3, 6), "u": (3, 6)}
"""Powers of ten that a slip of prefix makes, likeliest first: m for M first of all."""


def implausible(
    value: Value,
    low: float | None,
    high: float | None,
    what: str = "",
    *,
    allowed: tuple[float | None, float | None] = (None, None),
    usual: str = "",
) -> str | None:
    """Return the question to ask before a value is taken; None where there is nothing to ask.

    Parameters
    ----------
    value : Value
        As parsed; a bound is asked about as one. An overload is never a slip of the fingers and is not asked
        about.
    low, high : float, optional
        Plausible range, in the value's base unit; None where open.
    what : str
        What is read, such as ``insulation``.
    allowed : tuple
        Low and high limit: a slip that would be outside them too is not put in anyone's mouth.
    usual : str
        What is expected, in words; else the plausible range.
    """
    if value.number is None or _between(value.number, low, high):
        return None
    of = f" of {what}" if what else ""
    meant = _meant(value, low, high)
    if meant is not None and _between(meant, *allowed):
        return f"{_words(value, value.number)}{of}? Did you mean {_words(value, meant)}?"
    usual = usual or show_band(low, high, value.unit)
    over = ", over the range of the meter" if value.kind == "above" else ""
    return f"{_words(value, value.number)}{of}{over}? Expected here: {usual}."


def within(value: Value, low: float | None = None, high: float | None = None) -> bool | None:
    """Return whether a value is within limits (in its base unit): yes, no, or it cannot be said.

    A bound above its high limit is outside for certain, and one above its low limit is inside where
    there is no high one; other bounds settle nothing. So does an overload, whose range is not known.
    """
    if low is None and high is None:
        return True
    if value.number is None:
        return None
    if value.kind == "exact":
        return _between(value.number, low, high)
    met, broken = (low, high) if value.kind == "above" else (high, low)
    past = 1 if value.kind == "above" else -1
    if broken is not None:
        return False if past * (value.number - _decimal(broken)) >= 0 else None
    return True if met is not None and past * (value.number - _decimal(met)) >= 0 else None


def _between(number: Decimal, low: float | None, high: float | None) -> bool:
    return (low is None or number >= _decimal(low)) and (high is None or number <= _decimal(high))


def _decimal(limit: float) -> Decimal:
    """Return a limit as it was written: 0.1, not the binary fraction next to it."""
    return Decimal(repr(float(limit)))


def _meant(value: Value, low: float | None, high: float | None) -> Decimal | None:
    """Return the likeliest value in the range that a slip of prefix or sign turns into this one."""
    number = value.number
    if not number:
        return None
    prefix = next((letter for letter in _SLIPS if letter in value.raw), "")
    moved = [number.scaleb(power) for power in _SLIPS.get(prefix, ())]
    moved.append(-number)
    if value.unit in _LEFT_OUT or _far(abs(number), low, high):
        moved += [number.scaleb(power) for power in _LEFT_OUT.get(value.unit, (3, -3, 6, -6, 9, -9))]
    if value.kind == "above":  # over the range of the meter: that of a lower one is not meant
        moved = [other for other in moved if other > number]
    return next((other for other in moved if _between(other, low, high)), None)


def _far(size: Decimal, low: float | None, high: float | None) -> bool:
    """Return whether a magnitude is so far off that a prefix may have been left out altogether."""
    ends = [abs(end) for end in (low, high) if end is not None]
    if not ends or not size:
        return False
    if high is not None and size > 100 * Decimal(max(ends)):
        return True
    return low is not None and low > 0 and size < Decimal(low) / 100


_SIDES = {"above": "more than ", "below": "less than "}


def _words(value: Value, number: Decimal) -> str:
    """Return a number in words: on the side on which what is asked about lies of it, where it is a bound."""
    return _SIDES.get(value.kind, "") + show(float(number), value.unit)
