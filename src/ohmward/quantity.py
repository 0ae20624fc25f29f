"""Values and units: reading what a person types, writing what a person reads.

A closed grammar on Decimal: an optional bound, an optional sign, digits with one point, an optional
exponent, an optional prefix and unit, nothing left over. What could be read two ways is refused with
an example, never guessed. The step declares the unit; a bare number is in that unit.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Literal, NoReturn

import msgspec

from ohmward.errors import InputError, Mistake
from ohmward.text import visible

ValueKind = Literal["exact", "above", "below", "overload"]


class Value(msgspec.Struct, frozen=True, kw_only=True):
    """A typed or read value.

    `number` is in the base unit `unit` (V, A, Ω, F, s, Hz, °C …); None for an overload.
    """

    raw: str
    kind: ValueKind = "exact"
    number: Decimal | None = None
    unit: str
    resolution: Decimal | None = None
    """Weight of the last typed digit, in the base unit."""

    @property
    def si(self) -> float:
        """The number in the base unit; the bound itself for a bound; inf for an overload."""
        return float("inf") if self.number is None else float(self.number)


class QuantityError(InputError):
    """An entry that is not a value of the wanted unit: the reason, and an example of a good one."""

    def __init__(self, text: str, reason: str, mend: str) -> None:
        self.text, self.reason, self.mend = text, reason, mend
        super().__init__([Mistake(where="", field="", value=visible(text), why=reason, mend=mend)])

    def __str__(self) -> str:
        entry = f"'{self.text}': " if self.text else ""
        return visible(f"{entry}{self.reason}. {self.mend}")


@dataclass(frozen=True, slots=True)
class _Unit:
    spellings: tuple[str, ...]
    prefixes: str = ""
    """Prefixes read; µ stands for both micro signs and u."""
    shown: str = ""
    """Prefixes written."""
    scaled: tuple[tuple[str, int], ...] = ()
    """Other units read, with their size in the base unit."""
    rkm: str = ""
    """Letters that may stand for the point (IEC 60062)."""
    example: str = "12.04"


UNITS: dict[str, _Unit] = {
    "V": _Unit(("V", "v", "volt", "volts"), "nµmk", "nµmk", example="12.04 or 85 mV"),
    "A": _Unit(("A", "a", "amp", "amps"), "pnµmk", "pnµmk", example="1.2 or 85 mA"),
    "Ω": _Unit(
        ("Ω", "ohm", "ohms", "Ohm", "Ohms", "R"),
        "µmkMGT",
        "µmkMGT",
        rkm="mRkMG",
        example="0.12, 4k7 or >200M",
    ),
    "F": _Unit(("F", "farad"), "pnµm", "pnµ", rkm="pnµmF", example="6800 µF"),
    "s": _Unit(
        ("s", "sec", "second", "seconds"), "nµm", "nµm", (("min", 60), ("h", 3600)), example="90 s or 12 min"
    ),
    "Hz": _Unit(("Hz", "hz", "HZ"), "mkMG", "mkMG", example="50 Hz"),
    "W": _Unit(("W", "w", "watt", "watts"), "µmkM", "µmkM", example="3.5 W"),
    "VA": _Unit(("VA", "va"), "mk", "mk", example="80 VA"),
    "m": _Unit(("m", "metre", "metres"), "m", "", (("cm", 0),), example="2 m"),
    "mm²": _Unit(("mm²", "mm2", "mm^2"), example="0.75 mm²"),
    "°C": _Unit(("°C", "C", "degC", "deg C", "℃"), example="23.5 °C"),
    "K": _Unit(("K",), example="25 K"),
    "K/W": _Unit(("K/W", "°C/W", "C/W"), example="2.5 K/W"),
    "%": _Unit(("%", "percent", "per cent"), example="1.5 %"),
    "dB": _Unit(("dB",), example="60 dB"),
    "": _Unit((), example="3"),
}
_EXPONENT = {
    "p": -12,
    "n": -9,
    "µ": -6,
    "u": -6,
    "m": -3,
    "k": 3,
    "M": 6,
    "Meg": 6,
    "meg": 6,
    "G": 9,
    "T": 12,
}
_PREFIX_AT = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T"}
_OVERLOAD = re.compile(r"(?:O\.?L\.?|0\.?L\.?|overload|-{3,})", re.IGNORECASE)
_NUMBER = re.compile(r"(?P<digits>[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+))(?P<power>[eE][+-]?[0-9]{1,3})?")
_RKM = re.compile(r"(?P<sign>[+-]?)(?P<whole>[0-9]*)(?P<letter>[pnµmRkMGF])(?P<part>[0-9]+)")
_SPACES = str.maketrans(
    {"\u00a0": " ", "\u202f": " ", "\u2009": " ", "\u2212": "-", "\u03bc": "µ", "\u2126": "Ω"}
)
_LARGEST = Decimal("1e30")


def parse(text: str, unit: str) -> Value:
    """Read what a person typed as a value of `unit`.

    Parameters
    ----------
    text : str
        Such as ``12.04``, ``85 mV``, ``4k7``, ``> 200 MΩ`` or ``OL``.
    unit : str
        Canonical unit: a key of `UNITS`.

    Raises
    ------
    QuantityError
        With the reason and an example, when it is anything else.
    """
    spec = UNITS[unit]
    plain = text.translate(_SPACES).strip()
    if not plain:
        raise QuantityError("", "nothing was entered", _example(spec, unit))
    if _OVERLOAD.fullmatch(plain):
        return Value(raw=text, kind="overload", unit=unit)
    kind: ValueKind = "exact"
    if plain[0] in "<>≤≥":
        kind = "above" if plain[0] in ">≥" else "below"
        plain = plain[1:].lstrip(" =")
    number, place, scale = _number(plain, text, spec, unit)
    resolution = scale.scaleb(place)
    if abs(number) > _LARGEST or (number != 0 and abs(number) < 1 / _LARGEST):
        raise QuantityError(text, "the number is out of all range", _example(spec, unit))
    return Value(raw=text, kind=kind, number=number, unit=unit, resolution=resolution)


def _number(plain: str, text: str, spec: _Unit, unit: str) -> tuple[Decimal, int, Decimal]:
    """Return number in the base unit, exponent of its last digit, and the scale of its suffix."""
    coded = _RKM.match(plain) if spec.rkm else None
    if coded and (coded["whole"] or coded["letter"] == "R") and coded["letter"] in spec.rkm:
        tail = plain[coded.end() :].strip()
        if tail == "" or (tail in spec.spellings and tail != "R"):
            written = Decimal(f"{coded['sign']}{coded['whole'] or '0'}.{coded['part']}")
            scale = Decimal(1).scaleb(_EXPONENT.get(coded["letter"], 0))
            return written * scale, -len(coded["part"]), scale
    match = _NUMBER.match(plain)
    if match is None:
        _refuse(plain, text, spec, unit)
    suffix = plain[match.end() :]
    found = _scale(suffix.strip(), spec)
    if found is None or (suffix[:1] == " " and re.match(r"\s*[0-9]", suffix)):
        _refuse(plain, text, spec, unit)
    written = Decimal(match["digits"] + (match["power"] or ""))
    exponent = written.as_tuple().exponent
    return written * found, int(exponent), found


def _scale(suffix: str, spec: _Unit) -> Decimal | None:
    """Return the size of a suffix in the base unit, None when it is not one of this unit's."""
    if suffix == "" or suffix in spec.spellings:
        return Decimal(1)
    for name, size in spec.scaled:
        if suffix == name:
            return Decimal(size) if size else Decimal("0.01")
    for prefix in _prefixes(spec):
        exponent = Decimal(1).scaleb(_EXPONENT[prefix])
        if suffix == prefix and not spec.scaled:
            return exponent
        if suffix.startswith(prefix) and suffix[len(prefix) :].strip() in spec.spellings:
            return exponent
    return None


