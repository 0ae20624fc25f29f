"""What to do next: derived from the state, the same for the screen and the command line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from ohmward.analysis.outcomes import outcome_called
from ohmward.logbook.events import Reading
from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.run.charge import bleed_words, discharge_wait_s, untimed_words, waits_for_reading
from ohmward.run.gates import (
    describe,
    energise_blockers,
    guards_hands,
    halt_reasons,
    is_open_danger,
    made_safe,
    next_energised_stage,
    way_on,
)
from ohmward.run.state import Phase, RunState, Standing

Move = Literal[
    "item",
    "parts",
    "acknowledge",
    "open-case",
    "shut-case",
    "energise",
    "switch-off",
    "mend",
    "close",
    "closed",
]


@dataclass(frozen=True, kw_only=True)
class Guidance:
    """The next move and the words that go with it."""

    move: Move
    text: str
    item: Item | None = None
    """The item to do, or the failed one to mend or override."""
    stage: str = ""
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class StageProgress:
    """How far a stage is."""

    name: str
    title: str
    energised: bool
    total: int
    settled: int
    failed: int
    undecided: int
    """Of those that do not hold: the reading settles nothing, and is none that failed."""
    stale: int


def _closed_words(state: RunState) -> str:
    """Say what the run came to: beside it an entry is shown, whose own verdict may be another."""
    found = state.closed
    if found is None:
        return "The run is closed. Nothing can be added to it."
    called = outcome_called(found.verdict, likely=bool(found.likely_fault))
    likely = f" – {found.likely_fault}" if found.likely_fault else ""
    return f"The run is closed: {called}{likely}. Nothing can be added to it."


def guidance(state: RunState) -> Guidance:
    """Return the next move of `state`."""
    if state.phase is Phase.CLOSED:
        return Guidance(move="closed", text=_closed_words(state))
    if state.phase is Phase.PAPER:
        return Guidance(move="close", text="Copied from paper: what the paper does not say stays open.")
    if state.phase is Phase.HALTED:
        reasons = tuple(halt_reasons(state))
        return Guidance(move="switch-off", text=make_safe_words(state), reasons=reasons)
    if state.phase is Phase.OFF:
        return _make_safe(state)
    if state.phase is Phase.LIVE:
        return _live(state)
    return _dead(state)


def progress(state: RunState) -> tuple[StageProgress, ...]:
    """Return how far each stage is, in the order of the procedure."""
    result = []
    for stage in state.procedure.stages if state.procedure else ():
        items = [item for item in state.items if item.stage == stage.name]
        standings = [(state.standing(item), state.settled(item)) for item in items]
        undecided = sum(is_undecided(state, item) for item in items)
        result.append(
            StageProgress(
                name=stage.name,
                title=stage.title,
                energised=stage.energised,
                total=len(standings),
                settled=sum(settled for _, settled in standings),
                failed=sum(standing is Standing.FAILED for standing, _ in standings) - undecided,
                undecided=undecided,
                stale=sum(standing is Standing.STALE for standing, _ in standings),
            )
        )
    return tuple(result)


def make_safe_words(state: RunState) -> str:
    """Return the order in which to make safe, with the computed discharge wait where one is known."""
    wait = discharge_wait_s(state)
    if wait is None:
        return (
            f"Load off, mains switch off, plug out and in sight. {untimed_words(state)} "
            "Only that reading lets a hand or tool near."
        )
    return (
        "Load off, mains switch off, plug out and in sight; "
        f"wait at least {show(wait, 's', decimals=0)} for the reservoirs; then measure the residual voltage "
        "of every rail before a hand or tool goes near. The wait alone proves nothing."
    )


def _make_safe(state: RunState) -> Guidance:
    for item in state.items:
        waiting = state.standing(item) not in {Standing.PASSED, Standing.NOT_APPLICABLE}
        if guards_hands(item) and waiting and not waits_for_reading(state, item):
            return Guidance(move="item", text=make_safe_words(state), item=item, stage=item.stage)
    return Guidance(move="mend", text="This procedure has no residual-voltage step left to do.")


def _live(state: RunState) -> Guidance:
    for item in _open_items(state, energised=True):
        failed = state.standing(item) is Standing.FAILED
        if not state.acknowledged_now(item.stage):
            title = state.stage(item.stage).title
            return Guidance(
                move="acknowledge", stage=item.stage, text=f"Read and acknowledge the cautions of '{title}'."
            )
        return Guidance(
            move="mend" if failed else "item",
            item=item,
            stage=item.stage,
            text=f"'{describe(item)}' {_is_out(state, item)}: take it again, or {way_on(item)}."
            if failed
            else "",
        )
    return Guidance(move="switch-off", text=make_safe_words(state))


def _dead(state: RunState) -> Guidance:  # noqa: PLR0911 one return a move
    first = next(iter(_open_items(state, energised=False)), None)
    if first is not None:
        return _dead_item(state, first)
    stage = next_energised_stage(state)
    if stage is not None:
        if not state.acknowledged_now(stage):
            title = state.stage(stage).title
            return Guidance(
                move="acknowledge", stage=stage, text=f"Read and acknowledge the cautions of '{title}'."
            )
        reasons = energise_blockers(state)
        failed = next((item for item in state.items if item.energised and is_open_danger(state, item)), None)
        if failed is not None:
            return Guidance(
                move="mend",
                item=failed,
                stage=stage,
                reasons=reasons,
                text=f"Find and mend the cause of '{describe(failed)}', then say what was done (repair): "
                "it is due again then, and so are the tests that the repair touches.",
            )
        if reasons:
            move: Move = "shut-case" if reasons == ("the case is open",) else "mend"
            text = "Shut the case, test leads brought out." if move == "shut-case" else _mend_words()
            return Guidance(move=move, text=text, stage=stage, reasons=reasons)
        return Guidance(
            move="energise",
            stage=stage,
            text="Mains may be applied now: that is asked first.",
        )
    if state.energised_seq >= 0 and made_safe(state):
        for item in state.items:
            if item.role and not state.settled(item):
                return Guidance(move="item", item=item, stage=item.stage, text="")
    return Guidance(move="close", text="Everything the procedure asks for is done. Close the run.")


def _dead_item(state: RunState, item: Item) -> Guidance:
    if item.spec.each == "part" and not state.parts:
        return Guidance(
            move="parts", item=item, stage=item.stage, text="Name every metal part that a hand can touch."
        )
    if item.spec.enclosure == "shut" and state.case_open:
        return Guidance(
            move="shut-case",
            item=item,
            stage=item.stage,
            text="Shut the case: what follows counts only with the lid on, test leads brought out.",
        )
    if item.spec.enclosure == "open" and not state.case_open:
        return Guidance(move="open-case", item=item, stage=item.stage, text="Open the case (unplugged).")
    if state.standing(item) is Standing.FAILED:
        way = "" if item.spec.severity == "danger" else f", or {way_on(item)}"
        event = state.entries[item.key].event
        words = f"'{describe(item)}' failed: mend it and do it again{way}."
        if isinstance(event, Reading) and is_undecided(state, item):
            why = event.judged.note or "it settles nothing"
            words = f"'{describe(item)}' is undecided, read it again: {why}"
        elif bleed_words(state, item):
            words = f"'{describe(item)}' failed: {bleed_words(state, item)}."
        return Guidance(move="mend", item=item, stage=item.stage, text=words)
    return Guidance(move="item", item=item, stage=item.stage, text="")


def _is_out(state: RunState, item: Item) -> str:
    return "is undecided" if is_undecided(state, item) else "is out of its limit"


def is_undecided(state: RunState, item: Item) -> bool:
    """Return whether what stands at `item` does not hold as it settles nothing, not as it failed."""
    if state.standing(item) is not Standing.FAILED:
        return False
    event = state.entries[item.key].event
    return isinstance(event, Reading) and event.judged.verdict == "undecided" and not event.judged.past_stop


def _open_items(state: RunState, *, energised: bool) -> Iterator[Item]:
    for item in state.items:
        if item.energised is energised and not item.role and not state.settled(item):
            yield item


def _mend_words() -> str:
    return "Mains stays off until these hold."
