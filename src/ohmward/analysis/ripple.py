"""Ripple from a capture: peak to peak with and without spikes, RMS, harmonics of the mains, oscillation.

One real Fourier transform of the whole capture, without a window; the Hann window is then applied to
the few lines that matter, in the frequency domain, where it is X_h[k] = X[k]/2 - (X[k-1] + X[k+1])/4.
That costs nothing and keeps a strong line from leaking over a weak one. Amplitudes are corrected for
lines that fall between two bins (Hann: worst -1.42 dB [1]_), so the capture need not hold a whole
number of mains periods.

References
----------
.. [1] F. J. Harris, Proc. IEEE 66 (1978) 51, table 1: Hann coherent gain 0.50, noise bandwidth 1.50
   bins, scalloping loss 1.42 dB.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Spectrum = NDArray[np.complex128]

HARMONICS = 40
"""Lines of the mains looked at (2 kHz at 50 Hz)."""
MAINS_DRIFT = 0.03
"""Share by which the mains may be off its nominal frequency (a small generator included)."""
AUDIO_HZ = 20e3
ONE_HALF_MISSING = 0.5
"""Fraction f / (f + 2f) above which one half-cycle is missing: a half-wave sawtooth has 2/3."""
UNEQUAL_HALVES = 0.05
_STRETCH = 1 << 13
_CHUNK = 1 << 15
_BLOCKS_A_PERIOD = 500
_BLOCK_SAMPLES = 5
_ABOVE_NOISE = 40.0
"""Times the mean power of the band that a line has to have to be no noise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One harmonic of the mains; `amplitude_v` is peak, not RMS."""

    order: int
    frequency_hz: float
    amplitude_v: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ripple:
    """What a capture says; volts, AC values without the mean."""

    mean_v: float
    pp_v: float
    """Peak to peak of every sample, spikes and all."""
    pp_without_spikes_v: float
    """Peak to peak of medians over 1/500 of a mains period; `pp_v` where sampled too slowly for that."""
    rms_v: float
    mains_hz: float
    """As found in the capture; the nominal one where no line of it stands out."""
    components: tuple[Line, ...]
    """Harmonics of the mains, from order 1."""
    half_wave_fraction: float | None
    """A(f) / (A(f) + A(2f)): 0 for equal half-cycles, 2/3 for a half-wave sawtooth; None without ripple."""
    distortion: float | None
    """RMS of all but the stronger of f and 2f, over the RMS of that one."""
    dropout_share: float
    """Share of time below the middle of the swing: about a half for a sawtooth, small with notches."""
    oscillation_hz: float | None
    oscillation_v: float
    """Amplitude (peak) of the strongest line above the audio band; 0 where none stands out."""
    bandwidth_hz: float
    """Highest frequency that the capture can hold."""
    limits: tuple[str, ...] = ()
    """What its length, sample rate and bandwidth cannot show."""
    warnings: tuple[str, ...] = ()
    """The limits, and what to look into."""

    def component(self, order: int) -> Line | None:
        """Return a harmonic by its order; None where the capture does not reach it."""
        return next((line for line in self.components if line.order == order), None)

    @property
    def percent(self) -> float:
        """RMS ripple in per cent of the mean (NaN without a mean)."""
        return 100.0 * self.rms_v / abs(self.mean_v) if self.mean_v else math.nan


def analyse(
    samples_v: ArrayLike, sample_rate_hz: float, mains_hz: float, *, bandwidth_hz: float | None = None
) -> Ripple:
    """Analyse a capture of an output or of a reservoir.

    Parameters
    ----------
    samples_v : array_like, shape (n,)
        Samples [V], evenly spaced.
    sample_rate_hz : float
        Samples in a second [Hz].
    mains_hz : float
        Nominal mains frequency [Hz].
    bandwidth_hz : float, optional
        Bandwidth of the probe and its instrument [Hz], where it is less than half the sample rate.

    Returns
    -------
    Ripple
        With warnings where the capture cannot show what is asked.

    Raises
    ------
    ValueError
        When a sample is not finite, a rate is not above zero, or the capture is shorter than two
        mains periods or too slow for the ripple frequency.
    """
    samples = np.ascontiguousarray(samples_v, dtype=float)
    _check(samples, sample_rate_hz, mains_hz)
    swept = _sweep(samples, int(sample_rate_hz / (mains_hz * _BLOCKS_A_PERIOD)))
    swing, smooth = swept.high - swept.low, swept.medians
    spectrum = np.fft.rfft(samples)
    bin_hz = sample_rate_hz / len(samples)
    band = sample_rate_hz / 2.0 if bandwidth_hz is None else min(bandwidth_hz, sample_rate_hz / 2.0)
    floor = 1e-9 * max(abs(swept.mean), swing, 1e-12)
    found_hz = _mains(spectrum, bin_hz, mains_hz, floor * len(samples))
    lines = tuple(
        Line(
            order=order,
            frequency_hz=order * found_hz,
            amplitude_v=_amplitude(spectrum, order * found_hz / bin_hz, len(samples)),
        )
        for order in range(1, HARMONICS + 1)
        if order * found_hz < min(band, sample_rate_hz / 2.0 - 2.0 * bin_hz)
    )
    oscillation = _oscillation(spectrum, bin_hz, band, swing, len(samples))
    fraction, distortion = _fractions(lines, swept.rms, floor)
    result = Ripple(
        mean_v=swept.mean,
        pp_v=swing,
        pp_without_spikes_v=swing if smooth is None else float(np.ptp(smooth)),
        rms_v=swept.rms,
        mains_hz=found_hz,
        components=lines,
        half_wave_fraction=fraction,
        distortion=distortion,
        dropout_share=_share_below_middle(samples if smooth is None else smooth),
        oscillation_hz=oscillation[0],
        oscillation_v=oscillation[1],
        bandwidth_hz=band,
    )
    periods = len(samples) / sample_rate_hz * mains_hz
    limits = _limits(result, periods, smooth is None)
    return replace(result, limits=limits, warnings=(*limits, *_warnings(result, smooth is None)))


def peak_to_peak_from_rms(ac_rms_v: float) -> tuple[float, float, float]:
    """Return the peak-to-peak ripple that a meter's AC range speaks of, with the least and the most.

    2 sqrt(3) for a sawtooth, 2 sqrt(2) for a sine; rectifier ripple lies at 3 to 4 (trade practice).
    It says nothing of spikes, nor of what lies above the meter's bandwidth, and below a tenth of the
    range nothing at all.
    """
    return 2.0 * math.sqrt(3.0) * ac_rms_v, 2.0 * math.sqrt(2.0) * ac_rms_v, 4.0 * ac_rms_v


def hann_gain(offset_bins: float) -> float:
    """Return the Hann window's response to a line `offset_bins` from a bin, relative to one on it.

    sinc(d) / (1 - d^2) with sinc(d) = sin(pi d) / (pi d) [1]_.
    """
    away = abs(offset_bins)
    if away < 1e-12:
        return 1.0
    if abs(away - 1.0) < 1e-9:
        return 0.5
    return math.sin(math.pi * away) / (math.pi * away * (1.0 - away * away))


def _check(samples: Array, sample_rate_hz: float, mains_hz: float) -> None:
    for name, rate in (("sample rate", sample_rate_hz), ("mains frequency", mains_hz)):
        if not 0.0 < rate < math.inf:
            raise ValueError(f"the {name} is a finite number above zero, not {rate}")
    if samples.ndim != 1:
        raise ValueError(f"a capture is one row of samples, not {samples.shape}")
    if sample_rate_hz < 8.0 * mains_hz:
        raise ValueError(
            f"{sample_rate_hz:g} samples a second are too few for {mains_hz:g} Hz mains: take 8 a period"
        )
    if len(samples) < 2.0 * sample_rate_hz / mains_hz:
        raise ValueError("the capture is shorter than two mains periods")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sweep:
    low: float
    high: float
    mean: float
    rms: float
    medians: Array | None
    """Of blocks too short for the ripple to move and too long for a spike to fill."""


def _sweep(samples: Array, block: int) -> _Sweep:
    """Return the moments and block medians in one pass, a stretch at a time that stays in the cache."""
    low, high, total, squares, shift = math.inf, -math.inf, 0.0, 0.0, float(samples[0])
    thinned: list[Array] = []
    chunk = _STRETCH if block < 3 else max(_STRETCH // block, 1) * block
    away = np.empty(chunk)
    for start in range(0, len(samples), chunk):
        part = samples[start : start + chunk]
        least, most = float(part.min()), float(part.max())
        if not (math.isfinite(least) and math.isfinite(most)):
            raise ValueError("a sample is not a finite number")
        low, high = min(low, least), max(high, most)
        here = np.subtract(part, shift, out=away[: len(part)])
        total += float(here.sum())
        squares += float(here @ here)
        if block >= 3 and len(part) >= block:
            blocks = part[: len(part) // block * block].reshape(-1, block)
            thinned.append(blocks[:, :: max(1, block // _BLOCK_SAMPLES)].copy())
    mean = total / len(samples)
    return _Sweep(
        low=low,
        high=high,
        mean=shift + mean,
        rms=math.sqrt(max(squares / len(samples) - mean * mean, 0.0)),
        medians=np.median(np.concatenate(thinned), axis=1) if thinned else None,
    )


def _hann(spectrum: Spectrum, k: int) -> complex:
    return complex(0.5 * spectrum[k] - 0.25 * (spectrum[k - 1] + spectrum[k + 1]))


def _amplitude(spectrum: Spectrum, position: float, count: int) -> float:
    """Return the amplitude of a line at a fractional bin of `count` samples, the window's gain taken out."""
    k = max(1, round(position))
    if k + 1 >= len(spectrum):
        return 0.0
    return abs(_hann(spectrum, k)) / (0.25 * count * hann_gain(position - k))


