"""The moves a person can make in a run, each as a short conversation that ends in one record.

No widget here: a `Desk` asks and tells. What may be done is decided by the gates, never here; a
refusal comes back as words.
"""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any

from ohmward.bench.meters import Meter
from ohmward.desk.amending import amend, answer_again
from ohmward.desk.asking import Desk
from ohmward.desk.attempts import next_attempt_words
from ohmward.desk.card import entry_sign, title
from ohmward.desk.gate import WORDS, admitted, may
from ohmward.desk.holding import begin_hold
from ohmward.desk.likely import before_mains
from ohmward.desk.mains import energise, off
from ohmward.desk.mending import confirm_as_before, repair
from ohmward.desk.opening import TOOL
from ohmward.desk.place import first_of
from ohmward.desk.reasons import ask_reason
from ohmward.desk.test_voltage import choose_voltage, voltage_option
from ohmward.desk.who_tests import ask_anew
from ohmward.desk.words import LOCAL_CODES
from ohmward.errors import Refused
from ohmward.logbook.events import (
    Acknowledged,
    Answered,
    CaseOpened,
    CaseShut,
    Closed,
    Noted,
    Overridden,
    Parts,
    Repaired,
    Skipped,
)
from ohmward.procedure.model import Item
from ohmward.run import guidance
from ohmward.run.earth_shown import unsettled_earth
from ohmward.run.gates import way_on
from ohmward.run.guidance import Guidance, is_undecided, progress
from ohmward.run.insulation import other_v
from ohmward.run.timers import early_words
from ohmward.run.together import alike, goes_with
from ohmward.text import one_line, tester

Move = Callable[[Desk], Coroutine[Any, Any, object]]
LEAST_ALIKE = 2
"""So many more of one step, and it is asked whether all of them are left out."""
MISTAKEN = "If it was answered so by mistake, say that: the fail stays on record, with these words after it."

GO_ON_UNDECIDED = "go on with it undecided, in writing"


async def answer(desk: Desk, item: Item, given: str) -> bool:
    """Answer a check; words are asked for on a fail, and wherever the gates want them.

    Where an answer stands already, another is an amendment, or says what was mended.
    """
    if item.key in desk.live.state.entries:
        if not await may(desk, Answered(step=item.step, subject=item.subject, answer=given, note=WORDS)):  # type: ignore[arg-type]
            return False
        again = await answer_again(desk, item, given)
        if again is not None:
            return again
    note = ""
    if given == "fail":
        if not await may(desk, Answered(step=item.step, subject=item.subject, answer="fail", note=WORDS)):
            return False
        said = await desk.ask(
            f"Fail: {title(item)}",
            [item.spec.why],
            label="What is wrong (goes into the report)",
        )
        if said is None:
            return False
        note = said

    async def with_words(refusal: Refused) -> bool | None:
        if refusal.gate not in {"mend", "reason"} or note:
            return None
        lines = [*refusal.reasons, *([MISTAKEN] if refusal.gate == "mend" else [])]
        words = await desk.ask(title(item), lines, label=refusal.mend, needed=True)
        if words is None:
            return False
        return await desk.record(lambda _: desk.live.answer(item.step, item.subject, given, words))

    return await desk.record(
        lambda _: desk.live.answer(item.step, item.subject, given, note), refused=with_words
    )


async def note(desk: Desk) -> None:
    """Write a note on the item shown."""
    item = desk.item
    if not await may(desk, Noted(text=WORDS)):
        return
    words = await desk.ask("Note" if item is None else f"Note on {title(item)}", label="Note", needed=True)
    if words is not None:
        where = item.key if item is not None else ("", "")
        await desk.record(lambda _: desk.live.note(words, *where))


async def skip(desk: Desk) -> None:
    """Leave the item shown out."""
    item = desk.item
    if item is None or not await may(desk, Skipped(step=item.step, subject=item.subject, reason=WORDS)):
        return
    lines = ["The report prints the reason."]
    others = goes_with(desk.live.state, item.step)
    lines += ["Left out with it:", *(f"• {title(each)}" for each in others)] if others else []
    reason = await ask_reason(desk, f"Leave out: {title(item)}", lines, label="Reason", needed=item.required)
    if reason is None:
        return
    left = (item, *await _alike(desk, item))

    def act(_: bool) -> None:
        for each in left:
            desk.live.skip(each.step, each.subject, reason)

    await desk.record(act)


