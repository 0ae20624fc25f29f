"""The meters of the simulated bench: their accuracies as a meters file, and the errors drawn from them.

The accuracies are those of ordinary instruments, not of any make. A meter's error is drawn once a session
for each function and range, and every reading stays within the specification that the file states.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass

from ohmward.bench.meters import Meter, Specification

MULTIMETER = (
    ("dc volts", "600 mV", "10 µV", "0.09 % + 5"),
    ("dc volts", "6 V", "100 µV", "0.09 % + 5"),
    ("dc volts", "60 V", "1 mV", "0.09 % + 5"),
    ("dc volts", "600 V", "10 mV", "0.09 % + 5"),
    ("ac volts", "6 V", "1 mV", "0.7 % + 3"),
    ("ac volts", "60 V", "10 mV", "0.7 % + 3"),
    ("ac volts", "600 V", "100 mV", "0.7 % + 3"),
    ("dc amps", "600 mA", "10 µA", "0.5 % + 5"),
    ("dc amps", "10 A", "1 mA", "0.8 % + 5"),
    ("ac amps", "10 A", "1 mA", "1.2 % + 5"),
    ("ohms", "600 Ω", "100 mΩ", "0.5 % + 2"),
    ("ohms", "6 kΩ", "1 Ω", "0.5 % + 1"),
    ("ohms", "60 kΩ", "10 Ω", "0.5 % + 1"),
    ("ohms", "600 kΩ", "100 Ω", "0.5 % + 1"),
    ("ohms", "40 MΩ", "10 kΩ", "1.5 % + 3"),
    ("frequency", "100 kHz", "10 mHz", "0.01 % + 1"),
    ("capacitance", "40 mF", "10 µF", "3 % + 5"),
    ("temperature", "400 °C", "0.1 °C", "1 % + 10"),
)
LOW_OHM = (("low ohms", "2 Ω", "1 mΩ", "2 % + 2"), ("low ohms", "20 Ω", "10 mΩ", "2 % + 2"))
INSULATION = (("insulation", "200 MΩ", "100 kΩ", "3 % + 5"),)
DIGITISER = tuple(
    (function, f"{span} V", "", "2 % rdg + 1 % range")
    for function in ("ac volts", "dc volts")
    for span in ("0.02", "0.2", "2", "20", "200")
)
THERMOMETER = (("temperature", "200 °C", "0.1 °C", "1.0 °C"),)
POWER = (
    ("ac volts", "300 V", "10 mV", "0.1 % rdg + 0.05 % range"),
    ("ac amps", "1 A", "0.1 mA", "0.2 % rdg + 0.1 % range"),
    ("ac amps", "16 A", "1 mA", "0.2 % rdg + 0.1 % range"),
    ("power", "4000 W", "10 mW", "0.5 % rdg + 0.01 % range"),
    ("apparent power", "4000 VA", "10 mVA", "0.5 % rdg + 0.01 % range"),
    ("frequency", "100 Hz", "1 mHz", "0.01 % + 2"),
)
LOAD = (
    ("dc volts", "80 V", "1 mV", "0.05 % rdg + 0.02 % range"),
    ("dc amps", "30 A", "0.1 mA", "0.05 % rdg + 0.02 % range"),
)
CALIBRATED, DUE = "2026-01-12", "2027-01-12"
NOTE = "SIMULATED: no such meter exists"
HEADING = "# SIMULATED BENCH"
"""How a meters file of it begins."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """One entry of the meters file."""

    name: str
    kind: str
    profile: str
    resource: str
    accuracies: Sequence[tuple[str, str, str, str]]
    serial: str
    idn: str
    channel: str = ""


def meters_toml(entries: Sequence[Listed]) -> str:
    """Return a meters file of the simulated bench, each accuracy as the meter really has it."""
    lines = [f"{HEADING}: these meters exist only while it runs; nothing real is measured."]
    for entry in entries:
        words = {
            "name": entry.name, "kind": entry.kind, "profile": entry.profile, "resource": entry.resource,
            "serial": entry.serial, "idn": entry.idn, "note": NOTE, "channel": entry.channel,
        }  # fmt: skip
        lines += ["", "[[meter]]", *(f'{key} = "{text}"' for key, text in words.items() if text)]
        lines += [f"calibrated = {CALIBRATED}", f"due = {DUE}"]
        for function, span, resolution, accuracy in entry.accuracies:
            lines += ["", "[[meter.accuracy]]", f'function = "{function}"', f'range = "{span}"']
            lines += [f'resolution = "{resolution}"'] if resolution else []
            lines += [f'accuracy = "{accuracy}"']
    return "\n".join(lines) + "\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What a display shows: a number with the weight of its last digit, or over-range (None)."""

    value: float | None
    resolution: float = 1.0


class Errors:
    """The errors of one meter in one session, and its noise.

    Parameters
    ----------
    meter : Meter
        With the specification that the errors stay within.
    seed : int
        The same seed gives the same meter.
    """

    SYSTEMATIC = 0.8
    """Largest share of the half-width that a session's error takes."""
    NOISE_COUNTS = 0.2
    """Standard deviation of the noise in counts of the display."""

    def __init__(self, meter: Meter, seed: int) -> None:
        self.meter = meter
        self._seed = seed
        self._noise = random.Random(f"noise {seed} {meter.name}")

    def specification(self, true: float, function: str, span: float | None = None) -> Specification | None:
        """Return the range in use: the one fixed, else the smallest that holds the value; None over range."""
        ranges = [each for each in self.meter.specifications if each.function == function]
        ranges = [each for each in ranges if abs(true) <= each.high and (span is None or each.high >= span)]
        best = min(ranges, key=lambda each: each.high, default=None)
        if best is not None and span is not None and best.high > self._nearest(function, span):
            return None
        return best

    def show(self, true: float, function: str, span: float | None = None) -> Shown:
        """Return what the meter shows of a true value, within its specification; over-range as None."""
        found = self.specification(true, function, span) if math.isfinite(true) else None
        if found is None:
            return Shown(value=None)
        step = found.accuracy.resolution or found.high / 1e5
        # The specification is about what is shown, which may be smaller than what is true by as much.
        room = max(0.98 * found.accuracy.half_width(true) - step / 2, 0.0)
        error = self.share(function, found.high) * room
        error += max(min(self._noise.gauss(0, self.NOISE_COUNTS * step), 0.2 * room), -0.2 * room)
        return Shown(value=round((true + error) / step) * step, resolution=step)

    def share(self, function: str, span: float) -> float:
        """Return this session's error of a range as a share of what the specification allows."""
        return self.SYSTEMATIC * random.Random(
            f"meter {self._seed} {self.meter.name} {function} {span:g}"
        ).uniform(-1, 1)

    def _nearest(self, function: str, span: float) -> float:
        tops = [
            each.high for each in self.meter.specifications if each.function == function and each.high >= span
        ]
        return min(tops, default=math.inf)
