"""The five gates of the product, in one place for every front end.

1. An energised step is recorded only when every required dead step holds since the case was last
   open, the protective earth is proven, and the cautions of the stage are acknowledged.
2. A failed danger is mended and done again, never overridden; a fault may be overridden in writing;
   an improvement never blocks.
3. Opening the case or a repair makes the dead tests stale; before the case is opened the supply is
   switched off, unplugged and its residual voltage measured.
4. A reading past its stop limit, or a danger that fails, halts an energised stage.
5. Nothing recorded is altered: a mistake is amended by a further record that says why.
"""

from __future__ import annotations

from collections.abc import Iterator

from ohmward.errors import Refused
from ohmward.logbook.events import (
    Acknowledged,
    Amended,
    Answered,
    Begun,
    Captured,
    CaseOpened,
    CaseShut,
    Closed,
    Energised,
    Event,
    Opened,
    Overridden,
    Parts,
    Reading,
    Repaired,
    SeriesBegun,
    SeriesEnded,
    SeriesGap,
    SeriesRows,
    Skipped,
    TestVoltage,
)
from ohmward.procedure.model import Item
from ohmward.run.blockers import (
    PHASE_WORDS,
    charge_reasons,
    describe,
    earth_reasons,
    energise_blockers,
    guards_hands,
    halt_reasons,
    is_open_danger,
    made_safe,
    next_energised_stage,
    open_dangers,
    way_on,
)
from ohmward.run.gates_records import (
    admit_acknowledgement,
    admit_amendment,
    admit_answer,
    admit_override,
    admit_parts,
    admit_test_voltage,
    item_of,
)
from ohmward.run.layout import is_dead_test
from ohmward.run.state import TRANSITIONS, Phase, RunState, Standing
from ohmward.run.together import is_left_out

_PHASE_MEND = {
    Phase.DEAD: "Energise first, when the dead stages hold",
    Phase.LIVE: "Switch off and unplug first",
    Phase.HALTED: "Switch off and unplug now; then measure the residual voltage",
    Phase.OFF: "Measure the residual voltage on every rail first",
    Phase.CLOSED: "Start a new run",
    Phase.PAPER: "Start a new run at the bench",
}


def admit(state: RunState, event: Event) -> None:  # noqa: PLR0912 one branch an event kind
    """Check `event` against the gates.

    Raises
    ------
    Refused
        When it may not be recorded now; nothing is changed.
    """
    if state.opened is None:
        if not isinstance(event, Opened):
            raise Refused("not-opened", ["the run has no first record"], "Start the run first")
        return
    if isinstance(event, Opened):
        raise Refused("opened-twice", ["the run is already open"], "Start another run instead")
    if type(event) not in TRANSITIONS[state.phase]:
        raise Refused("phase", [PHASE_WORDS[state.phase]], _PHASE_MEND[state.phase])
    match event:
        case Answered() | Reading() | Skipped():
            _admit_entry(state, event)
        case Begun():
            _admit_begun(state, event)
        case Overridden():
            admit_override(state, event)
        case Amended():
            admit_amendment(state, event)
        case Energised():
            _refuse_if("cannot-energise", energise_blockers(state), "Put these right first")
        case Acknowledged():
            admit_acknowledgement(state, event)
        case CaseOpened():
            if state.case_open:
                raise Refused("case", ["the case is already open"], "Go on, or shut it")
        case CaseShut():
            if not state.case_open:
                raise Refused("case", ["the case is already shut"], "Go on, or open it")
        case Parts():
            admit_parts(state, event)
        case TestVoltage():
            admit_test_voltage(state, event)
        case Repaired():
            if not event.what.strip():
                raise Refused("reason", ["a repair without words"], "Say what was mended or changed")
        case SeriesBegun():
            _admit_series(state, event)
        case SeriesRows() | SeriesGap() | SeriesEnded():
            _admit_samples(state, event)
        case Captured():
            _admit_capture(state, event)
        case Closed():
            pass  # the table admits it in the dead phase only
        case _:
            pass


