"""Correcting what was recorded by mistake: by a further record that says why, never in place."""

from __future__ import annotations

import re
from collections.abc import Sequence

from msgspec.structs import replace

from ohmward.desk.asking import Desk
from ohmward.desk.card import title
from ohmward.desk.gate import WORDS, admitted
from ohmward.desk.readings import reading_text
from ohmward.desk.reasons import ask_reason
from ohmward.desk.typed import reason as reason_of
from ohmward.desk.waveforms import WITHDRAW, amend_waveform
from ohmward.desk.words import ANSWERS
from ohmward.logbook.events import Amended, Answered, Captured, Reading, Skipped
from ohmward.procedure.model import Item
from ohmward.quantity import QuantityError, parse
from ohmward.run.blockers import is_open_danger
from ohmward.run.reasons import unchanged
from ohmward.run.state import Phase, RunState, Standing
from ohmward.text import one_line

_Take = Answered | Reading | Skipped | Captured
KEPT = "The entry stays in the journal as it is; a further record says what stands instead, and why."
NOT_WITHDRAWN = (
    "It failed and is a danger, so it is not withdrawn: another value stands in its place, or it is mended "
    "and read again."
)
STAYS_HALTED = "The run stays halted all the same: switch off, and make safe."
WITHDRAWS = frozenset({"withdraw", "w"})
"""What takes a reading back, typed where its value is asked for."""
_RECORD = re.compile(r"record\s+(\d+)", re.IGNORECASE)
_INSTEAD = " instead"
_MISTAKE = "the answer before was a mistake: amend it"
_AGAIN = "mended, and done again"


async def amend(desk: Desk) -> None:
    """Correct or withdraw one of the entries made for the item shown."""
    item = desk.item
    if item is None:
        return
    takes: list[tuple[int, _Take]] = [
        (seq, event) for seq, (key, event) in desk.live.state.history.items() if key == item.key
    ]
    takes += [(taken.seq, taken.event) for taken in desk.live.state.captures.get(item.key, ())]
    takes.sort(key=lambda each: each[0])
    if not takes:
        await desk.tell("Nothing to amend", ["Nothing has been recorded for this entry yet."])
        return
    entry = desk.live.state.entries.get(item.key)
    standing = next((take for take in takes if entry is not None and take[0] == entry.seq), takes[-1])
    if isinstance(standing[1], Reading):
        await _amend_reading(desk, item, takes, standing[0], standing[1])
        return
    picked = (
        0
        if len(takes) == 1
        else await desk.choose(
            f"Amend which entry of {title(item)}?",
            [f"record {seq}: {_take_words(event)}" for seq, event in takes],
            at=len(takes) - 1,
        )
    )
    if picked is None:
        return
    await _amend_one(desk, item, takes, *takes[picked])


async def _amend_one(
    desk: Desk, item: Item, takes: Sequence[tuple[int, _Take]], seq: int, event: _Take
) -> None:
    if isinstance(event, Captured):
        await amend_waveform(desk, item, seq, _take_words(event))
    elif isinstance(event, Reading):
        await _amend_reading(desk, item, takes, seq, event)
    else:
        await _amend_given(desk, item, seq, event)


async def _amend_reading(
    desk: Desk, item: Item, takes: Sequence[tuple[int, _Take]], seq: int, event: Reading
) -> None:
    """Ask for the value instead, of every reading alike: what is typed comes into it from the first digit."""
    heading = f"Amend {title(item)}: {_take_words(event)}"
    withdrawn = admitted(desk.live.state, Amended(seq=seq, reason=WORDS))
    lines = [KEPT, *([] if withdrawn else [NOT_WITHDRAWN]), *_halted(desk.live.state)]
    others = {each: take for each, take in takes if each != seq}
    asked = [*lines, *(f"Not this one? 'record {n}' is {_take_words(take)}." for n, take in others.items())]
    label = "Value instead" + (", or 'withdraw'" if withdrawn else "")
    value, problem = event.value.raw, ""
    while True:
        said = [problem, *asked] if problem else asked
        typed = await desk.ask(heading, said, label=label, value=value, needed=True)
        if typed is None:
            return
        other = _RECORD.fullmatch(typed)
        if other is not None and int(other[1]) in others:
            await _amend_one(desk, item, takes, int(other[1]), others[int(other[1])])
            return
        takes_back = withdrawn and typed.lower() in WITHDRAWS
        problem = "" if takes_back else _unreadable(typed, item) or _same(desk.live.state, seq, event, typed)
        if not problem:
            break
        value = typed  # it stays where it was typed, to be put right
    reason = await ask_reason(desk, heading, lines, label="What was wrong")
    if reason is None:
        return
    live = desk.live
    if takes_back:
        await desk.record(lambda _: live.withdraw(seq, reason))
    else:
        await desk.record(lambda sure: live.amend_reading(seq, typed, reason, confirmed=sure))


