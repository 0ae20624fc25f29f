"""Named places to read: a meter's session, what it measures there, and its accuracy; read together."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from ohmward.bench.attempt import Attempt
from ohmward.bench.clock import Clock
from ohmward.bench.messages import Answer, MeterFailed
from ohmward.bench.meters import Meter
from ohmward.bench.request import Request
from ohmward.bench.session import Session
from ohmward.bench.settled import Sample, Settle, Settled, Settling
from ohmward.quantity import Value

WAIT_SLACK_S = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One thing that is read while a sweep or a soak runs."""

    name: str
    """What it is called in the record: 'output', 'heat sink +15'."""
    session: Session
    measure: str = ""
    """Measure of the profile; its first when empty."""
    channel: str | None = None
    """Channel of the instrument; the meter's own when None."""
    meter: Meter | None = None
    volts: float | None = None
    """Test voltage, where the meter puts one on the unit [V]."""
    _kept: list[tuple[str, float | None]] = field(default_factory=list, init=False, repr=False, compare=False)
    """Function, and top of its range, once they were asked for: neither changes."""

    @property
    def function(self) -> str:
        """Function of the meter, for its accuracy."""
        return self._known()[0]

    def ask(self) -> Request[Value]:
        """Ask for a reading; returns at once."""
        _, top = self._known()
        return self.session.measure(self.measure, channel=self.channel, top=top, volts=self.volts)

    def read(self, clock: Clock, limit_s: float = 600.0) -> Sample:
        """Ask and wait for it; not to be called where a screen is drawn.

        Raises
        ------
        MeterFailed
            When it cannot be had.
        """
        return _sample(self, self.ask(), clock, limit_s)

    def settle(
        self,
        how: Settle,
        clock: Clock,
        *,
        heard: Callable[[Sample], None] | None = None,
        limit_s: float = 600.0,
    ) -> Settled:
        """Read until settled or the time is up; as `settled.take`, but the readings come in bursts.

        Parameters
        ----------
        how : Settle
        clock : Clock
        heard : callable, optional
            Called with each reading as it comes, on the meter's thread: pass it on, and return.
        limit_s : float
            What one reading is waited for [s].

        Raises
        ------
        MeterFailed
            When a reading cannot be had.
        """
        settling = Settling(how)
        end = clock.now() + how.limit_s
        session, name = self.session, self.session.name

        def enough(value: Value, failed: tuple[Attempt, ...]) -> bool:
            sample = Sample(
                at_s=clock.now(), value=value, meter=name, failed=failed, generation=session.generation
            )
            settling.add(sample)
            if heard is not None:
                heard(sample)
            # a pause is waited for by who asks: the meter's thread is free for others meanwhile
            return settling.done or sample.at_s >= end or how.interval_s > 0 or clock.wait(0.0)

        _, top = self._known()
        while True:
            answer = session.until(enough, self.measure, channel=self.channel, top=top, volts=self.volts)
            _waited(name, answer, how.limit_s + limit_s)
            if settling.done or clock.now() >= end or clock.wait(how.interval_s):
                return settling.result(self.meter, self.function)

    def _known(self) -> tuple[str, float | None]:
        if not self._kept:
            measure = self.session.profile.measure(self.measure)
            top = self.meter.top_range(measure.unit, measure.function) if self.meter is not None else None
            self._kept.append((measure.function, top))
        return self._kept[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """A bound that ends a sweep or a soak at once when a channel passes it [its unit]."""

    channel: str
    low: float | None = None
    high: float | None = None

    def passed(self, value: Value) -> str:
        """Return why it is passed, in words; empty when it is not.

        An over-range reading is past an upper bound, whatever the bound is.
        """
        if self.high is not None and (value.kind in {"overload", "above"} or value.si > self.high):
            return f"{self.channel} reads {_said(value)}, above the stop limit of {self.high:g} {value.unit}"
        if self.low is not None and value.kind in {"exact", "below"} and value.si < self.low:
            return f"{self.channel} reads {_said(value)}, below the stop limit of {self.low:g} {value.unit}"
        return ""


def read_together(
    channels: tuple[Channel, ...], clock: Clock, limit_s: float = 600.0
) -> tuple[dict[str, Sample], dict[str, MeterFailed]]:
    """Ask all channels at once and gather what comes: readings by name, and what failed by name."""
    asked = [(each, each.ask()) for each in channels]
    found: dict[str, Sample] = {}
    failed: dict[str, MeterFailed] = {}
    for channel, request in asked:
        try:
            found[channel.name] = _sample(channel, request, clock, limit_s)
        except MeterFailed as error:
            failed[channel.name] = error
    return found, failed


def passed(stops: tuple[Stop, ...], samples: Mapping[str, Sample]) -> str:
    """Return the first stop limit that is passed, in words; empty when none is."""
    for stop in stops:
        sample = samples.get(stop.channel)
        why = stop.passed(sample.value) if sample else ""
        if why:
            return why
    return ""


def answered(channel: Channel, request: Request[Value], clock: Clock) -> Sample:
    """Return the reading of a request that is done.

    Raises
    ------
    MeterFailed
        When it could not be had.
    """
    return _sample(channel, request, clock, 0.0)


def _sample(channel: Channel, request: Request[Value], clock: Clock, limit_s: float) -> Sample:
    answer: Answer[Any] = _waited(channel.session.name, request, limit_s)
    return Sample(
        at_s=clock.now(), value=answer.result, meter=answer.meter, failed=answer.failed,
        generation=answer.generation,
    )  # fmt: skip


def _waited(name: str, request: Request[Any], limit_s: float) -> Answer[Any]:
    try:
        return request.result(limit_s + WAIT_SLACK_S)
    except TimeoutError as error:
        raise MeterFailed(name, f"no answer within {limit_s:g} s") from error


def _said(value: Value) -> str:
    return "over its range" if value.number is None else f"{value.si:g} {value.unit}"
