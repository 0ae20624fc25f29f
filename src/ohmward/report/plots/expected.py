"""What a design sheet predicts: each rail against its load, with bands, and one cycle."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ohmward.errors import InputError
from ohmward.physics.expectation import Expectation, RailExpectation
from ohmward.quantity import show
from ohmward.report.plots import style
from ohmward.report.plots.marks import Sign, key_line
from ohmward.report.plots.style import BLUE, GREEN, RED, inks, plain, said_in, scale_of
from ohmward.supply.model import Supply

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ROW_MM = 46.0
_RAW, _OUT = "reservoir_ripple_pp_v", "output_ripple_pp_v"
_OUTPUT: Sign = {"color": BLUE, "linestyle": "-", "marker": "o", "markersize": 2.6}
_MEAN: Sign = {"color": RED, "linestyle": "--", "marker": "s", "markersize": 2.6}
_VALLEY: Sign = {"color": GREEN, "linestyle": "-.", "marker": "^", "markersize": 2.8}
_CURRENT: Sign = {"color": GREEN, "linestyle": ":", "linewidth": 1.1}


def expectation_figure(supply: Supply, expectation: Expectation) -> Figure:
    """Draw, for each rail, voltage and ripple against load with bands, and one cycle at rated load."""
    names = list(expectation.rails)
    mains, room = show(expectation.mains_v, "V"), show(expectation.ambient_c, "°C")
    with inks():
        figure = style.new_figure()
        axes = figure.subplots(max(len(names), 1), 3, squeeze=False)
        if not names:
            for each in axes[0]:
                said_in(each, "the design sheet has no rail")
        for row, name in zip(axes, names, strict=False):
            _draw_voltage(row[0], name, expectation.rails[name])
            _draw_ripple(row[1], expectation.rails[name])
            _draw_cycle(row[2], supply, expectation, name)
        return style.composed(
            figure,
            width="full",
            body_mm=ROW_MM * max(len(names), 1),
            title=f"{supply.tag}: expected at {mains} mains, {room} in the room",
            key=(
                key_line(_OUTPUT, "output"),
                key_line(_MEAN, "reservoir, mean (or its ripple)"),
                key_line(_VALLEY, "reservoir, valley"),
                key_line(_CURRENT, "current of the diodes"),
            ),
            foot=("Computed from the design sheet; bands of 95 %.", *expectation.problems),
        )


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


def _draw_band(axes: Axes, rail: RailExpectation, keys: tuple[str, str], sign: Sign, factor: float) -> bool:
    """Draw a band with its middle; return whether there is one."""
    load, value, low, high = _series(rail, *keys)
    across = [each * factor for each in load]
    if load:
        axes.fill_between(across, low, high, color=sign["color"], alpha=0.2, linewidth=0)
        axes.plot(across, value, **sign)
    return bool(load)


def _across(axes: Axes, rail: RailExpectation) -> float:
    factor, unit = scale_of(max((point.load_a for point in rail.loaded), default=1.0), "A")
    axes.set_xlabel(f"load [{unit}]")
    axes.grid(visible=True)
    return factor


def _draw_voltage(axes: Axes, name: str, rail: RailExpectation) -> None:
    factor = _across(axes, rail)
    there = [
        _draw_band(axes, rail, ("output_v", "output_v"), _OUTPUT, factor),
        _draw_band(axes, rail, ("reservoir_mean_v", "reservoir_v"), _MEAN, factor),
        _draw_band(axes, rail, ("reservoir_valley_v", ""), _VALLEY, factor),
    ]
    axes.set_title(f"Rail {plain(name, 30)}")
    axes.set_ylabel("voltage [V]")
    if not any(there):
        said_in(axes, "nothing can be said")


def _draw_ripple(axes: Axes, rail: RailExpectation) -> None:
    factor = _across(axes, rail)
    there = [
        _draw_band(axes, rail, (_RAW, _RAW), _MEAN, factor),
        _draw_band(axes, rail, (_OUT, _OUT), _OUTPUT, factor),
    ]
    axes.set_title("Ripple, peak to peak", fontweight="normal")
    axes.set_ylabel("ripple [V]")
    if not any(there):
        said_in(axes, "nothing can be said")


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
        said_in(axes, "not computed: the sheet does not say enough")
        axes.set_axis_off()
        return
    milliseconds = cycle.time_s * 1e3
    axes.plot(milliseconds, cycle.reservoir_v, color=RED, linestyle="--")
    axes.set_title("One cycle at rated load", fontweight="normal")
    axes.set_xlabel("time [ms]")
    axes.set_ylabel("reservoir [V]")
    axes.grid(visible=True)
    current = axes.twinx()
    current.plot(milliseconds, cycle.diode_a, **_CURRENT)
    current.set_ylabel("diodes [A]")