def _mains(spectrum: Spectrum, bin_hz: float, nominal_hz: float, floor: float) -> float:
    """Return the mains frequency by the strongest of its first lines; nominal where none stands out."""
    best = (floor, nominal_hz)
    for order in (1, 2, 4, 6):
        centre, width = order * nominal_hz / bin_hz, order * nominal_hz * MAINS_DRIFT / bin_hz
        first = max(2, round(centre - max(width, 1.0)))
        last = min(len(spectrum) - 2, round(centre + max(width, 1.0)))
        if last < first:
            continue
        part = spectrum[first - 1 : last + 2]
        heights = np.abs(0.5 * part[1:-1] - 0.25 * (part[:-2] + part[2:]))
        at = int(np.argmax(heights))
        if heights[at] > best[0]:
            best = (float(heights[at]), _between(spectrum, first + at) * bin_hz / order)
    return best[1]


def _between(spectrum: Spectrum, k: int) -> float:
    """Return the fractional bin of a line from its two highest Hann bins: d = (2 r - 1) / (1 + r)."""
    here, left, right = abs(_hann(spectrum, k)), abs(_hann(spectrum, k - 1)), abs(_hann(spectrum, k + 1))
    side, ratio = (1.0, right / here) if right >= left else (-1.0, left / here)
    return k + side * (2.0 * ratio - 1.0) / (1.0 + ratio)


