"""The closed grammar of a number with its unit; full matches only."""

from __future__ import annotations

import re
from decimal import Decimal

from ohmward.quantity.units import FACTORS, TABLE

PLAIN = re.compile(r"([+-]? ?)(\d+(?:\.\d+)?|\.\d+)([eE][+-]?\d+)?(?: *([^\s\d.+,_-].*))?", re.ASCII)
"""Sign, digits with one point, exponent, ending."""
CODE = re.compile(r"([+-]? ?)(\d*)([A-Za-zµ])(\d+)(.*)", re.ASCII)
"""Sign, digits, letter in place of the point, digits, and what is left over."""

_DIGITS = 20
_POWER = 24


class TooMuchError(ArithmeticError):
    """More figures, or a larger or smaller power of ten, than any meter has."""


def number(entry: str, unit: str) -> tuple[Decimal, Decimal] | None:
    """Return the number and the weight of its last digit, in `unit`; None when it does not match.

    Raises
    ------
    TooMuchError
        When it matches and is beyond what any meter shows.
    """
    plain = PLAIN.fullmatch(entry)
    if plain and (plain[4] or "") in FACTORS[unit]:
        power = plain[3][1:] if plain[3] else "0"
        return _scaled(plain[1] + plain[2], power, FACTORS[unit][plain[4] or ""])
    code = CODE.fullmatch(entry)
    letters = TABLE[unit].code
    if code and code[3] in letters and not code[5]:
        digits = f"{code[1]}{code[2] or '0'}.{code[4]}"
        return _scaled(digits, "0", Decimal(1).scaleb(letters[code[3]]))
    return None


def _scaled(digits: str, power: str, factor: Decimal) -> tuple[Decimal, Decimal]:
    written = Decimal(digits.replace(" ", ""))
    if len(written.as_tuple().digits) > _DIGITS or len(power) > 4 or abs(int(power)) > _POWER:
        raise TooMuchError
    last = int(written.as_tuple().exponent) + int(power)
    return written.scaleb(int(power)) * factor, Decimal(1).scaleb(last) * factor
