"""Why a fault is likelier than none, in words: the readings that decided."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ohmward.analysis._dead import answer_terms, dead_terms, foretold
from ohmward.analysis._likelihood import Fit, Scale
from ohmward.analysis._observations import CheckAnswer, Observation
from ohmward.physics.fault import Fault
from ohmward.quantity import show

MOST = 3
MOST_PLACES = 6
LEAST = 0.5
"""Readings that shift the log-odds by less are not worth telling."""


def because(
    scale: Scale,
    with_it: Fit,
    without: Fit,
    *,
    dead: Sequence[Observation],
    answers: Sequence[CheckAnswer],
    faults: Sequence[Fault],
    sizes: Mapping[str, float],
) -> tuple[str, ...]:
    """Return the weightiest reasons for a fault against 'healthy', in words."""
    found: list[tuple[float, str]] = []
    gains = with_it.terms - without.terms
    for index in np.argsort(-gains)[:MOST]:
        found.append((float(gains[index]), _reading(scale, with_it, without, int(index))))
    names = {fault.name: "" for fault in faults}
    for seen in dead:
        gain = dead_terms(seen, faults, sizes) - dead_terms(seen, (), {})
        usual, _ = foretold(seen, (), {})
        words = f"{seen.title}: {show(seen.value, 'Ω')}, where {show(float(f'{usual:.2g}'), 'Ω')} is usual"
        found.append((gain, words))
    for answer in answers:
        gain = answer_terms(answer, names) - answer_terms(answer, {})
        found.append((gain, f"{answer.title or answer.step}: {'failed' if answer.failed else 'passed'}"))
    best = sorted((each for each in found if each[0] > LEAST), key=lambda each: -each[0])
    return tuple(words for _, words in best[:MOST])


def either(places: Sequence[str]) -> str:
    """Return places of which it is one, in words; of many only how many."""
    if len(places) > MOST_PLACES:
        return f"one of {len(places)}: {', '.join(places[:MOST_PLACES])} …"
    return " or ".join([", ".join(places[:-1]), places[-1]] if len(places) > 1 else places)


def _reading(scale: Scale, with_it: Fit, without: Fit, index: int) -> str:
    seen = scale.seen[index]
    sound, wrong = (_range(scale, fit, index) for fit in (without, with_it))
    given = "by the readings before it " if index else ""
    read = f"{seen.title or seen.key}: {_show(seen.value, seen.unit)}"
    return f"{read}; {given}{sound} if sound, {wrong} with this"


def _range(scale: Scale, fit: Fit, index: int) -> str:
    """95 % range of a reading, given those before it."""
    unit = scale.seen[index].unit
    low, high = (scale.back(index, float(fit.expected[index] + k * fit.spread[index])) for k in (-1.96, 1.96))
    return f"{_show(max(low, 0.0), unit)} to {_show(high, unit)}"


def _show(value: float, unit: str) -> str:
    return show(float(f"{value:.4g}" if unit in ("V", "°C") else f"{value:.3g}"), unit)
