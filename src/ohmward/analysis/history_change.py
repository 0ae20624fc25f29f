"""A reading against an earlier one: is it a change of the supply, or two meters that disagree?

The difference of two readings is compared with its own uncertainty, U = 2 u(d):

    u(d)² = own₁² + own₂² + c₁² + c₂² - 2 ρ c₁ c₂

own: last digit, spread and scaling of each; c: what the meter's accuracy leaves open. Two meters: ρ = 0.
One meter (same name, same serial and calibration date in both runs' lists): part of its error is the same
at both dates and drops out of the difference, part has drifted or depends on the day. **Assumed: ρ = 0.5**
(common practice, no source: an accuracy figure is made of both in unknown shares). A meter that was
calibrated in between may have been adjusted and counts as two. Where either meter's
accuracy is not stated nothing is claimed, but what is more than any meter would make
(`history_gross`). Readings before and after need the same step, subject, unit and
load.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Literal, Protocol

import msgspec

from ohmward.analysis.history_facts import PastReading, PastRun, Taken
from ohmward.analysis.history_gross import any_meter
from ohmward.analysis.history_scaling import Scaled, scaled
from ohmward.quantity import show, unit_of_difference
from ohmward.quantity.value import Kind
from ohmward.supply.model import Supply
from ohmward.text import one_line

SHARED = 0.5
"""Correlation of one meter's accuracy at two dates; see the module."""
COVERAGE = 2.0
SAME_LOAD = 0.02
"""Loads that differ by more than this share are not compared."""

MODEL_SHARE = 0.10
"""Half-width of what the formula of `history_capacitor` leaves open, as a share of the loss."""

ChangeVerdict = Literal["changed", "within the meters", "not told", "not comparable"]


class Comparable(Protocol):
    """A value with its uncertainty, as `Change` needs it."""

    @property
    def value(self) -> float: ...  # noqa: D102
    @property
    def own(self) -> float: ...  # noqa: D102
    @property
    def common(self) -> float | None: ...  # noqa: D102
    @property
    def how(self) -> str: ...  # noqa: D102


class Change(msgspec.Struct, frozen=True, kw_only=True):
    """One reading now against the same one earlier; values scaled where `how` says so."""

    step: str
    subject: str
    title: str
    quantity: str
    unit: str
    then: float | None
    now: float | None
    then_run: str
    now_run: str
    then_kind: Kind = "exact"
    now_kind: Kind = "exact"
    """A bound's own number stands in `then` and `now`; None for an overload."""
    difference: float | None = None
    percent: float | None = None
    """Of the earlier one; None where that is 0, and for temperatures."""
    uncertainty: float | None = None
    """Expanded (k = 2) of the difference; None where a meter's accuracy is not stated."""
    same_meter: bool = False
    whatever: float | None = None
    """What any two meters would differ by at most, where an accuracy is not stated; see `history_gross`."""
    verdict: ChangeVerdict = "not told"
    worse: bool = False
    """Nearer to a limit than before, or further beyond it."""
    better: bool = False
    """Further inside its limits than before."""
    how: str = ""
    words: str = ""

    @property
    def key(self) -> tuple[str, str]:
        """Address of the reading."""
        return (self.step, self.subject)

    @property
    def size(self) -> float:
        """Difference in units of what meters would make; 0 where that is not told."""
        allowed = self.uncertainty or self.whatever
        return abs(self.difference) / allowed if self.difference is not None and allowed else 0.0

    @property
    def unstated(self) -> bool:
        """Whether nothing is told of it only because the accuracy of a meter is not stated."""
        return self.verdict == "not told" and self.difference is not None


def same_meter(one: PastReading, other: PastReading) -> bool:
    """Return whether one meter took both, not calibrated in between."""
    return bool(one.meter) and (one.instrument, one.calibrated) == (other.instrument, other.calibrated)


def uncertainty_of_difference(one: Scaled, other: Scaled, *, shared: bool) -> float | None:
    """Return the expanded uncertainty of the difference of two readings, None where it is not stated."""
    if one.common is None or other.common is None:
        return None
    rho = SHARED if shared else 0.0
    squares = one.own**2 + other.own**2 + one.common**2 + other.common**2
    return COVERAGE * math.sqrt(max(squares - 2.0 * rho * one.common * other.common, 0.0))


