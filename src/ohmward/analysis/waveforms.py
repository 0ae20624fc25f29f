"""What the waveforms of a run say of its rails: ripple and its parts, reservoir, notches, oscillation.

A waveform is no reading and gets no verdict: what it shows is said in words, beside the readings.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import msgspec
import numpy as np
from numpy.typing import NDArray

from ohmward.analysis.conduction import Conduction, conduction
from ohmward.analysis.facts import CapturedWave, RunFacts
from ohmward.analysis.points import Point, points
from ohmward.analysis.rails import RailResult
from ohmward.analysis.ripple import ONE_HALF_MISSING, UNEQUAL_HALVES, Line, Ripple, analyse
from ohmward.quantity import show
from ohmward.supply.model import Rail

MOST_LINES = 20
"""Harmonics of the mains that a result lists."""
SCALE_U = 0.03
"""Expanded uncertainty of an oscilloscope's vertical scale, as a share (common practice, no source)."""
READ_U = 0.10
"""Taken for a reading of ripple whose own uncertainty is not stated, as a share (common practice)."""
SAME_LOAD = 0.05
_AC_COUPLED = 0.2
"""Mean below this share of the nominal voltage: the direct part was held back."""
_NOTCH_SHARE = 0.35
"""Share of time below the middle of the swing under which the swing is notches, not a sawtooth."""
_STANDS_OUT = 0.1
"""Share of the swing that f and 2f must hold to speak of the half-cycles."""
_FEW_STEPS = 20
"""Steps of the digitiser in the swing, below which its shape is coarse."""
_NOISE_CREST = 8.0
"""Times its RMS that plain noise stays within, and spikes do not (normal noise: 5 in a million samples)."""
_TENFOLD = (8.0, 12.5)
_NO_ESR = "its series resistance cannot be told from where the charging pulse begins: take a smaller range"


class WaveformResult(msgspec.Struct, frozen=True, kw_only=True):
    """One waveform; volts, AC values without the mean; None where it does not tell."""

    rail: str
    point: str
    step: str
    subject: str
    at: str
    file: str
    source: str
    load_a: float | None
    samples: int
    sample_rate_hz: float
    bandwidth_hz: float | None = None
    """Half the sample rate: what the probe and its instrument let through may be less."""
    step_v: float | None = None
    """Smallest step between two values that occur: what the digitiser can tell apart."""
    mains_hz: float | None = None
    mean_v: float | None = None
    """None where the input was AC-coupled."""
    pp_v: float | None = None
    pp_without_spikes_v: float | None = None
    rms_v: float | None = None
    components: tuple[Line, ...] = ()
    """Harmonics of the mains from f on, `MOST_LINES` at most; peak amplitudes."""
    half_wave_fraction: float | None = None
    """A(f) / (A(f) + A(2f)); None where neither stands out."""
    notch_v: float | None = None
    """Depth of the notches of a regulator that drops out."""
    notch_share: float | None = None
    """Share of time spent in them."""
    oscillation_hz: float | None = None
    oscillation_pp_v: float | None = None
    capacitance_f: float | None = None
    capacitance_uncertainty_f: float | None = None
    esr_ohm: float | None = None
    esr_uncertainty_ohm: float | None = None
    conduction_s: float | None = None
    peak_a: float | None = None
    """Peak of the charging current."""
    read_pp_v: float | None = None
    """What was read for the same ripple with a meter."""
    matters: tuple[str, ...] = ()
    """What asks for attention, the gravest first, in words."""
    limits: tuple[str, ...] = ()
    """What the waveform cannot show, in words."""


def waveform_results(facts: RunFacts) -> tuple[WaveformResult, ...]:
    """Return what each waveform that counts says: the latest of each rail, point and load."""
    latest = {
        (wave.rail, wave.point, wave.load_a, "" if wave.rail else wave.step): wave
        for wave in facts.captures
        if not wave.stale
    }
    return tuple(_result(facts, wave) for wave in latest.values())


def half_wave_fractions(facts: RunFacts, found: tuple[WaveformResult, ...]) -> dict[str, float]:
    """Return the share of ripple at mains frequency by rail, from its waveform at the highest load.

    Only where the half-cycles show: on the reservoir, or at the output of a rail without a regulator.
    """
    fractions: dict[str, float] = {}
    for each in sorted(found, key=lambda result: result.load_a or 0.0):
        rail = _rail(facts, each.rail)
        if rail is not None and each.half_wave_fraction is not None and _is_raw(rail, each.point):
            fractions[rail.name] = each.half_wave_fraction
    return fractions