def _unreadable(text: str, item: Item) -> str:
    """Return why what was typed is no value of an item; empty where it is one."""
    try:
        parse(text, item.read.unit if item.read is not None else "")
    except QuantityError as error:
        return reason_of(error)
    return ""


def _same(state: RunState, seq: int, event: Reading, text: str) -> str:
    """Return that what was typed is what stands there already; empty where it is another value."""
    other = replace(event, value=parse(text, event.value.unit))
    same = unchanged(state, Amended(seq=seq, reason=WORDS, reading=other))
    return "That is the value on record: type what stands instead, or go back" if same else ""


def _halted(state: RunState) -> list[str]:
    return [STAYS_HALTED] if state.phase is Phase.HALTED else []


async def answer_again(desk: Desk, item: Item, given: str) -> bool | None:
    """Answer a check that has an answer: an amendment, with its reason, or mended and done again.

    Return whether it was recorded; None where nothing stands, and it is an answer like the first.
    """
    state = desk.live.state
    entry, standing = state.entries.get(item.key), state.standing(item)
    if entry is None or standing is Standing.STALE or not isinstance(entry.event, Answered):
        return None
    if entry.event.answer == given:
        stands = ANSWERS[given].word
        desk.say(f"{stands} is on record already, and nothing more was recorded: 'amend' corrects it")
        return False
    if is_open_danger(state, item):
        return None  # the gates ask what was mended
    if standing in {Standing.FAILED, Standing.OVERRIDDEN}:
        return await _after_a_fail(desk, item, given, entry.seq)
    return await _other_answer(desk, item, given, entry.seq)


async def _after_a_fail(desk: Desk, item: Item, given: str, seq: int) -> bool:
    way = await desk.choose(f"{title(item)}: it failed", [_AGAIN, _MISTAKE])
    if way == 1:
        return await _other_answer(desk, item, given, seq)
    words = await desk.ask(title(item), label="What was mended", needed=True) if way == 0 else None
    if words is None:
        return False
    return await desk.record(lambda _: desk.live.answer(item.step, item.subject, given, words))


async def _other_answer(desk: Desk, item: Item, given: str, seq: int) -> bool:
    heading = f"Amend {title(item)}: {ANSWERS[given].word} instead"
    label = "What is wrong, and was not seen" if given == "fail" else "What was wrong with that answer"
    reason = await ask_reason(desk, heading, [KEPT], label=label)
    if reason is None:
        return False
    note = reason if given == "fail" else ""
    return await desk.record(lambda _: desk.live.amend_answer(seq, given, reason, note))


async def _amend_given(desk: Desk, item: Item, seq: int, event: Answered | Skipped) -> None:
    """Correct or withdraw an answer, or what was left out."""
    state = desk.live.state
    heading = f"Amend {title(item)}: {_take_words(event)}"
    withdrawn = admitted(state, Amended(seq=seq, reason=WORDS))
    lines = [KEPT, *([] if withdrawn else [NOT_WITHDRAWN]), *_halted(state)]
    ways = [WITHDRAW] if withdrawn else []
    if isinstance(event, Answered):
        ways = [*(f"{each}{_INSTEAD}" for each in _others(state, seq, event)), *ways]
    if not ways:
        await desk.tell(
            "Not to be amended",
            [
                "A failed danger is mended and done again: p, and words that say what was mended.",
                "Answered so by mistake: say that in those words. The fail stays on record.",
            ],
        )
        return
    way = 0 if len(ways) == 1 else await desk.choose(heading, ways, lines)
    if way is None:
        return
    reason = await ask_reason(desk, heading, lines, label="What was wrong")
    if reason is None:
        return
    live = desk.live
    if ways[way] == WITHDRAW:
        await desk.record(lambda _: live.withdraw(seq, reason))
    else:
        await desk.record(lambda _: live.amend_answer(seq, ways[way].removesuffix(_INSTEAD), reason))


def _others(state: RunState, seq: int, event: Answered) -> list[str]:
    """Return the answers that may stand in the place of one given."""
    found = []
    for word in ANSWERS:
        given = Answered(step=event.step, subject=event.subject, answer=word, note=WORDS)  # type: ignore[arg-type]
        if word != event.answer and admitted(state, Amended(seq=seq, reason=WORDS, answer=given)):
            found.append(word)
    return found


def _take_words(event: _Take) -> str:
    if isinstance(event, Captured):
        return f"waveform from {one_line(event.source)}"
    if isinstance(event, Answered):
        return f"{event.answer} {one_line(event.note)}".strip()
    if isinstance(event, Reading):
        return reading_text(event)
    return f"left out: {one_line(event.reason)}"