def changes(now: PastRun, then: PastRun, supply_now: Supply, supply_then: Supply) -> tuple[Change, ...]:
    """Return every reading of `now` that `then` has too, in the order of `now`."""
    earlier = {reading.key: reading for reading in then.readings}
    return tuple(
        change(Taken(reading, now, supply_now), Taken(earlier[reading.key], then, supply_then))
        for reading in now.readings
        if reading.key in earlier
    )


def change(this: Taken, earlier: Taken, *, in_words: bool = True) -> Change:
    """Return the comparison of one reading with the same one of another run; `in_words` fills them in."""
    now, then = this.reading, earlier.reading
    found = Change(
        step=now.step,
        subject=now.subject,
        title=now.title,
        quantity=now.quantity,
        unit=now.unit,
        then=then.net,
        now=now.net,
        then_run=earlier.run.run,
        now_run=this.run.run,
        then_kind=then.kind,
        now_kind=now.kind,
        same_meter=same_meter(now, then),
    )
    why = _not_comparable(now, then)
    if why:
        return msgspec.structs.replace(found, verdict="not comparable", words=why)
    if now.kind != "exact" or then.kind != "exact" or now.net is None or then.net is None:
        return _bounded(found, this, earlier)
    made = _numbers(found, scaled(*this), scaled(*earlier))
    return msgspec.structs.replace(made, words=_words(made)) if in_words else made


def _not_comparable(now: PastReading, then: PastReading) -> str:
    if now.unit != then.unit or now.quantity != then.quantity:
        return "another quantity was read at this step then"
    loads = (now.load_a or 0.0, then.load_a or 0.0)
    by_load = "ripple" in now.quantity  # brought to one load by `scaled`
    if not by_load and abs(loads[0] - loads[1]) > SAME_LOAD * max(loads):
        return f"at {show(loads[0], 'A')} now, at {show(loads[1], 'A')} then"
    return ""


def _bounded(found: Change, this: Taken, earlier: Taken) -> Change:
    """Compare where at least one is only a bound: all that it can show is that the two do not overlap."""
    now, ends = this.reading, [_range(each) for each in (this, earlier)]
    if ends[0][1] < ends[1][0] or ends[1][1] < ends[0][0]:
        fell = ends[0][1] < ends[1][0]
        words = f"{'less' if fell else 'more'} than then, by a reading that is only a bound"
        towards, away = (now.limit_low, now.limit_high) if fell else (now.limit_high, now.limit_low)
        # between two limits a bound does not tell how far it is from either
        worse, better = towards is not None and away is None, towards is None and away is not None
        return msgspec.structs.replace(found, verdict="changed", worse=worse, better=better, words=words)
    return msgspec.structs.replace(
        found, words="only bounded: nothing contradicts that it is the same", verdict="not told"
    )


def _range(taken: Taken) -> tuple[float, float]:
    """Return between what the value lies, scaled as a plain number would be."""
    reading = taken.reading
    if reading.net is None:
        return -math.inf, math.inf
    made = scaled(msgspec.structs.replace(reading, kind="exact"), taken.run, taken.supply)
    slack = COVERAGE * math.hypot(made.own, made.common or 0.0)
    low = -math.inf if reading.kind == "below" else made.value - slack
    high = math.inf if reading.kind in {"above", "overload"} else made.value + slack
    return low, high


def _numbers(found: Change, now: Scaled, then: Scaled) -> Change:
    difference = now.value - then.value
    u = uncertainty_of_difference(now, then, shared=found.same_meter)
    verdict: ChangeVerdict = "not told"
    whatever = None if u is not None else any_meter(found.quantity, found.unit, (now.value, then.value))
    if u is not None:
        verdict = "changed" if abs(difference) > u else "within the meters"
    elif whatever is not None and abs(difference) > whatever + COVERAGE * (now.own + then.own):
        verdict = "changed"
    return msgspec.structs.replace(
        found,
        then=then.value,
        now=now.value,
        difference=difference,
        percent=None if not then.value or found.unit == "°C" else 100.0 * difference / abs(then.value),
        uncertainty=u,
        whatever=whatever,
        verdict=verdict,
        worse=_margin_gained(now, then.value) < 0.0,
        better=_margin_gained(now, then.value) > 0.0,
        how="; ".join(dict.fromkeys(part for part in (now.how, now.doubt, then.doubt) if part)),
    )