def missing_half(facts: RunFacts, rail: str) -> bool | None:
    """Return whether a rail's waveform shows that a half-cycle is missing or weak.

    None where no waveform tells, or where the rectifier is a half-wave one by design.
    """
    found, sheet = facts.half_wave_fractions.get(rail), _rail(facts, rail)
    if found is None or sheet is None or _half_wave(sheet):
        return None
    return found > MISSING_OR_WEAK


MISSING_OR_WEAK = 0.2
"""Fraction above which a half-cycle is weak enough to answer 'humps alike' with no (common practice)."""


def with_waveforms(
    facts: RunFacts, rails: dict[str, RailResult], found: tuple[WaveformResult, ...]
) -> dict[str, RailResult]:
    """Return the rails with what their waveforms add: the fraction, and ripple where no meter read it."""
    result = dict(rails)
    for name, fraction in half_wave_fractions(facts, found).items():
        result[name] = msgspec.structs.replace(result[name], half_wave_fraction=fraction)
    for each in sorted(found, key=lambda wave: wave.load_a or 0.0):
        if each.rail not in result or each.pp_v is None:
            continue
        field = f"{each.point}_ripple_pp_v".replace("output_", "")
        if each.point and getattr(rails[each.rail], field) is None:
            note = f"ripple at the {each.point} by its waveform, spikes and all"
            kept = result[each.rail]
            notes = kept.notes if note in kept.notes else (*kept.notes, note)
            result[each.rail] = msgspec.structs.replace(kept, **{field: each.pp_v}, notes=notes)
    return result


def _result(facts: RunFacts, wave: CapturedWave) -> WaveformResult:
    rate = 1.0 / wave.interval_s
    plain = WaveformResult(
        rail=wave.rail, point=wave.point, step=wave.step, subject=wave.subject, at=wave.at, file=wave.file,
        source=wave.source, load_a=wave.load_a, samples=len(wave.samples), sample_rate_hz=rate,
    )  # fmt: skip
    if wave.unit != "V":
        return msgspec.structs.replace(plain, limits=(f"in {wave.unit}, not in volts: ripple is not told",))
    try:
        ripple = analyse(wave.samples, rate, facts.supply.mains.frequency_hz)
    except ValueError as error:
        return msgspec.structs.replace(plain, limits=(str(error),))
    rail = _rail(facts, wave.rail)
    coupled = rail is not None and abs(ripple.mean_v) < _AC_COUPLED * abs(rail.nominal_v)
    step = _step(wave.samples)
    # what is smaller than a step of the digitiser is its own pattern
    oscillates = ripple.oscillation_hz is not None and 2.0 * ripple.oscillation_v > step
    found = msgspec.structs.replace(
        plain,
        bandwidth_hz=ripple.bandwidth_hz,
        mains_hz=ripple.mains_hz,
        mean_v=None if coupled else ripple.mean_v,
        pp_v=ripple.pp_v,
        pp_without_spikes_v=ripple.pp_without_spikes_v,
        rms_v=ripple.rms_v,
        components=ripple.components[:MOST_LINES],
        half_wave_fraction=_fraction(ripple),
        step_v=step,
        oscillation_hz=ripple.oscillation_hz if oscillates else None,
        oscillation_pp_v=2.0 * ripple.oscillation_v if oscillates else None,
        limits=(*ripple.limits, *_coarse(ripple, step, coupled=coupled)),
    )
    if rail is None:
        return found
    found = _with_notches(rail, ripple, found)
    found = _with_reservoir(facts, rail, wave, ripple, found)
    read = _read(facts, rail, found)
    found = msgspec.structs.replace(found, read_pp_v=abs(read.value) if read else None)
    matters = (
        *_halves(rail, found),
        *_swings(ripple, found),
        *_reservoir_words(rail, found),
        *_against(read, found),
    )
    return msgspec.structs.replace(found, matters=matters)


def _coarse(ripple: Ripple, step: float, *, coupled: bool) -> Iterator[str]:
    if coupled:
        yield "AC-coupled: its mean is not the rail's"
    if 0.0 < ripple.pp_v < _FEW_STEPS * step:
        steps = f"{ripple.pp_v / step:.0f} steps of the digitiser, {_volts(step)} each"
        yield f"its swing is {steps}: take a smaller range"


def _rail(facts: RunFacts, name: str) -> Rail | None:
    return next((rail for rail in facts.supply.rails if rail.name == name), None)


def _half_wave(rail: Rail) -> bool:
    return rail.rectifier is not None and rail.rectifier.kind == "half-wave"


