"""A soak: what was read or sampled, the curve through it, and where it goes, here and in the hottest room."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ohmward.analysis.points import taken_s
from ohmward.analysis.soak_result import SoakResult
from ohmward.procedure.model import ROOM
from ohmward.quantity import show
from ohmward.report.plots import style
from ohmward.report.plots.marks import (
    FORECAST,
    HATCH,
    LIMIT,
    READ,
    ROOM_LINE,
    Sign,
    key_line,
    key_patch,
    put,
)
from ohmward.report.plots.material import Material
from ohmward.report.plots.style import BLACK, GREEN, GREY, PALE, NothingToShow, Picture, Width, inks, plain

if TYPE_CHECKING:
    import numpy as np
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from ohmward.analysis.facts import SampledSoak
    from ohmward.analysis.soak import Rise

    Array = NDArray[np.float64]

ROW_MM = 47.0
MOST_POINTS = 600
"""Points of a sampled line in print: the least and the most of each stretch."""
SAME_K = 0.5
"""A curve that ends farther than this from the forecast of the assessment is not drawn beside it."""
BEYOND = 1.4
"""How far beyond the record the forecast is drawn, in lengths of it."""

_SAMPLED: Sign = {"color": BLACK, "linewidth": 0.8}
_INTERVAL: Sign = {"facecolor": GREEN, "alpha": 0.3, "linewidth": 0.0}
_FINAL: Sign = {"marker": "D", "color": GREEN, "linestyle": "none", "markersize": 4.0}
_HOTTEST: Sign = {
    "marker": "D",
    "color": BLACK,
    "markerfacecolor": "white",
    "linestyle": "none",
    "markersize": 4.4,
}
_GAP: Sign = {"facecolor": PALE, "edgecolor": GREY, "hatch": "....", "linewidth": 0.0, "alpha": 0.6}


@dataclass(frozen=True, kw_only=True)
class _Record:
    """What is known of one sensor."""

    sensor: str
    time_s: list[float]
    temperature_c: list[float]
    uncertainty_k: list[float | None]
    limit_c: float | None
    room_s: list[float]
    room_c: list[float]
    sampled: SampledSoak | None

    @property
    def span_s(self) -> float:
        """Time of the last value [s]."""
        ends = self.time_s[-1:]
        if self.sampled is not None and len(self.sampled.time_s):
            ends = [*ends, float(self.sampled.time_s[-1])]
        return max(ends, default=0.0)

    def column(self, name: str) -> Array | None:
        """Return the samples of a channel; None where it was not sampled."""
        if self.sampled is None or name not in self.sampled.channels:
            return None
        return self.sampled.values[:, self.sampled.channels.index(name)]


def soak(material: Material, sensors: Sequence[str] = (), *, width: Width = "full") -> list[Picture]:
    """Draw every temperature of a soak with its fit, forecast, interval, room and limit.

    Raises
    ------
    NothingToShow
        When no temperature was read in a soak.
    """
    records = [record for record in _records(material) if not sensors or record.sensor in sensors]
    if not records:
        raise NothingToShow(
            f"run {material.facts.run}: no temperature was read in a soak. "
            "Take the step 'Temperatures through the soak'"
        )
    results = {result.sensor: result for result in material.assessment.soaks}
    across = min(2 if width == "full" else 1, len(records))
    pages = style.pages_of(len(records), across * int((style.MOST_MM - 34.0) / ROW_MM))
    hottest = show(material.facts.supply.ambient_max_c, "°C")
    found = []
    for number, page in enumerate(pages, 1):
        here = records[page]
        title = style.titled("temperatures through the soak", number, len(pages))
        rows = -(-len(here) // across)
        with inks():
            figure = style.new_figure()
            axes = figure.subplots(rows, across, squeeze=False).ravel()
            for spare in axes[len(here) :]:
                spare.set_axis_off()
            words = [
                _draw(each, record, results.get(record.sensor))
                for each, record in zip(axes, here, strict=False)
            ]
            style.composed(
                figure,
                width=width,
                body_mm=ROW_MM * rows,
                title=material.title(title),
                key=_key(here, results, hottest),
                foot=(material.foot(), *_notes(here, results)),
                simulated=material.simulated,
            )
        found.append(
            Picture(
                name=style.numbered("soak", number, len(pages)),
                title=title[0].upper() + title[1:],
                words=" ".join([*words, material.foot()]),
                figure=figure,
            )
        )
    return found


def _key(records: Sequence[_Record], results: dict[str, SoakResult], hottest: str) -> list[Any]:
    found = (results.get(record.sensor) for record in records)
    forecast = any(result is not None and result.final_c is not None for result in found)
    sampled = any(record.column(record.sensor) is not None for record in records)
    gaps = any(
        record.sampled is not None and record.column(record.sensor) is not None and record.sampled.gaps
        for record in records
    )
    told = [
        key_line(FORECAST, "fitted, and forecast"),
        key_patch(_INTERVAL, "95 % interval"),
        key_line(_FINAL, "where it settles"),
        key_line(_HOTTEST, f"the same in a {hottest} room"),
    ]
    return [
        key_line(READ, "read"),
        *([key_line(_SAMPLED, "sampled")] if sampled else []),
        *([key_patch(_GAP, "no samples")] if gaps else []),
        *(told if forecast else []),
        key_line(ROOM_LINE, "room"),
        key_patch(HATCH | {"edgecolor": LIMIT["color"], "alpha": 0.9}, "beyond the limit"),
    ]


def _notes(records: Sequence[_Record], results: dict[str, SoakResult]) -> list[str]:
    """Return what the assessment warns of, each once with the sensors that it is about."""
    said: dict[str, list[str]] = {}
    for record in records:
        result = results.get(record.sensor)
        for warning in result.warnings if result is not None else ():
            said.setdefault(warning, []).append(record.sensor)
    return [f"{', '.join(names)}: {warning}." for warning, names in said.items()]


def _records(material: Material) -> list[_Record]:
    """Return the record of every sensor but the room, in the order of the procedure."""
    facts = material.facts
    points: dict[tuple[str, str], list[tuple[float, float, float | None, float | None]]] = {}
    for item in facts.items:
        reading = facts.reading(item)
        if item.elapsed_s is None or item.read is None or item.read.unit != "°C":
            continue
        sensor = item.subject.rpartition(" @ ")[0] or item.subject
        key = (item.step, sensor)
        points.setdefault(key, [])
        if reading is None or reading.judged.net is None or reading.value.kind != "exact":
            continue
        limit = item.limit.high if item.limit else None
        taken = taken_s(item, reading)
        points[key].append((taken, reading.judged.net, reading.judged.uncertainty, limit))
        points[key].sort(key=lambda point: point[0])
    sampled = {each.step: each for each in facts.series}
    for step, each in sampled.items():
        for channel, unit in zip(each.channels, each.units, strict=True):
            if unit == "°C":
                points.setdefault((step, channel), [])
    found = []
    for (step, sensor), several in points.items():
        record = _record(step, sensor, several, points.get((step, ROOM), []), sampled.get(step))
        if sensor != ROOM and (record.time_s or record.column(sensor) is not None):
            found.append(record)
    return found


def _record(
    step: str,
    sensor: str,
    several: list[tuple[float, float, float | None, float | None]],
    room: list[tuple[float, float, float | None, float | None]],
    sampled: SampledSoak | None,
) -> _Record:
    return _Record(
        sensor=sensor,
        time_s=[t for t, *_ in several],
        temperature_c=[c for _, c, *_ in several],
        uncertainty_k=[u for _, _, u, _ in several],
        limit_c=next((limit for *_, limit in several if limit is not None), None),
        room_s=[t for t, *_ in room],
        room_c=[c for _, c, *_ in room],
        sampled=sampled,
    )


def _draw(axes: Axes, record: _Record, result: SoakResult | None) -> str:
    """Draw one sensor, and return it in words."""
    import numpy as np

    span = record.span_s or 60.0
    scale, unit = (60.0, "min") if span <= 4 * 3600.0 else (3600.0, "h")
    end = BEYOND * span
    _gaps(axes, record, scale)
    column, room = record.column(record.sensor), record.column(ROOM)
    seen: list[float] = [*record.temperature_c, *record.room_c]
    if column is not None and record.sampled is not None:
        axes.plot(*_broken(record, record.sensor, scale), **_SAMPLED)
        seen += [float(np.nanmin(column)), float(np.nanmax(column))] if np.isfinite(column).any() else []
    put(axes, [t / scale for t in record.time_s], record.temperature_c, READ, bars=record.uncertainty_k)
    if room is not None:
        axes.plot(*_broken(record, ROOM, scale), **ROOM_LINE)
    elif record.room_s:
        axes.plot([t / scale for t in record.room_s], record.room_c, **ROOM_LINE)
    limit = record.limit_c if record.limit_c is not None else (result.limit_c if result else None)
    if result is not None and result.final_c is not None:
        _forecast(axes, record, result, scale, end)
        spread = result.final_uncertainty_k
        seen += [result.final_c + (spread or 0.0) * sign for sign in (-1.0, 1.0)]
        seen += [each for each in (result.at_max_ambient_c, result.at_max_ambient_high_c) if each is not None]
    if limit is not None:
        seen.append(limit)
    low, high = (min(seen), max(seen)) if seen else (0.0, 1.0)
    room_k = 0.09 * (high - low) or 2.0
    axes.set_ylim(low - room_k, high + room_k)
    axes.set_xlim(-0.02 * end / scale, 1.16 * end / scale)
    if limit is not None:
        axes.fill_between(axes.get_xlim(), limit, high + room_k, **HATCH)
        axes.axhline(limit, **LIMIT)
    axes.axvline(span / scale, color=GREY, linewidth=0.6, linestyle=(0, (1, 2)))
    axes.set_title(plain(record.sensor, 40))
    axes.set_xlabel(f"time under load [{unit}]")
    axes.set_ylabel("temperature [°C]")
    axes.grid(visible=True)
    return _words(record, result, limit)


def _forecast(axes: Axes, record: _Record, result: SoakResult, scale: float, end: float) -> None:
    """Draw the curve, its interval beyond the record, and the two final temperatures with theirs."""
    import numpy as np

    fitted = _fit(record)
    if (
        fitted is not None
        and result.final_c is not None
        and abs(fitted[1].final_c - result.final_c) <= SAME_K
    ):
        offset, fit, uncertainty = fitted
        times = np.linspace(0.0, end - offset, 81)
        axes.plot((offset + times) / scale, fit.curve(times), zorder=3, **FORECAST)
        edges = [record.span_s + (end - record.span_s) * i / 4.0 for i in range(5)]
        bands = [_widened(fit, t - offset, uncertainty) for t in edges]
        axes.fill_between(
            [t / scale for t in edges], [low for low, _ in bands], [high for _, high in bands], **_INTERVAL
        )
    at = 1.05 * end / scale
    assert result.final_c is not None
    _bar(axes, at, result.final_c, (result.final_uncertainty_k, result.final_uncertainty_k))
    axes.plot([at], [result.final_c], zorder=5, **_FINAL)
    if result.at_max_ambient_c is not None:
        low, high = result.at_max_ambient_low_c, result.at_max_ambient_high_c
        hot = result.at_max_ambient_c
        at = 1.11 * end / scale
        _bar(axes, at, hot, (None if low is None else hot - low, None if high is None else high - hot))
        axes.plot([at], [hot], zorder=5, **_HOTTEST)


def _bar(axes: Axes, x: float, y: float, spread: tuple[float | None, float | None]) -> None:
    """Draw an interval; an end that the record leaves open has an arrow."""
    for size, sign in zip(spread, (-1.0, 1.0), strict=True):
        if size is not None:
            ends = [[size if sign < 0 else 0.0], [size if sign > 0 else 0.0]]
            axes.errorbar(
                [x], [y], yerr=ends, fmt="none", ecolor=BLACK, elinewidth=0.8, capthick=0.8, zorder=4
            )
        else:
            shape = {"arrowstyle": "<-", "linewidth": 0.8, "shrinkA": 0, "shrinkB": 0}
            axes.annotate("", (x, y), xytext=(0.0, sign * 16.0), textcoords="offset points", arrowprops=shape)


def _fit(record: _Record) -> tuple[float, Rise, float] | None:
    """Return where the curve begins [s], the curve, and the thermometer's uncertainty [K].

    Fitted as the assessment fits it, so that both say the same.
    """
    import numpy as np

    from ohmward.analysis.dense import fit_thinned, thinned
    from ohmward.analysis.soak import fit_rise
    from ohmward.analysis.soaks import FEWEST, FEWEST_SAMPLES, MOST

    column = record.column(record.sensor)
    if column is not None and record.sampled is not None and int(np.isfinite(column).sum()) >= FEWEST_SAMPLES:
        few = thinned(
            record.sampled.time_s, column, record.column(ROOM), resumed_s=record.sampled.resumed_s, most=MOST
        )
        fit, _ = fit_thinned(few)
        u = record.sampled.uncertainties[record.sampled.channels.index(record.sensor)]
        # where only the later half was fitted, its clock began later
        return None if fit is None else (few.offset_s + float(few.time_s[-1]) - fit.span_s, fit, u or 0.0)
    if len(record.time_s) < FEWEST:
        return None
    room = np.interp(record.time_s, record.room_s, record.room_c) if record.room_s else None
    return 0.0, fit_rise(record.time_s, record.temperature_c, ambient_c=room), record.uncertainty_k[-1] or 0.0


def _widened(fit: Rise, time_s: float, thermometer_k: float) -> tuple[float, float]:
    from ohmward.analysis.dense import widened

    value = fit.predict(time_s).value
    found = widened(value, fit.predict_interval(time_s), fit.widening.factor, thermometer_k)
    return max(found.low, -300.0), min(found.high, 1000.0)


def _gaps(axes: Axes, record: _Record, scale: float) -> None:
    if record.sampled is None or record.column(record.sensor) is None:
        return
    for channel, begun, ended, _ in record.sampled.gaps:
        if channel in ("", record.sensor):
            axes.axvspan(begun / scale, ended / scale, zorder=0, **_GAP)


def _broken(record: _Record, name: str, scale: float) -> tuple[Array, Array]:
    """Return a channel as a line that is broken where there are no samples."""
    import numpy as np

    sampled = record.sampled
    assert sampled is not None
    time, values = sampled.time_s, sampled.values[:, sampled.channels.index(name)]
    holes = [end for channel, _, end, _ in sampled.gaps if channel in ("", name)]
    time, values = _thinned(time, values, holes)
    places = np.searchsorted(time, holes)
    return np.insert(time / scale, places, np.asarray(holes) / scale), np.insert(values, places, math.nan)


def _thinned(time: Array, values: Array, holes: Sequence[float]) -> tuple[Array, Array]:
    """Return the least and the most of each stretch of a long record, and its samples beside holes."""
    import numpy as np

    if len(time) <= MOST_POINTS:
        return time, values
    size = -(-len(time) // (MOST_POINTS // 2))
    kept = {0, len(time) - 1}
    for start in range(0, len(time), size):
        part = values[start : start + size]
        if np.isfinite(part).any():
            kept |= {start + int(np.nanargmin(part)), start + int(np.nanargmax(part))}
        else:
            kept.add(start)
    for hole in np.searchsorted(time, holes):
        kept |= {max(0, int(hole) - 1), min(len(time) - 1, int(hole))}
    places = np.array(sorted(kept))
    return time[places], values[places]


def _words(record: _Record, result: SoakResult | None, limit: float | None) -> str:
    if result is None:
        return f"{record.sensor}: read, not assessed."
    parts = [f"last {show(result.last_c, '°C', decimals=1)}"]
    if result.final_c is not None:
        spread = result.final_uncertainty_k
        parts.append(
            f"settles at {show(result.final_c, '°C', decimals=1)}"
            + (f" ± {show(spread, 'K', decimals=1)}" if spread else "")
        )
    if result.at_max_ambient_c is not None:
        parts.append(f"in the hottest room {show(result.at_max_ambient_c, '°C', decimals=1)}")
    if result.withheld:
        parts.append(f"where it settles: {result.untold}")
    if limit is not None:
        parts.append(f"limit {show(limit, '°C')}")
    return f"{record.sensor}: {', '.join(parts)}."
