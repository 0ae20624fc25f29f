"""One reading judged: within its limit? what the design predicts? past a stop? Once, when it is taken.

The judgement goes into the journal beside the reading and is not computed again later. Two separate
statements are made: the verdict against the limit (ILAC-G8, `decision`) and whether the reading is
what the design predicts; a reading can pass its limit and still be a warning.

Uncertainty: accuracy half-width of the meter (rectangular), that of the lead null, and the spread of
repeated readings of either, combined by the GUM; U = k u with k = 2, or Student's t where the spread has few
readings behind it. Reading and null are taken as independent although one meter may have made both:
that errs on the safe side. Where the meter's accuracy is not stated, none is made up from the digits.
"""

from __future__ import annotations

import math

from ohmward.analysis.decision import Decision, conformance_probability, decide
from ohmward.analysis.uncertainty import Combined, Component, combine, rectangular, spread_of_mean
from ohmward.analysis.wording import Case, Net, NetKind, note
from ohmward.bench.meters import Meter
from ohmward.logbook.events import Judged, Verdict
from ohmward.physics.expectation import Band
from ohmward.procedure.model import Limit
from ohmward.quantity import Value, show

# The bound itself lies beyond the limit, so the true value does, whatever side of it the bound is on.
_AFTER_BOUND: dict[Verdict, Verdict] = {
    "pass": "fail",
    "conditional pass": "conditional fail",
    "not stated: pass": "not stated: fail",
}

LESS_THAN_LEADS_OHM = 0.010
"""How far below the lead null [Ω] a reading may come by contact alone; common practice, no source."""


def judge(
    value: Value,
    *,
    read_unit: str = "",
    limit: Limit | None = None,
    stop: Limit | None = None,
    band: Band | None = None,
    null: Value | None = None,
    meter: Meter | None = None,
    null_meter: Meter | None = None,
    function: str = "",
    standard_deviation: float | None = None,
    count: int = 1,
    null_standard_deviation: float | None = None,
    null_count: int = 1,
    test_current_a: float | None = None,
    title: str = "",
) -> Judged:
    """Judge one reading.

    Parameters
    ----------
    value : Value
        As typed or read. A bound (``>200 MΩ``) is judged as one; an overload counts as above the
        meter's highest range where that is known, and settles nothing where it is not.
    read_unit : str
        Unit the step asks for; the value's own when left out.
    limit, stop : Limit, optional
        What it has to meet, and what halts an energised stage. An overload that settles nothing
        counts as past a stop.
    band : Band, optional
        What the design predicts; it is widened by U before the reading is compared with it.
    null : Value, optional
        Lead null, subtracted.
    meter, null_meter : Meter, optional
        What read it and what read the null (the same meter when left out).
    function : str
        Function of the meter, one of `ohmward.bench.meters.FUNCTIONS`, where it is known.
    standard_deviation, count : float, int
        Spread and number of the readings that `value` is the mean of.
    null_standard_deviation, null_count : float, int
        Those of the readings that `null` is the mean of.
    test_current_a : float, optional
        What a resistance was measured with [A], where no meter tells it.
    title : str
        Name of the reading; opens the note when given.

    Returns
    -------
    Judged

    Raises
    ------
    ValueError
        When the units of value, null and step differ.
    """
    unit = read_unit or value.unit
    for each in (value, null):
        if each is not None and each.unit != unit:
            raise ValueError(f"a reading in {each.unit!r} where the step asks for {unit!r}")
    spreads = _spreads(standard_deviation, count, null_standard_deviation, null_count)
    net, combined = _net(
        value, null, meter=meter, null_meter=null_meter or meter, function=function, spreads=spreads
    )
    verdict, decision = _verdict(net, limit)
    expected = _as_expected(net, band)
    halted = stop is not None and _past(net, stop)
    listed = meter.test_current_a if meter is not None else None
    probability = None
    if net.kind == "exact" and limit is not None and combined is not None:
        probability = conformance_probability(net.number, combined.standard, limit.low, limit.high)
    case = Case(
        net=net,
        verdict=verdict,
        decision=decision,
        limit=limit,
        stop=stop if halted else None,
        band=band,
        expected=expected,
        test_current_a=test_current_a if listed is None else listed,
        title=title,
    )
    return Judged(
        verdict=verdict,
        net=net.number if net.kind != "none" else None,
        limit_low=limit.low if limit else None,
        limit_high=limit.high if limit else None,
        basis=limit.basis if limit else "",
        uncertainty=net.expanded,
        coverage=combined.coverage_factor if combined else None,
        probability=probability,
        expected_value=band.value if band else None,
        expected_low=band.low if band else None,
        expected_high=band.high if band else None,
        as_expected=expected,
        past_stop=halted,
        note=note(case),
    )


def uncertainty_of(
    value: Value,
    *,
    null: Value | None = None,
    meter: Meter | None = None,
    null_meter: Meter | None = None,
    function: str = "",
    standard_deviation: float | None = None,
    count: int = 1,
    null_standard_deviation: float | None = None,
    null_count: int = 1,
) -> Combined | None:
    """Return the uncertainty of a reading with its budget ('where does the +-0.03 V come from?').

    Parameters as in `judge`; None where the meter's accuracy is not stated for such a reading.
    """
    spreads = _spreads(standard_deviation, count, null_standard_deviation, null_count)
    null_meter = null_meter or meter
    return _net(value, null, meter=meter, null_meter=null_meter, function=function, spreads=spreads)[1]