async def _alike(desk: Desk, item: Item) -> tuple[Item, ...]:
    """Ask what else of the same step is left out by the same reason."""
    others = alike(desk.live.state, item)
    if len(others) < LEAST_ALIKE:
        return ()
    here = tuple(each for each in others if item.rail and each.rail == item.rail)
    name = one_line(item.title)
    ways: list[tuple[str, tuple[Item, ...]]] = [("only this one", ())]
    if 0 < len(here) < len(others):
        ways.append((f"all of '{name}' still to do on {one_line(item.rail)}: {len(here)} more", here))
    ways.append((f"all of '{name}' still to do: {len(others)} more", others))
    lines = ["One reason then stands for all; each can still be taken later."]
    picked = await desk.choose("Only this one?", [words for words, _ in ways], lines)
    return ways[picked][1] if picked is not None else ()


async def override(desk: Desk) -> None:
    """Go on although the item shown failed, in writing; a check is accepted so, a reading stays failed."""
    item = desk.item
    if item is None or not await may(desk, Overridden(step=item.step, subject=item.subject, reason=WORDS)):
        return
    stays = item.read is not None
    unread = is_undecided(desk.live.state, item)
    goes_on = (
        "It failed, and the run goes on: it stays failed." if stays else "It failed, and the run goes on."
    )
    lead = "Go on although it failed" if stays else "Override"
    if unread:
        goes_on, lead = (
            "It settles nothing, and the run goes on: it stays undecided.",
            "Go on with it undecided",
        )
    reason = await ask_reason(
        desk,
        f"{lead}: {title(item)}",
        [f"{goes_on} The report prints the reason."],
        label="Your reason, such as 'going on to find the cause'" if stays else "Reason",
    )
    if reason is not None:
        await desk.record(lambda _: desk.live.override(item.step, item.subject, reason))


async def cautions(desk: Desk, stage_name: str = "") -> bool:
    """Show the cautions of a stage, and record that they were read and accepted."""
    state = desk.live.state
    item = desk.item
    wanted = stage_name or guidance(state).stage or (item.stage if item is not None else "")
    if not wanted:
        return False
    stage = state.stage(wanted)
    lines = [*(f"• {one_line(words)}" for words in stage.cautions), LOCAL_CODES]
    if state.acknowledged_now(wanted):
        await desk.tell(f"Cautions: {one_line(stage.title)} (acknowledged)", lines)
        return True
    if not await may(desk, Acknowledged(stage=wanted)):
        return False
    if stage.energised:
        lines = [*await before_mains(desk), *lines]
    if await desk.confirm(f"Cautions: {one_line(stage.title)}", lines, "Read and accepted"):
        return await desk.record(lambda _: desk.live.acknowledge(wanted))
    return False


async def parts(desk: Desk) -> None:
    """Name the accessible metal parts."""
    if not await may(desk, Parts(names=desk.live.state.parts or (WORDS,))):
        return
    names = await desk.ask_list(
        "Metal parts that a hand can touch",
        [
            "One a line, by names of your own: each gets its own earth continuity reading.",
            "Think of panels, screws that clamp, the heat sink, handles, sockets, switches.",
        ],
        desk.live.state.parts,
    )
    if names is not None:
        await desk.record(lambda _: desk.live.name_parts(names))


async def case(desk: Desk) -> None:
    """Say that the case is opened, or shut."""
    case_open = desk.live.state.case_open
    if not await may(desk, CaseShut() if case_open else CaseOpened(reason=WORDS)):
        return
    if case_open:
        if await desk.confirm(
            "Shut the case",
            ["The lid is on and screwed as in use; test leads are brought out where a test needs them."],
            "The case is shut",
        ):
            await desk.record(lambda _: desk.live.shut_case())
        return
    why = await desk.ask(
        "Open the case",
        [
            "Only unplugged, with the residual voltage measured. Dead tests, and the checks made at "
            "each closing, go stale and are done again."
        ],
        label="Why it is opened",
    )
    if why is not None:
        await desk.record(lambda _: desk.live.open_case(why))


async def meter(desk: Desk) -> None:
    """Say which of the run's meters is in use."""
    listed, item = desk.live.state.meters, desk.item
    other = None if item is None else other_v(desk.live.state, item)
    if not listed and other is None:
        await desk.tell(
            "No meters listed",
            [
                "This run was started without a list of meters, so verdicts state no uncertainty.",
                "Put a meters.toml in the logbook folder before the next run.",
            ],
        )
        return
    options = [f"{meter.name} ({meter.kind}){_due_words(meter)}" for meter in listed]
    options += [voltage_option(other)] if other is not None else []
    picked = await desk.choose("Which meter?", ["none of these: accuracy not stated", *options])
    if picked == len(listed) + 1:
        await choose_voltage(desk)
    elif picked is not None:
        desk.use_meter(listed[picked - 1].name if picked else "")


