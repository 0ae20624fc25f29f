"""Rails, soaks, waveforms, causes and the summary of an assessment as text, row by row."""

from __future__ import annotations

from collections.abc import Sequence

from ohmward.analysis.assessment import Assessment
from ohmward.analysis.cause_words import left_out_words, percent
from ohmward.analysis.rails import RailResult
from ohmward.analysis.rows import Cause
from ohmward.analysis.soak_result import SoakResult
from ohmward.analysis.waveforms import WaveformResult, farads
from ohmward.desk.words import SEVERITIES, VERDICTS
from ohmward.quantity import show
from ohmward.report.assessed import rail_lines
from ohmward.text import one_line

RAIL_HEADINGS = ("", "rail", "load regulation", "verdict", "output resistance", "ripple p-p")
SOAK_HEADINGS = ("", "sensor", "last", "settles at", "in hottest room", "limit", "stable")
WAVE_HEADINGS = ("", "rail", "at", "ripple p-p", "RMS", "what it shows")
NO_SOAK = "No temperature was read in a soak: nothing is known of how hot it gets."
NO_WAVE = "No waveform was recorded in this run."
NO_RAIL = "No rail was read yet."
NO_CAUSE = "Nothing failed and nothing was unexpected: no cause was looked for."
SUMMARY_LEADS = {
    "Do not power it": "bad",
    "Do not power it before this is settled": "bad",
    "Do not power it on the strength of this log": "bad",
    "Mend": "bad",
    "Settle": "warn",
    "Failed, and gone on with in writing": "warn",
    "Not settled": "warn",
    "Set aside": "warn",
    "Left out": "warn",
    "Against the readings": "warn",
    "Shortened": "warn",
    "Fed from a file": "warn",
    "Most likely": "warn",
    "Or": "warn",
    "First": "bad",
    "To make sure": "quiet",
    "Too hot": "bad",
    "Halted on the way": "quiet",
    "To do": "warn",
    "Watch": "warn",
    "On the way": "quiet",
    "Mended on the way": "quiet",
    "By design": "quiet",
    "Could be better": "quiet",
}
"""How the lines of a summary begin, and the style of those words."""
BAR_WIDTH = 20


def summary_parts(line: str) -> tuple[str, str]:
    """Return the words that a line of the summary begins with, and the rest; no lead where it has none."""
    lead, colon, rest = one_line(line).partition(":")
    head = lead.partition(" (")[0]
    return (lead + colon, rest.strip()) if colon and head in SUMMARY_LEADS else ("", one_line(line))


def lead_style(lead: str) -> str:
    """Return the style of a lead."""
    return SUMMARY_LEADS.get(lead.rstrip(":").partition(" (")[0], "quiet")


def rail_cells(name: str, rail: RailResult) -> tuple[str, ...]:
    """Return what the readings of one rail say together."""
    sign = VERDICTS[rail.load_regulation_verdict]
    return (
        sign.mark,
        one_line(name),
        _of(rail.load_regulation_pct, "%", rail.load_regulation_uncertainty_pct),
        sign.word.split(",")[0],
        _of(rail.output_resistance_ohm, "Ω", rail.output_resistance_uncertainty_ohm),
        _of(rail.ripple_pp_v, "V", None),
    )


def rail_words(name: str, rail: RailResult) -> list[str]:
    """Return all that is known of one rail, a line each."""
    head = [f"rail {name}"]
    if rail.load_regulation_denominator:
        head.append(f"regulation in per cent of the {rail.load_regulation_denominator}")
    if rail.load_regulation_limit_pct is not None:
        head.append(f"limit {show(rail.load_regulation_limit_pct, '%')}")
    if rail.line_regulation_pct is not None:
        line = _of(rail.line_regulation_pct, "%", rail.line_regulation_uncertainty_pct)
        head.append(f"line regulation {line}, {VERDICTS[rail.line_regulation_verdict].word}")
    if rail.knee_low_a is not None and rail.knee_high_a is not None:
        head.append(f"knee between {show(rail.knee_low_a, 'A')} and {show(rail.knee_high_a, 'A')}")
    if rail.cross_regulation_pct is not None:
        head.append(f"cross regulation {show(rail.cross_regulation_pct, '%', decimals=2)}")
    lines = [" · ".join(head), *(f"! {warning}" for warning in rail.warnings)]
    lines += [line for line in rail_lines(rail) if line]
    lines += [note for note in rail.notes if note not in lines]
    return [one_line(line) for line in lines]


def soak_cells(soak: SoakResult) -> tuple[str, ...]:
    """Return one sensor for the table."""
    hot = soak.too_hot_in_the_hottest_room
    stable = {None: "not told", True: "yes", False: "not yet"}[soak.stabilised]
    return (
        "✗" if hot else "!" if not soak.enough_data else "·",
        one_line(soak.sensor),
        _celsius(soak.last_c),
        "not told" if soak.withheld else _celsius(soak.final_c, soak.final_uncertainty_k),
        _celsius(soak.at_max_ambient_c),
        "–" if soak.limit_c is None else show(soak.limit_c, "°C"),
        stable,
    )


