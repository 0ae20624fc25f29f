"""Meters, what a check of them found, and one reading with its uncertainty: as text and as JSON."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence

from ohmward.analysis.judgement import uncertainty_of
from ohmward.analysis.uncertainty import Combined
from ohmward.bench.meters import Meter, Specification, is_simulated
from ohmward.bench.settled import Measured
from ohmward.bench.survey import Checked, Found, calibration
from ohmward.quantity import show, show_value
from ohmward.report.rehearsal import REHEARSAL
from ohmward.report.text import table
from ohmward.text import one_line


def inventory_json(meters: Sequence[Meter], on: datetime.date) -> list[dict[str, object]]:
    """Return the meters of a logbook; SI base units."""
    return [
        {
            "name": each.name,
            "kind": each.kind,
            "serial": each.serial,
            "resource": each.resource,
            "profile": each.profile,
            "channel": each.channel,
            "idn": each.idn,
            "calibrated": each.calibrated.isoformat() if each.calibrated else None,
            "due": each.due.isoformat() if each.due else None,
            "calibration": calibration(each, on),
            "simulated": is_simulated(each.idn),
            "test_current_a": each.test_current_a,
            "accuracy": [_specification_json(one) for one in each.specifications],
        }
        for each in meters
    ]


def inventory_text(meters: Sequence[Meter], on: datetime.date) -> str:
    """Return the meters of a logbook with their calibration and accuracy."""
    if not meters:
        return "No meters are listed."
    rows = [
        (each.name, each.kind, each.serial, _calibration(each, on), each.resource or "read by hand")
        for each in meters
    ]
    accuracy = [
        (each.name, one.function, _range(one), one.accuracy.text)
        for each in meters
        for one in each.specifications
    ]
    blocks = [
        *_rehearsal(any(is_simulated(each.idn) for each in meters)),
        table(("meter", "kind", "serial", "calibration", "reached at"), rows),
    ]
    if accuracy:
        blocks.append(table(("meter", "function", "range", "accuracy"), accuracy))
    without = [one_line(each.name) for each in meters if not each.specifications]
    if without:
        blocks.append(f"No accuracy stated, so readings state no uncertainty: {', '.join(without)}")
    return "\n\n".join(blocks)


def checked_json(found: Sequence[Checked], on: datetime.date) -> list[dict[str, object]]:
    """Return what a check of the meters found."""
    return [
        {
            "name": each.meter.name,
            "resource": each.meter.resource,
            "reached": not each.problem,
            "problem": each.problem,
            "identity": each.identity,
            "expected": each.meter.idn,
            "backend": each.backend,
            "errors": list(each.errors),
            "round_trip_s": each.round_trip_s,
            "calibration": calibration(each.meter, on),
            "simulated": each.simulated,
        }
        for each in found
    ]


def checked_text(found: Sequence[Checked], on: datetime.date) -> str:
    """Return what a check of the meters found."""
    if not found:
        return "No meter has a resource: all are read by hand."
    rows = [
        (
            each.meter.name,
            "NOT REACHED" if each.problem else "well",
            each.identity,
            "" if each.round_trip_s is None else show(each.round_trip_s, "s"),
            calibration(each.meter, on),
        )
        for each in found
    ]
    lines = [f"{one_line(each.meter.name)}: {one_line(each.problem)}" for each in found if each.problem]
    lines += [f"{one_line(each.meter.name)}: {one_line(said)}" for each in found for said in each.errors]
    blocks = [
        *_rehearsal(any(each.simulated for each in found)),
        table(("meter", "", "calls itself", "round trip", "calibration"), rows),
        "\n".join(lines),
    ]
    return "\n\n".join(block for block in blocks if block)


def measured_json(found: Measured, meter: Meter, on: datetime.date) -> dict[str, object]:
    """Return one settled reading with its uncertainty; SI base units, None for what is not stated."""
    settled = found.settled
    combined = _combined(found, meter)
    return {
        "meter": found.meter,
        "function": found.function,
        "identity": found.identity,
        "simulated": is_simulated(found.identity),
        "calibration": calibration(meter, on),
        "kind": settled.value.kind,
        "value": _finite(settled.value.si),
        "unit": settled.value.unit,
        "settled": settled.settled,
        "count": settled.count,
        "standard_deviation": settled.standard_deviation,
        "type_a": settled.type_a,
        "half_width": settled.half_width,
        "type_b": settled.type_b,
        "range": settled.span,
        "standard_uncertainty": combined.standard if combined else None,
        "coverage_factor": combined.coverage_factor if combined else None,
        "expanded_uncertainty": combined.expanded if combined else None,
        "replies": list(settled.replies),
        "failed_attempts": [f"{each.what}: {each.why}" for each in settled.failed],
        "took_s": settled.took_s,
    }


def measured_text(found: Measured, meter: Meter, on: datetime.date) -> str:
    """Return one settled reading with its uncertainty, in words."""
    settled, unit = found.settled, found.settled.value.unit
    combined = _combined(found, meter)
    shown = show_value(settled.value)
    if combined is not None:
        level = f"k = {combined.coverage_factor:.3g}, {combined.level:.0%}"
        value = show(settled.value.si, unit, uncertainty=combined.expanded)
        shown = f"{value} ± {_spread(combined.expanded, unit)} ({level})"
    lines = [
        *_rehearsal(is_simulated(found.identity)),
        f"{one_line(found.meter)}, {found.function}: {shown}",
        f"mean of {settled.count}" if settled.mean is not None else f"{settled.count} alike",
    ]
    if settled.type_a is not None and settled.standard_deviation is not None:
        spread = _spread(settled.standard_deviation, unit)
        lines.append(f"type A {_spread(settled.type_a, unit)} (standard deviation of one reading {spread})")
    if settled.type_b is not None and settled.half_width is not None:
        span = f" on the {settled.span} range" if settled.span else ""
        accuracy = f"accuracy ±{_spread(settled.half_width, unit)}{span}, rectangular"
        lines.append(f"type B {_spread(settled.type_b, unit)} ({accuracy})")
    else:
        lines.append("uncertainty not stated: the meters file gives no accuracy for such a reading")
    if calibration(meter, on) != "in date":
        lines.append(f"calibration {_calibration(meter, on)}")
    if not settled.settled:
        lines.append(f"NOT SETTLED: the readings still moved after {show(settled.took_s, 's')}")
    lines += [f"attempt failed: {one_line(each.what)}: {one_line(each.why)}" for each in settled.failed]
    return "\n".join(lines)


def found_json(found: Sequence[Found]) -> list[dict[str, object]]:
    """Return what answered where."""
    return [
        {
            "resource": each.place.resource,
            "place": each.place.what,
            "identity": each.identity,
            "problem": each.problem,
            "simulated": each.simulated,
        }
        for each in found
    ]


def found_text(found: Sequence[Found]) -> str:
    """Return what answered where, each as an entry to put into the meters file."""
    blocks = list(_rehearsal(any(each.simulated for each in found)))
    for each in found:
        if each.problem:
            blocks.append(f"# {one_line(each.place.what)}: {one_line(each.problem)}")
        else:
            idn = each.identity.replace("\\", "\\\\").replace('"', '\\"')
            blocks.append(
                f"# {one_line(each.place.what)}: give it a name, a kind and its accuracy\n[[meter]]\n"
                f'name = ""\nkind = "multimeter"\nresource = "{each.place.resource}"\nidn = "{idn}"'
            )
    return "\n\n".join(blocks) if found else "There is no such place on this computer."


def _combined(found: Measured, meter: Meter) -> Combined | None:
    settled = found.settled
    if settled.value.kind != "exact":
        return None
    return uncertainty_of(
        settled.value, meter=meter, function=found.function,
        standard_deviation=settled.standard_deviation, count=settled.count,
    )  # fmt: skip


def _spread(value: float, unit: str) -> str:
    """Return an uncertainty to two significant figures (JCGM 100:2008, 7.2.6)."""
    return show(value, unit, uncertainty=value)


def _calibration(meter: Meter, on: datetime.date) -> str:
    state = calibration(meter, on)
    words = state.upper() if state == "overdue" else state
    return words if meter.due is None else f"{words} ({meter.due.isoformat()})"


def _specification_json(one: Specification) -> dict[str, object]:
    return {
        "function": one.function,
        "unit": one.unit,
        "low": one.low,
        "high": _finite(one.high),
        "accuracy": one.accuracy.text,
    }


def _range(one: Specification) -> str:
    if math.isinf(one.high):
        return "any"
    top = show(one.high, one.unit)
    return f"{show(one.low, one.unit)} to {top}" if one.low else top


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _rehearsal(simulated: bool) -> list[str]:
    return [REHEARSAL] if simulated else []
