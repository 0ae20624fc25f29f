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
from pathlib import Path

import msgspec

from ohmward.bench.accuracy import Accuracy, parse_accuracy
from ohmward.errors import InputError, Mistake, Unreachable
from ohmward.fields import Fields, parse_toml, raise_if_any
from ohmward.text import visible
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
        When the file cannot be read, or there is none yet.
    InputError
        All mistakes in it at once.
    """
    if not Path(path).exists():
        raise Unreachable(
            f"{visible(str(path))}: no meters are listed yet. Begin the file at the list of meters, or with"
            " a text editor; until then readings are typed"
        )
    return loads(read_text(path), str(path))


def loads(text: str, where: str = "meters") -> tuple[Meter, ...]:
    """Read the text of a meters file; `where` names it in errors.

    Raises
    ------
    InputError
        All mistakes in it at once.
    """
    mistakes: list[Mistake] = []
    top = Fields(parse_toml(text, where), where, "", mistakes)
    rows = top.rows("meter", "name")
    top.finish()
    meters = tuple(_meter(row) for row in rows)
    seen: set[str] = set()
    for row, meter in zip(rows, meters, strict=True):
        if meter.name and meter.name in seen:
            row.miss("name", "two meters have this name", "Give each its own")
        seen.add(meter.name)
    raise_if_any(mistakes)
    return meters


def _meter(row: Fields) -> Meter:
    kind = row.choice("kind", KINDS, "multimeter")
    words = {
        key: row.text(key, "") for key in ("serial", "note", "resource", "profile", "idn", "channel", "visa")
    }
    if words["resource"] and not words["profile"]:
        words["profile"] = kind if kind != "oscilloscope" else "digitiser"
    calibrated, due = row.date("calibrated"), row.date("due")
    if calibrated and due and due < calibrated:
        row.miss("due", "it is before the calibration", "Correct one of the dates")
    found = (_specification(each) for each in row.rows("accuracy", ""))
    meter = Meter(
        name=row.text("name"),
        kind=kind,
        calibrated=calibrated,
        due=due,
        test_current_a=_above_zero(row, "test_current", row.text("test_current", ""), "A"),
        specifications=tuple(each for each in found if each is not None),
        **words,
    )
    row.finish()
    return meter


def _specification(row: Fields) -> Specification | None:
    before = len(row.mistakes)
    function = row.choice("function", tuple(FUNCTIONS))
    unit = FUNCTIONS[function]
    known = len(row.mistakes) == before
    texts = {key: row.text(key, "") for key in ("range", "resolution", "accuracy")}
    row.finish()
    if not known:
        return None  # of what unit the rest would be is not known
    low, high = _range(row, texts["range"], unit)
    resolution = _above_zero(row, "resolution", texts["resolution"], unit)
    try:
        accuracy = parse_accuracy(
            texts["accuracy"], unit, range_value=high, resolution=resolution, where=row.where,
            field=f"{row.path}.accuracy",
        )  # fmt: skip
    except InputError as error:
        row.mistakes.extend(error.mistakes)
        return None
    if len(row.mistakes) > before:
        return None
    return Specification(
        function=function,
        unit=unit,
        low=0.0 if low is None else low,
        high=float("inf") if high is None else high,
        accuracy=accuracy,
    )


def _range(row: Fields, text: str, unit: str) -> tuple[float | None, float | None]:
    first, between, second = text.partition(" to ")
    if not between:
        return None, _above_zero(row, "range", first, unit)
    low = _above_zero(row, "range", first, unit, zero=True)
    high = _above_zero(row, "range", second, unit)
    if low is not None and high is not None and low >= high:
        row.miss("range", "its ends are crossed", "Write the lower end first")
        return low, None
    return low, high


def _above_zero(row: Fields, key: str, text: str, unit: str, *, zero: bool = False) -> float | None:
    """Return a value above zero (or zero), None where the text is empty, or with a mistake about `key`."""
    value = row.parsed(key, text, unit) if text else None
    if value is not None and (value < 0 or (value == 0 and not zero)):
        row.miss(key, "it has to be above zero", f"Write it like '60 {unit}'", text)
        return None
    return value
