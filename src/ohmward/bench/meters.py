"""The meters of a bench, and how wrong each may be: `meters.toml`.

One ``[[meter]]`` a meter, one ``[[meter.accuracy]]`` a function and range::

    [[meter]]
    name = "bench multimeter"
    kind = "multimeter"
    serial = "A-0113"
    calibrated = 2025-03-01
    due = 2027-03-01
    resource = "TCPIP::192.168.0.7::5025::SOCKET"   # left out: read off its display and typed
    profile = "multimeter"                          # left out: the profile of that kind
    idn = "Maker,Model,0001,1.0"                    # left out: whatever answers there
    channel = "101"                                 # where several meters share one instrument
    test_current = "10 A"                           # what it drives through a low resistance, if it is much

    [[meter.accuracy]]
    function = "dc volts"
    range = "60 V"
    resolution = "10 mV"
    accuracy = "±(0.5 % + 2)"

`range` is the nominal (upper) value, or ``0.1 MΩ to 20 MΩ`` where the figure holds only from a lower
end on; left out, the accuracy holds for every reading. The text goes into the first record of a run,
so this format is read for ever.
"""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Iterator
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import msgspec

from ohmward.bench.accuracy import Accuracy, parse_accuracy
from ohmward.errors import InputError, Mistake
from ohmward.quantity import parse
from ohmward.textfile import read_text

FUNCTIONS = {
    "dc volts": "V",
    "ac volts": "V",
    "ohms": "Ω",
    "low ohms": "Ω",
    "insulation": "Ω",
    "dc amps": "A",
    "ac amps": "A",
    "temperature": "°C",
    "frequency": "Hz",
    "capacitance": "F",
    "power": "W",
    "apparent power": "VA",
    "time": "s",
}
"""What a meter can measure, and the unit of it."""

KINDS = ("multimeter", "low-ohm", "insulation", "oscilloscope", "thermometer", "power", "load", "source")

SIMULATED = "OHMWARD,SIMULATED "
"""How every instrument of the simulated bench begins its identity."""

_METER_KEYS = (
    "name", "kind", "serial", "calibrated", "due", "note", "accuracy", "resource", "profile", "idn",
    "channel", "visa", "test_current",
)  # fmt: skip
_ACCURACY_KEYS = ("function", "range", "resolution", "accuracy")


_ALTERNATING = frozenset(
    {"mains_v", "secondary_v", "no_load_v", "case_v", "mains_a", "mains_no_load_a", "earth_a"}
)
_OF_UNIT = {
    "V": "dc volts",
    "A": "dc amps",
    "°C": "temperature",
    "Hz": "frequency",
    "F": "capacitance",
    "W": "power",
    "VA": "apparent power",
    "s": "time",
}


def is_simulated(identity: str) -> bool:
    """Return whether an identity is that of an instrument of the simulated bench."""
    return identity.strip().upper().startswith(SIMULATED)


def function_of(quantity: str, unit: str) -> str:
    """Return the function that a quantity of a procedure is read with; empty where it may be either.

    Mains, secondaries, touch voltage and the currents on the mains side alternate. A resistance may
    be read with ``ohms`` or ``low ohms``, so it is left open.
    """
    if quantity == "insulation":
        return "insulation"
    if quantity in _ALTERNATING:
        return "ac volts" if unit == "V" else "ac amps"
    return _OF_UNIT.get(unit, "")


class Specification(msgspec.Struct, frozen=True, kw_only=True):
    """Accuracy of one function on one range; values in the unit of the function."""

    function: str
    unit: str
    low: float = 0.0
    high: float = float("inf")
    """Range of the magnitude it holds for; infinite when the file gives none."""
    accuracy: Accuracy

    def covers(self, value: float) -> bool:
        """Return whether a reading of that magnitude lies within the range."""
        return self.low <= abs(value) <= self.high