async def jump(desk: Desk) -> None:
    """List every item with its standing and go to one."""
    state = desk.live.state
    options = [f"{entry_sign(state, item).mark} {title(item)}" for item in state.items]
    here = state.items.index(desk.item) if desk.item in state.items else 0
    picked = await desk.choose(
        "Go to",
        options,
        ["Type a word to shorten the list."],
        at=here,
        keys="↑↓ choose · Enter go · Esc back",
    )
    if picked is not None:
        desk.go(state.items[picked].key)


async def close(desk: Desk) -> bool:
    """End the run."""
    state = desk.live.state
    if not await may(desk, Closed(verdict="", records=len(desk.live.journal.records))):
        return False
    lacking = [
        f"• {one_line(stage.title)}: {stage.total - stage.settled} not settled"
        for stage in progress(state)
        if stage.settled < stage.total
    ]
    lines = ["The summary becomes the last record, and nothing can be added after it."]
    lines += ["Still open; the assessment will say so:", *lacking] if lacking else ["Everything is settled."]
    unsettled = unsettled_earth(state)
    if unsettled:
        lines += ["A pass has these conditions, of the earth:", *(f"• {words}" for words in unsettled)]
    early = early_words(state, state.items)
    if early:
        lines += ["Not held or waited for as long as asked:", *(f"• {one_line(each)}" for each in early)]
    if await desk.confirm("Close the run", lines, "Close it"):
        return await desk.record(lambda _: desk.live.close_run())
    return False


async def mend(desk: Desk, following: Guidance) -> None:
    """Say what stands in the way, and offer the ways out that the gates allow."""
    state, item = desk.live.state, following.item
    lines = [following.text, *(f"• {one_line(words)}" for words in following.reasons)]
    unread = item is not None and is_undecided(state, item)
    mendable = admitted(state, Repaired(what=WORDS)) and not unread
    if mendable:
        lines.append(
            "What is mended is recorded with d 'repair done'; what was tested before is then due again."
        )
    if item is None:
        await desk.tell("What stands in the way", lines)
        return
    desk.go(item.key)
    again: tuple[str, Move | None] = ("read it again, on a known range" if unread else "do it again", None)
    mended: tuple[str, Move | None] = ("d  repair done: say what was mended", repair)
    # what is measured live cannot be done again before it is mended, so mending comes first there
    ways = [again] if not (item.energised and mendable) else []
    ways += [mended] if mendable else []
    if admitted(state, Overridden(step=item.step, subject=item.subject, reason=WORDS)):
        stays = " (it stays failed)" if item.read is not None else ""
        ways.append((GO_ON_UNDECIDED if unread else f"{way_on(item)}{stays}", override))
    ways.append(("correct an entry made by mistake", amend))
    heading = f"To be {'read again' if unread else 'mended'}: {title(item)}"
    picked = await desk.choose(heading, [words for words, _ in ways], lines)
    if picked is None:
        return
    way = ways[picked][1]
    if way is not None:
        await way(desk)
    else:
        desk.say(next_attempt_words(state, item))


async def who(desk: Desk) -> None:
    """Name who tests from here on."""
    if await ask_anew(desk, desk.who) and await desk.record(lambda _: desk.live.resume(desk.who.name, TOOL)):
        desk.say(f"tested from here on by: {tester(desk.who.name)}")


MOVES: dict[str, Move] = {
    "note": note,
    "who": who,
    "skip": skip,
    "override": override,
    "amend": amend,
    "cautions": cautions,
    "parts": parts,
    "test voltage": choose_voltage,
    "begin": begin_hold,
    "case": case,
    "repair": repair,
    "as before": confirm_as_before,
    "energise": energise,
    "off": off,
    "meter": meter,
    "jump": jump,
    "close": close,
}
"""The moves that a key starts, by the word in the key map."""

_GUIDED: dict[str, Move] = {
    "parts": parts,
    "acknowledge": cautions,
    "open-case": case,
    "shut-case": case,
    "energise": energise,
    "switch-off": off,
    "close": close,
}


async def follow(desk: Desk) -> None:
    """Do what the guidance says comes next."""
    following = guidance(desk.live.state)
    if following.item is not None and following.move in {"item", "parts", "open-case", "shut-case"}:
        desk.go(following.item.key)
    elif following.move in {"acknowledge", "energise"}:
        first = first_of(desk.live.state, following.stage)
        if first is not None:
            desk.go(first.key)  # what to watch at the moment mains comes on is read before
    if following.move == "mend":
        await mend(desk, following)
    elif following.move in _GUIDED:
        await _GUIDED[following.move](desk)


def _due_words(meter: Meter) -> str:
    return f", calibration due {meter.due.isoformat()}" if meter.due is not None else ""