def _refuse_if(gate: str, reasons: tuple[str, ...] | list[str], mend: str) -> None:
    if reasons:
        raise Refused(gate, reasons, mend)


def _admit_entry(state: RunState, event: Answered | Reading | Skipped) -> None:
    item = item_of(state, event)
    _require_kind(item, event)
    if state.phase is Phase.PAPER:
        if isinstance(event, Answered):
            admit_answer(state, item, event)
        return
    if isinstance(event, Skipped):
        _admit_skip(state, item, event)
        if event.left_out_with or (item.energised and state.phase is Phase.DEAD):
            return  # saying that a step will not be done touches nothing
    if item.energised:
        if not _only_halts(state, item, event):
            _admit_live(state, item)
    elif item.role:
        if state.energised_seq < 0:
            raise Refused("phase", ["the supply has not been live in this run"], "Do the dead stages first")
        if state.phase is Phase.LIVE:
            raise Refused("phase", ["the supply is live"], "Switch off and unplug first")
    else:
        _admit_dead(state, item)
    if isinstance(event, Answered):
        admit_answer(state, item, event)


def _admit_begun(state: RunState, event: Begun) -> None:
    """Admit the beginning of a hold where its reading could be taken."""
    item = item_of(state, event)
    if item.spec.wait_from != "begun":
        raise Refused("begun", [f"{describe(item)} is not held for a time"], "Take it as it is")
    if item.energised:
        _admit_live(state, item)
    elif not item.role:
        _admit_dead(state, item)


def _only_halts(state: RunState, item: Item, event: Answered | Reading | Skipped) -> bool:
    """Return whether an entry only halts a live run: a part of the soak too hot before its time."""
    hot = isinstance(event, Reading) and event.judged.past_stop and item.kind == "soak"
    return hot and state.phase is Phase.LIVE


def _require_kind(item: Item, event: Answered | Reading | Skipped) -> None:
    if item.is_waveform and not isinstance(event, Skipped):
        raise Refused("kind", [f"{describe(item)} is a waveform"], _CAPTURE_IT)
    if isinstance(event, Answered) and item.read is not None:
        guards = item.required and item.spec.severity == "danger"
        mend = "Enter a value" if guards else "Enter a value, or leave it out with a reason"
        raise Refused("kind", [f"{describe(item)} is a reading"], mend)
    if isinstance(event, Reading) and item.read is None:
        raise Refused("kind", [f"{describe(item)} is a check"], "Answer pass, fail or not applicable")


_CAPTURE_IT = "Take it from an instrument, attach the file that it saved, or leave the step out"


def _admit_capture(state: RunState, event: Captured) -> None:
    """Admit a waveform of a live step while live, or afterwards: an oscilloscope's file comes when it comes.

    Afterwards the supply must have been live since anything that would make a result stale, so that a
    waveform never stands for a state of the unit that it was not taken in.
    """
    item = item_of(state, event)
    if event.samples < 2 or not event.interval_s > 0.0:
        raise Refused("capture", ["a waveform without samples or without time between them"], _CAPTURE_IT)
    if not item.energised:
        return
    if state.phase is Phase.LIVE:
        _admit_live(state, item)
    elif state.energised_seq < max(state.stale_before(item), 0):
        raise Refused(
            "not-live",
            [f"'{describe(item)}' is taken with mains on, and mains has not been on since it is due"],
            "Energise first, when the dead stages hold",
        )
    elif state.acknowledged.get(item.stage, -1) < state.repaired_seq or item.stage not in state.acknowledged:
        title = state.stage(item.stage).title
        raise Refused("caution", [f"the cautions of '{title}' are not acknowledged"], "Acknowledge them")


def _admit_series(state: RunState, event: SeriesBegun) -> None:
    first = next((item for item in state.items if item.spec.id == event.step and item.kind == "soak"), None)
    if first is None:
        raise Refused("step", [f"this run has no soak '{event.step}'"], "Name one that it has")
    _admit_live(state, first)
    if not event.channels:
        raise Refused("series", ["a series that samples nothing"], "Name what is to be sampled")
    known = state.series.get(event.step)
    if event.resumed and (known is None or known.begun.channels != event.channels):
        raise Refused("series", ["there is no such series to go on with"], "Begin a new one")