def _prefixes(spec: _Unit) -> Iterator[str]:
    for prefix in spec.prefixes:
        yield prefix
        if prefix == "µ":
            yield "u"
        if prefix == "M":
            yield from ("Meg", "meg")


def _refuse(plain: str, text: str, spec: _Unit, unit: str) -> NoReturn:
    raise QuantityError(text, _reason(plain, spec, unit), _example(spec, unit))


def _reason(plain: str, spec: _Unit, unit: str) -> str:  # noqa: PLR0911 one reason a line
    if "," in plain:
        return "a comma can be read two ways: write 1.2 for one point two, 1200 for twelve hundred"
    if re.search(r"[0-9.][Oo]|[Oo][0-9.]", plain):
        return "there is a letter O in it; write a zero"
    if re.search(r"[0-9.]l|l[0-9.]|I[0-9]", plain):
        return "there is a letter l or I in it; write a one"
    if re.fullmatch(r"[+-]?(nan|inf(inity)?)\s*\S*", plain, re.IGNORECASE):
        return "that is not a number that a meter can show"
    if "_" in plain or re.search(r"[0-9]\s+[0-9]", plain):
        return "the digits are not in one piece"
    if not plain.isascii() and re.search(r"\d", plain) and not re.search(r"[0-9]", plain):
        return "those are not plain digits 0 to 9"
    match = _NUMBER.match(plain)
    if match is None:
        return "that is not a number"
    suffix = plain[match.end() :].strip()
    for other, other_spec in UNITS.items():
        if other != unit and suffix and _names(suffix, other_spec):
            return f"'{suffix}' is a unit of another quantity; here it is {unit or 'a bare number'}"
    if suffix[:1] == "K":
        return "K is kelvin; kilo is a small k"
    if suffix[:1] in _EXPONENT and spec.scaled and suffix in _EXPONENT:
        return f"'{suffix}' alone could be a prefix or a unit"
    if unit and suffix:
        return f"'{suffix}' is not a prefix and unit of {unit}"
    return f"'{suffix}' is left over after the number"


