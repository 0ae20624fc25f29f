"""A judgement in words: what holds, what does not, and why it matters to the person at the bench."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ohmward.analysis.decision import Decision
from ohmward.logbook.events import Verdict
from ohmward.physics.expectation import Band
from ohmward.procedure.model import Limit
from ohmward.quantity import show, show_band, show_centre, unit_of_difference

ACCEPTED: frozenset[Verdict] = frozenset({"pass", "conditional pass", "not stated: pass", "not applicable"})
"""Verdicts that let the work go on."""

GONE_ON = "Failed, and gone on with in writing"
"""Of a failure that stays one: the test went on past it, with a reason."""

NetKind = Literal["exact", "above", "below", "none"]
"""What is judged: a number, a bound on it, or nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Net:
    """What is judged: the reading less its null, as a number or a bound."""

    kind: NetKind
    """none: an overload of unknown range, or a null that is no value."""
    number: float
    unit: str
    expanded: float | None
    """U; None where not stated."""
    step: float
    """Weight of the last digit; 0 where not known."""
    remark: str = ""
    """What is odd about the reading itself."""

    @property
    def slack(self) -> float:
        """What the number may be off by: U, or half a digit where U is not stated."""
        return self.step / 2.0 if self.expanded is None else self.expanded


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Everything a note speaks of."""

    net: Net
    verdict: Verdict
    decision: Decision | None = None
    limit: Limit | None = None
    stop: Limit | None = None
    """The stop limit, when it is passed."""
    band: Band | None = None
    expected: bool | None = None
    test_current_a: float | None = None
    """What the meter drives through a resistance [A], where it is known."""
    title: str = ""


def note(case: Case) -> str:
    """Return the note to a judged reading: a few plain sentences, the gravest first."""
    parts = []
    unit = case.net.unit
    if case.stop is not None:
        parts.append(
            f"past its stop limit, {limit_words(case.stop.low, case.stop.high, unit)}: switch off now"
        )
    parts.append(case.net.remark)
    words = _verdict_words(case)
    if case.expected is False and case.band is not None:
        link = ", but " if case.verdict in ACCEPTED else ", and "
        surprise = _surprise(case.net, case.band)
        words = f"{words}{link}{surprise}" if words else surprise
    elif case.expected and case.band is not None:
        agreed = predicted_words(case.net.number, case.band.low, case.band.high, case.net.unit, expected=True)
        words = f"{words}; {agreed}" if words else agreed
    parts.append(words)
    if case.verdict in ("not stated: pass", "not stated: fail"):
        parts.append("the meter's accuracy is not stated")
    if case.limit is not None:
        parts.append(weak_words(case.test_current_a, case.limit.test_current_a))
    if case.limit is not None and case.verdict not in ACCEPTED:
        parts.append(case.limit.advice.rstrip("."))
    text = ". ".join(part[0].upper() + part[1:] for part in parts if part)
    return f"{case.title}: {text}" if case.title and text else text


def beyond(number: float | None, low: float | None, high: float | None) -> float:
    """Return how far a number lies beyond a band, as printed beside it; 0 inside, and where one is not known.

    A reading may be as expected all the same: by less than its uncertainty.
    """
    if number is None or low is None or high is None:
        return 0.0
    return max(low - number, number - high, 0.0)


def predicted_words(
    number: float | None, low: float | None, high: float | None, unit: str, *, expected: bool | None
) -> str:
    """Return whether a reading is what the design predicts, in agreement with the band shown beside it."""
    if expected is None:
        return ""
    if not expected:
        return "not what the design predicts"
    away = beyond(number, low, high)
    if away <= 0.0:
        return "as the design predicts"
    far = show(away, unit_of_difference(unit))
    return f"as the design predicts within its uncertainty, though {far} beyond that band"


def band_words(band: Band, unit: str) -> str:
    """Return what is expected as 'value (low to high)'."""
    value = show_centre(band.value, band.low, band.high, unit)
    return f"{value} ({show_band(band.low, band.high, unit)})"


def limit_words(low: float | None, high: float | None, unit: str) -> str:
    """Return a limit in words, such as 'at most 152 mΩ'."""
    if low is not None and high is not None:
        return show_band(low, high, unit)
    if high is not None:
        return f"at most {show(high, unit)}"
    return "" if low is None else f"at least {show(low, unit)}"


def weak_words(used_a: float | None, asked_a: float | None) -> str:
    """Return that a resistance was measured with less current than is asked [A]; empty where not known."""
    if used_a is None or asked_a is None or used_a >= asked_a:
        return ""
    used = show(used_a, "A")
    return (
        f"measured with {used}, and {show(asked_a, 'A')} or more is asked: a last strand passes at {used} too"
    )


def _verdict_words(case: Case) -> str:
    net, decision = case.net, case.decision
    if case.limit is None:
        return ""
    bound = limit_words(case.limit.low, case.limit.high, net.unit)
    if case.verdict == "undecided" and net.kind != "none":
        return f"a bound of {show(net.number, net.unit)} does not settle its limit, {bound}"
    if decision is None:
        return ""
    between = unit_of_difference(net.unit)
    by = f", by {show(abs(decision.margin), between)}" if decision.margin else ""
    narrow = "; with this meter nothing could pass it outright" if decision.acceptance_empty else ""
    unsure = (
        "" if net.expanded is None else f", by less than the uncertainty (±{show(net.expanded, between)})"
    )
    words: dict[Verdict, str] = {
        "pass": f"passes its limit, {bound}",
        "conditional pass": f"passes its limit, {bound}{unsure}: a better meter may say otherwise{narrow}",
        "conditional fail": f"misses its limit, {bound}{unsure}: a failure until measured better{narrow}",
        "fail": f"fails its limit, {bound}{by}",
        "not stated: pass": f"passes its limit, {bound}",
        "not stated: fail": f"fails its limit, {bound}{by}",
    }
    return words.get(case.verdict, "")


def _surprise(net: Net, band: Band) -> str:
    """How far a reading is from what was predicted, in figures; on a negative rail the sizes are compared."""
    above = net.number > band.high
    away = abs(net.number - band.value)
    unit = unit_of_difference(net.unit)
    far = show(away, unit, uncertainty=max(net.slack, away / 10.0))
    negative = band.high < 0.0
    value = show(abs(band.value) if negative else band.value, net.unit)
    predicted = f"the {value} that the design predicts ({show_band(band.low, band.high, net.unit)})"
    if net.kind != "exact":  # how far off is not known of a bound
        return f"it is not {predicted}"
    if negative:
        return f"its size is {far} {'below' if above else 'above'} {predicted}"
    return f"reads {far} {'above' if above else 'below'} {predicted}"


def titled(title: str, subject: str) -> str:
    """Return what an entry is about: its title, with its subject where it has one."""
    return f"{title} ({subject})" if subject else title


def sentence(text: str) -> str:
    """Return text on one line, ended as a sentence is."""
    plain = " ".join(text.split())
    return plain if plain.endswith((".", "?", "!")) or not plain else f"{plain}."
