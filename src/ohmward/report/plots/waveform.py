"""One captured cycle with its components, and the amplitudes of the harmonics of the mains."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ohmward.quantity import show
from ohmward.report.plots import style
from ohmward.report.plots.marks import Sign, key_line
from ohmward.report.plots.material import Material
from ohmward.report.plots.style import (
    BLACK,
    BLUE,
    GREEN,
    PALE,
    RED,
    NothingToShow,
    Picture,
    Width,
    inks,
    plain,
    scale_of,
)

if TYPE_CHECKING:
    import numpy as np
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from ohmward.analysis.facts import CapturedWave
    from ohmward.analysis.ripple import Ripple

ROW_MM = 48.0
ORDERS = 12
"""Harmonics drawn."""
MOST_POINTS = 1200
"""Points of a trace: more cannot be told apart in print; the least and the most of each stretch are kept."""
_FIRST: Sign = {"facecolor": "white", "edgecolor": RED, "hatch": "////"}
_SECOND: Sign = {"facecolor": BLUE, "edgecolor": BLACK}
_OTHER: Sign = {"facecolor": PALE, "edgecolor": BLACK}
_TRACE: Sign = {"color": BLACK, "linewidth": 0.9}
_ONCE: Sign = {"color": RED, "linestyle": "--", "linewidth": 1.2}
_TWICE: Sign = {"color": BLUE, "linestyle": "-.", "linewidth": 1.2}


def waveform(material: Material, rails: Sequence[str] = (), *, width: Width = "full") -> list[Picture]:
    """Draw the latest captured waveform of each rail.

    Raises
    ------
    NothingToShow
        When none was captured, or none can be used.
    """
    shots = [shot for shot in _latest(material) if not rails or shot.rail in rails]
    if not shots:
        why = f" {'; '.join(material.facts.capture_problems)}." if material.facts.capture_problems else ""
        raise NothingToShow(
            f"run {material.facts.run}: no waveform was captured.{why} "
            "Take one with a digitising instrument, or attach the CSV file of an oscilloscope"
        )
    analysed = [(shot, *_analysed(material, shot)) for shot in shots]
    across = 1
    row_mm = ROW_MM if width == "full" else 1.75 * ROW_MM
    pages = style.pages_of(len(analysed), across * int((style.MOST_MM - 30.0) / row_mm))
    found = []
    for number, page in enumerate(pages, 1):
        here = analysed[page]
        title = style.titled("one captured cycle and its components", number, len(pages))
        with inks():
            figure = style.new_figure()
            if width == "full":
                axes = figure.subplots(len(here), 2, squeeze=False, width_ratios=(1.5, 1.0))
            else:
                axes = figure.subplots(2 * len(here), 1, squeeze=False).reshape(len(here), 2)
            words = [
                _draw(left, right, shot, ripple, why)
                for (left, right), (shot, ripple, why) in zip(axes, here, strict=True)
            ]
            style.composed(
                figure,
                width=width,
                body_mm=row_mm * len(here),
                title=material.title(title),
                key=(
                    key_line(_TRACE, "captured, less its mean"),
                    key_line(_ONCE, "component at mains frequency: the half-cycles differ"),
                    key_line(_TWICE, "component at twice that: usual of two equal half-cycles"),
                ),
                foot=(material.foot(), *_notes(material, [shot for shot, *_ in here])),
                simulated=material.simulated,
            )
        found.append(
            Picture(
                name=style.numbered("waveform", number, len(pages)),
                title=title[0].upper() + title[1:],
                words=" ".join([*words, material.foot()]),
                figure=figure,
            )
        )
    return found


def _notes(material: Material, shots: Sequence[CapturedWave]) -> list[str]:
    """Return what the assessment says of the waveforms drawn, and which could not be used."""
    files = {shot.file for shot in shots}
    said: dict[str, list[str]] = {}
    for result in material.assessment.waveforms:
        for warning in result.matters if result.file in files else ():
            said.setdefault(warning, []).append(result.rail)
    return [
        *(f"{', '.join(rails)}: {words}." for words, rails in said.items()),
        *material.facts.capture_problems,
    ]


def _latest(material: Material) -> list[CapturedWave]:
    """Return the latest waveform of each rail and place of the probe that still counts."""
    latest = {(wave.rail, wave.point): wave for wave in material.facts.captures if not wave.stale}
    return list(latest.values())


def _analysed(material: Material, shot: CapturedWave) -> tuple[Ripple | None, str]:
    """Return what the capture says, or why it says nothing."""
    from ohmward.analysis.ripple import analyse

    try:
        return analyse(shot.samples, 1.0 / shot.interval_s, material.facts.supply.mains.frequency_hz), ""
    except ValueError as error:
        return None, str(error)


def _draw(left: Axes, right: Axes, shot: CapturedWave, ripple: Ripple | None, why: str) -> str:
    point = f", {shot.point}" if shot.point else ""
    left.set_title(f"Rail {plain(shot.rail, 20)}{point}")
    mains_hz = ripple.mains_hz if ripple is not None else math.nan
    time, volts = _one_cycle(shot, mains_hz)
    mean = float(volts.mean())
    factor, unit = scale_of(float(abs(volts - mean).max()), shot.unit)
    left.plot(*_thinned(time * 1e3, (volts - mean) * factor), **_TRACE)
    left.set_xlabel("time [ms]")
    left.set_ylabel(f"{'ripple' if shot.unit == 'V' else 'swing'} [{unit}]")
    left.grid(visible=True)
    if ripple is None:
        style.said_in(right, f"not analysed: {why}")
        right.set_xticks([])
        right.set_yticks([])
        return f"Rail {shot.rail}{point}: not analysed: {why}."
    for order, sign in ((1, _ONCE), (2, _TWICE)):
        left.plot(time * 1e3, _component(shot, order * mains_hz, time) * factor, **sign)
    _harmonics(right, ripple, factor, unit)
    return _words(shot, ripple)


def _one_cycle(shot: CapturedWave, mains_hz: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return times [s] and samples of one mains cycle from the middle of the capture; all of a short one."""
    import numpy as np

    count = len(shot.samples)
    length = count if not mains_hz > 0.0 else min(count, max(2, round(1.0 / mains_hz / shot.interval_s)) + 1)
    first = (count - length) // 2
    time = np.arange(length, dtype=np.float64) * shot.interval_s
    return time, shot.samples[first : first + length]


