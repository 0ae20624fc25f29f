"""The units known here: how each is typed and shown.

Symbols and prefixes follow the SI Brochure (9th ed., tables 3, 4, 7 and 8); the letters that stand
for a decimal point follow IEC 60062.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

POWERS = {"p": -12, "n": -9, "µ": -6, "u": -6, "m": -3, "k": 3, "K": 3, "M": 6, "Meg": 6, "meg": 6, "G": 9}
"""Prefixes read, with their powers of ten."""

_ALL = ("p", "n", "µ", "u", "m", "k", "M", "G")


@dataclass(frozen=True, kw_only=True)
class Unit:
    """How one unit is typed and shown."""

    symbols: tuple[str, ...]
    """Spellings that take a prefix; the first is the one shown."""
    plain: tuple[str, ...] = ()
    """Further spellings, without a prefix."""
    prefixes: tuple[str, ...] = ()
    bare_prefix: bool = True
    """Whether ``85m`` is enough: not where the letter could be a unit, as for s and m."""
    others: Mapping[str, str] = field(default_factory=dict)
    """Units of another size, in base units: 60 for min."""
    code: Mapping[str, int] = field(default_factory=dict)
    """Letters that stand for the point (``4k7``), with their powers of ten."""
    shown: str = "1"
    """Prefixes written, smallest first; ``1`` is the unit itself."""
    shown_whole_from: int = 0
    """Power of ten from which the unit itself is written rather than the next smaller prefix."""
    example: str

    def factors(self) -> dict[str, Decimal]:
        """Return every accepted ending with what it multiplies by."""
        table = dict.fromkeys(("", *self.symbols, *self.plain), Decimal(1))
        for prefix in self.prefixes:
            size = Decimal(1).scaleb(POWERS[prefix])
            table |= {prefix + symbol: size for symbol in self.symbols}
            if self.bare_prefix:
                table[prefix] = size
        return table | {name: Decimal(size) for name, size in self.others.items()}

    def spelled(self) -> frozenset[str]:
        """Return the endings in which the unit itself is spelled out: mV, not m."""
        names = {*self.symbols, *self.plain, *self.others}
        prefixed = {prefix + symbol for prefix in self.prefixes for symbol in self.symbols}
        return frozenset(names | prefixed)

    def prefix(self, power: int, place: int | None = None) -> tuple[int, str]:
        """Return power and letter of the prefix to write a number with.

        Parameters
        ----------
        power : int
            Power of ten of its first figure.
        place : int, optional
            Power of ten of its last one: no prefix is taken that would add zeros behind it.
        """
        steps = [(0 if letter == "1" else POWERS[letter], letter.strip("1")) for letter in self.shown]
        reached = [own for own, letter in steps if power >= (own if letter else self.shown_whole_from)]
        least = max([steps[0][0], *reached])
        fitting = [step for step in steps if step[0] >= (least if place is None else max(least, place))]
        return fitting[0] if fitting else steps[-1]


TABLE: dict[str, Unit] = {
    "V": Unit(
        symbols=("V",), plain=("volt", "volts"), prefixes=_ALL, shown="pnµm1kMG", example="12.04 V or 85 mV"
    ),
    "A": Unit(
        symbols=("A",), plain=("amp", "amps", "ampere"), prefixes=_ALL, shown="pnµm1kMG",
        example="1.2 A or 85 mA",
    ),
    # 0.2 Ω is not shown as '200 mΩ': that is one slip of the shift key from '200 MΩ'
    "Ω": Unit(
        symbols=("Ω", "ohm", "ohms", "Ohm", "Ohms"), plain=("R",), prefixes=(*_ALL, "K", "Meg", "meg"),
        code={"R": 0, "k": 3, "K": 3, "M": 6, "G": 9}, shown="pnµm1kMG", shown_whole_from=-1,
        example="0.12 Ω, 4k7 or >200 MΩ",
    ),
    # reservoirs are spoken of in thousands of µF: 'mF' is misread
    "F": Unit(
        symbols=("F",), plain=("farad",), prefixes=("p", "n", "µ", "u", "m"),
        code={"p": -12, "n": -9, "µ": -6, "u": -6, "m": -3, "F": 0}, shown="pnµ1", shown_whole_from=-1,
        example="6800 µF",
    ),
    "s": Unit(
        symbols=("s",), plain=("sec",), prefixes=("p", "n", "µ", "u", "m"), bare_prefix=False,
        others={"min": "60", "h": "3600"}, shown="pnµm1", example="30 s or 12 min",
    ),
    "Hz": Unit(symbols=("Hz",), prefixes=("m", "k", "M", "G"), shown="m1kMG", example="50 Hz"),
    "W": Unit(symbols=("W",), plain=("watt", "watts"), prefixes=_ALL, shown="pnµm1kMG", example="11.6 W"),
    "VA": Unit(symbols=("VA",), prefixes=("m", "k", "M"), shown="m1kM", example="80 VA"),
    "°C": Unit(symbols=("°C",), plain=("C", "degC", "℃"), example="23.5 °C"),
    "K": Unit(symbols=("K",), plain=("kelvin",), example="45 K"),
    "K/W": Unit(symbols=("K/W",), plain=("°C/W", "C/W"), example="2.5 K/W"),
    "%": Unit(symbols=("%",), plain=("per cent", "percent"), example="11 %"),
    "dB": Unit(symbols=("dB",), example="60 dB"),
    "m": Unit(
        symbols=("m",), plain=("metre", "metres"), prefixes=("µ", "u", "m", "k"), bare_prefix=False,
        others={"cm": "0.01"}, shown="µm1", shown_whole_from=-1, example="2 m",
    ),
    "mm²": Unit(symbols=("mm²",), plain=("mm2", "mm^2"), example="0.75 mm²"),
    "": Unit(symbols=(), example="12"),
}  # fmt: skip

UNITS = tuple(TABLE)
"""The units known here, as `parse` and `show` name them; ``""`` is a bare number."""

FACTORS = {name: unit.factors() for name, unit in TABLE.items()}
"""For each unit, every accepted ending with what it multiplies by."""

SPELLED = {name: unit.spelled() for name, unit in TABLE.items()}
"""For each unit, the endings in which the unit itself is spelled out."""
