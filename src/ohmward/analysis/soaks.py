"""The soaks of a run: where each temperature will settle, here and in the hottest room it must work in."""

from __future__ import annotations

import math
from bisect import bisect_right
from typing import Any

import msgspec

from ohmward.analysis.dense import (
    Thinned,
    can_forecast,
    finite,
    fit_thinned,
    good_enough,
    judged,
    thinned,
    widened,
)
from ohmward.analysis.facts import RunFacts, SampledSoak
from ohmward.analysis.hot_once import read_once, room_at
from ohmward.analysis.points import taken_s
from ohmward.analysis.soak import Rise, fit_rise
from ohmward.analysis.soak_result import SoakResult
from ohmward.analysis.stability import DEFAULT_RULE, stabilised
from ohmward.procedure.model import ROOM, Item, Limit
from ohmward.quantity import show

FEWEST = 4
"""Readings below which nothing is fitted: three unknowns and one to test them."""
FEWEST_SAMPLES = 8
"""Samples of a series below which the points recorded one by one are used."""
MOST = 120
"""Points that the samples of a soak are brought down to."""
NO_ROOM = "the room was not recorded: its temperature is taken to be the first reading"
WITHHELD = "the record is too short for a forecast: it does not show where the temperature settles"
MISFIT_K = 2.0
"""Scatter about a curve of warming from which the readings follow none [K]: thermometers and draughts bring a
few tenths (common practice, no source)."""
UNLIKE = (
    "the readings follow no one curve of warming, so where the temperature settles is not told: look for a "
    "sensor that moved, a load or mains that changed, a cut-out, or an entry of another place"
)
HANGING = (
    "neighbouring readings hang together over so long that this record hardly tells how sure the forecast "
    "is: a longer soak tells more"
)


class _Series(msgspec.Struct, kw_only=True):
    time_s: list[float]
    """Ascending."""
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
    dense = {soak.step: soak for soak in facts.series}
    hottest = facts.supply.ambient_max_c
    found = []
    for step in dict.fromkeys([*soaks, *dense]):
        sensors = soaks.get(step, {})
        names = [*sensors, *(dense[step].channels if step in dense else ())]
        for sensor in dict.fromkeys(names):
            series = sensors.get(sensor, _Series(time_s=[], temperature_c=[]))
            many = _sampled(dense.get(step), sensor)
            if sensor == ROOM:
                continue
            if many is not None:
                found.append(_dense_result(many, sensor, series, hottest, rule))
            elif series.time_s:
                found.append(_result(sensor, series, sensors.get(ROOM), hottest, rule))
    room = room_at(facts)
    if room is not None:
        found = [msgspec.structs.replace(each, at_least_c=each.last_c - room + hottest) for each in found]
    return (*found, *read_once(facts))


class _Samples(msgspec.Struct, kw_only=True):
    """One channel of a soak, and the room beside it."""

    soak: SampledSoak
    temperature_c: Any
    ambient_c: Any
    uncertainty_k: float | None

    def thinned(
        self, resumed_s: tuple[float, ...] = (), until_s: float = math.inf, most: int = MOST
    ) -> Thinned:
        """Return what comes after the last interruption and before an end, in few points."""
        kept = self.soak.time_s <= until_s
        return thinned(
            self.soak.time_s[kept],
            self.temperature_c[kept],
            None if self.ambient_c is None else self.ambient_c[kept],
            resumed_s=resumed_s,
            most=most,
        )


def _sampled(soak: SampledSoak | None, sensor: str) -> _Samples | None:
    """Return a channel's samples; None where there are too few temperatures among them to be of use."""
    if soak is None or sensor not in soak.channels:
        return None
    import numpy as np

    column = soak.channels.index(sensor)
    values = soak.values[:, column]
    if soak.units[column] != "°C" or int(np.isfinite(values).sum()) < FEWEST_SAMPLES:
        return None
    room = soak.values[:, soak.channels.index(ROOM)] if ROOM in soak.channels else None
    return _Samples(soak=soak, temperature_c=values, ambient_c=room, uncertainty_k=soak.uncertainties[column])


def _dense_result(samples: _Samples, sensor: str, typed: _Series, hottest_c: float, rule: str) -> SoakResult:
    """Return the result of one channel of a soak that the bench sampled."""
    import numpy as np

    known = samples.temperature_c[np.isfinite(samples.temperature_c)]
    resumed = samples.soak.resumed_s
    record = samples.thinned(resumed)
    found = SoakResult(
        sensor=sensor,
        last_c=float(known[-1]),
        limit_c=typed.limit.high if typed.limit else None,
        samples=len(known),
    )
    untold = ""
    if len(record.time_s):
        settled = judged(samples.thinned(resumed, most=len(known)), rule)
        found = msgspec.structs.replace(found, stabilised=settled.stabilised, rule=str(settled.rule))
        untold = settled.untold
    warnings = [] if record.ambient_c is not None or not len(record.time_s) else [NO_ROOM]
    thermometer = samples.uncertainty_k if samples.uncertainty_k is not None else typed.uncertainty_k
    found = _fitted(found, record, hottest_c, thermometer)
    if resumed:
        at = show(resumed[-1] / 60.0, "", decimals=0)
        warnings.insert(0, f"the soak was interrupted: the forecast is from what follows minute {at} alone")
        first = min(resumed)
        if not found.enough_data:
            before = samples.thinned(until_s=_off(samples.soak, first))
            earlier = _fitted(found, before, hottest_c, thermometer)
            if earlier.enough_data:
                found = earlier
                warnings[0] = (
                    "the soak was interrupted, and what follows is too short for a forecast: it is from "
                    "what came before"
                )
    return _with_untold(msgspec.structs.replace(found, warnings=(*warnings, *found.warnings)), untold)


