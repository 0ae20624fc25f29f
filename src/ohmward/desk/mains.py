"""The moves about mains: applying it, switching off, and asking whether it is still on."""

from __future__ import annotations

from ohmward.desk.asking import Desk
from ohmward.desk.card import set_aside_words, title
from ohmward.desk.likely import before_mains
from ohmward.desk.place import last_worked
from ohmward.desk.words import GONE_ON, LOCAL_CODES, day_words
from ohmward.procedure.model import Item, Stage
from ohmward.run import guidance
from ohmward.run.earth_shown import unsettled_earth
from ohmward.run.gates import energise_blockers
from ohmward.run.guidance import make_safe_words
from ohmward.run.mains_on import MAINS_ON
from ohmward.run.state import RunState, Standing
from ohmward.run.timers import early_words
from ohmward.text import one_line

KNOWING = "I know that the earth is not settled, and am switching on now"
_COUNTED = {
    Standing.PASSED: "passed",
    Standing.NOT_APPLICABLE: "not applicable",
    Standing.SKIPPED: "left out",
    Standing.OVERRIDDEN: "overridden",
    Standing.FAILED: "failed (improvement)",
    Standing.NOT_DONE: "not done (optional)",
    Standing.STALE: "stale (optional)",
}
_SET_ASIDE = frozenset({Standing.NOT_APPLICABLE, Standing.SKIPPED, Standing.OVERRIDDEN})


async def energise(desk: Desk) -> None:
    """Apply mains: only after saying everything that has to be said before."""
    state = desk.live.state
    if state.phase in MAINS_ON:
        await desk.tell("Mains is on already", ["The run says that the supply is live."])
        return
    blockers = energise_blockers(state)
    if blockers:
        await desk.tell(
            "Mains stays off", ["Put these right first:", *(f"• {one_line(words)}" for words in blockers)]
        )
        return
    stage = state.stage(guidance(state).stage)
    unsettled = unsettled_earth(state)
    lines = [
        *(f"‼ {words}" for words in unsettled),
        *await before_mains(desk),
        "Mains is still off. By the records all dead stages hold; is it so on the bench?",
        *dead_words(state),
        f"Cautions of '{one_line(stage.title)}', acknowledged:",
        *(f"• {one_line(words)}" for words in stage.cautions),
        LOCAL_CODES,
    ]
    if await desk.confirm("Apply mains?", lines, KNOWING if unsettled else "I am switching on now"):
        await desk.record(lambda _: desk.live.energise(unsettled))


async def off(desk: Desk) -> None:
    """Switch off, unplug, and say so."""
    state = desk.live.state
    if state.phase not in MAINS_ON:
        await desk.tell("Not live", ["The run says that mains is not on.", make_safe_words(state)])
        return
    reasons = [f"• {one_line(words)}" for words in guidance(state).reasons]
    if await desk.confirm(
        "Switch off now", [make_safe_words(state), *reasons], "It is off and unplugged", "It is still on"
    ):
        await _switched_off(desk, "; ".join(guidance(state).reasons))


async def still_on(desk: Desk) -> bool:
    """Ask whether mains is on, where the records say so and nobody was there; return whether it was said."""
    state = desk.live.state
    at = day_words(last_worked(desk.live.journal.records))
    answer = await desk.decide(
        f"The last record says mains on, at {at}. Is it?",
        [f"If it is off, or you are not sure: {make_safe_words(state)}"],
        "It is still on: go on",
        "It is off, or not sure: make safe",
    )
    if answer is None:
        return False
    if answer:
        return await desk.record(lambda _: desk.live.note("On resuming: mains said to be still on."))
    return await _switched_off(desk, "on resuming: off, or not sure whether mains was on")


async def _switched_off(desk: Desk, reason: str) -> bool:
    done = await desk.record(lambda _: desk.live.switch_off(reason))
    following = guidance(desk.live.state)
    if done and following.item is not None:
        desk.go(following.item.key)
    return done


def dead_words(state: RunState) -> list[str]:
    """Return how every dead stage stands, a line each, and each danger check set aside by its name."""
    lines = []
    for stage in state.procedure.stages if state.procedure else ():
        items = [item for item in state.items if item.stage == stage.name]
        if items and not stage.energised and stage.role != "make-safe":
            lines.append(_stage_words(state, stage, items))
            lines += [f"    ‼ set aside: {_aside_words(state, item)}" for item in _dangers(state, items)]
            lines += [f"    ! {one_line(words)}" for words in early_words(state, items)]
    return lines


def _stage_words(state: RunState, stage: Stage, items: list[Item]) -> str:
    gone_on = sum(item.read is not None and state.standing(item) is Standing.OVERRIDDEN for item in items)
    standings = [state.standing(item) for item in items]
    count = {one: standings.count(one) for one in _COUNTED}
    count[Standing.OVERRIDDEN] -= gone_on
    counts = [f"{count[one]} {words}" for one, words in _COUNTED.items() if count[one]]
    counts += [f"{gone_on} {GONE_ON.word}"] if gone_on else []
    return f"✓ {one_line(stage.title)}: {', '.join(counts)}"


def _dangers(state: RunState, items: list[Item]) -> list[Item]:
    return [item for item in items if item.spec.severity == "danger" and state.standing(item) in _SET_ASIDE]


def _aside_words(state: RunState, item: Item) -> str:
    said = set_aside_words(state, item)
    return f"{title(item)} ({said})" if said else title(item)