def _names(suffix: str, spec: _Unit) -> bool:
    """Return whether a suffix ends in a spelling of the unit (a bare prefix does not count)."""
    if suffix in spec.spellings or suffix in {name for name, _ in spec.scaled}:
        return True
    return any(
        suffix.startswith(prefix) and suffix[len(prefix) :].strip() in spec.spellings for prefix in _EXPONENT
    )


def _example(spec: _Unit, unit: str) -> str:
    wanted = f"a value in {unit}" if unit else "a number"
    return f"Enter {wanted}, such as {spec.example}"


def within(value: Value, low: float | None, high: float | None) -> bool | None:
    """Return whether a value is inside its limits; None when a bound or an overload leaves it open.

    An overload says only that the value is above what the meter shows: it is outside an upper limit,
    and cannot prove a lower one (the range is not known; type ``>`` and the range instead).
    """
    if value.kind == "overload":
        return False if high is not None else None
    number = value.si
    if value.kind == "exact":
        return (low is None or number >= low) and (high is None or number <= high)
    if value.kind == "above":
        if high is not None and number >= high:
            return False
        return True if high is None and low is not None and number >= low else None
    if low is not None and number <= low:
        return False
    return True if low is None and high is not None and number <= high else None


def implausible(value: Value, low: float | None, high: float | None, what: str = "") -> str | None:
    """Return the question to ask before an unlikely value is taken; None when it is plausible.

    Parameters
    ----------
    value : Value
    low, high : float, optional
        Plausible range [unit of the value].
    what : str, optional
        What is read, for the question ('insulation').
    """
    if value.number is None:
        if value.unit == "Ω" or high is None:
            return None
        return "Over range: is that what the meter shows, on its highest range?"
    number = value.si
    if value.kind == "above":
        plausible = high is None or number <= high
    elif value.kind == "below":
        plausible = low is None or number >= low
    else:
        plausible = (low is None or number >= low) and (high is None or number <= high)
    if plausible:
        return None
    shown = show(number, value.unit)
    asked = f"{shown} of {what}?" if what else f"{shown}?"
    slips = [float(value.number.scaleb(power)) for power in (3, -3, 6, -6, 9, -9)]
    likely = [other for other in slips if (low is None or other >= low) and (high is None or other <= high)]
    if likely:
        return f"{asked} Did you mean {show(_nearest(likely, low, high), value.unit)}?"
    if low is not None and low <= -number and (high is None or -number <= high):
        return f"{asked} Did you mean {show(-number, value.unit)}?"
    return f"{asked} That is outside {_range(low, high, value.unit)}."


