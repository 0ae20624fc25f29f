"""Why an entry is not read: the best reason there is, and an example."""

from __future__ import annotations

import re
import unicodedata

from ohmward.quantity.grammar import CODE, TooMuchError, number
from ohmward.quantity.units import FACTORS, POWERS, SPELLED, TABLE
from ohmward.quantity.value import QuantityError

_MALFORMED = tuple(
    (re.compile(pattern, re.IGNORECASE), why, mend)
    for pattern, why, mend in (
        (r"[+-]? *((nan|inf(inity|inite)?)\b|∞)", "this is no number", "Write OL for an overload"),
        (r"[+-] *(O\.?L|0\.?L)", "an overload has no sign", "Write OL, or a bound such as < -600 V"),
        (r"--$", "a slip, or an overload", "Write OL for an overload"),
        (r"[=≥≤<>]", "a bound has one > or < before it", "Write it like > 200 MΩ or < 0.5 Ω"),
        (r"[+-]? *0[xb][0-9a-f]", "only decimal numbers are read", ""),
        (r"[+-]? *\d*\.(?![\dOIl])|[+-]? *\d*\.\d+\.", "a number has one point, with digits behind it", ""),
    )
)
"""What is no decimal number: pattern, why, mend (the unit's example where empty)."""
_SPACED = re.compile(r"[+-]? *[\d.]+ +[\d.]")
_LOOKALIKES = str.maketrans("OoIl", "0011")
_LONGEST = 60


def _example(unit: str) -> str:
    return f"Write it like {TABLE[unit].example}"


def refuse_signs(raw: str, entry: str, unit: str) -> None:
    """Refuse an entry by a character that has no place in any value.

    Raises
    ------
    QuantityError
        When there is one.
    """
    if not entry:
        raise QuantityError(raw, "nothing was typed", _example(unit))
    if len(entry) > _LONGEST:
        raise QuantityError(raw[:_LONGEST] + "…", "too long for one value", _example(unit))
    if any(unicodedata.category(char)[0] == "C" for char in entry):
        raise QuantityError(raw, "there is a control character in it", _example(unit))
    if any(char.isdecimal() and not char.isascii() for char in entry):
        plain = "".join(str(unicodedata.decimal(char)) if char.isdecimal() else char for char in entry)
        raise QuantityError(raw, "its digits are not the plain 0 to 9", f"Type {plain}")
    if "," in entry:
        whole, tenths = entry.replace(",", ""), entry.replace(",", ".", 1).replace(",", "")
        mend = f"Write a point for tenths ({tenths})"
        if not whole.lstrip("+-").startswith("0"):  # what begins with 0 has no thousands
            mend += f" and nothing for thousands ({whole})"
        raise QuantityError(raw, "a comma can mean tenths or thousands", mend)
    if "_" in entry:
        raise QuantityError(raw, "an underscore is no part of a value", f"Write {entry.replace('_', '')}")


def refusal(raw: str, entry: str, unit: str) -> QuantityError:
    """Return the refusal of an entry that does not match, its sign of a bound taken off."""
    return (
        _malformed(raw, entry, unit)
        or _lookalike(raw, entry, unit)
        or _code(raw, entry.lstrip("+- "), unit)
        or _ending(raw, entry.lstrip("+- "), unit)
    )


def _malformed(raw: str, entry: str, unit: str) -> QuantityError | None:
    """Return the refusal of what is no decimal number at all; None where that is not the matter."""
    for pattern, why, mend in _MALFORMED:
        if pattern.match(entry):
            return QuantityError(raw, why, mend or _example(unit))
    spaced = _SPACED.match(entry)
    if spaced is None:
        return None
    joined = re.sub(r"(?<=[\d.]) +(?=[\d.])", "", entry)
    return QuantityError(raw, "there is a space inside the number", f"Write {joined}, or read it again")


def _lookalike(raw: str, entry: str, unit: str) -> QuantityError | None:
    """Return the refusal of a letter O or l among digits; None where there is none."""
    head = re.match(r"[+-]? ?[\dOoIl.]+", entry)
    if head is None or not re.search(r"\d", head[0]) or not re.search(r"[OoIl]", head[0]):
        return None
    meant = head[0].translate(_LOOKALIKES) + entry[head.end() :]
    try:
        if number(meant, unit) is None:
            return None
    except TooMuchError:
        return None
    letter, figure = ("O", "zero") if re.search(r"[Oo]", head[0]) else ("l", "one")
    return QuantityError(
        raw, f"there is a letter {letter} among the digits, perhaps for {figure}", f"Write {meant} if so"
    )


def _code(raw: str, body: str, unit: str) -> QuantityError | None:
    """Return the refusal of a letter in place of the point; None where there is none."""
    code = CODE.fullmatch(body)
    if code is None or code[3] in "eE":
        return None
    letters = TABLE[unit].code
    if not letters:
        why = "a letter in place of the point is read for resistance and capacitance only"
        return QuantityError(raw, why, _example(unit))
    digits = f"{code[2] or '0'}.{code[4]}"
    if unit == "Ω" and code[3] == "m":
        why = "m in place of the point could be milli or mega"
        return QuantityError(raw, why, f"Write {digits} mΩ or {digits} MΩ")
    if code[3] in letters:
        why = "nothing stands behind a number with a letter in place of the point"
        return QuantityError(raw, why, f"Write {code[2]}{code[3]}{code[4]} alone")
    return QuantityError(raw, f"'{code[3]}' does not stand for a point in {unit}", _example(unit))


def _ending(raw: str, body: str, unit: str) -> QuantityError:
    """Return the refusal of what stands behind the number."""
    match = re.match(r"(?:\d+(?:\.\d+)?|\.\d+)(?:[eE][+-]?\d+)? *(.+)", body, re.ASCII)
    if match is None:
        return QuantityError(raw, "this is no number", _example(unit))
    why, mend = _ending_reason(match[1].strip(), unit)
    return QuantityError(raw, why, mend or _example(unit))


def _ending_reason(ending: str, unit: str) -> tuple[str, str]:
    """Return why an ending is not taken, and the mend (empty for the unit's example)."""
    name, symbols = unit or "a number without a unit", TABLE[unit].symbols
    alike = sorted(word for word in FACTORS[unit] if _differ_in_capitals(word, ending))
    if unit == "s" and ending == "m":
        reason = "m could be milliseconds or minutes", "Write ms or min"
    elif any(ending in SPELLED[other] for other in SPELLED if other != unit):
        reason = f"its unit is {ending}, and {name} is wanted", ""
    elif alike:
        reason = f"'{ending}' is written differently: capitals count", f"Write {' or '.join(alike)}"
    elif any(ending == prefix + word for prefix in POWERS for word in ("", *symbols)):
        reason = f"the prefix in '{ending}' is not used with {name}", ""
    elif any(ending.endswith(word) for word in symbols):
        known = " ".join(TABLE[unit].prefixes) or "not used here"
        reason = f"the prefix in '{ending}' is not known", f"Prefixes are {known}. {_example(unit)}"
    else:
        reason = f"'{ending}' is not known behind {name}", ""
    return reason


def _differ_in_capitals(word: str, ending: str) -> bool:
    """Return whether an ending is a word in other capitals; m and M are never taken for each other."""
    return word.casefold() == ending.casefold() and {word[:1], ending[:1]} != {"m", "M"}
