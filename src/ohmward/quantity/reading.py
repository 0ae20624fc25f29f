"""Text to value."""

from __future__ import annotations

import re

from ohmward.quantity.grammar import CODE, PLAIN, TooMuchError, number
from ohmward.quantity.refusing import refusal, refuse_signs
from ohmward.quantity.units import FACTORS, SPELLED, TABLE, UNITS
from ohmward.quantity.value import Kind, QuantityError, Value

_SAME = str.maketrans({
    "\u00a0": " ", "\u2007": " ", "\u2009": " ", "\u202f": " ",  # no-break, figure and thin spaces
    "\u2212": "-", "\u03bc": "µ", "\u2126": "Ω",
})  # fmt: skip
"""Characters that look and mean alike."""

_OVERLOAD = re.compile(r"(?:[Oo]\.?[Ll]|0\.?L|\.OL|-{3,4}|OVLD|OVER|overload)(?: *(\S.*))?")
"""What meters show, or people type, for 'above the range': OL, O.L, 0.L, .OL, ----."""


def parse(text: str, unit: str) -> Value:
    """Read a value that is wanted in `unit`.

    Parameters
    ----------
    text : str
        What was typed. A bare number is in `unit`; a prefix alone (``85m``) is of `unit`.
    unit : str
        One of `UNITS`; the number of the result is in it.

    Returns
    -------
    Value
        With the text as typed and the weight of its last digit.

    Raises
    ------
    QuantityError
        When the text is not a value in `unit`: reason and example.
    ValueError
        When `unit` is none of `UNITS`: a defect of the caller.
    """
    if unit not in TABLE:
        raise ValueError(f"unit {unit!r} is not known here; known: {', '.join(UNITS)}")
    entry = _plain(text)
    refuse_signs(text, entry, unit)
    overload = _OVERLOAD.fullmatch(entry)
    if overload and (overload[1] or "") in FACTORS[unit]:
        return Value(raw=text, kind="overload", unit=unit)
    kind: Kind = "exact"
    if entry[0] in "<>":
        kind = "above" if entry[0] == ">" else "below"
        entry = entry[1:].strip(" ")
    try:
        found = number(entry, unit)
    except TooMuchError:
        raise QuantityError(
            text, "beyond what any meter shows", f"Write it like {TABLE[unit].example}"
        ) from None
    if found is None:
        raise refusal(text, entry, unit)
    return Value(raw=text, kind=kind, number=found[0], unit=unit, resolution=found[1])


def states_unit(text: str, unit: str) -> bool:
    """Return whether a text that `parse` takes says its unit itself: ``18 V``, ``4k7``; not ``18``, ``85m``.

    A bare number has no unit to state.
    """
    entry = _plain(text).lstrip("<> ")
    code, plain = CODE.fullmatch(entry), PLAIN.fullmatch(entry)
    letters = TABLE[unit].code
    if code and code[3] in letters and not code[5]:
        return True
    ending = (plain[4] or "") if plain else ""
    return not unit or ending in SPELLED[unit] or ending in letters


def _plain(text: str) -> str:
    return text.translate(_SAME).strip(" ")
