"""A settled reading: asked again until the last n agree, or the time is up and that is said.

Pure in `Settling`; `take` drives it over anything that can be read, with a clock that is passed in.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Context, Decimal

import msgspec

from ohmward.bench.attempt import Attempt
from ohmward.bench.clock import Clock
from ohmward.bench.meters import Meter
from ohmward.quantity import Value

_WIDE = Context(prec=120)
"""Room for every digit of any two replies."""
_NONE = Decimal(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settle:
    """When a reading counts as settled."""

    count: int = 5
    """So many of the last readings have to agree."""
    absolute: float = 0.0
    """They agree when the largest and the smallest differ by no more than this [unit] …"""
    relative: float = 0.001
    """… plus this share of their mean."""
    limit_s: float = 15.0
    interval_s: float = 0.0
    """Between two readings."""

    def __post_init__(self) -> None:
        if self.count < 2:
            raise ValueError(f"it takes two readings to agree, not {self.count}")
        if not (self.absolute >= 0 and self.relative >= 0 and self.absolute + self.relative > 0):
            raise ValueError("a tolerance is above zero")

    def agree(self, values: Sequence[float]) -> bool:
        """Return whether values lie together within the tolerance."""
        if len(values) < 2:
            return False
        mean = math.fsum(values) / len(values)
        return max(values) - min(values) <= self.absolute + self.relative * abs(mean)


class Sample(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One reading that a meter gave."""

    at_s: float
    value: Value
    meter: str = ""
    failed: tuple[Attempt, ...] = ()
    """Attempts that failed before it."""
    generation: int = 0


class Settled(msgspec.Struct, frozen=True, kw_only=True):
    """The readings that agreed, and how sure their mean is; SI units of the reading."""

    value: Value
    """The mean; or the bound or overload where the meter had no number."""
    settled: bool
    """False: the time was up first; the last readings stand."""
    count: int
    mean: float | None
    standard_deviation: float | None
    """Of the single reading; None for one reading, a bound or an overload."""
    type_a: float | None
    """Standard uncertainty of the mean from their spread: s / sqrt(n) (GUM 4.2.3)."""
    half_width: float | None
    """Accuracy of the meter about the mean; None where not stated."""
    type_b: float | None
    """Standard uncertainty from that: a / sqrt(3), rectangular (GUM 4.3.7)."""
    meter: str
    span: str
    """Range of the accuracy that applies, in words."""
    replies: tuple[str, ...]
    """The raw replies that were used."""
    failed: tuple[Attempt, ...]
    took_s: float
    note: str = ""
    """What else the record has to say of it, such as the test voltage."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A settled reading and who gave it: what a run records."""

    settled: Settled
    meter: str
    """Name of its entry in the meters file."""
    function: str
    """One of `meters.FUNCTIONS`."""
    identity: str
    """What the instrument called itself."""
    held_s: float | None = None
    """How long it was read before, to hold a test voltage [s]; None where it was not to be held."""


class Settling:
    """Readings as they come, and whether they have settled."""

    def __init__(self, how: Settle) -> None:
        self.how = how
        self._kind = ""
        # of one kind, and no more than count: a fast meter whose reading never rests gives very many
        self._last: deque[Sample] = deque(maxlen=how.count)
        self._numbers: deque[float] = deque(maxlen=how.count)
        self._failed: list[Attempt] = []
        self._began_s: float | None = None
        self.done = False
        """Whether the last n agree: within the tolerance, or all over range alike."""

    def add(self, sample: Sample) -> None:
        """Take one more reading."""
        value = sample.value
        if value.kind != self._kind:
            self._kind = value.kind
            self._last.clear()
            self._numbers.clear()
        if self._began_s is None:
            self._began_s = sample.at_s
        self._last.append(sample)
        self._numbers.append(value.si)
        if sample.failed:
            self._failed += sample.failed
        alike = len(self._last) == self.how.count
        self.done = alike and (self._kind != "exact" or self.how.agree(self._numbers))

    def result(self, meter: Meter | None, function: str, name: str = "") -> Settled:
        """Return what stands now; there is at least one reading."""
        last = self._last
        value, mean, deviation = _mean([each.value for each in last])
        spec = meter.specification(mean, value.unit, function) if meter and mean is not None else None
        half = None if spec is None or mean is None else spec.accuracy.half_width(mean)
        return Settled(
            value=value,
            settled=self.done,
            count=len(last),
            mean=mean,
            standard_deviation=deviation,
            type_a=None if deviation is None else deviation / math.sqrt(len(last)),
            half_width=half,
            type_b=None if half is None else half / math.sqrt(3.0),
            meter=name or (meter.name if meter else last[-1].meter),
            span="" if spec is None or math.isinf(spec.high) else f"{spec.high:g} {spec.unit}",
            replies=tuple([each.value.raw for each in last]),
            failed=tuple(self._failed),
            took_s=last[-1].at_s - (self._began_s or 0.0),
        )


def take(
    read: Callable[[], Sample],
    how: Settle,
    clock: Clock,
    *,
    meter: Meter | None = None,
    function: str = "",
    heard: Callable[[Sample], None] | None = None,
) -> Settled:
    """Read until settled or the time is up.

    Parameters
    ----------
    read : callable
        Gives one reading; waits for the meter, so not to be called where a screen is drawn.
    how : Settle
    clock : Clock
    meter, function
        For the accuracy.
    heard : callable, optional
        Called with each reading as it comes.

    Raises
    ------
    MeterFailed
        When a reading cannot be had.
    """
    settling = Settling(how)
    end = clock.now() + how.limit_s
    while True:
        sample = read()
        settling.add(sample)
        if heard is not None:
            heard(sample)
        if settling.done or clock.now() >= end or clock.wait(how.interval_s):
            return settling.result(meter, function)


def _mean(values: list[Value]) -> tuple[Value, float | None, float | None]:
    """Return the mean as a value, as a number, and the standard deviation of one reading."""
    first = values[-1]
    numbers = [each.number for each in values if each.number is not None]
    if first.kind != "exact" or not numbers:
        return first, None, None
    count = len(numbers)
    mean = sum(numbers, _NONE) / count
    if count == 1:
        return first, float(mean), None
    spread = _NONE
    for each in numbers:
        off = each - mean
        spread += off * off
    spread /= count - 1
    step = min([each.resolution for each in values if each.resolution is not None], default=None)
    # the mean is kept to a hundredth of the last digit: its own rounding is then of no account
    number = mean if step is None else _WIDE.quantize(mean, step.scaleb(-2))
    value = Value(raw=first.raw, number=number, unit=first.unit, resolution=step)
    return value, float(mean), float(spread.sqrt())