def _nearest(numbers: list[float], low: float | None, high: float | None) -> float:
    """Return the number nearest, on a logarithmic scale, to the middle of the plausible range."""
    ends = [abs(end) for end in (low, high) if end]
    middle = math.sqrt(ends[0] * ends[-1]) if ends else 1.0
    return min(numbers, key=lambda number: abs(math.log(abs(number) / middle)) if number else math.inf)


def _range(low: float | None, high: float | None, unit: str) -> str:
    if low is None:
        return f"what is likely (up to {show(high or 0.0, unit)})"
    if high is None:
        return f"what is likely (from {show(low, unit)})"
    return f"what is likely ({show(low, unit)} to {show(high, unit)})"


def show(value: float, unit: str, *, uncertainty: float | None = None, decimals: int | None = None) -> str:
    """Write a value with as many figures as it deserves: '12.04 V', '85 mV', '4.7 kΩ'.

    Parameters
    ----------
    value : float
        In the base unit.
    unit : str
        Canonical unit.
    uncertainty : float, optional
        In the base unit; two of its figures decide the last place (GUM 7.2.6).
    decimals : int, optional
        Decimals in the base unit instead. With neither, four significant figures.
    """
    place = _place(value, uncertainty, decimals)
    number = _rounded(value, place)
    if uncertainty is None and decimals is None:
        place = min(place, _power(number, -99, unit))  # '200 MΩ', not '0.2 GΩ'
    power = _power(number, place, unit)
    return _written(number, place, power, unit)


def show_band(low: float, high: float, unit: str) -> str:
    """Write a band with one unit: '14.9 to 15.1 V'; its width decides the last place."""
    half = (high - low) / 2
    if half <= 0:
        return show(low, unit)
    place = _place(high, half, None)
    low_number, high_number = _rounded(low, place), _rounded(high, place)
    power = _power(max(low_number, high_number, key=abs), place, unit)
    first = _written(low_number, place, power, "")
    return f"{first} to {_written(high_number, place, power, unit)}"


def _place(value: float, uncertainty: float | None, decimals: int | None) -> int:
    """Return the exponent of the last figure to be written."""
    if decimals is not None:
        return -decimals
    if uncertainty is not None and uncertainty > 0:
        return _rounded_place(Decimal(repr(float(uncertainty))), 2)
    number = Decimal(repr(float(value)))
    if not number:
        return 0
    place = _rounded_place(number, 4)
    exact = number.quantize(Decimal(1).scaleb(place), rounding=ROUND_HALF_EVEN).normalize()
    return max(place, int(exact.as_tuple().exponent))


def _rounded_place(number: Decimal, figures: int) -> int:
    place = number.adjusted() - figures + 1
    grown = number.quantize(Decimal(1).scaleb(place), rounding=ROUND_HALF_EVEN)
    return max(place, grown.adjusted() - figures + 1)


def _rounded(value: float, place: int) -> Decimal:
    return Decimal(repr(float(value))).quantize(Decimal(1).scaleb(place), rounding=ROUND_HALF_EVEN)


def _power(number: Decimal, place: int, unit: str) -> int:
    """Return the exponent of the prefix to write a number with; no figure is written that is not meant."""
    allowed = sorted([0, *(_EXPONENT[prefix] for prefix in UNITS[unit].shown)])
    size = number.adjusted() if number else place
    fitting = [power for power in allowed if power <= size]
    power = fitting[-1] if fitting else allowed[0]
    while power < place and any(other > power for other in allowed):
        power = min(other for other in allowed if other > power)
    return power


def _written(number: Decimal, place: int, power: int, unit: str) -> str:
    scaled = number.scaleb(-power)
    digits = max(power - place, 0)
    text = f"{scaled:.{digits}f}"
    if text.startswith("-") and not text.strip("-0."):
        text = text[1:]
    symbol = f"{_PREFIX_AT[power]}{unit}"
    return f"{text} {symbol}" if symbol else text