def _admit_samples(state: RunState, event: SeriesRows | SeriesGap | SeriesEnded) -> None:
    known = state.series.get(event.step)
    if known is None or known.ended is not None:
        raise Refused("series", [f"no series of '{event.step}' is running"], "Begin one")
    if isinstance(event, SeriesRows):
        wide = len(known.begun.channels)
        last = -1.0 if known.last_s is None else known.last_s
        for row in event.rows:
            if len(row.values) != wide or (row.replies and len(row.replies) != wide):
                raise Refused("series", [f"a sample without all {wide} channels"], "Give every channel")
            if not row.at_s > last:
                raise Refused("series", ["samples out of order"], "Give them as they were taken")
            last = row.at_s


def _admit_live(state: RunState, item: Item) -> None:
    if state.phase is not Phase.LIVE:
        raise Refused(
            "not-live",
            [f"'{describe(item)}' is done with mains on, and the run does not say that mains is on"],
            "Energise first, when the dead stages hold",
        )
    if not state.acknowledged_now(item.stage):
        title = state.stage(item.stage).title
        raise Refused("caution", [f"the cautions of '{title}' are not acknowledged"], "Acknowledge them")
    waiting = list(_before_in_order(state, item))
    _refuse_if("order", waiting, "Bring the supply up in order: settle these first")


def _before_in_order(state: RunState, item: Item) -> Iterator[str]:
    """Yield what must be settled before a live item: earlier stages, and dangers earlier in its own."""
    for other in state.by_key.values():  # in order, and with the times of a soak that are not asked for
        if other is item or other.key == item.key:
            return
        if not other.energised or not other.required or state.settled(other):
            continue
        if other.stage != item.stage or other.spec.severity == "danger":
            yield f"{describe(other)}: {state.standing(other)}"


def _admit_dead(state: RunState, item: Item) -> None:
    if state.phase is not Phase.DEAD:
        raise Refused("phase", [PHASE_WORDS[state.phase]], _PHASE_MEND[state.phase])
    if item.spec.enclosure == "shut" and state.case_open:
        raise Refused(
            "case", ["this test counts only with the case shut"], "Shut the case, leads brought out"
        )
    if item.spec.enclosure == "open" and not state.case_open:
        raise Refused("case", ["this is looked at with the case open"], "Open the case first")
    if item.spec.enclosure == "open":
        _refuse_if(
            "charge-first",
            charge_reasons(state),
            "Read what is left in every reservoir before a hand goes in",
        )
    if item.read is not None and item.read.meter == "insulation":
        _refuse_if(
            "earth-first",
            earth_reasons(state),
            "Prove the protective earth before any insulation test voltage is applied",
        )


def _admit_skip(state: RunState, item: Item, event: Skipped) -> None:
    if item.spec.severity == "danger" and item.required:
        raise Refused("danger", [f"{describe(item)} guards against injury"], "It cannot be skipped: do it")
    if state.standing(item) is Standing.FAILED and item.spec.severity != "improvement":
        raise Refused(
            "failed",
            [f"{describe(item)} failed; leaving it out would hide that"],
            f"Mend it and do it again, or {way_on(item)}",
        )
    if item.spec.proves_earth:
        raise Refused("earth", ["the proof of the protective earth cannot be skipped"], "Do it")
    with_step = event.left_out_with
    if with_step and (item.spec.left_out_with != with_step or not is_left_out(state.entries, with_step)):
        raise Refused(
            "together", [f"{describe(item)} is not left out with '{with_step}'"], "Leave it out for itself"
        )
    if item.required and not event.reason.strip():
        raise Refused("reason", ["a required step skipped without words"], "Give the reason for the report")


__all__ = [
    "admit",
    "describe",
    "energise_blockers",
    "guards_hands",
    "halt_reasons",
    "is_dead_test",
    "is_open_danger",
    "made_safe",
    "next_energised_stage",
    "open_dangers",
    "way_on",
]
