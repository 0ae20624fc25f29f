"""Everything the run screen says about one item, as text: a function of the state and the expectation."""

from __future__ import annotations

from dataclasses import dataclass

from ohmward.analysis.wording import beyond
from ohmward.desk.attempts import attempt_words
from ohmward.desk.earth_core import through_cord_words
from ohmward.desk.figures import figures_words
from ohmward.desk.gate import enterable
from ohmward.desk.place import next_after, to_do
from ohmward.desk.probes import charge_words, connect_words, now_words, reach_words
from ohmward.desk.readings import expected_words, judged_text, leads_taken_off, leads_words
from ohmward.desk.words import (
    ANSWERS,
    GONE_ON,
    NEVER_FAILS,
    ONLY_PAST_STOP,
    RECORDED,
    REGULATION,
    SEVERITIES,
    STANDINGS,
    VERDICTS,
    Sign,
    day_words,
)
from ohmward.logbook.events import Answered, Judged, Reading, Skipped
from ohmward.physics.expectation import Band, Expectation
from ohmward.procedure.model import Item, Limit
from ohmward.quantity import show
from ohmward.report.text import limit_text
from ohmward.run.charge import bleed_words
from ohmward.run.gates import guards_hands
from ohmward.run.guidance import Guidance
from ohmward.run.insulation import test_voltage
from ohmward.run.regulating import regulation_so_far
from ohmward.run.rising import gained_words
from ohmward.run.state import Entry, Phase, RunState, Standing
from ohmward.run.taken import Taken
from ohmward.run.timers import time_words
from ohmward.text import one_line, visible

METERS = {
    "multimeter": "multimeter",
    "low-ohm": "low-resistance ohmmeter",
    "insulation": "insulation tester",
    "oscilloscope": "oscilloscope",
    "thermometer": "thermometer",
    "power": "power meter",
}

_WAITING = frozenset(
    {Standing.NOT_DONE, Standing.STALE, Standing.FAILED, Standing.SKIPPED, Standing.OVERRIDDEN}
)
_UNTOUCHED = frozenset({Standing.NOT_DONE, Standing.STALE})
TYPED_WRONGLY = "Typed wrongly? 'amend' (e) corrects it; both stay on record."
_PREDICTED = {
    True: Sign("=", "AS EXPECTED", "good"),
    False: Sign("!", "UNEXPECTED", "warn"),
}
_NEARLY = Sign("≈", "AS EXPECTED within its uncertainty", "good")


@dataclass(frozen=True, kw_only=True)
class Card:
    """One item in words; a field is empty where there is nothing to say."""

    title: str
    place: str
    severity: Sign
    now: str
    """What is set and where it is read, at one point of several."""
    do: str
    here: tuple[str, ...]
    """What the step comes to on this supply: figures, charge, leads."""
    why: str
    method: str
    caution: str
    expected: str
    earlier: str
    """What was read here in the run that this one is compared with."""
    limit: str
    basis: str
    """Where the limit comes from and how it was obtained."""
    stop: str
    meter: str
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What is recorded for an item: the big figures, the verdict and its words."""

    figures: str
    sign: Sign
    words: tuple[str, ...]
    predicted: Sign | None = None
    """Whether it is what the design predicts: a statement of its own beside the verdict."""


def card(
    state: RunState,
    item: Item,
    expectation: Expectation | None,
    *,
    pending: bool,
    meter: str,
    problem: str = "",
) -> Card:
    """Return the card of `item`.

    `pending` says that the expectation is still being computed, `problem` why it could not be.
    """
    spec = item.spec
    stage = state.stage(item.stage)
    return Card(
        title=title(item),
        place=" · ".join(one_line(part) for part in (stage.title, spec.group) if part),
        severity=_severity(item),
        now=now_words(state, item),
        do=visible(spec.do),
        here=_here(state, item, meter),
        why=visible(spec.why),
        method=visible(spec.method),
        caution=visible(spec.caution),
        expected=_expected(state, item, expectation, pending=pending, problem=problem),
        earlier=_earlier(state, item),
        limit=_limit(item.limit, item) if item.read else "",
        basis=_basis(item.limit),
        stop=_stop(item),
        meter=_meter(state, item, meter),
        notes=_said(gained_words(state, item))
        + _parts(state, item)
        + tuple(
            f"{day_words(at)}  {one_line(noted.text)}"
            for at, noted in state.notes
            if (noted.step, noted.subject) == item.key
        ),
    )


def _here(state: RunState, item: Item, meter: str) -> tuple[str, ...]:
    said = (
        figures_words(state, item),
        reach_words(state, item),
        connect_words(item),
        charge_words(state, item),
        leads_taken_off(state, item, meter),
    )
    return tuple(one_line(line) for words in said for line in words.splitlines())


def title(item: Item) -> str:
    """Return an item's title with its subject, on one line."""
    words = one_line(item.title)
    return f"{words}: {one_line(item.subject)}" if item.subject else words


def caution_line(state: RunState, item: Item | None) -> str:
    """Return the first caution of the stage of an item, to stay in sight while mains is on or about to be."""
    stage = state.stage(item.stage) if item is not None else None
    if stage is None or not stage.energised or not stage.cautions:
        return ""
    return f"‼ {one_line(stage.cautions[0])}"


