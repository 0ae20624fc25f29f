"""What dead tests and answered checks say of a fault: each on its own, no circuit predicts them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from ohmward.analysis._observations import CheckAnswer, Observation
from ohmward.analysis._priors import CHECKS, EARTH_OHM, INSULATION_OHM, ISOLATION_OHM
from ohmward.physics.condition import Unit
from ohmward.physics.fault import Fault

_FAULTY_DECADES = 0.3
_USUAL = {"earth_ohm": EARTH_OHM, "insulation_ohm": INSULATION_OHM, "isolation_ohm": ISOLATION_OHM}
_STRAY = 1e-4
"""Density anywhere at all: a slip of the hand."""
_MOST_OHM = 1e4
"""Taken for an open earth, which no low-ohm meter reads."""


def dead_terms(seen: Observation, faults: Sequence[Fault], sizes: Mapping[str, float]) -> float:
    """Return the log-likelihood of one dead test, in the logarithm to base 10."""
    centre, decades = foretold(seen, faults, sizes)
    place = (math.log10(max(abs(seen.value), 1e-6)) - math.log10(centre)) / decades
    if seen.bound == "above":
        return math.log(max(0.5 * math.erfc(place / math.sqrt(2)), 1e-6))
    if seen.bound == "below":
        return math.log(max(0.5 * math.erfc(-place / math.sqrt(2)), 1e-6))
    return math.log(math.exp(-(place**2) / 2) / decades + _STRAY)


def foretold(seen: Observation, faults: Sequence[Fault], sizes: Mapping[str, float]) -> tuple[float, float]:
    """Return the reading to be expected [Ω] and its spread in decades."""
    usual, decades = _USUAL[seen.key]
    for fault in faults:
        size = sizes[fault.name]
        if fault.change is None or seen.key not in fault.moves:
            continue
        condition = fault.change(_bare(), "", size).condition
        if seen.key == "earth_ohm":
            return min(usual + condition.earth_extra_ohm, _MOST_OHM), _FAULTY_DECADES
        wrong = condition.insulation_ohm if seen.key == "insulation_ohm" else condition.isolation_ohm
        if wrong is not None:
            return 1 / (1 / usual + 1 / wrong), _FAULTY_DECADES
    return usual, decades


def _bare() -> Unit:
    from ohmward.supply.model import Mains, Supply

    mains = Mains(voltage_v=230.0, frequency_hz=50.0)
    return Unit(sheet=Supply(tag="", title="", protection_class="I", mains=mains, rails=()))


def answer_terms(
    answer: CheckAnswer, places: Mapping[str, str], fed: Mapping[str, str] | None = None
) -> float:
    """Return the log-likelihood of one answer.

    Parameters
    ----------
    places : mapping
        The faults there are and where they sit.
    fed : mapping, optional
        The transformer of each rail: a fault of one shows on the rails that it feeds.
    """
    tell = CHECKS.get(answer.step)
    if tell is None:
        return 0.0
    here = {"", answer.subject, (fed or {}).get(answer.subject, "")}
    there = any(name in places and (not answer.subject or places[name] in here) for name in tell.faults)
    failing = tell.failed_with if there else tell.failed_without
    return math.log(failing if answer.failed else 1.0 - failing)
