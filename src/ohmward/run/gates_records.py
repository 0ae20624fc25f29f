"""The gates of single records: answers, overrides, amendments, cautions, parts, test voltage."""

from __future__ import annotations

from ohmward.errors import Refused
from ohmward.logbook.events import (
    Acknowledged,
    Amended,
    Answered,
    Begun,
    Captured,
    Overridden,
    Parts,
    Reading,
    Skipped,
    TestVoltage,
)
from ohmward.procedure.model import Item
from ohmward.quantity import show
from ohmward.run.blockers import describe, guards_hands, is_open_danger, past_stop
from ohmward.run.insulation import chosen_v, voltages
from ohmward.run.state import RunState, Standing


def item_of(state: RunState, event: Answered | Reading | Skipped | Overridden | Captured | Begun) -> Item:
    """Return the item that an event is about; refuse an address that the run does not have."""
    item = state.by_key.get((event.step, event.subject))
    if item is None:
        subjects = [key[1] for key in state.by_key if key[0] == event.step]
        if not subjects:
            raise Refused("step", [f"this run has no step '{event.step}'"], "See the steps of the procedure")
        raise Refused(
            "subject",
            [f"step '{event.step}' has no subject '{event.subject}'"],
            f"It has: {', '.join(name or '(none)' for name in subjects)}",
        )
    return item


def admit_answer(state: RunState, item: Item, event: Answered) -> None:
    """Refuse an answer that sets aside what always applies, or a danger without words."""
    if event.answer == "not applicable":
        if item.spec.proves_earth:
            raise Refused("earth", ["the proof of the protective earth always applies"], "Do this check")
        if item.spec.always or guards_hands(item):
            raise Refused("danger", [f"{describe(item)} applies to every supply"], "Do this check")
        if is_open_danger(state, item):
            raise Refused("danger", [f"{describe(item)} failed and is a danger"], "Mend it and do it again")
        if item.spec.severity == "danger" and not event.note.strip():
            raise Refused("reason", ["a danger check set aside without words"], "Say why it does not apply")
    was_failed = is_open_danger(state, item)
    if was_failed and event.answer != "fail" and not event.note.strip():
        raise Refused("mend", [f"{describe(item)} failed and is a danger"], "Say in the note what was mended")


def admit_override(state: RunState, event: Overridden) -> None:
    """Refuse to override what is no failed fault, or without a reason."""
    item = item_of(state, event)
    if item.spec.severity == "danger":
        raise Refused(
            "danger", [f"{describe(item)} is a danger and cannot be overridden"], "Mend it and do it again"
        )
    if state.standing(item) is not Standing.FAILED:
        raise Refused(
            "override", [f"{describe(item)}: {state.standing(item)}"], "Only a failed step is overridden"
        )
    if past_stop(state.entries[item.key]):
        raise Refused("danger", [f"{describe(item)} is past its stop limit"], "Mend it and do it again")
    if not event.reason.strip():
        raise Refused("reason", ["an override without words"], "Give the reason; the report prints it")


def admit_amendment(state: RunState, event: Amended) -> None:
    """Refuse an amendment without words, of no such record, or that would make a danger hold."""
    if not event.reason.strip():
        raise Refused("reason", ["an amendment without words"], "Say what was wrong")
    if _is_waveform(state, event.seq):
        if event.answer is not None or event.reading is not None:
            raise Refused(
                "kind", [f"record {event.seq} is a waveform"], "Withdraw it, and attach the right one"
            )
        return
    if event.seq not in state.history:
        raise Refused("amend", [f"record {event.seq} is not an answer or a reading"], "Name one that is")
    key, _ = state.history[event.seq]
    item = state.by_key.get(key)
    if item is None:
        raise Refused("amend", [f"record {event.seq} is about a part no longer listed"], "Leave it")
    entry = state.entries.get(key)
    if event.answer is not None and event.reading is not None:
        raise Refused("amend", ["two records in place of one"], "Give one")
    instead = event.answer or event.reading
    if instead is not None and (instead.step, instead.subject) != key:
        raise Refused("amend", ["the amendment is about another step"], f"Amend '{key[0]}' itself")
    other = item.is_waveform or (item.read is None) != isinstance(instead, Answered)
    if instead is not None and other:
        raise Refused("kind", [f"{describe(item)} takes another kind of entry"], "Give that kind")
    if entry is None or entry.seq != event.seq or not is_open_danger(state, item):
        if event.answer is not None and event.answer.answer == "not applicable":
            admit_answer(state, item, event.answer)
        return
    if event.reading is None and (event.answer is None or event.answer.answer != "fail"):
        raise Refused("danger", [f"{describe(item)} failed and is a danger"], "Mend it and do it again")


def admit_acknowledgement(state: RunState, event: Acknowledged) -> None:
    """Refuse the cautions of a stage that is none."""
    known = [stage.name for stage in state.procedure.stages] if state.procedure else []
    if event.stage not in known:
        raise Refused("stage", [f"no stage is called '{event.stage}'"], f"The stages are {', '.join(known)}")


def admit_parts(state: RunState, event: Parts) -> None:
    """Refuse a list of parts that is empty, names one twice, or leaves out one with results."""
    names = [name.strip() for name in event.names]
    if not names or not all(names) or len(set(names)) != len(names):
        raise Refused(
            "parts", ["the list of parts is empty or has a name twice"], "Name each metal part once"
        )
    gone = {key[1] for key in state.entries if state.by_key[key].spec.each == "part" and key[1] not in names}
    if gone:
        raise Refused(
            "parts", [f"'{name}' already has results" for name in sorted(gone)], "Keep it in the list"
        )


def admit_test_voltage(state: RunState, event: TestVoltage) -> None:
    """Refuse a test voltage that the limit set does not name, or the lower one without words."""
    allowed = voltages(state)
    if event.volts not in allowed:
        known = " or ".join(show(volts, "V") for volts in allowed)
        raise Refused(
            "test-voltage",
            [f"the limit set does not test insulation at {show(event.volts, 'V')}"],
            f"Take {known}",
        )
    if event.volts == chosen_v(state):
        raise Refused("test-voltage", [f"insulation is tested at {show(event.volts, 'V')} already"], "Go on")
    if event.volts != allowed[0] and not event.reason.strip():
        raise Refused("reason", ["another test voltage without words"], "Say what on this supply asks for it")


def _is_waveform(state: RunState, seq: int) -> bool:
    """Return whether a record is a waveform that stands."""
    return any(each.seq == seq for taken in state.captures.values() for each in taken)