def capacitance_change(
    then: Comparable, now: Comparable, now_read: PastReading, then_read: PastReading, runs: tuple[str, str]
) -> Change:
    """Return the change of capacitance left [%]: two values of it, and the ripple readings behind them."""
    found = Change(
        step="capacitance",
        subject=now_read.rail,
        title="Reservoir capacitance left",
        quantity="capacitance_left",
        unit="%",
        then=then.value,
        now=now.value,
        now_run=runs[0],
        then_run=runs[1],
        same_meter=same_meter(now_read, then_read),
    )
    model = MODEL_SHARE * abs(now.value - then.value) / math.sqrt(3.0)
    one, other = (
        Scaled(value=each.value, own=math.hypot(each.own, extra), common=each.common, how=each.how)
        for each, extra in ((now, model), (then, 0.0))
    )
    made = _numbers(found, one, other)
    made = msgspec.structs.replace(made, worse=now.value < then.value, better=now.value > then.value)
    return msgspec.structs.replace(made, words=_words(made))


def _margin_gained(now: Scaled, then: float) -> float:
    """Return how much further inside its limits a value is than it was; 0 where there is no limit.

    Of two limits the nearer one counts, so that a value is best at the middle: its set point.
    """
    limits = [(now.limit_low, 1.0), (now.limit_high, -1.0)]
    margins = [
        min((sign * (value - limit) for limit, sign in limits if limit is not None), default=0.0)
        for value in (now.value, then)
    ]
    return margins[0] - margins[1]


def _words(change: Change) -> str:
    meters = "one meter" if change.same_meter else "two meters"
    if change.uncertainty is None and change.verdict == "changed":
        most = plus_minus(change.whatever or 0.0, change.unit).removeprefix("±")
        way = " for the worse" if change.worse else " for the better" if change.better else ""
        return (
            f"changed{way}, whatever the meter: its accuracy is not stated, but none makes more than {most}"
        )
    if change.uncertainty is None:
        return "cannot be told from two meters: the accuracy of a meter is not stated"
    allowed = plus_minus(change.uncertainty, change.unit)
    if change.verdict == "changed":
        way = " for the worse" if change.worse else " for the better" if change.better else ""
        return f"a change{way}: more than {meters} would differ by ({allowed})"
    return f"no change to be seen: {meters} may differ by {allowed}"


def plus_minus(u: float, unit: str) -> str:
    """Return an uncertainty with its two figures, a difference of temperatures in kelvin."""
    unit = unit_of_difference(unit)
    return f"±{show(u, unit, uncertainty=u) if u > 0.0 else show(u, unit)}"


MOST_UNTOLD = 3
"""Largest changes named of what has no stated accuracy."""


def untold(found: Sequence[Change]) -> str:
    """Return how much cannot be told for want of an accuracy, and what of it moved most; empty for none."""
    unstated = [each for each in found if each.unstated]
    if not unstated:
        return ""
    have = "reading has" if len(unstated) == 1 else "readings have"
    moved: dict[tuple[str, str], Change] = {}  # of one sensor, or one rail's load points, the largest
    for each in sorted((each for each in unstated if each.size > 0.0), key=lambda each: -each.size):
        moved.setdefault((each.step, each.subject.partition(" @ ")[0]), each)
    named = "; ".join(_moved(each) for each in list(moved.values())[:MOST_UNTOLD])
    largest = f"the largest changes are: {named}" if named else "none of them has moved"
    return f"NOT TOLD: {len(unstated)} {have} no stated accuracy; {largest}."


def _moved(change: Change) -> str:
    percent = "" if change.percent is None else f" ({change.percent:+.1f} %)"
    ends = (show(each or 0.0, change.unit) for each in (change.then, change.now))
    return f"{_named(change)} {' → '.join(ends)}{percent}"


def _named(change: Change) -> str:
    return one_line(f"{change.title} ({change.subject})" if change.subject else change.title)


def told(found: tuple[Change, ...]) -> Iterator[str]:
    """Yield in words, the greatest first, what has changed; then how much was compared."""
    changed = sorted(
        (each for each in found if each.verdict == "changed"), key=lambda each: (not each.worse, -each.size)
    )
    for each in changed:
        where = _named(each)
        if each.now is None or each.then is None or each.difference is None:
            yield f"{where}: {each.words}."
            continue
        percent = "" if each.percent is None else f", {each.percent:+.1f} %"
        scaled_to = f" ({each.how})" if each.how else ""
        yield (
            f"{where}: {show(each.then, each.unit, uncertainty=each.uncertainty)} then, "
            f"{show(each.now, each.unit, uncertainty=each.uncertainty)} now"
            f"{percent}{scaled_to}: {each.words}."
        )
