"""What a design sheet predicts: each rail against its load, with bands, and one cycle."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ohmward.errors import InputError
from ohmward.physics.expectation import Expectation, RailExpectation
from ohmward.report.plots.style import inks, plain
from ohmward.supply.model import Supply

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_VOLTAGE, _RIPPLE, _VALLEY = "#1f5fa8", "#b3541e", "#3d7a4a"
_RAW, _OUT = "reservoir_ripple_pp_v", "output_ripple_pp_v"


def expectation_figure(supply: Supply, expectation: Expectation) -> Figure:
    """Draw, for each rail, voltage and ripple against load with bands, and one cycle at rated load."""
    with inks():
        return _figure(supply, expectation)


def _figure(supply: Supply, expectation: Expectation) -> Figure:
    from matplotlib.figure import Figure

    names = list(expectation.rails)
    figure = Figure(figsize=(12, 3.2 * len(names)), layout="constrained")
    figure.suptitle(
        f"{plain(supply.tag)}: expected at {expectation.mains_v:g} V mains, {expectation.ambient_c:g} °C"
    )
    axes = figure.subplots(len(names), 3, squeeze=False)
    for row, name in zip(axes, names, strict=True):
        _draw_voltage(row[0], name, expectation.rails[name])
        _draw_ripple(row[1], expectation.rails[name])
        _draw_cycle(row[2], supply, expectation, name)
    return figure


def _series(rail: RailExpectation, key: str, no_load_key: str) -> tuple[list[float], ...]:
    points = [(0.0, rail.no_load.get(no_load_key))]
    points += [(point.load_a, point.values.get(key)) for point in rail.loaded]
    known = [(load, band) for load, band in points if band is not None]
    return (
        [load for load, _ in known],
        [band.value for _, band in known],
        [band.low for _, band in known],
        [band.high for _, band in known],
    )


def _draw_band(axes: Axes, rail: RailExpectation, keys: tuple[str, str], *, label: str, colour: str) -> None:
    load, value, low, high = _series(rail, *keys)
    if load:
        axes.fill_between(load, low, high, color=colour, alpha=0.2, linewidth=0)
        axes.plot(load, value, color=colour, marker=".", label=label)


def _draw_voltage(axes: Axes, name: str, rail: RailExpectation) -> None:
    _draw_band(axes, rail, ("output_v", "output_v"), label="output", colour=_VOLTAGE)
    _draw_band(axes, rail, ("reservoir_mean_v", "reservoir_v"), label="reservoir, mean", colour=_RIPPLE)
    _draw_band(axes, rail, ("reservoir_valley_v", ""), label="reservoir, valley", colour=_VALLEY)
    axes.set(title=f"Rail {plain(name)}", xlabel="load [A]", ylabel="voltage [V]")
    _finish(axes)


def _draw_ripple(axes: Axes, rail: RailExpectation) -> None:
    _draw_band(axes, rail, (_RAW, _RAW), label="reservoir", colour=_RIPPLE)
    _draw_band(axes, rail, (_OUT, _OUT), label="output", colour=_VOLTAGE)
    axes.set(title="Ripple, peak to peak", xlabel="load [A]", ylabel="ripple [V]")
    _finish(axes)


def _draw_cycle(axes: Axes, supply: Supply, expectation: Expectation, name: str) -> None:
    from ohmward.physics import one_cycle

    try:
        cycle = one_cycle(
            supply,
            name,
            loads={name: supply.rail(name).rated_current_a},
            mains_v=expectation.mains_v,
            ambient_c=expectation.ambient_c,
        )
    except InputError:  # a rail that the sheet says too little of, as the panel then says
        axes.text(
            0.5, 0.5, "not computed: the sheet does not say enough", ha="center", va="center", wrap=True
        )
        axes.set_axis_off()
        return
    milliseconds = cycle.time_s * 1e3
    axes.plot(milliseconds, cycle.reservoir_v, color=_RIPPLE)
    axes.set(title="One cycle at rated load", xlabel="time [ms]", ylabel="reservoir [V]")
    current = axes.twinx()
    current.plot(milliseconds, cycle.diode_a, color=_VALLEY, linewidth=1)
    current.set_ylabel("diode current [A]", color=_VALLEY)
    axes.grid(alpha=0.3)


def _finish(axes: Axes) -> None:
    axes.grid(alpha=0.3)
    if axes.get_legend_handles_labels()[0]:
        axes.legend(fontsize="small", frameon=False)
    else:
        axes.text(0.5, 0.5, "nothing can be said", ha="center", va="center", transform=axes.transAxes)