def _with_untold(found: SoakResult, untold: str) -> SoakResult:
    """Return a result that says, last of all, why it is not told whether it is stable."""
    return msgspec.structs.replace(found, warnings=(*found.warnings, untold)) if untold else found


def _off(soak: SampledSoak, resumed_s: float) -> float:
    """Return when the loads went off before they came on again: where the gap begins."""
    return min((begun for _, begun, ended, _ in soak.gaps if ended == resumed_s), default=resumed_s)


def _fitted(found: SoakResult, record: Thinned, hottest_c: float, thermometer_k: float) -> SoakResult:
    fit, why = fit_thinned(record)
    if fit is None:
        return msgspec.structs.replace(found, warnings=(why,))
    return _forecast(found, fit, thermometer_k, hottest_c, (why,) if why else ())


def _gather(facts: RunFacts, item: Item, soaks: dict[str, dict[str, _Series]]) -> None:
    if item.elapsed_s is None or item.read is None or item.read.unit != "°C":
        return
    reading = facts.reading(item)
    if reading is None or reading.judged.net is None or reading.value.kind != "exact":
        return
    sensor = item.subject.rpartition(" @ ")[0] or item.subject
    series = soaks.setdefault(item.step, {}).setdefault(sensor, _Series(time_s=[], temperature_c=[]))
    at = bisect_right(series.time_s, taken := taken_s(item, reading))
    series.time_s.insert(at, taken)  # one taken late may come after one of a later entry
    series.temperature_c.insert(at, reading.judged.net)
    series.uncertainty_k = reading.judged.uncertainty or 0.0
    series.limit = item.limit


def _result(sensor: str, series: _Series, room: _Series | None, hottest_c: float, rule: str) -> SoakResult:
    import numpy as np

    limit = series.limit.high if series.limit else None
    found = SoakResult(sensor=sensor, last_c=series.temperature_c[-1], limit_c=limit)
    ambient = np.interp(series.time_s, room.time_s, room.temperature_c) if room and room.time_s else None
    settled = stabilised(series.time_s, series.temperature_c, rule=rule, ambient_c=ambient)
    found = msgspec.structs.replace(found, stabilised=settled.stabilised, rule=str(settled.rule))
    return _with_untold(_typed_forecast(found, series, ambient, hottest_c), settled.untold)


def _typed_forecast(found: SoakResult, series: _Series, ambient: Any, hottest_c: float) -> SoakResult:
    """Return the forecast of a soak read point by point, or why there is none."""
    import numpy as np

    if len(series.time_s) < FEWEST:
        return msgspec.structs.replace(found, warnings=("too few readings for a forecast",))
    rise = series.temperature_c if ambient is None else np.asarray(series.temperature_c) - ambient
    if float(np.ptp(rise)) < 1.0:
        return msgspec.structs.replace(found, warnings=("it hardly moved: there is no rise to fit",))
    fit = fit_rise(series.time_s, series.temperature_c, ambient_c=ambient)
    return _forecast(found, fit, series.uncertainty_k, hottest_c, (NO_ROOM,) if ambient is None else ())


def _forecast(
    found: SoakResult, fit: Rise, thermometer_k: float, hottest_c: float, warnings: tuple[str, ...]
) -> SoakResult:
    final = widened(fit.final_c, fit.interval("final_c"), fit.widening.factor, thermometer_k)
    hot, interval = fit.at_ambient(hottest_c)
    in_hottest = widened(hot, interval, fit.widening.factor, thermometer_k)
    made = msgspec.structs.replace(
        found,
        final_c=fit.final_c,
        final_uncertainty_k=finite(max(final.high - fit.final_c, fit.final_c - final.low)),
        time_constant_s=fit.time_constant_s,
        at_max_ambient_c=hot,
        at_max_ambient_low_c=finite(in_hottest.low),
        at_max_ambient_high_c=finite(in_hottest.high),
        enough_data=good_enough(fit, final, thermometer_k),
        warnings=(*warnings, *fit.warnings, *(() if fit.widening.told else (HANGING,))),
    )
    unlike = fit.residual_sd > max(MISFIT_K, thermometer_k)
    if can_forecast(fit, final):
        return msgspec.structs.replace(made, warnings=(*made.warnings, UNLIKE)) if unlike else made
    made = msgspec.structs.replace(made, no_curve=unlike)
    return _without_numbers(made, (*warnings, UNLIKE if unlike else WITHHELD))


def _without_numbers(made: SoakResult, warnings: tuple[str, ...]) -> SoakResult:
    """Return a result without the numbers that its record is too short for, nor what the fit says of them."""
    return msgspec.structs.replace(
        made,
        final_c=None,
        final_uncertainty_k=None,
        time_constant_s=None,
        at_max_ambient_c=None,
        at_max_ambient_low_c=None,
        at_max_ambient_high_c=None,
        enough_data=False,
        withheld=True,
        may_pass_untold=made.too_hot_in_the_hottest_room,
        warnings=warnings,
    )
