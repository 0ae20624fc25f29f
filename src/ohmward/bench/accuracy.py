"""Accuracy specifications of meters, in the notation the trade prints them in.

Read: ``±(0.5 % + 2)``, ``0.05 % rdg + 0.01 % range``, ``0.02 Ω``, ``14 ppm rdg + 2 ppm range``,
``±(1 % + 3 dgt)``, ``±2.2 °C or ±0.75 %, whichever is greater``, of a thermometer also ``1.5 K``: the
half-width is a difference. Counts are multiplied by the
resolution of the range in use, '% of range' by the nominal value of that range; a percentage without
a word is of the reading. Counts already cover the resolution of the display, so it is not added again.

The half-width found here is the limit of error; a rectangular distribution over it is GUM 4.3.7.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from ohmward.errors import InputError, Mistake
from ohmward.quantity import Value, parse, states_unit, unit_of_difference

_READING = frozenset({"rdg", "rdgs", "reading", "readings", "r", "value", "mv"})
_RANGE = frozenset({"range", "rng", "fs", "fsd", "full scale"})
_COUNTS = frozenset({"", "d", "dgt", "dgts", "dig", "digit", "digits", "count", "counts", "lsd"})
_RATIO = {"%": 1e-2, "ppm": 1e-6}
_TERM = re.compile(r"(?P<number>\d+(?:\.\d+)?)\s*(?P<ratio>%|ppm)?\s*(?:of\s+)?(?P<word>.*)", re.DOTALL)
_WORST_OF = re.compile(r",?\s*whichever(?:\s+is)?(?:\s+the)?\s+(?:greater|larger|worse)\s*$", re.IGNORECASE)
_SIGN = re.compile(r"(?:±|\+\s*/\s*-|\+-)\s*")
EXAMPLES = "write it as '±(0.5 % + 2)', '0.05 % rdg + 0.01 % range' or '0.02 {unit}'"


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """One sum of terms: of_reading |x| + of_range R + counts r + absolute."""

    of_reading: float = 0.0
    """Fraction of the reading."""
    of_range: float = 0.0
    """Fraction of the nominal value of the range."""
    counts: float = 0.0
    """Digits of the display."""
    absolute: float = 0.0
    """In the unit of the reading."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """A parsed specification for one range; of several alternatives the largest applies."""

    text: str
    """As written."""
    unit: str
    alternatives: tuple[Terms, ...]
    range_value: float | None = None
    """Nominal value of the range [unit]."""
    resolution: float | None = None
    """Weight of one count on that range [unit]."""

    def half_width(self, value: float) -> float:
        """Return the half-width a of the accuracy about a reading, in its unit.

        a = of_reading |value| + of_range range + counts resolution + absolute, the notation of meter
        makers; rectangular unless the maker states a level (JCGM 100:2008, 4.3.7).
        """
        size, span, step = abs(value), self.range_value or 0.0, self.resolution or 0.0
        return max(
            terms.of_reading * size + terms.of_range * span + terms.counts * step + terms.absolute
            for terms in self.alternatives
        )


def parse_accuracy(
    text: str,
    unit: str,
    *,
    range_value: float | None = None,
    resolution: float | None = None,
    where: str = "accuracy",
    field: str = "accuracy",
) -> Accuracy:
    """Read a specification such as ``±(0.5 % + 2)``.

    Parameters
    ----------
    text : str
        As printed in the meter's manual.
    unit : str
        Unit of the function, as in `quantity.parse`.
    range_value, resolution : float, optional
        Nominal range and weight of one count [unit]; needed by '% of range' and by counts.
    where, field : str
        Named in the error.

    Raises
    ------
    InputError
        All mistakes of the specification at once.
    """
    reader = _Reader(text, unit, where, field)
    alternatives = tuple(
        reader.terms(part)
        for part in re.split(r"\bor\b", _WORST_OF.sub("", text.strip()), flags=re.IGNORECASE)
    )
    if any(terms.counts for terms in alternatives) and not resolution:
        reader.mistake("it counts digits, and the resolution of the range is missing", "Add resolution = …")
    if any(terms.of_range for terms in alternatives) and not range_value:
        reader.mistake("it has a part of range, and the range is missing", "Add range = …")
    if reader.mistakes:
        raise InputError(reader.mistakes)
    return Accuracy(
        text=text, unit=unit, alternatives=alternatives, range_value=range_value, resolution=resolution
    )


class _Reader:
    """Reads the terms of one specification and gathers what is wrong with it."""

    def __init__(self, text: str, unit: str, where: str, field: str) -> None:
        self.text, self.unit, self.where, self.field = text, unit, where, field
        self.mistakes: list[Mistake] = []

    def mistake(self, why: str, mend: str = "") -> None:
        shown = EXAMPLES.format(unit=self.unit or "0.1")
        mend = mend or f"{shown[0].upper()}{shown[1:]}"
        self.mistakes.append(
            Mistake(
                where=self.where,
                field=self.field,
                value=self.text,
                why=why,
                mend=f"{mend}.".replace("..", "."),
            )
        )

    def terms(self, text: str) -> Terms:
        body = _SIGN.sub("", text.strip(), count=1).strip()
        if body.startswith("(") and body.endswith(")"):
            body = body[1:-1].strip()
        if not body:
            self.mistake("nothing is written")
            return Terms()
        found: dict[str, float] = {}
        for part in body.split("+"):
            self._add(found, part.strip())
        if found and not any(found.values()):
            self.mistake("an accuracy of nothing is not one")
        return Terms(**found)

    def _add(self, found: dict[str, float], part: str) -> None:
        if "," in part:
            self.mistake(f"'{part}' has a comma", "Write a decimal point")
            return
        match = _TERM.fullmatch(part)
        if match is None:
            self.mistake(f"'{part}' is not a part of an accuracy")
            return
        name = self._name(part, match["number"], match["ratio"], " ".join(match["word"].lower().split()))
        if name in found:
            self.mistake(
                f"'{part}' says {name.replace('_', ' ')} a second time", "Say 'rdg' and 'range' apart"
            )
        elif name == "absolute":
            self._absolute(found, part)
        elif name:
            found[name] = float(match["number"]) * _RATIO.get(match["ratio"] or "", 1.0)

    def _name(self, part: str, number: str, ratio: str | None, word: str) -> str:
        if ratio:
            if word in _RANGE:
                return "of_range"
            if word in _READING or not word:
                return "of_reading"
            self.mistake(f"'{part}': a part of '{word}' is not known", "Say 'rdg' or 'range'")
            return ""
        if word in _COUNTS:
            if "." not in number:
                return "counts"
            self.mistake(f"'{part}' has neither '%' nor unit, and counts are whole numbers")
            return ""
        return "absolute"

    def _absolute(self, found: dict[str, float], part: str) -> None:
        try:
            value = self._half_width(part)
        except InputError as error:
            self.mistakes.extend(
                Mistake(
                    where=self.where,
                    field=self.field,
                    value=self.text,
                    why=f"'{part}': {each.why}",
                    mend=each.mend,
                )
                for each in error.mistakes
            )
            return
        if value.kind != "exact" or value.number is None:
            self.mistake(f"'{part}' is not a plain value")
            return
        found["absolute"] = float(value.number)

    def _half_width(self, part: str) -> Value:
        """Read a half-width in the unit of what is read or, of temperatures, in that of what lies between."""
        difference = unit_of_difference(self.unit)
        if difference != self.unit and states_unit(part, difference):
            return parse(part, difference)
        return parse(part, self.unit)
