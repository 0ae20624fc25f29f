"""What a sheet cannot meet by what is expected of it: found before it is built."""

from __future__ import annotations

from collections.abc import Iterator

from ohmward.physics.expectation import Expectation, RailExpectation
from ohmward.physics.extremes import extreme_findings
from ohmward.quantity import show
from ohmward.supply.design import findings
from ohmward.supply.finding import Finding, Severity
from ohmward.supply.model import Rail, Supply

FAR = 2.0
"""Expected over target from which an unregulated rail's target is a contradiction (common practice, no
source): the spread of transformer and reservoir does not reach so far."""
NEAR = 0.95
"""Expected over target from which nothing is left for tolerances (common practice, no source)."""
UPPER = 1.2
"""Upper end of a band over its target from which it is told: nearer than that, what is assumed of noise
decides (common practice, no source)."""
_BY = "as expected by the sheet and what is assumed, this rail alone"
_REGULATION = f"(no load - full load) / full load, {_BY}"
_RIPPLE = f"peak to peak at full load, {_BY}"


def all_findings(supply: Supply, expected: Expectation | None) -> tuple[Finding, ...]:
    """Return every finding on a design: what the sheet gives away, and what it cannot meet or gets too hot.

    Parameters
    ----------
    supply : Supply
        The sheet.
    expected : Expectation or None
        What is expected of that very sheet; None leaves targets, headroom and heat unjudged.
    """
    if expected is None:
        return findings(supply)
    return (*findings(supply), *target_findings(supply, expected), *extreme_findings(supply, expected))


def target_findings(supply: Supply, expected: Expectation) -> Iterator[Finding]:
    """Yield each target of regulation or ripple that the expected value is at or beyond.

    Rails of which nothing but the nameplate is known are passed over: what is expected of them is a guess.
    """
    for rail in supply.rails:
        known = expected.rails.get(rail.name)
        if known is not None and not known.guessed and known.loaded:
            yield from _regulation(rail, known)
            yield from _ripple(rail, known)


def _regulation(rail: Rail, known: RailExpectation) -> Iterator[Finding]:
    target, idle = rail.targets.load_regulation_pct, known.no_load.get("output_v")
    full = known.loaded[-1].values.get("output_v")
    if target is None or idle is None or full is None or not full.value:
        return
    percent = 100.0 * (idle.value - full.value) / full.value
    if not percent >= NEAR * target:  # nor where nothing could be computed
        return
    fine = abs(idle.value - full.value) / 3.0
    allowed = abs(full.value) * target / 100.0
    text = (
        f"load regulation of at most {show(target, '%')} is asked for, and {_about(percent, '%')} is "
        f"expected: {show(idle.value, 'V', uncertainty=fine)} falls to "
        f"{show(full.value, 'V', uncertainty=fine)} at {show(known.loaded[-1].load_a, 'A')}. "
        f"{_mend(rail, percent / target)}. The target is a difference of {_about(allowed, 'V')}: a meter "
        "that may be further off than that cannot judge it"
    )
    yield _found(rail, "load_regulation", _severity(rail, percent / target), text, _REGULATION)


def _ripple(rail: Rail, known: RailExpectation) -> Iterator[Finding]:
    target, full = rail.targets.ripple_pp_v, known.loaded[-1].values.get("output_ripple_pp_v")
    if target is None or full is None:
        return
    if full.value < NEAR * target:
        yield from _ripple_at_worst(rail, known, target)
        return
    text = (
        f"ripple of at most {show(target, 'V')} is asked for, and {_about(full.value, 'V')} is expected at "
        f"{show(known.loaded[-1].load_a, 'A')}. {_mend(rail, full.value / target)}"
    )
    yield _found(rail, "ripple", _severity(rail, full.value / target), text, _RIPPLE)


def _ripple_at_worst(rail: Rail, known: RailExpectation, target: float) -> Iterator[Finding]:
    """Yield where a sound unit may miss its target though the usual one does not."""
    alone, hot = (each.get("output_ripple_pp_v") for each in (known.loaded[-1].values, known.together))
    worst = max((each for each in (alone, hot) if each is not None), key=lambda each: each.high, default=None)
    if worst is None or not worst.high >= UPPER * target:
        return
    where = "with all rails at rated current and warm" if worst is not alone else "at its rated current"
    text = (
        f"ripple of at most {show(target, 'V')} is asked for; {_about(worst.value, 'V')} is expected "
        f"{where}, but up to {_about(worst.high, 'V')} in a sound unit, by its tolerances and the mains "
        "band. State more of its parts, so that the band narrows, or widen the target"
    )
    yield _found(rail, "ripple", "improvement", text, "upper end of the 95 % band, peak to peak")


def _about(value: float, unit: str) -> str:
    return show(value, unit, uncertainty=abs(value) / 50.0)


def _severity(rail: Rail, share: float) -> Severity:
    return "fault" if rail.regulator is None and share >= FAR else "improvement"


def _mend(rail: Rail, share: float) -> str:
    if rail.regulator is None and share >= FAR:
        return "No rail without a regulator does that: give it a target of its own, or add its regulator"
    if rail.regulator is None:
        return "Nothing is left for the tolerances of its parts"
    return "A sound rail may fail it: widen the target, or state what its regulator does"


def _found(rail: Rail, key: str, severity: Severity, text: str, basis: str) -> Finding:
    field = f"rail[{rail.name}].targets.{key}"
    return Finding(field=field, severity=severity, text=f"{rail.name}: {text}", basis=basis)