def _fractions(lines: tuple[Line, ...], rms: float, floor: float) -> tuple[float | None, float | None]:
    if len(lines) < 2 or lines[0].amplitude_v + lines[1].amplitude_v <= floor:
        return None, None
    one, two = lines[0].amplitude_v, lines[1].amplitude_v
    main = max(one, two) / math.sqrt(2.0)
    return one / (one + two), math.sqrt(max(rms * rms - main * main, 0.0)) / main


def _share_below_middle(samples: Array) -> float:
    middle = (float(samples.max()) + float(samples.min())) / 2.0
    return float(np.count_nonzero(samples < middle)) / len(samples)


def _oscillation(
    spectrum: Spectrum, bin_hz: float, band: float, swing: float, count: int
) -> tuple[float | None, float]:
    """Return the strongest line above the audio band, where it holds 2 % of the swing and stands alone.

    The comb of a spike train spreads over many lines, each far below that. Of noise, a digitiser's steps
    included, the highest of a million lines has some 14 times their mean power (ln n, exponential law).
    """
    first, last = math.ceil(AUDIO_HZ / bin_hz), min(int(band / bin_hz), len(spectrum) - 2)
    best, at, total = 0.0, 0, 0.0
    for start in range(first, last, _CHUNK):
        part = spectrum[start : min(start + _CHUNK, last)]
        power = part.real**2 + part.imag**2
        k = int(np.argmax(power))
        total += float(power.sum())
        if power[k] > best:
            best, at = float(power[k]), start + k
    if not at or best < _ABOVE_NOISE * (total - best) / max(last - first - 1, 1):
        return None, 0.0
    position = _between(spectrum, at)
    amplitude = _amplitude(spectrum, position, count)
    if amplitude < 0.02 * swing or amplitude <= 0.0:
        return None, 0.0
    return position * bin_hz, amplitude


def _limits(found: Ripple, periods: float, slow: bool) -> tuple[str, ...]:
    said = []
    if periods < 4.0:
        said.append("fewer than four mains periods: f and 2f cannot be told apart well; capture ten or more")
    if slow:
        said.append("sampled too slowly to tell spikes from ripple")
    if found.bandwidth_hz < AUDIO_HZ:
        said.append(f"nothing above {found.bandwidth_hz:g} Hz can be seen: no spikes, no oscillation")
    return tuple(said)


def _warnings(found: Ripple, slow: bool) -> tuple[str, ...]:
    said = []
    if found.half_wave_fraction is not None and found.half_wave_fraction > ONE_HALF_MISSING:
        said.append("mostly at mains frequency: one half-cycle is missing (an open diode or half-winding)")
    elif found.half_wave_fraction is not None and found.half_wave_fraction > UNEQUAL_HALVES:
        said.append("a part at mains frequency: the half-cycles are unequal")
    if found.oscillation_hz is not None:
        said.append(f"a line at {found.oscillation_hz / 1e3:.3g} kHz: an oscillating regulator, or pick-up")
    if found.pp_v > 1.5 * found.pp_without_spikes_v and not slow:
        said.append("narrow spikes stand above the ripple")
    return tuple(said)