def next_words(state: RunState, following: Guidance, here: Item | None) -> str:
    """Return what comes next, in words, and where Enter leads; empty where the entry shown is to be done."""
    item, words = following.item, following.text
    if following.move == "item" and here is not None and state.phase is not Phase.OFF:
        if to_do(state, here) and enterable(state, here):
            return ""
        if not to_do(state, here):
            item = next_after(state, here.key) or item
    named = ""
    told = item is not None and (one_line(item.title) in words or (here is not None and here.key == item.key))
    if item is not None and following.move in {"item", "mend"} and not told:
        named = title(item)
    if state.phase is Phase.OFF and item is not None:
        waiting = [one for one in state.items if guards_hands(one) and state.standing(one) in _WAITING]
        begun = any(state.standing(one) not in _UNTOUCHED for one in state.items if one.role)
        named = title(item)
        # the whole of it is read once, on switching off; after that what is left to do is what matters
        words = f"{len(waiting)} left before a hand or tool goes near." if begun else words
        words = ". ".join(part for part in (_capital(bleed_words(state, item)), words) if part)
    words = ". ".join(part for part in (named, words) if part)
    return f"Next  {words}" if words else ""


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def entry_sign(state: RunState, item: Item) -> Sign:
    """Return how an item stands; a reading that no limit applies to is recorded, not passed."""
    standing, entry = state.standing(item), state.entries.get(item.key)
    judged = entry.event.judged if entry is not None and isinstance(entry.event, Reading) else None
    if standing is Standing.PASSED and judged is not None and judged.verdict == "not applicable":
        return RECORDED
    return GONE_ON if standing is Standing.OVERRIDDEN and judged is not None else STANDINGS[standing]


def set_aside_words(state: RunState, item: Item) -> str:
    """Return how an item was set aside, and the reason given."""
    entry = state.entries.get(item.key)
    if entry is None:
        return ""
    event = entry.event
    said = event.reason if isinstance(event, Skipped) else event.note
    if entry.override is not None:
        said = entry.override.reason
    return ": ".join(part for part in (entry_sign(state, item).word, one_line(said)) if part)


def band_in(expectation: Expectation | None, item: Item) -> Band | None:
    """Return the band of `item` in an expectation already computed; None where nothing can be said."""
    if expectation is None or item.read is None or not item.read.expect:
        return None
    return expectation.band(item.read.expect, item.about, load_a=item.load_a, together=item.together)


def outcome(state: RunState, item: Item) -> Outcome | None:
    """Return what stands recorded for `item`; None when nothing is."""
    entry = state.entries.get(item.key)
    taken = state.captures.get(item.key, ())
    if taken and (entry is None or entry.seq < taken[-1].seq):
        return _waveform_outcome(state, item, taken[-1])
    if entry is None:
        return None
    event = entry.event
    words = _entry_words(entry, entry_sign(state, item))
    if isinstance(event, Answered):
        words = (*_said(event.against), *words)
    words = (*_said(time_words(state, item, entry)), *words)
    if state.standing(item) is Standing.STALE:
        return _stale_outcome(entry, item, words)
    if isinstance(event, Answered):
        return Outcome(figures="", sign=ANSWERS[event.answer], words=(*_said(event.note), *words))
    if isinstance(event, Skipped):
        return Outcome(figures="", sign=Sign("»", "LEFT OUT", "quiet"), words=(*_said(event.reason), *words))
    return _reading_outcome(state, event, item, words)


def recorded_words(state: RunState, item: Item) -> str:
    """Return what was recorded just before, in a line: verdict, value as judged, and what it is of."""
    shown, entry = outcome(state, item), state.entries.get(item.key)
    if shown is None:
        return ""
    leads = leads_words(entry.event, item) if entry is not None and isinstance(entry.event, Reading) else ""
    parts = (str(shown.sign), shown.figures, title(item), leads)
    return f"Just recorded: {' · '.join(part for part in parts if part)}"


def _waveform_outcome(state: RunState, item: Item, taken: Taken) -> Outcome:
    event = taken.event
    sign = entry_sign(state, item) if item.is_waveform else RECORDED
    every = show(event.interval_s, "s")
    lines = (
        f"Waveform of the {event.point or 'point'}: {event.samples} samples every {every}",
        f"{day_words(taken.at)}, {one_line(event.source)}",
    )
    return Outcome(figures="", sign=sign, words=lines)


def _reading_outcome(state: RunState, event: Reading, item: Item, words: tuple[str, ...]) -> Outcome:
    judged = event.judged
    sign = VERDICTS[judged.verdict]
    if judged.past_stop:
        sign = Sign("✗", "PAST ITS STOP LIMIT", "bad")
    regulation, misses = regulation_so_far(state, item)
    slip = TYPED_WRONGLY if state.standing(item) is Standing.FAILED else ""
    lines = (attempt_words(state, item), slip, regulation, leads_words(event, item), judged.note, event.note)
    return Outcome(
        figures=judged_text(event, item),
        sign=sign,
        words=(*(line for each in lines for line in _said(each)), *words),
        predicted=REGULATION if misses and judged.as_expected else _predicted(judged),
    )


