"""The waveforms of an assessment as plain text, and what was recorded as one."""

from __future__ import annotations

from collections.abc import Sequence

from ohmward.analysis.waveforms import WaveformResult, farads
from ohmward.logbook.events import Captured
from ohmward.quantity import show
from ohmward.report.text import table
from ohmward.text import one_line

_HARMONICS = 4


def waveforms_text(waves: Sequence[WaveformResult], problems: Sequence[str] = ()) -> str:
    """Return what the waveforms of a run show, with what they cannot show; empty for none."""
    rows = [
        (
            f"{wave.rail or wave.step}\n{wave.point}".strip(),
            _ripple(wave),
            _lines(wave),
            _reservoir(wave),
            "\n".join(each for each in (*wave.matters, *wave.limits)),
        )
        for wave in waves
    ]
    headings = ["rail", "ripple p-p", "of it, at", "reservoir", "what it shows, and what it cannot"]
    blocks = [table(headings, rows, title="Waveforms", width=160) if rows else ""]
    if problems:
        blocks.append("\n".join(["Waveforms not used:", *(f"  {one_line(each)}" for each in problems)]))
    return "\n\n".join(block for block in blocks if block)


def captured_json(event: Captured, run: str) -> dict[str, object]:
    """Return what was recorded in the shape other programs read."""
    return {
        "run": run,
        "step": event.step,
        "subject": event.subject,
        "file": event.file,
        "sha256": event.sha256,
        "samples": event.samples,
        "interval_s": event.interval_s,
        "unit": event.unit,
        "point": event.point,
        "meter": event.meter,
        "source": event.source,
    }


def captured_text(event: Captured, run: str) -> str:
    """Return what was recorded, in words."""
    where = f"{event.step} ({event.subject})" if event.subject else event.step
    span = show(event.samples * event.interval_s, "s")
    rate = show(1.0 / event.interval_s, "Hz")
    lines = [
        f"{one_line(where)}: {event.samples} samples at {rate}, {span} in all, recorded in {one_line(run)}",
        f"  of the {event.point or 'place not stated'}, from {one_line(event.source)}",
        f"  {one_line(event.file)}",
        f"  SHA-256 {event.sha256}",
    ]
    return "\n".join(lines)


def withdrawn_text(event: Captured, run: str) -> str:
    """Return that a waveform was taken back, in words."""
    return f"Withdrawn in {one_line(run)}: {one_line(event.file)}. It stays on record, and is not used."


def _ripple(wave: WaveformResult) -> str:
    if wave.pp_v is None or wave.rms_v is None:
        return "–"
    parts = [show(wave.pp_v, "V")]
    if wave.pp_without_spikes_v is not None and wave.pp_v > 1.05 * wave.pp_without_spikes_v:
        parts.append(f"{show(wave.pp_without_spikes_v, 'V')} without spikes")
    parts.append(f"{show(wave.rms_v, 'V')} RMS")
    if wave.read_pp_v is not None:
        parts.append(f"read: {show(wave.read_pp_v, 'V')}")
    return "\n".join(parts)


def _lines(wave: WaveformResult) -> str:
    told = [line for line in wave.components[:_HARMONICS] if line.order in {1, 2, 4}]
    return "\n".join(
        f"{show(line.frequency_hz, 'Hz', decimals=1)}: {show(line.amplitude_v, 'V')} peak" for line in told
    )


def _reservoir(wave: WaveformResult) -> str:
    if wave.capacitance_f is None:
        return "–"
    told = farads(wave.capacitance_f, wave.capacitance_uncertainty_f or 0.0)
    if wave.esr_ohm is None:
        return told
    u = wave.esr_uncertainty_ohm or 0.0
    return f"{told}\n{show(wave.esr_ohm, 'Ω', uncertainty=u)} ± {show(u, 'Ω', uncertainty=u)} in series"