def _component(shot: CapturedWave, frequency_hz: float, time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the part of the capture at a frequency, over the cycle shown.

    Least squares of a cosine and a sine over the whole capture; orthogonal over whole cycles, which a
    capture of many of them nearly is.
    """
    import numpy as np

    count = len(shot.samples)
    first = (count - len(time)) // 2
    angle = 2.0 * math.pi * frequency_hz * shot.interval_s * (np.arange(count) - first)
    design = np.column_stack([np.cos(angle), np.sin(angle), np.ones(count)])
    (cosine, sine, _), *_ = np.linalg.lstsq(design, shot.samples, rcond=None)
    here = 2.0 * math.pi * frequency_hz * time
    return np.asarray(cosine * np.cos(here) + sine * np.sin(here))


def _thinned(
    x: NDArray[np.float64], y: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return a long trace with the least and the most of each stretch, so that no spike is lost."""
    import numpy as np

    if len(x) <= MOST_POINTS:
        return x, y
    size = -(-len(x) // (MOST_POINTS // 2))
    whole = len(x) // size * size
    blocks = y[:whole].reshape(-1, size)
    starts = np.arange(0, whole, size)
    ends = (starts + blocks.argmin(axis=1), starts + blocks.argmax(axis=1), [len(x) - 1])
    places = np.unique(np.concatenate(ends))
    return x[places], y[places]


def _harmonics(axes: Axes, ripple: Ripple, factor: float, unit: str) -> None:
    for line in ripple.components[:ORDERS]:
        fill = {1: _FIRST, 2: _SECOND}.get(line.order, _OTHER)
        axes.bar(line.order, line.amplitude_v * factor, width=0.7, linewidth=0.7, **fill)
    if ripple.oscillation_hz is not None:
        axes.axhline(ripple.oscillation_v * factor, color=GREEN, linestyle=":", linewidth=1.2)
    top = max([line.amplitude_v * factor for line in ripple.components[:ORDERS]], default=1.0)
    axes.set_ylim(0.0, 1.15 * max(top, ripple.oscillation_v * factor) or 1.0)
    axes.set_xlim(0.3, ORDERS + 0.7)
    axes.set_xticks([1, 2, 4, 6, 8, 10, 12])
    axes.set_xlabel(f"harmonic of {ripple.mains_hz:.1f} Hz")
    axes.set_ylabel(f"amplitude [{unit}]")
    axes.grid(visible=True, axis="y")
    axes.set_title(f"p-p {show(ripple.pp_v, 'V')}, RMS {show(ripple.rms_v, 'V')}", fontweight="normal")


def _words(shot: CapturedWave, ripple: Ripple) -> str:
    parts = [f"ripple {show(ripple.pp_v, 'V')} peak to peak, {show(ripple.rms_v, 'V')} RMS"]
    for order in (1, 2):
        line = ripple.component(order)
        if line is not None:
            parts.append(f"{show(line.amplitude_v, 'V')} at {line.frequency_hz:.0f} Hz")
    point = f", {shot.point}" if shot.point else ""
    return f"Rail {shot.rail}{point}: {', '.join(parts)}.{''.join(f' {word}.' for word in ripple.warnings)}"