def _predicted(judged: Judged) -> Sign | None:
    """Return whether a reading is what was expected, agreeing with the band shown; None where none is."""
    if judged.as_expected is None:
        return None
    if judged.as_expected and beyond(judged.net, judged.expected_low, judged.expected_high) > 0.0:
        return _NEARLY
    return _PREDICTED[judged.as_expected]


def _stale_outcome(entry: Entry, item: Item, words: tuple[str, ...]) -> Outcome:
    """Say that an entry no longer counts, before what it was: nobody is to mend what is mended."""
    event = entry.event
    was = "left out"
    if isinstance(event, Answered):
        was = ANSWERS[event.answer].word
    elif isinstance(event, Reading):
        was = "PAST ITS STOP LIMIT" if event.judged.past_stop else VERDICTS[event.judged.verdict].word
    figures = judged_text(event, item) if isinstance(event, Reading) else ""
    return Outcome(figures=figures, sign=Sign("↻", f"STALE: do it again (was {was})", "warn"), words=words)


def _entry_words(entry: Entry, standing: Sign) -> tuple[str, ...]:
    words = [f"{day_words(entry.at)}, {standing.word}"]
    if isinstance(entry.event, Reading) and entry.event.meter:
        words[0] += f", {one_line(entry.event.meter)}"
    if entry.override is not None:
        lead = "Gone on with" if isinstance(entry.event, Reading) else "Overridden"
        words.append(f"{lead}: {one_line(entry.override.reason)}")
    if entry.amended:
        words.append(f"Amended, reason: “{one_line(entry.amended)}”")
    return tuple(words)


def _said(text: str) -> tuple[str, ...]:
    return (one_line(text),) if text.strip() else ()


def _expected(
    state: RunState, item: Item, expectation: Expectation | None, *, pending: bool, problem: str
) -> str:
    if item.read is None:
        return ""
    if not item.read.expect:
        return through_cord_words(state, item) or "nothing is computed for this reading"
    if pending:
        return "being computed …"
    if problem:
        return f"cannot be computed ({one_line(problem)})"
    band = band_in(expectation, item)
    if band is None:
        return "cannot be said: the design sheet does not give enough"
    return expected_words(expectation, band, item)


def _parts(state: RunState, item: Item) -> tuple[str, ...]:
    """Return which metal parts are listed, where each is asked for, so that one that is missing is seen."""
    if item.spec.each != "part" or not state.parts:
        return ()
    return (f"metal parts listed: {one_line('; '.join(state.parts))}. One missing? 'parts' (m) adds it.",)


def _earlier(state: RunState, item: Item) -> str:
    if state.opened is None or state.opened.baseline is None:
        return ""
    from ohmward.analysis.history_baseline import baseline_for, baseline_words, earlier_run

    earlier = earlier_run(state.opened)
    reading = baseline_for(earlier, item)
    return "" if earlier is None or reading is None else baseline_words(earlier, reading)


def _severity(item: Item) -> Sign:
    """Return how bad a failure is; of a reading that no limit applies to, that it has none."""
    if item.read is None or item.limit is not None:
        return SEVERITIES[item.spec.severity]
    return NEVER_FAILS if item.stop is None else ONLY_PAST_STOP


def _limit(limit: Limit | None, item: Item) -> str:
    assert item.read is not None  # asked for readings only
    if limit is None:
        compared = ", and held against what is expected" if item.read.expect else ""
        return f"none: it is recorded{compared}"
    return f"{_range(limit, item.read.unit)}  ({one_line(limit.basis)})"


def _basis(limit: Limit | None) -> str:
    if limit is None:
        return ""
    parts = dict.fromkeys(one_line(part) for part in (limit.basis, limit.obtained, limit.advice))
    return " · ".join(part for part in parts if part)


def _stop(item: Item) -> str:
    if item.stop is None or item.read is None:
        return ""
    unit, ends = item.read.unit, (("below", item.stop.low), ("above", item.stop.high))
    past = " or ".join(f"{word} {show(end, unit)}" for word, end in ends if end is not None)
    return f"{past}: switch off at once"


def _range(limit: Limit, unit: str) -> str:
    return limit_text(limit.low, limit.high, unit)


def _meter(state: RunState, item: Item, chosen: str) -> str:
    if item.read is None:
        return ""
    kind, chosen = METERS.get(item.read.meter, item.read.meter) or "any", one_line(chosen)
    volts = test_voltage(state, item)
    at = "" if volts is None else f" at {show(volts, 'V')}"
    if not chosen:
        return f"{kind}{at}; accuracy not stated"
    kinds = {one_line(each.name): METERS.get(each.kind, "") for each in state.meters}
    of = kinds.get(chosen, chosen.lower())  # a list may name a meter by its kind alone
    if item.read.meter and of != kind and of in METERS.values():
        return f"{chosen}{at} (in place of: {kind})"
    return f"{kind}{at}" if chosen.lower() == kind else f"{kind}{at}: {chosen}"
