"""The soaks of a run: where each temperature will settle, here and in the hottest room it must work in."""

from __future__ import annotations

import math

import msgspec

from ohmward.analysis.facts import RunFacts
from ohmward.analysis.soak import Rise, fit_rise
from ohmward.analysis.stability import DEFAULT_RULE, stabilised
from ohmward.procedure.model import Item, Limit

ROOM = "room air"
"""Sensor whose readings are the room's temperature."""

FEWEST = 4
"""Readings below which nothing is fitted: three unknowns and one to test them."""
GOOD_K = 3.0
GOOD_SHARE = 0.1
"""A forecast counts as supported by data when it is good to 3 K or to a tenth of the rise."""


class SoakResult(msgspec.Struct, frozen=True, kw_only=True):
    """One sensor; None where the record does not say. Intervals at 95 %."""

    sensor: str
    last_c: float
    final_c: float | None = None
    final_uncertainty_k: float | None = None
    """The larger half of the interval, the thermometer's own uncertainty in it."""
    time_constant_s: float | None = None
    at_max_ambient_c: float | None = None
    at_max_ambient_low_c: float | None = None
    at_max_ambient_high_c: float | None = None
    limit_c: float | None = None
    stabilised: bool | None = None
    rule: str = ""
    enough_data: bool = False
    warnings: tuple[str, ...] = ()

    @property
    def too_hot_in_the_hottest_room(self) -> bool:
        """The forecast for the hottest room may pass the limit."""
        high = self.at_max_ambient_c if self.at_max_ambient_high_c is None else self.at_max_ambient_high_c
        return high is not None and self.limit_c is not None and high > self.limit_c


class _Series(msgspec.Struct, kw_only=True):
    time_s: list[float]
    temperature_c: list[float]
    uncertainty_k: float = 0.0
    limit: Limit | None = None


def soak_results(facts: RunFacts, rule: str = DEFAULT_RULE) -> tuple[SoakResult, ...]:
    """Return the result of every sensor of every soak, in the order of the procedure.

    Parameters
    ----------
    facts : RunFacts
        The run.
    rule : str
        Rule by which a temperature counts as stabilised, a key of `stability.RULES`.
    """
    soaks: dict[str, dict[str, _Series]] = {}
    for item in facts.items:
        _gather(facts, item, soaks)
    return tuple(
        _result(sensor, series, sensors.get(ROOM), facts.supply.ambient_max_c, rule)
        for sensors in soaks.values()
        for sensor, series in sensors.items()
        if sensor != ROOM and series.time_s
    )


def _gather(facts: RunFacts, item: Item, soaks: dict[str, dict[str, _Series]]) -> None:
    if item.elapsed_s is None or item.read is None or item.read.unit != "°C":
        return
    reading = facts.reading(item)
    if reading is None or reading.judged.net is None or reading.value.kind != "exact":
        return
    sensor = item.subject.rpartition(" @ ")[0] or item.subject
    series = soaks.setdefault(item.step, {}).setdefault(sensor, _Series(time_s=[], temperature_c=[]))
    series.time_s.append(item.elapsed_s)
    series.temperature_c.append(reading.judged.net)
    series.uncertainty_k = reading.judged.uncertainty or 0.0
    series.limit = item.limit


def _result(sensor: str, series: _Series, room: _Series | None, hottest_c: float, rule: str) -> SoakResult:
    import numpy as np

    limit = series.limit.high if series.limit else None
    found = SoakResult(sensor=sensor, last_c=series.temperature_c[-1], limit_c=limit)
    ambient = np.interp(series.time_s, room.time_s, room.temperature_c) if room and room.time_s else None
    settled = stabilised(series.time_s, series.temperature_c, rule=rule, ambient_c=ambient)
    found = msgspec.structs.replace(found, stabilised=settled.stabilised, rule=str(settled.rule))
    if len(series.time_s) < FEWEST:
        return msgspec.structs.replace(found, warnings=("too few readings for a forecast",))
    rise = series.temperature_c if ambient is None else np.asarray(series.temperature_c) - ambient
    if float(np.ptp(rise)) < 1.0:
        return msgspec.structs.replace(found, warnings=("it hardly moved: there is no rise to fit",))
    warnings = (
        () if room else ("the room was not recorded: its temperature is taken to be the first reading",)
    )
    return _forecast(
        found, fit_rise(series.time_s, series.temperature_c, ambient_c=ambient), series, hottest_c, warnings
    )


def _forecast(
    found: SoakResult, fit: Rise, series: _Series, hottest_c: float, warnings: tuple[str, ...]
) -> SoakResult:
    interval = fit.interval("final_c")
    hot, hot_interval = fit.at_ambient(hottest_c)
    thermometer = series.uncertainty_k
    half = math.hypot(max(interval.high - fit.final_c, fit.final_c - interval.low), thermometer)
    up, down = (
        math.hypot(hot_interval.high - hot, thermometer),
        math.hypot(hot - hot_interval.low, thermometer),
    )
    enough = half <= max(GOOD_K, GOOD_SHARE * abs(fit.rise_k)) + thermometer
    return msgspec.structs.replace(
        found,
        final_c=fit.final_c,
        final_uncertainty_k=_finite(half),
        time_constant_s=fit.time_constant_s,
        at_max_ambient_c=hot,
        at_max_ambient_low_c=_finite(hot - down),
        at_max_ambient_high_c=_finite(hot + up),
        enough_data=enough,
        warnings=(*warnings, *fit.warnings),
    )


def _finite(value: float) -> float | None:
    """None for an end that the record leaves open: JSON has no infinity, and a person no use for one."""
    return value if math.isfinite(value) else None
