"""From the series of a run to plain arrays for its assessment."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ohmward.analysis.facts import SampledSoak
from ohmward.run.series import Series
from ohmward.run.state import RunState

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ohmward.bench.meters import Meter
    from ohmward.logbook.events import SeriesChannel


def sampled(state: RunState) -> tuple[SampledSoak, ...]:
    """Return what was sampled through the soaks of a run, in the order in which they began."""
    series = sorted(state.series.values(), key=lambda each: each.seq)
    return tuple(_soak(each, state.meters) for each in series if each.batches)


def _soak(series: Series, meters: tuple[Meter, ...]) -> SampledSoak:
    channels, rows = series.begun.channels, series.rows
    values = np.full((len(rows), len(channels)), np.nan)
    for index, row in enumerate(rows):
        for column, value in enumerate(row.values[: len(channels)]):
            if value is not None:
                values[index, column] = value
    return SampledSoak(
        step=series.begun.step,
        channels=tuple(each.name for each in channels),
        units=tuple(each.unit for each in channels),
        meters=tuple(each.meter for each in channels),
        uncertainties=tuple(
            _uncertainty(each, values[:, column], meters) for column, each in enumerate(channels)
        ),
        time_s=np.array([row.at_s for row in rows]),
        values=values,
        resumed_s=series.resumed_s,
        gaps=tuple((gap.channel, gap.from_s, gap.to_s, gap.why) for gap in series.gaps),
        complete=series.ended is not None and series.ended.complete,
    )


def _uncertainty(
    channel: SeriesChannel, values: NDArray[np.float64], meters: tuple[Meter, ...]
) -> float | None:
    """Return U (k = 2) of the meter's accuracy, a rectangle, at the channel's highest value."""
    known = values[np.isfinite(values)]
    meter = next((each for each in meters if each.name == channel.meter), None)
    if meter is None or not len(known):
        return None
    half = meter.half_width(float(known.max()), channel.unit, channel.function)
    return None if half is None else 2.0 * half / math.sqrt(3.0)
