"""Parts of an assessment as plain text: the soaks, and where the uncertainty of one reading comes from."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ohmward.analysis.rails import RailResult
from ohmward.analysis.rows import as_read
from ohmward.analysis.soak_result import SoakResult
from ohmward.quantity import show
from ohmward.report.rehearsal import REHEARSAL
from ohmward.report.text import table
from ohmward.run.budget import ReadingBudget
from ohmward.text import one_line

_SHAPES = {
    "normal": "normal",
    "rectangular": "rectangular",
    "triangular": "triangular",
    "u-shaped": "U-shaped",
    "trapezoidal": "trapezoidal",
    "student": "Student's t",
}


def rail_lines(rail: RailResult) -> list[str]:
    """Return load effect at once and settled, and the hidden parts, one a line; none where not known."""
    lines = []
    if rail.load_effect_immediate_v is not None and rail.load_effect_settled_v is not None:
        at_once = _pair(rail.load_effect_immediate_v, "V", rail.load_effect_immediate_uncertainty_v)
        settled = _pair(rail.load_effect_settled_v, "V", rail.load_effect_settled_uncertainty_v)
        lines += [f"load effect {at_once} at once, {settled} settled", rail.load_effect_drift]
    parts = rail.characterised
    if parts is None:
        return lines
    lines += [
        f"secondary without load {_pair(parts.open_circuit_v, 'V', parts.open_circuit_v_uncertainty)}",
        f"source resistance {_pair(parts.source_ohm, 'Ω', parts.source_ohm_uncertainty)}",
        f"reservoir {_pair(parts.capacitance_f, 'F', parts.capacitance_f_uncertainty)}",
        f"ESR {_pair(parts.esr_ohm, 'Ω', parts.esr_ohm_uncertainty)}",
    ]
    return [*lines, f"(for {parts.conducts})"] if parts.conducts == "one half-cycle" else lines


def _pair(value: float, unit: str, uncertainty: float | None) -> str:
    """Value and uncertainty, rounded to three and two figures, in the prefix that parts are marked with."""
    if uncertainty is None:
        return show(float(f"{value:.3g}"), unit)
    return f"{show(float(f'{value:.3g}'), unit)} ± {show(float(f'{uncertainty:.2g}'), unit)}"


def soaks_text(soaks: Sequence[SoakResult]) -> str:
    """Return the soaks as a table with the rules they were judged by; empty for none."""
    if not soaks:
        return ""
    rows = [
        (
            soak.sensor,
            show(soak.last_c, "°C", decimals=1),
            soak.untold or _with(soak.final_c, soak.final_uncertainty_k),
            "" if soak.time_constant_s is None else show(soak.time_constant_s / 60.0, "min", decimals=0),
            _hottest(soak),
            "" if soak.limit_c is None else show(soak.limit_c, "°C"),
            "" if soak.stabilised is None else ("yes" if soak.stabilised else "no"),
            "; ".join(soak.warnings),
        )
        for soak in soaks
    ]
    headings = ["sensor", "last", "settles at", "time const.", "in hottest room", "limit", "stable", "note"]
    rules = dict.fromkeys(f"Stable: {soak.rule}." for soak in soaks if soak.rule)
    return "\n".join([table(headings, rows, title="Soaks", width=150), *rules])


def _with(value: float | None, uncertainty: float | None) -> str:
    if value is None:
        return ""
    if uncertainty is None:
        return f"{show(value, '°C', decimals=1)}, open"
    return f"{show(value, '°C', decimals=1)} ± {show(uncertainty, 'K', decimals=1)}"


def _hottest(soak: SoakResult) -> str:
    if soak.at_max_ambient_c is None:
        return soak.untold
    low, high = soak.at_max_ambient_low_c, soak.at_max_ambient_high_c
    ends = [("open" if end is None else show(end, "°C", decimals=1)) for end in (low, high)]
    return f"{show(soak.at_max_ambient_c, '°C', decimals=1)} ({ends[0]} to {ends[1]})"


def budget_text(found: ReadingBudget) -> str:
    """Return where the uncertainty of a reading comes from, as a table and a line a person can check."""
    reading, combined = found.reading, found.combined
    unit = reading.value.unit
    where = f"{found.item.title} ({found.item.subject})" if found.item.subject else found.item.title
    lines = [f"Run {one_line(found.run)}: {one_line(where)}", f"Read: {one_line(as_read(reading))}"]
    if reading.count > 1 and reading.standard_deviation is not None:
        lines[-1] += (
            f", mean of {reading.count} with a standard deviation of {show(reading.standard_deviation, unit)}"
        )
    if reading.meter:
        spec = f", accuracy {one_line(found.accuracy)}" if found.accuracy else ""
        lines.append(f"Meter: {one_line(reading.meter)}{spec}")
    if found.parts:
        made = " + ".join(f"{words} ({_short(part, unit)})" for words, part in found.parts)
        half = sum(part for _, part in found.parts)
        lines.append(
            f"At this reading: {made}: within ±{_short(half, unit)}, anything in it as likely, so ÷ √3"
        )
    if combined is not None:
        rows = [
            (
                row.name,
                _SHAPES.get(row.distribution, row.distribution),
                _short(row.standard, unit),
                f"{row.sensitivity:g}",
                _short(row.contribution, unit),
                "∞" if math.isinf(row.dof) else f"{row.dof:.3g}",
                f"{row.share_pct:.0f} %",
            )
            for row in combined.budget()
        ]
        headings = ["from", "shape", "standard uncertainty", "sensitivity", "adds", "degrees", "of variance"]
        lines += ["", table(headings, rows)]
        net = (
            ""
            if reading.judged.net is None
            else show(reading.judged.net, unit, uncertainty=combined.expanded)
        )
        lines.append(
            f"Together u = {_short(combined.standard, unit)}; U = {combined.coverage_factor:.2f} u = "
            f"±{_short(combined.expanded, unit)}, which holds the true value in about "
            f"{100 * combined.level:.0f} of 100 such readings"
        )
        lines.append(f"Result: {net} ± {_short(combined.expanded, unit)}")
    lines += [f"Note: {one_line(note)}." for note in found.notes]
    lines += ["", REHEARSAL] if found.simulated else []
    return "\n".join(line.rstrip() for line in lines)


def _short(uncertainty: float, unit: str) -> str:
    """An uncertainty with two figures (JCGM 100:2008, 7.2.6)."""
    return show(uncertainty, unit, uncertainty=uncertainty or None)


def budget_json(found: ReadingBudget) -> dict[str, object]:
    """Return the same as plain data; SI base units; no infinities (null for infinite degrees of freedom)."""
    reading, combined = found.reading, found.combined
    data: dict[str, object] = {
        "run": found.run,
        "simulated": found.simulated,
        "step": found.item.step,
        "subject": found.item.subject,
        "raw": reading.value.raw,
        "unit": reading.value.unit,
        "net": reading.judged.net,
        "meter": reading.meter,
        "accuracy": found.accuracy,
        "accuracy_parts": [{"what": words, "half_width": part} for words, part in found.parts],
        "recorded_uncertainty": reading.judged.uncertainty,
        "standard": None,
        "coverage_factor": None,
        "expanded": None,
        "level": None,
        "dof": None,
        "components": [],
        "notes": list(found.notes),
    }
    if combined is None:
        return data
    data.update(
        standard=combined.standard,
        coverage_factor=combined.coverage_factor,
        expanded=combined.expanded,
        level=combined.level,
        dof=_finite(combined.dof),
        components=[
            {
                "name": row.name,
                "distribution": row.distribution,
                "standard": row.standard,
                "sensitivity": row.sensitivity,
                "contribution": row.contribution,
                "dof": _finite(row.dof),
                "share_pct": row.share_pct,
            }
            for row in combined.budget()
        ],
    )
    return data


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
