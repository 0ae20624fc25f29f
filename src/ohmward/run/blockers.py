"""What stands in the way of the next move, in words: asked by the gates, the guidance and every screen."""

from __future__ import annotations

from ohmward.logbook.events import Reading
from ohmward.procedure.model import Item
from ohmward.run.state import Entry, Phase, RunState, Standing

PHASE_WORDS = {
    Phase.DEAD: "the supply is dead (unplugged)",
    Phase.LIVE: "the supply is live",
    Phase.HALTED: "the run is halted",
    Phase.OFF: "the supply is off but its residual voltage is not yet measured",
    Phase.CLOSED: "the run is closed",
    Phase.PAPER: "the run is copied from paper: it says nothing of the supply as it is now",
}


def energise_blockers(state: RunState) -> tuple[str, ...]:
    """Return every reason, in words, why mains may not be applied now; empty when it may."""
    reasons: list[str] = []
    if state.phase is Phase.PAPER:
        reasons.append(PHASE_WORDS[Phase.PAPER])
    if state.case_open:
        reasons.append("the case is open")
    reasons += open_dangers(state)
    reasons += [
        f"{describe(item)}: {state.standing(item)}"
        for item in state.items
        if _is_required_dead(item) and not state.settled(item) and not is_open_danger(state, item)
    ]
    reasons += earth_reasons(state)
    stage = next_energised_stage(state)
    if stage is None:
        reasons.append("nothing is left to do with the supply live")
    elif not state.acknowledged_now(stage):
        reasons.append(f"the cautions of '{state.stage(stage).title}' are not acknowledged")
    return tuple(dict.fromkeys(reasons))


def open_dangers(state: RunState) -> list[str]:
    """Return every failed danger, and every reading past its stop limit, not yet mended; in words."""
    return [
        f"{describe(item)}: "
        + ("past its stop limit" if past_stop(state.entries[item.key]) else "failed (danger)")
        for item in state.items
        if is_open_danger(state, item)
    ]


def halt_reasons(state: RunState) -> list[str]:
    """Return why a live supply must be switched off now (gate 4); empty when it may stay live."""
    reasons = open_dangers(state)
    reasons += [
        f"{describe(item)}: {state.standing(item)}"
        for item in state.items
        if _is_required_dead(item) and not state.settled(item) and not is_open_danger(state, item)
    ]
    return reasons + earth_reasons(state)


def made_safe(state: RunState) -> bool:
    """Return whether the residual voltage has been shown to be safe since mains was last applied."""
    needed = [item for item in state.items if guards_hands(item)]
    return any(item.read for item in needed) and all(
        state.standing(item) in {Standing.PASSED, Standing.NOT_APPLICABLE} for item in needed
    )


def guards_hands(item: Item) -> bool:
    """Return whether `item` has to hold before hands may go back in after mains was on."""
    return item.role == "make-safe" and item.required and item.spec.severity == "danger"


def charge_reasons(state: RunState) -> list[str]:
    """Return why no hand goes in yet, in words: charge left as work begins that is not read yet."""
    return [
        f"{describe(item)}: {state.standing(item)}"
        for item in state.items
        if _reads_charge(item) and state.standing(item) is not Standing.PASSED
    ]


def _reads_charge(item: Item) -> bool:
    """Return whether `item` reads what is left in the reservoirs before a hand goes in.

    Not one with the case shut, which comes later: after a source of one's own was on them.
    """
    read = item.read
    return (
        read is not None
        and read.quantity == "residual_v"
        and item.spec.severity == "danger"
        and _is_required_dead(item)
        and item.spec.enclosure != "shut"
    )


def next_energised_stage(state: RunState) -> str | None:
    """Return the name of the first energised stage with something left to do."""
    for item in state.items:
        if item.energised and state.standing(item) in {Standing.NOT_DONE, Standing.STALE, Standing.FAILED}:
            return item.stage
    return None


def describe(item: Item) -> str:
    """Return an item in words, as it appears in reasons and lists."""
    return f"{item.title} ({item.subject})" if item.subject else item.title


def way_on(item: Item) -> str:
    """Return how a run goes on past what failed: a check is overridden, a reading stays failed."""
    return "go on although it failed, in writing" if item.read is not None else "override it in writing"


def is_open_danger(state: RunState, item: Item) -> bool:
    """Return whether `item` failed and is a danger, or is past its stop limit, and is not yet mended."""
    grave = item.spec.severity == "danger" or past_stop(state.entries.get(item.key))
    return grave and state.standing(item) is Standing.FAILED


def _is_required_dead(item: Item) -> bool:
    return item.required and not item.energised and not item.role


def earth_reasons(state: RunState) -> list[str]:
    """Return why the protective earth is not proven, in words; empty when it is, or none is to be."""
    if state.supply is None or state.supply.protection_class != "I":
        return []
    proofs = [item for item in state.items if item.spec.proves_earth]
    if not any(item.read is not None for item in proofs):
        return ["this procedure never measures the protective earth"]
    return [
        f"protective earth not proven: {describe(item)}: {state.standing(item)}"
        for item in proofs
        if state.standing(item) is not Standing.PASSED
    ]


def past_stop(entry: Entry | None) -> bool:
    """Return whether an entry is a reading past its stop limit."""
    return entry is not None and isinstance(entry.event, Reading) and entry.event.judged.past_stop
