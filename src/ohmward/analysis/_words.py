"""Why a fault is likelier than none, in words: the readings that decided, and those that speak against it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ohmward.analysis._dead import answer_terms, dead_terms, foretold
from ohmward.analysis._hypotheses import Hypothesis
from ohmward.analysis._likelihood import Fit, Scale
from ohmward.analysis._observations import CheckAnswer, Observation
from ohmward.analysis.decision import NORMAL_95
from ohmward.analysis.wording import titled
from ohmward.quantity import show

MOST = 3
MOST_PLACES = 6
MOST_OFF = 5
"""Readings that are named where nothing fits."""
LEAST = 0.5
"""Readings that shift the log-odds by less are not worth telling."""
LEAST_AGAINST = 1.0
"""The same of what speaks against."""


@dataclass(frozen=True, slots=True)
class Reasons:
    """What speaks for a fault and what against it, in words, the weightiest first."""

    because: tuple[str, ...]
    against: tuple[str, ...]


def reasons(
    scale: Scale,
    with_it: Fit,
    without: Fit,
    hypothesis: Hypothesis,
    *,
    dead: Sequence[Observation],
    answers: Sequence[CheckAnswer],
    fed: Mapping[str, str],
) -> Reasons:
    """Return the weightiest reasons for and against a fault, measured against 'healthy'."""
    found: list[tuple[float, str]] = []
    gains = with_it.terms - without.terms
    for index in np.argsort(-gains)[:MOST]:
        found.append((float(gains[index]), _reading(scale, with_it, without, int(index))))
    for index in np.flatnonzero(_inside(scale, without) & ~_inside(scale, with_it)):
        found.append((min(float(gains[index]), 0.0), _reading(scale, with_it, without, int(index))))
    faults = [part.fault for part in hypothesis.parts]
    sizes = {part.fault.name: part.size for part in hypothesis.parts}
    places = {part.fault.name: part.subject for part in hypothesis.parts}
    for seen in dead:
        gain = dead_terms(seen, faults, sizes) - dead_terms(seen, (), {})
        usual, _ = foretold(seen, (), {})
        words = f"{seen.title}: {show(seen.value, 'Ω')}, where {show(float(f'{usual:.2g}'), 'Ω')} is usual"
        found.append((gain, words))
    for answer in answers:
        gain = answer_terms(answer, places, fed) - answer_terms(answer, {})
        about = titled(answer.title or answer.step, answer.subject)
        found.append((gain, f"{about}: {'failed' if answer.failed else 'passed'}"))
    found.sort(key=lambda each: -each[0])
    return Reasons(
        because=tuple(words for gain, words in found if gain > LEAST)[:MOST],
        against=tuple(words for gain, words in reversed(found) if gain < -LEAST_AGAINST)[:MOST],
    )


def farthest(scale: Scale, sound: tuple[NDArray[np.float64], NDArray[np.float64]]) -> tuple[str, ...]:
    """Return the readings that are not those of a sound unit, the farthest first, with what those would be.

    Where each by itself might be, and all together are not, the farthest all the same.

    Parameters
    ----------
    sound : tuple of array
        Mean and covariance of the readings of a sound unit, on the scale.
    """
    mean, spread = sound[0], np.sqrt(np.diag(sound[1]))
    away = np.abs(scale.y - mean) / spread
    order = np.argsort(-away, kind="stable").tolist()
    off = [at for at in order if away[at] > NORMAL_95][:MOST_OFF]
    found = []
    for at in off or order[:MOST]:
        seen = scale.seen[at]
        low, high = (scale.back(at, float(mean[at] + k * spread[at])) for k in (-NORMAL_95, NORMAL_95))
        band = f"{_show(max(low, 0.0), seen.unit)} to {_show(high, seen.unit)}"
        found.append(f"{seen.title or seen.key}: {_show(seen.value, seen.unit)}, {band} if sound")
    return tuple(found)


def either(places: Sequence[str]) -> str:
    """Return places of which it is one, in words; of many only how many."""
    if len(places) > MOST_PLACES:
        return f"one of {len(places)}: {', '.join(places[:MOST_PLACES])} …"
    return " or ".join([", ".join(places[:-1]), places[-1]] if len(places) > 1 else places)


def _inside(scale: Scale, fit: Fit) -> NDArray[np.bool_]:
    """Return which readings are in their 95 % range: what is in none, by another's misfit, is no evidence."""
    return np.abs(scale.y - fit.expected) <= NORMAL_95 * fit.spread


def _reading(scale: Scale, with_it: Fit, without: Fit, index: int) -> str:
    seen = scale.seen[index]
    sound, wrong = (_range(scale, fit, index) for fit in (without, with_it))
    given = "by the readings before it " if index else ""
    read = f"{seen.title or seen.key}: {_show(seen.value, seen.unit)}"
    return f"{read}; {given}{sound} if sound, {wrong} with this"


def _range(scale: Scale, fit: Fit, index: int) -> str:
    """95 % range of a reading, given those before it."""
    unit = scale.seen[index].unit
    low, high = (
        scale.back(index, float(fit.expected[index] + k * fit.spread[index])) for k in (-NORMAL_95, NORMAL_95)
    )
    return f"{_show(max(low, 0.0), unit)} to {_show(high, unit)}"


def _show(value: float, unit: str) -> str:
    return show(float(f"{value:.4g}" if unit in ("V", "°C") else f"{value:.3g}"), unit)