def soak_words(soak: SoakResult, hottest_c: float) -> list[str]:
    """Return all that is known of one sensor, a line each; `hottest_c` is the room it must work in [°C]."""
    lines = [f"{soak.sensor}: {_celsius(soak.last_c)} at the end"]
    if soak.final_c is not None and soak.time_constant_s is not None:
        lines[0] += f", settling at {_celsius(soak.final_c, soak.final_uncertainty_k)}"
        lines[0] += f" with a time constant of {show(soak.time_constant_s / 60.0, 'min', decimals=0)}"
    if soak.at_max_ambient_c is not None:
        ends = (soak.at_max_ambient_low_c, soak.at_max_ambient_high_c)
        low, high = ("open" if end is None else _celsius(end) for end in ends)
        room = show(hottest_c, "°C")
        lines.append(f"In a room of {room}: {_celsius(soak.at_max_ambient_c)} ({low} to {high})")
        if soak.too_hot_in_the_hottest_room:
            lines[-1] += ": MAY PASS ITS LIMIT"
    if soak.withheld:
        lines.append(f"! where it settles is not told: {soak.untold}")
    elif not soak.enough_data:
        lines.append("! the record is too short to rely on a forecast")
    lines += [f"Stable means: {soak.rule}"] if soak.rule else []
    return [one_line(line) for line in (*lines, *(f"! {warning}" for warning in soak.warnings))]


def wave_cells(wave: WaveformResult) -> tuple[str, ...]:
    """Return one waveform for the table."""
    return (
        "!" if wave.matters else "·",
        one_line(wave.rail or wave.step),
        one_line(wave.point) or "place not stated",
        _of(wave.pp_v, "V", None),
        _of(wave.rms_v, "V", None),
        one_line(wave.matters[0]) if wave.matters else "nothing that asks for attention",
    )


def wave_words(wave: WaveformResult) -> list[str]:
    """Return all that one waveform shows, and what it cannot show, a line each."""
    lines = [f"! {words}" for words in wave.matters]
    told = [line for line in wave.components if line.order in {1, 2, 4}]
    if told:
        parts = [
            f"{show(line.amplitude_v, 'V')} at {show(line.frequency_hz, 'Hz', decimals=1)}" for line in told
        ]
        lines.append(f"of it, peak: {', '.join(parts)}")
    if wave.read_pp_v is not None:
        lines.append(f"read with a meter: {show(wave.read_pp_v, 'V')} p-p")
    if wave.capacitance_f is not None and wave.esr_ohm is not None:
        size = farads(wave.capacitance_f, wave.capacitance_uncertainty_f or 0.0)
        esr = _of(wave.esr_ohm, "Ω", wave.esr_uncertainty_ohm)
        lines.append(f"reservoir {size}, {esr} in series")
    lines += [f"it cannot show: {words}" for words in wave.limits]
    return [one_line(line) for line in (*lines, f"{wave.file}, from {wave.source}")]


def cause_remark(result: Assessment) -> str:
    """Return what is said under the causes: that none was looked for, or what was not weighed."""
    return left_out_words(result) if result.causes else NO_CAUSE


def cause_lines(cause: Cause) -> list[tuple[str, str]]:
    """Return one explanation as (lead, words): how likely, what decided it, and how to make sure, safe first.

    What has to be made safe stands before what is to be done with it.
    """
    filled = round(cause.probability * BAR_WIDTH)
    bar = "█" * filled + "·" * (BAR_WIDTH - filled)
    lines = [(percent(cause.probability), f"{bar}  {one_line(cause.title)}")]
    lines += [("Severity", str(SEVERITIES[cause.severity]))] if cause.fault != "healthy" else []
    if not cause.fits:
        lines.append(("Doubt", "even this explains the readings poorly: look further than this list"))
    lines += [("Decided by", "one reading alone:")] if cause.from_one_reading else []
    lines += [("Decided by", one_line(words)) for words in cause.because]
    lines += [("Against it", one_line(words)) for words in cause.against]
    lines += [("Alike", one_line(cause.alike))] if cause.alike else []
    lines += [("First", one_line(cause.make_safe))] if cause.make_safe else []
    lines += [("To make sure", one_line(cause.confirm))] if cause.confirm else []
    return lines


def design_cells(result: Assessment) -> list[tuple[str, str, str]]:
    """Return what the design sheet itself gives away."""
    return [
        (SEVERITIES[finding.severity].mark, f"design: {finding.field}", f"{finding.text} ({finding.basis})")
        for finding in result.findings
    ]


def joined(lines: Sequence[str]) -> str:
    """Return lines as one, for a place with room for one sentence after another."""
    return " · ".join(line for line in lines if line)


def _celsius(value: float | None, uncertainty: float | None = None) -> str:
    if value is None:
        return "–"
    words = show(value, "°C", decimals=1)
    return words if uncertainty is None else f"{words} ± {show(uncertainty, 'K', decimals=1)}"


def _of(value: float | None, unit: str, uncertainty: float | None) -> str:
    return "–" if value is None else show(value, unit, uncertainty=uncertainty)