class Meter(msgspec.Struct, frozen=True, kw_only=True):
    """One meter of the bench."""

    name: str
    kind: str = "multimeter"
    serial: str = ""
    calibrated: datetime.date | None = None
    due: datetime.date | None = None
    note: str = ""
    resource: str = ""
    """Where it is reached, when it can be read by the tool."""
    profile: str = ""
    """How it is asked."""
    idn: str = ""
    """What it calls itself."""
    channel: str = ""
    """Which channel of the instrument this meter is, where several share one resource."""
    visa: str = ""
    """VISA library that reaches it; the pure-Python one when empty."""
    test_current_a: float | None = None
    """Low-ohm meter: the current it can measure with; None where the file does not say."""
    specifications: tuple[Specification, ...] = ()

    def specification(self, value: float, unit: str, function: str = "") -> Specification | None:
        """Return the accuracy that applies to a reading, or None where none is stated for it.

        Of the ranges that cover the reading the smallest is taken, as an autoranging meter does; where
        `function` is left open and two functions share that range, the less accurate of them.
        """
        fitting = [
            each
            for each in self.specifications
            if each.unit == unit and (not function or each.function == function) and each.covers(value)
        ]
        if len(fitting) < 2:
            return fitting[0] if fitting else None
        smallest = min(each.high for each in fitting)
        return max(
            (each for each in fitting if each.high == smallest),
            key=lambda each: each.accuracy.half_width(value),
        )

    def half_width(self, value: float, unit: str, function: str = "") -> float | None:
        """Return the accuracy half-width about a reading.

        Parameters
        ----------
        value : float
            The reading [unit].
        unit : str
            Unit as in `quantity.parse`.
        function : str
            One of `FUNCTIONS`; empty where it is not known.

        Returns
        -------
        float or None
            Half-width [unit]; None where the file states no accuracy for such a reading.
        """
        found = self.specification(value, unit, function)
        return None if found is None else found.accuracy.half_width(value)

    def top_range(self, unit: str, function: str = "") -> float | None:
        """Return the highest range of a unit [unit], None where no range is stated."""
        tops = [
            each.high
            for each in self.specifications
            if each.unit == unit and (not function or each.function == function)
        ]
        return max(tops) if tops and max(tops) < float("inf") else None

    def overdue(self, on: datetime.date) -> bool:
        """Return whether its calibration has run out on that day."""
        return self.due is not None and on > self.due


def load(path: Path | str) -> tuple[Meter, ...]:
    """Read a meters file.

    Raises
    ------
    Unreachable
        When the file cannot be read.
    InputError
        All mistakes in it at once.
    """
    return loads(read_text(path), str(path))