def _spreads(
    reading: float | None, count: int, null: float | None, null_count: int
) -> tuple[Component | None, Component | None]:
    """Type A of reading and lead null (JCGM 100:2008, 4.2.3); None where only one reading was taken."""
    return (
        None if reading is None else spread_of_mean(reading, count),
        None if null is None else spread_of_mean(null, null_count, "repeatability of the lead null"),
    )


def _net(
    value: Value,
    null: Value | None,
    *,
    meter: Meter | None,
    null_meter: Meter | None,
    function: str,
    spreads: tuple[Component | None, Component | None],
) -> tuple[Net, Combined | None]:
    unit, number, remark = value.unit, value.si, ""
    kind: NetKind = "above" if value.kind == "overload" else value.kind
    if value.number is None:
        top = meter.top_range(unit, function) if meter else None
        if top is None:
            return _nothing(unit, _overload_words(unit)), None
        number, remark = top, f"overload: above the meter's highest range, {show(top, unit)}"
    half = meter.half_width(number, unit, function) if meter else None
    parts = [] if half is None else [rectangular(half, "accuracy of the meter")]
    if null is not None:
        if null.number is None or null.kind not in ("exact", "below"):
            return _nothing(
                unit, "the lead null is not a value, so nothing can be taken off: measure it again"
            ), None
        null_half = null_meter.half_width(null.si, unit, function) if null_meter else None
        taken, null_parts = _null(null, half if null_half is None else null_half)
        number -= taken
        parts += null_parts
    parts += [each for each in (spreads[0], spreads[1] if null is not None else None) if each is not None]
    # a spread alone is not the uncertainty: without the meter's accuracy it is not stated
    combined = combine(parts, dominant=False) if half is not None else None
    if (
        null is not None
        and kind == "exact"
        and unit == "Ω"
        and number < -max(combined.expanded if combined else 0.0, LESS_THAN_LEADS_OHM)
    ):
        kind = "none"  # neither proof nor failure: the null or the reading is wrong
        remark = "less than the leads alone: clean and clip the leads again, then repeat null and reading"
    return Net(
        kind=kind,
        number=number,
        unit=unit,
        expanded=combined.expanded if combined else None,
        step=float(value.resolution or 0),
        remark=remark,
    ), combined


def _null(null: Value, half: float | None) -> tuple[float, list[Component]]:
    """Value to take off and its components; an accuracy not stated is the reading's own."""
    parts = [] if half is None else [rectangular(half, "accuracy of the lead null")]
    if null.kind == "exact":
        return null.si, parts
    # below a bound: anything from nothing up to it
    parts.append(rectangular(abs(null.si) / 2.0, "lead null only bounded"))
    return null.si / 2.0, parts


def _nothing(unit: str, remark: str) -> Net:
    return Net(kind="none", number=math.nan, unit=unit, expanded=None, step=0.0, remark=remark)


def _overload_words(unit: str) -> str:
    example = "200 MΩ" if unit == "Ω" else f"600 {unit}".strip()
    return (
        "overload on a range that is not known settles nothing: read it on a higher range, "
        f"or enter it with the range, such as '>{example}'"
    )


def _verdict(net: Net, limit: Limit | None) -> tuple[Verdict, Decision | None]:
    if limit is None:
        return "not applicable", None
    if net.kind == "exact":
        decision = decide(net.number, net.expanded, limit.low, limit.high)
        return decision.verdict, decision
    if net.kind == "none":
        return "undecided", None
    return _bound_verdict(net, limit)


def _bound_verdict(net: Net, limit: Limit) -> tuple[Verdict, Decision | None]:
    """A bound meets the limit on one side for certain, breaks that on the other, or settles nothing."""
    above = net.kind == "above"
    met, broken = (limit.low, limit.high) if above else (limit.high, limit.low)
    if broken is not None and (net.number >= broken if above else net.number <= broken):
        decision = _one_sided(net, broken, upper=above)
        return _AFTER_BOUND.get(decision.verdict, decision.verdict), decision
    if broken is None and met is not None:
        decision = _one_sided(net, met, upper=not above)
        if decision.accepted:
            return decision.verdict, decision
    return "undecided", None


def _one_sided(net: Net, limit: float, *, upper: bool) -> Decision:
    if upper:
        return decide(net.number, net.expanded, upper=limit)
    return decide(net.number, net.expanded, lower=limit)


def _as_expected(net: Net, band: Band | None) -> bool | None:
    if band is None or net.kind == "none":
        return None
    low, high = band.low - net.slack, band.high + net.slack
    if net.kind == "above":
        return False if net.number > high else None
    if net.kind == "below":
        return False if net.number < low else None
    return low <= net.number <= high


def _past(net: Net, stop: Limit) -> bool:
    if net.kind == "none":
        return True
    low = -math.inf if stop.low is None else stop.low
    high = math.inf if stop.high is None else stop.high
    if net.kind == "above":
        return net.number >= high
    if net.kind == "below":
        return net.number <= low
    return not low <= net.number <= high