def _is_raw(rail: Rail, point: str) -> bool:
    """Whether what a rectifier does shows there undisguised."""
    return point == "reservoir" or (point == "output" and rail.regulator is None)


def _fraction(ripple: Ripple) -> float | None:
    if ripple.half_wave_fraction is None or len(ripple.components) < 2:
        return None
    both = ripple.components[0].amplitude_v + ripple.components[1].amplitude_v
    return ripple.half_wave_fraction if both > _STANDS_OUT * ripple.pp_without_spikes_v else None


def _with_notches(rail: Rail, ripple: Ripple, found: WaveformResult) -> WaveformResult:
    """Add notches: a regulated output that falls for a small part of each period, in step with the mains."""
    if found.point != "output" or rail.regulator is None or ripple.half_wave_fraction is None:
        return found
    lines = _in_step(ripple)
    share = ripple.dropout_share if rail.sign > 0 else 1.0 - ripple.dropout_share
    if share >= _NOTCH_SHARE or lines < 0.7 * ripple.rms_v:
        return found
    return msgspec.structs.replace(found, notch_v=ripple.pp_without_spikes_v, notch_share=share)


def _with_reservoir(
    facts: RunFacts, rail: Rail, wave: CapturedWave, ripple: Ripple, found: WaveformResult
) -> WaveformResult:
    """Add capacitance and series resistance, or why they are not told."""
    if not _is_raw(rail, wave.point):
        return found
    told, why = _conduction(facts, rail, wave, ripple, found)
    if told is None:
        words = f"reservoir capacitance and series resistance are not told: {why}"
        return msgspec.structs.replace(found, limits=(*found.limits, words))
    untold = () if told.esr_ohm is not None else (_NO_ESR,)
    return msgspec.structs.replace(
        found,
        limits=(*found.limits, *untold),
        capacitance_f=told.capacitance_f,
        capacitance_uncertainty_f=told.capacitance_uncertainty_f,
        esr_ohm=told.esr_ohm,
        esr_uncertainty_ohm=told.esr_uncertainty_ohm,
        conduction_s=told.conduction_s,
        peak_a=told.peak_a,
    )


def _conduction(
    facts: RunFacts, rail: Rail, wave: CapturedWave, ripple: Ripple, found: WaveformResult
) -> tuple[Conduction | None, str]:
    fraction = found.half_wave_fraction
    if fraction is None:
        return None, "no ripple at the mains frequency or twice it stands out"
    if UNEQUAL_HALVES < fraction <= ONE_HALF_MISSING:
        return None, "the half-cycles are unequal"
    load, uncertainty = _load(facts, rail, wave.load_a)
    if rail.reservoir is not None and rail.reservoir.bleeder_ohm and found.mean_v is not None:
        load += abs(found.mean_v) / rail.reservoir.bleeder_ohm if load else 0.0
    once = 1.0 if fraction > ONE_HALF_MISSING else 2.0
    return conduction(
        wave.samples,
        found.sample_rate_hz,
        once * ripple.mains_hz,
        load,
        load_uncertainty_a=uncertainty,
        scale_uncertainty=SCALE_U,
        step_v=found.step_v or 0.0,
    )


def _load(facts: RunFacts, rail: Rail, asked_a: float | None) -> tuple[float, float | None]:
    """Return the current at a load point: as it was read there, else as asked; and its uncertainty."""
    if asked_a is None:
        return 0.0, None
    for point in points(facts, rail, "output_v"):
        if point.item.load_a == asked_a and not point.item.together:
            return point.loaded_a, None
    return abs(asked_a), None


def _read(facts: RunFacts, rail: Rail, found: WaveformResult) -> Point | None:
    """Return the reading of the same ripple: same rail, point and load."""
    if not found.point or found.load_a is None:
        return None
    for point in points(facts, rail, f"{found.point}_ripple_pp_v"):
        asked = point.item.load_a
        if asked is not None and abs(asked - found.load_a) <= SAME_LOAD * abs(found.load_a):
            return point
    return None


def _halves(rail: Rail, found: WaveformResult) -> Iterator[str]:
    fraction = found.half_wave_fraction
    if fraction is None or _half_wave(rail) or fraction <= UNEQUAL_HALVES:
        return
    share = f"{100.0 * fraction:.0f} % of its two main parts at mains frequency"
    if not _is_raw(rail, found.point):
        yield f"output ripple with {share}: hum, pick-up, or unequal half-cycles; look at the reservoir"
    elif fraction > ONE_HALF_MISSING:
        yield (
            f"ripple of {_volts(found.pp_v)} p-p with {share}: one half-cycle is missing, by an open diode, "
            "an open half-winding or a broken joint there"
        )
    else:
        yield f"ripple with {share}: the half-cycles are unequal, as with a weak diode or joint on one side"