def loads(text: str, where: str = "meters") -> tuple[Meter, ...]:
    """Read the text of a meters file; `where` names it in errors.

    Raises
    ------
    InputError
        All mistakes in it at once.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            [
                Mistake(
                    where=where, field="", value="", why=f"not TOML: {error}", mend="Mend the line it names"
                )
            ]
        ) from error
    reader = _Reader(where)
    meters = tuple(reader.meters(data))
    if reader.mistakes:
        raise InputError(reader.mistakes)
    return meters


class _Reader:
    """Turns the tables of a file into meters and gathers what is wrong on the way."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.mistakes: list[Mistake] = []

    def mistake(self, field: str, value: object, why: str, mend: str) -> None:
        shown = value if isinstance(value, str) else repr(value)
        self.mistakes.append(Mistake(where=self.where, field=field, value=shown, why=why, mend=mend))

    def meters(self, data: dict[str, Any]) -> Iterator[Meter]:
        self._known(data, ("meter",), "")
        seen: set[str] = set()
        for number, table in enumerate(self._tables(data, "meter", ""), start=1):
            name = self._text(table, "name", f"meter[{number}]")
            field = f"meter[{name or number}]"
            if not name:
                self.mistake(f"{field}.name", "", "missing", "Give each meter a name of your own")
            elif name in seen:
                self.mistake(f"{field}.name", name, "two meters have this name", "Give each its own")
            seen.add(name)
            yield self._meter(table, name, field)

    def _meter(self, table: dict[str, Any], name: str, field: str) -> Meter:
        self._known(table, _METER_KEYS, field)
        kind = self._text(table, "kind", field) or "multimeter"
        if kind not in KINDS:
            self.mistake(f"{field}.kind", kind, "not a kind of meter", f"Use one of: {', '.join(KINDS)}")
        found = (
            self._specification(each, f"{field}.accuracy[{number}]")
            for number, each in enumerate(self._tables(table, "accuracy", field), start=1)
        )
        words = {
            key: self._text(table, key, field)
            for key in ("serial", "note", "resource", "profile", "idn", "channel", "visa")
        }
        if words["resource"] and not words["profile"]:
            words["profile"] = kind if kind != "oscilloscope" else "digitiser"
        calibrated, due = self._date(table, "calibrated", field), self._date(table, "due", field)
        if calibrated and due and due < calibrated:
            self.mistake(f"{field}.due", str(due), "it is before the calibration", "Correct one of the dates")
        return Meter(
            name=name,
            kind=kind,
            calibrated=calibrated,
            due=due,
            test_current_a=self._value(
                self._text(table, "test_current", field), "A", f"{field}.test_current"
            ),
            specifications=tuple(each for each in found if each is not None),
            **words,
        )

    def _specification(self, table: dict[str, Any], field: str) -> Specification | None:
        before = len(self.mistakes)
        self._known(table, _ACCURACY_KEYS, field)
        function = self._text(table, "function", field)
        unit = FUNCTIONS.get(function)
        if unit is None:
            self.mistake(
                f"{field}.function",
                function,
                "not a function of a meter",
                f"Use one of: {', '.join(FUNCTIONS)}",
            )
            return None
        low, high = self._range(table, unit, field)
        resolution = self._value(self._text(table, "resolution", field), unit, f"{field}.resolution")
        accuracy = self._accuracy(table, unit, high, resolution, field)
        if accuracy is None or len(self.mistakes) > before:
            return None
        return Specification(
            function=function,
            unit=unit,
            low=0.0 if low is None else low,
            high=float("inf") if high is None else high,
            accuracy=accuracy,
        )

    def _accuracy(
        self,
        table: dict[str, Any],
        unit: str,
        range_value: float | None,
        resolution: float | None,
        field: str,
    ) -> Accuracy | None:
        text = self._text(table, "accuracy", field)
        try:
            return parse_accuracy(
                text,
                unit,
                range_value=range_value,
                resolution=resolution,
                where=self.where,
                field=f"{field}.accuracy",
            )
        except InputError as error:
            self.mistakes.extend(error.mistakes)
            return None

    def _range(self, table: dict[str, Any], unit: str, field: str) -> tuple[float | None, float | None]:
        text = self._text(table, "range", field)
        first, between, second = text.partition(" to ")
        if not between:
            return None, self._value(first, unit, f"{field}.range")
        low = self._value(first, unit, f"{field}.range", zero=True)
        high = self._value(second, unit, f"{field}.range")
        if low is not None and high is not None and low >= high:
            self.mistake(f"{field}.range", text, "its ends are crossed", "Write the lower end first")
        return low, high

    def _value(self, text: str, unit: str, field: str, *, zero: bool = False) -> float | None:
        if not text:
            return None
        try:
            value = parse(text, unit)
        except InputError as error:
            self.mistakes.extend(
                Mistake(where=self.where, field=field, value=text, why=each.why, mend=each.mend)
                for each in error.mistakes
            )
            return None
        if value.kind != "exact" or value.si < 0 or (value.si == 0 and not zero):
            self.mistake(field, text, "it has to be a value above zero", f"Write it as '60 {unit}'")
            return None
        return value.si

    def _date(self, table: dict[str, Any], key: str, field: str) -> datetime.date | None:
        value = table.get(key)
        if isinstance(value, datetime.datetime):
            return value.date()
        if value is None or isinstance(value, datetime.date):
            return value
        try:
            return datetime.date.fromisoformat(str(value))
        except ValueError:
            self.mistake(f"{field}.{key}", value, "not a date", "Write it as 2027-03-01")
            return None

    def _text(self, table: dict[str, Any], key: str, field: str) -> str:
        value = table.get(key, "")
        if isinstance(value, str):
            return value.strip()
        self.mistake(f"{field}.{key}", value, "not a text", "Put it in double quotes, with its unit")
        return ""

    def _tables(self, table: dict[str, Any], key: str, field: str) -> list[dict[str, Any]]:
        value = table.get(key, [])
        if isinstance(value, list) and all(isinstance(each, dict) for each in value):
            return value
        heading = f"[[{'meter.' if field else ''}{key}]]"
        self.mistake(f"{field}.{key}".strip("."), "", "not a list of tables", f"Write {heading} above each")
        return []

    def _known(self, table: dict[str, Any], keys: tuple[str, ...], field: str) -> None:
        for key in table:
            if key not in keys:
                near = get_close_matches(key, keys, n=1)
                mend = f"Did you mean '{near[0]}'?" if near else f"Known here: {', '.join(keys)}"
                self.mistake(f"{field}.{key}".strip("."), "", "not a known key", mend)