def _in_step(ripple: Ripple) -> float:
    """Return the RMS of all that is in step with the mains [V]."""
    return math.sqrt(sum(line.amplitude_v**2 / 2.0 for line in ripple.components))


def _swings(ripple: Ripple, found: WaveformResult) -> Iterator[str]:
    if found.notch_v is not None and found.notch_share is not None:
        yield (
            f"the output falls by {_volts(found.notch_v)} for {100.0 * found.notch_share:.0f} % of the time, "
            "in step with the mains: the regulator drops out, the valley of its reservoir is too low"
        )
    if found.oscillation_hz is not None:
        yield (
            f"a line at {show(found.oscillation_hz, 'Hz')}, {_volts(found.oscillation_pp_v)} p-p: "
            "the regulator oscillates, or it is pick-up"
        )
    smooth = found.pp_without_spikes_v or 0.0
    noise = math.sqrt(max(ripple.rms_v**2 - _in_step(ripple) ** 2, 0.0))
    stick_out = ripple.pp_v - smooth > max(0.5 * smooth, _NOISE_CREST * noise)
    if stick_out and found.oscillation_hz is None and not math.isclose(ripple.pp_v, smooth):
        yield f"spikes: {_volts(found.pp_v)} p-p in all, {_volts(smooth)} without them"


def _reservoir_words(rail: Rail, found: WaveformResult) -> Iterator[str]:
    reservoir = rail.reservoir
    if reservoir is None or found.capacitance_f is None:
        return
    u_c, u_r = found.capacitance_uncertainty_f or 0.0, found.esr_uncertainty_ohm or 0.0
    low = reservoir.capacitance_f * (1.0 + reservoir.tolerance_low_pct / 100.0)
    high = reservoir.capacitance_f * (1.0 + reservoir.tolerance_high_pct / 100.0)
    value = farads(found.capacitance_f, u_c)
    if found.capacitance_f + u_c < low:
        sheet = show(reservoir.capacitance_f, "F")
        yield f"the reservoir has {value}, the sheet {sheet}: it has dried out, or a smaller one was fitted"
    elif found.capacitance_f - u_c > high:
        yield f"the reservoir has {value}, the sheet {show(reservoir.capacitance_f, 'F')}: another was fitted"
    if found.esr_ohm is None or reservoir.esr_ohm is None:
        return
    if found.esr_ohm - u_r > 2.0 * reservoir.esr_ohm:
        yield (
            f"{show(found.esr_ohm, 'Ω', uncertainty=u_r)} ± {show(u_r, 'Ω', uncertainty=u_r)} in series with "
            f"the reservoir, the sheet says {show(reservoir.esr_ohm, 'Ω')}: a lossy capacitor, or its joints"
        )


def _against(read: Point | None, found: WaveformResult) -> Iterator[str]:
    """Say where a reading and the waveform disagree by more than both are sure of."""
    if read is None or found.pp_v is None or found.pp_without_spikes_v is None:
        return
    value = abs(read.value)
    stated = read.reading.judged.uncertainty
    # rounding puts either end of a record half a step of the digitiser too far out, and noise one more
    steps = 3.0 * (found.step_v or 0.0)
    u = math.hypot(READ_U * value if stated is None else stated, SCALE_U * found.pp_v + steps)
    if found.pp_without_spikes_v - u <= value <= found.pp_v + u:
        return
    ratio = max(value, found.pp_v) / max(min(value, found.pp_v), 1e-12)
    tenfold = _TENFOLD[0] <= ratio <= _TENFOLD[1]
    why = "a factor of ten is the probe's setting" if tenfold else "another load, point, range or bandwidth"
    yield (
        f"{_volts(value)} p-p was read, the waveform has {_volts(found.pp_v)} p-p, and they are sure of "
        f"{_volts(u)} together: {why}"
    )


def _step(samples: NDArray[np.float64]) -> float:
    """Return the smallest step between two values that occur [V]."""
    steps = np.diff(np.unique(samples[:10_000]))
    return float(steps.min()) if len(steps) else 0.0


def farads(value: float, u: float) -> str:
    """Return a capacitance with its uncertainty in microfarad, to two figures of that."""
    places = 1 - math.floor(math.log10(1e6 * u)) if u > 0.0 else 0
    both = (round(1e6 * each, places) for each in (value, u))
    return " ± ".join(f"{each:.{max(places, 0)}f}" for each in both) + " µF"


def _volts(value: float | None) -> str:
    return "–" if value is None else show(value, "V")
